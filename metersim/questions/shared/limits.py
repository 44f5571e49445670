"""What is acceptable: limits on measures, published classes, and plateaus."""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import bad, hint
from metersim.measures.indices import BY_KEY

Flags = NDArray[np.bool_]
PUBLISHED = "good by the classes of onal1995"
PUBLISHED_LIMITS = (
    "per_spacing.quality>=0.904",
    "per_spacing.multiple<=0.048",
    "per_spacing.miss<=0.048",
)
COMPARE: dict[str, Callable[[Floats, float], Flags]] = {"<=": operator.le, ">=": operator.ge}


@dataclass(frozen=True)
class Limit:
    """What a measure must keep to.

    Attributes
    ----------
    key : str
        A measure.
    sign : str
        ``<=`` or ``>=``.
    value : float
        In SI; a share from 0 to 1.
    """

    key: str
    sign: str
    value: float

    def __str__(self) -> str:
        return f"{self.key}{self.sign}{self.value:g}"


def read_limit(text: str) -> Limit:
    """A limit from its text, such as ``per_spacing.miss<=0.05``; raises `BadInput`."""
    found = re.fullmatch(r"\s*([\w.]+)\s*(<=|>=)\s*([^\s<>=]+)\s*", text)
    if not found:
        message = "must read MEASURE<=VALUE or MEASURE>=VALUE, such as 'per_spacing.miss<=0.05'"
        raise bad("--limit", text, f"{message}, in quotes")
    key, sign, word = found.groups()
    check_measure("--limit", key)
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise bad("--limit", text, f"'{word}' is no number")
    if BY_KEY[key].kind == "share" and not 0 <= value <= 1:
        raise bad("--limit", text, "a share is given from 0 to 1: 0.05 for 5 %")
    return Limit(key, sign, value)


def check_measure(option: str, key: str) -> None:
    """Refuse what is no measure."""
    if key not in BY_KEY:
        raise bad(option, key, f"unknown measure; {hint(key, BY_KEY)}")


FLAT, STEEP = 0.005, 0.01  # of quality: within a plateau, and clearly outside

Floats = NDArray[np.float64]


def crossing(places: Floats, heights: Floats, edge: float) -> float:
    """Place at which heights first reach an edge from below; nan when they begin above it."""
    k = int(np.argmax(heights >= edge))
    if k == 0:
        return math.nan
    return float(np.interp(edge, heights[k - 1 : k + 1], places[k - 1 : k + 1]))
