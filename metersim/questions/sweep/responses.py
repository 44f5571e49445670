"""Drawings of a response along its axes: curves, a map, and panels of single settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from numpy.typing import NDArray

from metersim.measures.indices import BY_KEY
from metersim.questions.shared.page import STYLE
from metersim.questions.shared.style import (
    BOLD,
    DASHED,
    FINE,
    HAIR,
    INK,
    PALE,
    PLATE,
    SCALE,
    SERIES,
    SHADE,
    SLANTED,
    STROKE,
    WARM,
    WHITE,
)
from metersim.questions.shared.words import plain_name, shown
from metersim.questions.sweep.points import Axis
from metersim.questions.sweep.response import Response

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STAR: dict[str, Any] = {"marker": "*", "ms": 15, "mfc": WHITE, "mec": INK, "mew": STROKE, "ls": ""}
RING: dict[str, Any] = {"marker": "o", "ms": 11, "mfc": "none", "mec": INK, "mew": FINE, "ls": ""}
PLATEAU: dict[str, Any] = {"fc": "none", "ec": PALE, "hatch": SLANTED, "lw": 0}
FAR = 0.25  # share of the points, the worst ones, with a common colour
LEAST_GAP = 0.008  # distance of curves, as a share of the width


def axis_label(axis: Axis, units: str) -> str:
    """Name and unit of an axis."""
    name, unit = axis.spec.name.replace("_", " "), axis.unit_for(units)
    return f"{name} [{unit.symbol}]" if unit else name


def value_text(axis: Axis, word: str, units: str, mark: str = "") -> str:
    """Name, value and unit of one value of an axis, with a mark after the name."""
    value = f"{axis.text(word, units)} {axis.symbol(units)}".rstrip()
    return f"{axis.spec.name.replace('_', ' ')}{mark} {value}"


def response_label(response: Response, units: str) -> str:
    """Name and unit of the response."""
    symbol = shown(BY_KEY[response.key].kind, 0.0, units)[1]
    name = plain_name(response.key)
    return f"{name} [{symbol}]" if symbol else name


def _shown_values(response: Response, units: str) -> Floats:
    """Value, low and high of every point, in the shown unit."""
    factor = shown(BY_KEY[response.key].kind, 1.0, units)[0]
    return response.values * factor


def _shown_totals(response: Response, units: str) -> Floats:
    """Value of every point with its total interval, in the shown unit."""
    factor = shown(BY_KEY[response.key].kind, 1.0, units)[0]
    return response.totals(response.key) * factor


def _places(axis: Axis, words: Sequence[str], units: str) -> Floats:
    """Places of words along an axis: their numbers, or their positions in the list."""
    if axis.is_number:
        return np.array([axis.number(word, units) for word in words])
    return np.array([axis.words.index(word) for word in words], dtype=float)


def _columns(response: Response, units: str) -> list[Floats]:
    """Places of all points, axis by axis."""
    plan = response.sweep.plan
    return [
        _places(axis, words, units)
        for axis, words in zip(plan.axes, zip(*plan.points, strict=True), strict=True)
    ]


def _along(ax: Axes, axis: Axis, units: str) -> None:
    ax.set_xlabel(axis_label(axis, units))
    if not axis.is_number:
        ax.set_xticks(range(len(axis.words)), axis.words)
        ax.set_xlim(-0.5, len(axis.words) - 0.5)


@matplotlib.rc_context(STYLE)
def draw_curves(ax: Axes, response: Response, units: str = "metric") -> list[Any]:
    """Draw the response along the first range, with a curve for each value of the other axis.

    Points that meet all limits are filled.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    response : Response
        Response of one axis, or of a grid of two, one of them a short list.
    units : {'metric', 'us'}
        Units of the response.

    Returns
    -------
    list of Line2D
        Line of each curve.

    Raises
    ------
    ValueError
        For other axes.
    """
    plan, values = response.sweep.plan, _shown_totals(response, units)
    columns = _columns(response, units)
    chosen = curve_axes(response)
    if chosen is None:
        raise ValueError(
            "curves are for one axis, or for two of a grid of which one is a short list"
        )
    along, other = chosen
    x, axis, curves = columns[along], plan.axes[along], []
    if other:  # shifted, so that their intervals can be distinguished
        side = _places(other, [point[1 - along] for point in plan.points], units)
        rank = np.unique(side, return_inverse=True)[1]
        x = x + LEAST_GAP * (x.max() - x.min()) * (rank - rank.max() / 2)
    for word, look in zip(other.words if other else ("",), SERIES, strict=False):
        mine = np.flatnonzero([not other or point[1 - along] == word for point in plan.points])
        mine = mine[np.argsort(x[mine], kind="stable")]
        colour, line, _ = look
        label = value_text(other, word, units, ":") if other else ""
        value, low, high = values[mine].T
        curves += ax.plot(x[mine], value, color=colour, ls=line, lw=STROKE, label=label, zorder=2)
        if other:
            ends = np.stack([value - low, high - value])
            ax.errorbar(x[mine], value, ends, fmt="none", ecolor=colour, lw=FINE, capsize=2)
        else:
            ax.fill_between(x[mine], low, high, color=colour, alpha=0.2, lw=0, zorder=1)
        for flags, fill in ((response.acceptable, colour), (~response.acceptable, WHITE)):
            kept = mine[flags[mine]]
            ax.plot(x[kept], values[kept, 0], "o", ms=5, mfc=fill, mec=colour, zorder=3)
    if other:
        inside = response.plateau
        ax.plot(x[inside], values[inside, 0], zorder=4, **RING)
    else:
        _shade(ax, x, response.plateau)
    if response.best is not None:
        ax.plot(x[response.best], values[response.best, 0], zorder=5, **STAR)
    _draw_limits(ax, response, units)
    _from_zero(ax, response)
    _along(ax, axis, units)
    ax.set_ylabel(response_label(response, units))
    return curves


def starts_at_zero(response: Response) -> bool:
    """Whether the axis of the response begins at zero: that of a share which is better small."""
    return BY_KEY[response.key].kind == "share" and response.sense < 0


def _from_zero(ax: Axes, response: Response) -> None:
    if starts_at_zero(response):
        ax.set_ylim(0, max(ax.get_ylim()[1], 1e-6))


def _shade(ax: Axes, x: Floats, inside: Flags) -> None:
    """Shade a plateau along x, half-way to the next point on each side."""
    order = np.argsort(x, kind="stable")
    edges = _edges(x[order])
    for k in np.flatnonzero(inside[order]):
        ax.axvspan(max(edges[k], x.min()), min(edges[k + 1], x.max()), **PLATEAU)


def _edges(centres: Floats) -> Floats:
    """Bounds of cells about ascending centres."""
    if len(centres) == 1:
        return np.array([centres[0] - 0.5, centres[0] + 0.5])
    middle = (centres[1:] + centres[:-1]) / 2
    return np.concatenate(([2 * centres[0] - middle[0]], middle, [2 * centres[-1] - middle[-1]]))


def _draw_limits(ax: Axes, response: Response, units: str) -> None:
    """Draw a line for each limit on the response within the shown range."""
    values = _shown_values(response, units)
    low, high = np.nanmin(values), np.nanmax(values)
    room = 0.5 * (high - low)
    for limit in response.limits:
        kind = BY_KEY[limit.key].kind
        at = shown(kind, limit.value, units)[0]
        if limit.key != response.key or not low - room <= at <= high + room:
            continue
        ax.axhline(at, color=INK, lw=FINE, ls=DASHED, zorder=1.5)
        side = "at most" if limit.sign == "<=" else "at least"
        ax.annotate(
            f"{side} {at:.4g}",
            (1, at),
            xycoords=("axes fraction", "data"),
            xytext=(-4, 2),
            textcoords="offset points",
            ha="right",
            annotation_clip=False,
            bbox=PLATE,
        )


@matplotlib.rc_context(STYLE)
def draw_map(ax: Axes, response: Response, units: str = "metric") -> Any:
    """Draw the response over two settings in colour, with acceptable points and the plateau.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    response : Response
        Response of two axes with numbers.
    units : {'metric', 'us'}
        Units of the response.

    Returns
    -------
    QuadMesh or PathCollection
        Cells of a grid, or points of a sample; its array is the response.
    """
    plan, (x, y) = response.sweep.plan, _columns(response, units)
    value = _shown_values(response, units)[:, 0]
    ax.set_xlabel(axis_label(plan.axes[0], units))
    ax.set_ylabel(axis_label(plan.axes[1], units))
    ends: dict[str, Any] = {"cmap": SCALE, **_colour_ends(response, value)}
    if plan.design == "grid":
        shape = plan.axes[0].size, plan.axes[1].size
        order = np.lexsort((y, x))
        across, up = np.unique(x), np.unique(y)
        bounds = _edges(across), _edges(up)
        table = value[order].reshape(shape).T
        mesh: Any = ax.pcolormesh(*bounds, table, rasterized=True, **ends)
        looks: tuple[tuple[Flags, dict[str, Any]], ...] = (
            (response.acceptable, {"colors": WHITE, "linewidths": 3 * BOLD}),
            (response.acceptable, {"colors": INK, "linewidths": 2 * BOLD}),
            (response.plateau, {"colors": WARM, "linewidths": BOLD, "linestyles": DASHED}),
        )
        for flags, look in looks:
            inside = flags[order].reshape(shape).T
            edge = LineCollection(_outline(*bounds, inside), clip_on=False, zorder=3, **look)
            ax.add_collection(edge)
        ax.set_facecolor(SHADE)
        ax.set_xlim(*bounds[0][[0, -1]])
        ax.set_ylim(*bounds[1][[0, -1]])
    else:
        good = response.acceptable
        ax.scatter(x[~good], y[~good], 26, value[~good], marker="X", lw=0, **ends)
        mesh = ax.scatter(x[good], y[good], 34, value[good], edgecolors=INK, lw=HAIR, **ends)
        ax.plot(x[response.plateau], y[response.plateau], **RING)
    if response.best is not None:
        ax.plot(x[response.best], y[response.best], zorder=5, **STAR)
    return mesh


def _colour_ends(response: Response, value: Floats) -> dict[str, float]:
    """Ends of the colour scale; the worst points share one colour, so that others differ more."""
    cut = {1: (FAR, 1.0), -1: (0.0, 1 - FAR), 0: (0.0, 1.0)}[response.sense]
    low, high = np.nanquantile(value, cut)
    if low == high:
        low, high = np.nanmin(value), np.nanmax(value)
    return {"vmin": float(low), "vmax": float(high)}


def _outline(x: Floats, y: Floats, inside: Flags) -> list[Any]:
    """Segments of the edges between cells inside and outside."""
    padded = np.pad(inside, 1)
    made: list[Any] = []
    for row, column in np.argwhere(padded[1:-1, 1:] != padded[1:-1, :-1]):
        made.append([(x[column], y[row]), (x[column], y[row + 1])])
    for row, column in np.argwhere(padded[1:, 1:-1] != padded[:-1, 1:-1]):
        made.append([(x[column], y[row]), (x[column + 1], y[row])])
    return made


@matplotlib.rc_context(STYLE)
def draw_panel(ax: Axes, response: Response, place: int, units: str = "metric") -> Any:
    """Draw the response of every point against one varied setting.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    response : Response
        Response to draw.
    place : int
        Number of the axis.
    units : {'metric', 'us'}
        Units of the response.

    Returns
    -------
    PathCollection
        Acceptable points.
    """
    x, value = _columns(response, units)[place], _shown_values(response, units)[:, 0]
    good, look = response.acceptable, SERIES[0][0]
    ax.scatter(x[~good], value[~good], 14, marker="x", color=PALE, lw=FINE)
    dots = ax.scatter(x[good], value[good], 16, color=look, lw=0, alpha=0.8)
    ax.plot(x[response.plateau], value[response.plateau], **{**RING, "ms": 8})
    if response.best is not None:
        ax.plot(x[response.best], value[response.best], zorder=5, **STAR)
    _from_zero(ax, response)
    _along(ax, response.sweep.plan.axes[place], units)
    return dots


def curve_axes(response: Response) -> tuple[int, Axis | None] | None:
    """Axis along curves and axis that distinguishes them; None where curves are unsuitable."""
    axes = response.sweep.plan.axes
    if len(axes) == 1:
        return 0, None
    along = next((k for k, axis in enumerate(axes) if not axis.words), 0)
    other = axes[1 - along]
    if len(axes) == 2 and 2 <= len(other.words) <= len(SERIES):
        return along, other
    return None
