"""The vacuum in a meter's chamber, and what its cells let through, on the clock of the air.

The vacuum of all rows of a machine is solved at ticks and is constant between them.  A tick lies a
golden part before a whole number of ticks, so that no cell passes a point just then.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from metersim.machine.losses import TAKING
from metersim.machine.scenario import GOLDEN_PART
from metersim.machine.stations import CUT, EDGE, ENTERS, LEAVES, RETURNS
from metersim.run.course import Course
from metersim.run.draws import Array
from metersim.run.records import Cells

EMPTY, FILLED = "empty", "filled"  # discs at the start of a pass


class Vacuum:
    """The vacuum in the chamber of a meter at any time.

    Parameters
    ----------
    values : float or ndarray, shape (ticks,)
        One vacuum for the whole run, or one from each tick on. [Pa]
    ticks : ndarray, shape (ticks,), optional
        Times of the ticks, the first is 0. [s]
    """

    def __init__(self, values: Any, ticks: Array | None = None) -> None:
        self._values, self._ticks = values, ticks

    @property
    def steady(self) -> bool:
        """Whether it is the same for the whole run."""
        return self._ticks is None

    def at(self, times: Any) -> Any:
        """Vacuum at times [s]. [Pa]"""
        if self._ticks is None:
            return self._values
        return self._values[np.searchsorted(self._ticks, times, side="right") - 1]


def tick_time(number: Any, step: float) -> Any:
    """Time of a tick of the air; the first is 0. [s]"""
    return np.maximum((number - GOLDEN_PART) * step, 0.0)


def ticks_until(end: float, step: float) -> Array:
    """Times of all ticks up to a time [s]. [s]"""
    times: Array = tick_time(np.arange(int(end / step) + 2), step)
    return times[times <= end]


class Holes(NamedTuple):
    """Holes in the chamber that let air through, by what is on them; one number or one per tick."""

    in_pool: Any  # cells in the pool
    empty: Any  # carried cells without a seed
    seeded: Any  # carried cells with seeds


def first_turn(course: Course, cells: int, point: int) -> Array:
    """When the cells that were under way at the start pass a point, by hole; -1 if before. [s]

    Such a cell has the number of a hole less the number of holes.
    """
    number = np.arange(-cells, 0)
    later = np.flatnonzero(course.angles(number, point) > 0)
    times = np.full(cells, -1.0)
    times[later] = course.times(number[later], point)
    return times


def holes_at(course: Course, cells: Cells, sound: Array, start: str, ticks: Array) -> Holes:
    """Holes that let air through just before ticks.

    Parameters
    ----------
    course : Course
        When cells pass what.
    cells : Cells
        What the cells took and lost.
    sound : ndarray, shape (holes,)
        1 for a hole that lets air through, 0 for a plugged one.
    start : {'filled', 'empty'}
        Discs at the start.
    ticks : ndarray
        Times of the ticks. [s]
    """
    many = len(sound)
    number = np.arange(len(cells))
    weight = sound[number % many]
    enters, leaves, edge, cut = (
        course.times(number, point) for point in (ENTERS, LEAVES, EDGE, CUT)
    )
    left = cells.joined.copy()
    opens = np.where(left > 0, np.inf, leaves)
    for loss in TAKING:
        point = RETURNS[loss.station]
        if point == CUT:
            continue  # the hole is shut when this seed falls
        left = left - getattr(cells, loss.column)
        time = {LEAVES: leaves, EDGE: edge}[point]
        opens = np.where((left <= 0) & np.isinf(opens), time, opens)
    opens = np.minimum(opens, cut)

    def passed(times: Array, weights: Array) -> Array:
        order = np.argsort(times, kind="stable")
        total = np.concatenate(([0.0], np.cumsum(weights[order])))
        return np.asarray(total[np.searchsorted(times[order], ticks, side="left")])

    left_pool, opened = passed(leaves, weight), passed(opens, weight)
    old_cuts = first_turn(course, many, CUT)
    under_way = sound * (old_cuts > 0)
    old_left = passed(first_turn(course, many, LEAVES), under_way)
    carried = {start: old_left - passed(old_cuts, under_way)}
    return Holes(
        in_pool=passed(enters, weight) - left_pool + under_way.sum() - old_left,
        empty=opened - passed(cut, weight) + carried.get(EMPTY, 0.0),
        seeded=left_pool - opened + carried.get(FILLED, 0.0),
    )
