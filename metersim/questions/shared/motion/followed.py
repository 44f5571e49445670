"""The disc in motion: what a moving picture of a run shows, as numbers from the run's records.

Nothing is drawn here.  The files of `SCRIPTS` beside this one draw it on a page, and
`metersim.questions.animate` draws it into a film.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import REASONS, TAKING
from metersim.machine.stations import (
    CONVEYOR,
    CUT,
    EDGE,
    ENTERS,
    LEAVES,
    POINTS,
    RETURNS,
    Stations,
    stations_of,
)
from metersim.questions.shared.motion.moved import (
    COUNTED,
    Array,
    Geometry,
    Lost,
    Motion,
    MovedCell,
    MovedSeed,
    PoolTicks,
    Way,
    kind_of_cell,
)
from metersim.run.course import Course
from metersim.run.records import Run
from metersim.run.snapshot import course_of

SCRIPTS = ("motionnumbers.js", "motionbrush.js", "motionmeter.js", "motionlabels.js", "motion.js")
"""Files that draw a motion on a page, in the order in which it loads them."""
MOST_CELLS = 200  # of one motion; 300 kB of JSON
AFTER = 0.3  # s that a motion goes on when its last cell has passed the cut-off, at least
STEPS = 4  # samples of the course in the time of one cell
HALVINGS = 12  # of a step in which the disc stands
SLOW_STEP = 2.0  # times the usual step, beyond which a step is halved
PLACES = {LEAVES: "pool", EDGE: "edge", CUT: "carry"}  # names of the points where seeds are lost


def motion_of(run: Run, first: int = 0, cells: int = 24) -> Motion:
    """The disc in motion while some cells of a run go round it.

    The numbers are those of the records, and say what a trace of the events says.  What the
    records do not have, the time within the pool at which a seed comes to its hole and which of the
    seeds of a cell were lost where, is said as an assumption.

    Parameters
    ----------
    run : Run
        The run.
    first : int
        Number of the first cell.
    cells : int
        Cells to follow, 1 to `MOST_CELLS`; fewer where the run ends.

    Raises
    ------
    ValueError
        For a first cell that the run does not have, and for another number of cells.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.questions.shared.motion.followed import motion_of
    >>> run = m.simulate(m.load_scenario("maize_bench", "turns=10"), seed=3)
    >>> shown = motion_of(run, first=60, cells=12)
    >>> shown.many, sum(shown.counted(shown.end).values())
    (12, 42)
    """
    total = len(run.cells)
    if not 0 <= first < total:
        raise ValueError(f"first is {first}; allowed: 0 to {total - 1}, the cells of the run")
    if not 1 <= cells <= MOST_CELLS:
        raise ValueError(f"cells is {cells}; allowed: 1 to {MOST_CELLS}")
    scenario, course, stations = run.scenario, course_of(run), stations_of(run.scenario)
    many = min(cells, total - first)
    around = scenario.disc.cells + course.cells_in_tick
    shown = np.arange(max(first - around, 0), min(first + many + around, total))
    moved = _cells(run, course, shown)
    seeds = _seeds(run, {one.cell: one for one in moved})
    own = [seed.lands for seed in seeds if first <= seed.cell < first + many and seed.lands]
    start = float(course.times(first, ENTERS))
    end = max([float(course.times(first + many - 1, CUT)) + AFTER, *own])
    before = Counter(map(kind_of_cell, run.cells.released[: shown[0]].tolist()))
    return Motion(
        title=scenario.title,
        first=first,
        many=many,
        start=start,
        end=end,
        cells=moved,
        seeds=seeds,
        way=_way(course, stations, first * course.pitch, end),
        pool=_pool(run, stations, start, end),
        geometry=_geometry(run, stations),
        speed=scenario.demand.speed,
        spacing=scenario.spacing,
        count_before={kind: before[kind] for kind in COUNTED},
    )


def _cells(run: Run, course: Course, shown: NDArray[np.int64]) -> tuple[MovedCell, ...]:
    columns = (
        shown,
        shown % run.scenario.disc.cells,
        *(course.times(shown, point) for point in (ENTERS, LEAVES, EDGE, CUT)),
        run.cells.joined[shown],
        run.cells.released[shown],
        run.cells.reason[shown],
    )
    rows = zip(*(np.asarray(column).tolist() for column in columns), strict=True)
    return tuple(
        MovedCell(c, hole, enters, leaves, edge, cut, joined, let_go, kind_of_cell(let_go), why)
        for c, hole, enters, leaves, edge, cut, joined, let_go, code in rows
        for why in [REASONS[code]]
    )


def _seeds(run: Run, cells: Mapping[int, MovedCell]) -> tuple[MovedSeed, ...]:
    """All seeds that joined some cells.

    Assumption: of several lost seeds of a cell, the one that joined last came off first.  The
    records count them by loss.
    """
    low, high = np.searchsorted(run.seeds.cell, [min(cells), max(cells) + 1])
    part = run.seeds.part(slice(int(low), int(high)))
    columns = (
        part.cell,
        part.nth,
        part.release_time,
        part.sensor_time,
        part.landing_time,
        part.seen,
        part.position,
        part.size,
    )
    released = {
        (cell, nth): values
        for cell, nth, *values in zip(*(column.tolist() for column in columns), strict=True)
    }
    made = []
    for one in cells.values():
        gone = [nth for nth in range(one.joined) if (one.cell, nth) not in released]
        lost = dict(zip(reversed(gone), _losses(run, one), strict=True))
        for nth in range(one.joined):
            share = (nth + 1) / (one.joined + 1)
            drawn = one.enters + share * (one.leaves - one.enters)
            left = released.get((one.cell, nth), ())
            made.append(MovedSeed(one.cell, nth, drawn, one.leaves, lost.get(nth), *left))
    return tuple(made)


def _losses(run: Run, cell: MovedCell) -> list[Lost]:
    """The losses of a cell in the order of the way round, one a lost seed."""
    times = {"pool": cell.leaves, "edge": cell.edge, "carry": cell.cut}
    return [
        Lost(where, times[where], loss.words)
        for loss in TAKING
        for where in [PLACES[RETURNS[loss.station]]]
        for _ in range(int(getattr(run.cells, loss.column)[cell.cell]))
    ]


def _way(course: Course, stations: Stations, start: float, end: float) -> Way:
    """The course from an angle [rad] to a time [s], with more samples where the disc stands."""
    step = course.pitch / STEPS
    angles = np.arange(start, course.angle_at(end) + 2 * step, step)
    for _ in range(HALVINGS):
        lasts = np.diff(_times(course, angles))
        slow = np.flatnonzero(lasts > SLOW_STEP * np.median(lasts))
        slow = slow[np.diff(angles)[slow] > step / 2**HALVINGS]
        if not slow.size:
            break
        angles = np.insert(angles, slow + 1, (angles[slow] + angles[slow + 1]) / 2)
    times = _times(course, angles)
    return Way(time=times, angle=angles, place=np.asarray(stations.furrow.place_at(times)))


def _times(course: Course, angles: Array) -> Array:
    """Times at which the disc has turned through angles [rad]. [s]"""
    return np.asarray(course.times(angles / course.pitch, ENTERS), dtype=np.float64)


def _pool(run: Run, stations: Stations, start: float, end: float) -> PoolTicks:
    low = max(int(np.searchsorted(run.ticks.time, start, side="right")) - 1, 0)
    shown = slice(low, int(np.searchsorted(run.ticks.time, end, side="right")))
    part = run.ticks.part(shown)
    level = np.maximum(np.asarray(stations.gate.level(part.pool), dtype=np.float64), 0.0)
    return PoolTicks(
        time=part.time,
        level=level,
        seeds=part.pool,
        arched=part.arched,
        inflow=inflow_of(run)[shown],
    )


def inflow_of(run: Run) -> NDArray[np.int64]:
    """Seeds that slid through the gate up to each tick of a run, since the tick before."""
    return -np.diff(run.ticks.hopper, prepend=run.ticks.hopper[:1])


def _geometry(run: Run, stations: Stations) -> Geometry:
    scenario = run.scenario
    carried = scenario.tube.delivery == CONVEYOR
    fitted = "tube" if scenario.tube.tube_fitted else "none"
    return Geometry(
        holes=scenario.disc.cells,
        circle_radius_m=scenario.disc.circle_radius,
        hole_diameter_m=scenario.disc.hole_diameter,
        pool_exit_rad=POINTS[LEAVES],
        edge_rad=POINTS[EDGE],
        cut_off_rad=POINTS[CUT],
        edge_gap_m=stations.singulator.offset,
        carry_line_m=scenario.pool.carry_line,
        tube_m=stations.tube.length,
        beam_m=min(stations.sensor.height, stations.tube.length),
        delivery="conveyor" if carried else fitted,
        seed_length_m=scenario.seeds.length,
        seed_width_m=scenario.seeds.width,
    )
