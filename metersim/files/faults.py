"""Faults of inputs, in words that help a user to mend them."""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

T = TypeVar("T")

MOST_SHOWN = 12  # most known words that a hint lists
LONGEST_KEY = 200  # most letters of a key that are shown
MOST_MEANT = 4  # most keys of one field that a hint offers


class Parameter(str):
    """A parameter of a Python function as the place of a fault.

    The command line names its option instead, and that of a parameter in `backquotes` within a
    message.
    """

    __slots__ = ()


@dataclass(frozen=True)
class Fault:
    """One fault of an input.

    Attributes
    ----------
    where : str
        The file, option or argument with the fault.
    key : str
        The key, dotted from the top; empty when the fault concerns the whole file.
    message : str
        Words that say what is wrong, what is allowed and what to do.
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
    """An input that cannot be used, with all its faults.

    Parameters
    ----------
    faults : iterable of Fault
        The faults, at least one.
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
    """Results of several checks, or all their faults together.

    Parameters
    ----------
    *checks : callables
        Each returns a value or raises `BadInput`.

    Raises
    ------
    BadInput
        With the faults of all checks, if there are any.
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
    """Words that help with a misspelt `word`: similar known words, or else all known words."""
    known = sorted(known)
    begun = [f"'{key}'" for key in known if word and key.startswith(f"{word}_")]
    if 0 < len(begun) <= MOST_MEANT:  # the word is a key without its unit
        return f"did you mean {' or '.join(begun)}?"
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    shown = ", ".join(known[:MOST_SHOWN]) + (" ..." if len(known) > MOST_SHOWN else "")
    return f"known: {shown}" if known else "nothing is known here"


class Keyed(dict[str, T]):
    """Results by key, which say what may have been meant by a key that is not there.

    Parameters
    ----------
    results : mapping
        By key.
    what : str
        What a key names.
    """

    def __init__(self, results: Mapping[str, T], what: str = "measure") -> None:
        super().__init__(results)
        self.what = what

    def __missing__(self, key: str) -> T:
        raise KeyError(f"{key!r} is no {self.what}; {hint(str(key), self)}")

    def __reduce__(self) -> tuple[type[Keyed[T]], tuple[dict[str, T], str]]:
        return type(self), (dict(self), self.what)


def whole(option: str, word: str, low: int, high: int | None = None) -> int:
    """The whole number that an option states, from `low` to `high`; raises `BadInput`."""
    right = word.isascii() and word.isdigit() and len(word) < 19
    if not right or int(word) < low or (high is not None and int(word) > high):
        ends = f", {low} or more" if high is None else f" from {low} to {high:,}"
        raise bad(option, word, f"must be a whole number{ends}")
    return int(word)


def amount(option: str, word: str, most: float, unit: str = "") -> float:
    """The number that an option states, above 0 and up to `most`; raises `BadInput`."""
    value = _number(word)
    if not 0 < value <= most:
        allowed = f"must be a number above 0 and up to {most:,.6g} {unit}".rstrip()
        raise bad(option, word, allowed + _comma(word))
    return value


def percent(option: str, word: str, low: float = 0.0, high: float = 100.0) -> float:
    """The share [1] that an option states in percent, from `low` to `high`; raises `BadInput`."""
    value = _number(word)
    if not low <= value <= high:
        allowed = f"must be a number of percent, from {low:g} to {high:g}"
        raise bad(option, word, allowed + _comma(word))
    return value / 100


def _number(word: str) -> float:
    """A number from a typed word; nan if the word is no number."""
    try:
        return float(word) if word.isascii() and "_" not in word else math.nan
    except ValueError:
        return math.nan


def _comma(word: str) -> str:
    return "; the decimal mark is a point" if "," in word else ""
