"""Plateaus of quality over vacuum: where they end, and what published best vacuums say of them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from metersim.studies.published.outcomes import AGREES, DISAGREES, TREND, Judged
from metersim.studies.published.predictions import Predicted
from metersim.studies.published.statements import Row

FLAT, STEEP = 0.005, 0.01  # of quality: within a plateau, and clearly outside

Floats = NDArray[np.float64]


def lost_quality(made: Predicted, name: str) -> tuple[Floats, Floats]:
    """Vacuums of a varied condition [kPa], and the quality lost there against the best, by draw."""
    points = made.case.along(name)
    quality = np.array([made.values[c.name]["per_spacing.quality"][:, 0] for _, c in points])
    return np.array([vacuum for vacuum, _ in points]), quality.max(axis=0) - quality


def judge_plateau(row: Row, made: Predicted, _: Mapping[str, float]) -> Judged:
    """Whether a published best vacuum lies in a plateau with two ends, by the rules of verdicts."""
    vacuums, lost = lost_quality(made, str(row.stated["of"]))
    published = row.number("published")
    medians = np.median(lost, axis=1)
    at, third, triple = (
        float(medians[np.argmin(np.abs(vacuums - times * published))]) for times in (1, 1 / 3, 3)
    )
    missed = []  # no quality, as of a row without seeds, is no agreement
    if not at <= FLAT:
        missed.append(f"{at * 100:.2g} points below the best at the published vacuum")
    if not third >= STEEP:
        missed.append(f"only {third * 100:.2g} below at a third of it")
    if not triple >= STEEP:
        missed.append(f"only {triple * 100:.2g} below at three times it")
    verdict = AGREES
    if missed:
        verdict = TREND if at < min(third, triple) else DISAGREES
    found = f"{at * 100:.2g} lost there, {third * 100:.3g} at a third, {triple * 100:.3g} at triple"
    return f"best at {published:g} kPa", found, verdict, "; ".join(missed), None


def plateau_ends(made: Predicted, name: str) -> tuple[float, float]:
    """Where the median quality crosses `FLAT` below its best, from below and from above. [kPa]

    On straight lines over the logarithm of vacuum.  An end is nan where the plateau goes on to the
    last vacuum that was run: it may lie anywhere beyond.
    """
    points = made.case.along(name)
    logs = np.log([vacuum for vacuum, _ in points])
    medians = np.array(
        [np.median(made.values[c.name]["per_spacing.quality"][:, 0]) for _, c in points]
    )
    edge = float(medians.max()) - FLAT
    low, high = (crossing(logs[way], medians[way], edge) for way in (np.s_[:], np.s_[::-1]))
    return math.exp(low), math.exp(high)


def crossing(places: Floats, heights: Floats, edge: float) -> float:
    """Place at which heights first reach an edge from below; nan when they begin above it."""
    k = int(np.argmax(heights >= edge))
    if k == 0:
        return math.nan
    return float(np.interp(edge, heights[k - 1 : k + 1], places[k - 1 : k + 1]))


def judge_order(row: Row, made: Predicted, _: Mapping[str, float]) -> Judged:
    """Whether one plateau lies above another."""
    high, low = (plateau_ends(made, str(row.stated[word])) for word in ("of", "over"))
    ends = [pair for pair in zip(high, low, strict=True) if not any(map(math.isnan, pair))]
    if len(ends) == 2:
        right, best = math.prod(high) > math.prod(low), AGREES
    else:
        right, best = bool(ends) and ends[0][0] > ends[0][1], TREND
    why = "" if len(ends) == 2 else f"{2 - len(ends)} of 2 ends beyond what was run"
    found = " over ".join("{} to {} kPa".format(*map(_end, each)) for each in (high, low))
    return "one above the other", found, best if right else DISAGREES, why, None


def _end(vacuum: float) -> str:
    return "..." if math.isnan(vacuum) else f"{vacuum:.3g}"
