"""Pictures of runs: the row, the disc, the spacings, and how runs differ.

The only module that imports matplotlib, and only its object interface.  Every `draw_` function
takes axes and returns the artists that carry the data; `run_figure` and `comparison_figure`
compose pages; `save` writes them.  Equal runs give equal bytes, whatever the user's settings.
"""

from __future__ import annotations

import io
import math
import os
import textwrap
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from operator import mul
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import EllipseCollection, LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Patch, Polygon, RegularPolygon
from numpy.typing import ArrayLike, NDArray

from metersim.records import Run
from metersim.spacing import (
    CLASS_BOUNDS,
    ROUNDING,
    PerSpacing,
    class_counts,
    per_spacing,
    spacings_of,
)
from metersim.stations import PASSES, stations_of
from metersim.units import UNITS, Unit

LARGE, SMALL = 9.5, 8.0  # pt
INK, PALE, WARM = "#222222", "#8a8a8a", "#D55E00"
CLASSES = {  # class: colour (Okabe & Ito's set), hatch, first and last bound in references
    "multiple": ("#56B4E9", "////", 0.0, CLASS_BOUNDS[0]),
    "normal": ("#0072B2", "", CLASS_BOUNDS[0], CLASS_BOUNDS[1]),
    "miss": ("#E69F00", "xxx", CLASS_BOUNDS[1], 3.75),
}
CENTRED: dict[str, Any] = {"ha": "center", "va": "center"}
ABOVE: dict[str, Any] = {"ha": "center", "va": "bottom"}
PLATE = {"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85}  # behind words over a hatch
SERIES = (("#0072B2", "-", ""), (WARM, "--", "////"), ("#555555", ":", "...."))
EDGES = np.arange(36) / 10  # bounds of the histogram's bins in references
OVERFLOW = 3.6  # where spacings beyond the last bound are gathered
UNSET = {"backend", "backend_fallback", "interactive", "toolbar", "timezone"}
STYLE: dict[Any, Any] = {
    **{key: value for key, value in matplotlib.rcParamsDefault.items() if key not in UNSET},
    "font.size": SMALL,  # what is called medium; titles are large, 1.2 times that
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.edgecolor": INK,
    "axes.formatter.useoffset": False,
    "legend.frameon": False,
    "hatch.linewidth": 0.6,
    "text.parse_math": False,
    "svg.hashsalt": "metersim",
}
FORMATS: dict[str, dict[str, Any]] = {
    ".png": {"Software": "metersim"},
    ".svg": {"Creator": "metersim", "Date": None},
    ".pdf": {"Creator": "metersim", "Producer": "metersim", "CreationDate": None},
}
"""What each kind of file says about itself: nothing that changes from day to day."""


def _length_units(units: str) -> tuple[Unit, Unit]:
    """Units for lengths along the row and on the machine."""
    if units not in ("metric", "us"):
        raise ValueError(f"units is {units!r}; allowed: 'metric', 'us'")
    return (UNITS["cm"], UNITS["mm"]) if units == "metric" else (UNITS["in"], UNITS["in"])


def _binned(spacings: ArrayLike, reference: float) -> tuple[NDArray[np.int64], PerSpacing]:
    """Counts by tenths of the reference, upper bounds included, and beyond; shares of classes."""
    index = per_spacing(class_counts(spacings, reference))
    ratio = np.asarray(spacings, dtype=np.float64) / reference
    bins = np.searchsorted(EDGES[1:] * (1 + ROUNDING), ratio, side="left")
    return np.bincount(bins, minlength=EDGES.size).astype(np.int64), index


def _percent(share: float) -> str:
    return "no value" if math.isnan(share) else f"{share:.1%}".replace("%", " %")


def _spacing_axis(ax: Axes) -> None:
    ax.set_xlim(0, CLASSES["miss"][3])
    ax.set_xticks(np.arange(8) / 2)
    ax.set_xlabel("spacing [nominal spacings]")


@matplotlib.rc_context(STYLE)
def draw_spacings(
    ax: Axes, spacings: ArrayLike, reference: float, units: str = "metric"
) -> list[Any]:
    """Histogram of spacings with the classes of ISO 7256-1 and the share of each.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    spacings : array_like, shape (n,)
        Spacings. [m]
    reference : float
        Nominal spacing, above 0. [m]
    units : {'metric', 'us'}
        Unit of the upper axis: cm or in.

    Returns
    -------
    list of Rectangle
        36 bars: tenths of the reference, then what lies beyond 3.5 references.

    Raises
    ------
    ValueError
        As `metersim.spacing.classify`, or for unknown units.
    """
    along, _ = _length_units(units)
    counts, index = _binned(spacings, reference)
    shares = {"multiple": index.multiple, "normal": index.quality, "miss": index.miss}
    top = max(int(counts.max()), 1)
    centres = np.append(EDGES[:-1] + 0.05, OVERFLOW)
    bars: list[Any] = []
    for name, (colour, hatch, low, high) in CLASSES.items():
        inside = (centres > low) & (centres < high)
        bars += ax.bar(
            centres[inside], counts[inside], 0.1, fc=colour, hatch=hatch, ec="white", lw=0.4
        )
        ax.axvspan(low, high, color=colour, alpha=0.13, lw=0, zorder=0)
        ax.axvline(low, color=INK, lw=0.6, zorder=0.5)
        said = f"{name}\n{_percent(shares[name])}"
        ax.text((low + high) / 2, 1.29 * top, said, fontsize=LARGE, linespacing=1.3, **ABOVE)
    ax.plot([1, 1], [0, 1.1 * top], color=INK, lw=1.0, ls=(0, (4, 2)))
    nominal = f"nominal {along.from_si(reference):.3g} {along.symbol}"
    ax.text(1, 1.11 * top, nominal, **ABOVE)
    if counts[-1]:
        said = f"{counts[-1]} beyond 3.5"
        ax.text(OVERFLOW + 0.05, counts[-1] + 0.03 * top, said, ha="right", va="bottom")
    if not index.spacings:
        ax.text(2.5, 0.5 * top, "no spacing: fewer than two seeds", ha="center", fontsize=LARGE)
    ax.set_ylim(0, 1.55 * top)
    ax.set_yticks([tick for tick in ax.get_yticks() if tick <= 1.1 * top and tick == int(tick)])
    ax.set_ylabel("spacings per step of 0.1 nominal [count]")
    _spacing_axis(ax)
    scale = reference / along.factor
    upper = ax.secondary_xaxis("top", functions=(partial(mul, scale), partial(mul, 1 / scale)))
    upper.set_xlabel(f"spacing [{along.symbol}]")
    ax.set_title(f"{index.spacings} spacings between neighbouring seeds")
    return bars


def _telling(released: NDArray[np.int64], length: int, step: int, margin: int) -> int:
    """First start of a window with both a skip and a double inside, else with either, else 0."""
    starts = np.arange(0, max(released.size - length, 0) + 1, step)
    low = starts + margin
    high = np.minimum(starts + length, released.size) - margin
    kinds = np.zeros(starts.size, dtype=np.int64)
    for odd in (released == 0, released == 2):
        total = np.append(0, np.cumsum(odd))
        kinds += total[high] > total[low]
    return int(starts[np.argmax(kinds)])


def _events(released: NDArray[np.int64]) -> str:
    none, one, two = (int((released == many).sum()) for many in range(3))
    kinds = ((none, "skip"), (two, "double"), (released.size - none - one - two, "triple"))
    words = [f"{many} {word}{'s' * (many > 1)}" for many, word in kinds if many]
    return ", ".join(words) or "one seed from every cell"


@matplotlib.rc_context(STYLE)
def draw_row(
    ax: Axes, run: Run, start: int | None = None, length: int = 24, units: str = "metric"
) -> EllipseCollection:
    """A piece of the row: seeds where they lie, over the places meant for them.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    run : Run
        The run.
    start : int, optional
        First cell of the piece; by default the first piece that shows a skip and a double, or
        either of them.
    length : int
        Number of cells, 1 or more.
    units : {'metric', 'us'}
        Unit of the axis: cm or in.

    Returns
    -------
    EllipseCollection
        The seeds within the piece in the order of `run.seeds`: to scale, with their long axis
        along the row (an assumption), over a pale spot that shows where to look.  Seeds that
        would be shorter than a pixel are drawn larger, and the axis says so.

    Raises
    ------
    ValueError
        If the piece is empty or lies outside the run.
    """
    along, _ = _length_units(units)
    released, seeds, spacing = run.cells.released, run.seeds, run.scenario.spacing
    if length < 1:
        raise ValueError(f"length is {length}; allowed: 1 or more cells")
    length = min(length, released.size)
    if start is None:
        start = _telling(released, length, 1, min(3, (length - 1) // 2))
    if not 0 <= start <= released.size - length:
        raise ValueError(
            f"cells {start} to {start + length - 1} are outside the run: it has "
            f"cells 0 to {released.size - 1}"
        )
    # assumption: the median seed lies at its place
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
        words.append(((first + last) / 2, "double" if released[cell] == 2 else "triple"))
    empty = places[released[cells] == 0]
    ax.plot(empty, 0 * empty, "x", ms=8, mew=2, color=WARM, zorder=2)
    _place_words(ax, words + [(x, "skip") for x in empty.tolist()], 36 / points)
    ax.set_yticks([-0.62, 0], ["nominal\nplaces", "seeds"])
    ax.tick_params(axis="y", length=0)
    for side in ("top", "left", "right"):
        ax.spines[side].set_visible(False)
    scale = "to scale" if enlarged == 1 else "not to scale"
    ax.set_xlabel(
        f"position along the row, travel to the right [{along.symbol}]; seeds (dark) {scale}"
    )
    ax.set_title(f"Row at cells {start} to {start + length - 1}: {_events(released[cells])}")
    return ellipses


def _place_words(ax: Axes, words: Sequence[tuple[float, str]], apart: float) -> None:
    """Words over places, first come first served; left out where they would touch another."""
    taken: list[float] = []
    for x, word in words:
        if all(abs(x - other) > apart for other in taken):
            ax.text(x, 0.38, word, clip_on=True, **ABOVE)
            taken.append(x)


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
    _, machine = _length_units(units)
    scenario, cells = run.scenario, run.scenario.disc.cells
    if turn is None:
        turn = _telling(run.cells.released, cells, cells, 0) // cells
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
        f"Disc in turn {turn + 1} of {scenario.run.turns} (cells {turn * cells} to "
        f"{(turn + 1) * cells - 1}): {_events(released)}"
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


def _explain_marks(ax: Axes) -> None:
    """The marks of `draw_disc`, to the right of it."""
    looks = (
        ("white", WARM, "o", "none: skip"),
        (CLASSES["normal"][0], "none", "o", "one"),
        (CLASSES["multiple"][0], INK, "D", "2: double, 3: triple"),
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


@matplotlib.rc_context(STYLE)
def draw_comparison(
    ax: Axes,
    labels: Sequence[str],
    spacings: Sequence[ArrayLike],
    references: Sequence[float],
    units: str = "metric",
) -> list[Any]:
    """Outlines of the histograms of two or three runs over each other.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    labels : sequence of str
        One name a run.
    spacings : sequence of array_like
        Spacings of each run. [m]
    references : sequence of float
        Nominal spacing of each run, above 0. [m]
    units : {'metric', 'us'}
        Unit of the nominal spacings in the legend: cm or in.

    Returns
    -------
    list of StepPatch
        One a run: shares in the bins of `draw_spacings`. [%]

    Raises
    ------
    ValueError
        If there are more than three runs, or lengths differ.
    """
    along, _ = _length_units(units)
    if not len(labels) == len(spacings) == len(references):
        raise ValueError("labels, spacings and references differ in number")
    if not 1 <= len(labels) <= len(SERIES):
        raise ValueError(f"{len(labels)} runs to compare; allowed: 1 to {len(SERIES)}")
    edges = np.append(EDGES, OVERFLOW + 0.05)
    steps: list[Any] = []
    for label, values, reference, look in zip(labels, spacings, references, SERIES, strict=False):
        counts, index = _binned(values, reference)
        shares = 100 * counts / max(index.spacings, 1)
        colour, line, hatch = look
        shown = (
            f"{textwrap.fill(label, 40)}\n{index.spacings} spacings, nominal "
            f"{along.from_si(reference):.3g} {along.symbol}"
        )
        steps.append(ax.stairs(shares, edges, ec=colour, ls=line, lw=1.6, label=shown))
        ax.stairs(
            shares, edges, fill=True, fc="none", ec=colour, lw=0, hatch=hatch, alpha=0.5, zorder=0
        )
    top = max(float(step.get_data().values.max()) for step in steps) or 1.0
    for name, (_, _, low, high) in CLASSES.items():
        ax.axvline(low, color=INK, lw=0.6, zorder=0)
        ax.text((low + high) / 2, 1.1 * top, name, fontsize=LARGE, **CENTRED)
    beyond = max(float(step.get_data().values[-1]) for step in steps)
    if beyond:
        ax.text(OVERFLOW + 0.05, beyond + 0.02 * top, "beyond 3.5", ha="right", va="bottom")
    ax.set_ylim(0, 1.2 * top)
    ax.set_ylabel("spacings per step of 0.1 nominal [%]")
    _spacing_axis(ax)
    ax.legend(loc="upper right", bbox_to_anchor=(1, 0.86))
    ax.set_title("Spacings between neighbouring seeds")
    return steps


@matplotlib.rc_context(STYLE)
def draw_differences(ax: Axes, rows: Sequence[tuple[str, float, float, float]]) -> list[Any]:
    """Paired differences with their intervals.

    Parameters
    ----------
    ax : Axes
        Where to draw.
    rows : sequence of (label, value, low, high)
        Differences and ends of their intervals. [percentage points]

    Returns
    -------
    list of Line2D
        One dot a row, without those that have no value.
    """
    dots: list[Any] = []
    for line, (_, value, low, high) in enumerate(rows):
        said = "no value"
        if math.isfinite(value):
            said = f"{value:+.2f}"
            dots += ax.plot(value, line, "o", color=INK, ms=6)
        if math.isfinite(value) and math.isfinite(low) and math.isfinite(high):
            ax.plot([low, high], [line, line], color=INK, lw=2, marker="|", ms=9)
            said += f"  ({low:+.2f} to {high:+.2f})"
        ax.annotate(
            said.replace("-", "\N{MINUS SIGN}"),
            (1.02, line),
            va="center",
            xycoords=("axes fraction", "data"),
            annotation_clip=False,
        )
    ax.axvline(0, color=INK, lw=0.8, ls=(0, (4, 2)), zorder=0)
    ends = [abs(end) for _, *ends in rows for end in ends if math.isfinite(end)]
    reach = 1.12 * max(ends, default=1.0) or 1.0
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), [textwrap.fill(label, 26) for label, *_ in rows])
    ax.set_xlabel("difference [percentage points]")
    return dots


def _page(height: float) -> Figure:
    figure = Figure(figsize=(7.5, height), dpi=200)
    FigureCanvasAgg(figure)
    return figure


def _caption(figure: Figure, parts: Sequence[str]) -> None:
    said = "\n".join(textwrap.fill(part, 110) for part in parts)
    figure.text(0.02, 0.1 / figure.get_figheight(), said, color=INK, va="bottom", gid="caption")


def _origin(run: Run) -> str:
    replaced = "".join(f", {name} replaced by {kind}" for name, kind in run.replaced.items())
    return (
        f"metersim {run.version} | {run.scenario.name} | seed {run.seed} | "
        f"replicate {run.replicate}{replaced}"
    )


def _settings(run: Run, units: str) -> tuple[str, ...]:
    """What was set, in a few lines."""
    s = run.scenario
    us = units == "us"
    _, machine = _length_units(units)
    vacuum, speed = UNITS["inh2o" if us else "kpa"], UNITS["mph" if us else "kmh"]
    return (
        f"seed lot {s.lot.name}",
        f"{s.disc.cells} cells, holes {machine.from_si(s.disc.hole_diameter):.3g} {machine.symbol}",
        f"vacuum {vacuum.from_si(s.vacuum.vacuum):.3g} {vacuum.symbol}",
        f"singulator notch {s.singulator.notch:g}",
        f"speed {speed.from_si(s.demand.speed):.3g} {speed.symbol}, {s.furrow.surface}",
    )


@matplotlib.rc_context(STYLE)
def run_figure(run: Run, units: str = "metric") -> Figure:
    """One page on one run: spacings, a piece of the row, the disc, and where it all comes from.

    Parameters
    ----------
    run : Run
        The run.
    units : {'metric', 'us'}
        Lengths in cm and mm, or in inches.

    Returns
    -------
    Figure
        7.5 in wide, 10 in high.
    """
    figure = _page(10)
    figure.text(0.02, 0.985, textwrap.shorten(run.scenario.title, 80), fontsize=12, va="top")
    ax = figure.add_axes((0.1, 0.635, 0.87, 0.265))
    draw_spacings(ax, spacings_of(run.seeds.position), run.scenario.spacing, units)
    draw_row(figure.add_axes((0.1, 0.455, 0.87, 0.095)), run, units=units)
    ax = figure.add_axes((0.1, 0.075, 0.62, 0.305))
    draw_disc(ax, run, units=units)
    _explain_marks(ax)
    for line, words in enumerate(_settings(run, units)):
        ax.text(1.03, 0.26 - 0.06 * line, words, transform=ax.transAxes)
    _caption(figure, [_origin(run)])
    return figure


@matplotlib.rc_context(STYLE)
def comparison_figure(
    labels: Sequence[str],
    runs: Sequence[Run],
    differences: Sequence[tuple[str, float, float, float]] = (),
    units: str = "metric",
) -> Figure:
    """One page on two or three runs and how they differ.

    Parameters
    ----------
    labels : sequence of str
        One name a run.
    runs : sequence of Run
        The runs.
    differences : sequence of (label, value, low, high)
        As for `draw_differences`; none leaves that panel out. [percentage points]
    units : {'metric', 'us'}
        Lengths in cm or in.

    Returns
    -------
    Figure
        7.5 in wide, as high as it needs.
    """
    panel = 0.32 * len(differences)
    foot = 0.3 + 0.16 * len(runs)  # in, for the caption
    height = foot + 4.5 + (panel + 0.9 if differences else 0)
    figure = _page(height)
    ax = figure.add_axes((0.1, 1 - 4.0 / height, 0.87, 3.7 / height))
    spacings = [spacings_of(run.seeds.position) for run in runs]
    draw_comparison(ax, labels, spacings, [run.scenario.spacing for run in runs], units)
    if differences:
        ax = figure.add_axes((0.26, (foot + 0.5) / height, 0.48, panel / height))
        draw_differences(ax, differences)
        ax.set_title("Difference and its interval")
    _caption(figure, [f"{label}: {_origin(run)}" for label, run in zip(labels, runs, strict=True)])
    return figure


@matplotlib.rc_context(STYLE)
def save(figure: Figure, path: str | Path) -> None:
    """Write a figure whole or not at all; equal figures give equal bytes.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : str or Path
        Ends in .png, .svg or .pdf.

    Raises
    ------
    ValueError
        For another ending.
    OSError
        If the file cannot be written; nothing is left behind.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise ValueError(f"{path.name!r} does not say what to write; allowed: {', '.join(FORMATS)}")
    written = io.BytesIO()
    figure.savefig(written, format=kind[1:], metadata=FORMATS[kind])
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(written.getvalue())
        os.replace(part, path)
    except BaseException:
        with suppress(OSError):
            part.unlink()
        raise
