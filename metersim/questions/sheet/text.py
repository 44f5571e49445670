"""Content of a start sheet in blocks, and its plain text.

The wall page and the HTML page are made of the same blocks (`blocks`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from metersim.files.units import sentence_number
from metersim.machine.sources import NO_SOURCE
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.limits import causes
from metersim.measures.spacing import quality_of_scatter
from metersim.measures.yields import Harvest
from metersim.questions.shared.hedges import NONE, fixed_words, hedge_words, no_relation
from metersim.questions.shared.notes import (
    BEFORE,
    BENCH,
    CROP_CHANGE,
    PROVE,
    interval_lines,
    level_text,
    notes,
)
from metersim.questions.shared.partwords import parted_words, parts_lines
from metersim.questions.shared.plantwords import loss_rows
from metersim.questions.shared.words import (
    LABELS,
    WIDE,
    aligned,
    interval_text,
    quantity,
    set_quantity,
    shown,
    signed,
    wrapped,
)
from metersim.questions.sheet.counting import expected
from metersim.questions.sheet.fits import LEADS, disc_rows, not_run, pp, rule_lines
from metersim.questions.sheet.moves import CLOSE, MOVES, Nearby
from metersim.questions.sheet.ownwords import own_sentences
from metersim.questions.sheet.settings import ASSUMED, card, settings, vacuum_notes
from metersim.questions.sheet.start import QUALITY, SINGLE, SMALL_SPACING
from metersim.questions.sheet.study import SIZE_UNKNOWN, VACUUM_UNKNOWN, Sheet

EXPECTED = (
    "cells.skip",
    "cells.double",
    "per_spacing.multiple",
    QUALITY,
    "per_spacing.miss",
    "precision",
)
EXPECTED_CLOSE = (SINGLE, "cells.skip", "cells.double", QUALITY)
"""Measures of seeds that lie close; their scatter stands beside them."""
STAR = "*"
FIRST_PAGE = ("asked", "cautions", "verdict", "settings", "count", "do")
"""Blocks of the first page; of the count, its first line."""
OVERTAKING = 0.3  # scatter over spacing, beyond which over 1 seed in 100 overtakes the next
MOST_NEARBY = 7  # changes with a line of their own
MOVED = {key: move.words for key, move in MOVES.items()}


@dataclass(frozen=True)
class Block:
    """A part of a sheet.

    Attributes
    ----------
    name : str
        Kind of block, for the layout.
    title : str
        Heading.
    lines : tuple of str
        Plain sentences, or items of a check list in ``do`` blocks.
    rows : tuple of tuple of str
        Table with its head first; ``settings`` have name, value and note.
    """

    name: str
    title: str
    lines: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def blocks(sheet: Sheet, units: str = "metric", harvest: Harvest = NONE) -> tuple[Block, ...]:
    """All blocks of a sheet.

    Parameters
    ----------
    sheet : Sheet
        Sheet to write.
    units : str
        ``metric`` or ``us``.
    harvest : Harvest
        Expected yield and price of the user, for published yield losses.
    """
    return (
        Block("asked", f"Start sheet: {sheet.scenario.lot.title}", (asked(sheet, units),)),
        Block("cautions", "Before you touch it", BEFORE),
        *_verdict(sheet, units),
        Block("settings", "Start with", rows=card(sheet, units)),
        Block("count", "What to count", counting(sheet, units)),
        Block("do", f"When the crop changes ({NO_SOURCE})", CROP_CHANGE),
        Block("do", f"On the bench ({NO_SOURCE})", BENCH),
        Block(
            "why",
            "Why these settings",
            rows=(("setting", "start with", "why"), *settings(sheet, units)),
        ),
        _expected(sheet, units),
        _plants(sheet, units, harvest),
        _limits(sheet),
        Block("discs", "Discs", not_run(sheet, units), disc_rows(sheet, units)),
        Block("rules", f"The trade says ({NO_SOURCE})", rule_lines(sheet, units)),
        Block("notes", "Note", assumed(sheet, units)),
    )


def _verdict(sheet: Sheet, units: str) -> Iterator[Block]:
    """Block of the own disc, and of a vacuum that is high or low; none where neither is said."""
    own = own_sentences(sheet.own, units) if sheet.own is not None else ()
    if lines := (*own, *vacuum_notes(sheet, units)):
        yield Block("verdict", "Verdict:" if own else "Mind the vacuum:", lines)


def _plants(sheet: Sheet, units: str, harvest: Harvest) -> Block:
    """Block of plants and published yield losses."""
    stand = sheet.stand
    plants, sd = (stand.reach(key) for key in ("plants.per_area", "plants.sd"))
    lines = [
        f"{quantity('per_area', plants.value, units)} stand if "
        f"{100 * stand.scenario.stand.emergence:.4g} % of the seeds come up; SD of their spacings "
        f"{quantity('length', sd.value, units)} "
        f"({interval_text('length', sd, units)}), of which even seed spacing would leave "
        f"{quantity('length', stand.even_sd, units)}"
    ]
    lines += [part.removesuffix(".") for part in parts_lines(stand)]
    if harvest.expected is None:
        return Block("plants", "Plants", tuple(lines))
    if not stand.losses:
        return Block("plants", "Plants", (*lines, no_relation(stand.crop)))
    if parts := parted_words(stand, units, harvest):
        lines.append(parts)
    lines += [hedge_words(stand.losses, [stand]), f"Assumed: {'; '.join(fixed_words(stand))}"]
    lines.append(
        "Read each relation alone: they disagree, and do not add up. *: outside what it studied"
    )
    rows = loss_rows(stand.losses, units, harvest)
    wide = max(map(len, rows))
    table = tuple(tuple([*row, *[""] * (wide - len(row))]) for row in rows)
    title = "Plants, and what each published relation takes off the yield"
    return Block("plants", title, tuple(lines), table)


def asked(sheet: Sheet, units: str = "metric") -> str:
    """Request to the meter in one line."""
    scenario = sheet.scenario
    demand = scenario.demand
    usual = f" ({usual_words(sheet)})" if sheet.usual else ""
    return (
        f"{set_quantity('per_area', demand.rate, units)} in rows "
        f"{set_quantity('length', demand.row_spacing, units)} apart at "
        f"{set_quantity('speed', demand.speed, units)}: a seed every "
        f"{quantity('length', scenario.spacing, units)}, {scenario.cell_rate:.1f} cells a second, "
        f"holes at {quantity('hole_speed', scenario.peripheral_speed, units)}{usual}"
    )


def usual_words(sheet: Sheet) -> str:
    """What was not given and is taken as usual for the crop."""
    *first, last = sheet.usual
    parts = " and ".join(filter(None, [", ".join(first), last]))
    return f"{parts}: usual for {sheet.scenario.lot.crop}, {NO_SOURCE}"


def _expected(sheet: Sheet, units: str) -> Block:
    ranges = ", ".join(uncertain(sheet, units))
    level = level_text(LEVEL_TOTAL)
    rows: list[tuple[str, ...]] = [("", "bench", level, "field", level)]
    for key in EXPECTED_CLOSE if sheet.scatter else EXPECTED:
        kind, row = BY_KEY[key].kind, [LABELS[key]]
        for spread in (sheet.bench_spread, sheet.field_spread):
            total = spread.total(key)
            row += [quantity(kind, total.value, units), interval_text(kind, total, units)]
        rows.append(tuple(row))
    if sheet.scatter:
        row = ["scatter along the row"]
        for one in (sheet.scatter["bench"], sheet.scatter["field"]):
            row += [quantity("small", one.value, units), interval_text("small", one, units)]
        rows.insert(2, tuple(row))
    return Block(
        "expected",
        "Expect",
        (
            *_close_seeds(sheet, units),
            f"{interval_lines(sheet.field_spread, inputs=False)[0]}, with {ranges}",
            "Intervals of differences hold the same parts, with the same machines",
        ),
        tuple(rows),
    )


def _close_seeds(sheet: Sheet, units: str) -> Iterator[str]:
    """What quality of feed measures where seeds lie close."""
    if not sheet.scatter:
        return
    spacing, scatter = sheet.scenario.spacing, sheet.scatter["field"].value
    yield (
        f"Seeds lie {quantity('length', spacing, units)} apart. Below "
        f"{set_quantity('length', SMALL_SPACING, units)} normal spacings measure scatter: "
        "singulation decides here"
    )
    if 0 < scatter <= OVERTAKING * spacing:
        even = quality_of_scatter(scatter, spacing)
        yield (
            f"The scatter in the field alone leaves {quantity('share', even)} normal spacings, "
            "even with one seed from every cell"
        )
    elif scatter > 0:
        yield (
            f"The scatter in the field is {scatter / spacing:.2f} of the spacing: seeds overtake "
            "their neighbours, and normal spacings mean little"
        )


def uncertain(sheet: Sheet, units: str = "metric") -> list[str]:
    """Uncertain inputs in words."""
    taken = {
        "vacuum.vacuum": f"vacuum off by up to {VACUUM_UNKNOWN * 100:g} %",
        "seed.size_factor": f"seed size by {SIZE_UNKNOWN * 100:g} %",
    }
    stated = list(sheet.scenario.unknown)
    return [one.text(units) for one in stated] + [
        taken[f"{one.section}.{one.name}"]
        for one in sheet.field_spread.unknowns
        if one not in stated
    ]


def _limits(sheet: Sheet) -> Block:
    word = LEADS[sheet.leading]
    close = [MOVED[one.key] for one in sheet.nearby if one.close]
    over = f"{CLOSE * 100:g} pp"
    first = (
        f"Each of these costs more than {over} of {word} in the field: {', '.join(close)}."
        if close
        else f"No single change costs more than {over} of {word} in the field."
    )
    rest = "; ".join(f"{_named(one)} {points(one.cost)}" for one in sheet.nearby[MOST_NEARBY:])
    binding, bound = next(iter(causes(sheet.field)), None), ""
    if binding:
        cause = f"{binding.name} ({quantity('share', binding.share)} of spacings)"
        bound = f"Main cause of uneven spacing in the field: {cause}. "
    sizes = (
        f"{bound}The size of each change is an assumption, and they are not equally likely."
        f" {STAR}: {ASSUMED}"
    )
    rows: list[tuple[str, ...]] = [
        ("single change", f"{word}, pp", "skips", "doubles", "precision")
    ]
    rows += [_moved(one) for one in sheet.nearby[:MOST_NEARBY]]
    lines = (first, sizes, *([f"{word}, pp, of the others: {rest}"] if rest else []))
    return Block("limits", "What goes wrong first", lines, tuple(rows))


def _named(one: Nearby) -> str:
    """What moves, with a star where the size of its effect is an assumption."""
    return MOVED[one.key] + (f" {STAR}" if MOVES[one.key].assumed else "")


def _moved(one: Nearby) -> tuple[str, ...]:
    others = (one.changes[key] for key in ("cells.skip", "cells.double", "precision"))
    return (
        _named(one),
        pp(one.cost, ""),
        *(points(change) for change in others),
    )


def points(change: Estimate) -> str:
    """A change of a share in percentage points; 0 where no change is detected."""
    if math.isnan(change.value):
        return "-"
    return signed(change.value * 100) if not change.low <= 0 <= change.high else "0"


def counting(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """Lines on the size of a count on the bench, and on its range."""
    count = sheet.count
    if not count.seeds:
        return (first_count(sheet),)
    off = ""
    if count.uncertain_most > count.usual_most:
        off = f", and up to {count.uncertain_most} with {' and '.join(uncertain(sheet, units))}"
    return (
        f"{first_count(sheet)}",
        f"On one machine chance alone explains up to {count.usual_most} in 19 of 20 counts{off}.",
        f"A rise by a half is detected in 4 of 5 counts of {_about(count.seeds)} seeds. To compare "
        "before and after, count two and a half times as many in each.",
    )


def first_count(sheet: Sheet) -> str:
    """What to count first, in one or two sentences."""
    count = sheet.count
    if not count.seeds:
        return "Count 300 cells on the bench; hardly any skips or doubles are expected."
    many, most = expected(count, sheet.single_on_bench)
    return (
        f"Count 1,000 cells on the bench: about {many} skips and doubles are expected. Above "
        f"{most}, look for the cause."
    )


def _about(many: int) -> str:
    size = 10 ** max(len(str(many)) - 2, 0)
    return f"some {math.ceil(many / size) * size:,}"


def assumed(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """Lines with the assumptions of the sheet."""
    s = sheet.scenario

    def small(value: float) -> str:
        amount, symbol = shown("small", value, units)
        return f"{sentence_number(amount, 3)} {symbol}"

    machine = (
        f"taken for the machine: holes on a circle of {small(s.disc.circle_radius)} radius, pool "
        f"{small(s.pool.gate_width)} wide and {small(s.pool.pool_depth)} deep, carry line "
        f"{small(s.pool.carry_line)}, tube {small(s.tube.tube_length)} of wear "
        f"{s.tube.tube_wear:g}, soil scatter {small(s.furrow.soil_scatter)}, fan up to "
        f"{set_quantity('pressure', sheet.vacuum_most, units)}; state yours with --set"
    )
    stated = (f"stated: {', '.join(sheet.given)}",) if sheet.given else ()
    return (
        *notes(sheet.field, units),
        machine,
        *stated,
        "discs are generic, as is the singulator that goes with each; where yours differ, list "
        "them with --discs",
        f"random seed {sheet.field.origin.seed}, metersim {sheet.field.origin.version}. "
        + PROVE.rstrip("."),
    )


def scenario_notes(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """Comments at the head of the scenario file of a sheet."""
    origin = sheet.field.origin
    ranges = "; ".join(one.text(units) for one in sheet.field_spread.unknowns)
    return (
        f"start setup of 'metersim sheet' (random seed {origin.seed}, metersim {origin.version})",
        f"uncertain: {ranges}",
        "for the bench, set surface=bench",
    )


def sheet_text(sheet: Sheet, units: str = "metric", harvest: Harvest = NONE) -> str:
    """Plain text of a sheet; see `blocks`."""
    lines: list[str] = []
    for block in blocks(sheet, units, harvest):
        lines += [block.title, *_body(block), ""]
    return "\n".join(lines).rstrip("\n")


def _body(block: Block) -> list[str]:
    if block.name == "asked":
        return wrapped(block.lines[0])
    inset = "  "
    mark = "[ ] " if block.name == "do" else ""
    said = [part for line in block.lines for part in _folded(mark + line, inset)]
    if not block.rows:
        return said
    table = [inset + line.rstrip() for line in aligned(block.rows, WIDE - len(inset)).splitlines()]
    return [*table, *said]


def _folded(line: str, inset: str) -> list[str]:
    return [inset + part for part in wrapped(line, WIDE - len(inset))]
