"""What measured spacings allow to say: differences, the part that is likely, what is visible."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from metersim.distributions.normal import ndtri
from metersim.measures.cellfit import MISFIT, misfit
from metersim.measures.intervals import Estimate
from metersim.questions.measured.cells import FITTED, ValuePair
from metersim.questions.measured.rows import DOUBLE, MISSING, SCATTER, SKIP, widening
from metersim.questions.measured.study import Counted

OWN_MISFIT = 0.03
"""Distance from the fit that spacings of the model itself reach; up to 0.030 in 5,000 spacings of
each shipped scenario. [1]"""
POWER = 0.8  # share of counts in which a visible difference is detected
PARTS = {
    SKIP: "singulator or vacuum",
    DOUBLE: "singulator",
    SCATTER: "tube",
    MISSING: "seed, soil or depth; or skips, from singulator or vacuum",
}
"""Likely cause of a measure that is too high."""


@dataclass(frozen=True)
class Finding:
    """A measure that differs from its prediction.

    Attributes
    ----------
    name : str
        Skips, doubles or scatter.
    key : str
        Measure whose values are given.
    pair : ValuePair
        Measured and predicted value.
    part : str
        Likely cause where the measure is higher.
    """

    name: str
    key: str
    pair: ValuePair
    part: str

    @property
    def is_higher(self) -> bool:
        """Whether the measured value is the higher one."""
        return self.pair.measured.value > self.pair.predicted.value


def findings(found: Counted) -> tuple[Finding, ...]:
    """Measures that differ from their prediction.

    Returns
    -------
    tuple of Finding
        Spacings of the scenario itself give none in 95 of 100 cases.

    Notes
    -----
    Doubles differ if their fitted interval does not hold the prediction, and if close spacings lie
    outside the range of counts of this length.  So do skips with missed spacings, and scatter with
    the spread of normal spacings, which many doubles widen, too.  All ends are widened for the
    number of comparisons (Bonferroni).
    """
    if found.fit is None:
        return ()
    tests = [(DOUBLE, "fit.double", "per_spacing.multiple")]
    if found.emergence != FITTED:
        tests.append((SKIP, "fit.skip", "per_spacing.miss"))
    tests.append((SCATTER, "fit.scatter", "precision"))
    factor = widening(found.size, len(tests), found.level)
    differing: list[Finding] = []
    for name, fitted, like in tests:
        key = like if name == SCATTER else fitted
        sides = {_side(found[one], factor) for one in (fitted, like)}
        if len(sides) == 1 and 0 not in sides:
            part = PARTS[name]
            if name == SCATTER and any(one.name == DOUBLE and one.is_higher for one in differing):
                part = "tube, or the doubles, which scatter more"
            differing.append(Finding(name, key, found[key], part))
    return tuple(differing)


def _side(one: ValuePair, factor: float) -> int:
    """1 where the measured value is detected as higher, -1 as lower, 0 otherwise."""
    ranged = not math.isnan(one.predicted.low)
    middle = one.predicted if ranged else one.measured
    other = one.measured.value if ranged else one.predicted.value
    if math.isnan(other) or math.isnan(middle.low):
        return 0
    value, low, high, other = (
        math.asin(math.sqrt(min(max(end, 0.0), 1.0)))
        for end in (middle.value, middle.low, middle.high, other)
    )
    slack = 1e-9
    if other > value + factor * (high - value) + slack:
        return 1 if ranged else -1
    if other < value - factor * (value - low) - slack:
        return -1 if ranged else 1
    return 0


def is_misfit(found: Counted) -> bool:
    """Whether the fitted cells do not describe the spacings, beyond what the model itself does."""
    if found.fit is None:
        return False
    allowed = MISFIT + OWN_MISFIT * math.sqrt(found.size)
    return misfit(found.fit, np.concatenate(found.rows)) > allowed


def visible(found: Counted) -> tuple[float, float] | None:
    """Two shares of normal spacings that these spacings cannot distinguish, rounded to a percent.

    Returns
    -------
    tuple of float or None
        The lower share, and the predicted one [1]; None without a range of counts of this length.

    Notes
    -----
    ``gap = 1.96 sd + 0.84 sd_low``, where `sd` is that of counts of this length about the predicted
    share and `sd_low` that about the lower share.  A larger gap is detected in `POWER` of such
    counts.  Source: usual size of a sample, from memory.
    """
    one = found["per_spacing.quality"].predicted
    if math.isnan(one.low) or not 0 < one.value < 1:
        return None
    test, sure = float(ndtri(0.5 + found.level / 2)), float(ndtri(POWER))
    high = round(one.value, 2)
    effect = ((one.high - one.low) / 2 / test) ** 2 / (one.value * (1 - one.value))

    def sd(share: float) -> float:
        return math.sqrt(effect * share * (1 - share))

    shares = [percent / 100 for percent in range(1, round(100 * high))]
    lower = [one for one in shares if high - one <= test * sd(high) + sure * sd(one)]
    return (lower[0], high) if lower else None


def population(found: Counted) -> Estimate:
    """Seeds, or plants where plants were measured, on an area. [1/m2]"""
    mean, row = found["spacing.mean"].measured, found.scenario.demand.row_spacing
    return Estimate(*(1 / (end * row) for end in (mean.value, mean.high, mean.low)))


@dataclass(frozen=True)
class Gap:
    """A long gap: its length and where it begins [m], and the name of its row."""

    length: float
    begin: float
    label: str


def longest_gaps(found: Counted, most: int = 3) -> tuple[Gap, ...]:
    """The longest spacings, the longest first.

    The place is that of the seed before the gap: as the file gives it, or from the first seed where
    spacings were measured.
    """
    source = found.source
    scale = found.scenario.demand.speed if source.kind == "time" else 1.0
    gaps: list[Gap] = []
    for k, row in enumerate(source.rows):
        start = source.starts[k] if source.starts else 0.0
        places = scale * (start + np.concatenate([[0.0], np.cumsum(row)]))
        label = source.labels[k] if source.labels else ""
        if not label and len(source.rows) > 1:
            label = f"row {k + 1}"
        for j in np.argsort(-row, kind="stable")[:most]:
            gaps.append(Gap(scale * float(row[j]), float(places[j]), label))
    return tuple(sorted(gaps, key=lambda gap: -gap.length)[:most])
