"""What grows while pieces of a run come: tables by stretch, loads, neighbours and the clock."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import REASONS
from metersim.machine.scenario import Scenario
from metersim.machine.stations import POINTS
from metersim.run.draws import MOST_SEEDS
from metersim.run.records import Cells, Ticks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Table:
    """Counts, and sums of some values, by stretch and class."""

    def __init__(self, cells: int, stretches: int, classes: int, values: int = 0) -> None:
        self._cells = cells
        self.tables = np.zeros((1 + values, stretches, classes))

    def add(self, cells: Ints, classes: NDArray[Any], *values: Floats) -> None:
        """Add items by their cell, their class and their values."""
        if not len(cells):
            return
        _, stretches, width = self.tables.shape
        first, last = (int(cell) * stretches // self._cells for cell in (cells.min(), cells.max()))
        code = classes
        if first != last:  # otherwise all belong to one stretch, as mostly in long runs
            code = (cells * stretches // self._cells - first) * width + classes
        for table, value in zip(self.tables, (None, *values), strict=True):
            part = np.bincount(code, value, minlength=(last - first + 1) * width)
            table[first : last + 1] += part.reshape(-1, width)


class Loads:
    """Seeds that cells released, and runs of cells that released none."""

    RUN_STARTS = MOST_SEEDS + 1  # class of an empty cell after a cell that was not empty

    def __init__(self, cells: int, stretches: int) -> None:
        self.table = Table(cells, stretches, MOST_SEEDS + 2)
        self.reasons = np.zeros(len(REASONS), dtype=np.int64)
        self.gaps = np.zeros(len(REASONS), dtype=np.int64)
        self.late = np.zeros(len(REASONS), dtype=np.int64)  # those of `gaps` behind a cell
        self.passed = 0
        self._reason: NDArray[np.int8] = np.zeros(1, dtype=np.int8)  # of the last cell
        self._filled = -1  # the last cell that released a seed
        self._longest = 0

    def add(self, cells: Cells, late_from: float = math.inf) -> None:
        """Add the next cells; those from a cell on count as late."""
        first, released = self.passed, cells.released
        self.passed += len(cells)
        some = released > 0
        starts = ~some
        starts[1:] &= some[:-1]
        starts[:1] &= self._filled == first - 1
        classes = released + self.RUN_STARTS * starts.view(np.int8)
        self.table.add(np.arange(first, self.passed), classes)
        self.reasons += np.bincount(cells.reason, minlength=len(REASONS))
        before = np.concatenate((self._reason, cells.reason))
        self._reason = before[-1:]
        filled = np.flatnonzero(some)
        if len(filled):
            behind = filled if self._filled >= 0 else filled[1:]
            self.gaps += np.bincount(before[behind], minlength=len(REASONS))
            if self.passed > late_from:
                late = before[behind[behind + first > late_from]]
                self.late += np.bincount(late, minlength=len(REASONS))
            filled += first
            run = max(filled[0] - self._filled, (filled[1:] - filled[:-1]).max(initial=0)) - 1
            self._longest = max(self._longest, int(run))
            self._filled = int(filled[-1])

    @property
    def longest(self) -> int:
        """Longest run of cells that released nothing, so far."""
        return max(self._longest, self.tail)

    @property
    def tail(self) -> int:
        """Cells behind the last one that released a seed, so far."""
        return self.passed - 1 - self._filled


class Neighbours:
    """Distances between neighbours in a row, from seeds that come piece by piece, nearly in order.

    No seed gets ahead of another by a whole piece.  So a seed is final once the first position of a
    later piece lies beyond it.  The other seeds wait.
    """

    def __init__(self) -> None:
        self._low = -math.inf
        self.positions: Floats = np.empty(0)
        self.cells: Ints = np.empty(0, dtype=np.int64)

    def add(self, positions: Floats, cells: Ints) -> tuple[Floats, Ints]:
        """Add seeds; return the distances that have become final, and the cell before each."""
        if not len(positions):
            return positions, cells
        low = float(positions.min())
        if not low >= self._low:
            raise RuntimeError(
                f"a seed of cells {cells[0]} to {cells[-1]} lies at {low:g}, "
                f"before the whole piece before it, which starts at {self._low:g}"
            )
        final = int(np.searchsorted(self.positions, low))
        if final:  # otherwise no distance is final, and later positions may be lower
            self._low = low
        ends = np.concatenate((self.positions[:final], [low]))
        gaps, left = ends[1:] - ends[:-1], self.cells[:final]
        positions = np.concatenate((self.positions[final:], positions))
        order = np.argsort(positions, kind="stable")  # cheap, as nearly in order
        self.positions = positions[order]
        self.cells = np.concatenate((self.cells[final:], cells))[order]
        return gaps, left

    def rest(self) -> tuple[Floats, Ints]:
        """The distances between the waiting seeds, when no more seeds come."""
        return np.diff(self.positions), self.cells[:-1]


class Clock:
    """Times at which the ends of stretches pass the cut-off, interpolated between ticks."""

    def __init__(self, scenario: Scenario, cells: int, stretches: int, first: int = 0) -> None:
        ends = first + np.ceil(np.arange(stretches + 1) * cells / stretches)
        self._scenario = scenario
        self._angles = ends * 2 * math.pi / scenario.disc.cells + POINTS[-1]
        self._times: Floats = np.empty(stretches + 1)
        self._done = 0
        self._last: Floats = np.empty(0)  # the last tick so far

    def add(self, first: int, ticks: Ticks) -> None:
        """Add the next ticks."""
        if not len(ticks):
            return
        end = first + len(ticks)
        (angle,) = self._scenario.tick_angles(end, end - 1)
        due = int(np.searchsorted(self._angles, angle, side="right"))
        if due > self._done:
            times = np.concatenate((self._last, ticks.time))
            angles = self._scenario.tick_angles(end, first - len(self._last))
            self._times[self._done : due] = np.interp(self._angles[self._done : due], angles, times)
            self._done = due
        self._last = ticks.time[-1:].copy()  # a copy, so that the piece can be freed

    def ends(self) -> Floats:
        """Times at which the first stretch begins and each ends, when no more ticks come. [s]"""
        self._times[self._done :] = self._last
        return self._times
