"""Measured spacings, places or times: the reading of files, and sums for measures."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.fields import number, specs
from metersim.files.tables import (
    NUMBER,
    Rows,
    csv_rows,
    each_row,
    first_of,
    plain_columns,
    plain_numbers,
    read_text,
)
from metersim.files.units import UNITS, Unit
from metersim.measures.spacing import CLASS_NAMES, ROUNDING, classes_of, place_sums
from metersim.measures.tally import CP3_WINDOW, STRETCHES
from metersim.run.records import Seeds

FEWEST = 20  # spacings; one of fewer would be more than 5 percentage points of a share
ROW = "row"
OF_A_RUN = ("replicate", *Seeds.names)
OF_A_MACHINE = ("replicate", "row", *Seeds.names)

Floats = NDArray[np.float64]
Parts = dict[str, NDArray[np.int64]]


@dataclass(frozen=True, kw_only=True)
class MeasuredSpacings:
    """Spacings as they were measured.

    Attributes
    ----------
    rows : tuple of ndarray
        Spacings of each row, in order: [m], or [s] where times were measured.
    kind : str
        Measured quantity in the file: ``spacing``, ``position`` or ``time``.
    column : str
        Column of the file, such as ``spacing_cm``.
    where : str
        Name of the file.
    labels : tuple of str
        Name of each row, from the column ``row``; empty where the file has none.
    starts : tuple of float
        Place of the first seed of each row, as the file gives it [m], or its time [s]; empty where
        spacings were measured.
    """

    rows: tuple[Floats, ...]
    kind: str
    column: str
    where: str
    labels: tuple[str, ...] = ()
    starts: tuple[float, ...] = ()

    @property
    def size(self) -> int:
        """Number of spacings."""
        return sum(row.size for row in self.rows)


@dataclass(frozen=True, kw_only=True)
class _Reading:
    """Columns of measured quantities; a file must have one of them."""

    spacing: float = number("mm cm m in ft", 0.01, 1e5, "from one seed to the next")
    position: float = number("mm cm m in ft", -1e9, 1e9, "along the row, as a tape shows it")
    time: float = number("s ms", -1e10, 1e10, "of a sensor's pulse")


COLUMNS = {key: spec for spec in specs(_Reading).values() for key in spec.keys}
NAMED = " or ".join(
    f"{name}_ with {', '.join(unit.suffix for unit in spec.units)}"
    for name, spec in specs(_Reading).items()
)


def read_spacings(path: Path) -> MeasuredSpacings:
    """Read a CSV file of spacings, of the form that `parse_spacings` describes."""
    return parse_spacings(read_text(path), str(path))


def parse_spacings(content: str, where: str) -> MeasuredSpacings:
    """Read measured spacings from the text of a CSV file.

    The first row names the columns.  One of them gives the measured quantity with its unit:
    ``spacing_cm`` from one seed to the next, ``position_cm`` along a tape or a belt (mm, cm, m,
    in or ft), or ``time_s`` of a sensor's pulses (s or ms).  A second, ``row``, may name rows or
    replicates; no spacing runs from one to another.  The CSV file of a run can be read too.
    Columns in inches or feet take ``6 1/2``, ``7"`` and ``1' 3"``, too.

    Places and times must not fall.  They may be equal, as two seeds may lie on one spot; a
    spacing is above 0.

    Parameters
    ----------
    content : str
        Text of the file.
    where : str
        Name of the file, for the faults.

    Returns
    -------
    MeasuredSpacings
        At least `FEWEST` spacings.

    Raises
    ------
    BadInput
        With the faults found, each with its row (the header is row 1) and column.
    """
    made = _plain(content, where)
    return _enough(made if made is not None else _checked(content, where))


def _plain(content: str, where: str) -> MeasuredSpacings | None:
    """Spacings of a file in which nothing is wrong or unusual; None for any other file."""
    table = plain_columns(content)
    header = tuple(table or ())
    of_a_run = header in (OF_A_RUN, OF_A_MACHINE)
    names = [name for name in header if name in COLUMNS]
    if table is None or not (of_a_run or (len(names) == 1 and {*header} <= {*names, ROW})):
        return None
    column, read = names[0], plain_numbers(table[names[0]])
    labels = [table[name] for name in (OF_A_RUN[0], ROW) if name in header]
    if read is None or any(not one or one != one.strip() for each in labels for one in {*each}):
        return None
    spec, unit = COLUMNS[column], UNITS[column.rpartition("_")[2]]
    read = read * unit.factor + unit.zero
    if not all(spec.complaint(end, spec.si_unit) is None for end in (read.min(), read.max())):
        return None
    if of_a_run:
        return _by_run(read, labels[0], labels[-1], ROW in header, where)
    parts = _parts_of(labels[0]) if labels else {"": np.arange(len(read))}
    if spec.name != "spacing" and any((np.diff(read[part]) < 0).any() for part in parts.values()):
        return None
    return _by_row(read, parts, column, ROW in header, where)


def _checked(content: str, where: str) -> MeasuredSpacings:
    """Spacings of a file, row by row; raises `BadInput` with the faults of all rows."""
    rows = csv_rows(content, where, columns=f"{NAMED}; and, if wanted, row", example="16.5")
    header = rows[0][1]
    if tuple(header) in (OF_A_RUN, OF_A_MACHINE):
        return _of_a_run(rows, where)
    if faults := _header_faults(header, where):
        raise BadInput(faults)
    if any(len(cells) == 2 and all(map(str.isdigit, cells)) for _, cells in rows[1:]) and (
        len(header) == 1
    ):
        message = "has commas as decimal marks; use a point as decimal mark, as in 16.5"
        raise bad(where, "", message)
    column = next(name for name in header if name != ROW)
    values, labels = _values(rows, column, where)
    parts, read = _parts_of(labels), np.array(values)
    if COLUMNS[column].name != "spacing" and (faults := _falling(rows, read, parts, column, where)):
        raise BadInput(first_of(faults, where))
    return _by_row(read, parts, column, ROW in header, where)


def _parts_of(labels: Sequence[str]) -> Parts:
    """Places in the file of each row, by its label."""
    codes = {label: k for k, label in enumerate(dict.fromkeys(labels))}
    of = np.fromiter(map(codes.__getitem__, labels), np.int64, len(labels))
    order = np.argsort(of, kind="stable")
    ends = np.searchsorted(of[order], np.arange(1, len(codes)))
    return dict(zip(codes, np.split(order, ends), strict=False))  # one part of no label, too


def _by_row(read: Floats, parts: Parts, column: str, named: bool, where: str) -> MeasuredSpacings:
    kind = COLUMNS[column].name
    each = [read[part] for part in parts.values()]
    return MeasuredSpacings(
        rows=tuple(part if kind == "spacing" else np.diff(part) for part in each),
        kind=kind,
        column=column,
        where=where,
        labels=tuple(parts) if named else (),
        starts=() if kind == "spacing" else tuple(float(part[0]) for part in each),
    )


def _header_faults(header: Sequence[str], where: str) -> list[Fault]:
    faults = []
    if any(NUMBER.fullmatch(cell) for cell in header):
        message = f"is a number; the first row must name what the column is: {NAMED}"
        return [Fault(where, f"row 1, {header[0]}", message)]
    seen: dict[str, str] = {}
    for column in header:
        key = f"row 1, {column or '(no name)'}"
        if column == ROW:
            if list(header).count(ROW) > 1:
                faults.append(Fault(where, key, "stands there twice; keep one"))
        elif column not in COLUMNS:
            faults.append(Fault(where, key, f"unknown column; {hint(column, [*COLUMNS, ROW])}"))
        else:
            name = COLUMNS[column].name
            if name in seen:
                message = f"mixed units: states the same as {seen[name]}; keep one of them"
                faults.append(Fault(where, key, message))
            elif seen:
                message = f"is measured beside {next(iter(seen.values()))}; keep one of them"
                faults.append(Fault(where, key, message))
            seen.setdefault(name, column)
    if not seen and not faults:
        faults.append(Fault(where, "row 1", f"names no measured column; give {NAMED}"))
    return list(dict.fromkeys(faults))


def _values(rows: Rows, column: str, where: str, label: str = ROW) -> tuple[list[float], list[str]]:
    """Values in SI and labels of rows, in the order of the file; `label` names their column."""
    header = rows[0][1]
    place = header.index(column)
    named = header.index(label) if label in header else None
    spec, unit = COLUMNS[column], UNITS[column.rpartition("_")[2]]
    values: list[float] = []
    labels: list[str] = []

    def read(cells: list[str]) -> list[tuple[str, str]]:
        cell = cells[place]
        value: float | str | None = float(cell) if NUMBER.fullmatch(cell) else inches(cell, unit)
        value = cell if value is None else value
        labels.append("" if named is None else cells[named])
        if named is not None and not cells[named]:
            return [(label, "is empty; name the row, such as 1")]
        if complaint := spec.complaint(value, unit):
            if value == 0:
                complaint += "; for two seeds on one spot, the least that you can distinguish"
            return [(column, complaint)]
        values.append(unit.to_si(float(value)))
        return []

    if faults := each_row(rows, len(header), read):
        raise BadInput(first_of([Fault(where, *fault) for fault in faults], where))
    return values, labels


MARKS = str.maketrans(
    dict.fromkeys("\N{PRIME}\N{LEFT SINGLE QUOTATION MARK}\N{RIGHT SINGLE QUOTATION MARK}", "'")
    | dict.fromkeys(
        "\N{DOUBLE PRIME}\N{LEFT DOUBLE QUOTATION MARK}\N{RIGHT DOUBLE QUOTATION MARK}", '"'
    )
    | {"\N{FRACTION SLASH}": "/"}
)
FRACTIONS = re.compile("[¼½¾⅛⅜⅝⅞]")
AMOUNT = r"(\d+/[1-9]\d*|\d+[ -]+\d+/[1-9]\d*|\d+\.?\d*|\.\d+)"
FEET = re.compile(rf"{AMOUNT} *(?:'(?!')|ft\.?|feet|foot)(.*)", re.ASCII)
INCHES = re.compile(rf"{AMOUNT} *(\"|''|in\.?|inch|inches)?", re.ASCII)
FOOT = 12  # inches


def inches(cell: str, unit: Unit) -> float | None:
    """A length as people write it in feet and inches, in the unit of its column.

    Parameters
    ----------
    cell : str
        Such as ``6 1/2``, ``7"``, ``1' 3"`` or ``2 ft 1/4 in``.
    unit : Unit
        Inches or feet, as the header says; a number without a mark is in this unit.

    Returns
    -------
    float or None
        Length in this unit; None for anything else, and for all other units. [unit]
    """
    if unit not in (UNITS["in"], UNITS["ft"]):
        return None
    cell = FRACTIONS.sub(lambda one: f" {unicodedata.normalize('NFKC', one[0])}", cell)
    rest, mark, feet = cell.translate(MARKS).strip().lower(), unit is UNITS["in"], 0.0
    if found := FEET.fullmatch(rest):
        feet, mark, rest = _amount(found[1]), True, found[2].strip(" -")
        if not rest:
            return feet * FOOT if unit is UNITS["in"] else feet
    if not (found := INCHES.fullmatch(rest)):
        return None
    small = _amount(found[1]) * (1 if mark or found[2] else FOOT)
    total = FOOT * feet + small
    return total if unit is UNITS["in"] else total / FOOT


def _amount(word: str) -> float:
    """Value of a number, a fraction, or both with a blank or hyphen between them."""
    return sum(float(Fraction(part)) for part in re.split("[ -]+", word))


def _falling(rows: Rows, read: Floats, parts: Parts, column: str, where: str) -> list[Fault]:
    """Faults of places or times below the previous one in the same row."""
    place = rows[0][1].index(column)
    faults = []
    for part in parts.values():
        for k in np.flatnonzero(np.diff(read[part]) < 0):
            (above, before), (line, after) = (rows[part[j] + 1] for j in (k, k + 1))
            message = f"{after[place]} comes before the {before[place]} of row {above}"
            message += "; give them in order along the row, each row of its own a name in 'row'"
            faults.append(Fault(where, f"row {line}, {column}", message))
    return faults


def _of_a_run(rows: Rows, where: str) -> MeasuredSpacings:
    """Spacings from the CSV file of a run."""
    values, replicates = _values(rows, "position_m", where, label=OF_A_RUN[0])
    of_machine = ROW in rows[0][1]
    numbers = _values(rows, "position_m", where, label=ROW)[1] if of_machine else replicates
    return _by_run(np.array(values), replicates, numbers, of_machine, where)


def _by_run(
    places: Floats, replicates: list[str], numbers: list[str], of_machine: bool, where: str
) -> MeasuredSpacings:
    """Spacings of a run, whose seeds are in the order of their cells.

    Each row of a machine is a row, and if there are replicates, each row of each of them.
    """
    several = len(set(replicates)) > 1
    pairs = zip(replicates, numbers, strict=True)
    labels = [f"{one}: {row}" if of_machine and several else row for one, row in pairs]
    parts = _parts_of(labels)
    each = [np.sort(places[part]) for part in parts.values()]
    return MeasuredSpacings(
        rows=tuple(np.diff(part) for part in each),
        kind="position",
        column="position_m",
        where=where,
        labels=tuple(parts) if of_machine else (),
        starts=tuple(float(part[0]) for part in each),
    )


def _enough(made: MeasuredSpacings) -> MeasuredSpacings:
    if made.size < FEWEST:
        many = f"{made.size} spacing{'s' * (made.size != 1)}"
        raise bad(made.where, "", f"has {many}; at least {FEWEST} are needed")
    if not any(row.any() for row in made.rows):
        raise bad(made.where, "", "has all seeds on one spot; give places along the row")
    return made


SHORTEST_BLOCK = 10  # spacings; only neighbours depend on each other if cells are independent


def blocks_for(spacings: int) -> int:
    """Number of blocks for so many spacings."""
    return max(1, min(STRETCHES, spacings // SHORTEST_BLOCK))


def block_sums(rows: Sequence[Floats], nominal: float, blocks: int) -> dict[str, Floats]:
    """Sums over contiguous blocks of nearly equal length, in the columns of a tally.

    Parameters
    ----------
    rows : sequence of ndarray
        Spacings over the nominal spacing, row by row. [1]
    nominal : float
        Nominal spacing, for the window of CP3. [m]
    blocks : int
        Number of blocks, from 1 to the number of spacings.

    Returns
    -------
    dict of str to ndarray, shape (blocks,)
        Columns of a tally that hold spacings.
    """
    ratio = np.concatenate(rows)
    starts = np.arange(blocks) * len(ratio) // blocks
    kind, excess = classes_of(ratio), ratio - 1
    normal = np.where(kind == 1, excess, 0.0)
    close = np.abs(excess) <= CP3_WINDOW / 2 * (1 + ROUNDING) / nominal

    def total(values: NDArray[np.generic]) -> Floats:
        return np.add.reduceat(values.astype(np.float64), starts)

    counts = np.stack([total(kind == k) for k in range(len(CLASS_NAMES))], axis=1)
    several, alone, vacant = place_sums(counts).T.astype(np.float64)
    return {
        **{f"class{k}": column for k, column in enumerate(counts.T, start=1)},
        "spacings": counts.sum(axis=1),
        "excess": total(excess),
        "excess2": total(excess**2),
        "normal": total(normal),
        "normal2": total(normal**2),
        "close": total(close),
        "several": several,
        "alone": alone,
        "vacant": vacant,
        "places": several + alone + vacant,
    }
