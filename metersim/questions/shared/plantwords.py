"""Text of plants, and of published yield relations applied to them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from metersim.measures.plants import BY_NAME, PLANTED
from metersim.measures.yields import RELATIONS, Harvest, Relation
from metersim.questions.shared.notes import (
    difference_lines,
    interval_cells,
    interval_heads,
    level_text,
)
from metersim.questions.shared.plants import Loss, Stand, StandChange
from metersim.questions.shared.words import (
    block,
    change_text,
    interval_text,
    number,
    quantity,
    set_quantity,
    shown,
    signed,
    wrapped,
)

NAMES = {
    "plants.per_area": "plants",
    "plants.mean": "spacing, mean",
    "plants.sd": "spacing, SD of all",
    "plants.cv": "spacing, CV",
    "places.none": "places without one",
    "places.several": "places with several",
    "hills.none": "cells without one",
    "plants.in_doubles": "plants in doubles",
    "late.ten_days": "some 10 days late",
    "late.three_weeks": "some 3 weeks late",
}
COUNTED = (
    "late: more than 5 days behind the median day; beyond 15.5 days a plant counts as some 3 weeks "
    "late (assumption)",
    "places are what a tape finds, at most three empty ones in a gap (ISO 7256-1); cells and "
    "doubles are what the meter left, wherever the plants stand",
)
READING = (
    "each for itself, its published range and the stand's interval together: they disagree, and "
    "none adds to another",
    "against an SD of 0 or the relation's threshold, one plant in every place, all up in time",
    "what a missing plant would have yielded counts in that of skips alone; that of doubles is "
    "what both plants lose, with nothing set against it for what the second yields; none tells "
    "what another rate would yield",
)
WIDTHS = (2, 21, 39, 19, 18, 0)  # letters of each column
NONE = Harvest()

NumberText = Callable[[float], str]


def plants_block(
    stand: Stand, units: str = "metric", harvest: Harvest = NONE, details: bool = False
) -> list[str]:
    """Lines with the measures of a stand and its yield loss after each published relation.

    Parameters
    ----------
    stand : Stand
        Stand of `metersim.questions.shared.plants`.
    units : str
        ``metric`` or ``us``.
    harvest : Harvest
        Expected yield and price, in SI; money is printed only with a price.
    details : bool
        Whether to show the parts of each interval.

    Returns
    -------
    list of str
        Two blocks with a blank line between them.
    """
    spread = stand.spread
    heads = interval_heads(stand.measured.level, spread, details)
    lines = [f"{'':31}{'estimate':>14}   {heads}"]
    for row, part in enumerate(PLANTED):
        found = stand.reach(part.key)
        value = quantity(part.kind, found.value, units)
        if spread:
            interval = interval_cells(spread, part.key, units, details)
        else:
            interval = interval_text(part.kind, found, units)
        lines.append(
            f"{'Plants' if row == 0 else '':11}{NAMES[part.key]:20}{value:>14}   {interval}"
        )
    lines += ["", *block("From seed", [_came_up(stand, units), *COUNTED]), ""]
    if not stand.losses:
        return [*lines, *block("Yield", [no_relation(stand.crop)])]
    title = f"Yield, as published: what each relation takes off, of {stand.crop}"
    return [*lines, *_losses(title, [stand], stand.losses, units, harvest, number)]


def change_block(
    title: str,
    change: StandChange,
    stands: Sequence[Stand],
    units: str,
    harvest: Harvest,
    details: bool = False,
) -> list[str]:
    """Lines with the paired differences of two stands.

    Parameters
    ----------
    title : str
        Names of the two stands, the subtracted one last.
    change : StandChange
        Differences of the stands.
    stands : sequence of Stand
        Both stands.
    units, harvest, details
        As for `plants_block`.
    """
    level = level_text(stands[0].measured.level)
    lines = [f"{title}: plants, with common random numbers ({level})"]
    for part in PLANTED:
        change_words = change_text(part.kind, change.measures[part.key], units)
        lines.append(f"{NAMES[part.key]:20}{change_words}")
    if change.spread and details:
        lines += ["", *difference_lines(change.spread, NAMES, units)]
    lines.append("")
    if not change.losses:
        return [*lines, *block("Yield", [no_relation(*(stand.crop for stand in stands))])]
    said = f"Yield, as published: what more (+) or less (-) each relation takes off, {title}"
    return [*lines, *_losses(said, stands, change.losses, units, harvest, signed)]


def no_relation(*crops: str) -> str:
    """Statement that no relation of a crop is known, or that no relation compares the crops."""
    sown = tuple(dict.fromkeys(crops))
    if len(sown) > 1:
        return f"no relation compares {' with '.join(sown)}: the plants alone"
    studied = ", ".join(dict.fromkeys(one.crop for one in RELATIONS))
    return f"no published relation here is of {sown[0]}, all are of {studied}: the plants alone"


def _came_up(stand: Stand, units: str) -> str:
    """Emergence of the stand, and the SD that it alone causes with even seeds."""
    stated = stand.scenario.stand
    parts = [
        f"{100 * stated.emergence:.4g} % of seeds come up",
        f"{set_quantity('small', stated.plant_shift, units)} from their seed (SD)",
        f"{_days(stated.emergence_spread)} apart (SD)",
    ]
    if stated.late_share:
        parts.append(f"{100 * stated.late_share:.4g} % of them {_days(stated.late_by)} later")
    floor = quantity("length", stand.even_sd, units)
    return f"{', '.join(parts)}; perfectly even seeds would leave an SD of {floor}"


def _days(time: float) -> str:
    said = set_quantity("days", time)
    return said.removesuffix("s") if said == "1 days" else said


def _losses(
    title: str,
    stands: Sequence[Stand],
    losses: Sequence[Loss],
    units: str,
    harvest: Harvest,
    form: NumberText,
) -> list[str]:
    """Table of relations with losses of yield, share and money, and notes on its reading."""
    if harvest.expected is not None:
        title += f", at your {set_quantity('yield', harvest.expected, units)}"
    table = _loss_rows(losses, units, harvest, form)
    notes = _notes(stands, losses, units, harvest)
    return [*wrapped(title), *map(_row, table), *block("Reading", notes)]


def loss_rows(
    losses: Sequence[Loss], units: str = "metric", harvest: Harvest = NONE
) -> list[list[str]]:
    """Cells of a table of relations, its head first: authors, statement, and losses."""
    rows = _loss_rows(losses, units, harvest, number)
    return [[f"{row[1]} {row[0]}".strip(), *row[2:]] for row in rows]


def _loss_rows(
    losses: Sequence[Loss], units: str, harvest: Harvest, form: NumberText
) -> list[list[str]]:
    symbol = shown("yield", 0.0, units)[1]
    columns: list[tuple[str, str, Callable[[Relation, float], float]]] = [
        (f"in {symbol}", "yield", harvest.in_yield),
        ("in %", "share", harvest.in_share),
    ]
    if harvest.price is not None:
        area = shown("per_area", 0.0, units)[1]
        columns.append((f"your money {area}", "money", harvest.in_money))
    rows = [["", "", "", *(name for name, _, _ in columns)]]
    for loss in losses:
        one, ends = loss.relation, (loss.low, loss.high)
        cells = ["*" if loss.outside else "", one.by, one.says]
        if any(map(math.isnan, ends)):
            cells.append("too short to tell")
        elif one.none_found:
            cells.append("none found")
        else:
            for _, kind, to in columns:
                low, high = (shown(kind, to(one, end), units)[0] for end in ends)
                cells.append(_range(low, high, form))
        rows.append(cells)
    return rows


def _row(cells: Sequence[str]) -> str:
    return "".join(f"{cell:{width}}" for cell, width in zip(cells, WIDTHS, strict=False)).rstrip()


def _range(low: float, high: float, form: NumberText) -> str:
    """A range of losses in words, its ends in a form such as `number` or `signed`."""
    if math.isnan(low + high):
        return "-"
    return "0" if low == high == 0 else f"{form(low)} to {form(high)}"


def _notes(
    stands: Sequence[Stand],
    losses: Sequence[Loss],
    units: str,
    harvest: Harvest,
) -> list[str]:
    """Notes for the reader of the table of relations."""
    found = [*READING]
    found += [_outside(loss.relation, stands, units) for loss in losses if loss.outside]
    relations = [loss.relation for loss in losses]
    memory = dict.fromkeys(one.by for one in relations if one.mark == "memory")
    unknown = dict.fromkeys(one.by for one in relations if one.covers is None)
    found.append(f"from memory, not read: {'; '.join(memory)}")
    found.append(f"what stands they studied is not noted: {'; '.join(unknown)}")
    if harvest.expected is None:
        found.append("-: give --yield, your usual yield, to have all in the same units")
    return found


def _outside(relation: Relation, stands: Sequence[Stand], units: str) -> str:
    """Range of a study, for a stand that lies outside it."""
    low, high = relation.covers or (math.nan, math.nan)
    kind = BY_NAME[relation.of].kind
    ends = f"{set_quantity(kind, low, units)} to {set_quantity(kind, high, units)}"
    values = (stand.reach(relation.of).value for stand in stands)
    here = " and ".join(dict.fromkeys(quantity(kind, value, units) for value in values))
    return f"* outside what {relation.by} studied: {NAMES[relation.of]} {ends}, here {here}"
