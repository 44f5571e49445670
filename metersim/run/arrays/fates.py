"""Fates of the seeds on many cells, from the pool to the cut-off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import (
    BLOCKED,
    CODES,
    KNOCKED,
    PLUGGED,
    POOL_EMPTY,
    SHAKEN,
    SWEPT,
    TAKING,
)
from metersim.machine.moment import Moment
from metersim.machine.rowunit import (
    KNOT_INTERVAL,
    SAMPLE,
    SAMPLES,
    RowUnitStation,
    envelope,
    shaking,
)
from metersim.machine.singulator import (
    TEETH,
    direction_of_second,
    first_offset,
    second_offset,
)
from metersim.machine.stations import CUT, LEAVES
from metersim.run.arrays.picking import LOW, Block, CellChances, Crowd, Index, Picked
from metersim.run.course import Course
from metersim.run.draws import BLOCK, Array, KnotDraws

Flags = NDArray[np.bool_]


class Shocks:
    """The row unit's shaking at many moments, from the knots of its envelope."""

    def __init__(self, row_unit: RowUnitStation, draws: KnotDraws, course: Course) -> None:
        self._row_unit, self._draws, self._course = row_unit, draws, course
        self._first_knots = 0
        self._kept: dict[int, tuple[Array, Array]] = {}
        self._size = self._phase = np.empty(0)
        self._first_cell = 0
        self.bound = 0.0  # a carried seed with more spare load than this is not shaken off

    def look_at(self, first_cell: int, start: float, end: float) -> None:
        """Prepare for the cells of a block, between two times [s]."""
        self._first_cell = first_cell
        if not self._row_unit.still:
            self._first_knots = int(start / KNOT_INTERVAL) // BLOCK
            self._reach(end)

    def _reach(self, end: float) -> None:
        """Keep the blocks of knots from the first wanted one to a time [s]."""
        last = (int(end / KNOT_INTERVAL) + 2) // BLOCK
        wanted = range(self._first_knots, max(last, *self._kept, 0) + 1)
        if list(self._kept) != list(wanted):
            self._kept = {k: self._kept.get(k) or self._draw(k) for k in wanted}
            self._size, self._phase = map(np.concatenate, zip(*self._kept.values(), strict=True))
            self.bound = float(self._row_unit.peak_load(self._size.max()))

    def _draw(self, block: int) -> tuple[Array, Array]:
        return envelope(self._draws.strengths(block)), self._draws.phases(block)

    def _knots(self, time: Array) -> NDArray[np.intp]:
        return (time / KNOT_INTERVAL).astype(np.intp) - self._first_knots * BLOCK

    def speed(self, time: Array) -> Any:
        """Vertical speed of the row unit at times [s]. [m/s]"""
        self._reach(float(time.max(initial=0.0)))
        sample = (time / SAMPLE).astype(np.intp)
        knot = sample // SAMPLES - self._first_knots * BLOCK
        size, phase, after = self._size, self._phase, knot + 1
        middle = (sample + 0.5) * SAMPLE
        motion = shaking(middle, size[knot], size[after], phase[knot], phase[after])
        return self._row_unit.vertical_speed(motion)

    def shake_off(self, cells: NDArray[np.intp], spare: Array) -> NDArray[np.bool_]:
        """Whether the hardest shock on the way shakes seeds off, by cell of the block."""
        off = spare < 0
        if not self._row_unit.still:
            passages = cells + self._first_cell
            start = self._knots(self._course.times(passages, LEAVES))
            end = self._knots(self._course.times(passages, CUT)) + 2
            peaks = [self._size[a:b].max() for a, b in zip(start, end, strict=True)]
            off |= spare < self._row_unit.peak_load(np.array(peaks, dtype=float))
        return off


Whole = NDArray[np.int64]
Small = NDArray[np.int8]


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

    def some(self, which: Flags) -> Released:
        """Some of the seeds."""
        columns: list[Any] = [column[which] for column in self]
        return Released(*columns)

    def with_later(self, later: Released) -> Released:
        """These first seeds together with later ones, sorted by cell and by seed in cell."""
        where = np.searchsorted(self.cells, later.cells, side="right")
        pairs: Iterator[Any] = zip(self, later, strict=True)
        return Released(*(np.insert(mine, where, others) for mine, others in pairs))


NO_SEEDS = Released(NONE, NONE, np.empty(0), np.empty(0), np.empty(0))


class Fates(NamedTuple):
    """Fates of the seeds of a stretch of cells, from the pool to the cut-off."""

    joined: Small  # number of seeds that joined each cell
    reason: Small  # code of the reason for what each cell released
    lost: tuple[Index, ...]  # for each loss of `TAKING`, the cell of each lost seed
    firsts: Released  # seeds that joined their cells first
    later: Released  # seeds that joined them after the first

    def until(self, stop: int) -> Fates:
        """The fates of the cells before `stop`."""
        lost = tuple(cells[cells < stop] for cells in self.lost)
        firsts, later = (seeds.some(seeds.cells < stop) for seeds in (self.firsts, self.later))
        joined, reason = self.joined[:stop], self.reason[:stop]
        return Fates(joined, reason, lost, firsts, later)


def fates(stretch: Stretch, picked: Picked, most: Whole | None) -> Fates:
    """Follow the seeds of a stretch of cells.

    Parameters
    ----------
    stretch : Stretch
        The cells.
    picked : Picked
        The seeds that would join them from a full pool.
    most : ndarray of int, optional
        Seeds that the pool has left for each cell, if it may run out.
    """
    joined, reason, crowds = picked.joined, picked.reason.copy(), picked.crowds
    if most is not None:
        joined = np.minimum(joined, most).astype(np.int8)
        reason[(most <= 0) & (reason != BLOCKED) & (reason != PLUGGED)] = POOL_EMPTY
        crowds = tuple(crowd.at_most(most) for crowd in crowds)
    held = joined > 0
    for crowd in crowds:
        held[crowd.cells] = False
    travel, *lost = _follow_alone(stretch, picked, held)
    for loss, cells in zip(TAKING, lost, strict=True):
        reason[cells] = CODES[loss.name]
    later = NO_SEEDS
    for crowd in crowds:
        if not crowd.cells.size:
            continue
        crowded = _follow_crowd(stretch, crowd)
        reason[crowded.emptied] = crowded.why
        lost = [np.concatenate(pair) for pair in zip(lost, crowded.lost, strict=True)]
        several = crowded.released
        more, first = several.some(several.nth > 0), several.some(several.nth == 0)
        later = later.with_later(more)
        held[first.cells], travel[first.cells] = True, first.travel
    at = held.nonzero()[0]
    nth = np.zeros(len(at), dtype=np.intp)
    firsts = Released(at, nth, picked.size[at], picked.needed[at], travel[at])
    return Fates(joined, reason, tuple(lost), firsts, later)


def together(parts: Sequence[tuple[int, Fates]]) -> Fates:
    """Join the fates of stretches to those of a block; each comes with its first cell."""
    if len(parts) == 1:
        return parts[0][1]
    found = [fates for _, fates in parts]
    lost = tuple(
        np.concatenate([fates.lost[k] + start for start, fates in parts])
        for k in range(len(TAKING))
    )
    groups = []
    for name in ("firsts", "later"):
        seeds = [
            getattr(fates, name)._replace(cells=getattr(fates, name).cells + start)
            for start, fates in parts
        ]
        groups.append(Released(*map(np.concatenate, zip(*seeds, strict=True))))
    joined, reason = (
        np.concatenate([getattr(f, name) for f in found]) for name in ("joined", "reason")
    )
    firsts, later = groups
    return Fates(joined, reason, lost, firsts, later)


def _follow_alone(
    stretch: Stretch, picked: Picked, held: Flags
) -> tuple[Array, Index, Index, Index]:
    """Follow cells that one seed joined, and clear `held` where a cell loses it.

    Returns the travel of each cell's seed past the cut-off.  Then come the cells that lose their
    seed to the heap, to the singulator and to shaking.
    """
    block, chances = stretch.block, stretch.chances
    vacuum = stretch.vacuum_at_edge
    pickup, edge, draws = block.stations.pickup, block.stations.singulator, block.draws
    part, needed, first = slice(stretch.start, stretch.stop), picked.needed, stretch.start
    if not held.any():
        return np.zeros(len(held)), NONE, NONE, NONE
    knocked = NONE
    if np.any(chances.knocks > 0):
        heap = draws.exponential("heap", np.arange(part.start, part.stop))
        knocked = ((heap < chances.knocks * (needed / chances.vacuum)) & held).nonzero()[0]
        held[knocked] = False
    sides = pickup.long_side(block.shape[part]), picked.narrow
    reach = edge.reach(*sides, draws.pose[part]) * picked.size
    deviate = edge.deviate(reach, block.across[part], 1.0, vacuum / needed, stretch.at_edge)
    rank = draws.edge[part]
    risky = (deviate > block.least_deviate) & ((rank < LOW) | (deviate > block.low_deviate))
    at = (risky & held).nonzero()[0]
    swept = at[deviate[at] > edge.weakest(rank[at])]
    held[swept] = False
    strength = pickup.strength(chances.each, needed, stretch.vacuum_at_cut)
    spare = pickup.spare_load(chances.each, strength)
    at = ((spare < stretch.shocks.bound) & held).nonzero()[0]
    shaken = at[stretch.shocks.shake_off(at + first, spare[at])]
    held[shaken] = False
    return block.stations.release.travel(strength, stretch.at_cut), knocked, swept, shaken


class _Crowded(NamedTuple):
    """Fates of the seeds of crowded cells."""

    lost: tuple[Index, Index, Index]  # as in `Fates`
    released: Released
    emptied: Index  # cells that lost all their seeds
    why: Small  # code of the reason, for each emptied cell


def _shares(held: Flags, part: Array) -> Array:
    """Part of the hole that pulls each held seed; the first gets the part that the others leave."""
    shares = np.where(held, part, 0.0)
    rows, first = np.arange(len(held)), held.argmax(axis=1)
    shares[rows, first] = 0.0
    shares[rows, first] = 1 - shares.sum(axis=1)
    return shares


def _follow_crowd(stretch: Stretch, crowd: Crowd) -> _Crowded:
    """Follow cells that several seeds joined."""
    block = stretch.block
    pickup, release, draws = block.stations.pickup, block.stations.release, block.draws
    cells, nth = (crowd.cells + stretch.start)[:, None], np.arange(crowd.held.shape[1])
    column = stretch.chances.of(crowd.cells).columns()
    vacuum = stretch.vacuum_at_cut[crowd.cells][:, None]
    held, part, needed = crowd.held.copy(), crowd.part, crowd.needed
    why, lost = np.full(len(held), POOL_EMPTY, dtype=np.int8), []

    def lose(gone: Flags, reason: int) -> None:
        nonlocal part
        lost.append(np.repeat(crowd.cells, gone.sum(axis=1)))
        emptied = held.any(axis=1)
        held[gone] = False
        why[emptied & ~held.any(axis=1)] = reason

    if np.any(column.knocks > 0):
        heap = draws.exponential("heap", cells, nth)
        pull = np.where(held, _shares(held, part) * column.vacuum, 1.0)
        lose(held & (heap < column.knocks * (needed / pull)), KNOCKED)
    else:
        lost.append(NONE)
    lose(_swept(stretch, crowd, held), SWEPT)
    pull = np.where(held, _shares(held, part) * vacuum, needed)
    strength = pickup.strength(column.each, needed, pull)
    spare = pickup.spare_load(column.each, strength)
    row, nth = (held & (spare < stretch.shocks.bound)).nonzero()
    shaken = stretch.shocks.shake_off(cells[row, 0], spare[row, nth])
    if shaken.any():
        gone = np.zeros_like(held)
        gone[row[shaken], nth[shaken]] = True
        lose(gone, SHAKEN)
        pull = np.where(held, _shares(held, part) * vacuum, needed)
        strength = pickup.strength(column.each, needed, pull)
    else:
        lost.append(NONE)
    travel = np.zeros_like(needed)
    before, at = np.zeros(len(held)), stretch.at_cut.rows(crowd.cells)
    for k in range(held.shape[1]):
        first = held[:, k] & ~held[:, :k].any(axis=1)
        after = before + release.lag(crowd.size[:, k], at)
        travel[:, k] = np.where(first, release.travel(strength[:, k], at), after)
        before = np.where(held[:, k], travel[:, k], before)
    row, nth = np.nonzero(held)
    released = Released(
        crowd.cells[row], nth, crowd.size[row, nth], needed[row, nth], travel[row, nth]
    )
    empty = np.flatnonzero(~held.any(axis=1))
    return _Crowded((lost[0], lost[1], lost[2]), released, crowd.cells[empty], why[empty])


def _swept(stretch: Stretch, crowd: Crowd, held: Flags) -> Flags:
    """Whether the singulator takes each seed of crowded cells."""
    block, draws, left = stretch.block, stretch.block.draws, held.copy()
    edge, pickup = block.stations.singulator, block.stations.pickup
    cells = crowd.cells + stretch.start
    vacuum = stretch.vacuum_at_edge[crowd.cells]
    long, narrow = pickup.long_side(1.0), pickup.narrow_side(True, 1.0)
    reach = np.zeros_like(crowd.size)
    sides = pickup.long_side(block.shape[cells]), crowd.narrow
    reach[:, 0] = edge.reach(*sides, draws.pose[cells])
    row, nth = held[:, 1:].nonzero()
    reach[row, nth + 1] = edge.reach(long, narrow, draws.normal("pose", cells[row], nth + 1))
    reach *= crowd.size
    lone = (held.sum(axis=1) == 1).nonzero()[0]
    if lone.size:
        at, nth = cells[lone], held[lone].argmax(axis=1)
        rank = np.where(nth > 0, draws.uniform("edge", at, nth), draws.edge[at])
        ratio = vacuum[lone] / crowd.needed[lone, nth]
        passed = stretch.at_edge.rows(crowd.cells[lone])
        deviate = edge.deviate(reach[lone, nth], block.across[at], 1.0, ratio, passed)
        left[lone, nth] = deviate <= edge.weakest(rank)
    at = (held.sum(axis=1) > 1).nonzero()[0]
    left[at] = _swept_together(stretch, crowd.some(at), held[at], reach[at], vacuum[at])
    return held & ~left


def _swept_together(
    stretch: Stretch, crowd: Crowd, here: Flags, reach: Array, vacuum: Array
) -> Flags:
    """Which of several seeds on a hole are left after all teeth of the singulator."""
    draws, edge = stretch.block.draws, stretch.block.stations.singulator
    cells, nths = (crowd.cells + stretch.start)[:, None], np.arange(here.shape[1])
    lone_at = stretch.block.across[cells[:, 0]]
    passed = stretch.at_edge.rows(crowd.cells[:, None])
    for tooth in range(TEETH):
        shares = np.where(here, _shares(here, crowd.part), 1.0)
        turns = direction_of_second(draws.uniform("pair direction", cells, nths, tooth))
        outward = _outward(stretch.block, here, crowd.size, shares, turns, lone_at)
        ratio = shares * vacuum[:, None] / crowd.needed
        deviate = edge.deviate(reach, outward, shares, ratio, passed)
        excess = np.where(here, deviate - draws.normal("tooth", cells, nths, tooth), -np.inf)
        most = excess.argmax(axis=1)  # one tooth takes one seed, and the others settle
        here = here & ~((nths == most[:, None]) & (excess > 0))
    return here


def _outward(
    block: Block, here: Flags, size: Array, shares: Array, turns: Array, lone_at: Array
) -> Array:
    """Distances of seeds' centres from the path of the holes at a tooth, outwards. [m]

    A first seed lies away from the second one.  The others lie beside the first one.
    """
    pickup, rows = block.stations.pickup, np.arange(len(here))
    hole = pickup.hole_diameter
    ahead, outside = np.cos(turns), np.sin(turns)
    radius = pickup.outline(ahead, outside)
    outward: Array = outside * second_offset(radius * size, shares, hole)
    first = here.argmax(axis=1)
    after = here & (np.arange(here.shape[1]) > first[:, None])
    second = after.argmax(axis=1)
    away = first_offset(radius[rows, second] * size[rows, first], shares[rows, second], hole)
    outward[rows, first] = np.where(after.any(axis=1), -outside[rows, second] * away, lone_at)
    return outward
