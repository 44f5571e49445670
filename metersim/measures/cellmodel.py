"""Model of the spacings of a row of cells: chances, scatter and likelihood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

FINEST = 0.01  # least SD of the normal part of the scatter; less would need more phases to try
DELAYED = 0.55  # share of the seeds that are delayed
SCALE = 10.0  # factor on fitted chances, so that all fitted numbers change about as much

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cells:
    """Numbers of the model that are fitted.

    Attributes
    ----------
    empty : float
        Chance that a cell holds no seed. [1]
    given_filled : float
        Chance of two seeds in a cell that is not empty. [1]
    scatter : float
        SD of a seed's distance from its cell, over the distance of cells. [1]
    lean : float
        Cube of the SD of delays over the whole SD; negative if delays point back. [1]
    distance : float
        Distance of cells over the nominal spacing. [1]
    """

    empty: float
    given_filled: float
    scatter: float
    lean: float
    distance: float

    @classmethod
    def of(cls, theta: Floats) -> Cells:
        """Make them from the vector that is fitted, which has no units."""
        empty, double = (float(chance) / SCALE for chance in theta[:2])
        return cls(empty, double, math.exp(theta[2]), float(theta[3]), math.exp(theta[4]))

    @property
    def parts(self) -> tuple[float, float]:
        """SD of the normal part, and SD of the normal number whose absolute value is a delay."""
        share = float(np.cbrt(abs(self.lean)))
        normal = max(self.scatter * math.sqrt(1 - share**2), FINEST)
        return normal, self.scatter * share / math.sqrt(DELAYED - 2 * DELAYED**2 / math.pi)

    def log_error(self, x: Floats) -> Floats:
        """Log density of a seed's distance from its cell; its mean is 0 and its SD `scatter`."""
        normal, delay = self.parts
        x = x * math.copysign(1.0, self.lean) + DELAYED * delay * math.sqrt(2 / math.pi)
        both = math.hypot(normal, delay)
        prompt = -0.5 * (x / normal) ** 2 - math.log(normal)
        late = math.log(2) + log_ndtr(delay / normal * x / both) - 0.5 * (x / both) ** 2
        made: Floats = np.logaddexp(
            math.log1p(-DELAYED) + prompt, math.log(DELAYED / both) + late
        ) - 0.5 * math.log(2 * math.pi)
        return made


def before_losses(empty: float, double: float, left: float) -> tuple[float, float]:
    """Chances before losses, from the chances after losses.

    Parameters
    ----------
    empty, double : float
        Chances that a cell is seen empty, and with two. [1]
    left : float
        Chance that a seed is left, above 0. [1]

    Returns
    -------
    empty, double : float
        Chances that a cell held none, and two.  The first is below 0 if losses alone would leave
        more cells empty. [1]
    """
    made = double / left**2
    return (empty - 1 + left) / left + made * (1 - left), made


def share_left(empty: float, double: float, skips: float) -> float:
    """Chance that a seed is left, from chances after losses and the chance of skips before.

    Parameters
    ----------
    empty, double : float
        Chances that a cell is seen empty, and with two. [1]
    skips : float
        Chance that a cell held none before losses, below 1. [1]

    Returns
    -------
    float
        Chance; above 1 if fewer cells are empty after losses than before. [1]
    """
    a, b = 1 - skips, 1 - empty + double
    return (b + math.sqrt(max(b * b - 4 * a * double, 0.0))) / (2 * a)


MOST_BLOCKS = 48
LONGEST = 40  # most cells from one seed to the next; more count as this number
NEGLIGIBLE = 18.0  # loss of log likelihood beyond which a phase is not tried
Ints = NDArray[np.int64]
Tilt = tuple[float, float]


@dataclass(frozen=True)
class Trials:
    """Phases of the row of cells to try, by stretch.

    A phase is the position of the cells relative to the first seed of a stretch.
    """

    phases: int  # number of phases in one distance of cells
    stretch: Ints  # stretch of each trial
    phase: Ints  # phase of each trial


class Stretches:
    """Positions of seeds in stretches, one column per stretch; each stretch starts at 0."""

    def __init__(self, parts: Sequence[Floats]) -> None:
        self.ratios = np.concatenate(parts)
        longest = max(part.size for part in parts)
        self.positions = np.zeros((longest + 1, len(parts)))
        self.there = np.zeros((longest + 1, len(parts)), dtype=bool)
        for k, part in enumerate(parts):
            self.positions[1 : part.size + 1, k] = np.cumsum(part)
            self.positions[part.size + 1 :, k] = self.positions[part.size, k]
            self.there[: part.size + 1, k] = True
        self.spacings = self.there.sum(axis=0) - 1
        self._last: _Laid | None = None

    def likely(self, theta: Floats) -> Trials:
        """The phases of each stretch that are not negligible."""
        phases = _phases(theta)
        many = self.positions.shape[1]
        stretch, phase = (part.ravel() for part in np.indices((many, phases)))
        every = Trials(phases, stretch, phase)
        logs = self._each(theta, every).reshape(many, phases)
        keep = logs > logs.max(axis=1, keepdims=True) - NEGLIGIBLE
        for _ in range(2):  # keep neighbours as well, as the fit may move
            keep = keep | np.roll(keep, 1, axis=1) | np.roll(keep, -1, axis=1)
        return Trials(phases, stretch[keep.ravel()], phase[keep.ravel()])

    def log_likelihood(self, theta: Floats, trials: Trials, tilt: Tilt = (0.0, 0.0)) -> Floats:
        """Log likelihood of each stretch, summed over the phases of its cells."""
        logs = self._each(theta, trials, tilt)
        starts = np.searchsorted(trials.stretch, np.arange(self.positions.shape[1]))
        most = np.maximum.reduceat(logs, starts)
        total = np.add.reduceat(np.exp(logs - most[trials.stretch]), starts)
        made: Floats = most + np.log(total / trials.phases) - self.spacings * theta[-1]
        return made

    def scatter(self, theta: Floats) -> tuple[float, float]:
        """SD of seeds' distances from their cells, over the distance of cells; and its relative SD.

        It comes from the seeds and not from the fitted form of the scatter.  Each distance is
        weighted with the chance that the seed belongs to the cell.  A tilt makes larger squares
        more likely.  The slope of the log likelihood in this tilt is the sum of the weighted
        squares.  The relative SD comes from the differences of the squares between blocks.
        """
        trials, small = self.likely(theta), 1e-4
        first, second = (
            (
                self.log_likelihood(theta, trials, (a, b))
                - self.log_likelihood(theta, trials, (-a, -b))
            )
            / (2 * small)
            for a, b in ((small, 0.0), (0.0, small))
        )
        seeds = self.there.sum(axis=0)
        mean = first.sum() / seeds.sum()
        square = max(float(second.sum() / seeds.sum() - mean**2), 1e-12)
        starts = block_starts(len(seeds))
        beyond = np.add.reduceat(second - 2 * mean * first + (mean**2 - square) * seeds, starts)
        many = len(starts)
        spread = math.sqrt(many / (many - 1) * float(beyond @ beyond)) / seeds.sum()
        return math.sqrt(square), spread / (2 * square)

    def _each(self, theta: Floats, trials: Trials, tilt: Tilt = (0.0, 0.0)) -> Floats:
        """Log likelihood of a stretch at a phase of its cells, for each trial."""
        natural = Cells.of(theta)
        empty, double, phases = natural.empty, natural.given_filled, trials.phases
        at = self._laid(natural.distance, trials)
        # a seed lies up to two cells behind its own cell and one before it, or the other way round
        offsets = np.arange(-1, 2) if theta[3] >= 0 else np.arange(0, 3)
        grid = np.arange(-2 * phases, 2 * phases + 1) / phases
        table = np.exp(natural.log_error(grid) + tilt[0] * grid + tilt[1] * grid**2)
        steps = np.diff(table, append=0.0)
        index = at.rest[:, None] + ((2 - offsets) * phases)[:, None]
        near = steps.take(index)  # rest/phases + part is how far a seed lies behind a cell
        near *= at.part[:, None]
        near += table.take(index)
        powers = (1 - empty) * empty ** np.arange(LONGEST + 2)
        chance = np.concatenate([np.zeros(3), powers]).take(at.gap + 2)
        first = 1 / (1 + double)  # share of seeds that are the first of their cell
        alone = first * near[0]
        second = (1 / first - 1) * alone
        sizes = np.ones((len(near) - 1, len(trials.stretch)))
        for k, same in enumerate(at.same):
            leaving, moved = (1 - double) * alone + second, chance[k]
            came = moved[2:5] * leaving[0]
            came += moved[1:4] * leaving[1]
            came += moved[:3] * leaving[2]
            came *= near[k + 1]
            stayed = same[2:5] * alone[0]
            stayed += same[1:4] * alone[1]
            stayed += same[:3] * alone[2]
            stayed *= 2 * double * near[k + 1]  # two seeds in either order
            size = came[0] + came[1] + came[2]
            size += stayed[0] + stayed[1] + stayed[2]
            size += 1e-300
            alone, second = np.divide(came, size, out=came), np.divide(stayed, size, out=stayed)
            np.copyto(sizes[k], size, where=at.there[k])
        logs: Floats = np.zeros(len(trials.stretch))
        for one in np.log(sizes):
            logs += one
        return logs

    def _laid(self, distance: float, trials: Trials) -> _Laid:
        """Seeds among cells at this distance; kept, as many calls in turn have the same."""
        if self._last is None or self._last.distance != distance or self._last.trials is not trials:
            positions = self.positions / distance * trials.phases
            whole = np.floor(positions).astype(np.int64)
            part = (positions - whole)[:, trials.stretch]
            cell, rest = np.divmod(whole[:, trials.stretch] - trials.phase, trials.phases)
            gap = np.minimum(np.diff(cell, axis=0), LONGEST)[:, None] + np.arange(-2, 3)[:, None]
            there = self.there[1:, trials.stretch]
            self._last = _Laid(distance, trials, part, rest, gap, (gap == 0).astype(float), there)
        return self._last


@dataclass(frozen=True, eq=False)
class _Laid:
    """Seeds of stretches among cells: one row a seed, one column a trial."""

    distance: float
    trials: Trials
    part: Floats  # of a step between phases
    rest: Ints  # whole steps behind a cell
    gap: Ints  # cells from the seed before, for each of five moves between nearby cells
    same: Floats  # 1 where that is the same cell
    there: NDArray[np.bool_]  # whether the stretch has this seed


def _phases(theta: Floats) -> int:
    """Number of phases to try: their step is at most a quarter of the scatter's normal part."""
    normal, _ = Cells.of(theta).parts
    return int(min(max(math.ceil(4 / normal), 32), 400))


def block_starts(stretches: int) -> Ints:
    """First stretch of each block."""
    blocks = min(stretches, MOST_BLOCKS)
    return np.arange(blocks) * stretches // blocks
