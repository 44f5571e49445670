"""Scores of predictive draws of published levels, beside those of a constant.

A level counts within its source (a laboratory and its stand), and each source counts once.  The
constant knows no physics: it predicts a level from the values of the same measure in the other
sources.  Skill is 1 where a prediction is exact, 0 where it is as good as the constant.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, stdtrit

from metersim.questions.shared.unseen import OUTLIERS, Level
from metersim.run.streams import Streams

HALF, MOST = 0.5, 0.9  # stated chances of the two intervals
SURE, RESAMPLES = 0.8, 2000  # chance of an interval over sources, and resamples of the sources
DIFFERENCE = 0.1  # of skill; what is less is not called a difference
TARGETED = 5  # sources of a measure that has a target
LEAST_OTHERS = 3  # other sources that a constant needs
CONSTANT_DRAWS = 100
PERCENT = "%"
TUBE = "tube"  # group of rows about tubes

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Numbers:
    """Numbers of a prediction of one level, or their means; in the unit of the level.

    Attributes
    ----------
    crps : float
        Continuous ranked probability score; 0 is exact.
    half, most : float
        Share of the levels inside the 50 % and 90 % intervals. [1]
    interval : float
        Interval score of the 90 % interval: its width, and 20 times what it misses by.
    miss, bias : float
        Distance of the median from the published value, without and with its sign.
    width : float
        Width of the 90 % interval.
    """

    crps: float
    half: float
    most: float
    interval: float
    miss: float
    bias: float
    width: float


@dataclass(frozen=True)
class Scored:
    """A level with the numbers of the model and, if other sources allow it, of the constant."""

    level: Level
    model: Numbers
    constant: Numbers | None


def crps(draws: ArrayLike, published: float, *, fair: bool = True) -> Floats:
    """Continuous ranked probability score of draws, along the last axis.

    Parameters
    ----------
    draws : array_like, shape (..., n)
        Random draws, or the middles of n parts of equal probability.
    published : float
        Published value.
    fair : bool
        Whether the draws are random.  The mean over sets of random draws then does not depend on n.

    Notes
    -----
    Source: Ferro 2014, Q J R Meteorol Soc 140:1917-1923, from memory.  ``crps = mean |x_i - y| -
    sum_(i<j) |x_i - x_j| / (n (n - 1))``; with ``n^2`` below the sum when the draws are no random
    ones.
    """
    x = np.sort(np.asarray(draws, float), axis=-1)
    n = x.shape[-1]
    rank = 2 * np.arange(n) - n + 1.0
    found: Floats = np.abs(x - published).mean(axis=-1) - x @ rank / (n * (n - fair))
    return found


def interval_score(low: ArrayLike, high: ArrayLike, published: float, chance: float) -> Floats:
    """Width of an interval, plus ``2 / (1 - chance)`` times the distance by which it misses.

    Notes
    -----
    Source: Gneiting & Raftery 2007, J Am Stat Assoc 102:359-378, from memory.
    """
    low, high = np.asarray(low, float), np.asarray(high, float)
    beyond = np.maximum(low - published, 0.0) + np.maximum(published - high, 0.0)
    found: Floats = high - low + 2 / (1 - chance) * beyond
    return found


def numbers(draws: ArrayLike, published: float, *, fair: bool = True) -> Numbers:
    """Numbers of draws of one level, averaged over blocks.

    Parameters
    ----------
    draws : array_like, shape (blocks, draws)
        Predictive draws.
    published : float
        Published value, in the same unit.
    fair : bool
        Whether the draws are random, as for `crps`.
    """
    x = np.asarray(draws, float)
    chances = [(1 - MOST) / 2, (1 - HALF) / 2, 0.5, (1 + HALF) / 2, (1 + MOST) / 2]
    low, quarter, middle, upper, high = np.quantile(x, chances, axis=-1, method="weibull")
    return Numbers(
        crps=float(crps(x, published, fair=fair).mean()),
        half=float(np.mean((quarter <= published) & (published <= upper))),
        most=float(np.mean((low <= published) & (published <= high))),
        interval=float(interval_score(low, high, published, MOST).mean()),
        miss=float(np.abs(middle - published).mean()),
        bias=float((middle - published).mean()),
        width=float((high - low).mean()),
    )


def constant(others: Mapping[str, ArrayLike], unit: str = PERCENT, spacings: int = 250) -> Floats:
    """Quantiles of a level of a measure, from its values in other sources alone.

    Parameters
    ----------
    others : mapping of str to array_like
        Values by source, in `unit`.
    unit : str
        Unit of the values; other values than percentages must be above 0.
    spacings : int
        Spacings that were counted; a share of 0 counts as half a spacing.

    Returns
    -------
    ndarray, shape (CONSTANT_DRAWS,)
        Quantiles at the middles of even steps of probability, in `unit`.

    Notes
    -----
    Student's t on the logit of shares, and on the logarithm of all else.  Each of S sources has
    the weight 1/S, its values alike; then ``S - 1`` degrees of freedom, the weighted mean, and the
    weighted variance times ``(1 + 1/S) S/(S - 1)``.  assumption: a source with several values
    knows no more than one with one.
    """
    many = len(others)
    offset = 0.5 / (spacings + 1)

    def scale(values: ArrayLike) -> Floats:
        x = np.asarray(values, float)
        found: Floats = logit(offset + (1 - 2 * offset) * x / 100) if unit == PERCENT else np.log(x)
        return found

    each = [np.atleast_1d(scale(values)) for values in others.values()]
    centre = np.mean([one.mean() for one in each])
    variance = np.mean([np.mean((one - centre) ** 2) for one in each]) * (many + 1) / (many - 1)
    places = (np.arange(CONSTANT_DRAWS) + 0.5) / CONSTANT_DRAWS
    drawn = centre + math.sqrt(variance) * stdtrit(many - 1, places)
    if unit != PERCENT:
        return np.asarray(np.exp(drawn))
    found: Floats = 100 * np.clip((expit(drawn) - offset) / (1 - 2 * offset), 0.0, 1.0)
    return found


@dataclass(frozen=True, eq=False)
class Score:
    """Score of some levels: each source counts once, its levels alike.

    Attributes
    ----------
    name : str
        Name of the levels: a measure or a group.
    scored : tuple of Scored
        The levels with their numbers.
    """

    name: str
    scored: tuple[Scored, ...]

    @property
    def levels(self) -> int:
        """Number of levels."""
        return len(self.scored)

    @cached_property
    def laboratories(self) -> tuple[str, ...]:
        """Sources, by name."""
        return tuple(sorted({one.level.laboratory for one in self.scored}))

    @property
    def targeted(self) -> bool:
        """Whether there are enough sources for a target."""
        return len(self.laboratories) >= TARGETED

    @cached_property
    def model(self) -> Numbers:
        """Means of the model's numbers over sources; miss and width are medians over levels."""
        return _means(self.scored, [one.model for one in self.scored])

    @cached_property
    def compared(self) -> Score:
        """The levels that have a constant."""
        return Score(self.name, tuple(one for one in self.scored if one.constant))

    @cached_property
    def constant(self) -> Numbers | None:
        """Means of the constant's numbers over the levels that have one; None without any."""
        found = self.compared.scored
        return _means(found, [one.constant for one in found if one.constant]) if found else None

    @property
    def skill(self) -> float:
        """1 less the model's CRPS over that of the constant; nan without a constant."""
        return float(self._skill(np.ones((1, len(self.compared.laboratories))))[0])

    @property
    def skill_interval(self) -> tuple[float, float]:
        """80 % interval of the skill, from resamples of the sources; nan for one source."""
        return _ends(len(self.compared.laboratories), self._skill)

    def inside_interval(self, name: str) -> tuple[float, float]:
        """80 % interval of a coverage, `half` or `most`, from resamples of the sources."""
        each = _by_source(self.scored, [getattr(one.model, name) for one in self.scored])
        return _ends(len(each), lambda weights: weights @ each / weights.sum(axis=1))

    def _skill(self, weights: Floats) -> Floats:
        found = self.compared.scored
        if not found:
            return np.full(len(weights), math.nan)
        own = _by_source(found, [one.model.crps for one in found])
        other = _by_source(found, [one.constant.crps for one in found if one.constant])
        result: Floats = 1 - weights @ own / (weights @ other)
        return result


def _by_source(scored: Sequence[Scored], values: Sequence[float]) -> Floats:
    """Means of values within each source, by name of the source."""
    found: dict[str, list[float]] = {}
    for one, value in zip(scored, values, strict=True):
        found.setdefault(one.level.laboratory, []).append(value)
    return np.array([np.mean(found[name]) for name in sorted(found)])


def _means(scored: Sequence[Scored], made: Sequence[Numbers]) -> Numbers:
    means = {
        part.name: float(_by_source(scored, [getattr(one, part.name) for one in made]).mean())
        for part in fields(Numbers)
    }
    medians = {
        name: float(np.median([getattr(one, name) for one in made])) for name in ("miss", "width")
    }
    return Numbers(**means | medians)


def _ends(sources: int, function: Callable[[Floats], Floats]) -> tuple[float, float]:
    """Ends of the interval of a statistic of weights of sources, from resamples."""
    if sources < 2:
        return math.nan, math.nan
    rng = Streams(0).generator("resampled sources")
    weights = rng.multinomial(sources, [1 / sources] * sources, RESAMPLES).astype(float)
    low, high = np.quantile(function(weights), [(1 - SURE) / 2, (1 + SURE) / 2])
    return float(low), float(high)


@dataclass(frozen=True, eq=False)
class Scores:
    """Scores of all levels of a file.

    Attributes
    ----------
    whole : Score
        All levels in percent that stand in no other part.
    measures : tuple of Score
        The same and those in other units, measure by measure.
    apart : tuple of Score
        Levels about tubes, of outlying sources, and of cases that were held back.
    """

    whole: Score
    measures: tuple[Score, ...]
    apart: tuple[Score, ...]


def is_difference(skill: float, other: float) -> bool:
    """Whether two skills differ by enough to be called different."""
    return abs(skill - other) >= DIFFERENCE


def score(levels: Iterable[Level], outliers: Mapping[str, str] = OUTLIERS) -> Scores:
    """Score predictive draws of published levels.

    Parameters
    ----------
    levels : iterable of Level
        Levels with their draws.
    outliers : mapping of str to str
        Reasons by name of a case or laboratory whose levels are reported apart.

    Returns
    -------
    Scores
        Scores; levels that stand apart enter no constant.
    """
    parts: dict[str, list[Level]] = {"": [], TUBE: [], "outliers": [], "held back": []}
    for level in levels:
        parts[_part(level, outliers)].append(level)
    pool = parts.pop("")
    done = tuple(_scored(level, pool) for level in pool)
    keys = dict.fromkeys(one.level.measure for one in done)
    measures = (Score(k, tuple(one for one in done if one.level.measure == k)) for k in keys)
    apart = (Score(name, tuple(_scored(one, pool) for one in own)) for name, own in parts.items())
    return Scores(
        Score("all in percent", tuple(one for one in done if one.level.unit == PERCENT)),
        tuple(measures),
        tuple(one for one in apart if one.scored),
    )


def _part(level: Level, outliers: Mapping[str, str]) -> str:
    if level.held_back:
        return "held back"
    if level.case in outliers or level.laboratory in outliers:
        return "outliers"
    return TUBE if level.group == TUBE else ""


def _scored(level: Level, pool: Sequence[Level]) -> Scored:
    others: dict[str, list[float]] = {}
    for other in pool:
        if other.measure == level.measure and other.laboratory != level.laboratory:
            others.setdefault(other.laboratory, []).append(other.published)
    model = numbers(level.draws, level.published)
    if len(others) < LEAST_OTHERS:
        return Scored(level, model, None)
    drawn = constant(others, level.unit, level.spacings)
    return Scored(level, model, numbers(drawn[None], level.published, fair=False))
