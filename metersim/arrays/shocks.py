"""The row unit's shaking at many moments."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.course import Course
from metersim.luck import BLOCK, Array, KnotLuck
from metersim.physics import rowunit
from metersim.physics.rowunit import KNOT_INTERVAL, SAMPLE, SAMPLES
from metersim.stations import CUT, LEAVES, RowUnitStation


class Shocks:
    """Knots of the shaking's envelope over its SD, around the times that are looked at."""

    def __init__(self, row_unit: RowUnitStation, luck: KnotLuck, course: Course) -> None:
        self._row_unit, self._luck, self._course = row_unit, luck, course
        self._first_knots = 0
        self._dealt: dict[int, tuple[Array, Array]] = {}
        self._size = self._phase = np.empty(0)
        self._first_cell = 0
        self.bound = 0.0  # spare load below which a carried seed may be shaken off

    def look_at(self, first_cell: int, start: float, end: float) -> None:
        """Be ready for the cells of a block, from one time [s] to another."""
        self._first_cell = first_cell
        if not self._row_unit.still:
            self._first_knots = int(start / KNOT_INTERVAL) // BLOCK
            self._reach(end)

    def _reach(self, end: float) -> None:
        """Keep the blocks of knots from the first that is wanted to a time [s]."""
        last = (int(end / KNOT_INTERVAL) + 2) // BLOCK
        wanted = range(self._first_knots, max(last, *self._dealt, 0) + 1)
        if list(self._dealt) != list(wanted):
            self._dealt = {k: self._dealt.get(k) or self._deal(k) for k in wanted}
            self._size, self._phase = map(np.concatenate, zip(*self._dealt.values(), strict=True))
            self.bound = float(self._row_unit.peak_load(self._size.max()))

    def _deal(self, block: int) -> tuple[Array, Array]:
        return rowunit.envelope(self._luck.strength(block)), self._luck.phase(block)

    def _knots(self, time: Array) -> NDArray[np.intp]:
        return (time / KNOT_INTERVAL).astype(np.intp) - self._first_knots * BLOCK

    def speed(self, time: Array) -> Any:
        """Vertical speed of the row unit at some times [s]. [m/s]"""
        self._reach(float(time.max(initial=0.0)))
        sample = (time / SAMPLE).astype(np.intp)
        knot = sample // SAMPLES - self._first_knots * BLOCK
        size, phase, after = self._size, self._phase, knot + 1
        middle = (sample + 0.5) * SAMPLE
        motion = rowunit.shaking(middle, size[knot], size[after], phase[knot], phase[after])
        return self._row_unit.vertical_speed(motion)

    def shake_off(self, cells: NDArray[np.intp], spare: Array) -> NDArray[np.bool_]:
        """Which seeds of a block's cells do not bear the hardest shock on their way."""
        off = spare < 0
        if not self._row_unit.still:
            passages = cells + self._first_cell
            start = self._knots(self._course.times(passages, LEAVES))
            end = self._knots(self._course.times(passages, CUT)) + 2
            peaks = [self._size[a:b].max() for a, b in zip(start, end, strict=True)]
            off |= spare < self._row_unit.peak_load(np.array(peaks, dtype=float))
        return off
