"""Figure of likely faults of a meter before and after counts, and of the gain of each move."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from metersim import __version__
from metersim.machine.reading import load_scenario
from metersim.questions.next.causefigure import causes_figure, causes_gallery
from metersim.questions.next.causes import Causes
from metersim.questions.next.gain import LEVEL, Gain
from metersim.questions.next.likely import in_order_of_chance, words_of
from metersim.questions.next.study import NextMove, next_move
from metersim.questions.next.text import counted_text
from metersim.questions.shared.looks import look_of_seeds
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    sight_height,
)
from metersim.questions.shared.style import (
    BLUE,
    BOLD,
    DASHED,
    FINE,
    HAIR,
    INK,
    PALE,
    STROKE,
    WARM,
    WHITE,
)

LABEL = 46  # letters in a line of a label
ROW = 0.38  # in
LEFT = -1.14  # left end of titles, in widths of a panel


def draw_causes(ax: Axes, found: NextMove) -> list[Any]:
    """Draw the chance of each fault before and after the counts.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    found : NextMove
        Result with the diagnosis.

    Returns
    -------
    list of Line2D
        Dots of the chances after the counts, one for each row.
    """
    diagnosis = found.diagnosis
    names = in_order_of_chance(diagnosis)
    made: list[Any] = []
    for y, name in enumerate(names):
        before, after = 100 * diagnosis.before(name), 100 * diagnosis.after(name)
        ax.plot([before, after], [y, y], color=PALE, lw=STROKE, zorder=1)
        ax.plot(before, y, "o", mfc=WHITE, mec=INK, ms=10, zorder=2)
        made += ax.plot(after, y, "o", color=BLUE, ms=6, zorder=3)
        ax.annotate(
            f"{before:.0f} to {after:.0f}",
            (1.02, y),
            va="center",
            xycoords=("axes fraction", "data"),
            annotation_clip=False,
        )
    ax.set_yticks(range(len(names)), [textwrap.fill(words_of(name), LABEL) for name in names])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xlim(-3, 103)
    ax.set_xlabel("in 100 such meters")
    _plain(ax)
    return made


def draw_gains(ax: Axes, gains: Sequence[Gain], chosen: Gain | None) -> list[Any]:
    """Draw the expected gain of each move, with its total interval.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    gains : sequence of Gain
        Gains of moves.
    chosen : Gain or None
        Gain of the chosen move.

    Returns
    -------
    list of Line2D
        Dots of the expected gains, one for each row.
    """
    made: list[Any] = []
    for y, gain in enumerate(gains):
        value, (low, high) = 100 * gain.value, (100 * end for end in gain.interval)
        mine = gain is chosen
        colour = WARM if mine else INK
        ax.plot(
            [low, high], [y, y], color=colour, lw=(2 if mine else 1) * BOLD, alpha=0.6, zorder=1
        )
        made += ax.plot(value, y, "D" if mine else "o", color=colour, ms=9 if mine else 5, zorder=2)
        said = f"{value:+.2f}".replace("-", "\N{MINUS SIGN}") + (" <- the move" if mine else "")
        ax.annotate(
            said,
            (1.02, y),
            va="center",
            weight="bold" if mine else "normal",
            xycoords=("axes fraction", "data"),
            annotation_clip=False,
        )
    ax.axvline(0, color=INK, lw=FINE, ls=DASHED, zorder=0)
    ax.set_yticks(range(len(gains)), [textwrap.fill(gain.move.words, LABEL) for gain in gains])
    ax.set_ylim(len(gains) - 0.5, -0.5)
    ax.set_xlabel("change of singulation [percentage points]")
    _plain(ax)
    return made


def _plain(ax: Axes) -> None:
    ax.grid(axis="x", color=PALE, lw=HAIR, alpha=0.5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="y", length=0)


@matplotlib.rc_context(STYLE)
def next_figure(found: NextMove, units: str = "metric") -> Figure:
    """One page on the likely faults and the next move.

    Parameters
    ----------
    found : NextMove
        Result of `metersim.questions.next.study.next_move`.
    units : {'metric', 'us'}
        Only checked: the words of moves already have their own units.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    length_units(units)  # refuses unknown units
    sight = next_sight(found)
    said = [*counted_text(found), f"metersim {__version__} | {found.scenario.name}"]
    title = f"{found.scenario.title} - next: {found.words}"
    first, second = ROW * len(found.diagnosis.names), ROW * len(found.gains)
    foot = 0.3 + caption_height(said)
    height = foot + first + second + 2.1 + sight_height(sight)
    figure = new_page(height)
    headline(figure, title, sight)
    ax = figure.add_axes((0.44, (foot + second + 1.45) / height, 0.35, first / height))
    draw_causes(ax, found)
    ax.set_title("What may be off: before (ring) and after counting", x=LEFT)
    ax = figure.add_axes((0.44, (foot + 0.45) / height, 0.35, second / height))
    draw_gains(ax, found.gains, found.chosen)
    ax.set_title(f"What each move brings; bars: {100 * LEVEL:.0f} of 100 likely meters", x=LEFT)
    caption(figure, said)
    return figure


def next_sight(found: NextMove) -> str:
    """What counts show: the likeliest state of the meter, and what the move brings."""
    diagnosis = found.diagnosis
    name = in_order_of_chance(diagnosis)[0]
    before, after = (100 * chance(name) for chance in (diagnosis.before, diagnosis.after))
    words = words_of(name).partition(":")[0]
    said = f"most likely: {words}, {after:.0f} of 100 such meters ({before:.0f} before counting)"
    if found.chosen is None:
        return f"{said}; no move is advised."
    gain = f"{100 * found.chosen.value:+.1f}".replace("-", "\N{MINUS SIGN}")
    return f"{said}; the move brings {gain} percentage points."


def gallery() -> Iterator[tuple[str, Figure]]:
    """Names and pages of the next move after many doubles, and of the causes of signs."""
    count = look_of_seeds(500, skips=2, doubles=21)
    yield "next_move", next_figure(next_move(load_scenario("maize_bench"), count, seed=1))
    yield from causes_gallery()


PAGES = {NextMove: next_figure, Causes: causes_figure}
