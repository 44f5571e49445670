"""Drawing of a piece of the row."""

from __future__ import annotations

from collections.abc import Sequence

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import EllipseCollection, LineCollection

from metersim.files.units import UNITS
from metersim.questions.shared.page import (
    STYLE,
    events_in,
    length_units,
)
from metersim.questions.shared.picture import CELLS_SHOWN, kind_of, strip_of
from metersim.questions.shared.style import ABOVE, FINE, HAIR, HEAVY, INK, PALE, SKY, WARM
from metersim.run.records import Run


@matplotlib.rc_context(STYLE)
def draw_row(
    ax: Axes, run: Run, start: int | None = None, length: int = CELLS_SHOWN, units: str = "metric"
) -> EllipseCollection:
    """Draw a piece of the row: seeds at their places, above the theoretical places.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    run : Run
        The run.
    start : int, optional
        First cell of the piece.  By default it is the first piece with a skip and a double, or
        with either of them.
    length : int
        Number of cells, 1 or more.
    units : {'metric', 'us'}
        Unit of the axis, which begins at zero: cm or in.

    Returns
    -------
    EllipseCollection
        Seeds within the piece, in the order of `run.seeds`.  They are to scale, with their long
        axis along the row (an assumption), each over a pale spot.  Seeds that would be shorter
        than a pixel are drawn larger, and the axis says so.

    Raises
    ------
    ValueError
        If the piece is empty or lies outside the run.
    """
    along, _ = length_units(units)
    piece, seeds, released = strip_of(run, start, length), run.seeds, run.cells.released
    cells, shown, places = piece.cells, piece.seeds, piece.places / along.factor
    pitch = along.from_si(run.scenario.spacing)
    begins = places[0] - 0.7 * pitch  # where the axis starts
    places = places - begins
    high = places[-1] + 0.7 * pitch
    positions = seeds.position / along.factor - begins
    where = shown.position / along.factor - begins
    ax.set_xlim(0, high)
    ax.set_ylim(-1.0, 0.8)
    ax.axhline(0, color=PALE, lw=HAIR, zorder=0)
    ax.vlines(places, -0.75, -0.5, color=INK, lw=FINE)
    own = piece.own / along.factor - begins
    ties = [((a, -0.5), (b, -0.2)) for a, b in zip(own, where, strict=True)]
    ax.add_collection(LineCollection(ties, colors=PALE, linewidths=HAIR, zorder=1), autolim=False)
    lot = run.scenario.seeds
    wide = lot.length * shown.size / along.factor
    points = ax.get_window_extent().width / ax.figure.dpi * 72 / high
    true = along.from_si(lot.length) * points  # length of a seed in the picture, pt
    enlarged = 3.0 / true if true < 72 / ax.figure.dpi else 1.0
    ax.plot(where, 0 * where, "o", ms=7, mew=0, color=SKY, alpha=0.4, zorder=2)
    ellipses = EllipseCollection(
        enlarged * wide,
        enlarged * wide * lot.width / lot.length,
        np.zeros(len(shown)),
        units="x",
        offsets=np.column_stack([where, np.zeros(len(shown))]),
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
        ax.plot([first, first, last, last], [0.22, 0.32, 0.32, 0.22], color=INK, lw=FINE)
        words.append(((first + last) / 2, kind_of(int(released[cell]))))
    empty = places[released[cells] == 0]
    ax.plot(empty, 0 * empty, "x", ms=8, mew=HEAVY, color=WARM, zorder=2)
    _place_words(ax, words + [(x, "skip") for x in empty.tolist()], 40 / points)
    ax.set_yticks([-0.62, 0], ["nominal\nplaces", "seeds"])
    ax.tick_params(axis="y", length=0)
    for side in ("top", "left", "right"):
        ax.spines[side].set_visible(False)
    scale = "to scale" if enlarged == 1 else "not to scale"
    ax.set_xlabel(
        f"position in this piece, travel to the right [{along.symbol}]; "
        f"seeds dark, {scale}, on pale spots"
    )
    far = UNITS["ft" if units == "us" else "m"]
    start_of_piece = max(far.from_si(along.factor * begins), 0.0)
    ax.set_title(
        f"A piece of the row, {start_of_piece:,.0f} {far.symbol} from its start: "
        f"{events_in(released[cells])}"
    )
    return ellipses


def _place_words(ax: Axes, words: Sequence[tuple[float, str]], apart: float) -> None:
    """Write words above places; a word that would touch an earlier one is left out."""
    taken: list[float] = []
    for x, word in words:
        if all(abs(x - other) > apart for other in taken):
            ax.text(x, 0.38, word, clip_on=True, **ABOVE)
            taken.append(x)
