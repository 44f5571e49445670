"""Figures of a lesson: one for each chapter, two panels wide."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse
from matplotlib.ticker import FuncFormatter, NullLocator

from metersim.measures.intervals import Estimate
from metersim.questions.lesson.counting import MIDDLE, Counting, Machines
from metersim.questions.lesson.meter import PAIR_SIZE, SIZES
from metersim.questions.lesson.moves import Curve, SingleSteps, Together, TradeOff
from metersim.questions.lesson.phrases import value_text
from metersim.questions.lesson.row import DustyLens, SpeedCost
from metersim.questions.lesson.study import Lesson
from metersim.questions.shared.counts import deviations
from metersim.questions.shared.page import (
    STYLE,
    WIDTH,
    new_page,
    percent_axis,
    spacing_axis,
)
from metersim.questions.shared.picture import EDGES, OVERFLOW
from metersim.questions.shared.settings import SETTINGS, steps_text
from metersim.questions.shared.style import (
    BLUE,
    BOLD,
    DASHED,
    DOTTED,
    FINE,
    GREY,
    HAIR,
    INK,
    PALE,
    QUIET,
    SERIES,
    SOLID,
    STROKE,
    WARM,
    WHITE,
)

HEIGHT = 3.1  # of a figure; in
KINDS: Mapping[str, dict[str, Any]] = {
    "skips": {"color": BLUE, "marker": "o", "mfc": BLUE},
    "doubles": {"color": WARM, "marker": "s", "mfc": WHITE},
}
LINES = {"skips": SOLID, "doubles": DASHED}
RING = math.sqrt(-2 * math.log(1 - 0.95))  # standard errors, of the ring that holds 95 of 100
STEP_MARKS = ("^", "v", "D")


@matplotlib.rc_context(STYLE)
def chapter_figure(lesson: Lesson, name: str) -> Figure:
    """The figure of one chapter, by its name."""
    figure = new_page(HEIGHT)
    draw_chapter(figure, lesson, name, (0.0, 0.0, WIDTH, HEIGHT))
    return figure


def draw_chapter(
    figure: Figure, lesson: Lesson, name: str, box: tuple[float, float, float, float]
) -> list[Axes]:
    """Draw the figure of a chapter into a part of a page.

    Parameters
    ----------
    figure : Figure
        The page.
    lesson : Lesson
        Numbers of the lesson.
    name : str
        Name of the chapter.
    box : tuple of float
        Left and lower end, width and height of the part. [in]
    """
    draw, left, gap, share = PANELS[name]
    across, down = figure.get_size_inches()
    x, y, wide, high = box
    room = wide - left - gap - 0.15
    ends = (left, share * room), (left + share * room + gap, (1 - share) * room)
    axes = [
        figure.add_axes(
            ((x + start) / across, (y + 0.5) / down, width / across, (high - 0.8) / down)
        )
        for start, width in ends
    ]
    draw(axes, getattr(lesson, name), lesson.units)
    return axes


def _kind(name: str, **more: Any) -> dict[str, Any]:
    return {"ms": 4.5, "lw": STROKE, **KINDS[name], "ls": LINES[name], **more}


def _reach(ax: Axes, at: float, estimate: Estimate, name: str, upright: bool = True) -> None:
    """Draw the interval of a share or of a change, in percent."""
    ends, line = (100 * estimate.low, 100 * estimate.high), ax.vlines if upright else ax.hlines
    line(at, *ends, color=KINDS[name]["color"], lw=STROKE)


def _trade(axes: Sequence[Axes], trade: TradeOff, units: str) -> None:
    highest = max(
        one.high for curve in trade.curves for point in curve.points
        for one in point.rates.kinds.values()
    )  # fmt: skip
    for ax, curve in zip(axes, trade.curves, strict=False):
        _curve(ax, curve, units)
        percent_axis(ax.yaxis, 100 * min(1.1 * highest + 1e-3, 1.06))
    axes[0].set_ylabel("% of cells")
    axes[0].legend(
        handles=[Line2D([], [], label=kind, **_kind(kind)) for kind in KINDS],
        loc="upper center",
    )
    for ax in axes[len(trade.curves) :]:
        ax.axis("off")


def _curve(ax: Axes, curve: Curve, units: str) -> None:
    spec = SETTINGS[curve.setting].spec
    unit = spec.unit_for(units)
    values = [unit.from_si(one.value) if unit else one.value for one in curve.points]
    for kind in KINDS:
        found = [one.rates.kinds[kind] for one in curve.points]
        ax.plot(values, [100 * one.value for one in found], gid=kind, **_kind(kind))
        for at, one in zip(values, found, strict=True):
            _reach(ax, at, one, kind)
    ax.axvline(values[curve.present], color=PALE, lw=FINE, zorder=0)
    if curve.setting == "vacuum" and len(values) > 1:
        ax.set_xscale("log")
        ax.set_xticks(values[curve.present % 2 :: 2])
        ax.xaxis.set_minor_locator(NullLocator())
    else:
        ax.set_xticks(values)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.3g}"))
    ax.set_xlabel(f"{curve.setting} [{unit.symbol}]" if unit else f"{curve.setting}")


def _steps(axes: Sequence[Axes], steps: SingleSteps, units: str) -> None:
    names = [steps_text(one.steps, units) for one in steps.steps]
    for ax, kind in zip(axes, KINDS, strict=True):
        for row, one in enumerate(steps.steps):
            change = one.change.kinds[kind]
            _reach(ax, row, change, kind, upright=False)
            ax.plot([100 * change.value], [row], gid=kind, **_kind(kind, ls=""))
        ax.axvline(0, color=INK, lw=FINE, zorder=0)
        ax.set_ylim(len(names) - 0.4, -0.6)
        ax.set_yticks(range(len(names)), names if ax is axes[0] else [])
        ax.tick_params(axis="y", length=0)
        ax.set_xlabel(f"change of {kind} [percentage points]")
        _signed_axis(ax)


def _signed_axis(ax: Axes) -> None:
    """Set a horizontal axis of the root of a change, so that small and large ones are seen."""
    low, high = ax.dataLim.x0, ax.dataLim.x1
    most = 1.15 * max(abs(low), abs(high), 0.1)
    ax.set_xscale(
        "function",
        functions=(lambda x: np.sign(x) * np.sqrt(np.abs(x)), lambda x: np.sign(x) * np.square(x)),
    )
    largest = next(one for one in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if 2.2 * one >= most)
    ax.set_xticks([-largest, -largest / 5, 0, largest / 5, largest])
    ax.xaxis.set_minor_locator(NullLocator())
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:+g}" if value else "0"))
    ax.set_xlim(-most, most)


def _counting(axes: Sequence[Axes], counting: Counting, units: str) -> None:
    left, right = axes
    for row in range(len(SIZES)):
        for kind, aside in (("skips", -0.16), ("doubles", 0.16)):
            found, y = counting.found[kind][row], row + aside
            colour = KINDS[kind]["color"]
            left.plot([100 * found.low, 100 * found.high], [y, y], color=colour, lw=BOLD, gid=kind)
            left.plot([100 * found.middle], [y], **_kind(kind, ls=""))
    for kind, one in counting.truth.kinds.items():
        left.axvline(100 * one.value, color=KINDS[kind]["color"], lw=FINE, ls=LINES[kind], zorder=0)
    left.set_yticks(range(len(SIZES)), [f"{size:,} cells" for size in SIZES])
    left.set_ylim(len(SIZES) - 0.4, -0.9)
    left.set_xlim(left=min(0.0, left.get_xlim()[0]))
    left.set_xlabel(f"% of cells that {100 * MIDDLE:.0f} of 100 counts find")
    left.legend(
        handles=[Line2D([], [], label=kind, **_kind(kind)) for kind in KINDS],
        loc="upper right", ncols=2,
    )  # fmt: skip
    cells = np.geomspace(30, 30_000, 66)
    for step, (colour, line, _), mark in zip(counting.steps, SERIES, STEP_MARKS, strict=False):
        right.plot(
            cells, [100 * step.seen.chance(one) for one in cells], color=colour, ls=line, lw=STROKE,
            marker=mark, markevery=11, ms=4.5, label=steps_text(step.steps, units), gid="chance",
        )  # fmt: skip
    for size in SIZES:
        right.axvline(size, color=GREY, lw=FINE, zorder=0)
    right.set_xscale("log")
    right.set_xticks(SIZES, [f"{size:,}" for size in SIZES])
    right.xaxis.set_minor_locator(NullLocator())
    right.set_ylim(0, 155)  # with room for the names
    right.set_yticks(range(0, 101, 25))
    right.set_xlabel("cells of each of two counts")
    right.set_ylabel("of 100 pairs detect it")
    if counting.steps:
        right.legend(loc="upper left")


def _together(axes: Sequence[Axes], together: Together, units: str) -> None:
    left, right = axes
    now = together.present
    centre = [100 * one.value for one in now.kinds.values()]
    width, height = (200 * RING * one for one in together.noise)
    left.add_patch(Ellipse((centre[0], centre[1]), width, height, fc=GREY, ec=PALE, lw=FINE))
    left.plot(*centre, color=INK, marker="+", ms=9, mew=BOLD, ls="", gid="present")
    steps = [*together.alone, *([together.both] if together.both else [])]
    names = [*(steps_text(one.steps, units) for one in together.alone), "both at once"]
    ends = [[100 * one.value for one in step.rates.kinds.values()] for step in steps]
    marks = list(zip(steps, names, ends, SERIES, STEP_MARKS, strict=False))
    for _, name, end, (colour, _, _), mark in marks:
        left.plot(*zip(centre, end, strict=True), color=colour, lw=STROKE)
        left.plot(*end, color=colour, marker=mark, ms=6, ls="", label=name, gid="end")
    shown = np.array([centre, *ends])
    limits = []
    for k, size in enumerate((width, height)):
        low = min(shown[:, k].min(), centre[k] - size / 2)
        high = max(shown[:, k].max(), centre[k] + size / 2)
        limits.append((max(low - 0.1 * (high - low), -0.04 * high), high + 0.15 * (high - low)))
    left.set_xlim(*limits[0])
    left.set_ylim(*limits[1])
    left.set_xlabel("skips [% of cells]")
    left.set_ylabel("doubles [% of cells]")
    for row, (step, _, _, (colour, _, _), mark) in enumerate(marks):
        chance = 100 * step.seen.chance(PAIR_SIZE)
        right.plot([0, chance], [row, row], color=colour, lw=BOLD)
        right.plot([chance], [row], color=colour, marker=mark, ms=6, gid="chance")
    right.set_ylim(2.6, -0.6)
    right.set_yticks(range(len(marks)), [_folded(name) for _, name, *_ in marks])
    right.tick_params(axis="y", length=0)
    right.set_xlim(0, 105)
    right.set_xlabel(f"of 100 pairs of {PAIR_SIZE:,} cells detect it")
    if not marks:
        right.axis("off")


def _folded(name: str) -> str:
    """A name in two lines if it is long."""
    words = name.split()
    return name if len(name) < 16 else f"{' '.join(words[:2])}\n{' '.join(words[2:])}"


def _speed(axes: Sequence[Axes], speed: SpeedCost, units: str) -> None:
    left, right = axes
    ends = dict.fromkeys((speed.speeds[0], speed.speeds[-1]))
    for one, (colour, line, _) in zip(ends, SERIES, strict=False):
        counts = np.array(one.histogram, dtype=float)
        shares = 100 * counts / max(counts.sum(), 1)
        left.stairs(
            shares, [*EDGES, OVERFLOW], color=colour, ls=line, lw=STROKE,
            label=value_text("speed", one.speed, units), gid="spacings",
        )  # fmt: skip
    spacing_axis(left)
    left.set_ylabel("% of spacings")
    left.legend(loc="upper right")
    unit = SETTINGS["speed"].spec.unit_for(units)
    at = [unit.from_si(one.speed) if unit else one.speed for one in speed.speeds]
    names = {"close": "close spacings", "missed": "missed spacings", "odd": "cells, not single"}
    top = 0.0
    for (key, name), (colour, line, _), mark in zip(
        names.items(), SERIES, STEP_MARKS, strict=False
    ):
        found = [getattr(one.row, key) for one in speed.speeds]
        top = max([top, *(one.high for one in found if not math.isnan(one.high))])
        right.plot(
            at, [100 * one.value for one in found], color=colour, ls=line, lw=STROKE, marker=mark,
            ms=4.5, label=name, gid=key,
        )  # fmt: skip
        for x, one in zip(at, found, strict=True):
            right.vlines(x, 100 * one.low, 100 * one.high, color=colour, lw=STROKE)
    right.axvline(at[speed.present], color=PALE, lw=FINE, zorder=0)
    percent_axis(right.yaxis, 100 * min(1.6 * top + 1e-3, 1.3))
    right.set_xticks(at, [f"{one:.3g}" for one in at])
    right.set_xlabel(f"speed [{unit.symbol}]" if unit else "speed")
    right.set_ylabel("%")
    right.legend(loc="upper left")


def _lens(axes: Sequence[Axes], lens: DustyLens, units: str) -> None:
    at = [100 * one.hidden for one in lens.lenses]
    for ax, kind in zip(axes, KINDS, strict=True):
        found, row = [getattr(one, kind) for one in lens.lenses], getattr(lens, kind)
        ax.axhspan(100 * row.low, 100 * row.high, color=GREY, lw=0)
        ax.axhline(100 * row.value, color=INK, lw=BOLD, ls=DOTTED, label="in the row", gid="row")
        ax.plot(
            at, [100 * one.value for one in found], label="on the monitor", gid=kind, **_kind(kind)
        )
        for x, one in zip(at, found, strict=True):
            _reach(ax, x, one, kind)
        highest = max(one.high for one in (row, *found))
        ax.set_ylim(0, 100 * min(1.35 * highest + 1e-3, 1.2))
        ax.set_xticks(at)
        ax.set_xlabel("seeds that dust hides, of 100")
        ax.set_title(kind)
        ax.legend(loc="upper left")
    axes[0].set_ylabel("% of cells")


def _machines(axes: Sequence[Axes], machines: Machines, units: str) -> None:
    left, right = axes
    shares = 100 * np.array([[one.skips, one.doubles] for one in machines.machines])
    tops = shares.max(axis=0)
    for one, start in zip(machines.machines, shares, strict=True):
        if one.change:
            change = [100 * part.value for part in one.change.kinds.values()]
            end = np.maximum(start + change, 0)
            tops = np.maximum(tops, end)
            left.plot(*zip(start, end, strict=True), color=PALE, lw=HAIR, zorder=1)
    left.plot(*shares.T, color=BLUE, marker="o", ms=4, ls="", gid="machines")
    middle = np.median(shares, axis=0)
    reach = [100 * deviations(MIDDLE) * machines.noise[kind] for kind in KINDS]
    for k, ends in enumerate(zip(middle - reach, middle + reach, strict=True)):
        low = max(ends[0], 0)
        line = ([low, ends[1]], [middle[1]] * 2) if k == 0 else ([middle[0]] * 2, [low, ends[1]])
        left.plot(*line, color=INK, lw=BOLD, gid="count")
    tops = np.maximum(tops, middle + reach)
    percent_axis(left.xaxis, min(1.1 * float(tops[0]) + 0.1, 106))
    percent_axis(left.yaxis, min(1.1 * float(tops[1]) + 0.1, 106))
    left.set_xlabel("skips [% of cells]")
    left.set_ylabel("doubles [% of cells]")
    changed = [one.change for one in machines.machines if one.change]
    if not changed:
        right.axis("off")
        return
    changed.sort(key=lambda one: one.doubles.value)
    for kind, aside in (("skips", -0.15), ("doubles", 0.15)):
        at = np.arange(len(changed)) + aside
        found = [one.kinds[kind] for one in changed]
        for x, part in zip(at, found, strict=True):
            _reach(right, x, part, kind)
        right.plot(
            at, [100 * one.value for one in found], gid=kind, label=kind, **_kind(kind, ls="", ms=3)
        )
    right.axhline(0, color=QUIET, lw=FINE, zorder=0)
    right.set_xticks([])
    right.set_xlabel(f"machines, after: {steps_text(machines.step, units)}")
    right.set_ylabel("change [percentage points]")
    low, high = right.get_ylim()
    right.set_ylim(low, high + 0.18 * (high - low))
    right.legend(loc="upper left", ncols=2)


Draw = Callable[[Sequence[Axes], Any, str], None]
PANELS: Mapping[str, tuple[Draw, float, float, float]] = {
    "trade": (_trade, 0.6, 0.5, 0.55),
    "steps": (_steps, 2.0, 0.25, 0.5),
    "counting": (_counting, 0.85, 0.75, 0.5),
    "together": (_together, 0.6, 1.55, 0.55),
    "speed": (_speed, 0.6, 0.65, 0.5),
    "lens": (_lens, 0.6, 0.5, 0.5),
    "machines": (_machines, 0.6, 0.75, 0.48),
}
"""Which function draws a chapter; width of its left margin and of the gap between its panels [in];
share of the width that the left panel has."""
