"""Every measure, declared as a function of sums; and acceptance limits on measures."""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Parameter, bad, hint

SI_SUFFIX = {  # end of a column's name, by kind of measure
    "length": "_m",
    "time": "_s",
    "per_area": "_per_m2",
    "frequency": "_per_s",
    "cells": "_cells",
    "area": "_m2",
}


@dataclass(frozen=True)
class Measure:
    """A measure: its name, its unit and its function of sums.

    Attributes
    ----------
    key : str
        Dotted place in the output, such as ``per_place.miss``.
    kind : str
        ``share``, ``length``, ``time``, ``per_area``, ``frequency``, ``cells`` or ``area``.
    meaning : str
        Meaning in words.
    top : tuple of str
        Columns whose sum is the numerator, for a ratio of sums such as a share.
    bottom : str
        Column of the denominator of a ratio.
    function : callable, optional
        Maps sums by column to a value, for all measures that are no ratio.
    signed : bool
        Whether the measure is a part of a sum: it may be below 0, and means of parts add up.
    """

    key: str
    kind: str
    meaning: str
    top: tuple[str, ...] = ()
    bottom: str = ""
    function: Callable[[dict[str, Any]], Any] | None = None
    signed: bool = False

    def of(self, sums: dict[str, Any]) -> Any:
        """The value, from sums by column (numbers or arrays); lengths are in nominal spacings."""
        if self.function is not None:
            return np.asarray(self.function(sums))
        bottom = sums[self.bottom]
        return sum(sums[name] for name in self.top) / np.where(bottom > 0, bottom, np.nan)


def sd(count: str, total: str, squares: str) -> Callable[[dict[str, Any]], Any]:
    """Function of sums that gives an SD, from columns of counts, of values and of squares."""

    def function(sums: dict[str, Any]) -> Any:
        n = sums[count]
        rest = sums[squares] - sums[total] ** 2 / np.where(n > 0, n, np.nan)
        return np.sqrt(np.maximum(rest, 0.0) / np.where(n > 1, n - 1, np.nan))

    return function


def _ratio(top: str, bottom: str, offset: float = 0.0) -> Callable[[dict[str, Any]], Any]:
    def function(sums: dict[str, Any]) -> Any:
        n = sums[bottom]
        return offset + sums[top] / np.where(n > 0, n, np.nan)

    return function


def _share(key: str, meaning: str, bottom: str, *top: str) -> Measure:
    return Measure(key, "share", meaning, top, bottom)


_spacing_sd = sd("spacings", "excess", "excess2")
_spacing_mean = _ratio("excess", "spacings", 1.0)


def _spacing_cv(sums: dict[str, Any]) -> Any:
    mean = _spacing_mean(sums)  # 0 if all seeds of a resample lie on one spot
    return _spacing_sd(sums) / np.where(mean > 0, mean, np.nan)


MEASURES: tuple[Measure, ...] = (
    _share("cells.skip", "cells that released no seed", "cells", "none"),
    _share("cells.single", "cells that released one seed", "cells", "one"),
    _share("cells.double", "cells that released two seeds", "cells", "two"),
    _share("cells.triple", "cells that released three seeds or more", "cells", "three"),
    Measure(
        "cells.skip_run",
        "cells",
        "mean length of a run of skips, in cells",
        ("none",),
        "skip_runs",
    ),
    _share(
        "per_place.multiple",
        "theoretical places with several seeds (ISO 7256-1)",
        "places",
        "several",
    ),
    _share("per_place.single", "theoretical places with one seed (ISO 7256-1)", "places", "alone"),
    _share("per_place.miss", "theoretical places without a seed (ISO 7256-1)", "places", "vacant"),
    _share(
        "per_spacing.multiple",
        "spacings up to 0.5 of nominal, multiple index D",
        "spacings",
        "class1",
    ),
    _share(
        "per_spacing.quality",
        "spacings from 0.5 to 1.5 of nominal, quality of feed index A",
        "spacings",
        "class2",
    ),
    _share(
        "per_spacing.miss",
        "spacings over 1.5 of nominal, miss index M",
        "spacings",
        "class3",
        "class4",
        "class5",
    ),
    Measure(
        "precision",
        "share",
        "SD of normal spacings over nominal",
        function=sd("class2", "normal", "normal2"),
    ),
    Measure("spacing.mean", "length", "mean of all spacings", function=_spacing_mean),
    Measure("spacing.sd", "length", "SD of all spacings, nothing removed", function=_spacing_sd),
    Measure(
        "spacing.cv",
        "share",
        "SD of all spacings over their mean",
        function=_spacing_cv,
    ),
    _share("spacing.cp3", "spacings within 1.5 cm of nominal (CP3)", "spacings", "close"),
    Measure(
        "drop_time.mean", "time", "mean time from hole to rest", function=_ratio("fall", "seeds")
    ),
    Measure(
        "drop_time.sd",
        "time",
        "SD of the time from hole to rest",
        function=sd("seeds", "fall", "fall2"),
    ),
    Measure(
        "placed.per_area", "per_area", "seeds placed on an area", function=_ratio("seeds", "area")
    ),
    Measure(
        "placed.frequency",
        "frequency",
        "seeds released in a second",
        function=_ratio("seeds", "time"),
    ),
    _share("sensor.seen", "seeds that the sensor counts", "seeds", "pulses"),
    _share(
        "sensor.multiple",
        "spacings up to 0.5 of nominal, as the sensor shows them",
        "shown",
        "shown1",
    ),
    _share(
        "sensor.miss",
        "spacings over 1.5 of nominal, as the sensor shows them",
        "shown",
        "shown3",
        "shown4",
        "shown5",
    ),
    _share("sensor.skip", "cells that the sensor shows as empty", "cells", "dark"),
    _share("sensor.double", "cells that the sensor shows with two or more", "cells", "flickering"),
)
BY_KEY = {measure.key: measure for measure in MEASURES}


def put(made: dict[str, Any], key: str, value: Any, kind: str | None = None) -> None:
    """Store a measure's value under its dotted key, with the unit in the name."""
    *groups, name = key.split(".")
    for group in groups:
        made = made.setdefault(group, {})
    made[name + SI_SUFFIX.get(kind or BY_KEY[key].kind, "")] = value


def number_or_none(value: float) -> float | None:
    """A number for JSON: nan becomes None."""
    return None if math.isnan(value) else value


Flags = NDArray[np.bool_]
PUBLISHED = "good by the classes of onal1995"
PUBLISHED_LIMITS = (
    "per_spacing.quality>=0.904",
    "per_spacing.multiple<=0.048",
    "per_spacing.miss<=0.048",
)
INDICES = ("per_spacing.quality>={}", "per_spacing.multiple<={}", "per_spacing.miss<={}")
STANDARDS: dict[str, tuple[str, ...]] = {
    "db32t1023": tuple(map(str.format, INDICES, (0.80, 0.08, 0.08))),
    "nyt1628": tuple(map(str.format, INDICES, (0.95, 0.02, 0.02))),
    "onal1995": PUBLISHED_LIMITS,
}
"""Limits of quality of feed, multiples and misses, by the key of their source."""
COMPARE: dict[str, Callable[[Floats, float], Flags]] = {"<=": operator.le, ">=": operator.ge}


@dataclass(frozen=True)
class Limit:
    """Acceptance limit of a measure.

    Attributes
    ----------
    key : str
        Key of the measure.
    sign : str
        ``<=`` or ``>=``.
    value : float
        Limit in SI; a share lies from 0 to 1.
    """

    key: str
    sign: str
    value: float

    def __str__(self) -> str:
        return f"{self.key}{self.sign}{self.value:g}"


def read_limits(text: str) -> tuple[Limit, ...]:
    """Limits of a standard by its name, or a single limit as of `read_limit`.

    Raises
    ------
    BadInput
        For any other text.
    """
    if text in STANDARDS:
        return tuple(map(read_limit, STANDARDS[text]))
    if not any(sign in text for sign in "<>"):
        message = f"give {', '.join(STANDARDS)}, or MEASURE<=VALUE such as 'per_spacing.miss<=5%'"
        raise bad(Parameter("limits"), text, f"{message}, in quotes")
    return (read_limit(text),)


def read_limit(text: str) -> Limit:
    """Read a limit such as ``per_spacing.miss<=0.05`` or ``<=5%``; raises `BadInput`."""
    found = re.fullmatch(r"\s*([\w.]+)\s*(<=|>=)\s*([^\s<>=]+)\s*", text)
    if not found:
        message = "must read MEASURE<=VALUE or MEASURE>=VALUE, such as 'per_spacing.miss<=5%'"
        raise bad(Parameter("limits"), text, f"{message}, in quotes")
    key, sign, word = found.groups()
    check_measure(Parameter("limits"), key)
    try:
        value = float(word.removesuffix("%"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise bad(Parameter("limits"), text, f"'{word}' is no number")
    share = BY_KEY[key].kind == "share"
    if word.endswith("%"):
        if not share:
            raise bad(Parameter("limits"), text, "is no share; give a number in SI, without %")
        value /= 100
    if share and not 0 <= value <= 1:
        raise bad(Parameter("limits"), text, "a share is given from 0 to 1: 0.05, or 5%, for 5 %")
    return Limit(key, sign, value)


def check_measure(option: str, key: str) -> None:
    """Refuse a key that is no measure."""
    if key not in BY_KEY:
        raise bad(option, key, f"unknown measure; {hint(key, BY_KEY)}")


FLAT, STEEP = 0.005, 0.01  # loss of quality: within a plateau, and clearly outside it

Floats = NDArray[np.float64]


def crossing(places: Floats, heights: Floats, edge: float) -> float:
    """Place at which heights first reach an edge from below; nan when the first lies above it."""
    k = int(np.argmax(heights >= edge))
    if k == 0:
        return math.nan
    return float(np.interp(edge, heights[k - 1 : k + 1], places[k - 1 : k + 1]))
