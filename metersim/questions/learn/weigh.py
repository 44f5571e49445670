"""Chances of what was seen under many machines, and the machines that explain it.

Machines are drawn, weighed by the chance of what was seen, and drawn anew about those that explain
it, until enough of them count.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from metersim.distributions.quantiles import chdtri
from metersim.files.faults import BadInput, Fault
from metersim.machine.scenario import Scenario
from metersim.questions.learn.emulate import (
    FEW,
    SEVERAL,
    SPACINGS,
    SPREAD,
    Emulator,
    Shown,
    angle_of,
    emulators,
    run_all,
)
from metersim.questions.learn.machines import KEPT, Density, Machines, rest_of
from metersim.questions.learn.propose import levels, targets, updated
from metersim.questions.learn.seen import Seen, settings_of
from metersim.questions.shared.looks import BELT
from metersim.run.streams import Streams

DRAWN = 4_000  # machines that are weighed
MACHINES, CELLS = 128, 2_500  # machines that are run in each round, and cells of each run
ENOUGH, LEAST = 400.0, 100.0  # effective machines at which rounds end, and that an answer needs
ROUNDS = 4
LEAST_SHARE = 1e-6  # least share that a machine has
NEVER = 1e-5  # chance of a count, for normal angles, below which no machine shows it

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Weighed:
    """Machines with their weights, and emulators that fit them.

    Attributes
    ----------
    machines : Machines
        What was believed before.
    points : ndarray, shape (drawn, columns)
        Machines.
    priors : ndarray, shape (drawn,)
        Weights before anything was seen, with the sum 1.
    logs : ndarray, shape (seen, drawn)
        Logarithm of the chance of each part of what was seen.
    settings : list of Scenario
        Settings of the emulators; the last is that of the scenario itself.
    emulators : list of Emulator
        One for each setting.
    rounds : int
        Number of rounds of runs.
    """

    machines: Machines
    points: Floats
    priors: Floats
    logs: Floats
    settings: Sequence[Scenario]
    emulators: Sequence[Emulator]
    rounds: int = 1

    @property
    def weights(self) -> Floats:
        """Weights of the machines after all that was seen, with the sum 1."""
        return self.after(range(len(self.logs)))

    def after(self, which: Sequence[int]) -> Floats:
        """Weights after a part of what was seen."""
        total = np.zeros(len(self.points))
        for k in which:
            total = total + self.logs[k]
        return weights_of(np.log(self.priors.clip(1e-300)) + total)

    def emulator(self, scenario: Scenario) -> Emulator:
        """The emulator of a setting."""
        return self.emulators[list(self.settings).index(scenario)]


def weights_of(logs: Floats) -> Floats:
    """Weights with the sum 1 from logarithms."""
    heights = np.exp(logs - logs.max())
    made: Floats = heights / heights.sum()
    return made


def effective(weights: Floats) -> float:
    """Number of equally weighted draws that know a mean as well (Kish)."""
    return float(weights.sum() ** 2 / np.sum(weights**2))


def bits(weights: Floats, priors: Floats) -> float:
    """Information of weights beyond those before, in bits (Kullback-Leibler)."""
    known = weights > 0
    found = np.sum(weights[known] * np.log2(weights[known] / priors[known].clip(1e-300)))
    return max(float(found), 0.0)


def shares_at(
    machines: Machines, emulator: Emulator, way: str, points: Floats
) -> tuple[Floats, Floats]:
    """Shares of skips and of doubles of machines, with their shifts."""
    shifts = machines.shifts(points)
    found = []
    for part, shift in ((FEW, shifts["skip"]), (SEVERAL, shifts["double"])):
        angle = emulator(way, part, points) + emulator.alike * shift
        found.append(np.sin(angle.clip(0.0, np.pi / 2)) ** 2)
    few = found[0].clip(LEAST_SHARE, 1 - 2 * LEAST_SHARE)
    return few, np.clip(found[1], LEAST_SHARE, 1 - LEAST_SHARE - few)


def alike_cells(own: float, *errors: float) -> float:
    """Independent cells whose count scatters as the discrepancy and the emulators' errors do.

    Notes
    -----
    A share of Dirichlet distributions with the sum k has the variance ``p (1 - p)/(k + 1)``.  Its
    angle has ``1/(4 (k + 1))``, whatever the share.
    """
    variance = own**2 + max(errors) ** 2
    return max(1 / (4 * max(variance, 1e-9)) - 1, 0.5)


@dataclass(frozen=True, eq=False)
class Expected:
    """What machines show at one setting in one way, with the errors that machines share.

    Attributes
    ----------
    few, several : ndarray, shape (machines,)
        Shares of skips or misses, and of doubles or multiples. [1]
    cells : float
        Independent cells that scatter as discrepancy and emulator do, see `alike_cells`.
    effect : float
        Variance of counts over that of independent cells.
    spread : ndarray, shape (machines,)
        Logarithms of the SD of normal spacings; nan for counts.
    variance : float
        Variance of their error.
    """

    few: Floats
    several: Floats
    cells: float
    effect: float
    spread: Floats
    variance: float


def expected(machines: Machines, emulator: Emulator, way: str, points: Floats) -> Expected:
    """What machines show at the setting of an emulator in one way."""
    few, several = shares_at(machines, emulator, way, points)
    errors = [emulator.error(way, part) for part in (FEW, SEVERAL)]
    spread, variance = np.full(len(points), np.nan), np.inf
    if way == SPACINGS:
        shift = emulator.alike * machines.shifts(points)["spread"]
        spread = emulator(SPACINGS, SPREAD, points) + shift
        rest = rest_of(machines.own_spread, emulator.alike)
        variance = rest**2 + emulator.error(SPACINGS, SPREAD) ** 2
    cells = alike_cells(rest_of(machines.own_share, emulator.alike), *errors)
    return Expected(few, several, cells, emulator.effects[way], spread, variance)


def log_chance(shown: Expected, seen: Seen) -> Floats:
    """Logarithm of the chance of what was seen, for each machine.

    Notes
    -----
    A count is that of ``cells/effect`` independent cells, as neighbours depend on one another.
    Its shares are those of the machine with an error of Dirichlet distribution, which stands for
    what the discrepancy does not share between settings and for the error of the emulator.  The
    logarithm of a spread has a normal error.  assumption: counts and spacings at one setting have
    separate errors.
    """
    counts, shares = [float(seen.few)], [shown.few]
    if seen.several is not None:
        counts, shares = [*counts, float(seen.several)], [*shares, shown.several]
    counts.append(seen.cells - sum(counts))
    shares.append(1 - np.sum(shares, axis=0))
    found = np.zeros(len(shown.few))
    for count, share in zip(counts, shares, strict=True):
        sure = shown.cells * share
        found = found + gammaln(count / shown.effect + sure) - gammaln(sure)
    if np.isfinite(seen.variance) and np.isfinite(shown.variance):
        apart = seen.spread - shown.spread
        found = found - apart**2 / (2 * (seen.variance + shown.variance))
    return found


def weigh(
    machines: Machines,
    seen: Sequence[Seen],
    *,
    seed: int = 1,
    runs: int = MACHINES,
    cells: int = CELLS,
    drawn: int | None = None,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Weighed:
    """Machines that explain what was seen, weighted.

    Parameters
    ----------
    machines : Machines
        What was believed before.
    seen : sequence of Seen
        Sums of what was seen, as `metersim.questions.learn.seen.pooled` gives them.
    seed, runs, cells : int
        Random seed, machines that are run in each round, and cells of each run.
    drawn : int, optional
        Machines that are weighed; `DRAWN` by default.
    executor, on_run
        As for `metersim.questions.learn.emulate.emulators`.

    Raises
    ------
    BadInput
        When no machine explains what was seen.

    Notes
    -----
    Adaptive importance sampling: where too few machines count, they are drawn again, four parts of
    five from `metersim.questions.learn.propose.updated`, the others from those before.  New runs of
    them correct the emulators there.
    """
    drawn = drawn or DRAWN
    settings = settings_of(seen, machines.scenario)
    ways = sorted({BELT, SPACINGS, *(one.way for one in seen)})
    streams, wide = Streams(seed), machines.points.shape[1]
    proposal: list[tuple[float, Density]] = [(1.0, machines.density)]
    tried, shows = np.empty((0, wide)), [list[dict[str, Shown]]() for _ in settings]
    for number in range(1, ROUNDS + 1):
        points = _points(proposal, drawn, streams, number, wide)
        new = points[:runs]
        ran = run_all(
            machines,
            settings,
            new,
            cells=cells,
            seed=seed,
            first=len(tried),
            executor=executor,
            on_run=on_run,
        )
        tried = np.concatenate([tried, new])
        shows = [[*old, *more] for old, more in zip(shows, ran, strict=True)]
        latest = slice(-2 * runs, None)
        made = emulators(machines, settings, tried[latest], [rows[latest] for rows in shows], ways)
        before = machines.density.log(points) - _log_density(proposal, points)
        logs = np.array(
            [
                log_chance(
                    expected(machines, made[settings.index(one.scenario)], one.way, points), one
                )
                for one in seen
            ]
        ).reshape(len(seen), len(points))
        if number == 1:
            _check(machines, made, settings, seen, points, seed)
        found = Weighed(machines, points, weights_of(before), logs, settings, made, rounds=number)
        weights = found.weights
        many = effective(weights)
        if many >= ENOUGH * drawn / DRAWN:
            return found
        if number == ROUNDS:
            break
        tempered = _tempered(before, logs.sum(axis=0), LEAST * drawn / DRAWN)
        these = [made[settings.index(one.scenario)] for one in seen]
        near = updated(
            machines.density,
            levels(machines, these, seen),
            *targets(machines, these, seen),
            points,
            tempered,
        )
        proposal = [(1 - KEPT, near), (KEPT, machines.density)]
    if many < LEAST * drawn / DRAWN:
        message = "no machine of the model explains these counts: check the counts and what is set"
        raise BadInput([Fault("learn", "", message)])
    return found


def _points(
    proposal: Sequence[tuple[float, Density]], drawn: int, streams: Streams, number: int, wide: int
) -> Floats:
    """Machines drawn from a mixture of densities, in random order."""
    rng = streams.generator(f"learn round {number}")
    parts, left = [], drawn
    for k, (part, density) in enumerate(proposal):
        many = left if k == len(proposal) - 1 else round(part * drawn)
        left -= many
        parts.append(density.sample(rng.random(many), rng.standard_normal((many, wide))))
    return np.concatenate(parts)[rng.permutation(drawn)]


def _log_density(proposal: Sequence[tuple[float, Density]], points: Floats) -> Floats:
    logs = np.array([np.log(part) + density.log(points) for part, density in proposal])
    found: Floats = np.logaddexp.reduce(logs, axis=0)
    return found


def _tempered(before: Floats, logs: Floats, least: float) -> Floats:
    """Weights with as much of what was seen as leaves enough effective machines."""
    power = 1.0
    while power > 1e-3 and effective(weights_of(before + power * logs)) < least:
        power *= 0.7
    return weights_of(before + power * logs)


def simulated(shown: Expected, cells: int, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Skips and doubles in counts of so many cells, one count for each machine."""
    shares = np.column_stack([shown.few, shown.several, 1 - shown.few - shown.several])
    drawn = rng.standard_gamma((shown.cells * shares).clip(1e-9))
    drawn /= drawn.sum(axis=1, keepdims=True)
    counts = rng.multinomial(max(round(cells / shown.effect), 1), drawn) * shown.effect
    return np.asarray(counts[:, 0]), np.asarray(counts[:, 1])


def _check(
    machines: Machines,
    made: Sequence[Emulator],
    settings: Sequence[Scenario],
    seen: Sequence[Seen],
    points: Floats,
    seed: int,
) -> None:
    """Refuse counts that lie beyond those of all machines drawn before anything was seen.

    Each count is held against simulated ones, then all of them together.
    """
    faults, sets, mine = [], list[Floats](), list[float]()
    for k, one in enumerate(seen):
        rng = Streams(seed).generator(f"learn check {k}")
        emulator = made[settings.index(one.scenario)]
        shown = simulated(expected(machines, emulator, one.way, points), one.cells, rng)
        kinds = ("skips", "doubles") if one.way != SPACINGS else ("misses", "multiples")
        for kind, counts, count in zip(kinds, shown, (one.few, one.several), strict=True):
            if count is None:
                continue
            sets.append(angle_of(counts, one.cells))
            mine.append(float(angle_of(count, one.cells)))
            if _is_beyond(sets[-1:], mine[-1:]):
                low, high = np.quantile(counts, [0.001, 0.999]) / one.cells
                message = (
                    f"no machine of the model explains {count:,} {kind} of {one.cells:,} at these "
                    f"settings ({100 * low:.2g} to {100 * high:.2g} %): check the counts and what "
                    "is set"
                )
                faults.append(Fault("learn", one.way, message))
    if not faults and sets and _is_beyond(sets, mine):
        message = "no machine of the model explains all of these counts"
        faults.append(Fault("learn", "", f"{message}: check the counts and what is set"))
    if faults:
        raise BadInput(faults)


def _is_beyond(sets: Sequence[Floats], mine: Sequence[float]) -> bool:
    """Whether angles lie beyond all simulated ones, and beyond those of normal ones.

    Notes
    -----
    The distance is that from the simulated mean over the simulated covariance (Mahalanobis).
    Simulated counts are few, so those alone would refuse one true machine of some thousand.
    """
    simulated_ones = np.array(sets)
    apart = np.column_stack([mine, simulated_ones]) - simulated_ones.mean(axis=1)[:, None]
    covariance = np.atleast_2d(np.cov(simulated_ones)) + 1e-12 * np.eye(len(sets))
    far = np.einsum("ij,ij->j", apart, np.linalg.solve(covariance, apart))
    return bool(far[0] > max(far[1:].max(), float(chdtri(len(sets), NEVER))))
