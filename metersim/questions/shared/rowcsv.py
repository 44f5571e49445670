"""Records of runs as CSV, in SI; column names contain their units."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.files.tables import csv_text
from metersim.machine.losses import REASONS
from metersim.run.records import Cells, Run, Seeds

SEED_COLUMNS = ("replicate", *Seeds.names)
CELL_COLUMNS = ("replicate", "cell", *Cells.names)


def as_csv(runs: Sequence[Run]) -> str:
    """CSV with one row a seed."""
    rows = (
        (run.replicate, *row)
        for run in runs
        for row in zip(*(column.tolist() for _, column in run.seeds.columns()), strict=True)
    )
    return csv_text(SEED_COLUMNS, rows)


def cells_csv(runs: Sequence[Run]) -> str:
    """CSV with one row a passage of a cell; the reason is in words."""
    rows = (
        (run.replicate, cell, *row[:-1], REASONS[row[-1]])
        for run in runs
        for cell, row in enumerate(
            zip(*(column.tolist() for _, column in run.cells.columns()), strict=True)
        )
    )
    return csv_text(CELL_COLUMNS, rows)
