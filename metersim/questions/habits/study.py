"""Habits of operators held against one another, on many meters whose state nobody sees.

Every habit gets the same meters and, look by look, the same luck, so that what differs is what
habits do.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import bad
from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.measures.intervals import Estimate, intervals, share_interval
from metersim.questions.habits.naming import GRID, name_causes, runs_of
from metersim.questions.habits.operators import COUNT, HABITS, Habit, Rule, Wanted
from metersim.questions.habits.trials import (
    WORTH,
    Task,
    Trial,
    check_habits,
    draw_meters,
    try_habits,
)
from metersim.questions.shared.looks import rates
from metersim.questions.shared.settings import SETTINGS
from metersim.run.draws import Streams
from metersim.run.parallel import in_order

if TYPE_CHECKING:
    import pandas as pd

METERS = 500
AS_MADE = 20_000  # cells that tell how a scenario does when nothing is wrong
ROOM = 0.005  # share of cells that may be worse than when nothing is wrong

Floats = NDArray[np.float64]

WORTHS: Mapping[str, Callable[[Trial], float]] = {
    "single": lambda trial: trial.end.single,
    "quality": lambda trial: trial.end.quality,
    "first_single": lambda trial: trial.first.single,
    "start_single": lambda trial: trial.start.single,
    "start_quality": lambda trial: trial.start.quality,
    "looks": lambda trial: len(trial.seen),
    "seeds": lambda trial: trial.seeds,
    "named": lambda trial: trial.named == trial.cause,
}
"""What is averaged over meters, by name; shares and counts. [1]"""
FLAGS: Mapping[str, Callable[[Trial], bool]] = {
    "worse": lambda trial: trial.gain < -WORTH,
    "named": lambda trial: trial.named == trial.cause,
    "mixed": lambda trial: trial.mixed,
}
"""What is counted over meters: ended worse than it began, the cause could be named, several
settings were moved between two counts."""


@dataclass(frozen=True)
class Habits:
    """What came of habits on many meters.

    Attributes
    ----------
    scenario : Scenario
        What was set.
    habits : mapping of str to Habit
        By name, in the order that they are told.
    wanted : Wanted
        What operators worked to.
    count : int
        Cells of a look, where a habit does not say.
    seed : int
        Chose meters and luck.
    trials : mapping of str to sequence of Trial
        By habit; the same meters in the same order for each.
    level : float
        Coverage of the intervals.
    """

    scenario: Scenario
    habits: Mapping[str, Habit]
    wanted: Wanted
    count: int
    seed: int
    trials: Mapping[str, Sequence[Trial]]
    level: float = 0.95

    def __repr__(self) -> str:
        return (
            f"<Habits on {self.meters} meters of {self.scenario.name}: "
            f"{', '.join(self.habits)}; to_dataframe() shows them>"
        )

    @property
    def meters(self) -> int:
        """How many meters each habit was given."""
        return len(self.offsets)

    @cached_property
    def offsets(self) -> NDArray[np.int64]:
        """Notches that each meter started off, whichever way. [1]"""
        first = next(iter(self.trials.values()))
        return np.array([abs(trial.meter.offset) for trial in first])

    def mean(self, worth: str, habit: str, off: int | None = None) -> Estimate:
        """Mean of one of `WORTHS` over meters.

        Parameters
        ----------
        worth : str
            Of which.
        habit : str
            Whose.
        off : int, optional
            Of meters that started so many notches off alone.

        Returns
        -------
        Estimate
            Shares or counts; nan without such meters, no interval with one. [1]
        """
        return self._mean(self._values(worth, habit)[self._rows(off)])

    def apart(self, worth: str, habit: str, other: str, off: int | None = None) -> Estimate:
        """By how much one habit lies above another, meter by meter; arguments as for `mean`."""
        values = self._values(worth, habit) - self._values(worth, other)
        return self._mean(values[self._rows(off)])

    def share(self, flag: str, habit: str, off: int | None = None) -> Estimate:
        """Share of meters for which one of `FLAGS` holds; arguments as for `mean`."""
        held = np.array([FLAGS[flag](trial) for trial in self.trials[habit]], dtype=np.float64)
        held = held[self._rows(off)]
        if not held.size:
            return Estimate(math.nan, math.nan, math.nan)
        return share_interval([held.sum()], [held.size], level=self.level)

    def moves(self, habit: str) -> bool:
        """Whether a habit moved anything on any meter; what never moves cannot end worse."""
        return any(
            trial.settings or any(one.settings for one in trial.seen)
            for trial in self.trials[habit]
        )

    @cached_property
    def leaders(self) -> tuple[str, ...]:
        """The habit that reached most singulation, and those that are not told from it."""
        best = max(self.habits, key=lambda name: self.mean("single", name).value)
        others = (name for name in self.habits if name != best)
        return (best, *(name for name in others if self.apart("single", name, best).high >= 0))

    @cached_property
    def guess(self) -> float:
        """How often the cause is named without any look: as the commonest of all. [1]"""
        first = next(iter(self.trials.values()))
        _, counts = np.unique([trial.cause for trial in first], return_counts=True)
        return float(counts.max() / counts.sum())

    def to_dataframe(self) -> pd.DataFrame:
        """One row a habit and meter, for pandas (extra ``notebook``); shares of 1."""
        return dataframe(self.rows())

    def rows(self) -> list[dict[str, Any]]:
        """One row a habit and meter: what was hidden, what was done (in steps), what came of it."""
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

    def _values(self, worth: str, habit: str) -> Floats:
        return np.array([WORTHS[worth](trial) for trial in self.trials[habit]], dtype=np.float64)

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
    scenario: Scenario,
    *,
    habits: Mapping[str, Habit | Rule] | None = None,
    meters: int = METERS,
    count: int = COUNT,
    wanted: Wanted | None = None,
    seed: int = 1,
    units: str = "metric",
    grid: int = GRID,
    executor: Executor | None = None,
    ahead: int = 64,
    on_step: Callable[[int], None] = lambda done: None,
) -> Habits:
    """Give meters with a hidden state to operators with different habits.

    Parameters
    ----------
    scenario : Scenario
        What is set, and right as long as nothing is wrong.
    habits : mapping of str to Habit or callable, optional
        By name; those of `metersim.questions.habits.operators.HABITS` when not given.  A
        function alone counts `count` cells.
    meters : int
        How many, 1 or more; every habit gets each of them.
    count : int
        Cells of a look, 1 or more, where a habit does not say.
    wanted : Wanted, optional
        What operators work to; else what `wanted_of` gives.
    seed : int
        Chooses meters and luck.
    units : {'metric', 'us'}
        Whose steps settings are moved by: 0.5 kPa or 2 in of water, say.
    grid : int
        Values of each hidden cause in the runs that looks are held against in the end, 3 or
        more; fewer are quicker.
    executor : Executor, optional
        Where to work; functions of your own must be picklable for processes.
    ahead : int
        Most jobs in flight.
    on_step : callable
        Told how many of `steps_of` steps are done.

    Returns
    -------
    Habits
        With intervals over meters: of other meters, not of other models.

    Raises
    ------
    BadInput
        Without habits or meters, or when a habit does what cannot be done.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.questions.habits.operators import HABITS
    >>> some = {name: HABITS[name] for name in ("leave alone", "one notch")}
    >>> found = m.habits(m.load_scenario("maize_bench"), habits=some, meters=10, seed=3, grid=3)
    >>> gained = found.apart("single", "one notch", "leave alone")
    >>> bool(gained.low > 0), found.mean("looks", "leave alone").value
    (True, 1.0)
    """
    named: Mapping[str, Habit | Rule] = HABITS if habits is None else habits
    made = {name: one if isinstance(one, Habit) else Habit(one) for name, one in named.items()}
    check_habits(made)
    for key, value, least in (("meters", meters, 1), ("count", count, 1), ("grid", grid, 3)):
        if value < least:
            raise bad("habits", key, f"{value}; give {least} or more")
    wanted = wanted or wanted_of(scenario, seed)
    tasks = (
        Task(scenario, meter, made, wanted, count, seed, units)
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
    by_habit = {name: tuple(t for t in trials if t.habit == name) for name in made}
    return Habits(scenario, made, wanted, count, seed, by_habit)


def _column(name: str) -> str:
    return name.replace(" ", "_").replace("-", "_")


def steps_of(meters: int, grid: int = GRID) -> int:
    """How many steps `habits` tells of."""
    return meters + len(runs_of(grid))


def wanted_of(scenario: Scenario, seed: int = 1) -> Wanted:
    """What can be asked of a scenario: what it gives when nothing is wrong, and `ROOM` more.

    assumption: half a seed in a hundred is what an operator lets pass; common practice, no source.
    """
    made = rates(scenario, AS_MADE, seed=seed)
    return Wanted(made.skip + ROOM, made.double + ROOM)
