"""What the seeds of a stretch of cells meet, and what is known of those that leave it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.machine.moment import Moment
from metersim.machine.rowunit import (
    KNOT_INTERVAL,
    SAMPLE,
    SAMPLES,
    RowUnitStation,
    envelope,
    shaking,
)
from metersim.machine.stations import CUT, LEAVES
from metersim.run.arrays.picking import Block, CellChances, Index
from metersim.run.course import Course
from metersim.run.draws import BLOCK, Array, KnotDraws

Flags = NDArray[np.bool_]


NO_KNOTS = np.empty(0), np.empty(0)
Motion = Callable[[Array, int, Array, Array], Array]


def motion_at(time: Any, first_knot: int, size: Array, phase: Array) -> Any:
    """Motion of the row unit at times [s], over its SD, by its envelope at knots."""
    sample = (time / SAMPLE).astype(np.intp)
    knot = sample // SAMPLES - first_knot
    middle = (sample + 0.5) * SAMPLE
    return shaking(middle, size[knot], size[knot + 1], phase[knot], phase[knot + 1])


class Shocks:
    """The row unit's shaking at many moments, from the knots of its envelope."""

    def __init__(
        self, row_unit: RowUnitStation, draws: KnotDraws, course: Course, motion: Motion
    ) -> None:
        self._row_unit, self._draws, self._course = row_unit, draws, course
        self._motion = motion
        self._first_knots = 0
        self._kept: dict[int, tuple[Array, Array]] = {}
        self.size = self._phase = np.empty(0)  # of the envelope at the knots that are kept
        self._first_cell = 0
        self.bound = 0.0  # a carried seed with more spare load than this is not shaken off

    def look_at(self, first_cell: int, start: float, end: float) -> None:
        """Prepare for the cells of a block, between two times [s]."""
        self._first_cell = first_cell
        if not self._row_unit.still:
            self._first_knots = int(start / KNOT_INTERVAL) // BLOCK
            self._reach(end)

    def _reach(self, end: float) -> None:
        """Keep the blocks of knots from the first wanted one to a time [s].

        All but the last are whole.
        """
        last, within = divmod(int(end / KNOT_INTERVAL) + 2, BLOCK)
        wanted = range(self._first_knots, max(last, *self._kept, 0) + 1)
        knots = dict.fromkeys(wanted[:-1], BLOCK)
        if last == wanted[-1]:
            knots[last] = min(1 << within.bit_length(), BLOCK)
        kept = {k: self._kept.get(k, NO_KNOTS) for k in wanted}
        short = [k for k in knots if len(kept[k][0]) < knots[k]]
        if short or len(kept) < len(self._kept):
            kept |= {k: self._draw(k, knots[k]) for k in short}
            self._kept = kept
            self.size, self._phase = map(np.concatenate, zip(*kept.values(), strict=True))
            self.bound = float(self._row_unit.peak_load(self.size.max()))

    def _draw(self, block: int, knots: int) -> tuple[Array, Array]:
        return envelope(self._draws.strengths(block, knots)), self._draws.phases(block, knots)

    def _knots(self, time: Array) -> NDArray[np.intp]:
        return (time / KNOT_INTERVAL).astype(np.intp) - self._first_knots * BLOCK

    def speed(self, time: Array) -> Any:
        """Vertical speed of the row unit at times [s]. [m/s]"""
        self._reach(float(time.max(initial=0.0)))
        motion = self._motion(time, self._first_knots * BLOCK, self.size, self._phase)
        return self._row_unit.vertical_speed(motion)

    def spans(self, cells: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The first knot of the way of each cell of the block, and the one after the last."""
        passages = cells + self._first_cell
        start = self._knots(self._course.times(passages, LEAVES))
        return start, self._knots(self._course.times(passages, CUT)) + 2

    def shake_off(self, cells: NDArray[np.intp], spare: Array) -> NDArray[np.bool_]:
        """Whether the hardest shock on the way shakes seeds off, by cell of the block."""
        off = spare < 0
        if not self._row_unit.still:
            peaks = [self.size[a:b].max() for a, b in zip(*self.spans(cells), strict=True)]
            off |= spare < self._row_unit.peak_load(np.array(peaks, dtype=float))
        return off


class Stretch(NamedTuple):
    """Cells of a block that are computed at once, and their conditions."""

    block: Block
    start: int  # first cell, counted in the block
    stop: int  # the cell after the last
    chances: CellChances
    vacuum_at_edge: Array  # at the hole of each cell when it passes the singulator, Pa
    vacuum_at_cut: Array  # the same at the cut-off, Pa
    shocks: Shocks
    at_edge: Moment  # when the cells pass the singulator
    at_cut: Moment  # when the cells pass the cut-off


NONE = np.empty(0, dtype=np.intp)


class Released(NamedTuple):
    """Seeds that leave at the cut-off."""

    cells: Index  # counted in the stretch
    nth: Index  # number of each seed in its cell: 0 joined first
    size: Array
    needed: Array
    travel: Array  # travel past the cut-off until they leave, m

    def some(self, which: Flags | slice) -> Released:
        """Some of the seeds."""
        columns: list[Any] = [column[which] for column in self]
        return Released(*columns)

    def with_later(self, later: Released) -> Released:
        """These first seeds together with later ones, sorted by cell and by seed in cell."""
        where = np.searchsorted(self.cells, later.cells, side="right")
        pairs: Iterator[Any] = zip(self, later, strict=True)
        return Released(*(np.insert(mine, where, others) for mine, others in pairs))
