"""Possible next moves of a meter, and their expected gain over its likely states.

A gain is the change of the share of cells with one seed as they leave the meter.  Effects of the
tube and the soil on spacings are the same before and after a move.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.questions.shared.hidden import HIDDEN, State, meter_of
from metersim.questions.shared.looks import BELT, kept_full, loads_at
from metersim.questions.shared.settings import Steps, can_move, moved, steps_text
from metersim.run.parallel import in_order

Floats = NDArray[np.float64]

SETTERS = ("notch", "vacuum", "gate")  # settings that are always tried
PARTS = ("guide", "hole")  # parts that are tried on request, where the meter takes them
MENDS = {
    "vacuum": "measure the vacuum at a hole, and mend what leaks",
    "pool": "check the gate, and bring the pool to the level of its setting",
}
"""Repair of each cause, which brings its true value back to the set one."""
CELLS = 2000  # of a run of a state
CHUNK = 5  # states of a job
LEVEL = 0.8  # coverage of the interval of a gain over states
SURE = 2.0  # standard errors below the expected gain
DEGREE = 2  # of the polynomial of gains over a cause


@dataclass(frozen=True)
class Move:
    """One possible move: a step of a setting or a repair.

    Attributes
    ----------
    words : str
        Description of the move.
    steps : mapping of str to int
        Single step of a setting; empty for a repair.
    mends : str
        Cause that a repair removes, or an empty text.
    """

    words: str
    steps: Steps = field(default_factory=dict)
    mends: str = ""

    def made(self, scenario: Scenario, state: State, units: str = "metric") -> Scenario:
        """True meter after the move; raises `BadInput` where it is impossible."""
        if self.mends:
            state = {**state, self.mends: HIDDEN[self.mends].middle}
        return meter_of(moved(scenario, self.steps, units), state)


STAY = Move("as it is")


def moves_of(
    scenario: Scenario, causes: Sequence[str], also: Sequence[str] = (), units: str = "metric"
) -> list[Move]:
    """All possible moves of a meter at its settings.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    causes : sequence of str
        Causes that may be faults.
    also : sequence of str
        Names of `PARTS` that may be moved too.
    units : {'metric', 'us'}
        Family of units of the steps.

    Returns
    -------
    list of Move
        Single steps of settings up and down, and repairs of causes.
    """
    made: list[Move] = []
    for name in (*SETTERS, *also):
        for count in (1, -1):
            steps = {name: count}
            if can_move(scenario, steps, units):
                made.append(Move(steps_text(steps, units), steps))
    return made + [Move(words, mends=cause) for cause, words in MENDS.items() if cause in causes]


@dataclass(frozen=True, eq=False)
class Gain:
    """Gain of a move over likely states.

    Attributes
    ----------
    move : Move
        The move.
    changes : ndarray, shape (states,)
        Change of the share of cells with one seed, by equally likely state. [1]
    effective : float
        Effective number of states of the diagnosis.
    """

    move: Move
    changes: Floats
    effective: float = math.inf

    @property
    def value(self) -> float:
        """Expected gain. [1]"""
        return float(self.changes.mean())

    @property
    def noise(self) -> float:
        """Standard error of the expected gain, from finite numbers of states and cells. [1]"""
        return float(self.changes.std(ddof=1)) * math.sqrt(
            1 / len(self.changes) + 1 / self.effective
        )

    @property
    def sure(self) -> float:
        """Lower bound of the expected gain against the noise of the simulation. [1]"""
        return self.value - SURE * self.noise

    @property
    def interval(self) -> tuple[float, float]:
        """Interval of the gain that holds `LEVEL` of the states. [1]"""
        low, high = np.quantile(self.changes, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
        return float(low), float(high)

    @property
    def worse(self) -> float:
        """Chance that fewer cells have one seed than before. [1]"""
        return float(np.mean(self.changes < 0))


def singles(
    scenario: Scenario,
    states: Sequence[State],
    moves: Sequence[Move],
    *,
    units: str = "metric",
    seed: int = 1,
    cells: int = CELLS,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Floats:
    """Share of cells with one seed after every move, by state.

    All moves of one state have common random numbers.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    states : sequence of mappings
        True values of hidden causes.
    moves : sequence of Move
        Moves to try.
    units : {'metric', 'us'}
        Family of units of the steps.
    seed : int
        Random seed; each state has its own random numbers.
    cells : int
        Cells of each run.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.
    on_run : callable, optional
        Function that takes the number of finished states.

    Returns
    -------
    ndarray, shape (states, moves)
        Shares; nan where a meter is impossible. [1]
    """
    jobs = [
        (scenario, tuple(states[k : k + CHUNK]), tuple(moves), units, seed, k, cells)
        for k in range(0, len(states), CHUNK)
    ]
    found: list[Floats] = []
    for part in in_order(_singles, jobs, executor):
        found += part
        if on_run:
            on_run(len(found))
    return np.array(found)


def _singles(
    job: tuple[Scenario, tuple[State, ...], tuple[Move, ...], str, int, int, int],
) -> list[Floats]:
    scenario, states, moves, units, seed, first, cells = job
    rows = []
    for k, state in enumerate(states):
        row = []
        for move in moves:
            try:
                meter = kept_full(move.made(scenario, state, units), cells)
            except BadInput:
                row.append(math.nan)
                continue
            loads = loads_at(meter, seed=seed, replicate=first + k)[BELT]
            row.append(float(np.mean(loads == 1)))
        rows.append(np.array(row))
    return rows


def gains(
    scenario: Scenario,
    states: Sequence[State],
    moves: Sequence[Move],
    **options: object,
) -> list[Gain]:
    """Gains of moves over no move, best first; moves that some state cannot make are left out.

    Parameters
    ----------
    scenario, states, moves, **options
        As for `singles`.

    Returns
    -------
    list of Gain
        Gains in falling order of the expected gain.
    """
    table = partial(singles, scenario, states, [STAY, *moves])(**options)  # type: ignore[arg-type]
    changes = table[:, 1:] - table[:, :1]
    made = [
        Gain(move, column)
        for move, column in zip(moves, changes.T, strict=True)
        if not np.isnan(column).any()
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
