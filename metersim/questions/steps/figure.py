"""One page on single steps: a panel for each setting."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from metersim.machine.reading import load_scenario
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.questions.shared.notes import level_text
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    new_page,
    origin_line,
    percent_axis,
    sight_height,
)
from metersim.questions.shared.style import (
    BLUE,
    DASHED,
    FINE,
    INK,
    PALE,
    SLANTED,
    SOLID,
    STROKE,
    WARM,
    WHITE,
)
from metersim.questions.steps.step import Step
from metersim.questions.steps.study import COUNTS, SingleSteps, steps
from metersim.questions.steps.text import HEADS, setting_text

KINDS: dict[str, dict[str, Any]] = {
    "skips": {"color": BLUE, "marker": "o", "linestyle": SOLID, "mfc": BLUE},
    "doubles": {"color": WARM, "marker": "s", "linestyle": DASHED, "mfc": WHITE},
}
ASIDE = {
    "skips": -0.05,
    "doubles": 0.05,
}  # steps by which points are shifted, so that intervals do not overlap
MOST = max(COUNTS)  # steps of a setting
CALLED = {"notch": "singulator", "guide": "inner guide"}
FAR = 4  # a panel over so many times the lowest one gets its own axis
PER_ROW, PANEL, BETWEEN = 2, 1.95, 0.62  # panels, in, in


@matplotlib.rc_context(STYLE)
def steps_figure(result: SingleSteps, units: str | None = None) -> Figure:
    """One page on single steps: skips and doubles against the steps of each setting.

    Parameters
    ----------
    result : SingleSteps
        Steps to draw.
    units : {'metric', 'us'}, optional
        Units of the settings; by default those of the steps.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    units = units or result.units
    by_name: dict[str, list[Step]] = {}
    for step in result.steps:
        by_name.setdefault(step.setting, []).append(step)
    rows = math.ceil(len(by_name) / PER_ROW)
    said, sight = _foot(result), steps_sight(result)
    foot, head = 0.62 + caption_height(said), sight_height(sight)
    height = foot + rows * PANEL + (rows - 1) * BETWEEN + 1.2 + head
    figure = new_page(height)
    headline(figure, f"{result.origin.scenario.title}: single steps of each setting", sight)
    _legend(figure, result, 1 - (0.33 + head) / height)
    tops = {name: _top(result, own) for name, own in by_name.items()}
    shared = max(top for top in tops.values() if top <= FAR * min(tops.values()))
    for place, (name, own) in enumerate(by_name.items()):
        row, column = divmod(place, PER_ROW)
        bottom = foot + (rows - 1 - row) * (PANEL + BETWEEN)
        box = (0.085 + 0.5 * column, bottom / height, 0.39, PANEL / height)
        ax = figure.add_axes(box)
        draw_steps(ax, result, own, name, units)
        percent_axis(ax.yaxis, 100 * min(1.06 * max(tops[name], shared), 1.06))
        own_axis = tops[name] > shared
        ax.set_ylabel("% of cells, an axis of its own" if own_axis else "% of cells")
        if own_axis:
            ax.yaxis.label.set_fontweight("bold")
    caption(figure, said)
    return figure


def draw_steps(
    ax: Axes, result: SingleSteps, steps: list[Step], name: str, units: str
) -> list[Line2D]:
    """Draw skips and doubles against the steps of one setting.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    result : SingleSteps
        Steps with the present meter and the sampling error of a count.
    steps : list of Step
        Steps of the setting, from the least step.
    name : str
        Name of the setting.
    units : {'metric', 'us'}
        Units of the setting.

    Returns
    -------
    list of Line2D
        One for skips, one for doubles.
    """
    below = [step for step in steps if step.step < 0]
    shown = [*below, result.base, *(step for step in steps if step.step > 0)]
    counts = np.array([step.step for step in shown])
    lines = []
    for kind, look in KINDS.items():
        low, high = (100 * edge for edge in _edges(result, kind))
        ax.axhspan(low, high, **_band(kind))
        found = np.array([[vars(step.estimates[kind])[k] for k in ENDS] for step in shown]) * 100
        x = counts + ASIDE[kind]
        ax.vlines(x, found[:, 1], found[:, 2], color=look["color"], lw=STROKE)
        lines += ax.plot(x, found[:, 0], ms=4.5, lw=STROKE, gid=kind, **look)
    ax.axvline(0, color=PALE, lw=FINE, zorder=0)
    values = [setting_text(step, name, units).removeprefix("notch ") for step in shown]
    unit = {"hole": "", "notch": "notch"}.get(name, values[0].partition(" ")[2])
    ax.set_title(f"{HEADS[name]}, {unit}" if unit else HEADS[name])
    ax.set_xlim(min(COUNTS) - 0.3, max(COUNTS) + 0.3)
    ax.set_xticks(counts)
    if name == "hole":  # in both units, one below the other
        ax.set_xticklabels([value.replace(" (", "\n").removesuffix(")") for value in values])
    else:
        ax.set_xticklabels([value.partition(" ")[0] for value in values])
    for label, count in zip(ax.get_xticklabels(), counts, strict=True):
        label.set_fontweight("bold" if count == 0 else "normal")
    return lines


ENDS = ("value", "low", "high")


def _top(result: SingleSteps, steps: list[Step]) -> float:
    """Highest value of a panel: the ends of its intervals and bands."""
    shown = [step.estimates[kind].high for step in (result.base, *steps) for kind in KINDS]
    return max(*shown, *(_edges(result, kind)[1] for kind in KINDS))


def _edges(result: SingleSteps, kind: str) -> tuple[float, float]:
    """Shares between which 95 % of second counts lie by sampling error alone."""
    middle, reach = result.base.estimates[kind].value, result.band(kind)
    return max(middle - reach, 0.0), min(middle + reach, 1.0)


def steps_sight(result: SingleSteps) -> str:
    """What single steps show: which settings take skips or doubles out of their bands."""
    fewest: dict[str, int] = {}
    for step in result.steps:
        for kind in KINDS:
            low, high = _edges(result, kind)
            if not low <= step.estimates[kind].value <= high:
                many = min(abs(step.step), fewest.get(step.setting, MOST))
                fewest[step.setting] = many
    if not fewest:
        return f"no step leaves its band: a count of {result.seeds:,} seeds detects none of them."
    said = []
    for many, words in ((1, "one step of"), (MOST, "two steps of")):
        if names := [CALLED.get(name, name) for name, least in fewest.items() if least == many]:
            said.append(f"{words} {' or '.join(names)}")
    return f"dots leave the bands only after {' or '.join(said)}."


def _band(kind: str) -> dict[str, Any]:
    """Style of the band of a kind: one is filled, the other hatched."""
    colour = KINDS[kind]["color"]
    if kind == "skips":
        return {"facecolor": colour, "alpha": 0.22, "lw": 0, "zorder": 0}
    return {"facecolor": "none", "edgecolor": colour, "hatch": SLANTED, "alpha": 0.4, "zorder": 0}


def _legend(figure: Figure, result: SingleSteps, top: float) -> None:
    """Add one legend of marks and bands for all panels."""
    marks: list[Any] = [
        Line2D([], [], ms=4.5, lw=STROKE, label=k, **look) for k, look in KINDS.items()
    ]
    of = f"counts of {result.seeds:,} seeds"
    marks += [Patch(label=f"{kind} in {of}, no change", **_band(kind)) for kind in KINDS]
    figure.legend(
        handles=marks, loc="upper left", ncols=2, bbox_to_anchor=(0.01, top),
        columnspacing=1.4, handletextpad=0.5, labelcolor=INK,
    )  # fmt: skip


def _foot(result: SingleSteps) -> list[str]:
    cells = result.base.measured.total("cells")
    return [
        f"The present setting is bold. Bars are {level_text(LEVEL_TOTAL)}s of the total "
        f"uncertainty, from runs of {cells:,} cells with common random numbers. Bands hold 95 of "
        f"100 second counts of {result.seeds:,} seeds without a change, after a first count that "
        "met the present share. Such counts do not detect a step inside them. The axis is that "
        "of the root: sampling error has the same width everywhere.",
        origin_line([result.origin], result.units),
    ]


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of the steps of a bench."""
    yield "steps", steps_figure(steps(load_scenario("maize_bench"), seed=1))


PAGES = {SingleSteps: steps_figure}
