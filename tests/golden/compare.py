"""What moved between a stored result and a new one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from tests.golden.names import RENAMED
from tests.golden.plain import PRINTED

RELATIVE, ABSOLUTE = 1e-9, 1e-12
MISSING = "missing"


class Moved(NamedTuple):
    """One value that is not what it was."""

    path: str
    was: Any
    now: Any

    def __str__(self) -> str:
        return f"{self.path or 'all of it'}: was {_short(self.was)}, is {_short(self.now)}"


def moved(was: Any, now: Any, renamed: Mapping[str, str] = RENAMED, path: str = "") -> list[Moved]:
    """Every value of a stored result that is not the same now; what is new is no fault.

    Integers, truth values and words must be the same, floats to `RELATIVE` or `ABSOLUTE`, and
    printed numbers to one unit of their last printed place.
    """
    return list(_moved(was, now, renamed, path))


def _moved(was: Any, now: Any, renamed: Mapping[str, str], path: str) -> Iterator[Moved]:
    if isinstance(was, dict) and isinstance(now, dict):
        for key, part in was.items():
            place = f"{path}.{key}" if path else key
            new = key if key in now else renamed.get(key, key)
            if new not in now:
                yield Moved(place, part, MISSING)
            elif key == PRINTED:
                yield from _printed(part, now[new], place)
            else:
                yield from _moved(part, now[new], renamed, place)
    elif isinstance(was, list) and isinstance(now, list):
        if len(was) != len(now):
            yield Moved(f"{path} (length)", len(was), len(now))
        for k, (one, other) in enumerate(zip(was, now, strict=False)):
            yield from _moved(one, other, renamed, f"{path}[{k}]")
    elif not _same(was, now, renamed):
        yield Moved(path, was, now)


def _printed(was: list[str], now: list[str], path: str) -> Iterator[Moved]:
    if len(was) != len(now):
        yield Moved(f"{path} (length)", len(was), len(now))
    for k, (one, other) in enumerate(zip(was, now, strict=False)):
        if not same_printed(one, other):
            yield Moved(f"{path}[{k}]", one, other)


def same_printed(was: str, now: str) -> bool:
    """Whether printed numbers are one unit of their last place apart, or less."""
    unit = max(_unit(was), _unit(now))
    return abs(_value(was) - _value(now)) <= 1.000001 * unit


def _value(word: str) -> float:
    return float(word.replace(",", ""))


def _unit(word: str) -> float:
    digits, _, power = word.partition("e")
    return 10.0 ** (int(power or 0) - len(digits.partition(".")[2]))


def _same(was: Any, now: Any, renamed: Mapping[str, str]) -> bool:
    if isinstance(was, float) and isinstance(now, int | float) and not isinstance(now, bool):
        if math.isnan(was) or math.isnan(now):
            return math.isnan(was) and math.isnan(now)
        return math.isclose(was, now, rel_tol=RELATIVE, abs_tol=ABSOLUTE)
    if isinstance(was, bool) != isinstance(now, bool):
        return False
    return bool(was == now or (isinstance(was, str) and renamed.get(was) == now))


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
