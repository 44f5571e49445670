"""The cause that looks point to, for an ideal observer who knows the model and the priors.

The observer compares the looks of a trial with equally likely meters of all kinds and start
notches.  Each meter is weighed by the chance of these counts with the same moves.  The cause with
the greatest total weight is named.  No real observer can do much better with the same looks.

The rates of all kinds of meters are a smooth surface through runs of some of them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.questions.habits.trials import (
    CAUSES,
    NOTHING,
    Meter,
    Trial,
    cause_of,
    possible_offsets,
    put_right,
)
from metersim.questions.shared.hidden import HIDDEN, State, meter_of
from metersim.questions.shared.looks import Look, Rates, levels_of, log_chances, rates
from metersim.questions.shared.operators import place_after
from metersim.questions.shared.settings import Steps, moved
from metersim.run.parallel import in_order

SHOWN = ("seed size", "vacuum")  # hidden causes that change counts, without the start notch
GRID = 4  # values of each cause in the runs that a surface fits
ENDS = 0.02, 0.98  # quantiles of the prior at the ends of these values
KINDS = 9  # equally likely values of each cause that are compared with looks
CELLS = 3000  # of each run
RIDGE = 0.1  # keeps a surface flat where runs have no events
STEEP = 5.0  # bound of the logarithm of a rate in the search for coefficients
MOST_STEPS = 60  # of Newton's in that search
LEAST_GAIN = 1e-9  # of log likelihood; half of one is a standard error
MOST = 0.495  # largest share of cells that a surface may give

Floats = NDArray[np.float64]
Place = frozenset[tuple[str, int]]


@dataclass(frozen=True)
class Table:
    """Runs of one kind of meter at several settings, in steps from those of the scenario."""

    scenario: Scenario
    state: State
    places: tuple[Steps, ...]
    seed: int
    replicate: int
    units: str

    def worked(self) -> dict[Place, Rates]:
        """Rates by setting; impossible settings are left out."""
        found: dict[Place, Rates] = {}
        for steps in self.places:
            try:
                meter = meter_of(moved(self.scenario, steps, self.units), self.state)
            except BadInput:
                continue
            found[_place(steps)] = rates(meter, CELLS, seed=self.seed, replicate=self.replicate)
        return found


@dataclass(frozen=True)
class Surface:
    """Rates of meters of all kinds at one setting.

    Attributes
    ----------
    skip, double : ndarray, shape (6,)
        Coefficients of the logarithm of each rate, see `surface_of`.
    effect : float
        Variance of a count of many cells over that of independent cells. [1]
    cells : int
        Cells of all runs that the surface fits.
    """

    skip: Floats
    double: Floats
    effect: float
    cells: int

    def at(self, state: State) -> Rates:
        """Rates of a meter with this state; unnamed causes are in order."""
        terms = _terms(state)
        skip, double = (min(float(np.exp(terms @ part)), MOST) for part in (self.skip, self.double))
        return Rates(skip, double, self.effect, self.effect, self.cells)


def surface_of(runs: Sequence[tuple[State, Rates]]) -> Surface:
    """Surface fitted to runs: the logarithm of a rate is quadratic in the hidden causes.

    Notes
    -----
    assumption: counts have a Poisson distribution (McCullagh & Nelder, from memory), which is
    adequate for rates of some percent.  A small ridge fixes coefficients that no run determines.
    """
    terms = np.array([_terms(state) for state, _ in runs])
    cells = np.array([rate.cells for _, rate in runs], dtype=np.float64)
    skip, double = (
        _fitted(terms, cells * [getattr(rate, name) for _, rate in runs], cells)
        for name in ("skip", "double")
    )
    effects = [max(rate.skip_effect, rate.double_effect) for _, rate in runs]
    return Surface(skip, double, float(np.mean(effects)), int(cells.sum()))


def _fitted(terms: Floats, counts: Floats, cells: Floats) -> Floats:
    """Coefficients of a Poisson regression with a logarithmic link."""
    share = (counts.sum() + 0.5) / (cells.sum() + 0.5)
    first = np.zeros(terms.shape[1])
    first[0] = np.log(share)
    ridge = np.full(len(first), RIDGE)
    ridge[0] = 0.0

    def mean(beta: Floats) -> Floats:
        found: Floats = cells * np.exp(np.minimum(terms @ beta, STEEP))
        return found

    def loss(beta: Floats) -> float:
        held = mean(beta)
        return float((held - counts * np.log(held)).sum() + ridge @ (beta - first) ** 2)

    beta, now = first, loss(first)
    for _ in range(MOST_STEPS):
        held = mean(beta)
        slope = terms.T @ (held - counts) + 2 * ridge * (beta - first)
        step = np.linalg.solve((terms.T * held) @ terms + np.diag(2 * ridge), slope)
        if float(slope @ step) < LEAST_GAIN:
            break
        while (then := loss(beta - step)) > now:
            step = step / 2
        beta, now = beta - step, then
    return beta


def _terms(state: State) -> Floats:
    """Constant, linear and quadratic terms of a state, in standard deviations of the prior."""
    away = [
        (state.get(name, HIDDEN[name].middle) - HIDDEN[name].middle) / HIDDEN[name].sd
        for name in SHOWN
    ]
    size, vacuum = away
    return np.array([1.0, size, vacuum, size**2, size * vacuum, vacuum**2])


def _states(places: Sequence[float]) -> list[State]:
    """States with each cause at each of these quantiles of its prior."""
    values = ([HIDDEN[name].at(place) for place in places] for name in SHOWN)
    return [dict(zip(SHOWN, both, strict=True)) for both in product(*values)]


def runs_of(grid: int = GRID) -> list[State]:
    """States of the runs that surfaces fit."""
    return _states(np.linspace(*ENDS, grid).tolist())


def name_causes(
    scenario: Scenario,
    trials: Sequence[Trial],
    seed: int,
    *,
    units: str = "metric",
    grid: int = GRID,
    executor: Executor | None = None,
    ahead: int = 64,
    on_run: Callable[[int], None] = lambda done: None,
) -> list[Trial]:
    """Trials with the cause that their looks point to.

    Parameters
    ----------
    scenario : Scenario
        Settings without start offsets.
    trials : sequence of Trial
        Trials with their looks.
    seed : int
        Random seed of the runs that surfaces fit.
    units : {'metric', 'us'}
        Family of units of the steps.
    grid : int
        Values of each hidden cause in these runs, 3 or more.
    executor : Executor, optional
        Executor of the jobs.
    ahead : int
        Largest number of submitted jobs.
    on_run : callable
        Function that takes the number of finished runs of `runs_of`.

    Returns
    -------
    list of Trial
        The same trials with their `Trial.named`.
    """
    offsets = possible_offsets(scenario)
    looks: dict[Place, list[tuple[int, Look]]] = {}
    for row, trial in enumerate(trials):
        for one in trial.seen:
            looks.setdefault(_place(one.settings), []).append((row, one.look))
    starts = [place_after({"notch": k}, {}) for k in (*offsets, 0)]
    there = [place_after({"notch": k}, dict(place)) for k in offsets for place in looks]
    places = tuple({_place(steps): steps for steps in (*starts, *there)}.values())
    tables = [
        Table(scenario, state, places, seed, k, units) for k, state in enumerate(runs_of(grid))
    ]
    runs: dict[Place, list[tuple[State, Rates]]] = {}
    worked = in_order(Table.worked, tables, executor, ahead)
    for done, (table, found) in enumerate(zip(tables, worked, strict=True), start=1):
        for place, rate in found.items():
            runs.setdefault(place, []).append((table.state, rate))
        on_run(done)
    surfaces = {place: surface_of(some) for place, some in runs.items()}
    middles = ((np.arange(KINDS) + 0.5) / KINDS).tolist()
    meters = [Meter(0, k, state) for state in _states(middles) for k in offsets]
    causes = np.array([_cause(meter, surfaces) for meter in meters])
    logs = np.zeros((len(trials), len(meters)))
    for place, some in looks.items():
        held = []
        for meter in meters:
            surface = surfaces.get(_place(place_after({"notch": meter.offset}, dict(place))))
            held.append(None if surface is None else surface.at(meter.state))
        np.add.at(logs, [row for row, _ in some], _log_chances(held, [look for _, look in some]))
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    names = (*CAUSES, NOTHING)
    shares = np.stack([weights[:, causes == name].sum(axis=1) for name in names], axis=1)
    return [
        dataclasses.replace(trial, named=names[best])
        for trial, best in zip(trials, shares.argmax(axis=1), strict=True)
    ]


def _place(steps: Steps) -> Place:
    return frozenset(steps.items())


def _cause(meter: Meter, surfaces: dict[Place, Surface]) -> str:
    """Cause that is wrong in a meter of the comparison."""

    def bad(steps: Steps, state: State) -> float:
        rate = surfaces[_place(place_after(steps, {}))].at(state)
        return rate.skip + rate.double

    start = bad({"notch": meter.offset}, meter.state)
    return cause_of(start, {cause: bad(*put_right(meter, cause)) for cause in CAUSES})


def _log_chances(held: Sequence[Rates | None], looks: Sequence[Look]) -> Floats:
    """Log chance of looks at one setting for each meter; impossible meters have no chance."""
    can = np.array([rate is not None for rate in held])
    chances = np.full((len(looks), len(held)), -np.inf)
    chances[:, can] = log_chances(levels_of([rate for rate in held if rate is not None]), looks)
    return chances
