"""Trials of every habit on one meter with a hidden state, with common random numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.machine.scenario import Scenario
from metersim.measures.observed import observed_spacings
from metersim.measures.spacing import class_counts, per_spacing
from metersim.questions.habits.operators import Habit, Seen, Wanted, place_after
from metersim.questions.shared.hidden import State, draw_states, meter_of
from metersim.questions.shared.looks import BELT, Look, kept_full, loads, loads_at
from metersim.questions.shared.settings import SETTINGS, Steps, can_move, moved
from metersim.run.records import Run
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

UNSEEN = ("seed size", "vacuum", "cut-off", "tube")
"""Hidden causes of `metersim.questions.shared.hidden`; the start notch is hidden too."""
OFFSETS = (-2, -1, 0, 1, 2)
"""Offsets of the start notch from that of the scenario, equally often."""
MOST_LOOKS = 12  # looks after which an operator gives up
LONG = 3000  # cells of the run that gives the true rates of a meter
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
        fewer than two seeds. [1]
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
    """One meter for all habits, with all inputs of its trials; ``units`` are those of steps."""

    scenario: Scenario
    meter: Meter
    habits: Mapping[str, Habit]
    wanted: Wanted
    count: int
    seed: int
    units: str = "metric"


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
    shares = {}
    for cause in CAUSES:
        steps, state = put_right(meter, cause)
        shares[cause] = bench.bad(moved(task.scenario, steps), state)
    cause = cause_of(start.bad, shares)
    trials = []
    for name, habit in task.habits.items():
        seen, seeds = bench.work(name, habit)
        first, end = (bench.truth(one.settings) for one in (seen[:2][-1], seen[-1]))
        trials.append(Trial(meter, name, cause, start, first, end, tuple(seen), seeds))
    return trials


@dataclass
class _Bench:
    """A meter whose runs are kept, so that no look is simulated twice."""

    task: Task
    cells: dict[object, NDArray[np.int64]] = field(default_factory=dict)
    truths: dict[object, Truth] = field(default_factory=dict)

    def work(self, name: str, habit: Habit) -> tuple[list[Seen], int]:
        """All looks of a habit, the last at its final settings, and the number of counted seeds."""
        seen: list[Seen] = []
        settings: dict[str, int] = {}
        seeds = 0
        for number in range(MOST_LOOKS):
            counted = self.look(settings, number)[: habit.count or self.task.count]
            seeds += int(counted.sum())
            skips, doubles = int((counted == 0).sum()), int((counted > 1).sum())
            look = Look(cells=len(counted), skips=skips, doubles=doubles)
            seen.append(Seen(dict(settings), look))
            move = _checked(name, habit.rule(tuple(seen), self.task.wanted))
            if move is None or number == MOST_LOOKS - 1:
                break
            there = place_after(settings, move)
            if not self.can_be(there):
                break  # the setting is at its end
            settings = there
        return seen, seeds

    def set_to(self, settings: Steps) -> Scenario:
        """Scenario with settings moved from the initial ones of this meter."""
        steps = place_after({"notch": self.task.meter.offset}, settings)
        return moved(self.task.scenario, steps, self.task.units)

    def can_be(self, settings: Steps) -> bool:
        """Whether these settings are possible on this meter."""
        try:
            meter_of(self.set_to(settings), self.task.meter.state)
        except BadInput:
            return False
        return True

    def look(self, settings: Steps, number: int) -> NDArray[np.int64]:
        """Seeds of each cell in a look of that number, for the longest count of any habit."""
        key = (number, frozenset(settings.items()))
        if key not in self.cells:
            meter = meter_of(self.set_to(settings), self.task.meter.state)
            most = max(habit.count or self.task.count for habit in self.task.habits.values())
            turns = -(-most // meter.disc.cells)
            self.cells[key] = self._loads(meter, turns * meter.disc.cells, number)[:most]
        return self.cells[key]

    def truth(self, settings: Steps) -> Truth:
        """True rates of the meter at these settings, with random numbers of no look."""
        key = frozenset(settings.items())
        if key not in self.truths:
            meter = meter_of(self.set_to(settings), self.task.meter.state)
            replicate = self._replicate(MOST_LOOKS)
            run = simulate(kept_full(meter, LONG), seed=self.task.seed, replicate=replicate)
            self.truths[key] = truth_of(run)
        return self.truths[key]

    def bad(self, scenario: Scenario, state: State) -> float:
        """Share of cells with no seed or several, with the random numbers of `truth`. [1]"""
        released = self._loads(meter_of(scenario, state), LONG, MOST_LOOKS)
        return float((released == 0).mean()) + float((released > 1).mean())

    def _loads(self, meter: Scenario, cells: int, number: int) -> NDArray[np.int64]:
        replicate = self._replicate(number)
        return loads_at(kept_full(meter, cells), seed=self.task.seed, replicate=replicate)[BELT]

    def _replicate(self, number: int) -> int:
        """Replicate of a look of this meter; the one of its true rates comes last."""
        return 1 + self.task.meter.number * (MOST_LOOKS + 1) + number


def truth_of(run: Run) -> Truth:
    """Skips, doubles and quality of feed of a run."""
    released = loads(run)
    quality = 0.0
    if len(run.seeds) > 1:
        spacings = observed_spacings(run)
        quality = per_spacing(class_counts(spacings, run.scenario.spacing)).quality
    return Truth(float((released == 0).mean()), float((released > 1).mean()), quality)


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
