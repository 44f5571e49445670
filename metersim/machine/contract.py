"""What a method of an own station must give back, checked before a run."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator, Mapping
from operator import itemgetter
from typing import Any

import numpy as np

from metersim.machine.moment import Moment

USUAL = (0.3, 0.5, 0.8)
SAMPLES = {
    "angle": (1.0, 20.0, 300.0),
    "step": (0.1, 0.2, 0.4),
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
    "off_centre": (0.0, 0.001, 0.002),
    "gap": (0.0, 0.001, 0.002),
    "along": (0.0, 0.001, 0.002),
    "across": (0.001, 0.0, 0.002),
    "vacuum_ratio": (1.0, 2.0, 4.0),
    "vacuum": (2e3, 4e3, 6e3),
    "needed": (5e2, 1e3, 2e3),
    "pull": (1e3, 3e3, 6e3),
}
MOMENT = {"time": (1.0, 60.0, 300.0), "speed": (0.2, 0.3, 0.4), "level": (0.01, 0.02, 0.04)}
COUNT = len(USUAL)


def check_own(stations: Mapping[str, Any]) -> None:
    """Call each method that an own station overrides, with numbers and with an array.

    Parameters
    ----------
    stations : mapping of str to station
        Stations by name; those of the usual kinds are passed over.

    Raises
    ------
    ValueError
        When a method does not give back finite numbers for numbers and the same, in the shape of
        the arrays, for arrays.  One number for all is allowed too.
    """
    own = {name: one for name, one in stations.items() if not _is_usual(type(one))}
    for name, station in own.items():
        for method, parameters in _overridden(station):
            _check(name, station, method, parameters)


def _overridden(station: Any) -> Iterator[tuple[str, list[str]]]:
    """Methods of the usual station that the own one replaces, with the usual parameters."""
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
                room = station.room_for(chances, 1.0, 0.005, 0.001, 1.0, 1.0)
                made |= {"chances": chances, "room": room}
        return [made[p] if p in made else pick(SAMPLES.get(p, USUAL)) for p in parameters]

    try:
        together = own(*arguments(np.array))
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
        if np.shape(part) not in ((), (COUNT,)) or not _finite(part):
            raise ValueError(f"{where} gives {part!r} for arrays of {COUNT}; {_ALLOWED}")
        if not np.allclose(np.asarray(part, float), np.array(numbers, float), rtol=1e-9):
            raise ValueError(
                f"{where} gives {part!r} for arrays but {numbers!r} for their numbers; {_ALLOWED}"
            )


LEVEL = ("gate", "level")
_ALLOWED = (
    f"allowed: for arrays of {COUNT} an array of {COUNT} finite numbers, each what the method "
    "gives for that number, or one number for all"
)


def _parts(together: Any, alone: list[Any]) -> Iterator[tuple[Any, list[Any]]]:
    """What came back for arrays and for numbers, by the parts of a result that has several."""
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
