"""Records -> measures with intervals.

A run is cut into stretches of cells; every measure is a function of sums over the stretches, and
its interval comes from how these differ (`metersim.intervals`).  Replicates add stretches.
The same stretches of two runs on the same luck can be paired.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.intervals import Estimate, interval, paired_interval, share_interval
from metersim.records import REASONS, Run
from metersim.spacing import class_columns, classify, place_counts
from metersim.stations import PASSES
from metersim.streams import Streams

STRETCHES = 48  # stretches in all, over all replicates
SHORTEST = 25  # cells in a stretch
CP3_WINDOW = 0.03  # m
SI_SUFFIX = {  # of a column, by kind of measure
    "length": "_m",
    "time": "_s",
    "per_area": "_per_m2",
    "frequency": "_per_s",
    "cells": "_cells",
}

Floats = NDArray[np.float64]


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
        For a ratio of sums: the columns of the numerator, added up.
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


_spacing_sd = _sd("spacings", "excess", "excess2")
MEASURES: tuple[Measure, ...] = (
    Measure("cells.skip", "share", "cells that released no seed", ("none",), "cells"),
    Measure("cells.single", "share", "cells that released one seed", ("one",), "cells"),
    Measure("cells.double", "share", "cells that released two seeds", ("two",), "cells"),
    Measure("cells.triple", "share", "cells that released three seeds", ("three",), "cells"),
    Measure(
        "cells.skip_run",
        "cells",
        "mean length of a run of skips, in cells",
        function=_ratio("none", "skip_runs"),
    ),
    Measure(
        "per_place.multiple",
        "share",
        "theoretical places with several seeds (ISO 7256-1)",
        ("several",),
        "places",
    ),
    Measure(
        "per_place.single",
        "share",
        "theoretical places with one seed (ISO 7256-1)",
        ("alone",),
        "places",
    ),
    Measure(
        "per_place.miss",
        "share",
        "theoretical places without a seed (ISO 7256-1)",
        ("vacant",),
        "places",
    ),
    Measure(
        "per_spacing.multiple",
        "share",
        "spacings up to 0.5 of nominal, multiple index D",
        ("class1",),
        "spacings",
    ),
    Measure(
        "per_spacing.quality",
        "share",
        "spacings from 0.5 to 1.5 of nominal, quality of feed index A",
        ("class2",),
        "spacings",
    ),
    Measure(
        "per_spacing.miss",
        "share",
        "spacings over 1.5 of nominal, miss index M",
        ("class3", "class4", "class5"),
        "spacings",
    ),
    Measure(
        "precision",
        "share",
        "SD of normal spacings over nominal",
        function=_sd("class2", "normal", "normal2"),
    ),
    Measure(
        "spacing.mean", "length", "mean of all spacings", function=_ratio("excess", "spacings", 1.0)
    ),
    Measure("spacing.sd", "length", "SD of all spacings, nothing removed", function=_spacing_sd),
    Measure(
        "spacing.cv",
        "share",
        "SD of all spacings over their mean",
        function=lambda sums: _spacing_sd(sums) / _ratio("excess", "spacings", 1.0)(sums),
    ),
    Measure(
        "spacing.cp3", "share", "spacings within 1.5 cm of nominal (CP3)", ("close",), "spacings"
    ),
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
    Measure("sensor.seen", "share", "seeds that the sensor counts", ("pulses",), "seeds"),
    Measure(
        "sensor.multiple",
        "share",
        "spacings up to 0.5 of nominal, as the sensor shows them",
        ("shown1",),
        "shown",
    ),
    Measure(
        "sensor.miss",
        "share",
        "spacings over 1.5 of nominal, as the sensor shows them",
        ("shown3", "shown4", "shown5"),
        "shown",
    ),
)
BY_KEY = {measure.key: measure for measure in MEASURES}


def stretch_sums(run: Run, stretches: int) -> dict[str, Floats]:
    """Sums of everything that measures are made of, over equal stretches of cells.

    Lengths are in nominal spacings.

    Parameters
    ----------
    run : Run
        A run.
    stretches : int
        How many, 1 or more.

    Returns
    -------
    dict of str to ndarray, shape (stretches,)
        Sums by column.
    """
    nominal, speed = run.scenario.spacing, run.scenario.demand.speed
    seeds, count = run.seeds, len(run.cells)

    def add_up(cells: NDArray[np.int64], values: Any = None) -> Floats:
        where = cells * stretches // count
        return np.bincount(where, values, minlength=stretches).astype(float)

    passage = np.arange(count)
    released = run.cells.released
    skip = released == 0
    sums = {
        "cells": add_up(passage),
        "skip_runs": add_up(passage, skip & ~np.concatenate(([False], skip[:-1]))),
    }
    for loads, name in enumerate(("none", "one", "two", "three")):
        sums[name] = add_up(passage, released == loads)
    order = np.argsort(seeds.position, kind="stable")
    left = seeds.cell[order][:-1]
    gaps = np.diff(seeds.position[order]) / nominal
    _add_classes(sums, "class", add_up, left, gaps)
    sums["spacings"] = add_up(left)
    sums["excess"] = add_up(left, gaps - 1)
    sums["excess2"] = add_up(left, (gaps - 1) ** 2)
    normal = classify(gaps, 1.0) == 1
    sums["normal"] = add_up(left, np.where(normal, gaps - 1, 0))
    sums["normal2"] = add_up(left, np.where(normal, (gaps - 1) ** 2, 0))
    sums["close"] = add_up(left, np.abs(gaps - 1) * nominal <= CP3_WINDOW / 2 * (1 + 1e-9))
    by_class = np.stack([sums[f"class{k}"] for k in range(1, 6)], axis=1)
    several, alone, vacant = place_counts(by_class.astype(np.int64)).T.astype(float)
    sums |= {
        "several": several,
        "alone": alone,
        "vacant": vacant,
        "places": several + alone + vacant,
    }
    fall = seeds.landing_time - seeds.release_time
    sums["seeds"] = add_up(seeds.cell)
    sums["fall"] = add_up(seeds.cell, fall)
    sums["fall2"] = add_up(seeds.cell, fall**2)
    sums["pulses"] = add_up(seeds.cell, seeds.seen)
    edges = np.ceil(np.arange(stretches + 1) * count / stretches)
    angles = edges * 2 * math.pi / run.scenario.disc.cells + PASSES[-1]
    turned = run.scenario.tick_angles(len(run.ticks))
    sums["time"] = np.diff(np.interp(angles, turned, run.ticks.time))
    sums["area"] = sums["time"] * speed * run.scenario.demand.row_spacing
    seen = np.flatnonzero(seeds.seen)
    in_time = seen[np.argsort(seeds.sensor_time[seen], kind="stable")]
    shown = np.diff(seeds.sensor_time[in_time]) * speed / nominal
    _add_classes(sums, "shown", add_up, seeds.cell[in_time][:-1], shown)
    sums["shown"] = add_up(seeds.cell[in_time][:-1])
    return sums


def _add_classes(
    sums: dict[str, Floats], name: str, add_up: Any, left: NDArray[np.int64], gaps: Floats
) -> None:
    for k, column in enumerate(class_columns(gaps, 1.0).T, start=1):
        sums[f"{name}{k}"] = add_up(left, column)


@dataclass(frozen=True)
class Measured:
    """Runs of one scenario, summed up.

    Attributes
    ----------
    runs : tuple of Run
        One run a replicate.
    level : float
        Coverage of the intervals.
    stretches : int or None
        Stretches in each run; None for as many as the cells allow.
    """

    runs: tuple[Run, ...]
    level: float = 0.95
    stretches: int | None = None

    @cached_property
    def sums(self) -> dict[str, Floats]:
        """Sums over all stretches of all runs, by column."""
        cells = min(len(run.cells) for run in self.runs)
        each = self.stretches or stretches_for(cells, len(self.runs))
        parts = [stretch_sums(run, each) for run in self.runs]
        return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}

    @cached_property
    def estimates(self) -> dict[str, Estimate]:
        """Every measure with its interval, by key, in SI."""
        rng = Streams(self.runs[0].seed).generator("resampling")
        return {measure.key: self._estimate(measure, rng) for measure in MEASURES}

    def __getitem__(self, key: str) -> Estimate:
        return self.estimates[key]

    def _estimate(self, measure: Measure, rng: np.random.Generator) -> Estimate:
        sums = self.sums
        if measure.function is None:
            top = np.sum([sums[name] for name in measure.top], axis=0)
            return share_interval(top, sums[measure.bottom], level=self.level)
        names, table = list(sums), np.stack(list(sums.values()), axis=1)
        scale = self._scale(measure)

        def statistic(totals: Floats) -> Floats:
            columns = {name: totals[..., k] for k, name in enumerate(names)}
            value: Floats = scale * measure.function(columns)  # type: ignore[misc]
            return value

        return interval(table, statistic, rng, self.level, floor=0.0)

    def _scale(self, measure: Measure) -> float:
        return self.runs[0].scenario.spacing if measure.kind == "length" else 1.0

    def total(self, column: str) -> int:
        """Sum of a column of counts over all stretches."""
        return int(self.sums[column].sum())

    @property
    def counts(self) -> dict[str, int]:
        """Whole numbers behind the measures."""
        names = ("cells", "seeds", "none", "one", "two", "three", "spacings", "pulses")
        labels = ("cells", "seeds", "skips", "singles", "doubles", "triples", "spacings", "pulses")
        made = {label: self.total(name) for label, name in zip(labels, names, strict=True)}
        made["classes"] = [self.total(f"class{k}") for k in range(1, 6)]  # type: ignore[assignment]
        made["longest_skip_run"] = max(_longest_run(run.cells.released == 0) for run in self.runs)
        return made

    @cached_property
    def reasons(self) -> NDArray[np.int64]:
        """Cells by the reason for what they released, see `metersim.records.REASONS`."""
        reasons = np.concatenate([run.cells.reason for run in self.runs])
        return np.bincount(reasons, minlength=len(REASONS)).astype(np.int64)


def difference(a: Measured, b: Measured, measure: Measure) -> Estimate:
    """How much a measure of `b` lies above that of `a`, paired by stretches on the same luck.

    Both must have the same number of replicates and of stretches, over about as many cells.
    """
    names = list(a.sums)
    rng = Streams(a.runs[0].seed).generator("resampling")
    tables = [np.stack(list(part.sums.values()), axis=1) for part in (a, b)]
    if measure.kind == "length":
        tables = [
            np.concatenate([t, np.full((len(t), 1), p._scale(measure) / len(t))], axis=1)
            for t, p in zip(tables, (a, b), strict=True)
        ]

    def statistic(totals: Floats) -> Floats:
        columns = {name: totals[..., k] for k, name in enumerate(names)}
        if measure.function is None:
            top = sum(columns[name] for name in measure.top)
            bottom = columns[measure.bottom]
            value: Floats = top / np.where(bottom > 0, bottom, np.nan)
        else:
            value = np.asarray(measure.function(columns))
        return value * totals[..., -1] if measure.kind == "length" else value

    return paired_interval(tables[0], tables[1], statistic, rng, a.level)


def _longest_run(flags: NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(int), [0]))))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def stretches_for(cells: int, replicates: int) -> int:
    """Stretches to cut each of some replicates of so many cells into."""
    return max(1, min(round(STRETCHES / replicates), cells // SHORTEST))


def measure(
    runs: Run | Sequence[Run], *, level: float = 0.95, stretches: int | None = None
) -> Measured:
    """Measures of a run, or of replicates of one scenario, with intervals.

    Parameters
    ----------
    runs : Run or sequence of Run
        At least one.
    level : float
        Coverage of the intervals.
    stretches : int, optional
        Stretches in each run; as many as the cells allow, when not given.

    Returns
    -------
    Measured
        Estimates by key, such as ``measure(run)["per_spacing.miss"]``.
    """
    return Measured(tuple(runs) if isinstance(runs, Sequence) else (runs,), level, stretches)
