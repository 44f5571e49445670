"""Strict reading of measured seeds: a CSV file with one row a seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, hint
from metersim.files.fields import number, specs
from metersim.files.tables import NUMBER, csv_rows, each_row, read_text
from metersim.files.units import UNITS

MIN_SEEDS = 10
DIMENSIONS = ("length", "width", "thickness")

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class MeasuredSeeds:
    """Seeds measured one by one.

    Attributes
    ----------
    dimensions : ndarray, shape (n, 3)
        Length, width and thickness of each seed, in falling order. [m]
    masses : ndarray, shape (n,), or None
        Mass of each seed; None when they were not weighed. [kg]
    reordered : int
        Number of seeds whose dimensions were in another order.
    where : str
        Name of the file.
    """

    dimensions: Floats
    masses: Floats | None
    reordered: int
    where: str


@dataclass(frozen=True, kw_only=True)
class _Seed:
    """Columns of a file of measured seeds; one range for all dimensions, as users swap them."""

    length: float = number("mm in", 0.2, 40, "longest dimension of one seed")
    width: float = number("mm in", 0.2, 40, "middle dimension of one seed")
    thickness: float = number("mm in", 0.2, 40, "shortest dimension of one seed")
    mass: float = number("mg g grain", 0.1, 3000, "mass of one seed")


COLUMNS = {key: spec for spec in specs(_Seed).values() for key in spec.keys}


def read_seeds(path: Path) -> MeasuredSeeds:
    """Read a CSV file of measured seeds, of the form that `parse_seeds` describes."""
    return parse_seeds(read_text(path), str(path))


def parse_seeds(content: str, where: str) -> MeasuredSeeds:
    """Read measured seeds from the text of a CSV file.

    The first row names the columns with their units: length_mm or length_in, width_mm or
    width_in, thickness_mm or thickness_in, and, if the seeds were weighed, mass_mg or mass_g.
    Every other row is one seed; at least `MIN_SEEDS` are needed.

    Parameters
    ----------
    content : str
        Text of the file.
    where : str
        Name of the file, for the faults.

    Raises
    ------
    BadInput
        With every fault found, each with its row (the header is row 1) and column.
    """
    rows = csv_rows(content, where, columns=", ".join(COLUMNS), example="10.54,7.26,4.57")
    header = rows[0][1]
    if faults := _header_faults(header, where):
        raise BadInput(faults)
    table: list[dict[str, float]] = []

    def read(cells: list[str]) -> list[tuple[str, str]]:
        seed, complaints = _seed(header, cells)
        table.append(seed)
        return complaints

    faults += [Fault(where, *fault) for fault in each_row(rows, len(header), read)]
    if len(table) < MIN_SEEDS:
        faults.append(Fault(where, "", f"has {len(table)} seeds; at least {MIN_SEEDS} are needed"))
    if faults:
        raise BadInput(faults)
    given = np.array([[seed[name] for name in DIMENSIONS] for seed in table])
    dimensions = np.sort(given, axis=1)[:, ::-1]
    weighed = "mass" in table[0]
    return MeasuredSeeds(
        dimensions=dimensions,
        masses=np.array([seed["mass"] for seed in table]) if weighed else None,
        reordered=int(np.any(given != dimensions, axis=1).sum()),
        where=where,
    )


def _header_faults(header: Sequence[str], where: str) -> list[Fault]:
    faults = []
    seen: dict[str, str] = {}
    for column in header:
        key = f"row 1, {column or '(no name)'}"
        if column not in COLUMNS:
            faults.append(Fault(where, key, f"unknown column; {hint(column, COLUMNS)}"))
            continue
        field = COLUMNS[column].name
        if field in seen:
            message = f"states the same as {seen[field]}; keep only one of them"
            faults.append(Fault(where, key, message))
        seen.setdefault(field, column)
    for name in DIMENSIONS:
        if name not in seen:
            keys = " or ".join(specs(_Seed)[name].keys)
            faults.append(Fault(where, "row 1", f"has no column {keys}"))
    return faults


def _seed(
    header: Sequence[str], cells: Sequence[str]
) -> tuple[dict[str, float], list[tuple[str, str]]]:
    """Values of one row in SI by field; and its faults, as column (or "") and message."""
    seed = {}
    complaints = []
    for column, cell in zip(header, cells, strict=True):
        spec, unit = COLUMNS[column], UNITS[column.rpartition("_")[2]]
        # the check refuses text that is no plain number
        value = float(cell) if NUMBER.fullmatch(cell) else cell
        if complaint := spec.complaint(value, unit):
            complaints.append((column, complaint))
        elif isinstance(value, float):
            seed[spec.name] = unit.to_si(value)
    return seed, complaints
