"""Lost stand and uneven plants of a run, split between the metering and the emergence.

The run is compared with rows that have one thing less.  All rows share the random numbers of the
run: a seed that stands in two rows comes up in both, and its plant is shifted equally far.  Seeds
of a perfect meter have the draws of the first seed that joins each cell, whether it stays or not.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.measures.indices import Measure, sd
from metersim.measures.observed import index_of, shifts, ups
from metersim.measures.places import Plan
from metersim.measures.stretches import Floats, Neighbours, Table
from metersim.run.draws import MOST_SEEDS
from metersim.run.records import Piece
from metersim.run.streams import Streams

ROWS = {
    "even": "one seed from every cell at even distances, and all of them come up",
    "even_up": "the same seeds, of which a part comes up",
    "skipping": "even distances, but cells that skipped are empty; all seeds come up",
    "doubled": "the same, but cells have as many seeds as in the run",
    "metered": "the seeds where they lie in the run; all of them come up",
}
"""Rows with which the run is compared, by the name of their sums."""
METERING = ("skips", "doubles", "scatter")
"""Parts of the metering, in the order in which they are added to a perfect row."""


class Rows:
    """Sums of the spacings of `ROWS`, while the run goes on.

    Parameters
    ----------
    scenario : Scenario
        Scenario of the run.
    streams : Streams
        The random draws of the run.
    cells, stretches : int
        Number of cells of the run, and number of stretches.
    """

    def __init__(self, scenario: Scenario, streams: Streams, cells: int, stretches: int) -> None:
        self._stand, self._streams = scenario.stand, streams
        self._nominal, self._cells, self._stretches = scenario.spacing, cells, stretches
        self._plan = Plan(scenario.way) if scenario.way else None
        self._rows = {name: Neighbours() for name in ROWS}
        self._tables = {name: Table(cells, stretches, 1, values=2) for name in ROWS}
        self._counts = {name: np.zeros(stretches) for name in ("filled", "sown", "even_plants")}

    def add(self, piece: Piece) -> None:
        """Add the next piece of the run, before any seed fails to come up."""
        seeds, nominal = piece.seeds, self._nominal
        cell = piece.first_cell + np.arange(len(piece.cells))
        starts = np.diff(seeds.cell, prepend=-1) != 0  # first seed of its cell
        perfect = (cell * MOST_SEEDS).astype(np.uint64)  # so they do not depend on the meter
        up = ups(perfect, self._streams, self._stand.emergence)
        # positions in nominal spacings, so that even ones are exact
        even = cell + shifts(perfect, self._streams, self._stand.plant_shift) / nominal
        moved = shifts(index_of(seeds), self._streams, self._stand.plant_shift) / nominal
        laid = seeds.cell + moved
        self._put("even", even, cell)
        self._put("even_up", even[up], cell[up])
        self._put("skipping", laid[starts], seeds.cell[starts])
        self._put("doubled", laid, seeds.cell)
        lies = self._plan.places(seeds, seeds.position) if self._plan else seeds.position
        self._put("metered", lies / nominal + moved, seeds.cell)
        for name, found in (
            ("filled", seeds.cell[starts]),
            ("sown", seeds.cell),
            ("even_plants", cell[up]),
        ):
            stretch = found * self._stretches // self._cells
            self._counts[name] += np.bincount(stretch, minlength=self._stretches)

    def _put(self, name: str, positions: Floats, cells: NDArray[np.int64]) -> None:
        self._note(name, *self._rows[name].add(positions, cells))

    def _note(self, name: str, gaps: Floats, left: NDArray[np.int64]) -> None:
        excess = gaps - 1
        self._tables[name].add(left, np.zeros(len(left), dtype=np.int64), excess, excess * excess)

    def columns(self) -> dict[str, Floats]:
        """The sums by column, when no more pieces come."""
        found = dict(self._counts)
        for name, row in self._rows.items():
            self._note(name, *row.rest())
            for column, table in zip(_names(name), self._tables[name].tables, strict=True):
                found[column] = table[:, 0]
        return found


def _names(row: str) -> tuple[str, str, str]:
    """Columns of a row: spacings, sum of their excess over the nominal spacing, and squares."""
    return f"{row}_spacings", f"{row}_excess", f"{row}_excess2"


Function = Callable[[dict[str, Any]], Any]
_SDS = {name: sd(*_names(name)) for name in ROWS} | {"run": sd("spacings", "excess", "excess2")}


def _variances(**weights: int) -> Function:
    """Sum of the variances of rows, each times its weight, in squares of the nominal spacing."""

    def function(sums: dict[str, Any]) -> Any:
        return sum(weight * _SDS[name](sums) ** 2 for name, weight in weights.items())

    return function


def _counts(constant: int, **weights: int) -> Function:
    """Sum of counts, each times its weight, over the cells, and a constant."""

    def function(sums: dict[str, Any]) -> Any:
        cells = np.where(sums["cells"] > 0, sums["cells"], np.nan)
        top = sum(weight * sums[name] for name, weight in weights.items())
        return constant + top / cells

    return function


def _lost(name: str, meaning: str, function: Function) -> Measure:
    return Measure(f"lost.{name}", "share", meaning, function=function, signed=True)


def _uneven(name: str, meaning: str, function: Function) -> Measure:
    return Measure(f"uneven.{name}", "area", meaning, function=function, signed=True)


_LOST = (
    _lost("whole", "cells less plants, over the cells", _counts(1, seeds=-1)),
    _lost("skips", "cells without a seed", _counts(1, filled=-1)),
    _lost("doubles", "second and further seeds of a cell, below 0", _counts(0, filled=1, sown=-1)),
    _lost("metering", "skips and doubles together", _counts(1, sown=-1)),
    _lost(
        "emergence",
        "cells of a perfect meter whose seed does not come up",
        _counts(1, even_plants=-1),
    ),
    _lost(
        "together",
        "rest: of seeds that the meter skips or doubles, a part would not come up",
        _counts(-1, sown=1, even_plants=1, seeds=-1),
    ),
)
_UNEVEN = (
    _uneven("whole", "variance of plant spacings", _variances(run=1)),
    _uneven("skips", "variance by skips in an even row", _variances(skipping=1, even=-1)),
    _uneven("doubles", "variance that doubles add to skips", _variances(doubled=1, skipping=-1)),
    _uneven(
        "scatter",
        "variance that the drive, the fall and the landing add to skips and doubles",
        _variances(metered=1, doubled=-1),
    ),
    _uneven(
        "metering",
        "variance by skips, doubles and scatter if all seeds come up",
        _variances(metered=1, even=-1),
    ),
    _uneven(
        "emergence",
        "variance by seeds that do not come up, with a perfect meter",
        _variances(even_up=1, even=-1),
    ),
    _uneven(
        "own",
        "variance that plants of perfectly even seeds have if all come up",
        _variances(even=1),
    ),
    _uneven(
        "together",
        "rest: what metering and emergence make together beyond each alone",
        _variances(run=1, metered=-1, even_up=-1, even=1),
    ),
)


def _share(part: Measure) -> Measure:
    """Share of a part in the variance of plant spacings."""
    top, whole = part.function, _SDS["run"]
    assert top is not None

    def function(sums: dict[str, Any]) -> Any:
        variance = whole(sums) ** 2
        return top(sums) / np.where(variance > 0, variance, np.nan)

    key = part.key.replace("uneven.", "uneven_share.")
    return Measure(key, "share", f"{part.meaning}, over the whole", function=function, signed=True)


PARTS: tuple[Measure, ...] = (*_LOST, *_UNEVEN, *map(_share, _UNEVEN[1:]))
"""Parts of the lost stand, as shares of the cells, and of the variance of plant spacings, also as
shares of it.

Notes
-----
``whole = metering + emergence + own + together`` and ``metering = skips + doubles + scatter``:
the lost stand has no part `own` and no part `scatter`.
derived: with cells that skip independently with the chance p, and emergence g, skips alone make
x^2 p/(1 - p)^2, emergence alone x^2 (1 - g)/g^2, and both x^2 (1 - q)/q^2 with q = (1 - p) g.
"""
