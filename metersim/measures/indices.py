"""What is measured of runs: every measure by name, as a function of sums.

Sums are those of `metersim.measures.tally`, over any stretch; a measure knows nothing of intervals.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

SI_SUFFIX = {  # of a column, by kind of measure
    "length": "_m",
    "time": "_s",
    "per_area": "_per_m2",
    "frequency": "_per_s",
    "cells": "_cells",
}


@dataclass(frozen=True)
class Measure:
    """What is estimated.

    Attributes
    ----------
    key : str
        Dotted place in the output, such as ``per_place.miss``.
    kind : str
        ``share``, ``length``, ``time``, ``per_area``, ``frequency`` or ``cells``.
    meaning : str
        In words.
    top : tuple of str
        For a ratio of sums, such as a share or a mean length of runs: the columns of the
        numerator, added up.
    bottom : str
        Column of the denominator.
    function : callable, optional
        For anything else: maps the column sums of a dict of columns to a value.
    """

    key: str
    kind: str
    meaning: str
    top: tuple[str, ...] = ()
    bottom: str = ""
    function: Callable[[dict[str, Any]], Any] | None = None

    def of(self, sums: dict[str, Any]) -> Any:
        """The value from sums by column, numbers or arrays; lengths in nominal spacings."""
        if self.function is not None:
            return np.asarray(self.function(sums))
        bottom = sums[self.bottom]
        return sum(sums[name] for name in self.top) / np.where(bottom > 0, bottom, np.nan)


def _sd(count: str, total: str, squares: str) -> Callable[[dict[str, Any]], Any]:
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


_spacing_sd = _sd("spacings", "excess", "excess2")
_spacing_mean = _ratio("excess", "spacings", 1.0)


def _spacing_cv(sums: dict[str, Any]) -> Any:
    mean = _spacing_mean(sums)  # 0 where all seeds of a resample lie on one spot
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
        function=_sd("class2", "normal", "normal2"),
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
        function=_sd("seeds", "fall", "fall2"),
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
)
BY_KEY = {measure.key: measure for measure in MEASURES}


def put(made: dict[str, Any], key: str, value: Any, kind: str | None = None) -> None:
    """Set a measure's value at its dotted place, with its unit."""
    *groups, name = key.split(".")
    for group in groups:
        made = made.setdefault(group, {})
    made[name + SI_SUFFIX.get(kind or BY_KEY[key].kind, "")] = value


def number_or_none(value: float) -> float | None:
    """A number as JSON can say it: nan is None."""
    return None if math.isnan(value) else value
