"""File of predictions of published levels that a model has not seen."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad
from metersim.files.tables import csv_rows, each_row, first_of, read_text

BLOCKS, DRAWS = 5, 100  # independent random seeds, and draws of each
TRUTH = {"true": True, "false": False}
LABELS = ("laboratory", "case", "row", "measure", "published", "unit", "spacings")
HEAD = (*LABELS, "group", "held_back", "block")
COLUMNS = (*HEAD, *(f"draw_{k}" for k in range(1, DRAWS + 1)))
EXAMPLE = "place,own_table,quality,per_spacing.quality,97.2,%,250,,false,1,96.8,..."
UNSEEN = Path(str(resources.files("metersim") / "data" / "unseen.csv"))

OUTLIERS: Mapping[str, str] = {  # by name of a case or laboratory
    "qi2013": "a drum with positive pressure in place of a disc under vacuum",
}

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Level:
    """A published number with predictive draws of what a source would print.

    Attributes
    ----------
    laboratory : str
        Laboratory and stand; all levels of one laboratory are one source.
    case, row, measure : str
        Name of the case, name of the row, and key of the measure.
    published : float
        Published number, in `unit`.
    unit : str
        Symbol of the unit; ``%`` for shares.
    spacings : int
        Spacings (or cells) that the source counted for the number.
    group : str
        Group of the row, such as ``tube``; usually empty.
    held_back : bool
        Whether the case was held back from the choice of the model's form.
    draws : ndarray, shape (blocks, draws)
        Predictive draws, in `unit`; each block has its own random seed.
    """

    laboratory: str
    case: str
    row: str
    measure: str
    published: float
    unit: str
    spacings: int
    group: str = ""
    held_back: bool = False
    draws: Floats

    @property
    def labels(self) -> tuple[str, ...]:
        """Cells of all columns before the block."""
        counted = (f"{self.published:g}", self.unit, str(self.spacings))
        rest = (self.group, str(self.held_back).lower())
        return self.laboratory, self.case, self.row, self.measure, *counted, *rest


def write_unseen(levels: Iterable[Level]) -> str:
    """Text of the file: one line for each level and block.

    Raises
    ------
    ValueError
        If a level has other than `BLOCKS` blocks of `DRAWS` draws, or a draw is no number.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for level in levels:
        if level.draws.shape != (BLOCKS, DRAWS) or not np.isfinite(level.draws).all():
            raise ValueError(f"{level.case}, {level.row}: needs {BLOCKS} x {DRAWS} numbers")
        for block, draws in enumerate(level.draws, 1):
            writer.writerow([*level.labels, block, *(f"{one:.5g}" for one in draws)])
    return text.getvalue()


def read_unseen(path: Path) -> tuple[Level, ...]:
    """Levels of a file; raises `BadInput` with the faults of its lines."""
    where = str(path)
    rows = csv_rows(read_text(path), where, columns=", ".join(COLUMNS[:12]), example=EXAMPLE)
    if tuple(rows[0][1]) != COLUMNS:
        raise bad(where, "row 1", f"must name the columns {', '.join(HEAD)}, draw_1 to {DRAWS}")
    found = each_row(rows, len(COLUMNS), _complaints)
    if found:
        raise BadInput(first_of([Fault(where, key, text) for key, text in found], where))
    blocks: dict[tuple[str, ...], dict[str, Sequence[str]]] = {}
    for line, cells in rows[1:]:
        labels, block, draws = (
            tuple(cells[: len(HEAD) - 1]),
            cells[len(HEAD) - 1],
            cells[len(HEAD) :],
        )
        if blocks.setdefault(labels, {}).setdefault(block, draws) is not draws:
            raise bad(where, f"row {line}", f"repeats block {block} of a level; remove it")
    for labels, each in blocks.items():
        if len(each) != BLOCKS:
            raise bad(where, "", f"{labels[1]}, {labels[2]}: needs the blocks 1 to {BLOCKS}")
    return tuple(_level(labels, each) for labels, each in blocks.items())


def shipped_unseen() -> tuple[Level, ...]:
    """Levels of the shipped file; none where no file is shipped."""
    return read_unseen(UNSEEN) if UNSEEN.is_file() else ()


def _level(labels: tuple[str, ...], blocks: dict[str, Sequence[str]]) -> Level:
    laboratory, case, row, measure, published, unit, spacings, group, held_back = labels
    return Level(
        laboratory=laboratory,
        case=case,
        row=row,
        measure=measure,
        published=float(published),
        unit=unit,
        spacings=int(spacings),
        group=group,
        held_back=TRUTH[held_back],
        draws=np.array([blocks[str(k)] for k in range(1, BLOCKS + 1)], float),
    )


def _complaints(cells: list[str]) -> list[tuple[str, str]]:
    """Column and message of each fault of a line."""
    given = dict(zip(COLUMNS, cells, strict=True))
    found = [(name, "is empty; give a text") for name in LABELS[:4] if not given[name]]
    numbers = ("published", *COLUMNS[len(HEAD) :])
    found += [(name, "must be a number") for name in numbers if not _is_number(given[name])]
    if not (given["spacings"].isdecimal() and int(given["spacings"]) > 0):
        found.append(("spacings", "must be a whole number above 0"))
    if given["held_back"] not in TRUTH:
        found.append(("held_back", "must be true or false"))
    if given["block"] not in map(str, range(1, BLOCKS + 1)):
        found.append(("block", f"must be a whole number from 1 to {BLOCKS}"))
    return found


def _is_number(word: str) -> bool:
    try:
        return math.isfinite(float(word))
    except ValueError:
        return False
