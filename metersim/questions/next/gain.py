"""Gains of moves over likely meters, with all that is not known of them.

A gain is the change of the share of cells with one seed as they leave the meter.  Effects of the
tube and the soil on spacings are the same before and after a move.  A meter has the same machine
before and after a move, so most of the model's error cancels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.questions.next.moves import STAY, Move
from metersim.questions.next.possible import Floats, Possible, bent_shares, setting_errors, shrunk
from metersim.questions.shared.hidden import State
from metersim.questions.shared.looks import BELT, HALF, STRETCH, kept_full, loads_at
from metersim.run.parallel import in_order

CELLS = 2000  # of a run of a meter
CHUNK = 5  # meters of a job
LEVEL = LEVEL_TOTAL  # coverage of the interval of a gain
SURE = 2.0  # standard errors below the expected gain
DEGREE = 2  # of the polynomial of gains over a cause


@dataclass(frozen=True, eq=False)
class Gain:
    """Gain of a move over likely meters.

    Attributes
    ----------
    move : Move
        The move.
    changes : ndarray, shape (meters,)
        Change of the share of cells with one seed in the runs of equally likely meters. [1]
    effective : float
        Effective number of states of the diagnosis.
    sampled : float
        Mean variance of the changes from the finite length of the runs. [1]
    errors : ndarray, shape (meters,), or float
        What the discrepancy of the two settings adds to each change. [1]
    """

    move: Move
    changes: Floats
    effective: float = math.inf
    sampled: float = 0.0
    errors: Floats | float = 0.0

    @property
    def value(self) -> float:
        """Expected gain. [1]"""
        return float(self.changes.mean())

    @property
    def noise(self) -> float:
        """Standard error of the expected gain, from finite numbers of meters and cells. [1]"""
        return float(self.changes.std(ddof=1)) * math.sqrt(
            1 / len(self.changes) + 1 / self.effective
        )

    @property
    def sure(self) -> float:
        """Lower bound of the expected gain against the noise of the simulation. [1]"""
        return self.value - SURE * self.noise

    @property
    def without_sampling(self) -> Floats:
        """Changes of long runs: their distances from the mean, less what sampling adds. [1]"""
        return shrunk(self.changes, self.sampled) if self.sampled else self.changes

    @property
    def error_variance(self) -> float:
        """Variance of the discrepancy of the gain, which no count makes smaller. [1]"""
        return float(np.var(self.errors))

    @property
    def likely(self) -> Floats:
        """Likely gains of this meter: faults, machine, inputs and discrepancy together. [1]"""
        return self.without_sampling + self.errors

    @property
    def interval(self) -> tuple[float, float]:
        """Total interval: it holds `LEVEL` of the likely gains, and the error of their mean. [1]"""
        ends, reach = _between(self.likely), self._reach
        apart = [
            max(sign * (end - self.value), 0.0) for sign, end in zip((-1, 1), ends, strict=True)
        ]
        return self.value - math.hypot(apart[0], reach), self.value + math.hypot(apart[1], reach)

    @property
    def parts(self) -> dict[str, tuple[float, float]]:
        """Intervals of the gain by name: the total, and what it is made of. [1]

        ``sampling`` is the error of the mean, from finite numbers of meters and cells.  ``meters``
        is what faults, machines and inputs leave open after the counts.  ``discrepancy`` is the
        error of the model.
        """
        value, reach = self.value, self._reach
        errors = value + self.errors + np.zeros_like(self.changes)
        return {
            "total": self.interval,
            "sampling": (value - reach, value + reach),
            "meters": _between(self.without_sampling),
            "discrepancy": _between(errors),
        }

    @property
    def _reach(self) -> float:
        """Distance of the ends of the sampling interval from the mean. [1]"""
        return float(ndtri((1 + LEVEL) / 2)) * self.noise

    @property
    def worse(self) -> float:
        """Chance that fewer cells have one seed than before. [1]

        Half a meter is added to each side, as no number of meters proves that it is impossible.
        """
        many = min(self.effective, len(self.changes))
        return float((np.mean(self.likely < 0) * many + HALF) / (many + 2 * HALF))


def _between(values: Floats) -> tuple[float, float]:
    low, high = np.quantile(values, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(low), float(high)


@dataclass(frozen=True, eq=False)
class Tried:
    """Shares of cells after every move, by meter; nan where a meter is impossible.

    Attributes
    ----------
    skip, double : ndarray, shape (meters, moves)
        Shares of skips and doubles, with the discrepancy that all settings of a meter share. [1]
    sampled : ndarray, shape (meters, moves)
        Sampling variance of the difference of the share of single seeds from the first move. [1]
    """

    skip: Floats
    double: Floats
    sampled: Floats

    @property
    def singles(self) -> Floats:
        """Share of cells with one seed, shape (meters, moves). [1]"""
        return 1 - self.skip - self.double

    def of(self, meters: Sequence[int]) -> Tried:
        """The same for some of the meters, by their numbers; one may come several times."""
        at = list(meters)
        return Tried(self.skip[at], self.double[at], self.sampled[at])


def tried(
    scenario: Scenario,
    meters: Sequence[Possible],
    moves: Sequence[Move],
    *,
    units: str = "metric",
    seed: int = 1,
    cells: int = CELLS,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Tried:
    """Shares of cells after every move, by meter.

    All moves of one meter have common random numbers and the same machine.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    meters : sequence of Possible
        Possible meters.
    moves : sequence of Move
        Moves to try.
    units : {'metric', 'us'}
        Family of units of the steps.
    seed : int
        Random seed; each meter has its own random numbers.
    cells : int
        Cells of each run.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.
    on_run : callable, optional
        Function that takes the number of finished meters.

    Returns
    -------
    Tried
        Shares.
    """
    jobs = [
        (scenario, tuple(meters[k : k + CHUNK]), tuple(moves), units, seed, k, cells)
        for k in range(0, len(meters), CHUNK)
    ]
    found: list[Floats] = []
    for part in in_order(_tried, jobs, executor):
        found += part
        if on_run:
            on_run(len(found))
    table = np.array(found)
    by = np.array([one.shift(scenario) for one in meters])
    skip, double = bent_shares(table[:, :, 0], table[:, :, 1], by[:, None, :])
    return Tried(skip, double, table[:, :, 2])


def _tried(
    job: tuple[Scenario, tuple[Possible, ...], tuple[Move, ...], str, int, int, int],
) -> list[Floats]:
    scenario, meters, moves, units, seed, first, cells = job
    rows = []
    for k, one in enumerate(meters):
        row = np.full((len(moves), 3), math.nan)
        single: NDArray[np.bool_] | None = None
        try:
            own = one.of(scenario)
        except BadInput:
            rows.append(row)
            continue
        for j, move in enumerate(moves):
            try:
                meter = kept_full(move.made(own, one.state, units), cells)
            except BadInput:
                continue
            loads = loads_at(meter, seed=seed, replicate=first + k)[BELT]
            if single is None:
                single = loads == 1
            row[j] = np.mean(loads == 0), np.mean(loads > 1), _paired(loads == 1, single)
        rows.append(row)
    return rows


def _paired(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> float:
    """Sampling variance of the mean difference of two runs with common random numbers. [1]

    It comes from the differences of stretches, which are longer than the dependence of cells.
    """
    many = min(len(one), len(other)) // STRETCH
    if many < 2:
        return 0.0
    apart = one[: many * STRETCH].astype(float) - other[: many * STRETCH]
    return float(apart.reshape(many, STRETCH).mean(axis=1).var(ddof=1)) / many


def gains(
    scenario: Scenario,
    meters: Sequence[Possible],
    moves: Sequence[Move],
    *,
    units: str = "metric",
    seed: int = 1,
    cells: int = CELLS,
    executor: Executor | None = None,
) -> list[Gain]:
    """Gains of moves over no move, best first; moves that some meter cannot make are left out.

    Parameters
    ----------
    scenario, meters, moves, units, seed, cells, executor
        As for `tried`.

    Returns
    -------
    list of Gain
        Gains in falling order of the expected gain.
    """
    found = tried(
        scenario, meters, [STAY, *moves], units=units, seed=seed, cells=cells, executor=executor
    )
    if any(one.machine is None for one in meters):
        return gains_of(found, moves)
    return gains_of(found, moves, scenario, seed)


def gains_of(
    found: Tried, moves: Sequence[Move], scenario: Scenario | None = None, seed: int = 1
) -> list[Gain]:
    """Gains of moves that were tried after `STAY`, best first.

    Parameters
    ----------
    found : Tried
        Shares of `STAY` and of every move.
    moves : sequence of Move
        The moves, without `STAY`.
    scenario : Scenario, optional
        The meter, with the draws of its machine and their discrepancy; none by default.
    seed : int
        Random seed of the discrepancy of each setting.

    Returns
    -------
    list of Gain
        Gains in falling order of the expected gain.
    """
    many, singles = len(found.skip), found.singles
    changes = singles[:, 1:] - singles[:, :1]
    errors = np.zeros_like(singles)
    if scenario is not None:
        for k, move in enumerate((STAY, *moves)):
            by = setting_errors(scenario, move.words, many, seed)
            skip, double = bent_shares(found.skip[:, k], found.double[:, k], by)
            errors[:, k] = 1 - skip - double - singles[:, k]
    apart = np.where(
        (changes == 0) & (found.sampled[:, 1:] == 0), 0.0, errors[:, 1:] - errors[:, :1]
    )
    made = [
        Gain(
            move,
            changes[:, k],
            sampled=float(found.sampled[:, k + 1].mean()),
            errors=apart[:, k],
        )
        for k, move in enumerate(moves)
        if not np.isnan(changes[:, k]).any()
    ]
    return sorted(made, key=lambda gain: -gain.value)


def value_of_knowing(found: Sequence[Gain], states: Sequence[State], name: str) -> float:
    """Expected further gain of the best move once a cause is known.

    Parameters
    ----------
    found : sequence of Gain
        Gains of moves over the same states.
    states : sequence of mappings
        Equally likely states.
    name : str
        Name of the cause.

    Returns
    -------
    float
        Share of cells, 0 or more. [1]

    Notes
    -----
    Source: strong2014, with a polynomial of second degree through the gains of each move.
    """
    values = np.array([state[name] for state in states])
    if not found or np.ptp(values) == 0:
        return 0.0
    scaled = (values - values.mean()) / values.std()
    terms = np.vander(scaled, DEGREE + 1)
    table = np.stack([gain.changes for gain in found], axis=1)
    curves = terms @ np.linalg.lstsq(terms, table, rcond=None)[0]
    known = float(np.maximum(curves.max(axis=1), 0).mean())
    return max(known - max(float(table.mean(axis=0).max()), 0.0), 0.0)
