"""The moment at which a station acts: time, speed of the holes and level of the pool."""

from __future__ import annotations

from functools import cached_property
from typing import Any

WORDS = {"time": "time", "speed": "speed of the holes", "level": "level of the pool"}
REASONS = {("gate", "level"): ": the gate makes the level"}


class Moment:
    """The time, the speed of the holes and the level of the pool, for a station.

    They are numbers in the events and arrays in the arrays.  Each may be given as a function.
    It is called when a station reads the value first.

    Parameters
    ----------
    station : str
        Name of the station.
    time : float, ndarray or function, optional
        Time at which the station acts. [s]
    speed : float, ndarray or function, optional
        Speed of the holes. [m/s]
    level : float, ndarray or function, optional
        Level of the pool when the cell entered it. [m]

    Raises
    ------
    ValueError
        If a station reads a value that is not known there.

    Examples
    --------
    >>> from metersim.machine.moment import Moment
    >>> Moment("gate", time=90.0).time
    90.0
    >>> Moment("gate", time=90.0).level
    Traceback (most recent call last):
    ...
    ValueError: the level of the pool is not known at the gate: the gate makes the level
    """

    def __init__(
        self, station: str = "", *, time: Any = None, speed: Any = None, level: Any = None
    ) -> None:
        self.station = station
        self._given = {"time": time, "speed": speed, "level": level}

    @cached_property
    def time(self) -> Any:
        """Time at which the station acts. [s]"""
        return self._known("time")

    @cached_property
    def speed(self) -> Any:
        """Speed of the holes. [m/s]"""
        return self._known("speed")

    @cached_property
    def level(self) -> Any:
        """Level of the pool when the cell entered it. [m]"""
        return self._known("level")

    def _known(self, name: str) -> Any:
        given = self._given[name]
        if given is None:
            where = f"at the {self.station}" if self.station else "here"
            why = REASONS.get((self.station, name), "")
            raise ValueError(f"the {WORDS[name]} is not known {where}{why}")
        return given() if callable(given) else given

    def rows(self, which: Any) -> Moment:
        """The moment for some rows of the arrays; `which` is any index of numpy."""

        def some(name: str) -> Any:
            return None if self._given[name] is None else lambda: getattr(self, name)[which]

        return Moment(self.station, **{name: some(name) for name in WORDS})
