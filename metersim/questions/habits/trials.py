"""Trials of every habit on one meter with a hidden state, with common random numbers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.machine.scenario import Scenario
from metersim.measures.observed import observed_spacings
from metersim.measures.spacing import class_counts, per_spacing
from metersim.questions.shared.hidden import State, draw_states, meter_of
from metersim.questions.shared.looks import BELT, Look, kept_full, loads_at
from metersim.questions.shared.operators import Habit, Seen, Wanted, place_after
from metersim.questions.shared.settings import SETTINGS, Steps, can_move, moved
from metersim.run.records import Run
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

UNSEEN = ("seed size", "vacuum", "cut-off", "tube")
"""Hidden causes of `metersim.questions.shared.hidden`; the start notch is hidden too."""
OFFSETS = (-2, -1, 0, 1, 2)
"""Offsets of the start notch from that of the scenario, equally often."""
MOST_LOOKS = 12  # looks after which an operator gives up
LONG = 3000  # cells at the start of a run that give the true rates of a meter
COUNTED = 3600  # cells behind them, for looks
LEAST_CHANGE = 0.005  # least change, as a share of cells, that counts as worse or as a cause
CAUSES = ("notch", "seed size", "vacuum")
"""Causes that counts can reveal."""
NOTHING = "nothing"


@dataclass(frozen=True)
class Meter:
    """Hidden state of one meter.

    Attributes
    ----------
    number : int
        Number of the meter, from 0, which chooses its random draws.
    offset : int
        Offset of its start notch from that of the scenario. [1]
    state : mapping of str to float
        True values by name of `metersim.questions.shared.hidden.HIDDEN`.
    """

    number: int
    offset: int
    state: State


@dataclass(frozen=True)
class Truth:
    """True rates of a meter, on `LONG` cells that no operator counts.

    Attributes
    ----------
    skip, double : float
        Share of cells with no seed, and with two or more. [1]
    quality : float
        Quality of feed: share of spacings from 0.5 to 1.5 of nominal (ISO 7256-1).  It is 0 with
        fewer than two seeds, and nan where it was not asked for. [1]
    """

    skip: float
    double: float
    quality: float

    @property
    def single(self) -> float:
        """Singulation: share of cells with exactly one seed. [1]"""
        return 1 - self.bad

    @property
    def bad(self) -> float:
        """Share of cells with no seed, or several. [1]"""
        return self.skip + self.double


@dataclass(frozen=True)
class Trial:
    """Trial of one habit on one meter.

    Attributes
    ----------
    meter : Meter
        Hidden state of the meter.
    habit : str
        Name of the habit.
    cause : str
        True cause of its excess, see `cause_of`.
    start, first, end : Truth
        True rates at the start, after the first move, and at the end, with common random numbers.
    seen : tuple of Seen
        All looks.
    seeds : int
        Seeds counted in all looks.
    named : str
        Cause that the looks point to, see `metersim.questions.habits.naming`.  It is empty before
        that step.
    """

    meter: Meter
    habit: str
    cause: str
    start: Truth
    first: Truth
    end: Truth
    seen: tuple[Seen, ...]
    seeds: int
    named: str = ""

    @property
    def settings(self) -> Steps:
        """Final settings in steps from the initial ones: those of the last look."""
        return self.seen[-1].settings

    @property
    def gain(self) -> float:
        """Singulation at the end less that at the start. [1]"""
        return self.end.single - self.start.single

    @property
    def mixed(self) -> bool:
        """Whether several settings were moved between two looks, which mixes their effects."""
        places = [one.settings for one in self.seen]
        return any(
            sum(a.get(name, 0) != b.get(name, 0) for name in {*a, *b}) > 1
            for a, b in pairwise(places)
        )


@dataclass(frozen=True)
class Task:
    """One meter for all habits, with all inputs of its trials.

    ``units`` are those of steps.  The fall of the seeds is simulated for ``quality`` alone.
    """

    scenario: Scenario
    meter: Meter
    habits: Mapping[str, Habit]
    wanted: Wanted
    count: int
    seed: int
    units: str = "metric"
    quality: bool = True


def draw_meters(scenario: Scenario, count: int, seed: int) -> list[Meter]:
    """Meters with states from the priors and evenly distributed start notches.

    Parameters
    ----------
    scenario : Scenario
        Settings; impossible start notches are left out.
    count : int
        Number of meters, 1 or more.
    seed : int
        Random seed of the draws.
    """
    offsets = possible_offsets(scenario)
    order = Streams(seed).generator("start notch").permutation(count)
    states = draw_states(count, seed, UNSEEN)
    return [
        Meter(number, offsets[place % len(offsets)], state)
        for number, (place, state) in enumerate(zip(order.tolist(), states, strict=True))
    ]


def possible_offsets(scenario: Scenario) -> list[int]:
    """`OFFSETS` that the singulator can be set to."""
    return [k for k in OFFSETS if not k or can_move(scenario, {"notch": k})]


def cause_of(found: float, put_right: Mapping[str, float]) -> str:
    """Main cause of a meter: its correction alone removes most skips and doubles.

    Parameters
    ----------
    found : float
        Share of cells with no seed or several, as the meter was found. [1]
    put_right : mapping of str to float
        The same share with one corrected cause, by name of `CAUSES`. [1]

    Returns
    -------
    str
        One of `CAUSES`, or `NOTHING` when no correction removes more than `LEAST_CHANGE`.
    """
    gains = {name: found - share for name, share in put_right.items()}
    best = max(gains, key=lambda name: gains[name])
    return best if gains[best] > LEAST_CHANGE else NOTHING


def put_right(meter: Meter, cause: str) -> tuple[Steps, State]:
    """Notch offset and hidden state of a meter after the correction of one of `CAUSES`."""
    if cause == "notch":
        return {}, meter.state
    state = {name: value for name, value in meter.state.items() if name != cause}
    return {"notch": meter.offset}, state


def try_habits(task: Task) -> list[Trial]:
    """Trials of every habit on one meter, each from the same initial state.

    Raises
    ------
    BadInput
        When a habit moves an unknown setting, or a fraction of a step.
    """
    bench = _Bench(task)
    meter, start = task.meter, bench.truth({})
    worked = {name: bench.work(name, habit) for name, habit in task.habits.items()}
    cause = cause_of(start.bad, {cause: bench.put_right(cause) for cause in CAUSES})
    trials = []
    for name, (seen, seeds) in worked.items():
        first, end = (bench.truth(one.settings) for one in (seen[:2][-1], seen[-1]))
        trials.append(Trial(meter, name, cause, start, first, end, tuple(seen), seeds))
    return trials


Place = frozenset[tuple[str, int]]


@dataclass
class _Bench:
    """A meter whose runs are kept, so that nothing is simulated twice.

    One run at a setting gives the true rates on its first `LONG` cells, and looks behind them.
    """

    task: Task
    meters: dict[Place, Scenario | None] = field(default_factory=dict)
    cells: dict[object, NDArray[np.int64]] = field(default_factory=dict)
    truths: dict[Place, Truth] = field(default_factory=dict)

    def work(self, name: str, habit: Habit) -> tuple[list[Seen], int]:
        """All looks of a habit, the last at its final settings, and the number of counted seeds."""
        seen: list[Seen] = []
        settings: dict[str, int] = {}
        seeds = 0
        for number in range(MOST_LOOKS):
            counted = self.look(settings, number, habit.count or self.task.count)
            seeds += int(counted.sum())
            skips, doubles = int((counted == 0).sum()), int((counted > 1).sum())
            look = Look(cells=len(counted), skips=skips, doubles=doubles)
            seen.append(Seen(dict(settings), look))
            move = _checked(name, habit.rule(tuple(seen), self.task.wanted))
            if move is None or number == MOST_LOOKS - 1:
                break
            there = place_after(settings, move)
            if self.meter(there) is None:
                break  # the setting is at its end
            settings = there
        return seen, seeds

    def meter(self, settings: Steps) -> Scenario | None:
        """The true meter at settings moved from its initial ones; None where it cannot be."""
        place = frozenset(settings.items())
        if place not in self.meters:
            steps = place_after({"notch": self.task.meter.offset}, settings)
            try:
                there = moved(self.task.scenario, steps, self.task.units)
                self.meters[place] = meter_of(there, self.task.meter.state)
            except BadInput:
                self.meters[place] = None
        return self.meters[place]

    def look(self, settings: Steps, number: int, count: int) -> NDArray[np.int64]:
        """Seeds of each cell in a look of that number.

        Looks of one number have the same random draws at all settings, whoever takes them.
        """
        each = max(self.task.count, count)
        run, nth = divmod(number, max(COUNTED // each, 1))
        first = nth * each + (0 if run else LONG)
        return self._loads(settings, max(each, COUNTED), run)[first : first + count]

    @property
    def _most(self) -> int:
        """Cells for looks in a run, for usual counts."""
        return max(self.task.count, COUNTED)

    def truth(self, settings: Steps) -> Truth:
        """True rates of the meter at these settings, on cells of no look."""
        place = frozenset(settings.items())
        if place not in self.truths:
            released = self._loads(settings, self._most, 0)[:LONG]
            quality = self._quality(settings) if self.task.quality else math.nan
            bad = float((released == 0).mean()), float((released > 1).mean())
            self.truths[place] = Truth(*bad, quality)
        return self.truths[place]

    def put_right(self, cause: str) -> float:
        """Share of cells with no seed or several, with one of `CAUSES` put right. [1]"""
        back = place_after({}, {"notch": -self.task.meter.offset})
        if cause == "notch" and (frozenset(back.items()), self._most, 0) in self.cells:
            return self.truth(back).bad
        steps, state = put_right(self.task.meter, cause)
        there = meter_of(moved(self.task.scenario, steps), state)
        released = self._run(there, LONG, MOST_LOOKS)
        return float((released != 1).mean())

    def _quality(self, settings: Steps) -> float:
        meter, replicate = self._there(settings), self._replicate(MOST_LOOKS)
        run = simulate(kept_full(meter, LONG), seed=self.task.seed, replicate=replicate)
        return quality_of(run)

    def _loads(self, settings: Steps, cells: int, number: int) -> NDArray[np.int64]:
        """Seeds of each cell of a run for looks, the first of which gives the true rates, too."""
        key = (frozenset(settings.items()), cells, number)
        if key not in self.cells:
            many = cells + (0 if number else LONG)
            self.cells[key] = self._run(self._there(settings), many, number or MOST_LOOKS)
        return self.cells[key]

    def _there(self, settings: Steps) -> Scenario:
        meter = self.meter(settings)
        if meter is None:
            raise ValueError(f"{settings}; allowed: settings that the meter can take")
        return meter

    def _run(self, meter: Scenario, cells: int, number: int) -> NDArray[np.int64]:
        replicate = self._replicate(number)
        made = loads_at(kept_full(meter, cells), seed=self.task.seed, replicate=replicate)[BELT]
        return made[:cells]

    def _replicate(self, number: int) -> int:
        """Replicate of a run of this meter; the one with its true rates comes last."""
        return 1 + self.task.meter.number * (MOST_LOOKS + 1) + number


def quality_of(run: Run) -> float:
    """Quality of feed of a run; 0 with fewer than two seeds. [1]"""
    if len(run.seeds) < 2:
        return 0.0
    return per_spacing(class_counts(observed_spacings(run), run.scenario.spacing)).quality


def _checked(name: str, move: Steps | None) -> Steps | None:
    """Checked answer of a habit; raises `BadInput` for a move that no meter allows."""
    if move is None:
        return None
    if not isinstance(move, Mapping):
        raise bad("habit", name, f"gives {move!r}; give steps by setting, {{}}, or None to stop")
    faults = [
        Fault("habit", name, f"moves '{key}', which is no setting; {hint(str(key), SETTINGS)}")
        for key in move
        if key not in SETTINGS
    ]
    faults += [
        Fault("habit", name, f"moves {key} by {steps!r}; give a whole number of steps")
        for key, steps in move.items()
        if isinstance(steps, bool) or not isinstance(steps, int | np.integer)
    ]
    if faults:
        raise BadInput(faults)
    return {key: int(steps) for key, steps in move.items()}


def check_habits(habits: Mapping[str, Habit]) -> None:
    """Refuse no habit at all, or a habit that counts no cell; raises `BadInput`."""
    if not habits:
        raise bad("habits", "", "none is given; give one or more")
    faults: Iterable[Fault] = [
        Fault("habits", name, f"counts {habit.count} cells; give 1 or more")
        for name, habit in habits.items()
        if habit.count is not None and habit.count < 1
    ]
    if faults:
        raise BadInput(faults)
