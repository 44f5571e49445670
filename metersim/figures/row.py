"""A strip of the row, with seeds to scale against their places."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import EllipseCollection, LineCollection

from metersim.figures.style import (
    ABOVE,
    CLASSES,
    INK,
    PALE,
    STYLE,
    WARM,
    events_in,
    length_units,
    telling,
)
from metersim.records import Run

SEVERAL = {2: "double", 3: "triple"}  # what a cell released


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
    along, _ = length_units(units)
    released, seeds, spacing = run.cells.released, run.seeds, run.scenario.spacing
    if length < 1:
        raise ValueError(f"length is {length}; allowed: 1 or more cells")
    length = min(length, released.size)
    chosen = ""
    if start is None:
        chosen = ", chosen to show a skip or a double if there is one"
        start = telling(released, length, 1, min(3, (length - 1) // 2))
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
        words.append(
            ((first + last) / 2, SEVERAL.get(int(released[cell]), f"{released[cell]} seeds"))
        )
    empty = places[released[cells] == 0]
    ax.plot(empty, 0 * empty, "x", ms=8, mew=2, color=WARM, zorder=2)
    _place_words(ax, words + [(x, "skip") for x in empty.tolist()], 36 / points)
    ax.set_yticks([-0.62, 0], ["nominal\nplaces", "seeds"])
    ax.tick_params(axis="y", length=0)
    for side in ("top", "left", "right"):
        ax.spines[side].set_visible(False)
    scale = "to scale" if enlarged == 1 else "not to scale"
    ax.set_xlabel(
        f"position along the row, travel to the right [{along.symbol}]; "
        f"seeds dark, {scale}, on pale spots to find them by"
    )
    ax.set_title(f"A piece of the row{chosen}: {events_in(released[cells])}")
    return ellipses


def _place_words(ax: Axes, words: Sequence[tuple[float, str]], apart: float) -> None:
    """Words over places, first come first served; left out where they would touch another."""
    taken: list[float] = []
    for x, word in words:
        if all(abs(x - other) > apart for other in taken):
            ax.text(x, 0.38, word, clip_on=True, **ABOVE)
            taken.append(x)
