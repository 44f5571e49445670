"""One page on a sweep."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.questions.shared.answer import capital
from metersim.questions.shared.notes import level_text
from metersim.questions.shared.page import (
    LINE,
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    sight_height,
)
from metersim.questions.shared.style import BOLD, DASHED, INK, PALE, SERIES, SHADE, WARM, WHITE
from metersim.questions.shared.words import plain_name, quantity
from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.points import Axis
from metersim.questions.sweep.response import Response, respond
from metersim.questions.sweep.responses import (
    PLATEAU,
    RING,
    STAR,
    curve_axes,
    draw_curves,
    draw_map,
    draw_panel,
    response_label,
    starts_at_zero,
    value_text,
)
from metersim.questions.sweep.study import sweep
from metersim.questions.sweep.text import doubts, limit_text, room_text

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_PANELS = 12
PER_ROW = 2
BETWEEN = 0.55  # in, between rows of panels
LETTERS = 110  # of a row of the names of curves, with their marks
LEGEND: dict[str, Any] = {
    "loc": "lower left",
    "borderpad": 0.2,
    "columnspacing": 1.2,
    "handletextpad": 0.4,
}


@matplotlib.rc_context(STYLE)
def sweep_figure(response: Response, units: str = "metric") -> Figure:
    """One page on a sweep: curves, a map, or a panel for each setting.

    Parameters
    ----------
    response : Response
        Response to draw.
    units : {'metric', 'us'}
        Units of the response; varied settings keep their own units.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    length_units(units)  # refuses unknown units
    axes, curves = response.sweep.plan.axes, curve_axes(response)
    is_map = not curves and len(axes) == 2 and all(axis.is_number for axis in axes)
    panels = 1 if curves or is_map else min(len(axes), MOST_PANELS)
    rows = math.ceil(panels / PER_ROW)
    names = (
        [value_text(curves[1], word, units) for word in curves[1].words]
        if curves and curves[1]
        else []
    )
    several, per_row = len(names), LETTERS // (max(map(len, names), default=0) + 8)
    sight = sweep_sight(response, units)
    foot = _foot(response, units)
    below = 0.8 + caption_height(foot)  # in
    inner = 4.2 if panels == 1 else 2.3 * rows
    named = 0.2 * math.ceil(several / per_row)  # in; height of the names of curves
    height = below + inner + 1.1 + named + sight_height(sight)
    figure = new_page(height)
    headline(figure, response.sweep.plan.base.title, sight)
    bottom, top = below / height, (below + inner) / height

    def over(inches: float) -> float:
        return top + inches / height

    heading = f"{varied_text(response, units)}\n{_heading(response, units)}"
    figure.text(0.1, over(0.34 + named), heading, va="bottom")
    if not np.isfinite(response.values[:, 0]).any():
        ax = figure.add_axes((0.1, bottom, 0.8, top - bottom))
        ax.text(0.5, 0.5, "no value at any point", ha="center", transform=ax.transAxes)
    elif curves:
        ax = figure.add_axes((0.1, bottom, 0.87, top - bottom))
        lines = draw_curves(ax, response, units)
        if several:
            place = (0.09, over(0.22))
            figure.legend(handles=lines, bbox_to_anchor=place, ncols=per_row, **LEGEND)
    elif is_map:
        ax = figure.add_axes((0.1, bottom, 0.7, top - bottom))
        mesh = draw_map(ax, response, units)
        extend = {1: "min", -1: "max", 0: "neither"}[response.sense]
        scale_axes = figure.add_axes((0.83, bottom, 0.025, top - bottom))
        figure.colorbar(mesh, cax=scale_axes, extend=extend, label=response_label(response, units))
    else:
        each = (top - bottom - BETWEEN / height * (rows - 1)) / rows
        for k in range(panels):
            row, column = divmod(k, PER_ROW)
            start = top - each - row * (each + BETWEEN / height)
            ax = figure.add_axes((0.1 + 0.46 * column, start, 0.4, each))
            draw_panel(ax, response, k, units)
            ax.set_ylabel(response_label(response, units) if column == 0 else "")
    marks = _handles(response, bool(curves), is_map)
    figure.legend(handles=marks, bbox_to_anchor=(0.09, over(0.02)), ncols=5, **LEGEND)
    caption(figure, foot)
    return figure


def varied_text(response: Response, units: str) -> str:
    """A line with each varied setting and its first and last value, in the reader's units."""
    said = []
    for k, axis in enumerate(response.sweep.plan.axes):
        name = axis.spec.name.replace("_", " ")
        words = sorted({point[k] for point in response.sweep.plan.points}, key=_rank(axis))
        ends = [axis.text(word, units) for word in words]
        values = f"{ends[0]} to {ends[-1]}" if axis.is_number else ", ".join(ends)
        said.append(f"{name} {values} {axis.symbol(units)}".rstrip())
    return textwrap.shorten(f"Varied: {', '.join(said)}", LINE - 12, placeholder=" ...")


def _rank(axis: Axis) -> Callable[[str], float]:
    """Order of the values of an axis: by number, or as they were given."""
    return axis.number if axis.is_number else lambda word: float(axis.words.index(word))


def _heading(response: Response, units: str) -> str:
    name = plain_name(response.key)
    if response.best is None:
        return capital(name)
    plan, kind = response.sweep.plan, BY_KEY[response.key].kind
    best = quantity(kind, float(response.values[response.best, 0]), units)
    where = ", ".join(
        value_text(axis, word, units)
        for axis, word in zip(plan.axes, plan.points[response.best], strict=True)
    )
    return textwrap.shorten(
        f"Best of these runs: {name} {best} at {where}", LINE - 12, placeholder=" ..."
    )


def _handles(response: Response, curves: bool, is_map: bool) -> list[Any]:
    """Handles of the legend that explains the marks."""
    plan = response.sweep.plan
    dot: dict[str, Any] = {"ls": "", "ms": 5}
    is_mesh = is_map and plan.design == "grid"
    made: list[Any] = []
    if response.best is not None:
        made.append(Line2D([], [], label="best", **{**STAR, "ms": 11}))
    if is_mesh:
        made.append(Line2D([], [], color=INK, lw=2 * BOLD, label="edge of what is acceptable"))
        made.append(Line2D([], [], color=WARM, lw=BOLD, ls=DASHED, label="edge of the plateau"))
    else:
        colour = SERIES[0][0] if not is_map else PALE
        cross: dict[str, Any] = {"marker": "X" if is_map else "x"}
        if curves:
            cross = {"marker": "o", "mfc": WHITE}
        if curves and len(plan.axes) == 1:
            made.append(Patch(label="plateau", **PLATEAU))
        else:
            made.append(Line2D([], [], label="plateau", **{**RING, "ms": 9}))
        made.append(Line2D([], [], marker="o", color=colour, label="acceptable", **dot))
        pale = colour if curves else PALE
        made.append(Line2D([], [], color=pale, label="not acceptable", **cross, **dot))
    if is_mesh and np.isnan(response.values[:, 0]).any():
        made.append(Patch(color=SHADE, label="not possible"))
    if curves and len(plan.axes) == 1:
        made.append(Patch(color=SERIES[0][0], alpha=0.2, label=level_text(LEVEL_TOTAL)))
    return made


def _foot(response: Response, units: str) -> list[str]:
    """Lines on what to see, acceptance limits, the plateau, and the origin of the sweep."""
    plan = response.sweep.plan
    limits = ", ".join(limit_text(limit, units, plain_name) for limit in response.limits)
    changed = "".join(f", {change}" for change in plan.changes)
    repeat = f" x {plan.replicates} replicates" if plan.replicates > 1 else ""
    unknown = "; ".join(one.text(units) for one in plan.unknown)
    middle = f" | at the middle of {unknown}" if unknown else ""
    return [
        f"Acceptable: {limits} ({response.source}). Plateau: {room_text(response)}.",
        *(["The axis does not begin at 0 %."] if _begins_higher(response) else []),
        *(f"Note: {doubt}" for doubt in doubts(response, units)),
        textwrap.shorten(
            f"metersim {plan.version} | {plan.base.name}{changed} | random seed {plan.seed} | "
            f"{plan.design}, {plan.many:,} points{repeat}{middle}",
            LINE,
            placeholder=" ...",
        ),
    ]


def _begins_higher(response: Response) -> bool:
    """Whether the axis of a share begins above 0 %."""
    is_share = BY_KEY[response.key].kind == "share"
    axes, curves = response.sweep.plan.axes, curve_axes(response)
    is_map = not curves and len(axes) == 2 and all(axis.is_number for axis in axes)
    return is_share and not is_map and not starts_at_zero(response)


def sweep_sight(response: Response, units: str = "metric") -> str:
    """What a sweep shows: how many points are acceptable, and how many are close to the best."""
    plan, values = response.sweep.plan, response.values[:, 0]
    name, known = plain_name(response.key), values[np.isfinite(values)]
    if not known.size:
        return f"{name}: no value at any point."
    if response.best is None:
        kind = BY_KEY[response.key].kind
        low, high = (quantity(kind, float(end), units) for end in (known.min(), known.max()))
        return f"{name}: {low} to {high} over what was varied."
    many, close = int(response.acceptable.sum()), int(response.plateau.sum()) - 1
    kept = f"{many:,}" if many else "none"
    said = f"{kept} of {plan.many:,} points {'is' if many == 1 else 'are'} acceptable"
    if many > 1 and len(plan.axes) == 1 and plan.axes[0].is_number:
        axis = plan.axes[0]
        words = [
            point[0] for point, good in zip(plan.points, response.acceptable, strict=True) if good
        ]
        ends = (axis.text(pick(words, key=axis.number), units) for pick in (min, max))
        said += f", between {' and '.join(ends)} {axis.symbol(units)}".rstrip()
    if is_panels(response):
        return f"{said}; {name} {_verb(name)} most with {_strongest(response)}."
    near = f"{close:,} other{'s' * (close != 1)}" if close else "no other"
    return f"{said}; {near} lie{'s' * (close < 2)} {room_text(response)}, the star."


def is_panels(response: Response) -> bool:
    """Whether a page has a panel for each setting: neither curves nor a map suit."""
    axes = response.sweep.plan.axes
    is_map = len(axes) == 2 and all(axis.is_number for axis in axes)
    return not curve_axes(response) and not is_map


def _verb(name: str) -> str:
    return "change" if name.endswith("s") else "changes"


def _strongest(response: Response) -> str:
    """Name of the setting whose order follows that of the response most."""
    plan, values = response.sweep.plan, response.values[:, 0]
    known = np.flatnonzero(np.isfinite(values))
    order = np.argsort(np.argsort(values[known]))
    follows = {}
    for k, axis in enumerate(plan.axes):
        place = _rank(axis)
        own = np.argsort(np.argsort([place(plan.points[point][k]) for point in known]))
        follows[axis.spec.name.replace("_", " ")] = abs(float((own - own.mean()) @ order))
    return max(follows, key=lambda name: follows[name])


def gallery() -> Iterator[tuple[str, Figure]]:
    """Names and pages of a sweep over speed, and of one over vacuum and notch."""
    for name, vary in (
        ("sweep_speed", ("speed_kmh=4:14:21",)),
        ("sweep_vacuum_notch", ("vacuum_kpa=1:7:13", "notch=-3:3:7")),
    ):
        yield name, sweep_figure(respond(sweep(plan_sweep("maize_field", vary, seed=1))))


PAGES = {Response: sweep_figure}
