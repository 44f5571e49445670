"""Pictures of spacings: one distribution, several, and how they differ."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from functools import partial
from operator import mul
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike, NDArray

from metersim.figures.style import (
    ABOVE,
    CENTRED,
    CLASSES,
    EDGES,
    INK,
    LARGE,
    OVERFLOW,
    SERIES,
    STYLE,
    length_units,
    percent,
)
from metersim.spacing import (
    ROUNDING,
    PerSpacing,
    class_counts,
    per_spacing,
)


def binned(spacings: ArrayLike, reference: float) -> tuple[NDArray[np.int64], PerSpacing]:
    """Counts by tenths of the reference, upper bounds included, and beyond; shares of classes."""
    index = per_spacing(class_counts(spacings, reference))
    ratio = np.asarray(spacings, dtype=np.float64) / reference
    bins = np.searchsorted(EDGES[1:] * (1 + ROUNDING), ratio, side="left")
    return np.bincount(bins, minlength=EDGES.size).astype(np.int64), index


def spacing_axis(ax: Axes) -> None:
    """Name an axis of spacings over the nominal one."""
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
    along, _ = length_units(units)
    counts, index = binned(spacings, reference)
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
        said = f"{name}\n{percent(shares[name])}"
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
    spacing_axis(ax)
    scale = reference / along.factor
    upper = ax.secondary_xaxis("top", functions=(partial(mul, scale), partial(mul, 1 / scale)))
    upper.set_xlabel(f"spacing [{along.symbol}]")
    ax.set_title(f"{index.spacings} spacings between neighbouring seeds")
    return bars


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
    along, _ = length_units(units)
    if not len(labels) == len(spacings) == len(references):
        raise ValueError("labels, spacings and references differ in number")
    if not 1 <= len(labels) <= len(SERIES):
        raise ValueError(f"{len(labels)} runs to compare; allowed: 1 to {len(SERIES)}")
    edges = np.append(EDGES, OVERFLOW + 0.05)
    steps: list[Any] = []
    for label, values, reference, look in zip(labels, spacings, references, SERIES, strict=False):
        counts, index = binned(values, reference)
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
    spacing_axis(ax)
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
