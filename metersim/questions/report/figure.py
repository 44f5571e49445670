"""Pictures of a report, each with words for those who do not see it, and what to see in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from metersim.measures.limits import Cause, causes
from metersim.measures.observed import observed_spacings
from metersim.measures.rows import measure_pass
from metersim.questions.report.study import Report
from metersim.questions.shared.discpicture import disc_text, draw_disc, explain_marks
from metersim.questions.shared.machinepicture import (
    SENTENCES,
    draw_field,
    draw_rows,
    draw_start,
    draw_vacuum,
)
from metersim.questions.shared.notes import level_text
from metersim.questions.shared.page import STYLE, encoded, new_page
from metersim.questions.shared.rowpicture import draw_row
from metersim.questions.shared.rowwords import counted, of_hundred
from metersim.questions.shared.sights import pass_sight, run_sight
from metersim.questions.shared.spacingpicture import draw_spacings
from metersim.questions.shared.style import BLUE, FINE, HAIR, INK, SMALL
from metersim.run.records import Run
from metersim.run.rows import Pass
from metersim.run.snapshot import snapshot, telling_moment

WIDE = 5.0  # in; letters of a page then have their size on a phone that is turned
ROW_CELLS = 16  # of the piece of the row
MOST_CAUSES = 6
FEW = 0.001  # least share of a cause that is given as a number


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture as a file, with its words.

    Attributes
    ----------
    content : bytes
        SVG file.
    alt : str
        What the picture shows.
    caption : str
        What to see in it.
    """

    content: bytes
    alt: str
    caption: str


def pictures(report: Report, units: str = "metric") -> Iterator[Picture]:
    """Pictures of the run of a meter, or of the pass of a machine."""
    if isinstance(report.done, Run):
        yield from _of_run(report.done, units)
    else:
        yield from _of_pass(report.done, units)


def _of_run(run: Run, units: str) -> Iterator[Picture]:
    figure = new_page(3.0, WIDE)
    ax = _axes(figure, 0.95, 0.5, 3.95, 2.0)
    draw_spacings(ax, observed_spacings(run), run.scenario.spacing, units)
    for words in ax.texts:
        words.set_fontsize(SMALL)
    yield _picture(
        figure,
        ax,
        "Histogram of the spacings between neighbouring seeds, with the share of each class.",
        f"See: {run_sight(run)} "
        "Spacings shorter than half of the nominal one are close. Those longer than one and a "
        "half of it are missed.",
    )
    figure = new_page(1.5, WIDE)
    ax = _axes(figure, 0.7, 0.5, 4.2, 0.9)
    draw_row(ax, run, length=min(ROW_CELLS, len(run.cells)), units=units)
    unit = "in" if units == "us" else "cm"
    ax.set_xlabel(f"position in this piece, travel to the right [{unit}]")
    yield _picture(
        figure,
        ax,
        "A piece of the row: seeds along a line, with skips and doubles marked.",
        "Pale spots mark the seeds. A cross is a skip. A bracket joins the seeds of a double. Thin "
        "lines lead from the nominal place of a seed to the place where it lies.",
    )
    shown = snapshot(run, telling_moment(run))
    figure = new_page(4.3, WIDE)
    ax = _axes(figure, 0.1, 0.8, 4.8, 3.45)
    draw_disc(ax, run, shown, units)
    ax.set_title("", loc="left")  # its caption gives the moment
    explain_marks(figure, (0.02, 0.72 / 4.3), 2)
    figure.legends[0].get_texts()[0].set_text("no seed")  # there are no bars
    said = "The face of the disc at one moment: pool, stations, and what each hole holds."
    yield _picture(figure, ax, said, disc_text(shown))


def _of_pass(done: Pass, units: str) -> Iterator[Picture]:
    found = measure_pass(done)
    tall = min(max(0.22 * done.scenario.toolbar.rows, 1.2), 4.6)
    figure = new_page(tall + 0.7, WIDE)
    first = _axes(figure, 0.5, 0.5, 1.35, tall)
    draw_rows(first, found, "cells.skip", "skips")
    draw_rows(_axes(figure, 2.0, 0.5, 1.35, tall), found, "cells.double", "doubles", False)
    draw_vacuum(_axes(figure, 3.5, 0.5, 1.35, tall), found, units)
    yield _picture(
        figure,
        first,
        "Skips, doubles and vacuum of every row of the machine.",
        f"See: {pass_sight(found, units)} {SENTENCES['rows']} "
        f"The bars are {level_text(found.level)}s. {SENTENCES['vacuum']}",
    )
    figure = new_page(tall + 0.9, WIDE)
    ax = _axes(figure, 0.5, 0.5, 4.35, tall)
    marks = draw_field(ax, done, units)
    look: Any = {"loc": "lower right", "bbox_to_anchor": (1.0, 0.99), "ncols": 2}
    ax.legend(marks, ["skip", "double"], borderaxespad=0.2, **look)
    yield _picture(
        figure, ax, "A piece of the field from above, one line a row.", SENTENCES["field"]
    )
    if done.scenario.travel.start == "empty" or found.start.turns > 0:
        figure = new_page(2.7, WIDE)
        strips = [_axes(figure, 0.7, 1.6, 4.15, 1.0), _axes(figure, 0.7, 0.5, 4.15, 1.0)]
        draw_start(strips, found, units)
        said = "Vacuum and missed cells in the first turns after the start."
        yield _picture(figure, strips[0], said, SENTENCES["start"])


@matplotlib.rc_context(STYLE)
def causes_picture(report: Report) -> Picture | None:
    """Bars of the causes of uneven spacing; None where nothing is uneven."""
    found = causes(report.row.whole)[:MOST_CAUSES]
    if not found:
        return None
    figure = new_page(0.4 * len(found) + 0.55, WIDE)
    ax = _axes(figure, 0.12, 0.45, 4.6, 0.4 * len(found))
    draw_causes(ax, found, counted(report.row.whole))
    alt = "; ".join(f"{one.name}: {of_hundred(one.share)}" for one in found)
    said = "The longest bar spoils most. A spacing counts to one cause only."
    return _picture(figure, ax, f"Causes of uneven spacing. {alt}.", said)


@matplotlib.rc_context(STYLE)
def draw_causes(ax: Axes, found: list[Cause], of: str) -> list[Any]:
    """Draw causes as bars, the largest on top, each under its name.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    found : list of Cause
        Causes, the first on top.
    of : str
        What the shares are shares of.

    Returns
    -------
    list of Rectangle
        A bar for each cause.
    """
    shares = [100 * one.share for one in found]
    places = range(len(found))
    bars = list(ax.barh(places, shares, 0.3, fc=BLUE, ec=INK, lw=HAIR))
    for place, one in zip(places, found, strict=True):
        many = of_hundred(one.share).partition(" ")[0]
        words = f"{one.name}: {many if one.share >= FEW else f'under {100 * FEW:g}'}"
        ax.annotate(words, (0, place - 0.22), (3, 0), textcoords="offset points", va="bottom")
    ax.set_ylim(len(found) - 0.6, -0.8)
    ax.set_xlim(0, 1.05 * max(shares))
    ax.set_yticks([])
    ax.spines["left"].set_linewidth(FINE)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    ax.set_xlabel(f"of 100 {of}, too short or too long")
    return bars


def _axes(figure: Figure, left: float, bottom: float, width: float, tall: float) -> Axes:
    """Axes at a place in inches."""
    wide, high = figure.get_size_inches().tolist()
    made: Axes = figure.add_axes((left / wide, bottom / high, width / wide, tall / high))
    return made


def _picture(figure: Figure, ax: Axes, alt: str, caption: str) -> Picture:
    """A finished picture; the title of its axes becomes the beginning of its caption."""
    title = ax.get_title(loc="left")
    ax.set_title("", loc="left")
    said = f"{title}. {caption}" if title else caption
    return Picture(encoded(figure, "picture.svg"), alt, said)
