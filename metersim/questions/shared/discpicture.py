"""Drawing of the disc at one moment of a run, and of the seeds by hole beside it."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Patch, Polygon, RegularPolygon

from metersim.files.units import Unit
from metersim.machine.losses import TAKING
from metersim.machine.stations import CUT, EDGE, LEAVES, POINTS, RETURNS, stations_of
from metersim.questions.shared.page import STYLE, length_units
from metersim.questions.shared.style import (
    ABOVE,
    BLUE,
    BOLD,
    CENTRED,
    DASHED,
    DOTS,
    FAINT,
    FINE,
    GREEN,
    HAIR,
    HEAVY,
    INK,
    PALE,
    PLATE,
    POOL,
    QUIET,
    SHADE,
    SKY,
    STROKE,
    WARM,
    WHITE,
)
from metersim.run.records import Run
from metersim.run.snapshot import NONE, Snapshot

ONE, SEVERAL, VACUUM = BLUE, SKY, GREEN
NAMED = ("into the pool", "out of the pool", "singulator", "cut-off")
PER_LINE, MOST_LINES = 8, 4  # marks of lost seeds at a station
LOST: dict[str, Any] = {"marker": "v", "ms": 4.5, "mfc": WARM, "mec": INK, "mew": HAIR, "ls": ""}
SMALL_RING: dict[str, Any] = {"marker": "o", "ms": 4, "mfc": WHITE, "mec": PALE, "ls": ""}
ROWS = ("on the disc now", "released last time", "released the time before")


def place(angle: Any, radius: Any) -> tuple[Any, Any]:
    """Point on the face of the disc, by angle past the entry of the pool, counter-clockwise."""
    turned = angle - (POINTS[0] + POINTS[LEAVES]) / 2 - math.pi / 2
    return radius * np.cos(turned), radius * np.sin(turned)


def at_time(shown: Snapshot) -> str:
    """The moment, as titles and captions state it."""
    return f"at {shown.time:.1f} s"


@matplotlib.rc_context(STYLE)
def draw_disc(ax: Axes, run: Run, shown: Snapshot, units: str = "metric") -> list[Patch]:
    """Draw the face of the disc at one moment, to scale.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    run : Run
        The run.
    shown : Snapshot
        Its moment.
    units : {'metric', 'us'}
        Unit of the level: mm or in.

    Returns
    -------
    list of Patch
        One mark for each hole, in order: a small ring in the pool and behind the cut-off; on the
        way between them a large ring, a filled circle or a diamond for none, one or several seeds.
    """
    _, machine = length_units(units)
    scenario, cells = run.scenario, run.scenario.disc.cells
    radius, pitch = machine.from_si(scenario.disc.circle_radius), machine.from_si(scenario.pitch)
    ax.set_aspect("equal")
    ax.set_xlim(-1.62 * radius, 1.86 * radius)
    ax.set_ylim(-1.36 * radius, 1.12 * radius)
    ax.set_axis_off()
    ax.set_xticks([])
    ax.set_yticks([])
    ax.add_patch(Circle((0, 0), 1.09 * radius, fc=FAINT, ec=PALE, lw=FINE, zorder=-1))
    _draw_pool(ax, run, shown, machine)
    _draw_stations(ax, run, shown, machine)
    hole = machine.from_si(scenario.disc.hole_diameter) / 2
    size = min(max(machine.from_si(scenario.seeds.width) / 2, 0.024 * radius), 0.42 * pitch)
    step = 5 if cells <= 40 else 10
    marks: list[Patch] = []
    for number, (turned, many) in enumerate(zip(shown.turned, shown.carried, strict=True), 1):
        spot = place(turned, radius)
        if many == 1:
            mark: Patch = Circle(spot, size, fc=ONE, ec="none", zorder=3)
        elif many > 1:
            large = min(1.7 * size, 0.62 * pitch)
            mark = RegularPolygon(spot, 4, radius=large, fc=SEVERAL, ec=INK, lw=FINE, zorder=5)
        elif shown.on_the_way[number - 1]:
            ax.add_patch(Circle(spot, hole, fc=WHITE, ec=INK, lw=HAIR, zorder=4))
            mark = Circle(spot, 1.15 * size, fc=WHITE, ec=WARM, lw=BOLD, zorder=3)
        else:
            mark = Circle(spot, min(hole, 0.4 * pitch), fc=WHITE, ec=PALE, lw=HAIR, zorder=3)
        marks.append(ax.add_patch(mark))
        if (number % step == 0 and cells - number >= step / 2) or number == 1:
            x, y = place(turned, 0.74 * radius)
            ax.text(x, y, str(number), color=QUIET, bbox=PLATE, zorder=6, **CENTRED)
    ax.set_title(f"The disc {at_time(shown)}", loc="left")
    return marks


def _draw_pool(ax: Axes, run: Run, shown: Snapshot, machine: Unit) -> None:
    """Draw the pool at its level, and the carry line."""
    radius = machine.from_si(run.scenario.disc.circle_radius)
    gate, outer = stations_of(run.scenario).gate, 1.09 * radius
    level = machine.from_si(max(float(gate.level(shown.pool)), 0.0))

    def reach(height: float) -> float:
        """Half of the angle that the disc's rim has below a height over the lowest hole."""
        return math.acos(min(max(1 - (height + outer - radius) / outer, -1), 1))

    angles = np.linspace(-reach(level), reach(level), 91) - math.pi / 2
    outline = outer * np.column_stack([np.cos(angles), np.sin(angles)])
    ax.add_patch(Polygon(outline, fc=POOL, ec=INK, lw=FINE, hatch=DOTS, zorder=0))
    line = machine.from_si(run.scenario.pool.carry_line)
    half = outer * math.sin(reach(line))
    if half > 0:
        y = line - radius
        ax.plot([-half, half], [y, y], color=INK, lw=FINE, ls=DASHED, zorder=1)
        ax.text(0, y + 0.03 * radius, "carry line", bbox=PLATE, zorder=6, **ABOVE)
    said = f"pool: {shown.pool:,} seeds, {level:.3g} {machine.symbol} above the lowest hole"
    ax.text(0, -1.14 * radius, said, ha="center", va="top")


def _draw_stations(ax: Axes, run: Run, shown: Snapshot, machine: Unit) -> None:
    """Draw the stations with their names and the seeds lost there, the vacuum and the rotation."""
    setting, radius = run.scenario.singulator, machine.from_si(run.scenario.disc.circle_radius)
    gap = machine.from_si(setting.gap - setting.notch_step * setting.notch)
    for point, (name, angle) in enumerate(zip(NAMED, POINTS, strict=True)):
        ends = [place(angle, share * radius) for share in (0.82, 1.16)]
        if point != EDGE:
            ax.plot(*zip(*ends, strict=True), color=INK, lw=STROKE, zorder=2)
        x, y = place(angle, 1.2 * radius)
        side = 1 if x > 0 else -1
        losses = [loss for loss in TAKING if RETURNS[loss.station] == point]
        many = sum(int(shown.lost[loss.name].sum()) for loss in losses)
        said = f"{name}:\n{many} lost" if many else name
        ax.text(x, y, said, ha="left" if side > 0 else "right", va="center")
        for k in range(min(many, PER_LINE * MOST_LINES)):
            line, column = divmod(k, PER_LINE)
            where = x + side * radius * (0.03 + 0.075 * column), y - radius * (0.2 + 0.1 * line)
            ax.plot(*where, zorder=4, **LOST)
    facing = math.degrees(math.atan2(*place(POINTS[EDGE], 1.0)[::-1]))
    width = 2 * (radius + gap)
    ax.add_patch(
        Arc((0, 0), width, width, theta1=facing - 9, theta2=facing + 9, lw=2 * BOLD, color=INK)
    )
    start, end = (math.degrees(math.atan2(*place(POINTS[k], 1.0)[::-1])) for k in (0, CUT))
    look: dict[str, Any] = {"lw": HEAVY, "color": VACUUM, "zorder": 1}
    wide = 1.72 * radius
    ax.add_patch(Arc((0, 0), wide, wide, theta1=start, theta2=end, **look))
    tail, head = (place(POINTS[LEAVES] + math.radians(a), 0.42 * radius) for a in (70, 150))
    arrow = {"arrowstyle": "-|>", "mutation_scale": 14, "connectionstyle": "arc3,rad=0.45"}
    ax.add_patch(FancyArrowPatch(tail, head, color=INK, lw=STROKE, **arrow))  # type: ignore[arg-type]
    ax.text(0, 0.22 * radius, "rotation", **CENTRED)


@matplotlib.rc_context(STYLE)
def draw_counts(axes: list[Axes], shown: Snapshot) -> list[list[Any]]:
    """Draw the seeds of each hole as bars: on the disc now, and released in its last turns.

    Parameters
    ----------
    axes : list of Axes
        Axes, one below the other: one for now, and one for each release of the snapshot.
    shown : Snapshot
        The moment.

    Returns
    -------
    list of list of Rectangle
        A bar for each hole, by axes; a bar of no height for none, or for no such turn.
    """
    holes = np.arange(1, shown.carried.size + 1)
    now = np.where(shown.on_the_way | (shown.carried > 0), shown.carried, NONE)
    made = []
    for ax, counts, name in zip(axes, (now, *shown.released), ROWS, strict=False):
        seeds = np.maximum(counts, 0)
        step = max(math.ceil(seeds.max(initial=0) / 2), 1)  # two steps hold the most seeds
        colours = np.where(seeds > 1, SEVERAL, ONE)
        edges = np.where(seeds > 1, INK, ONE)
        made.append(list(ax.bar(holes, seeds, 0.72, color=colours, ec=edges, lw=HAIR)))
        empty = holes[counts == 0]
        ax.plot(empty, 0 * empty + 0.35 * step, "x", color=WARM, ms=5, mew=BOLD)
        for hole in holes[counts == NONE]:
            ax.axvspan(hole - 0.5, hole + 0.5, fc=SHADE, lw=0, zorder=0)
        ax.set_xlim(0.4, holes.size + 0.6)
        ax.set_ylim(0, 2.4 * step)
        ax.set_yticks([0, step, 2 * step])
        ax.set_xticks([1, *range(10, holes.size + 1, 10)])
        ax.tick_params(axis="x", labelbottom=ax is axes[-1], length=2.5)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        ax.text(0, 1.04, name, transform=ax.transAxes, va="bottom")
    axes[-1].set_xlabel("hole of the disc [number]")
    axes[len(axes) // 2].set_ylabel("seeds of a hole [count]")
    axes[0].set_title("Seeds by hole", loc="left", pad=17)
    return made


@matplotlib.rc_context(STYLE)
def explain_marks(figure: Figure, anchor: tuple[float, float], columns: int = 3) -> None:
    """Explain the marks of `draw_disc` and `draw_counts`; the anchor is the upper left corner."""
    dot: dict[str, Any] = {"ls": "", "ms": 7, "mew": STROKE}
    handles = [
        Line2D([], [], marker="o", mfc=WHITE, mec=WARM, label="no seed (bars: x)", **dot),
        Line2D([], [], marker="o", mfc=ONE, mec="none", label="one seed", **dot),
        Line2D([], [], marker="D", mfc=SEVERAL, mec=INK, label="two seeds or more", **dot),
        Line2D([], [], label="hole in the pool or behind the cut-off", **SMALL_RING),
        Line2D([], [], label="seed lost at this station", **{**LOST, "ms": 6}),
        Line2D([], [], color=VACUUM, lw=HEAVY, label="vacuum holds seeds"),
    ]
    figure.legend(
        handles=handles, loc="upper left", bbox_to_anchor=anchor, ncols=columns, borderaxespad=0,
        columnspacing=1.6, handletextpad=0.5,
    )  # fmt: skip


def disc_text(shown: Snapshot) -> str:
    """What the disc carries at its moment, in one sentence."""
    passed = shown.on_the_way & (shown.turned >= POINTS[EDGE])
    carried = shown.carried[passed]
    if not carried.size:
        return f"The disc {at_time(shown)}: no cell is behind the singulator."
    none, several = int((carried == 0).sum()), int((carried > 1).sum())
    return (
        f"The disc {at_time(shown)}: of {carried.size} cells behind the singulator, "
        f"{none} carr{'ies' if none == 1 else 'y'} no seed and {several} more than one."
    )
