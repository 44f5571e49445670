"""Comparison of habits of operators on many meters with a hidden state.

All habits get the same meters with common random numbers in every look.  Thus results differ only
by the moves of the habits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed, bad
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.intervals import LEVEL_TOTAL, Estimate, intervals, share_interval
from metersim.questions.habits.naming import GRID, name_causes, runs_of
from metersim.questions.habits.trials import (
    LEAST_CHANGE,
    Meter,
    Task,
    Trial,
    check_habits,
    draw_meters,
    try_habits,
)
from metersim.questions.shared.looks import rates
from metersim.questions.shared.operators import COUNT, HABITS, Habit, Rule, Wanted
from metersim.questions.shared.settings import SETTINGS
from metersim.run.parallel import check_sent, in_order
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

METERS = 500
AS_MADE = 20_000  # cells of the run of a scenario in order
ROOM = 0.005  # share of cells that is accepted above the rates in order

Floats = NDArray[np.float64]

OUTCOMES: Mapping[str, Callable[[Trial], float]] = Keyed(
    {
        "single": lambda trial: trial.end.single,
        "quality": lambda trial: trial.end.quality,
        "first_single": lambda trial: trial.first.single,
        "start_single": lambda trial: trial.start.single,
        "start_quality": lambda trial: trial.start.quality,
        "looks": lambda trial: len(trial.seen),
        "seeds": lambda trial: trial.seeds,
        "named": lambda trial: trial.named == trial.cause,
    }
)
"""Outcomes that are averaged over meters, by name: shares and counts. [1]"""
FLAGS: Mapping[str, Callable[[Trial], bool]] = Keyed(
    {
        "worse": lambda trial: trial.gain < -LEAST_CHANGE,
        "named": lambda trial: trial.named == trial.cause,
        "mixed": lambda trial: trial.mixed,
    }
)
"""Events that are counted over meters, by name.

They are a worse final state, a cause that could be named, and several settings moved at once.
"""


@dataclass(frozen=True)
class Habits:
    """Results of habits on many meters.

    Attributes
    ----------
    scenario : Scenario
        Settings of the meters.
    habits : mapping of str to Habit
        Habits by name, in the order of reports.
    wanted : Wanted
        Targets of the operators.
    count : int
        Cells of a look, where a habit does not define it.
    seed : int
        Random seed of meters and runs.
    trials : mapping of str to sequence of Trial
        Trials by habit, with the same meters in the same order.
    level : float
        Coverage of the intervals.
    """

    scenario: Scenario
    habits: Mapping[str, Habit]
    wanted: Wanted
    count: int
    seed: int
    trials: Mapping[str, Sequence[Trial]]
    level: float = LEVEL_TOTAL

    def __repr__(self) -> str:
        return (
            f"<Habits on {self.meters} meters of {self.scenario.name}: "
            f"{', '.join(self.habits)}; to_dataframe() lists them>"
        )

    @property
    def meters(self) -> int:
        """Number of meters of each habit."""
        return len(self.offsets)

    @cached_property
    def offsets(self) -> NDArray[np.int64]:
        """Absolute offset of the start notch of each meter, in notches. [1]"""
        first = next(iter(self.trials.values()))
        return np.array([abs(trial.meter.offset) for trial in first])

    def mean(self, outcome: str, habit: str, off: int | None = None) -> Estimate:
        """Mean of one of `OUTCOMES` over meters.

        Parameters
        ----------
        outcome : str
            Name of the outcome.
        habit : str
            Name of the habit.
        off : int, optional
            Offset of the start notch, to select meters; by default all meters.

        Returns
        -------
        Estimate
            Shares or counts; nan without such meters, no interval with one. [1]
        """
        return self._mean(self._values(outcome, habit)[self._rows(off)])

    def lead(self, outcome: str, habit: str, other: str, off: int | None = None) -> Estimate:
        """Paired lead of one habit over another; arguments as for `mean`."""
        values = self._values(outcome, habit) - self._values(outcome, other)
        return self._mean(values[self._rows(off)])

    def share(self, flag: str, habit: str, off: int | None = None) -> Estimate:
        """Share of meters for which one of `FLAGS` holds; arguments as for `mean`."""
        held = np.array([FLAGS[flag](trial) for trial in self.trials[habit]], dtype=np.float64)
        held = held[self._rows(off)]
        if not held.size:
            return Estimate(math.nan, math.nan, math.nan)
        return share_interval([held.sum()], [held.size], level=self.level)

    def moves(self, habit: str) -> bool:
        """Whether a habit moved a setting of any meter."""
        return any(
            trial.settings or any(one.settings for one in trial.seen)
            for trial in self.trials[habit]
        )

    @cached_property
    def leaders(self) -> tuple[str, ...]:
        """The habit with the best singulation, and those without a detected difference from it."""
        best = max(self.habits, key=lambda name: self.mean("single", name).value)
        others = (name for name in self.habits if name != best)
        return (best, *(name for name in others if self.lead("single", name, best).high >= 0))

    @cached_property
    def blind_share(self) -> float:
        """Share of meters with the commonest cause, which needs no look to be named. [1]"""
        first = next(iter(self.trials.values()))
        _, counts = np.unique([trial.cause for trial in first], return_counts=True)
        return float(counts.max() / counts.sum())

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a habit and meter (extra ``notebook``)."""
        return dataframe(self.rows())

    def rows(self) -> list[dict[str, Any]]:
        """Rows by habit and meter: hidden state, moves in steps, and results."""
        return [
            {
                "habit": habit,
                "meter": trial.meter.number,
                "start_notch": trial.meter.offset,
                **{f"hidden_{_column(name)}": at for name, at in trial.meter.state.items()},
                "cause": trial.cause,
                "named": trial.named,
                "looks": len(trial.seen),
                "seeds": trial.seeds,
                **{f"moved_{name}": trial.settings.get(name, 0) for name in SETTINGS},
                "start_skip": trial.start.skip,
                "start_double": trial.start.double,
                "start_quality": trial.start.quality,
                "end_skip": trial.end.skip,
                "end_double": trial.end.double,
                "end_quality": trial.end.quality,
                "mixed": trial.mixed,
                "worse": FLAGS["worse"](trial),
            }
            for habit, trials in self.trials.items()
            for trial in trials
        ]

    def _values(self, outcome: str, habit: str) -> Floats:
        return np.array(
            [OUTCOMES[outcome](trial) for trial in self.trials[habit]], dtype=np.float64
        )

    def _rows(self, off: int | None) -> NDArray[np.bool_]:
        return np.ones(self.meters, dtype=bool) if off is None else self.offsets == off

    def _mean(self, values: Floats) -> Estimate:
        if not values.size:
            return Estimate(math.nan, math.nan, math.nan)
        table = np.stack([values, np.ones_like(values)], axis=1)
        rng = Streams(self.seed).generator("resampling")
        (made,) = intervals(table, [lambda sums: sums[..., 0] / sums[..., 1]], rng, self.level)
        return made


def habits(
    scenario: AnyScenario,
    *,
    habits: Mapping[str, Habit | Rule] | None = None,
    meters: int = METERS,
    count: int = COUNT,
    wanted: Wanted | None = None,
    seed: int = 1,
    units: str = "metric",
    grid: int = GRID,
    quality: bool = True,
    stations: OwnGiven | None = None,
    executor: Executor | None = None,
    ahead: int = 64,
    on_step: Callable[[int], None] = lambda done: None,
) -> Habits:
    """Simulate operators with different habits on meters with a hidden state.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Settings, which are right for a meter in order: scenario, name or file.
    habits : mapping of str to Habit or callable, optional
        Habits by name; by default `metersim.questions.shared.operators.HABITS`.  A plain
        function counts `count` cells.
    meters : int
        Number of meters, 1 or more; every habit gets all of them.
    count : int
        Cells of a look, 1 or more, where a habit does not define it.
    wanted : Wanted, optional
        Targets of the operators; by default those of `wanted_of`.
    seed : int
        Random seed of meters and runs.
    units : {'metric', 'us'}
        Family of units of the steps, such as 0.5 kPa or 2 in of water.
    grid : int
        Values of each hidden cause in the runs that looks are compared with, 3 or more; fewer
        values are faster.
    quality : bool
        Whether to simulate how seeds fall, too, for the quality of feed at each meter's start and
        end, which no habit sees; nan without it.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    executor : Executor, optional
        Executor of the jobs; a user's own functions must be picklable for processes.
    ahead : int
        Largest number of submitted jobs.
    on_step : callable
        Function that takes the number of finished steps of `steps_of`.

    Returns
    -------
    Habits
        Results with intervals over meters, each of them another machine.  They do not cover the
        model's discrepancy.

    Raises
    ------
    BadInput
        Without habits or meters, or when a habit makes an impossible move.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.questions.shared.operators import HABITS
    >>> some = {name: HABITS[name] for name in ("leave alone", "one notch")}
    >>> found = m.habits("maize_bench", habits=some, meters=10, seed=3, grid=3)
    >>> gained = found.lead("single", "one notch", "leave alone")
    >>> bool(gained.low > 0), found.mean("looks", "leave alone").value
    (True, 1.0)
    """
    named: Mapping[str, Habit | Rule] = HABITS if habits is None else habits
    made = {name: one if isinstance(one, Habit) else Habit(one) for name, one in named.items()}
    check_habits(made)
    for key, value, least in (("meters", meters, 1), ("count", count, 1), ("grid", grid, 3)):
        if value < least:
            raise bad("habits", key, f"{value}; give {least} or more")
    scenario = fitted(scenario, stations)
    check_sent(scenario, executor)
    wanted = wanted or wanted_of(scenario, seed)
    tasks = (
        Task(_machine(scenario, meter), meter, made, wanted, count, seed, units, quality)
        for meter in draw_meters(scenario, meters, seed)
    )
    trials: list[Trial] = []
    for done, found in enumerate(in_order(try_habits, tasks, executor, ahead), start=1):
        trials += found
        on_step(done)
    trials = name_causes(
        scenario,
        trials,
        seed,
        units=units,
        grid=grid,
        executor=executor,
        ahead=ahead,
        on_run=lambda done: on_step(meters + done),
    )
    each = {name: tuple(t for t in trials if t.habit == name) for name in made}
    by_habit = Keyed(each, "habit")
    return Habits(scenario, made, wanted, count, seed, by_habit)


def _column(name: str) -> str:
    return name.replace(" ", "_").replace("-", "_")


def steps_of(meters: int, grid: int = GRID) -> int:
    """Number of steps that `habits` reports to `on_step`."""
    return meters + len(runs_of(grid))


def wanted_of(scenario: Scenario, seed: int = 1) -> Wanted:
    """Usual targets of a scenario: its shares of skips and doubles in order, and `ROOM` more.

    assumption: an operator accepts half a seed in a hundred; common practice, no source.
    """
    made = rates(scenario, AS_MADE, seed=seed)
    return Wanted(made.skip + ROOM, made.double + ROOM)


def _machine(scenario: Scenario, meter: Meter) -> Scenario:
    """Scenario with the coefficients of one drawn machine."""
    return replace(scenario, coefficients=scenario.posterior.draw(meter.number))
