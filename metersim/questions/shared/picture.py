"""What a picture of a row shows, as numbers: a histogram of spacings, and a strip of the row.

Nothing is drawn here, so that a page without matplotlib has the same numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.measures.spacing import ROUNDING, PerSpacing, class_counts, per_spacing
from metersim.run.records import Run, Seeds

EDGES = np.arange(36) / 10  # bounds of the histogram's bins in references
OVERFLOW = 3.6  # position of the bin of spacings beyond the last bound
CELLS_SHOWN = 24  # of a strip
SEVERAL = {0: "skip", 1: "usual", 2: "double", 3: "triple"}  # name of a cell by its seeds


def binned(spacings: ArrayLike, reference: float) -> tuple[NDArray[np.int64], PerSpacing]:
    """Counts of spacings by tenths of the reference with upper bounds included; class shares."""
    index = per_spacing(class_counts(spacings, reference))
    ratio = np.asarray(spacings, dtype=np.float64) / reference
    bins = np.searchsorted(EDGES[1:] * (1 + ROUNDING), ratio, side="left")
    return np.bincount(bins, minlength=EDGES.size).astype(np.int64), index


def eventful_start(released: NDArray[np.int8], length: int, step: int, margin: int) -> int:
    """Start of the first window with a skip and a double, else with either of them, else 0."""
    starts = np.arange(0, max(released.size - length, 0) + 1, step)
    low = starts + margin
    high = np.minimum(starts + length, released.size) - margin
    kinds = np.zeros(starts.size, dtype=np.int64)
    for odd in (released == 0, released == 2):
        total = np.append(0, np.cumsum(odd))
        kinds += total[high] > total[low]
    return int(starts[np.argmax(kinds)])


@dataclass(frozen=True, eq=False)
class Strip:
    """A piece of the row: its cells, and the seeds that lie in it.

    Attributes
    ----------
    start : int
        Number of the first cell.
    low, high : float
        Ends of the piece along the row. [m]
    places : ndarray, shape (cells,)
        Theoretical place of each cell, with the median seed at its own (assumption). [m]
    released, reason : ndarray of int, shape (cells,)
        Seeds that each cell released, and why; see `metersim.machine.losses.REASONS`.
    seeds : Seeds
        Records of the seeds between the ends; some may come from cells beside the piece.
    own : ndarray, shape (seeds,)
        Theoretical place of the cell of each seed. [m]
    """

    start: int
    low: float
    high: float
    places: NDArray[np.float64]
    released: NDArray[np.int8]
    reason: NDArray[np.int8]
    seeds: Seeds
    own: NDArray[np.float64]

    @property
    def cells(self) -> NDArray[np.int64]:
        """Numbers of the cells."""
        return np.arange(self.start, self.start + len(self.places))


def strip_of(run: Run, start: int | None = None, length: int = CELLS_SHOWN) -> Strip:
    """A piece of the row of a run.

    Parameters
    ----------
    run : Run
        The run.
    start : int, optional
        First cell of the piece.  By default it is the first piece with a skip and a double, or
        with either of them.
    length : int
        Number of cells, 1 or more; a shorter run is shown whole.

    Raises
    ------
    ValueError
        If the piece is empty or lies outside the run.
    """
    released, seeds, spacing = run.cells.released, run.seeds, run.scenario.spacing
    if length < 1:
        raise ValueError(f"length is {length}; allowed: 1 or more cells")
    length = min(length, released.size)
    if start is None:
        start = eventful_start(released, length, 1, min(3, (length - 1) // 2))
    if not 0 <= start <= released.size - length:
        raise ValueError(
            f"cells {start} to {start + length - 1} are outside the run: it has "
            f"cells 0 to {released.size - 1}"
        )
    # assumption: the median seed lies at its theoretical place
    offset = float(np.median(seeds.position - seeds.cell * spacing)) if len(seeds) else 0.0
    piece = slice(start, start + length)
    places = np.asarray(np.arange(start, start + length) * spacing + offset, dtype=np.float64)
    low, high = float(places[0]) - 0.7 * spacing, float(places[-1]) + 0.7 * spacing
    shown = seeds.part(np.flatnonzero((seeds.position >= low) & (seeds.position <= high)))
    own = np.asarray(shown.cell * spacing + offset, dtype=np.float64)
    return Strip(
        start,
        low,
        high,
        places,
        run.cells.released[piece].copy(),
        run.cells.reason[piece].copy(),
        shown,
        own,
    )


def kind_of(seeds: int) -> str:
    """Name of a cell that released so many seeds."""
    return SEVERAL.get(seeds, f"{seeds} seeds")
