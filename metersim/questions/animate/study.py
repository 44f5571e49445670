"""The moment that a film is about, and how slowly it is shown."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Parameter, bad
from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, EDGE, LEAVES
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.motion.followed import MOST_CELLS, inflow_of, motion_of
from metersim.questions.shared.motion.moved import Motion
from metersim.questions.shared.motion.words import events_of, is_slide, named
from metersim.questions.shared.words import plural
from metersim.run.course import Course
from metersim.run.records import Run
from metersim.run.simulation import simulate
from metersim.run.snapshot import course_of
from metersim.run.toolbar import simulate_pass

SECONDS, LEAST_SECONDS, MOST_SECONDS = 6.0, 1.0, 20.0  # of a film
SLOWEST = 200.0
NICE = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0)
"""Times slower than the meter, of which the largest that fits is taken."""
LEAD, TAIL = 0.12, 0.12  # s of the run before the cause and after the landing
FALL = 0.35  # s after the cut-off, where no seed falls
WORST = 1.0  # severity of a fault, so that it shows
MOVED = 0.01  # m, least change of a seed's place that a fault is shown by

DOUBLE, SKIP, TRIPLE, AVALANCHE = KINDS = ("double", "skip", "triple", "avalanche")
TRY = {  # what makes a moment more likely
    DOUBLE: "notch=-2 or vacuum_kpa=6",
    TRIPLE: "notch=-3 or vacuum_kpa=8",
    SKIP: "vacuum_kpa=1.5 or notch=3",
    AVALANCHE: "another scenario, such as maize_bench or gate_too_low",
}
MEANT = {
    DOUBLE: "releases two seeds",
    TRIPLE: "releases three seeds or more",
    SKIP: "releases no seed",
    AVALANCHE: "sees a slide of seed into the pool",
}


@dataclass(frozen=True, kw_only=True)
class Moment:
    """A moment of a run.

    Attributes
    ----------
    words : str
        What it is, in one sentence.
    often : str
        How often the run has it, in one sentence; empty for a time that was asked for.
    cell : int
        The cell that it is about, or that passes the edge then.
    begins, key, ends : float
        When its cause comes, when it happens, and when all is over. [s]
    marked : bool
        Whether the cell is marked in the picture.
    """

    words: str
    often: str
    cell: int
    begins: float
    key: float
    ends: float
    marked: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Film:
    """A piece of a run in slow motion.

    Attributes
    ----------
    run : Run
        The run.
    moment : Moment
        What it is about.
    motion : Motion
        The disc in motion, for some time before and after as well.
    start, end : float
        The piece of the run. [s]
    slow : float
        How many times slower than the meter it is shown. [1]
    """

    run: Run
    moment: Moment
    motion: Motion
    start: float
    end: float
    slow: float

    @property
    def seconds(self) -> float:
        """Length of the film. [s]"""
        return (self.end - self.start) * self.slow

    def said(self) -> list[str]:
        """What happens to the cell that the film is about, a sentence each."""
        whole = motion_of(self.run, self.moment.cell, 1)
        return [event.words for event in events_of(whole) if event.cell == self.moment.cell]


def run_for(scenario: Scenario, seed: int, row: int | None = None) -> Run:
    """The run of a scenario, or of a row of a machine whose rows share a fan."""
    if not scenario.is_toolbar:
        if row is not None:
            raise bad(Parameter("row"), str(row), "the scenario has one row; leave `row` out")
        return simulate(scenario, seed=seed)
    rows = {one.number: one.run for one in simulate_pass(scenario, seed=seed).rows}
    number = min(rows) if row is None else row
    if number not in rows:
        working = ", ".join(map(str, rows))
        message = f"does not work in this pass; working rows: {working}"
        raise bad(Parameter("row"), str(row), message)
    return rows[number]


def with_fault(scenario: Scenario, fault: MeterFault) -> Scenario:
    """The scenario with a fault of the library at its worst."""
    if not fault.fits(scenario):
        message = "the machine of this scenario cannot have it; see 'metersim list faults'"
        message += ", or choose a machine with a fan of its own"
        raise bad(Parameter("fault"), fault.name, message)
    try:
        return fault.put(scenario, WORST)
    except BadInput:
        message = "the scenario cannot have it at any severity; choose another fault or scenario"
        raise bad(Parameter("fault"), fault.name, message) from None


def kind_moment(run: Run, kind: str) -> Moment:
    """The first moment of a kind in a run, after the first turn.

    Raises
    ------
    BadInput
        When there is none; it says how often it occurs, and what to try.
    """
    if kind == AVALANCHE:
        return _avalanche(run)
    released = run.cells.released
    found = {
        DOUBLE: released == 2,
        SKIP: released == 0,
        TRIPLE: released > 2,
    }[kind]
    many, cells = int(found.sum()), released.size
    holes = run.scenario.disc.cells
    later = np.flatnonzero(found[holes:]) + holes
    if not later.size:
        raise _never(run, kind, many)
    often = f"The run has {many:,} {plural(many, kind)} in {cells:,} cells."
    return cell_moment(run, int(later[0]), often)


def _never(run: Run, kind: str, early: int) -> BadInput:
    cells = len(run.cells)
    where = "after the first turn " if early else ""
    message = f"no cell {where}{MEANT[kind]}: 0 of {cells:,} cells; try {TRY[kind]}"
    return bad(Parameter("moment"), kind, f"{message}, more `turns` or another random seed")


def cell_moment(run: Run, cell: int, often: str) -> Moment:
    """The moment of one cell: from what made it so to the landing of its seeds."""
    course, many = course_of(run), int(run.cells.released[cell])
    shown = motion_of(run, cell, 1)
    told = shown.seeds_of[cell]
    lands = [seed.lands for seed in told if seed.lands is not None]
    key = float(course.times(cell, CUT))
    # an empty cell is so from the pool on, unless a later station emptied it
    causes = [seed.lost.time for seed in told if seed.lost]
    cause = float(course.times(cell, LEAVES))
    if many:
        cause = float(course.times(cell, EDGE))
    elif causes:
        cause = min(causes)
    hole = cell % run.scenario.disc.cells + 1
    kind = named(many) if many != 1 else "cell with one seed"
    return Moment(
        words=f"The film shows cell {cell} (hole {hole}): a {kind}.",
        often=often,
        cell=cell,
        begins=cause,
        key=key,
        ends=max([key + FALL, *lands]),
        marked=True,
    )


def _avalanche(run: Run) -> Moment:
    """The largest slide of seed into the pool, after the first turn."""
    came, pool = inflow_of(run), run.ticks.pool
    course = course_of(run)
    turn = float(course.times(run.scenario.disc.cells, LEAVES))
    slides = np.array(
        [
            is_slide(seeds, level) and time > turn
            for seeds, level, time in zip(
                came.tolist(), pool.tolist(), run.ticks.time.tolist(), strict=True
            )
        ]
    )
    if not slides.any():
        raise _never(run, AVALANCHE, 0)
    tick = int(np.argmax(np.where(slides, came, -1)))
    time, many = float(run.ticks.time[tick]), int(slides.sum())
    after = ", after an arch had stopped the gate" if tick and run.ticks.arched[tick - 1] else ""
    return Moment(
        words="The film shows the largest slide: "
        f"{int(came[tick])} seeds slide into the pool{after}.",
        often=f"The run has {many:,} {plural(many, 'slide')} in {float(run.ticks.time[-1]):.0f} s.",
        cell=_cell_at(run, course, time),
        begins=time - 0.4,
        key=time,
        ends=time + 0.8,
    )


def time_moment(run: Run, time: float) -> Moment:
    """A moment that was asked for by its time [s]."""
    course = course_of(run)
    if not 0 <= time <= course.end:
        message = f"outside the run, which lasts 0 to {course.end:.1f} s; give more `turns`"
        raise bad(Parameter("moment"), f"{time:g}", message)
    return Moment(
        words=f"The film shows the meter at {time:g} s.",
        often="",
        cell=_cell_at(run, course, time),
        begins=time - 0.75,
        key=time,
        ends=time + 0.75,
    )


def _cell_at(run: Run, course: Course, time: float) -> int:
    """The cell that passed the edge last."""
    cell = math.floor((course.angle_at(time) - float(course.angles(0, EDGE))) / course.pitch)
    return min(max(cell, 0), len(run.cells) - 1)


def fault_moment(run: Run, healthy: Run, fault: MeterFault) -> Moment:
    """The first moment at which a fault shows, beside the same meter without it.

    Both runs have common random numbers.  A fault shows in what a cell releases, else in what the
    sensor sees, else in the place of a seed.

    Raises
    ------
    BadInput
        When it shows nowhere in the run.
    """
    first, cells = run.scenario.disc.cells, min(len(run.cells), len(healthy.cells))
    with_it, without = run.cells.released[:cells], healthy.cells.released[:cells]
    several = np.flatnonzero(with_it != without)
    if several.size:
        later = several[several >= first]
        worse = later[with_it[later] != 1]  # a skip or a double is seen best
        cell = int(next(found[0] for found in (worse, later, several) if found.size))
        was = int(without[cell])
        often = (
            f"With the fault ({fault.words}), {several.size:,} of {cells:,} cells release "
            f"another number of seeds; without it, this one would release {was}."
        )
        return cell_moment(run, cell, often)
    ways = (_unseen(run, healthy), _moved(run, healthy))
    changed, words = max(ways, key=lambda way: way[0].size)  # the way in which it shows most
    found = changed[changed >= first]
    if found.size:
        often = f"With the fault ({fault.words}), {found.size:,} {words}."
        return cell_moment(run, int(found[0]), often)
    message = f"shows in none of {cells:,} cells; give more `turns`, or another scenario"
    raise bad(Parameter("fault"), fault.name, message)


def _unseen(run: Run, healthy: Run) -> tuple[NDArray[np.int64], str]:
    """Cells whose seeds the sensor sees otherwise."""
    cells = run.seeds.cell[run.seeds.seen != healthy.seeds.seen]
    return cells, "seeds are seen otherwise by the sensor; this is the first"


def _moved(run: Run, healthy: Run) -> tuple[NDArray[np.int64], str]:
    """Cells whose seeds lie elsewhere, beside the places of both runs' cells."""
    offsets = (one.seeds.position - one.seeds.cell * one.scenario.spacing for one in (run, healthy))
    with_it, without = (offset - np.median(offset) for offset in offsets)
    cells = run.seeds.cell[np.abs(with_it - without) > MOVED]
    return cells, f"seeds lie more than {MOVED * 100:g} cm elsewhere; this is the first"


def film_of(
    run: Run, moment: Moment, *, seconds: float = SECONDS, slow: float | None = None
) -> Film:
    """A film of a moment of a run.

    Parameters
    ----------
    run : Run
        The run.
    moment : Moment
        What to show.
    seconds : float
        Length of the film, or less if the moment fills less and `slow` is not given. [s]
    slow : float, optional
        Times slower than the meter; by default so many that the moment fills the film. [1]
    """
    span = moment.ends + TAIL - (moment.begins - LEAD)
    if slow is None:
        slow = max([nice for nice in NICE if nice * span <= seconds], default=1.0)
        span = min(span, seconds / slow)
    else:
        span = seconds / slow
    start = moment.begins - LEAD
    if start + span < moment.ends + TAIL:  # then what happens stands at two thirds
        start = max(moment.key - 2 / 3 * span, start)
    start = max(start, 0.0)
    motion = _motion(run, course_of(run), start, start + span)
    end = min(start + span, motion.end)
    return Film(run=run, moment=moment, motion=motion, start=start, end=end, slow=slow)


def _motion(run: Run, course: Course, start: float, end: float) -> Motion:
    """The motion from before a time [s] to after another, with the cells that pass meanwhile."""
    first, last = (
        math.floor(course.angle_at(max(time, 0.0)) / course.pitch) for time in (start, end)
    )
    first = min(max(first - 1, 0), len(run.cells) - 1)
    return motion_of(run, first, min(max(last - first + 2, 1), MOST_CELLS))
