"""A start sheet as a page for the workshop wall, and a page of reasons."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

import matplotlib
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from metersim.machine.sources import NO_SOURCE
from metersim.measures.yields import Harvest
from metersim.questions.shared.answer import small
from metersim.questions.shared.flow import LEADING, POINT, SPARE, Flow, folded, measured
from metersim.questions.shared.hedges import NONE
from metersim.questions.shared.html import PAPER
from metersim.questions.shared.notes import PROVE
from metersim.questions.shared.page import (
    STYLE,
    Page,
    length_units,
)
from metersim.questions.shared.style import (
    DENSE,
    DENSE_HEAD,
    DENSE_SMALL,
    DENSE_TITLE,
    DOTTED,
    FINE,
    HAIR,
    INK,
    PALE,
    QUIET,
    STROKE,
    WALL,
    WALL_HEAD,
    WALL_TITLE,
    WALL_VALUE,
    WARM,
    WHITE,
)
from metersim.questions.sheet.fits import LEADS
from metersim.questions.sheet.moves import CLOSE, Nearby
from metersim.questions.sheet.study import Sheet, sheet
from metersim.questions.sheet.text import FIRST_PAGE, MOVED, Block, blocks

SIZES = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}  # in
MARGIN, GUTTER = 0.35, 0.25  # in
CHART = 2.2  # width of the bars next to their table; in
How = TypeVar("How")
FIRST_SCALES = (1.25, 1.2, 1.15, 1.1, 1.05, 1.0)  # the first page has no smaller letters
SCALES = tuple(k / 100 for k in range(136, 56, -4))


def sheet_figure(sheet: Sheet, units: str = "metric", harvest: Harvest = NONE) -> Figure:
    """First page of a sheet for the wall; see `sheet_pages`."""
    return sheet_pages(sheet, units, harvest)[0]


@matplotlib.rc_context(STYLE)
def sheet_pages(
    sheet: Sheet, units: str = "metric", harvest: Harvest = NONE, paper: str | None = None
) -> tuple[Figure, Figure]:
    """Two pages: what to set, to count and to do for the wall; and all reasons.

    Parameters
    ----------
    sheet : Sheet
        Sheet to draw.
    units : {'metric', 'us'}
        Units of the text.
    harvest : Harvest
        As for `metersim.questions.sheet.text.blocks`.
    paper : {'a4', 'letter'}, optional
        Size of paper; by default A4 for metric units, letter for us.

    Returns
    -------
    tuple of Figure
        Upright pages.  Letters of the first have 11 pt or more; check lists that do not fit go to
        the second.  Letters of the second are reduced until everything fits.
    """
    length_units(units)  # refuses unknown units
    size = SIZES[paper or PAPER[units]]
    parts = blocks(sheet, units, harvest)
    first, lists = _fitted(
        size,
        [(scale, kept) for kept in range(len(_lists(parts)), -1, -1) for scale in FIRST_SCALES],
        lambda figure, how: _first(figure, sheet, parts, *how),
    )
    left = _lists(parts)[lists[1] :]
    second, _ = _fitted(
        size, SCALES, lambda figure, scale: _rest(figure, sheet, parts, left, scale)
    )
    return first, second


def _fitted(
    size: tuple[float, float], ways: Sequence[How], lay: Callable[[Figure, How], float]
) -> tuple[Figure, How]:
    """The first of some ways to lay a page on paper that fits; else the last one."""
    for how in ways:
        figure = Page(figsize=size, dpi=200)
        FigureCanvasAgg(figure)
        if lay(figure, how) <= size[1] - MARGIN:
            break
    return figure, how


def _lists(parts: Sequence[Block]) -> list[Block]:
    return [part for part in parts if part.name == "do"]


def _first(figure: Figure, sheet: Sheet, parts: Sequence[Block], scale: float, kept: int) -> float:
    """Lay the first page with some of the check lists; gives its lower end. [in]"""
    across = figure.get_figwidth() - 2 * MARGIN
    page = Flow(figure, MARGIN, MARGIN - 0.05, across, scale)
    named = {part.name: part for part in parts}
    title = textwrap.shorten(named["asked"].title, 70, placeholder=" ...")
    page.write(title, WALL_TITLE, weight="bold", gid="title")
    page.write(f"See: {sheet_sight(sheet)}", WALL, color=INK, gid="see")
    page.top += 0.05
    page.write(named["asked"].lines[0], WALL)
    page.top += 0.14
    _cautions(page, named["cautions"])
    if "verdict" in named:
        said = " ".join(named["verdict"].lines)
        page.write(f"{named['verdict'].title} {said}", WALL)
        page.top += 0.08
    _card(page, named["settings"])
    page.write(f"{named['count'].title}: {small(named['count'].lines[0])}", WALL)
    page.top += 0.08
    columns = _side_by_side(page, _lists(parts)[:kept]) if kept else []
    page.top += 0.04
    page.write(f"Check lists: {NO_SOURCE}. {PROVE}", WALL, color=QUIET)
    return math.inf if any(one.too_wide for one in (page, *columns)) else page.top


def _rest(
    figure: Figure, sheet: Sheet, parts: Sequence[Block], lists: Sequence[Block], scale: float
) -> float:
    """Lay the second page, with check lists left by the first; gives its lower end. [in]"""
    across = figure.get_figwidth() - 2 * MARGIN
    page = Flow(figure, MARGIN, MARGIN - 0.05, across, scale)
    columns = [page]
    title = textwrap.shorten(f"{parts[0].title} - reasons", 90, placeholder=" ...")
    page.write(title, DENSE_TITLE, weight="bold", gid="title")
    page.write(f"See: {sheet_sight(sheet, reasons=True)}", DENSE_HEAD, color=INK, gid="see")
    page.top += 0.08
    if lists:
        columns += _side_by_side(page, lists)
    for part in parts:
        if part.name == "limits":
            columns.append(_limits(page, part, sheet.nearby))
        elif part.name == "count" and part.lines[1:]:
            _part(page, replace(part, lines=part.lines[1:]))
        elif part.name not in (*FIRST_PAGE, "notes"):
            _part(page, part)
    notes = parts[-1]
    page.top += 0.06
    page.write(notes.title, DENSE_SMALL, weight="bold")
    for line in notes.lines:
        page.write(line, DENSE_SMALL, color=QUIET, inset=0.1)
    return math.inf if any(column.too_wide for column in columns) else page.top


def sheet_sight(sheet: Sheet, reasons: bool = False) -> str:
    """What a sheet shows: how many settings it has, or how many small changes cost much."""
    lead, nearby = LEADS[sheet.leading], sheet.nearby
    first = nearby[0] if nearby else None
    if first is None or first.cost.value >= 0:
        costs = f"no single change would cost {lead}"
    else:
        lost = f"{-100 * first.cost.value:.2g} percentage points of {lead}"
        costs = f"{MOVED[first.key]} would cost most, {lost}"
    if not reasons:
        return f"the large letters hold all settings; {costs}."
    many = sum(one.close for one in nearby)
    return f"{many} of {len(nearby)} single changes cost over {100 * CLOSE:g} of them; {costs}."


def _card(page: Flow, block: Block) -> None:
    """Draw one card with a line a setting: name, value in large letters, and what to know."""
    left, pad = 1.3 * page.scale, 0.04
    page.line(2.5)
    widest = max(measured(value, WALL_VALUE * page.scale, True) for _, value, _ in block.rows)
    middle = widest / SPARE + 0.05
    noted = page.width - left - middle - 0.15
    places = ((0.0, left - 0.1), (left, middle), (left + middle + 0.15, noted))
    sizes = (WALL_HEAD, WALL_VALUE, WALL)
    for row in block.rows:
        high = [
            len(folded(words, size * page.scale, width, size == WALL_VALUE)) * size * page.scale
            for words, size, (_, width) in zip(row, sizes, places, strict=True)
        ]
        tallest = max(high) * POINT * LEADING
        for words, size, (at, width), own in zip(row, sizes, places, high, strict=True):
            down = (tallest - own * POINT * LEADING) / 2 + pad
            column = Flow(page.figure, page.left + at, page.top + down, width, page.scale)
            column.write(words, size, weight="bold" if size == WALL_VALUE else "normal")
            page.too_wide |= column.too_wide or (size == WALL_VALUE and own > size * page.scale)
        page.top += tallest + 1.5 * pad
        if row is not block.rows[-1]:
            page.line(0.6, PALE)
    page.line(2.5)
    page.top += 0.08


def _columns(page: Flow, letters: Sequence[int]) -> list[Flow]:
    """Columns next to one another, from the present place of the page, the wider the more text."""
    width = page.width - GUTTER * (len(letters) - 1)
    shares = [math.sqrt(one) for one in letters]
    columns, left = [], page.left
    for share in shares:
        wide = width * share / sum(shares)
        columns.append(Flow(page.figure, left, page.top, wide, page.scale))
        left += wide + GUTTER
    return columns


def _cautions(page: Flow, block: Block) -> None:
    page.top += 0.07
    top = page.top
    box = Flow(page.figure, page.left + 0.1, page.top, page.width - 0.2, page.scale)
    box.write(block.title, WALL_HEAD, weight="bold")
    for line in block.lines:
        box.write(line, WALL)
    box.box(top, WARM, 2.5)
    page.too_wide |= box.too_wide
    page.top = box.top + 0.2


def _limits(page: Flow, block: Block, nearby: Sequence[Nearby]) -> Flow:
    """Draw the table of small changes that cost most, with bars next to its rows."""
    page.heading(block.title, DENSE_HEAD)
    left = Flow(page.figure, page.left, page.top, page.width - CHART - GUTTER, page.scale)
    head = left.table(block.rows, DENSE)
    across, down = page.figure.get_size_inches()
    size = (page.width - left.width - GUTTER) / across, (left.top - 0.02 - head) / down
    corner = (page.left + left.width + GUTTER) / across, 1 - (left.top - 0.02) / down
    draw_nearby(page.figure.add_axes((*corner, *size)), nearby[: len(block.rows) - 1])
    lead = LEADS[nearby[0].leading] if nearby else "normal spacings"
    label = f"{lead} lost; dotted: {100 * CLOSE:g} pp"
    Flow(page.figure, corner[0] * across, page.top, CHART, page.scale).write(
        label, DENSE, color=PALE
    )
    page.top = left.top
    for line in block.lines:
        page.write(line, DENSE, inset=0.1)
    page.top += 0.09
    return left


def draw_nearby(ax: Axes, nearby: Sequence[Nearby]) -> list[Artist]:
    """Draw bars of the lost leading measure with intervals; full bars cost more than `CLOSE`.

    Parameters
    ----------
    ax : Axes
        To draw on.
    nearby : sequence of Nearby
        Changes to draw.

    Returns
    -------
    list of Artist
        Bars and intervals.
    """
    drawn: list[Artist] = []
    for row, one in enumerate(nearby):
        change = one.cost
        value, low, high = (-100 * end for end in (change.value, change.low, change.high))
        face = WARM if one.close else WHITE
        drawn += ax.barh(row, value, 0.62, color=face, edgecolor=INK, linewidth=HAIR)
        ax.plot([low, high], [row, row], color=INK, lw=STROKE, solid_capstyle="butt")
    ax.axvline(0, color=INK, lw=FINE)
    ax.axvline(100 * CLOSE, color=INK, lw=FINE, ls=DOTTED)
    ax.set_ylim(len(nearby) - 0.5, -0.5)
    ax.axis("off")
    return drawn


def _part(page: Flow, block: Block) -> None:
    page.heading(block.title, DENSE_HEAD)
    if block.rows:
        page.table(block.rows, DENSE, strong=0 if block.name == "discs" else None)
    for line in block.lines:
        page.write(line, DENSE, inset=0.1)
    page.top += 0.09


def _side_by_side(page: Flow, lists: Sequence[Block]) -> list[Flow]:
    """Draw check lists next to one another."""
    columns = _columns(page, [sum(map(len, block.lines)) for block in lists])
    for column, block in zip(columns, lists, strict=True):
        column.heading(block.title.removesuffix(f" ({NO_SOURCE})"), WALL_HEAD)
        for line in block.lines:
            column.write(f"\N{BALLOT BOX} {line}", WALL, inset=0.2)
    page.top = max(column.top for column in columns)
    return columns


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of each page of a start sheet."""
    asked = ("rate_per_ha=80000", "row_spacing_cm=75", "speed_kmh=6")
    first, second = sheet_pages(sheet("maize_large_flat", asked, seed=1))
    yield "start_sheet", first
    yield "start_sheet_reasons", second


PAGES = {Sheet: sheet_figure}
