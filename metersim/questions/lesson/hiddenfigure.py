"""The plane of skips against doubles of a game, as a page."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from metersim import __version__
from metersim.questions.lesson.hiddenplane import scale_top, ticks_to
from metersim.questions.shared.game.endwords import WHO
from metersim.questions.shared.game.meter import State
from metersim.questions.shared.game.words import at_text, listed
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    new_page,
    sight_height,
)
from metersim.questions.shared.style import (
    BOLD,
    CENTRED,
    FINE,
    GREY,
    HAIR,
    INK,
    PALE,
    PLATE,
    SERIES,
    WARM,
)

TALL = 5.2  # in, of the plane
LEGEND = 0.55  # in, of what the meter truly does, above the plane and clear of its outlines
TRUE_MARKS = {"in order": "s", "found": "v", "class": "D", "one step": "^"}
"""Marks of what a meter truly does, by who left it so."""


@matplotlib.rc_context(STYLE)
def plane_figure(state: State) -> Figure:
    """All counts of a game with their regions; after the end also what the meter truly does."""
    counts = (state.before, *state.counts)
    words = [f"{one.number}: {at_text(state.meter, one, state.units)}" for one in counts]
    sight, parts = _sight(state), ["; ".join(words), f"metersim {__version__} | {_origin(state)}"]
    foot = caption_height(parts) + 0.75
    over = LEGEND if state.ending else 0.0
    figure = new_page(TALL + foot + 0.5 + over + sight_height(sight))
    headline(figure, "Skips against doubles: counts, and what sampling error covers", sight)
    whole = figure.get_figheight()
    ax = figure.add_axes((0.09, foot / whole, 0.88, TALL / whole))
    _draw(ax, state)
    caption(figure, parts)
    return figure


def _draw(ax: Axes, state: State) -> None:
    """Draw the plane; the roots of shares are its coordinates, so scales are wider near 0."""
    counts = (state.before, *state.counts)
    true = state.ending.reached if state.ending else ()
    for k, one in enumerate(counts):
        corners = np.sqrt([*one.region, one.region[0]])
        colour, line, _ = SERIES[(k - 1) % len(SERIES)] if k else (PALE, "-", "")
        look: dict[str, Any] = {"color": colour, "ls": line, "lw": BOLD if k else FINE}
        ax.plot(corners[:, 1], corners[:, 0], **look)
        if not k:
            ax.fill(corners[:, 1], corners[:, 0], color=GREY, alpha=0.5, lw=0)
    places = [np.sqrt(one.shares) for one in counts]
    for (skip, double), (then, later) in pairwise(places[1:]):
        arrow = {"arrowstyle": "->", "color": INK, "lw": HAIR, "shrinkA": 8, "shrinkB": 8}
        ax.annotate("", (later, then), (double, skip), arrowprops=arrow)
    for one, (skip, double) in zip(counts, places, strict=True):
        ax.text(double, skip, str(one.number), **CENTRED, weight="bold", bbox=PLATE, zorder=5)
    for reached in true:
        skip, double = np.sqrt(reached.truth.shares)
        look = {"marker": TRUE_MARKS[reached.who], "mfc": "none", "mec": WARM, "ls": "none"}
        ax.plot(
            double, skip, ms=8, mew=BOLD, label=f"true shares, {WHO[reached.who]}", zorder=6, **look
        )
    shown = [corner for one in counts for corner in one.region]
    shown += [one.shares for one in counts] + [one.truth.shares for one in true]
    for k, axis in ((0, ax.yaxis), (1, ax.xaxis)):
        top = scale_top([corner[k] for corner in shown])
        ticks = ticks_to(top)
        axis.set_ticks(np.sqrt(ticks), [f"{100 * one:g}" for one in ticks])
        (ax.set_ylim if k == 0 else ax.set_xlim)(-0.004, np.sqrt(top))
    ax.set_xlabel("doubles [% of cells], wider near 0")
    ax.set_ylabel("skips [% of cells], wider near 0")
    ax.spines[["top", "right"]].set_visible(False)
    if true:
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2)


def _sight(state: State) -> str:
    """What to see in the plane, in a sentence."""
    said = (
        "a number is a count, and its outline holds all meters that sampling error "
        "alone allows (joint 90 %). Counts in one another's outline cannot be distinguished."
    )
    hid = [one for one in (state.ending.together if state.ending else ()) if one.hidden]
    moved = next((one for one in hid if one.numbers), None)
    if moved:
        first, second = moved.numbers
        said += f" From {first} to {second}, {listed(moved.names)} hid each other."
    return said


def _origin(state: State) -> str:
    meter = state.meter
    return f"hidden meter {meter.number}, level {meter.level} | {meter.shown.name}"
