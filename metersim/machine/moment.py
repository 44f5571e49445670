"""What a station may ask about the moment at which it is used."""

from __future__ import annotations

from functools import cached_property
from typing import Any

WHAT = {"time": "time", "speed": "speed of the holes", "level": "level of the pool"}
WHY = {("gate", "level"): ": the gate makes the level"}


class Moment:
    """The time, the speed of the holes and the level of the pool, for a station.

    They are numbers in the events and arrays in the arrays.  Each may be given as a function,
    which is called when a station asks for it first.

    Parameters
    ----------
    station : str
        Who asks.
    time : float, ndarray or function, optional
        When the station acts. [s]
    speed : float, ndarray or function, optional
        Speed of the holes. [m/s]
    level : float, ndarray or function, optional
        Level of the pool that the cell saw when it entered. [m]

    Raises
    ------
    ValueError
        When a station asks for what is not known there.

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
        """When the station acts. [s]"""
        return self._known("time")

    @cached_property
    def speed(self) -> Any:
        """Speed of the holes. [m/s]"""
        return self._known("speed")

    @cached_property
    def level(self) -> Any:
        """Level of the pool that the cell saw when it entered. [m]"""
        return self._known("level")

    def _known(self, name: str) -> Any:
        given = self._given[name]
        if given is None:
            where = f"at the {self.station}" if self.station else "here"
            why = WHY.get((self.station, name), "")
            raise ValueError(f"the {WHAT[name]} is not known {where}{why}")
        return given() if callable(given) else given

    def rows(self, which: Any) -> Moment:
        """The same for some rows of the arrays, in any form that numpy can index by."""

        def some(name: str) -> Any:
            return None if self._given[name] is None else lambda: getattr(self, name)[which]

        return Moment(self.station, **{name: some(name) for name in WHAT})
