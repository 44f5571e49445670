"""What is wrong with an input, said so that a user can mend it."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

MOST_SHOWN = 12  # known words that a hint lists
LONGEST_KEY = 200  # letters of a key, or of what stands in its place, that are shown
MOST_MEANT = 4  # keys that differ in nothing but their unit


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    Attributes
    ----------
    where : str
        The file, option or argument it was found in.
    key : str
        The key, dotted from the top; empty when it concerns the whole file.
    message : str
        What is wrong, what is allowed and what to do.
    """

    where: str
    key: str
    message: str

    def __str__(self) -> str:
        key = _one_line(self.key)
        key = key if len(key) <= LONGEST_KEY else key[: LONGEST_KEY - 4] + " ..."
        return ": ".join(filter(None, (_one_line(self.where), key, _one_line(self.message))))


def _one_line(text: str) -> str:
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


class BadInput(ValueError):
    """An input that cannot be used, with every fault found in it.

    Parameters
    ----------
    faults : iterable of Fault
        At least one.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))

    def __reduce__(self) -> tuple[type[BadInput], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)


def bad(where: str, key: str, message: str) -> BadInput:
    """A `BadInput` with a single fault."""
    return BadInput([Fault(where, key, message)])


def all_of(*checks: Callable[[], Any]) -> list[Any]:
    """What several checks give, or all that is wrong in any of them.

    Parameters
    ----------
    *checks : callables
        Each gives a value or raises `BadInput`.

    Raises
    ------
    BadInput
        With the faults of all checks.
    """
    values: list[Any] = []
    faults: list[Fault] = []
    for check in checks:
        try:
            values.append(check())
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(dict.fromkeys(faults))
    return values


def hint(word: str, known: Iterable[str]) -> str:
    """What a misspelt `word` may have meant, or what is known when nothing is close."""
    known = sorted(known)
    begun = [f"'{key}'" for key in known if word and key.startswith(f"{word}_")]
    if 0 < len(begun) <= MOST_MEANT:  # a key without its unit
        return f"did you mean {' or '.join(begun)}?"
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    shown = ", ".join(known[:MOST_SHOWN]) + (" ..." if len(known) > MOST_SHOWN else "")
    return f"known: {shown}" if known else "nothing is known here"


def whole(option: str, word: str, low: int, high: int | None = None) -> int:
    """The whole number that an option gives, `low` or more, up to `high`; raises `BadInput`."""
    right = word.isascii() and word.isdigit() and len(word) < 19
    if not right or int(word) < low or (high is not None and int(word) > high):
        ends = f", {low} or more" if high is None else f" from {low} to {high:,}"
        raise bad(option, word, f"must be a whole number{ends}")
    return int(word)


def amount(option: str, word: str, most: float, unit: str = "") -> float:
    """The number that an option gives, above 0 and up to `most`; raises `BadInput`."""
    value = _number(word)
    if not 0 < value <= most:
        allowed = f"must be a number above 0 and up to {most:,.6g} {unit}".rstrip()
        raise bad(option, word, allowed + _comma(word))
    return value


def percent(option: str, word: str, low: float = 0.0, high: float = 100.0) -> float:
    """The share [1] that an option gives in percent, `low` to `high` of them; raises `BadInput`."""
    value = _number(word)
    if not low <= value <= high:
        allowed = f"must be a number of percent, from {low:g} to {high:g}"
        raise bad(option, word, allowed + _comma(word))
    return value / 100


def _number(word: str) -> float:
    """A number as it is typed; nan for what is none."""
    try:
        return float(word) if word.isascii() and "_" not in word else math.nan
    except ValueError:
        return math.nan


def _comma(word: str) -> str:
    return "; the decimal mark is a point" if "," in word else ""
