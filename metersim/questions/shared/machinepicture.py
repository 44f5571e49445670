"""Drawings of one pass of a machine: its rows, a piece of the field, and the start."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from metersim.machine.stations import CUT
from metersim.measures.places import mean_fall
from metersim.measures.rows import PassMeasured, passing_times
from metersim.questions.shared.page import (
    STYLE,
)
from metersim.questions.shared.style import (
    BLUE,
    DASHED,
    FINE,
    GREY,
    HAIR,
    INK,
    PALE,
    SHADE,
    STROKE,
    WARM,
    WARM_FILL,
    WHITE,
)
from metersim.questions.shared.words import shown
from metersim.run.records import Run
from metersim.run.rows import Pass

PIECE = 240  # nominal spacings of the field that are drawn
TURNS = 10  # of the start that are drawn
RING: dict[str, Any] = {"marker": "o", "ls": "", "mfc": WHITE, "mec": WARM, "mew": STROKE}
SQUARE: dict[str, Any] = {"marker": "s", "ls": "", "mfc": BLUE, "mec": INK, "mew": HAIR}
SENTENCES = {
    "rows": "Rows: a dot right of the dashed line, all rows together, is worse; bars are sampling "
    "errors.",
    "vacuum": "Vacuum: a diamond is the usual vacuum of a row, its line runs from least to most, "
    "and the dashed line is what the gauge was set to.",
    "field": "Field: each line is ground that is sown; an open ring is a skip, a filled square a "
    "double.",
    "start": "Start: empty holes let air in, so the vacuum is low and the first turns miss seeds; "
    "the dashed line is the later share.",
}


def _settle(ax: Axes, found: PassMeasured, named: bool) -> None:
    """Set the axis of rows, with parked rows in grey."""
    many = found.scenario.toolbar.rows
    step = max(math.ceil(many / 16), 1)
    ax.set_ylim(many + 0.6, 0.4)
    ax.set_yticks(range(1, many + 1, step))
    if named:
        ax.set_ylabel("row")
    else:
        ax.tick_params(axis="y", labelleft=False)
    for row in range(1, many + 1):
        if row not in found.rows:
            ax.axhspan(row - 0.5, row + 0.5, fc=SHADE, lw=0, zorder=0)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


@matplotlib.rc_context(STYLE)
def draw_rows(ax: Axes, found: PassMeasured, key: str, name: str, named: bool = True) -> list[Any]:
    """Draw a share of every row as a dot with its interval, beside that of all rows.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    found : PassMeasured
        Measures of the pass.
    key, name : str
        Measure, and its name on the axis.
    named : bool
        Whether the rows are named at the left.

    Returns
    -------
    list of Line2D
        A dot for each working row, in order.
    """
    _settle(ax, found, named)
    made: list[Any] = []
    for row, one in found.rows.items():
        value, low, high = (100 * x for x in vars(one[key]).values())
        ax.plot([low, high], [row, row], color=INK, lw=STROKE, zorder=2, solid_capstyle="butt")
        made += ax.plot(value, row, "o", ms=5, mfc=BLUE, mec=INK, mew=HAIR, zorder=3)
    ax.axvline(100 * found.whole[key].value, color=INK, lw=FINE, ls=DASHED, zorder=1)
    ax.set_xlim(left=0)
    ax.set_xlabel(f"{name} [%]")
    return made


@matplotlib.rc_context(STYLE)
def draw_vacuum(ax: Axes, found: PassMeasured, units: str = "metric") -> list[Any]:
    """Draw the vacuum of every row: its median as a tick on the range from least to most.

    Parameters, returns : as for `draw_rows`, with a mark for each row of the machine.
    """
    _settle(ax, found, False)
    made: list[Any] = []
    for row, one in found.vacuum.items():
        low, middle, high = (shown("pressure", x, units)[0] for x in vars(one).values())
        colour = INK if row in found.rows else PALE
        ax.plot([low, high], [row, row], color=colour, lw=STROKE, zorder=2)
        made += ax.plot(middle, row, "D", ms=4, mfc=WHITE, mec=colour, mew=STROKE, zorder=3)
    wanted = shown("pressure", found.scenario.vacuum.vacuum, units)[0]
    ax.axvline(wanted, color=INK, lw=FINE, ls=DASHED, zorder=1)
    most = max(one.most for one in found.vacuum.values())
    ax.set_xlim(0, 1.08 * max(wanted, shown("pressure", most, units)[0]))
    ax.set_xlabel(f"vacuum [{shown('pressure', 1.0, units)[1]}]")
    return made


def cell_places(run: Run) -> NDArray[np.float64]:
    """Places at which the seeds of all cells would lie without scatter, skips too. [m]"""
    fall = mean_fall(run.seeds) if len(run.seeds) else 0.0
    times = passing_times(run, np.arange(len(run.cells)), CUT) + fall
    way, speed = run.scenario.way, run.scenario.demand.speed
    return np.asarray(way.distance_at(times) if way else speed * times)


def piece_of_field(done: Pass) -> tuple[float, float]:
    """Ends of the piece of the field that is drawn: from the start, or from a stop. [m]"""
    scenario = done.scenario
    length, way = PIECE * scenario.spacing, scenario.way
    stops = way.places[way.part == 0] if way else np.empty(0)
    begin = max(float(stops.min()) - length / 4, 0.0) if stops.size else 0.0
    return begin, begin + length


@matplotlib.rc_context(STYLE)
def draw_field(ax: Axes, done: Pass, units: str = "metric") -> tuple[Any, Any]:
    """Draw a piece of the field: rows as lines along the ground, skips and doubles as marks.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    done : Pass
        The pass.
    units : {'metric', 'us'}
        Unit of the axis: m or ft.

    Returns
    -------
    rings, squares : Line2D
        Marks of all skips, and of all cells with two seeds or more, in the piece.
    """
    far = shown("distance", 1.0, units)[0]
    begin, end = piece_of_field(done)
    many, numbers = done.scenario.toolbar.rows, {one.number for one in done.rows}
    marks: dict[bool, list[tuple[float, int]]] = {True: [], False: []}
    for one in done.rows:
        places = cell_places(one.run)
        released = one.run.cells.released
        last = min(float(places[-1]), end)
        for low, high in sown(one.run, max(float(places[0]), begin), last):
            ax.plot([far * low, far * high], [one.number] * 2, color=PALE, lw=FINE, zorder=1)
        inside = (places >= begin) & (places <= end)
        for is_skip, odd in ((True, released == 0), (False, released > 1)):
            marks[is_skip] += [(far * x, one.number) for x in places[inside & odd].tolist()]
    size = min(max(100 / many, 2.6), 5.5)
    made = []
    for is_skip, look in ((True, RING), (False, SQUARE)):
        x, y = np.array(marks[is_skip]).reshape(-1, 2).T
        made += ax.plot(x, y, ms=size if is_skip else 0.8 * size, zorder=3, **look)
    for row in range(1, many + 1):
        if row not in numbers:
            ax.axhspan(row - 0.4, row + 0.4, fc=SHADE, lw=0, zorder=0)
            ax.text(far * (begin + end) / 2, row, "parked", ha="center", va="center", color=PALE)
    ax.set_xlim(far * begin, far * end)
    ax.set_ylim(many + 0.7, 0.3)
    ax.set_yticks(range(1, many + 1, max(math.ceil(many / 16), 1)))
    ax.set_ylabel("row")
    ax.set_xlabel(f"distance from the start of the pass [{shown('distance', 1.0, units)[1]}]")
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    return made[0], made[1]


def sown(run: Run, begin: float, end: float) -> list[tuple[float, float]]:
    """Parts of a piece of the row on which seeds fall that left the disc while it was on. [m]"""
    way = run.scenario.way
    if way is None:
        return [(begin, end)]
    fall = mean_fall(run.seeds) if len(run.seeds) else 0.0
    edges = [*way.distance_at(way.start + fall).tolist(), math.inf]
    return [
        (max(low, begin), min(high, end))
        for low, high, part in zip(edges, edges[1:], way.part.tolist(), strict=False)
        if part > 0 and max(low, begin) < min(high, end)
    ]


@matplotlib.rc_context(STYLE)
def draw_start(axes: list[Axes], found: PassMeasured, units: str = "metric") -> Any:
    """Draw the start: the vacuum of the working rows, and the share of missed cells by turn.

    Parameters
    ----------
    axes : list of Axes
        Two axes above one another.
    found : PassMeasured
        Measures of the pass.
    units : {'metric', 'us'}
        Unit of the vacuum.

    Returns
    -------
    StepPatch
        The missed cells in percent, by turn of the discs.
    """
    start, air = found.start, found.tallies[0].air
    many = min(len(start.missed), TURNS)
    end = float(start.ends[many - 1])
    vacuum = air.vacuum[[row - 1 for row in found.rows]]
    ticks = air.time <= end
    low, mean, high = (
        [shown("pressure", x, units)[0] for x in part(vacuum, axis=0)[ticks].tolist()]
        for part in (np.min, np.mean, np.max)
    )
    upper, lower = axes
    upper.fill_between(air.time[ticks], low, high, fc=GREY, lw=0, step="post")
    upper.step(air.time[ticks], mean, color=INK, lw=STROKE, where="post")
    upper.set_ylim(bottom=0)
    upper.set_ylabel(f"vacuum [{shown('pressure', 1.0, units)[1]}]")
    upper.tick_params(axis="x", labelbottom=False)
    share = 100 * start.missed[:many] / start.cells[:many]
    edges = np.concatenate(([float(found.tallies[0].rows[0].ends[0])], start.ends[:many]))
    stairs = lower.stairs(share, edges, fill=True, fc=WARM_FILL, ec=INK, lw=FINE)
    lower.stairs(share, edges, color=INK, lw=FINE)
    lower.axhline(100 * start.settled.value, color=INK, lw=FINE, ls=DASHED)
    lower.set_ylim(bottom=0)
    lower.set_ylabel("missed cells [%]")
    lower.set_xlabel("time from the start [s]; each step is a turn of the discs")
    for ax in axes:
        ax.set_xlim(0, end)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
    return stairs
