"""Words and JSON of rows that are read together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from metersim.questions.next.rows import DISCS, STAYS, TWICE, RowsFound
from metersim.questions.next.target import KINDS
from metersim.questions.shared.alike import (
    ALIKE,
    APART,
    COMMON,
    DIFFER,
    LEVEL,
    ONE,
    OPEN,
    PRIOR,
    KindOfRows,
)
from metersim.questions.shared.answer import capital, told
from metersim.questions.shared.counts import POWER
from metersim.questions.shared.looks import SENSOR
from metersim.questions.shared.words import WIDE, aligned, block

BY_PART = {  # what a cause is that moves with a part, and one that stays
    DISCS: ("disc", "the singulator or a seal"),
    "meters": ("meter", "the drive, hose, tube, sensor or seed of that row"),
}


def rows_notes(found: RowsFound | None, *, clean: bool = False, differs: bool = True) -> list[str]:
    """What would distinguish the rows, and what they have in common, a sentence or two each.

    Parameters
    ----------
    found : RowsFound or None
        Rows of a log; None where fewer than two can be compared.
    clean : bool
        Whether the lenses are known to be clean.
    differs : bool
        Whether more is counted than wanted, so that there is a cause to name.
    """
    if found is None:
        return []
    finding = _finding(found, differs)
    if found.swap:
        return [_swap_words(found, clean), finding]
    if found.more:
        more = (
            f"Count {found.more:,} cells in each row. A row with twice the share is then detected "
            f"in {100 * POWER:.0f} of 100 cases."
        )
        return [finding, more]
    return [finding]


def _swap_words(found: RowsFound, clean: bool) -> str:
    """What to do with a row that differs."""
    assert found.swap is not None
    part, (row, other) = found.swap.part, found.swap.rows
    kind, many = KINDS[found.swap.kind], f"{found.swap.cells:,} cells in each"
    if part == STAYS:
        return (
            f"Look at row {row}: its {kind} stay, whatever meter it has. Check its drive, hose, "
            "tube, sensor and seed."
        )
    if found.stretches[0].way == SENSOR and found.swap.kind == "skip" and not clean:
        return (
            f"Brush the lens of row {row}. If the skips stay, swap the {part} of rows {row} and "
            f"{other}, and count {many}."
        )
    return (
        f"Swap the {part} of rows {row} and {other}, and count {many}. Then see if the {kind} go "
        f"with the {BY_PART[part][0]}."
    )


def _finding(found: RowsFound, differs: bool) -> str:
    """What is common and what is one row's, of both kinds of cells."""
    alike: dict[str, list[KindOfRows]] = {}
    for one in found.kinds.values():
        alike.setdefault(one.verdict, []).append(one)
    every = f"all {len(found.stretches)} rows"
    parts = [_alone(one, found.rows) for one in alike.get(ONE, [])]
    if differing := alike.get(DIFFER):
        parts.append(f"Rows differ in {_named(differing)}. {_likeliest(differing, found.rows)}.")
    if common := alike.get(COMMON):
        shares = [f"{KINDS[one.kind]} ({_share(one)})" for one in common]
        said = capital(" and ".join(shares))
        cause = ": seed, vacuum or speed" if differs and not parts and OPEN not in alike else ""
        parts.append(f"{said} are most likely common to {every}{cause}.")
    if unclear := alike.get(OPEN):
        parts.append(f"{capital(_named(unclear))}: counts cannot distinguish one row from all.")
    return " ".join(parts)


def _likeliest(kinds: Sequence[KindOfRows], rows: Sequence[str]) -> str:
    """The row that differs, where one is likelier than all others together."""
    places = {one.likeliest for one in kinds}
    least = min(one.row_chances[one.likeliest] for one in kinds)
    if len(places) > 1 or least <= 0.5:
        return "No single row is detected"
    return f"Most likely row {rows[places.pop()]} alone differs ({_of_100(least)} of 100)"


def _alone(one: KindOfRows, rows: Sequence[str]) -> str:
    own = one.own[one.likeliest]
    side = "more" if own.value > one.common.value else "fewer"
    value = told("share", own)[0]
    row = rows[one.likeliest]
    return f"Row {row} alone has {side} {KINDS[one.kind]}: {value}, others {_share(one)}."


def _named(kinds: Sequence[KindOfRows]) -> str:
    return " and ".join(KINDS[one.kind] for one in kinds)


def _share(one: KindOfRows) -> str:
    return told("share", one.common)[0]


def rows_text(found: RowsFound) -> list[str]:
    """Lines on all rows, for the whole report."""
    first = found.stretches[0]
    lines = [
        f"{len(found.rows)} rows, each with its latest counts at the same settings "
        f"({first.way}{f', lot {first.lot}' if first.lot else ''})",
    ]
    for one in found.kinds.values():
        value, between = told("share", one.common)
        lines.append(
            f"{capital(KINDS[one.kind])}: {value} ({between}) in rows that do not differ. Of 100 "
            f"such planters, all rows share them in {_of_100(one.common_chance)}, one row differs "
            f"in {_of_100(sum(one.row_chances))}, several rows differ in "
            f"{_of_100(one.several_chance)}"
        )
    if found.swap and found.swap.part != STAYS:
        part, (row, other) = found.swap.part, found.swap.rows
        moves, stays = BY_PART[part]
        lines.append(
            f"Swap the {part} of rows {row} and {other}, and count. If row {other} then has the "
            f"{KINDS[found.swap.kind]}, the cause is the {moves}. If row {row} still has them, the "
            f"cause is {stays}"
        )
        lines.append(
            "After the swap, add the event 'repaired' for both rows. Then earlier counts are not "
            "summed with later ones"
        )
    if found.left_out:
        lines.append(
            f"Not compared: {', '.join(found.left_out)}. Their last counts had other settings, "
            "another way or another lot, or came before a repair"
        )
    lines.append(
        f"Assumes: before any count, all rows share the cause in {100 * PRIOR[COMMON]:.0f} of 100 "
        f"planters, one row differs in {100 * PRIOR[ONE]:.0f}, several rows differ in "
        f"{100 * PRIOR[DIFFER]:.0f}. Rows in order differ by {100 * ALIKE:.0f} % of a share (SD of "
        f"log-odds). A row with a cause of its own differs by a factor of {math.exp(APART):.1f}"
    )
    lines = block("Rows", lines)
    table = [("row", "cells", *(f"{name}  differs, of 100" for name in KINDS.values()))]
    for k, stretch in enumerate(found.stretches):
        cells = [
            f"{one.counted[k]:<{len(KINDS[kind])}}  {_of_100(one.row_chances[k])}"
            for kind, one in found.kinds.items()
        ]
        table.append((stretch.row, f"{stretch.look.cells:,}", *cells))
    return [*lines, *(f"{'':11}{line}"[:WIDE] for line in aligned(table).splitlines())]


def _of_100(chance: float) -> str:
    return "fewer than 1" if chance < 0.005 else f"{100 * chance:.0f}"


def rows_json(found: RowsFound | None) -> dict[str, Any] | None:
    """Everything on rows that are read together, in SI."""
    if found is None:
        return None
    swap = found.swap
    return {
        "compared": [
            {
                "row": one.row,
                "cells": one.look.cells,
                "counts": len(one.entries),
                "way": one.way,
                "lot": one.lot or None,
                "meter": one.meter or None,
                "surface": one.surface or None,
            }
            for one in found.stretches
        ],
        "left_out": list(found.left_out),
        "prior": {"common": PRIOR[COMMON], "one_row": PRIOR[ONE], "several": PRIOR[DIFFER]},
        "interval_level": LEVEL,
        **{
            KINDS[kind]: {
                "verdict": one.verdict,
                "row": found.rows[one.likeliest] if one.verdict == ONE else None,
                "chance_common": one.common_chance,
                "chance_several": one.several_chance,
                "common": one.common.to_dict(),
                "rows": [
                    {"row": row, "counted": many, "chance_apart": chance, "share": own.to_dict()}
                    for row, many, chance, own in zip(
                        found.rows, one.counted, one.row_chances, one.own, strict=True
                    )
                ],
            }
            for kind, one in found.kinds.items()
        },
        "swap": swap
        and {
            "part": swap.part,
            "rows": list(swap.rows),
            "kind": KINDS[swap.kind],
            "cells_in_each": swap.cells,
        },
        "more_cells_in_each": found.more,
        "detected_times_the_share": TWICE,
    }
