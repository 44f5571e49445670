"""What the readers of case files share: checked words and numbers, and how faults tell them."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from typing import Any, TypeGuard

from metersim.faults import bad, hint
from metersim.fields import shown

LONGEST_NAME = 100  # letters of a name, which stands in tables and pictures
LEAST, GREATEST = 1e-6, 1e9  # of a number above 0, and of any number
A_NAME = f"a text in quotes of up to {LONGEST_NAME} letters that can be printed"


def numbers(values: Any, where: str, key: str) -> Sequence[float]:
    """A list of numbers; raises `BadInput`."""
    if not isinstance(values, list) or not values:
        raise bad(where, key, "must be a list of numbers, such as [4, 6]")
    for value in values:
        a_number(value, where, key)
    return values


def a_number(value: Any, where: str, key: str, low: float = -GREATEST) -> float:
    """A number that is not too large to work with; raises `BadInput`."""
    right = isinstance(value, int | float) and not isinstance(value, bool)
    if not right or not low <= value <= GREATEST:
        ends = f"{'above 0, ' if low > 0 else ''}from {low:g} to {GREATEST:g}"
        raise bad(where, key, f"{shown(value)} is not allowed; give a number {ends}")
    return float(value)


def a_positive(value: Any, where: str, key: str) -> float:
    """A number above 0; raises `BadInput`."""
    return a_number(value, where, key, LEAST)


def is_name(word: Any) -> TypeGuard[str]:
    """Whether a word can stand in a table and in a picture."""
    return isinstance(word, str) and 0 < len(word) <= LONGEST_NAME and word.isprintable()


def is_one_of(word: Any, known: Container[str]) -> TypeGuard[str]:
    """Whether something is one of the known words."""
    return isinstance(word, str) and word in known


def hint_of(word: Any, known: Iterable[str]) -> str:
    """As `hint`, of something that may be no word."""
    return hint(word if isinstance(word, str) else "", known)
