"""Figure of likely causes: their chances, and the signs that make each likelier or not."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from metersim import __version__
from metersim.machine.reading import load_scenario
from metersim.questions.next.causeanswer import first_check, line_words, next_text, of_100
from metersim.questions.next.causes import Causes, find_causes
from metersim.questions.next.checks import next_checks
from metersim.questions.next.likely import EVIDENCE_FACTOR, MANY
from metersim.questions.next.signoptions import sign_words
from metersim.questions.next.signs import Signs
from metersim.questions.next.weighing import COUNT
from metersim.questions.shared.looks import SENSOR, look_of_seeds
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    sight_height,
)
from metersim.questions.shared.style import BLUE, BOLD, HAIR, INK, PALE, STROKE, WARM, WHITE

LABEL = 38  # letters in a line of a label
HEAD = 26  # letters of a head
TALL = 0.064  # in, height of a letter in a slanted head
ROW = 0.42  # in
MOST_LINES = 10
FEWEST = 0.003  # chance of a line below which it is not drawn
SIZES = 4.0, 15.0  # pt, marks of a sign that just counts as evidence, and of one that decides
UP: dict[str, Any] = {"marker": "^", "color": BLUE, "ls": ""}
DOWN: dict[str, Any] = {"marker": "v", "mfc": WHITE, "mec": WARM, "mew": STROKE, "ls": ""}
LITTLE: dict[str, Any] = {"marker": ".", "color": PALE, "ms": 3, "ls": ""}


def drawn_lines(causes: Causes) -> list[tuple[str, ...]]:
    """Lines of causes that are drawn, likeliest first."""
    likely = [names for names in causes.lines if causes.chance_of(names) >= FEWEST]
    return likely[:MOST_LINES]


def draw_chances(ax: Axes, causes: Causes) -> list[Any]:
    """Draw the chance of each line of causes as a bar, with a tick where it was before.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    causes : Causes
        Causes of what was seen.

    Returns
    -------
    list of Rectangle
        Bars, likeliest first.
    """
    lines = drawn_lines(causes)
    made: list[Any] = []
    for y, names in enumerate(lines):
        before = 100 * sum(causes.prior[name] for name in names)
        now = 100 * causes.chance_of(names)
        made += ax.barh(y, now, 0.56, color=BLUE if y == 0 else PALE, zorder=1)
        ax.plot([before, before], [y - 0.4, y + 0.4], color=INK, lw=BOLD, zorder=2)
        said = f"{now:.0f}" if now >= 1 else "<1"
        ax.annotate(said, (max(now, before) + 1.5, y), va="center")
    ax.set_yticks(range(len(lines)), [textwrap.fill(line_words(one), LABEL) for one in lines])
    ax.set_ylim(len(lines) - 0.5, -0.5)
    ax.set_xlim(0, 112)
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.set_xlabel("in 100 such machines")
    ax.grid(axis="x", color=PALE, lw=HAIR, alpha=0.5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="y", length=0)
    return made


def causes_sight(causes: Causes) -> str:
    """What signs show: the likeliest causes, and the sign that makes them likelier most."""
    names = drawn_lines(causes)[0]
    before = 100 * sum(causes.prior[name] for name in names)
    now, words = of_100(causes.chance_of(names)), line_words(names).partition(":")[0]
    said = f"most likely: {words}, {now} of 100 such machines ({before:.0f} before)"
    factors = [causes.factors[names[0]][one.name] for one in causes.evidence]
    most = max(range(len(factors)), key=lambda k: factors[k])
    if factors[most] < EVIDENCE_FACTOR:
        return f"{said}; no sign makes that much likelier."
    return f"{said}; '{heads_of(causes)[most]}' speaks for it most."


def size_of(factor: float) -> float:
    """Size of the mark of a sign: with the logarithm of how much likelier it is. [pt]"""
    part = min(abs(math.log(factor)) / math.log(MANY), 1.0)
    return SIZES[0] + (SIZES[1] - SIZES[0]) * part


def heads_of(causes: Causes) -> list[str]:
    """Signs and counts over the marks."""
    said = [
        one.said if one.name.startswith(COUNT) else sign_words(one.name, one.said)
        for one in causes.evidence
    ]
    return [textwrap.shorten(one, HEAD, placeholder=" ...") for one in said]


def draw_signs(ax: Axes, causes: Causes) -> list[Any]:
    """Draw for each line of causes which signs make its likeliest cause likelier or not.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    causes : Causes
        Causes of what was seen.

    Returns
    -------
    list of Line2D
        Marks, sign by sign.
    """
    lines = drawn_lines(causes)
    made: list[Any] = []
    for x, one in enumerate(causes.evidence):
        for y, names in enumerate(lines):
            factor = max(causes.factors[names[0]][one.name], 1e-12)
            if 1 / EVIDENCE_FACTOR < factor < EVIDENCE_FACTOR:
                made += ax.plot(x, y, **LITTLE)
            elif factor >= EVIDENCE_FACTOR:
                made += ax.plot(x, y, ms=size_of(factor), **UP)
            else:
                made += ax.plot(x, y, ms=size_of(factor), **DOWN)
    heads = heads_of(causes)
    ax.set_xticks(range(len(heads)), heads, rotation=62, ha="left", rotation_mode="anchor")
    ax.xaxis.tick_top()
    ax.set_xlim(-0.6, max(len(heads), 4) - 0.4)
    ax.set_yticks([])
    ax.set_ylim(len(lines) - 0.5, -0.5)
    for y in range(1, len(lines)):
        ax.axhline(y - 0.5, color=PALE, lw=HAIR, alpha=0.5)
    for side in ax.spines.values():
        side.set_visible(False)
    ax.tick_params(length=0)
    return made


@matplotlib.rc_context(STYLE)
def causes_figure(causes: Causes, units: str = "metric") -> Figure:
    """One page on the likely causes, and on what makes each likelier or not.

    Parameters
    ----------
    causes : Causes
        Result of `metersim.questions.next.causes.find_causes`.
    units : {'metric', 'us'}
        Only checked: signs have no units.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    length_units(units)  # refuses unknown units
    check = first_check(causes, next_checks(causes))
    said = [
        *([f"Caution: {check.caution}"] if check else []),
        " ".join(next_text(causes, check)),
        f"A larger mark changes more. metersim {__version__} | {causes.scenario.name}",
    ]
    rows = ROW * len(drawn_lines(causes))
    foot = 0.3 + caption_height(said)
    sight = causes_sight(causes)
    head = sight_height(sight) + 0.65 + TALL * max(map(len, heads_of(causes)))
    height = foot + rows + 0.5 + head
    figure = new_page(height)
    headline(figure, f"{causes.scenario.title} - likely causes", sight)
    low = (foot + 0.45) / height
    draw_chances(figure.add_axes((0.35, low, 0.25, rows / height)), causes)
    draw_signs(figure.add_axes((0.63, low, 0.25, rows / height)), causes)
    figure.legend(
        handles=_marks(), loc="lower left", bbox_to_anchor=(0.02, low + (rows + 0.1) / height),
        borderaxespad=0, handletextpad=0.5,
    )  # fmt: skip
    caption(figure, said)
    return figure


def _marks() -> list[Line2D]:
    """Marks of the legend."""
    return [
        Line2D([], [], label="the sign makes the cause likelier", **UP),
        Line2D([], [], label="less likely", **DOWN),
        Line2D([], [], label="changes little", **LITTLE),
        Line2D([], [], label="tick: before anything was seen", color=INK, marker="|", ms=10, ls=""),
    ]


def causes_gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of the causes of many skips on one row, where seeds lie in the gaps."""
    count = look_of_seeds(500, skips=40, doubles=3, way=SENSOR)
    seen = Signs(counts=(count,), rows="one", onset="slow", speed="same", stand="wrong")
    yield "next_causes", causes_figure(find_causes(load_scenario("maize_field"), seen, seed=1))
