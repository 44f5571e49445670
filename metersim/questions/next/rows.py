"""Rows read together: what all rows share, what one row has, and what distinguishes the two."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from metersim.questions.next.target import KINDS
from metersim.questions.shared.alike import DIFFER, ONE, OPEN, KindOfRows, kind_of_rows
from metersim.questions.shared.counts import MOST_PRACTICAL, Share, angle, cells_to_detect
from metersim.questions.shared.history import (
    Line,
    Stretch,
    current,
    in_time,
    rows_in,
    same_settings,
    stretches,
)

TWICE = 2.0  # a row that more counts should detect has so many times the common share
ROUND = 50  # step of the advised number of cells
METERS, DISCS, STAYS = "meters", "discs", "row"


@dataclass(frozen=True)
class Swap:
    """A swap between two rows, after which a count says where the cause is.

    Attributes
    ----------
    part : str
        What is swapped: `METERS`; `DISCS` where the meter had the fault in another row, too; and
        nothing where it `STAYS` with the row.
    rows : tuple of str
        The row that differs, and the one to swap with.
    kind : str
        Kind of cells to count, a key of `KINDS`.
    cells : int
        Cells to count in each of the two rows.
    """

    part: str
    rows: tuple[str, str]
    kind: str
    cells: int


@dataclass(frozen=True)
class RowsFound:
    """What the latest counts of several rows have in common.

    Attributes
    ----------
    stretches : tuple of Stretch
        Latest comparable counts of each row.
    left_out : tuple of str
        Rows that were last counted at other settings, in another way, with another lot, or before
        a repair.
    kinds : mapping of str to KindOfRows
        Results by kind of cell.
    swap : Swap or None
        The swap that would distinguish meter from row; None where no row differs.
    more : int or None
        Cells to count in each row until a row of `TWICE` the share is detected, where something
        is open; None otherwise.
    """

    stretches: tuple[Stretch, ...]
    left_out: tuple[str, ...]
    kinds: Mapping[str, KindOfRows] = field(repr=False)
    swap: Swap | None
    more: int | None

    @property
    def apart(self) -> str:
        """The row that differs, if one is likelier than all others together; else empty."""
        if not self.swap:
            return ""
        one = self.kinds[self.swap.kind]
        chance = one.row_chances[one.likeliest]
        return self.rows[one.likeliest] if chance > 0.5 else ""

    @property
    def rows(self) -> tuple[str, ...]:
        """Names of the rows that were compared."""
        return tuple(one.row for one in self.stretches)


def latest(history: Iterable[Line]) -> tuple[list[Stretch], list[str]]:
    """The latest counts of as many rows as can be compared, and the rows that cannot.

    Counts before a repair, a new lot or another change of a row are not its latest.

    Parameters
    ----------
    history : iterable of Entry and Event
        Lines of a log.

    Returns
    -------
    compared : list of Stretch
        One stretch a row, all with the same settings, way of counting, lot and surface.
    left_out : list of str
        Names of all other rows.
    """
    history = list(history)
    rows = rows_in(history)
    kept = {id(entry) for row in rows for entry in current(history, row)[0]}
    last: dict[tuple[str, str], Stretch] = {}
    for stretch in stretches(history):
        if id(stretch.entries[-1]) in kept:
            last[stretch.row, stretch.way] = stretch
    groups: list[list[Stretch]] = []
    for stretch in last.values():
        fits = (group for group in groups if _are_alike(group, stretch))
        group = next(fits, None)
        if group is None:
            groups.append([stretch])
        else:
            group.append(stretch)
    at = {id(line): k for k, line in enumerate(in_time(history))}
    best = max(
        groups,
        key=lambda group: (len(group), max(at[id(one.entries[-1])] for one in group)),
        default=[],
    )
    mine = {one.row for one in best}
    return sorted(best, key=lambda one: _order(one.row)), [row for row in rows if row not in mine]


def _are_alike(group: Sequence[Stretch], other: Stretch) -> bool:
    """Whether a stretch was counted as those of a group; what is not stated fits."""
    first = group[0]
    return (
        first.way == other.way
        and same_settings(first.entries[0].settings, other.entries[0].settings)
        and all(
            len({getattr(one, name) for one in (*group, other)} - {""}) <= 1
            for name in ("lot", "surface")
        )
    )


def _order(row: str) -> tuple[int, str]:
    return (int(row) if row.isascii() and row.isdigit() else 10**9, row)


def read_rows(
    history: Iterable[Line], effects: Mapping[str, float] | None = None
) -> RowsFound | None:
    """Read the latest counts of all rows together.

    Parameters
    ----------
    history : iterable of Entry and Event
        Lines of a log.
    effects : mapping of str to float, optional
        Design effect of counts by kind of cell: variance over that of independent cells, 1 or
        more. [1]

    Returns
    -------
    RowsFound or None
        None where fewer than two rows can be compared.
    """
    history = list(history)
    compared, left_out = latest(history)
    if len(compared) < 2:
        return None
    given = effects or {}
    effect = {kind: max(given.get(kind, 1.0), 1.0) for kind in KINDS}
    looks = [one.look for one in compared]
    cells = [look.cells for look in looks]
    counted = {
        "skip": [look.skips for look in looks],
        "double": [look.doubles or 0 for look in looks],
    }
    kinds = {kind: kind_of_rows(kind, many, cells, effect[kind]) for kind, many in counted.items()}
    swaps = [
        _swap(one, compared, history, effect[kind])
        for kind, one in kinds.items()
        if one.verdict in (ONE, DIFFER)
    ]
    swap = min((one for one in swaps if one), key=lambda one: one.cells, default=None)
    open_kinds = [one for one in kinds.values() if one.verdict == OPEN]
    more = None
    if open_kinds and not swap:
        wanted = max(_to_see_twice(one, effect[one.kind]) for one in open_kinds)
        more = _advised(wanted)
    return RowsFound(tuple(compared), tuple(left_out), kinds, swap, more)


def _swap(
    found: KindOfRows, compared: Sequence[Stretch], history: Iterable[Line], effect: float
) -> Swap | None:
    """The swap of the row that differs with the row that is farthest from it."""
    k = found.likeliest
    others = [j for j in range(len(compared)) if j != k]
    above = found.own[k].value > found.common.value
    other = (min if above else max)(others, key=lambda j: found.own[j].value)
    usual, own = (Share(one.value, effect) for one in (found.common, found.own[k]))
    cells = _advised(cells_to_detect(usual, own))
    if cells is None:
        return None
    mine = compared[k]
    rows = (mine.row, compared[other].row)
    before = [
        one
        for one in stretches(history)
        if mine.meter and one.meter == mine.meter and one.row != mine.row
    ]
    if not before:
        return Swap(METERS, rows, found.kind, cells)
    share = getattr(before[-1].look, f"{found.kind}_share")
    there, own_at, usual_at = (angle(one) for one in (share, own.value, usual.value))
    followed = abs(there - own_at) < abs(there - usual_at)  # the meter had them elsewhere, too
    return Swap(DISCS if followed else STAYS, rows, found.kind, cells)


def _to_see_twice(found: KindOfRows, effect: float) -> float:
    share = found.common.value
    return cells_to_detect(Share(share, effect), Share(min(TWICE * share, 1.0), effect))


def _advised(cells: float) -> int | None:
    """A number of cells to count, in steps of `ROUND`; None where nobody would count so many."""
    if cells > MOST_PRACTICAL:
        return None
    return math.ceil(cells / ROUND) * ROUND
