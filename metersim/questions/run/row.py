"""Drawings of a piece of the row and of the face of the disc."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import EllipseCollection, LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Patch, Polygon, RegularPolygon

from metersim.files.units import Unit
from metersim.machine.stations import POINTS, stations_of
from metersim.questions.shared.page import (
    ABOVE,
    CENTRED,
    CLASSES,
    INK,
    LARGE,
    PALE,
    PLATE,
    STYLE,
    WARM,
    eventful_start,
    events_in,
    length_units,
)
from metersim.run.records import Run

SEVERAL = {2: "double", 3: "triple"}  # name of a cell by the number of released seeds


@matplotlib.rc_context(STYLE)
def draw_row(
    ax: Axes, run: Run, start: int | None = None, length: int = 24, units: str = "metric"
) -> EllipseCollection:
    """Draw a piece of the row: seeds at their places, above the theoretical places.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    run : Run
        The run.
    start : int, optional
        First cell of the piece.  By default it is the first piece with a skip and a double, or
        with either of them.
    length : int
        Number of cells, 1 or more.
    units : {'metric', 'us'}
        Unit of the axis: cm or in.

    Returns
    -------
    EllipseCollection
        Seeds within the piece, in the order of `run.seeds`.  They are to scale, with their long
        axis along the row (an assumption), each over a pale spot.  Seeds that would be shorter
        than a pixel are drawn larger, and the axis says so.

    Raises
    ------
    ValueError
        If the piece is empty or lies outside the run.
    """
    along, _ = length_units(units)
    released, seeds, spacing = run.cells.released, run.seeds, run.scenario.spacing
    if length < 1:
        raise ValueError(f"length is {length}; allowed: 1 or more cells")
    length = min(length, released.size)
    chosen = ""
    if start is None:
        chosen = ", chosen to show a skip or a double if there is one"
        start = eventful_start(released, length, 1, min(3, (length - 1) // 2))
    if not 0 <= start <= released.size - length:
        raise ValueError(
            f"cells {start} to {start + length - 1} are outside the run: it has "
            f"cells 0 to {released.size - 1}"
        )
    # assumption: the median seed lies at its theoretical place
    offset = float(np.median(seeds.position - seeds.cell * spacing)) if len(seeds) else 0.0
    cells = np.arange(start, start + length)
    places = (cells * spacing + offset) / along.factor
    pitch = along.from_si(spacing)
    low, high = places[0] - 0.7 * pitch, places[-1] + 0.7 * pitch
    positions = seeds.position / along.factor
    shown = np.flatnonzero((positions >= low) & (positions <= high))
    where = positions[shown]
    ax.set_xlim(low, high)
    ax.set_ylim(-1.0, 0.8)
    ax.axhline(0, color=PALE, lw=0.5, zorder=0)
    ax.vlines(places, -0.75, -0.5, color=INK, lw=0.8)
    own = (seeds.cell[shown] * spacing + offset) / along.factor
    ties = [((a, -0.5), (b, -0.2)) for a, b in zip(own, where, strict=True)]
    ax.add_collection(LineCollection(ties, colors=PALE, linewidths=0.6, zorder=1), autolim=False)
    lot = run.scenario.seeds
    wide = lot.length * seeds.size[shown] / along.factor
    points = ax.get_window_extent().width / ax.figure.dpi * 72 / (high - low)
    true = along.from_si(lot.length) * points  # length of a seed in the picture, pt
    enlarged = 3.0 / true if true < 72 / ax.figure.dpi else 1.0
    ax.plot(where, 0 * where, "o", ms=7, mew=0, color=CLASSES["multiple"][0], alpha=0.4, zorder=2)
    ellipses = EllipseCollection(
        enlarged * wide,
        enlarged * wide * lot.width / lot.length,
        np.zeros(shown.size),
        units="x",
        offsets=np.column_stack([where, np.zeros(shown.size)]),
        offset_transform=ax.transData,
        facecolors=INK,
        edgecolors="none",
        zorder=3,
    )
    ax.add_collection(ellipses, autolim=False)
    words = []
    for cell in cells[released[cells] > 1]:
        group = positions[seeds.cell == cell]
        first, last = float(group.min()), float(group.max())
        ax.plot([first, first, last, last], [0.22, 0.32, 0.32, 0.22], color=INK, lw=0.9)
        words.append(
            ((first + last) / 2, SEVERAL.get(int(released[cell]), f"{released[cell]} seeds"))
        )
    empty = places[released[cells] == 0]
    ax.plot(empty, 0 * empty, "x", ms=8, mew=2, color=WARM, zorder=2)
    _place_words(ax, words + [(x, "skip") for x in empty.tolist()], 36 / points)
    ax.set_yticks([-0.62, 0], ["nominal\nplaces", "seeds"])
    ax.tick_params(axis="y", length=0)
    for side in ("top", "left", "right"):
        ax.spines[side].set_visible(False)
    scale = "to scale" if enlarged == 1 else "not to scale"
    ax.set_xlabel(
        f"position along the row, travel to the right [{along.symbol}]; "
        f"seeds dark, {scale}, on pale spots to find them by"
    )
    ax.set_title(f"A piece of the row{chosen}: {events_in(released[cells])}")
    return ellipses


def _place_words(ax: Axes, words: Sequence[tuple[float, str]], apart: float) -> None:
    """Write words above places; a word that would touch an earlier one is left out."""
    taken: list[float] = []
    for x, word in words:
        if all(abs(x - other) > apart for other in taken):
            ax.text(x, 0.38, word, clip_on=True, **ABOVE)
            taken.append(x)


def _on_disc(angle: Any, radius: Any) -> tuple[Any, Any]:
    """Point on the face of the disc, by angle past the entry of the pool, counter-clockwise."""
    turned = angle - (POINTS[0] + POINTS[1]) / 2 - math.pi / 2
    return radius * np.cos(turned), radius * np.sin(turned)


@matplotlib.rc_context(STYLE)
def draw_disc(ax: Axes, run: Run, turn: int | None = None, units: str = "metric") -> list[Patch]:
    """Draw the face of the disc to scale, with the seeds released by each cell in one turn.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    run : Run
        The run.
    turn : int, optional
        Turn, counted from 0.  By default it is the first with a skip and a double, or with either
        of them.
    units : {'metric', 'us'}
        Unit of the axes: mm or in.

    Returns
    -------
    list of Patch
        One mark for each cell, in order: an open circle, a filled circle or a diamond for none,
        one or several seeds.

    Raises
    ------
    ValueError
        If the run has no such turn.
    """
    _, machine = length_units(units)
    scenario, cells = run.scenario, run.scenario.disc.cells
    if turn is None:
        turn = eventful_start(run.cells.released, cells, cells, 0) // cells
    if not 0 <= turn < scenario.run.turns:
        raise ValueError(f"turn is {turn}; allowed: 0 to {scenario.run.turns - 1}")
    released = run.cells.released[turn * cells : (turn + 1) * cells]
    radius, pitch = machine.from_si(scenario.disc.circle_radius), machine.from_si(scenario.pitch)
    ax.set_aspect("equal")
    ax.set_xlim(-1.86 * radius, 1.86 * radius)
    ax.set_ylim(-1.28 * radius, 1.16 * radius)
    ax.add_patch(Circle((0, 0), radius, fill=False, ec=PALE, lw=0.6))
    _draw_pool(ax, run, turn, machine)
    _draw_stations(ax, run, machine)
    hole = machine.from_si(scenario.disc.hole_diameter) / 2
    size = min(max(machine.from_si(scenario.seeds.width) / 2, 0.02 * radius), 0.42 * pitch)
    blue, light = CLASSES["normal"][0], CLASSES["multiple"][0]
    marks: list[Patch] = []
    last = -math.inf
    for cell, many in enumerate(released):
        angle = -2 * math.pi * cell / cells
        spot = _on_disc(angle, radius)
        if many == 0:
            ax.add_patch(Circle(spot, hole, fc="white", ec=INK, lw=0.4, zorder=4))
            mark: Patch = Circle(spot, 1.15 * size, fc="white", ec=WARM, lw=1.6, zorder=3)
        elif many == 1:
            mark = Circle(spot, size, fc=blue, ec="none", zorder=3)
        else:
            large = min(1.7 * size, 0.62 * pitch)
            mark = RegularPolygon(spot, 4, radius=large, fc=light, ec=INK, lw=0.8, zorder=5)
        if many != 1 and (cell - last) * pitch > 0.09 * radius:
            last = cell
            x, y = _on_disc(angle, 0.88 * radius)
            ax.text(x, y, str(many), fontsize=LARGE, fontweight="bold", bbox=PLATE, **CENTRED)
        marks.append(ax.add_patch(mark))
    ax.set_xlabel(f"across the disc [{machine.symbol}]")
    ax.set_ylabel(f"height over its centre [{machine.symbol}]")
    ax.set_title(
        f"What each cell released in turn {turn + 1} of {scenario.run.turns}: {events_in(released)}"
    )
    return marks


def _draw_pool(ax: Axes, run: Run, turn: int, machine: Unit) -> None:
    scenario, radius = run.scenario, machine.from_si(run.scenario.disc.circle_radius)
    tick = min(round(turn / scenario.run.tick), len(run.ticks) - 1)
    level = machine.from_si(float(stations_of(scenario).gate.level(run.ticks.pool[tick])))
    half = math.acos(1 - min(level / radius, 2))
    angles = np.linspace(-half, half, 91) - math.pi / 2
    outline = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    ax.add_patch(Polygon(outline, fc="#dddddd", ec=PALE, lw=0.8, hatch="....", zorder=0))
    ax.text(0, -1.1 * radius, f"pool, {level:.3g} {machine.symbol} deep", ha="center", va="top")


def explain_marks(ax: Axes) -> None:
    """Explain the marks of `draw_disc`, to the right of the disc."""
    looks = (
        ("white", WARM, "o", "none: skip"),
        (CLASSES["normal"][0], "none", "o", "one"),
        (CLASSES["multiple"][0], INK, "D", "2: double, 3: triple or more"),
    )
    handles = [
        Line2D([], [], ls="", marker=shape, mfc=face, mec=edge, mew=1.4, ms=7, label=label)
        for face, edge, shape, label in looks
    ]
    legend = ax.legend(handles=handles, loc="upper left", bbox_to_anchor=(1.02, 1), borderaxespad=0)
    legend.set_title("seeds released by a cell")
    legend.set_alignment("left")


def _draw_stations(ax: Axes, run: Run, machine: Unit) -> None:
    setting, radius = run.scenario.singulator, machine.from_si(run.scenario.disc.circle_radius)
    gap = machine.from_si(setting.gap - setting.notch_step * setting.notch)
    names = ("pool zone begins", "pool zone ends", "singulator", "cut-off")
    for name, angle in zip(names, POINTS, strict=True):
        inner, outer = _on_disc(angle, 1.04 * radius), _on_disc(angle, 1.13 * radius)
        if name != "singulator":
            ax.plot(*zip(inner, outer, strict=True), color=INK, lw=1.2, zorder=2)
        x, y = _on_disc(angle, 1.16 * radius)
        said = f"{name}\n{math.degrees(angle):.0f} deg"
        ax.text(x, y, said, ha="left" if x > 0 else "right", va="center")
    facing = math.degrees(math.atan2(*_on_disc(POINTS[2], 1.0)[::-1]))
    width = 2 * (radius + gap)
    ax.add_patch(Arc((0, 0), width, width, theta1=facing - 9, theta2=facing + 9, lw=3, color=INK))
    tail, head = (_on_disc(POINTS[1] + math.radians(a), 0.55 * radius) for a in (60, 160))
    arrow = {"arrowstyle": "-|>", "mutation_scale": 14, "connectionstyle": "arc3,rad=0.45"}
    ax.add_patch(FancyArrowPatch(tail, head, color=INK, lw=1.2, **arrow))  # type: ignore[arg-type]
    ax.text(0, 0.3 * radius, "rotation", bbox=PLATE, **CENTRED)
