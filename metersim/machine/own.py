"""Own stations in place of usual ones: how they are made, and what their methods must give."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from difflib import get_close_matches
from operator import itemgetter
from typing import Any, TypeVar

import numpy as np

from metersim.files.faults import Parameter, bad, hint
from metersim.machine.moment import Moment

S = TypeVar("S")


def like(kind: type[S], usual: Any) -> S:
    """A station of another kind with all the values of a usual one.

    Parameters
    ----------
    kind : type
        A subclass of the usual station's class.
    usual : station
        Where the values come from.

    Examples
    --------
    >>> import metersim as m
    >>> class SlickTube(m.TubeStation):
    ...     def contacts(self, speed, at):
    ...         return 0.0 * speed
    >>> tube = m.like(SlickTube, m.stations_of("maize_bench").tube)
    >>> type(tube).__name__, tube.length
    ('SlickTube', 0.45)
    """
    return kind(**{field.name: getattr(usual, field.name) for field in fields(usual)})


@dataclass(frozen=True)
class OwnStations:
    """What was given in place of usual stations.

    Attributes
    ----------
    given : mapping or callable
        By name of the station: a class, a function of the scenario, or a station.  Or one
        function of the scenario that gives all stations or such a mapping.
    usual : mapping of str to station
        The usual stations of the scenario that stations given as values were made for, with the
        usual coefficients.
    """

    given: Mapping[str, Any] | Callable[[Any], Any]
    usual: Mapping[str, Any]

    def __post_init__(self) -> None:
        if isinstance(self.given, type):
            name = self.given.__qualname__
            message = f"{name} is a class alone; give it by name, such as {{'tube': {name}}}"
            raise bad(Parameter("stations"), "", message)
        if not callable(self.given):
            self._check_names(self.given)

    def made(
        self, scenario: Any, usual: Mapping[str, Any], settings: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Own stations by name.

        Parameters
        ----------
        scenario : Scenario
            What is set, without own stations: functions are called with it.
        usual : mapping of str to station
            The usual stations of this scenario.
        settings : mapping of str to station
            The same with the usual coefficients.  A station given as a value keeps its
            coefficients, so only the settings must be the same.

        Raises
        ------
        BadInput
            For a station that there is not, or a class that is none of that station.
        ValueError
            When a station was given as a value, and this scenario sets that station otherwise.
        """
        if callable(self.given):
            given = self.given(scenario)
            if is_dataclass(given) and not isinstance(given, type):
                given = vars(given)
            self._check_names(given)
            return {name: _filled(name, one, scenario, usual) for name, one in given.items()}
        found = {}
        for name, one in self.given.items():
            found[name] = _filled(name, one, scenario, usual)
            if found[name] is one and settings[name] != self.usual[name]:
                raise ValueError(
                    f"station '{name}' is a value with settings of its own, and this study moves "
                    f"them; give the class, stations={{'{name}': {type(one).__qualname__}}}, or a "
                    "function of the scenario"
                )
        return found

    @property
    def values(self) -> tuple[str, ...]:
        """Names of the stations that were given as values, which draws do not change."""
        if callable(self.given):
            return ()
        return tuple(
            name
            for name, one in self.given.items()
            if not callable(one) and not isinstance(one, type)
        )

    def said(self) -> dict[str, str]:
        """What stands in place of which station, in full."""
        if callable(self.given):
            return {"all": _named(self.given)}
        return {name: _named(one) for name, one in self.given.items()}

    def _check_names(self, given: Any) -> None:
        if not isinstance(given, Mapping):
            message = f"{given!r} is no mapping of names to stations, nor a function that makes one"
            raise bad(Parameter("stations"), "", message)
        for name in given:
            if name not in self.usual:
                raise bad(Parameter("stations"), name, f"no station; {hint(name, self.usual)}")


def _filled(name: str, one: Any, scenario: Any, usual: Mapping[str, Any]) -> Any:
    """A class filled with the usual values, what a function makes, or the station itself."""
    kind = type(usual[name])
    if isinstance(one, type):
        if not issubclass(one, kind):
            message = f"{one.__qualname__} is no subclass of {kind.__name__}; give one, or a value"
            raise bad(Parameter("stations"), name, message)
        return like(one, usual[name])
    made = one(scenario) if callable(one) else one
    if not isinstance(made, kind):
        message = f"{made!r} is no {kind.__name__}; give one, or a subclass of it"
        raise bad(Parameter("stations"), name, message)
    return made


def _named(one: Any) -> str:
    name = getattr(one, "__qualname__", None)
    return f"{one.__module__}.{name}" if name else repr(one)


USUAL = (0.3, 0.5, 0.8)  # sample of a parameter that is not named below
SAMPLES = {
    "angle": (1.0, 20.0, 300.0),
    "step": (0.1, 0.2, 0.4),
    "hole": (0, 1, 2),
    "seeds": (40.0, 100.0, 250.0),
    "level": (0.01, 0.02, 0.04),
    "arc": (0.02, 0.05, 0.1),
    "size": (0.9, 1.0, 1.2),
    "first": (0.9, 1.0, 1.2),
    "other": (0.8, 1.1, 1.3),
    "speed": (0.2, 0.3, 0.4),
    "before": (2.0, 2.5, 3.0),
    "after": (1.0, 1.5, 2.5),
    "launch": (0.1, 0.15, 0.2),
    "height": (0.1, 0.2, 0.4),
    "steady": (7.0, 9.0, 11.0),
    "slowing": (1.0, 1.1, 1.3),
    "impact_speed": (1.5, 2.5, 3.0),
    "reach": (0.003, 0.004, 0.005),
    "outline": (0.004, 0.005, 0.006),
    "outward": (-0.001, 0.001, 0.002),
    "long": (0.008, 0.01, 0.012),
    "length": (0.008, 0.01, 0.012),
    "narrow": (0.004, 0.005, 0.006),
    "share": (0.3, 0.6, 1.0),
    "along": (0.0, 0.001, 0.002),
    "across": (0.001, 0.0, 0.002),
    "vacuum_ratio": (1.0, 2.0, 4.0),
    "vacuum": (2e3, 4e3, 6e3),
    "needed": (5e2, 1e3, 2e3),
    "pull": (1e3, 3e3, 6e3),
}
MOMENT = {"time": (1.0, 60.0, 300.0), "speed": (0.2, 0.3, 0.4), "level": (0.01, 0.02, 0.04)}
COUNT = len(USUAL)  # numbers in each sample


def check_own(stations: Mapping[str, Any]) -> None:
    """Call each method that an own station overrides, with numbers and with an array.

    Parameters
    ----------
    stations : mapping of str to station
        Stations by name.  Stations of the usual kinds are not checked.

    Raises
    ------
    ValueError
        If a method does not return finite numbers for numbers, and the same numbers in an array
        for arrays.  One number for a whole array is allowed from a gate and from `ONE_FOR_ALL`.
    """
    own = {name: one for name, one in stations.items() if not _is_usual(type(one))}
    for name, station in own.items():
        _check_spelling(name, type(station))
        for method, parameters in _overridden(station):
            _check(name, station, method, parameters)


def _check_spelling(name: str, kind: type) -> None:
    """Refuse a method of an own station that nobody calls, because its name is nearly another."""
    usual = next(one for one in kind.__mro__ if _is_usual(one))
    known = [method for method, _ in inspect.getmembers(usual, inspect.isfunction)]
    for method in vars(kind):
        near = get_close_matches(method, known, n=1, cutoff=0.8)
        if near and method not in dir(usual):
            raise ValueError(
                f"station '{name}': {kind.__qualname__}.{method} is no method of "
                f"{usual.__qualname__}; did you mean '{near[0]}'?"
            )


def _overridden(station: Any) -> Iterator[tuple[str, list[str]]]:
    """Methods of the usual station that an own station overrides, with the usual parameters."""
    usual = next(kind for kind in type(station).__mro__ if _is_usual(kind))
    for name, function in inspect.getmembers(usual, inspect.isfunction):
        if not name.startswith("_") and getattr(type(station), name) is not function:
            yield name, list(inspect.signature(function).parameters)[1:]


def _is_usual(kind: type) -> bool:
    return kind.__module__.startswith("metersim.") or kind is object


def _check(name: str, station: Any, method: str, parameters: list[str]) -> None:
    where = f"station '{name}': {type(station).__qualname__}.{method}"
    own = getattr(station, method)
    try:
        inspect.signature(own).bind(*parameters)
    except TypeError:
        taken = ", ".join(inspect.signature(own).parameters)
        raise ValueError(f"{where} takes ({taken}); allowed: ({', '.join(parameters)})") from None

    def arguments(pick: Callable[[Any], Any]) -> list[Any]:
        at = {key: pick(values) for key, values in MOMENT.items() if (name, key) != LEVEL}
        made: dict[str, Any] = {"at": Moment(name, **at)}
        for parameter in parameters:
            if parameter in ("chances", "room"):
                chances = station.chances(4e3, Moment(name, time=1.0, speed=0.3, level=0.03))
                room = station.room_for(chances, 1.0, station.covers(0.5, 1.0))
                made |= {"chances": chances, "room": room}
        return [made[p] if p in made else pick(SAMPLES.get(p, USUAL)) for p in parameters]

    try:
        together = own(*arguments(_fixed))
    except Exception as error:
        raise ValueError(f"{where} fails for arrays: {error}; {_ALLOWED}") from error
    try:
        alone = [own(*arguments(itemgetter(k))) for k in range(COUNT)]
    except Exception as error:
        raise ValueError(f"{where} fails for numbers: {error}; {_ALLOWED}") from error
    for part, numbers in _parts(together, alone):
        for number in numbers:
            if np.ndim(number) or not _finite(number):
                raise ValueError(f"{where} gives {number!r} for a number; allowed: a finite number")
        several = name == "gate" or method in ONE_FOR_ALL or isinstance(together, tuple)
        shapes = [(COUNT,), ()] if several else [(COUNT,)]
        if np.shape(part) not in shapes or not _finite(part):
            raise ValueError(f"{where} gives {part!r} for arrays of {COUNT}; {_ALLOWED}")
        if not np.allclose(np.asarray(part, float), np.array(numbers, float), rtol=1e-9):
            raise ValueError(
                f"{where} gives {part!r} for arrays but {numbers!r} for their numbers; {_ALLOWED}"
            )


LEVEL = ("gate", "level")  # the one value of a moment that is not known
ONE_FOR_ALL = ("contacts", "detects", "speed_at")  # methods beside those of the gate
_ALLOWED = (
    f"allowed: for arrays of {COUNT} an array of {COUNT} finite numbers, each what the method "
    f"gives for that number; one number for all only from a gate, {', '.join(ONE_FOR_ALL)}"
)


def _fixed(values: Any) -> Any:
    """An array that a method cannot change in place."""
    made = np.array(values)
    made.flags.writeable = False
    return made


def _parts(together: Any, alone: list[Any]) -> Iterator[tuple[Any, list[Any]]]:
    """Results for arrays and for numbers, part by part if a result has several parts."""
    if isinstance(together, tuple):
        for k, part in enumerate(together):
            yield part, [numbers[k] for numbers in alone]
    else:
        yield together, alone


def _finite(value: Any) -> bool:
    try:
        return bool(np.isfinite(value).all())
    except TypeError:
        return False
