"""Cells of a row counted round the disc, and holes that fail more often than the others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc
from scipy.stats import hypergeom

from metersim.distributions.normal import ndtr
from metersim.distributions.quantiles import betaincinv
from metersim.measures.intervals import Estimate

MISSES, DOUBLES = "misses", "doubles"
KINDS = (MISSES, DOUBLES)
FEWEST_TURNS = 3  # fewer passages of a hole have no pattern to look for
LONGEST = 12.0  # cells; a longer gap is a stop, after which the disc may have turned
ALARMS = 0.05  # chance of a pattern where no hole differs, over all holes, kinds and rows together
FAILS = 0.5  # share of its turns in which a hole fails, for which the power is stated
WINDOWS = (
    8.0,
    16.0,
    32.0,
    64.0,
    128.0,
)  # SD of the window over which the cells are followed; seeds
SURE = 8.0  # least strength over one window; chance alone passes it in e^-8 of windows
STRETCH = 40  # spacings over which the distance of cells is taken as constant
STIFF = (60.0, 3000.0)  # costs of a change of distance by RANGE, tried in turn
RANGE = 0.15  # relative range of distances that are tried about the median spacing
TRIED = 301  # distances that are tried

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class FollowedCells:
    """Cells that the seeds of one stretch came from.

    Attributes
    ----------
    index : ndarray of int
        Cell of each seed; the first seed has 0.
    lost : bool
        Whether the count of cells is lost somewhere: seeds scatter too much for it.
    scatter : float
        SD of a seed's distance from its cell, over the distance of cells. [1]
    """

    index: Ints
    lost: bool
    scatter: float


@dataclass(frozen=True)
class FailingHole:
    """A hole that fails more often than the others explain.

    Attributes
    ----------
    kind : str
        ``misses`` or ``doubles``.
    hole : int
        Number of the hole, in the order in which holes drop seeds; hole 1 dropped the first seed.
    count, turns : int
        Turns in which it failed, and all its turns.
    share : Estimate
        Share of its turns with the exact interval. [1]
    chance : float
        Bound on the chance of such a hole where none differs, over all holes, kinds and rows. [1]
    """

    kind: str
    hole: int
    count: int
    turns: int
    share: Estimate
    chance: float


@dataclass(frozen=True)
class Fold:
    """Cells of one row, folded by the number of holes.

    Attributes
    ----------
    label : str
        Name of the row; empty where it has none.
    holes : int
        Holes of the disc.
    passed : ndarray of int
        Passages of each hole.
    misses, doubles : ndarray of int
        Passages of each hole without a seed, and with several.
    lost, too_short : bool
        Whether the count of cells is lost, and whether there are too few turns.
    found : tuple of FailingHole
        Holes that fail, the surest first.
    power : float
        Chance that a hole that fails in `FAILS` of its turns is detected in such a row. [1]
    left_out : int
        Spacings before or after a stop, which are not folded.
    scatter : float
        SD of a seed's distance from its cell, over the distance of cells. [1]
    """

    label: str
    holes: int
    passed: Ints
    misses: Ints
    doubles: Ints
    lost: bool
    too_short: bool
    found: tuple[FailingHole, ...] = ()
    power: float = math.nan
    left_out: int = 0
    scatter: float = math.nan

    @property
    def turns(self) -> float:
        """Turns of the disc."""
        return float(self.passed.sum()) / self.holes


def fold(
    ratios: Floats, holes: int, *, rows: int = 1, label: str = "", level: float = 0.95
) -> Fold:
    """Fold the cells of a row by the number of holes, and look for holes that fail.

    Parameters
    ----------
    ratios : ndarray, shape (n,)
        Spacings in order over the nominal one. [1]
    holes : int
        Holes of the disc, 2 or more.
    rows : int
        Rows that are looked at together; each adds to the chance of a false alarm.
    label : str
        Name of the row.
    level : float
        Coverage of the interval of a share.

    Notes
    -----
    Where no hole differs, the misses fall on the holes as cards are dealt: the misses of one hole
    have a hypergeometric distribution, given those of all.  The least chance of a hole is
    multiplied by holes, kinds and rows (Bonferroni), so a pattern is found in at most `ALARMS` of
    such answers.  A hole that is found is taken out before the next is looked for.
    """
    stretch = _longest_stretch(ratios)
    cells = follow(stretch)
    span = int(cells.index.max()) + 1
    many = np.bincount(cells.index, minlength=span)
    hole = np.arange(span) % holes
    passed, misses, doubles = (
        np.bincount(hole, weights=part, minlength=holes).astype(np.int64)
        for part in (np.ones(span), many == 0, many > 1)
    )
    too_short = span < FEWEST_TURNS * holes
    found: list[FailingHole] = []
    power = math.nan
    if not (cells.lost or too_short):
        looks = holes * len(KINDS) * rows
        for kind, counts in zip(KINDS, (misses, doubles), strict=True):
            found += failing(kind, counts, passed, looks, level)
        power = detected(FAILS, misses, passed, looks, cells.scatter)
    return Fold(
        label=label,
        holes=holes,
        passed=passed,
        misses=misses,
        doubles=doubles,
        lost=cells.lost,
        too_short=too_short,
        found=tuple(sorted(found, key=lambda one: one.chance)),
        power=power,
        left_out=ratios.size - stretch.size,
        scatter=cells.scatter,
    )


def _longest_stretch(ratios: Floats) -> Floats:
    """The longest part of a row without a gap beyond `LONGEST`."""
    parts = np.split(ratios, np.flatnonzero(ratios > LONGEST))
    parts = [parts[0], *(part[1:] for part in parts[1:])]  # each later part begins with its gap
    longest = max(parts, key=len)
    return longest if longest.size else ratios[:1]


def follow(ratios: Floats) -> FollowedCells:
    """Cells of seeds, from spacings in order.

    Parameters
    ----------
    ratios : ndarray, shape (n,)
        Spacings over the nominal one. [1]

    Notes
    -----
    The place of the cells is a mean over neighbouring seeds, on the circle of one cell.  It moves
    along with the row, so slip and a wrong distance do not add up.  The stiffest distance and the
    narrowest of `WINDOWS` are used with which each such mean is distinct from chance.  Where none
    is, the count is lost.
    """
    for stiff in STIFF:
        places = np.concatenate([[0.0], np.cumsum(ratios / distances(ratios, stiff))])
        for width in WINDOWS:
            mean, strength = _local(places, width)
            lost = bool(strength.min() < SURE)
            if not lost:
                break
        if not lost:
            break
    phase = np.unwrap(np.angle(mean)) / (2 * np.pi)
    index = np.round(places - phase).astype(np.int64)
    clear = min(max(float(np.sqrt(np.mean(np.abs(mean) ** 2))), 1e-9), 1.0)
    scatter = math.sqrt(max(-math.log(clear), 0.0) / 2) / math.pi
    return FollowedCells(index - index.min(), lost, scatter)


def _local(places: Floats, width: float) -> tuple[NDArray[np.complex128], Floats]:
    """Mean of seeds on the circle of one cell about each seed, and how distinct it is from chance.

    The strength is the squared mean times the effective number of seeds; where seeds lie anywhere,
    it is exponential with mean 1.
    """
    reach = np.arange(-3 * math.ceil(width), 3 * math.ceil(width) + 1)
    weights = np.exp(-0.5 * (reach / width) ** 2)
    every = np.ones(places.size)
    half = (weights.size - 1) // 2
    kept = slice(half, half + places.size)
    seeds, squares = (np.convolve(every, one)[kept] for one in (weights, weights**2))
    mean = np.convolve(np.exp(2j * np.pi * places), weights)[kept] / seeds
    return mean, np.abs(mean) ** 2 * seeds**2 / squares


def distances(ratios: Floats, stiff: float) -> Floats:
    """Distance of the cells at each spacing over the nominal one. [1]

    Parameters
    ----------
    ratios : ndarray, shape (n,)
        Spacings in order over the nominal one. [1]
    stiff : float
        Cost of a change of the distance by `RANGE`.

    Notes
    -----
    In each stretch of `STRETCH` spacings seeds lie on cells most clearly at one distance.  The
    clearness is the square of the mean on the circle of one cell, times the number of seeds.  The
    sum of clearness over stretches, less the cost of changes, is greatest for the
    distances that are taken (dynamic programming).
    """
    near = ratios[(ratios > 0.5) & (ratios < 1.5)]
    middle = float(np.median(near)) if near.size else float(np.median(ratios)) or 1.0
    tried = middle * np.linspace(1 - RANGE, 1 + RANGE, TRIED)
    parts = np.array_split(ratios, max(ratios.size // STRETCH, 1))
    steps = np.arange(TRIED)
    cost = stiff * np.abs(steps[:, None] - steps) / ((TRIED - 1) / 2)
    best, came = np.zeros(TRIED), []
    for part in parts:
        places = np.concatenate([[0.0], np.cumsum(part)])
        clear = np.abs(np.exp(2j * np.pi * places[:, None] / tried).sum(axis=0)) ** 2
        reached = best - cost
        came.append(reached.argmax(axis=1))
        best = reached.max(axis=1) + clear / places.size
    at, made = int(best.argmax()), []
    for part, back in zip(reversed(parts), reversed(came), strict=True):
        made.append(np.full(part.size, tried[at]))
        at = int(back[at])
    return np.concatenate(made[::-1])


def failing(
    kind: str, counts: Ints, passed: Ints, looks: int, level: float = 0.95
) -> list[FailingHole]:
    """Holes whose count is too large for chance, the surest first.

    Parameters
    ----------
    kind : str
        ``misses`` or ``doubles``.
    counts, passed : ndarray of int, shape (holes,)
        Turns in which each hole failed, and its passages.
    looks : int
        Number of comparisons in the whole answer.
    level : float
        Coverage of the interval of a share.
    """
    found = []
    left = np.ones(counts.size, dtype=bool)
    while left.sum() > 1:
        at = np.flatnonzero(left)
        total, failed = int(passed[at].sum()), int(counts[at].sum())
        chances = np.asarray(hypergeom.sf(counts[at] - 1, total, failed, passed[at]))
        k = int(at[chances.argmin()])
        chance = min(float(chances.min()) * looks, 1.0)
        if chance > ALARMS:
            break
        count, turns = int(counts[k]), int(passed[k])
        found.append(FailingHole(kind, k + 1, count, turns, exact(count, turns, level), chance))
        left[k] = False
    return found


def exact(count: int, turns: int, level: float) -> Estimate:
    """A share with the exact interval of Clopper & Pearson (1934, from memory). [1]"""
    tail = (1 - level) / 2
    low = float(betaincinv(count, turns - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, turns - count, 1 - tail)) if count < turns else 1.0
    return Estimate(count / turns, low, high)


def detected(share: float, misses: Ints, passed: Ints, looks: int, scatter: float = 0.0) -> float:
    """Chance that a hole that fails in a share of its turns is detected. [1]

    Parameters
    ----------
    share : float
        Share of its turns in which the hole fails. [1]
    misses, passed : ndarray of int, shape (holes,)
        Misses of each hole where none fails, and its passages.
    looks : int
        Number of comparisons in the whole answer.
    scatter : float
        SD of a seed's distance from its cell, over the distance of cells. [1]

    Notes
    -----
    A seed lies in the next cell with a chance of ``2 Phi(-0.5 / scatter)``; in an empty cell lies
    a seed of either neighbour with half of that each.
    """
    turns = int(passed.min())
    total, usual = int(passed.sum()), float(misses.sum() / passed.sum())
    away = 2 * float(ndtr(-0.5 / scatter)) if scatter > 0 else 0.0
    fails = usual + share * (1 - usual) * (1 - away)
    all_misses = min(int(misses.sum()) + round(share * turns), total)
    counts = np.arange(turns + 1)
    enough = hypergeom.sf(counts - 1, total, all_misses, turns) * looks <= ALARMS
    if not enough.any():
        return 0.0
    least = int(counts[enough].min())
    return float(bdtrc(least - 1, turns, min(fails, 1.0))) if least else 1.0


def folds(
    rows: Sequence[Floats], holes: int, labels: Sequence[str] = (), level: float = 0.95
) -> tuple[Fold, ...]:
    """The fold of each row; labels name the rows."""
    names = labels or ("",) * len(rows)
    return tuple(
        fold(row, holes, rows=len(rows), label=name, level=level)
        for row, name in zip(rows, names, strict=True)
    )
