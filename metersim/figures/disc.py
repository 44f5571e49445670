"""The face of the disc in one turn."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Patch, Polygon, RegularPolygon

from metersim.figures.style import (
    CENTRED,
    CLASSES,
    INK,
    LARGE,
    PALE,
    PLATE,
    STYLE,
    WARM,
    events_in,
    length_units,
    telling,
)
from metersim.records import Run
from metersim.stations import PASSES, stations_of
from metersim.units import Unit


def _on_disc(angle: Any, radius: Any) -> tuple[Any, Any]:
    """Place on the disc's face at an angle past the pool's entry; turns counter-clockwise."""
    turned = angle - (PASSES[0] + PASSES[1]) / 2 - math.pi / 2
    return radius * np.cos(turned), radius * np.sin(turned)


@matplotlib.rc_context(STYLE)
def draw_disc(ax: Axes, run: Run, turn: int | None = None, units: str = "metric") -> list[Patch]:
    """The face of the disc to scale, with what each cell released in one turn.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    run : Run
        The run.
    turn : int, optional
        Turn, counted from 0; by default the first with a skip and a double, or either of them.
    units : {'metric', 'us'}
        Unit of the axes: mm or in.

    Returns
    -------
    list of Patch
        One a cell, in their order: open circle, filled circle or diamond for none, one or
        several seeds.

    Raises
    ------
    ValueError
        If the run has no such turn.
    """
    _, machine = length_units(units)
    scenario, cells = run.scenario, run.scenario.disc.cells
    if turn is None:
        turn = telling(run.cells.released, cells, cells, 0) // cells
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
    """The marks of `draw_disc`, to the right of it."""
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
    for name, angle in zip(names, PASSES, strict=True):
        inner, outer = _on_disc(angle, 1.04 * radius), _on_disc(angle, 1.13 * radius)
        if name != "singulator":
            ax.plot(*zip(inner, outer, strict=True), color=INK, lw=1.2, zorder=2)
        x, y = _on_disc(angle, 1.16 * radius)
        said = f"{name}\n{math.degrees(angle):.0f} deg"
        ax.text(x, y, said, ha="left" if x > 0 else "right", va="center")
    facing = math.degrees(math.atan2(*_on_disc(PASSES[2], 1.0)[::-1]))
    width = 2 * (radius + gap)
    ax.add_patch(Arc((0, 0), width, width, theta1=facing - 9, theta2=facing + 9, lw=3, color=INK))
    tail, head = (_on_disc(PASSES[1] + math.radians(a), 0.55 * radius) for a in (60, 160))
    arrow = {"arrowstyle": "-|>", "mutation_scale": 14, "connectionstyle": "arc3,rad=0.45"}
    ax.add_patch(FancyArrowPatch(tail, head, color=INK, lw=1.2, **arrow))  # type: ignore[arg-type]
    ax.text(0, 0.3 * radius, "rotation", bbox=PLATE, **CENTRED)
