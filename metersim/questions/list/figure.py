"""The picture of faults: what each moves of all that people can see."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from metersim import __version__
from metersim.machine.reading import load_scenario
from metersim.questions.list.faults import ALONE, MACHINE, FaultList, list_faults
from metersim.questions.shared.faults.shows import gained
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    sight_height,
)
from metersim.questions.shared.style import FAINT, HAIR, INK, PALE, SHADE, STROKE, WHITE
from metersim.questions.shared.words import plural

COLUMNS: tuple[tuple[str, str, str | None, str | None], ...] = (
    ("skips", "skips", "high", "low"),
    ("doubles", "doubles", "high", "low"),
    ("pattern", "same hole", "every N", None),
    ("stand", "seeds where skips", "wrong", None),
    ("scatter", "uneven spacing", "worse", None),
    ("used", "seed used", "more", "less"),
    ("gauge", "gauge", "high", "low"),
    ("current", "current", "high", None),
    ("speed", "faster", "worse", "better"),
    ("slope", "on a slope", "worse", None),
    ("hour", "later", "worse", None),
    ("turn", "after a turn", "worse", None),
    ("bench", "also on a bench", "same", None),
    ("rows", "all rows", "all", None),
    ("onset", "comes slowly", "slow", None),
)
"""Sign, head of its column, answer of a filled dot, and answer of a ring."""
ROW, TOP, LARGEST = 0.2, 1.6, 84.0  # in, in, area of a dot in pt2
SIZES = (0.2, 0.6)  # gains of a chance in the legend
LEAST = 0.04  # change of a chance below which there is no dot


@matplotlib.rc_context(STYLE)
def faults_figure(found: FaultList, units: str = "metric") -> Figure:
    """One page on faults: a row for each, a column for each sign, groups side by side.

    Parameters
    ----------
    found : FaultList
        Faults with their signatures and groups.
    units : {'metric', 'us'}
        Only checked: nothing on the page has a unit.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    length_units(units)  # refuses unknown units
    rows = found.ordered
    said, sight = _foot(found), faults_sight(rows)
    head = sight_height(sight)
    foot = 0.15 + caption_height(said)
    body = ROW * len(rows)
    height = foot + body + TOP + head
    figure = new_page(height)
    headline(figure, f"{found.scenario.title}: what each fault shows", sight)
    ax = figure.add_axes((0.225, foot / height, 0.7, body / height))
    draw_faults(ax, found)
    figure.legend(
        handles=_marks(), loc="upper left", ncols=2,
        bbox_to_anchor=(0.01, 1 - (0.3 + head) / height),
        columnspacing=1.6, handletextpad=0.4, labelcolor=INK,
    )  # fmt: skip
    caption(figure, said)
    return figure


def draw_faults(ax: Axes, found: FaultList) -> None:
    """Draw the dots of all faults, with the names of faults and signs.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    found : FaultList
        Faults with their signatures and groups.
    """
    rows, changes = found.ordered, gained(found.signatures)
    at = {name: k for k, name in enumerate(found.signatures.faults)}
    order = [at[fault.name] for _, fault, _ in rows]
    letters = [letter for letter, _, _ in rows]
    _bands(ax, letters)
    for x, (sign, _, more, less) in enumerate(COLUMNS):
        ups = changes[sign, more][order] if more else np.zeros(len(order))
        downs = changes[sign, less][order] if less else np.zeros(len(order))
        for y, (up, down) in enumerate(zip(ups, downs, strict=True)):
            size, look = (up, "filled") if up >= down else (down, "ring")
            if size > LEAST:
                ax.scatter(
                    [x], [y], s=LARGEST * size, gid=f"{rows[y][1].name}: {sign}", **_look(look)
                )
    ax.set_xlim(-0.6, len(COLUMNS) - 0.4)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), [_label(letter, fault.name) for letter, fault, _ in rows])
    ax.xaxis.tick_top()
    ax.set_xticks(range(len(COLUMNS)), [head for _, head, _, _ in COLUMNS], rotation=40, ha="left")
    ax.tick_params(length=0)
    for side in ax.spines.values():
        side.set_visible(False)
    ax.vlines(np.arange(len(COLUMNS)), -0.5, len(rows) - 0.5, color=SHADE, lw=HAIR, zorder=0.5)


def faults_sight(rows: Sequence[tuple[str, Any, Any]]) -> str:
    """What the dots show: how many faults look like others, and how many like no other."""
    grouped = [letter for letter, _, _ in rows if letter != ALONE]
    alone, groups = len(rows) - len(grouped), len(set(grouped))
    if not grouped:
        return "no fault looks like another: each has dots of its own."
    return (
        f"{len(grouped)} of {len(rows)} faults look like others, in {groups} "
        f"{plural(groups, 'group')} of one letter, and {alone} like no other."
    )


def _label(letter: str, name: str) -> str:
    return name if letter == ALONE else f"{name}   {letter}"


def _bands(ax: Axes, letters: list[str]) -> None:
    """Shade the rows of every other group, and draw a line between groups and single faults."""
    for k, letter in enumerate(dict.fromkeys(letters)):
        first, many = letters.index(letter), letters.count(letter)
        if letter != ALONE and k % 2 == 0:
            ax.axhspan(first - 0.5, first + many - 0.5, color=FAINT, lw=0, zorder=0)
        ax.axhline(first - 0.5, color=PALE, lw=HAIR, zorder=0.6)
    ax.axhline(len(letters) - 0.5, color=PALE, lw=HAIR, zorder=0.6)


def _look(kind: str) -> Mapping[str, Any]:
    if kind == "filled":
        return {"color": INK, "lw": 0, "zorder": 3}
    return {"facecolor": WHITE, "edgecolor": INK, "lw": STROKE, "zorder": 3}


def _marks() -> list[Line2D]:
    """Marks of the legend; the size of a mark is the root of its area."""
    filled, ring = (INK, "filled: yes, more or worse"), (WHITE, "ring: less or better")
    made = [_mark(1.0, *filled), _mark(1.0, *ring)]
    return made + [
        _mark(share, INK, f"in {100 * share:.0f} more of 100 cases than in order")
        for share in SIZES
    ]


def _mark(share: float, face: str, label: str) -> Line2D:
    size = (LARGEST * share) ** 0.5
    return Line2D(
        [], [], ls="", marker="o", mec=INK, mew=STROKE * (face == WHITE), ms=size, mfc=face,
        label=label,
    )  # fmt: skip


def _foot(found: FaultList) -> list[str]:
    many = found.signatures.samples
    return [
        "A dot is as large as the chance of its answer grows over that of a machine in order. "
        "Faults of one group share a letter and a band; those without a letter look like no other. "
        f"From {many} simulated machines of each fault, from just noticeable to bad.",
        f"metersim {__version__} | {found.scenario.name} | random seed {found.seed}",
    ]


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of the faults of a machine in a field."""
    yield "faults", faults_figure(list_faults(load_scenario(MACHINE)))


PAGES = {FaultList: faults_figure}
