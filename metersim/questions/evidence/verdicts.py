"""What counts as agreement between the model and a published statement.

A prediction is a distribution over draws of what the source does not state.  The rules:

- level: the published value inside the 90 % interval of what the source would print: of an unknown
  machine, what the source leaves open, the error of the model, and the sampling error of as many
  spacings as it counted (250 where it does not say).  A level outside
  disagrees, whatever else agrees.  The mean width of the intervals is reported, too.
- order: the sign right in 95 % of the draws.
- same: the median within what the row allows.
- bound: kept in 90 % of the draws.
- plateau: at the published vacuum quality within 0.5 percentage points of its best, and at a third
  and at three times that vacuum at least 1 percentage point below the best; medians over draws.
- plateau order: the middle of one plateau, between its ends, above that of the other; a plateau
  that goes on to the last vacuum that was run has no end there.
- straight: a line explains 95 % of the variance of the medians, with the right sign.
- reach: the height of pick-up within a fifth of the published one; reach order: hole matters more
  than vacuum, each from the least to the greatest.  Neither has an interval.

A level and 'same' agree or disagree.  Other statements that miss their rule agree in trend only if
their direction is right:

- reach: on the right side of all other reaches of the source.
- order, bound: right in three quarters of the draws.
- plateau: quality at the published vacuum is above that at either end.
- plateau order: there is one pair of ends only, and it is in order.
- straight: the sign is right.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.holding import DISCHARGE, capture_distance
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import AIR_DENSITY
from metersim.measures.indices import FLAT, STEEP, crossing
from metersim.measures.intervals import jackknife
from metersim.questions.evidence.predictions import Predicted
from metersim.questions.evidence.printed import printed, unit_of
from metersim.questions.shared.statements import Row

LEVEL = 0.90  # coverage of an interval
AGREES, TREND, DISAGREES = VERDICTS = ("agrees", "trend only", "disagrees")


@dataclass(frozen=True)
class Interval:
    """Median and interval of a prediction, and the published value, in one unit.

    Attributes
    ----------
    published : float
        Published value; nan for a statement of direction.
    median, low, high : float
        Median and interval over draws.
    sampling : float
        Sampling variance over the variance of draws; nan where unknown. [1]
    unit : str
        Symbol of the unit.
    """

    published: float
    median: float
    low: float
    high: float
    sampling: float
    unit: str


@dataclass(frozen=True)
class Outcome:
    """Verdict on a published statement.

    Attributes
    ----------
    case, row, kind : str
        Name of the case, the row's name and its kind.
    published, predicted : str
        Published and predicted values in words and numbers.
    verdict : str
        One of `VERDICTS`.
    why : str
        Missed rule; empty when the statement agrees.
    interval : Interval, optional
        Numbers for a figure, if there are any.
    """

    case: str
    row: str
    kind: str
    published: str
    predicted: str
    verdict: str
    why: str = ""
    interval: Interval | None = None


Judged = tuple[str, str, str, str, Interval | None]  # published, predicted, verdict, why, numbers


def central(values: NDArray[np.float64]) -> tuple[Any, Any, Any]:
    """Low end, median and high end over draws, along the last axis."""
    low, median, high = np.quantile(
        values, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2], axis=-1, method="weibull"
    )
    return low, median, high


def lost_quality(made: Predicted, name: str) -> tuple[Floats, Floats]:
    """Vacuums of a varied condition [kPa], and quality below the best there, by draw."""
    points = made.case.along(name)
    quality = np.array([made.values[c.name]["per_spacing.quality"][:, 0] for _, c in points])
    return np.array([vacuum for vacuum, _ in points]), quality.max(axis=0) - quality


def judge_plateau(row: Row, made: Predicted, _: int) -> Judged:
    """Judge whether a published best vacuum lies in a plateau with two ends."""
    vacuums, lost = lost_quality(made, str(row.stated["of"]))
    published = row.number("published")
    medians = np.median(lost, axis=1)
    at, third, triple = (
        float(medians[np.argmin(np.abs(vacuums - times * published))]) for times in (1, 1 / 3, 3)
    )
    missed = []  # a missing quality, as without seeds, is no agreement
    if not at <= FLAT:
        missed.append(f"{at * 100:.2g} percentage points below the best at the published vacuum")
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
    """Ends of a plateau: vacuums at which the median quality lies `FLAT` below its best. [kPa]

    They are interpolated linearly over the logarithm of vacuum.  An end is nan where the plateau
    extends to the last vacuum of a run.
    """
    points = made.case.along(name)
    logs = np.log([vacuum for vacuum, _ in points])
    medians = np.array(
        [np.median(made.values[c.name]["per_spacing.quality"][:, 0]) for _, c in points]
    )
    edge = float(medians.max()) - FLAT
    low, high = (crossing(logs[way], medians[way], edge) for way in (np.s_[:], np.s_[::-1]))
    return math.exp(low), math.exp(high)


def judge_order(row: Row, made: Predicted, _: int) -> Judged:
    """Judge whether one plateau lies above another."""
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


ORDER = 0.95  # share of the draws that must have the right sign
STRAIGHT = 0.95  # share of the variance; a square law over four even steps from 0.4 has 0.92
MOSTLY = 0.75  # share of the draws, for a trend
REACH_TOLERANCE = 0.2  # relative error of a height

Floats = NDArray[np.float64]


def judge(predictions: Sequence[Predicted], seed: int = 1) -> tuple[Outcome, ...]:
    """Judge all rows of all cases.

    Parameters
    ----------
    predictions : sequence of Predicted
        Predictions of `metersim.questions.evidence.predictions.predict`.
    seed : int
        Random seed of the counts of levels.
    """
    return tuple(
        Outcome(
            made.case.name,
            row.name,
            row.kind,
            *(_no_value(row, made) or JUDGES[row.kind](row, made, seed)),
        )
        for made in predictions
        for row in made.case.rows
    )


def _no_value(row: Row, made: Predicted) -> Judged | None:
    """Verdict on a row whose run has no value, as without any spacing; None otherwise."""
    values = [made.total(row.terms)[:, 0]] if row.terms else []
    measure = str(row.stated.get("measure", "per_spacing.quality"))
    for name in () if row.kind.startswith("reach") else map(row.stated.get, ("of", "over")):
        values += [made.values[c.name][measure][:, 0] for _, c in made.case.along(str(name))]
    empty = sum(int(np.isnan(one).sum()) for one in values)
    if not empty:
        return None
    published = f"{row.number('published'):g}" if "published" in row.stated else row.kind
    why = "runs too short or too empty to measure it"
    return published, f"no value in {empty} of {sum(map(len, values))} runs", DISAGREES, why, None


def _interval(row: Row, made: Predicted, published: float = math.nan) -> Interval:
    """Numbers of a row about a sum of measures, in its unit."""
    symbol, unit = unit_of(row)
    points = made.total(row.terms) / unit
    values = points[:, 0]
    low, median, high = map(float, central(values))
    among = float(np.var(values, ddof=1))
    sampling_variance = float(np.mean([jackknife(own[1:]) for own in points]))
    ratio = sampling_variance / among if among > 0 else 0 * sampling_variance
    sampling = min(ratio, 1.0)  # min keeps a nan that stands first
    return Interval(published, median, low, high, sampling, symbol)


def _text(interval: Interval) -> str:
    ends = f"{interval.low:.3g} to {interval.high:.3g}"
    return f"{interval.median:.3g} ({ends}) {interval.unit}".rstrip()


def _level(row: Row, made: Predicted, seed: int) -> Judged:
    aim = row.number("published")
    symbol, unit = unit_of(row)
    posterior, many = next(iter(made.case.conditions.values())).parts[0].posterior, made.draws
    errors = {
        "discrepancy": np.resize(posterior.share, many),
        "relative": np.resize(posterior.spread, many),
    }
    values = printed(made, row, seed, **errors)
    low, median, high = map(float, central(values))
    points = made.total(row.terms) / unit
    own = float(np.mean([jackknife(one[1:]) for one in points]))
    inputs = max(float(np.var(points[:, 0], ddof=1)) - own, 0.0) / made.case.machines
    among = float(np.var(values, ddof=1))
    sampling = math.nan if math.isnan(own) else 1 - min(inputs / among, 1.0) if among > 0 else 0.0
    found = Interval(aim, median, low, high, sampling, symbol)
    beyond = max(low - aim, aim - high)
    verdict, why, off = AGREES, "", "percentage points" if symbol == "%" else symbol
    if not beyond <= 0:
        verdict, why = DISAGREES, f"outside the interval by {beyond:.2g} {off}".rstrip()
    return f"{aim:g} {symbol}".rstrip(), _text(found), verdict, why, found


def _order(row: Row, made: Predicted, _: int) -> Judged:
    found = _interval(row, made)
    right = float(np.mean(made.total(row.terms)[:, 0] > 0))
    verdict = AGREES if right >= ORDER else TREND if right >= MOSTLY else DISAGREES
    why = "" if verdict == AGREES else f"right in {right * 100:.0f} % of the draws"
    return "above 0", _text(found), verdict, why, found


def _same(row: Row, made: Predicted, _: int) -> Judged:
    found, allowed = _interval(row, made, 0.0), row.number("within")
    inside = abs(found.median) <= allowed
    why = "" if inside else f"median off by {found.median:+.2g}, allowed {allowed:g}"
    return (
        f"0 ± {allowed:g} {found.unit}",
        _text(found),
        AGREES if inside else DISAGREES,
        why,
        found,
    )


def _bound(row: Row, made: Predicted, _: int) -> Judged:
    word = "above" if "above" in row.stated else "below"
    bound, (symbol, unit) = row.number(word), unit_of(row)
    found = _interval(row, made, bound)
    values = made.total(row.terms)[:, 0] / unit
    kept = float(np.mean(values > bound if word == "above" else values < bound))
    verdict = AGREES if kept >= LEVEL else TREND if kept >= MOSTLY else DISAGREES
    why = "" if verdict == AGREES else f"kept in {kept * 100:.0f} % of the draws"
    return f"{word} {bound:g} {symbol}", _text(found), verdict, why, found


def _straight(row: Row, made: Predicted, _: int) -> Judged:
    points = made.case.along(str(row.stated["of"]))
    means = [
        float(np.median(made.values[c.name][str(row.stated["measure"])][:, 0])) for _, c in points
    ]
    flat = min(means) == max(means)
    correlation = 0.0 if flat else float(np.corrcoef([v for v, _ in points], means)[0, 1])
    right = correlation * row.number("sign") > 0
    verdict = AGREES if right and correlation**2 >= STRAIGHT else TREND if right else DISAGREES
    why = "" if verdict == AGREES else f"a line explains {correlation**2 * 100:.0f} %"
    way = "rises" if row.number("sign") > 0 else "falls"
    symbol, unit = unit_of(row)
    path = " ".join([", ".join(f"{mean / unit:.3g}" for mean in means), symbol]).rstrip()
    return f"{way} on a line", f"{path}: {correlation**2:.2f} of the variance", verdict, why, None


def _reach_of(scenario: Scenario, hole: float, vacuum: float) -> float:
    velocity = scenario.seeds.terminal_velocity
    return float(capture_distance(vacuum * 1e3, hole * 1e-3, velocity, AIR_DENSITY, DISCHARGE))


def _reach(row: Row, made: Predicted, _: int) -> Judged:
    scenario = made.case.conditions[str(row.stated["of"])].parts[0]
    aim = row.number("published")
    found = _reach_of(scenario, row.number("hole_mm"), row.number("vacuum_kpa")) * 1e3
    ratio = found / aim
    others = [
        (_reach_of(scenario, o.number("hole_mm"), o.number("vacuum_kpa")), o.number("published"))
        for o in made.case.rows
        if o.kind == "reach" and o.stated["of"] == row.stated["of"] and o is not row
    ]
    in_order = all((found - there * 1e3) * (aim - published) > 0 for there, published in others)
    verdict = TREND if others and in_order else DISAGREES
    why = f"{ratio:.2f} of the published height"
    if abs(ratio - 1) <= REACH_TOLERANCE:
        verdict, why = AGREES, ""
    return f"{aim:g} mm ± {REACH_TOLERANCE * 100:.0f} %", f"{found:.3g} mm", verdict, why, None


def _reach_order(row: Row, made: Predicted, _: int) -> Judged:
    scenario = made.case.conditions[str(row.stated["of"])].parts[0]
    (small, large), (low, high) = row.stated["hole_mm"], row.stated["vacuum_kpa"]
    by_hole = _reach_of(scenario, large, low) / _reach_of(scenario, small, low)
    by_vacuum = _reach_of(scenario, small, high) / _reach_of(scenario, small, low)
    verdict = AGREES if by_hole > by_vacuum else DISAGREES
    found = f"times {by_hole:.2f} by hole, {by_vacuum:.2f} by vacuum"
    return "hole more than vacuum", found, verdict, "", None


JUDGES: dict[str, Callable[[Row, Predicted, int], Judged]] = {
    "level": _level,
    "order": _order,
    "same": _same,
    "bound": _bound,
    "plateau": judge_plateau,
    "plateau order": judge_order,
    "straight": _straight,
    "reach": _reach,
    "reach order": _reach_order,
}
