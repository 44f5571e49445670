"""Rows or files that were measured beside one another: fits of each, and which differ."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.quantiles import stdtrit
from metersim.files.faults import bad
from metersim.measures.cellfit import STRETCH, fit_cells
from metersim.measures.cellmodel import MOST_BLOCKS
from metersim.measures.intervals import Estimate
from metersim.questions.measured.cells import ENOUGH, FITTED, parameters
from metersim.questions.shared.spacings import MeasuredSpacings

SKIP, DOUBLE, SCATTER, MISSING = "skips", "doubles", "scatter", "not emerged"
FALSE_ALARMS = 0.05  # of all differences of one answer together, where no row differs

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RowFit:
    """One row or file by itself.

    Attributes
    ----------
    label : str
        Name.
    size : int
        Number of spacings.
    values : mapping of str to Estimate
        Skips, doubles and seeds that did not emerge [1], and scatter [m], by name; only what is
        fitted.  Empty with fewer than `ENOUGH` spacings.
    """

    label: str
    size: int
    values: Mapping[str, Estimate]


@dataclass(frozen=True)
class RowDifference:
    """A measure in which one row is worse than the others.

    Attributes
    ----------
    label, name : str
        Row and measure.
    own : float
        Value of the row, in SI.
    others : float
        Value of the other rows, in SI: the middle on the scale of the test.
    """

    label: str
    name: str
    own: float
    others: float


def joined(sources: Sequence[MeasuredSpacings]) -> MeasuredSpacings:
    """Spacings of several files as one; each file, or each of its rows, keeps a name.

    Raises
    ------
    BadInput
        Without a file, when times and lengths are mixed, or when two rows have one name.
    """
    if not sources:
        raise bad("measured", "", "no file is given; give one or more")
    if len(sources) == 1:
        return sources[0]
    if len({one.kind == "time" for one in sources}) > 1:
        raise bad("measured", "", "some files give times and others lengths; compare one kind")
    paths = [Path(one.where) for one in sources]
    short = len({path.name for path in paths}) == len(paths)
    names = [path.name if short else one.where for path, one in zip(paths, sources, strict=True)]
    labels: list[str] = []
    for name, one in zip(names, sources, strict=True):
        if name in labels:
            raise bad("measured", "", f"{name} is given twice")
        labels += [f"{name} {row}" for row in one.labels] or [name] * len(one.rows)
    known = all(one.starts for one in sources)
    return replace(
        sources[0],
        rows=tuple(row for one in sources for row in one.rows),
        where=", ".join(names),
        column=", ".join(dict.fromkeys(one.column for one in sources)),
        labels=tuple(labels),
        starts=tuple(start for one in sources for start in one.starts) if known else (),
    )


def fitted_rows(
    source: MeasuredSpacings,
    scale: float,
    truth: Mapping[str, float],
    kind: str,
    left: float,
    *,
    nominal: float,
    level: float,
) -> tuple[RowFit, ...]:
    """Each named row by itself; nothing for fewer than two.

    Parameters
    ----------
    source : MeasuredSpacings
        Spacings with names of rows.
    scale : float
        Speed where times were measured [m/s], otherwise 1.
    truth, kind, left, nominal
        As for `metersim.questions.measured.cells.parameters`.
    level : float
        Coverage of intervals.
    """
    groups: dict[str, list[Floats]] = {}
    for label, row in zip(source.labels, source.rows, strict=False):
        groups.setdefault(label, []).append(row * (scale / nominal))
    if len(groups) < 2:
        return ()
    made = []
    for label, rows in groups.items():
        size = sum(row.size for row in rows)
        values: dict[str, Estimate] = {}
        if size >= ENOUGH:
            pairs, _ = parameters(fit_cells(rows, level=level), truth, kind, left, nominal)
            found = {key: pair.measured for key, pair in pairs.items()}
            if kind == FITTED:
                up = found["fit.emergence"]
                values[MISSING] = Estimate(1 - up.value, 1 - up.high, 1 - up.low)
            else:
                values[SKIP] = found["fit.skip"]
            values |= {DOUBLE: found["fit.double"], SCATTER: found["fit.scatter"]}
        made.append(RowFit(label, size, values))
    return tuple(made)


def row_differences(each: Sequence[RowFit], level: float = 0.95) -> tuple[RowDifference, ...]:
    """Measures in which a row is worse than the others.

    Parameters
    ----------
    each : sequence of RowFit
        Rows; those without a fit are left out.
    level : float
        Coverage of their intervals.

    Returns
    -------
    tuple of RowDifference
        Where all rows are alike, there is none in 95 of 100 cases.

    Notes
    -----
    A row is compared with the mean of the others, on the scale ``asin sqrt`` of a share and on the
    logarithm of a scatter.  The interval of the difference is the root of the sum of squares of the
    distances to the nearer ends (Zou & Donner 2008, from memory).  It is widened for the number of
    comparisons (Bonferroni).
    """
    known = [one for one in each if one.values]
    if len(known) < 2:
        return ()
    names = list(known[0].values)
    many = len(names) * (len(known) if len(known) > 2 else 1)
    factor = widening(min(one.size for one in known), many, level)
    found = []
    for name in names:
        ends = [_on_scale(name, one.values[name]) for one in known]
        for k, (value, low, _) in enumerate(ends):
            rest = [end for j, end in enumerate(ends) if j != k]
            mean = float(np.mean([end[0] for end in rest]))
            above = math.sqrt(sum((end[2] - end[0]) ** 2 for end in rest)) / len(rest)
            if value - mean > factor * math.hypot(value - low, above):
                own = known[k].values[name].value
                found.append(RowDifference(known[k].label, name, own, _back(name, mean)))
    return tuple(found)


def widening(size: int, many: int, level: float) -> float:
    """Factor on an interval, so that several comparisons together have `FALSE_ALARMS`.

    Parameters
    ----------
    size : int
        Number of spacings; a block of the fit has ten.
    many : int
        Number of comparisons.
    level : float
        Coverage of the interval.
    """
    free = max(min(size // STRETCH, MOST_BLOCKS) - 1, 1)
    wide = float(stdtrit(free, 1 - FALSE_ALARMS / many / 2))
    return wide / float(stdtrit(free, 0.5 + level / 2))


def _on_scale(name: str, one: Estimate) -> tuple[float, float, float]:
    ends = (one.value, one.low, one.high)
    if name == SCATTER:
        value, low, high = (math.log(max(end, 1e-6)) for end in ends)
    else:
        value, low, high = (math.asin(math.sqrt(min(max(end, 0.0), 1.0))) for end in ends)
    return value, low, high


def _back(name: str, value: float) -> float:
    return math.exp(value) if name == SCATTER else math.sin(value) ** 2
