"""Text of plants, and of published yield relations applied to them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from metersim.measures.plants import BY_NAME, PLANTED
from metersim.measures.yields import Harvest, Relation
from metersim.questions.shared.answer import capital, movement, plain, told
from metersim.questions.shared.hedges import (
    NONE,
    concerned,
    fixed_words,
    hedge_words,
    no_relation,
)
from metersim.questions.shared.notes import (
    difference_lines,
    interval_cells,
    interval_heads,
    level_text,
)
from metersim.questions.shared.partwords import change_lines, parts_lines
from metersim.questions.shared.plants import Loss, Stand, StandChange
from metersim.questions.shared.words import (
    GROUP,
    LABEL,
    TOO_SHORT,
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
    "plants.mean": "plant spacing, mean",
    "plants.sd": "plant spacing, SD of all",
    "plants.cv": "plant spacing, CV",
    "places.none": "theoretical places, empty",
    "places.several": "theoretical places, several",
    "hills.none": "cells without a plant",
    "plants.in_doubles": "plants in doubles",
    "late.ten_days": "some 10 days late",
    "late.three_weeks": "some 3 weeks late",
}
COUNTED = (
    "Late plants come up more than 5 days after the median day.",
    "After 15.5 days a plant counts as some 3 weeks late (assumption).",
    "A tape finds theoretical places, with at most three empty places in a gap (ISO 7256-1).",
    "Cells and doubles are those of the meter, wherever the plants stand.",
)
READING = (
    "Each line holds one relation: its published range and the stand's interval together.",
    "The relations disagree. Their losses do not add up.",
    "The loss is against an SD of 0 or the relation's threshold, with one plant in every "
    "theoretical place, all up in time.",
    "Only the relation of skips counts the yield of a missing plant.",
    "The relation of doubles counts the loss of both plants; the yield of the second plant is not "
    "set against it.",
    "No relation predicts the yield of another seeding rate.",
)
WIDTHS = (2, 21, 39, 19, 18, 0)  # letters of each column

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
    lines = [f"{'':{GROUP + LABEL}}{'estimate':>14}   {heads}"]
    for row, part in enumerate(PLANTED):
        found = stand.reach(part.key)
        value = quantity(part.kind, found.value, units)
        if spread:
            interval = interval_cells(spread, part.key, units, details)
        else:
            interval = interval_text(part.kind, found, units)
        group = "Plants" if row == 0 else ""
        lines.append(f"{group:{GROUP}}{NAMES[part.key]:{LABEL}}{value:>14}   {interval}")
    lines += ["", *block("From seed", [_came_up(stand, units), *COUNTED]), ""]
    if parts := parts_lines(stand):
        lines += [*block("Parts", parts), ""]
    if not stand.losses:
        return [*lines, *block("Yield", [no_relation(stand.crop)])]
    title = f"Yield, as published: loss by each relation, of {stand.crop}"
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
        lines.append(f"{NAMES[part.key]:{LABEL}}{change_words}")
    if change.spread and details:
        lines += ["", *difference_lines(change.spread, NAMES, units)]
    lines.append("")
    if parts := change_lines(change, stands[0]):
        lines += [*block("Parts", parts), ""]
    if not change.losses:
        return [*lines, *block("Yield", [no_relation(*(stand.crop for stand in stands))])]
    said = f"Yield, as published: more (+) or less (-) loss by each relation, {title}"
    return [*lines, *_losses(said, stands, change.losses, units, harvest, signed)]


def stand_sentences(stand: Stand, units: str = "metric", harvest: Harvest = NONE) -> list[str]:
    """One sentence on a stand, and one on its yield if a yield or a price is given.

    Parameters
    ----------
    stand, units, harvest
        As for `plants_block`.
    """
    plants, gaps = (
        told(BY_NAME[key].kind, stand.reach(key), units)[0]
        for key in ("plants.per_area", "places.none")
    )
    if not stand.measured.total("seeds"):
        return ["No plant comes up."]
    many, _, area = plants.partition(" ")
    found = [f"Stand: {many} plants {area}. {gaps} of the theoretical places have no plant."]
    if harvest == NONE:
        return found
    if not stand.losses:
        return [*found, no_relation(stand.crop)]
    return [*found, f"Against an even stand: {_yield_words([stand], stand.losses, units, harvest)}"]


def change_sentences(
    change: StandChange, stands: Sequence[Stand], units: str = "metric", harvest: Harvest = NONE
) -> list[str]:
    """Sentences on the difference of two stands, that of the yield first if one is given.

    Parameters
    ----------
    change, stands, units, harvest
        As for `change_block`.
    """
    moved = (
        movement(name, BY_NAME[key].kind, change.measures[key], units)
        for key, name in (("plants.per_area", "plants"), ("places.none", "empty places"))
    )
    found = [" ".join(map(capital, moved))]
    if harvest == NONE:
        return found
    if not change.losses:
        return [no_relation(*(stand.crop for stand in stands)), *found]
    return [_yield_words(stands, change.losses, units, harvest), *found]


def _yield_words(
    stands: Sequence[Stand], losses: Sequence[Loss], units: str, harvest: Harvest
) -> str:
    """Range of losses over all relations that concern the stands, and their hedges."""
    kept, hedge = concerned(losses, stands), hedge_words(losses, stands)
    parts = []
    for kind, to in (("yield", harvest.in_yield), ("money", harvest.in_money)):
        ends = [to(loss.relation, end) for loss in kept for end in (loss.low, loss.high)]
        known = [shown(kind, end, units)[0] for end in ends if not math.isnan(end)]
        if known:
            parts.append((min(known), max(known)))
    if not parts:
        return f"no loss of yield can be given. {hedge}"
    (low, high), *money = parts
    said = _less(low, high, shown("yield", 0.0, units)[1])
    if money:
        area = shown("per_area", 0.0, units)[1]
        (least, most), size = money[0], (money[0][1] - money[0][0]) / 4
        gained = f"from a gain of {plain(-least, size)} to a cost of {plain(most, size)}"
        costs = gained if least < 0 < most else f"cost: {plain(least, size)} to {plain(most, size)}"
        said += f" ({costs} of your money {area})"
    return f"{said}. {hedge}"


def _less(low: float, high: float, unit: str) -> str:
    """A range of losses in words; a negative loss is a gain."""
    size = (high - low) / 4  # one digit more than an interval has: it is a range of relations
    ends = [plain(abs(end), size) for end in (low, high)]
    if low == high == 0:
        return f"no loss in {unit}"
    if low < 0 < high:
        return f"expect {ends[0]} more to {ends[1]} {unit} less"
    if high <= 0:
        return f"expect {ends[1]} to {ends[0]} {unit} more"
    return f"expect {ends[0]} to {ends[1]} {unit} less"


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
    return f"{', '.join(parts)}; with perfectly even seeds the SD is {floor}"


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
        cells = ["*" if loss.outside else "", one.by, one.statement(units)]
        if any(map(math.isnan, ends)):
            cells.append(TOO_SHORT)
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
    found = [hedge_words(losses, stands), *READING]
    found.append(f"Assumed: {'; '.join(fixed_words(*stands))}.")
    found += [_outside(loss.relation, stands, units) for loss in losses if loss.outside]
    relations = [loss.relation for loss in losses]
    memory = dict.fromkeys(one.by for one in relations if one.mark == "memory")
    unknown = dict.fromkeys(one.by for one in relations if one.covers is None)
    found.append(f"From memory, not read: {'; '.join(memory)}.")
    found.append(f"Their range of stands is not noted: {'; '.join(unknown)}.")
    if harvest.expected is None:
        found.append("-: give your usual yield by --yield to have all in the same units.")
    return found


def _outside(relation: Relation, stands: Sequence[Stand], units: str) -> str:
    """Range of a study, for a stand that lies outside it."""
    low, high = relation.covers or (math.nan, math.nan)
    kind = BY_NAME[relation.of].kind
    ends = f"{set_quantity(kind, low, units)} to {set_quantity(kind, high, units)}"
    values = (stand.reach(relation.of).value for stand in stands)
    here = " and ".join(dict.fromkeys(quantity(kind, value, units) for value in values))
    return f"* outside the range of {relation.by}: {NAMES[relation.of]} {ends}, here {here}"
