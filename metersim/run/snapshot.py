"""One moment of a run: what sits on each hole of the disc, and where all other seeds are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import TAKING
from metersim.machine.stations import CUT, ENTERS, LEAVES, POINTS, RETURNS, stations_of
from metersim.run.course import Course
from metersim.run.draws import SlipDraws
from metersim.run.records import Run
from metersim.run.streams import Streams

Whole = NDArray[np.int64]
NONE = -1  # stands for a passage that the run does not have, and for its seeds


@dataclass(frozen=True, kw_only=True)
class Snapshot:
    """The meter at one moment of a run, by its records.

    Arrays have one value a hole of the disc, in the order in which holes enter the pool first.  A
    lost seed leaves its hole where its station brings it back to the pool.

    Attributes
    ----------
    time : float
        The moment, since the start of the run. [s]
    passage : ndarray of int, shape (cells,)
        Passage of the hole since it entered the pool last; -1 before its first and after its last.
    turned : ndarray, shape (cells,)
        Angle of the disc since then, 0 to 2 pi. [rad]
    carried : ndarray of int, shape (cells,)
        Seeds on the hole.  Seeds join a hole as it leaves the pool.
    lost : mapping of str to ndarray of int, shape (cells,)
        Seeds that the hole has lost since it entered the pool last, by the name of the loss.
    released : ndarray of int, shape (turns, cells)
        Seeds that the hole released when it passed the cut-off last, the time before, and so on;
        -1 before the start of the run.
    pool, hopper, falling, landed, spilt : int
        Seeds elsewhere; those that were spilt leaked out of the pool.
    """

    time: float
    passage: Whole
    turned: NDArray[np.float64]
    carried: Whole
    lost: Mapping[str, Whole]
    released: Whole
    pool: int
    hopper: int
    falling: int
    landed: int
    spilt: int

    @property
    def in_pool(self) -> NDArray[np.bool_]:
        """Whether each hole is in the zone of the pool."""
        return self.turned < POINTS[LEAVES]

    @property
    def on_the_way(self) -> NDArray[np.bool_]:
        """Whether each hole is between the pool and the cut-off, within the run."""
        found: NDArray[np.bool_] = (
            ~self.in_pool & (self.turned < POINTS[CUT]) & (self.passage != NONE)
        )
        return found

    @property
    def total(self) -> int:
        """All seeds, wherever they are; the same at each moment of a run."""
        inside = self.hopper + self.pool + int(self.carried.sum()) + self.falling
        return inside + self.landed + self.spilt


def course_of(run: Run) -> Course:
    """Times and angles of the cells of a run."""
    streams = Streams(run.seed, run.replicate)
    return Course(run.scenario, stations_of(run.scenario).drive, SlipDraws(streams))


def snapshot(run: Run, time: float, turns: int = 2) -> Snapshot:
    """The meter at one moment of a run.

    Parameters
    ----------
    run : Run
        The run.
    time : float
        The moment, 0 or more; after the end of the run, all cells are released. [s]
    turns : int
        Releases of each hole to give, the last first; 1 or more.

    Returns
    -------
    Snapshot
        What sits where.

    Raises
    ------
    ValueError
        For a time below 0 or without end.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.run.snapshot import snapshot
    >>> run = m.simulate(m.load_scenario("maize_bench", "turns=10"), seed=3)
    >>> start, later = (snapshot(run, time) for time in (0.0, 12.4))
    >>> int(start.carried.sum()), start.total == later.total
    (0, True)
    """
    if not 0 <= time < math.inf:
        raise ValueError(f"time is {time:g} s; allowed: 0 or more")
    course, records, cells = course_of(run), run.cells, run.scenario.disc.cells
    angle, holes = course.angle_at(time), np.arange(cells)
    passage = _newest(int(angle / course.pitch), holes)
    turned = np.clip(angle - passage * course.pitch, 0, np.nextafter(2 * np.pi, 0))
    inside = (passage >= 0) & (passage < course.passages)
    known = np.where(inside, passage, 0)

    carried = np.where(inside & (turned >= POINTS[LEAVES]), records.joined[known], 0)
    lost = {}
    for loss in TAKING:
        passed = inside & (turned >= POINTS[RETURNS[loss.station]])
        lost[loss.name] = np.where(passed, getattr(records, loss.column)[known], 0).astype(np.int64)
        carried = carried - lost[loss.name]
    seeds = run.seeds
    held = np.bincount(seeds.cell[seeds.release_time > time], minlength=len(records))
    carried = np.where(inside & (turned >= POINTS[CUT]), held[known], carried)

    last = min(math.floor((angle - POINTS[CUT]) / course.pitch), course.passages - 1)
    before = _newest(last, holes) - cells * np.arange(max(turns, 1))[:, None]
    tick = int(run.scenario.ticks_before(np.array(angle)))
    recorded = min(tick, len(run.ticks) - 1)
    return Snapshot(
        time=time,
        passage=np.where(inside, passage, NONE),
        turned=turned,
        carried=carried.astype(np.int64),
        lost=lost,
        released=np.where(before >= 0, records.released[np.maximum(before, 0)], NONE),
        pool=int(run.ticks.pool[recorded]) + _returned_since(run, course, tick, angle),
        hopper=int(run.ticks.hopper[recorded]),
        falling=int(((seeds.release_time <= time) & (seeds.landing_time > time)).sum()),
        landed=int((seeds.landing_time <= time).sum()),
        spilt=int(run.ticks.spilt[recorded]),
    )


def _newest(last: int, holes: Whole) -> Whole:
    """Number of the newest passage of each hole, up to a last one."""
    made: Whole = last - (last - holes) % holes.size
    return made


def _returned_since(run: Run, course: Course, tick: int, angle: float) -> int:
    """Seeds that cells brought back to the pool since a tick, less those that joined cells."""
    since = float(run.scenario.tick_angles(tick + 1, tick)[0])

    def passing(point: int) -> slice:
        """Passages that passed a point of their way since the tick."""
        ends = [(end - POINTS[point]) / course.pitch for end in (since, angle)]
        first, last = (min(max(math.floor(end) + 1, 0), course.passages) for end in ends)
        return slice(first, last)

    change = -int(run.cells.joined[passing(LEAVES)].sum(dtype=np.int64))
    for loss in TAKING:
        lost = getattr(run.cells, loss.column)[passing(RETURNS[loss.station])]
        change += int(lost.sum(dtype=np.int64))
    return change


def telling_moment(run: Run) -> float:
    """A moment at which the disc carries an empty cell and a double, if there is one.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    float
        The first such moment after three turns, or of a shorter run, in whole tenths of a second.
        Without one, a moment with either; without any, the first moment that was looked at. [s]
    """
    course, records, cells = course_of(run), run.cells, run.scenario.disc.cells
    held = records.released.astype(np.int64)
    for loss in TAKING:
        if loss.at_rest:  # these are on the disc until the cut-off
            held = held + getattr(records, loss.column)
    # a cell on either side may have passed a station since the tenth of a second
    way = max(int((POINTS[CUT] - POINTS[RETURNS["singulator"]]) / course.pitch) - 4, 1)
    way = min(way, held.size)
    first = min(3 * cells, held.size - way)
    kinds = np.zeros(held.size - way + 1 - first, dtype=np.int64)
    for odd in (held == 0, held > 1):
        total = np.append(0, np.cumsum(odd))[first:]
        kinds += total[way:] > total[: total.size - way]
    start = first + int(np.argmax(kinds))
    leading = start - 2 + 0.5  # the cell at the cut-off
    return round(float(course.times(leading + POINTS[CUT] / course.pitch, ENTERS)), 1)
