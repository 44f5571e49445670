"""The row unit's shaking at many moments."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from metersim.machine.losses import BLOCKED, CODES, KNOCKED, POOL_EMPTY, SHAKEN, SWEPT, TAKING
from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances
from metersim.machine.rowunit import (
    KNOT_INTERVAL,
    SAMPLE,
    SAMPLES,
    RowUnitStation,
    envelope,
    shaking,
)
from metersim.machine.singulator import TEETH
from metersim.machine.stations import CUT, LEAVES
from metersim.run.arrays.picking import LOW, Block, Crowd, Index, Picked, at_cells
from metersim.run.course import Course
from metersim.run.draws import BLOCK, PLACES, Array, KnotBlocks

Flags = NDArray[np.bool_]


class Shocks:
    """Knots of the shaking's envelope over its SD, around the times that are looked at."""

    def __init__(self, row_unit: RowUnitStation, draws: KnotBlocks, course: Course) -> None:
        self._row_unit, self._draws, self._course = row_unit, draws, course
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
        return envelope(self._draws.strength(block)), self._draws.phase(block)

    def _knots(self, time: Array) -> NDArray[np.intp]:
        return (time / KNOT_INTERVAL).astype(np.intp) - self._first_knots * BLOCK

    def speed(self, time: Array) -> Any:
        """Vertical speed of the row unit at some times [s]. [m/s]"""
        self._reach(float(time.max(initial=0.0)))
        sample = (time / SAMPLE).astype(np.intp)
        knot = sample // SAMPLES - self._first_knots * BLOCK
        size, phase, after = self._size, self._phase, knot + 1
        middle = (sample + 0.5) * SAMPLE
        motion = shaking(middle, size[knot], size[after], phase[knot], phase[after])
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


Whole = NDArray[np.int64]
Small = NDArray[np.int8]


class Stretch(NamedTuple):
    """Cells of a block that are worked out at once, and what they have to expect."""

    block: Block
    start: int
    stop: int
    chances: Chances
    vacuum: float
    shocks: Shocks
    at_edge: Moment
    at_cut: Moment


NONE = np.empty(0, dtype=np.intp)


class Released(NamedTuple):
    """Seeds that leave at the cut-off."""

    cells: Index  # within the stretch
    places: Index
    size: Array
    needed: Array
    travel: Array  # past the cut-off until they leave, m

    def some(self, which: Flags) -> Released:
        """Some of the seeds."""
        columns: list[Any] = [column[which] for column in self]
        return Released(*columns)

    def with_later(self, later: Released) -> Released:
        """These first seeds and later ones, by cell and place on the cell."""
        where = np.searchsorted(self.cells, later.cells, side="right")
        pairs: Iterator[Any] = zip(self, later, strict=True)
        return Released(*(np.insert(mine, where, others) for mine, others in pairs))


NOBODY = Released(NONE, NONE, np.empty(0), np.empty(0), np.empty(0))


class Fates(NamedTuple):
    """A stretch of cells from the pool to the cut-off; what is lost has one entry a seed."""

    joined: Small
    reason: Small
    lost: tuple[Index, ...]  # cells by the losses of `TAKING`
    firsts: Released  # seeds that joined their cells first
    later: Released  # seeds that joined them later

    def until(self, stop: int) -> Fates:
        """Those of the cells before one."""
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
        What would join them.
    most : ndarray of int, optional
        Seeds that the pool has left for each cell, when it may run out.
    """
    joined, reason, crowd = picked.joined, picked.reason.copy(), picked.crowd
    if most is not None:
        joined = np.minimum(joined, most).astype(np.int8)
        reason[(most <= 0) & (reason != BLOCKED)] = POOL_EMPTY
        crowd = crowd._replace(held=crowd.held & (np.arange(PLACES) < most[crowd.cells, None]))
    held = joined > 0
    held[crowd.cells] = False
    travel, *lost = _follow_alone(stretch, picked, held)
    for loss, cells in zip(TAKING, lost, strict=True):
        reason[cells] = CODES[loss.name]
    later = NOBODY
    if crowd.cells.size:
        crowded = _follow_crowd(stretch, crowd)
        reason[crowded.emptied] = crowded.why
        lost = [np.concatenate(pair) for pair in zip(lost, crowded.lost, strict=True)]
        several = crowded.released
        later, first = several.some(several.places > 0), several.some(several.places == 0)
        held[first.cells], travel[first.cells] = True, first.travel
    at = held.nonzero()[0]
    places = np.zeros(len(at), dtype=np.intp)
    firsts = Released(at, places, picked.size[at], picked.needed[at], travel[at])
    return Fates(joined, reason, tuple(lost), firsts, later)


def together(parts: Sequence[tuple[int, Fates]]) -> Fates:
    """Fates of a block of those of its stretches, each with the cell at which it starts."""
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
    """Cells that one seed joined; takes those that lose it from `held`.

    Returns how far the seed of each cell travels past the cut-off, and which cells lose theirs
    to the heap, to the singulator and on the way.
    """
    block, vacuum, chances = stretch.block, stretch.vacuum, stretch.chances
    pickup, edge, draws = block.stations.pickup, block.stations.singulator, block.draws
    part, needed, first = slice(stretch.start, stretch.stop), picked.needed, stretch.start
    if not held.any():
        return np.zeros(len(held)), NONE, NONE, NONE
    knocked = NONE
    if np.any(chances.knocks > 0):
        heap = draws.exponential("heap", np.arange(part.start, part.stop))
        knocked = ((heap < chances.knocks * (needed / vacuum)) & held).nonzero()[0]
        held[knocked] = False
    off_centre = np.abs(block.across[part]) * edge.narrowing
    deviate = edge.deviate(
        block.reach[part] * picked.size, off_centre, vacuum / needed, stretch.at_edge
    )
    rank = draws.edge[part]
    risky = (deviate > block.least_deviate) & ((rank < LOW) | (deviate > block.low_deviate))
    at = (risky & held).nonzero()[0]
    swept = at[deviate[at] > edge.weakest(rank[at])]
    held[swept] = False
    strength = pickup.strength(chances, needed, vacuum)
    spare = pickup.spare_load(chances, strength)
    at = ((spare < stretch.shocks.bound) & held).nonzero()[0]
    shaken = at[stretch.shocks.shake_off(at + first, spare[at])]
    held[shaken] = False
    return block.stations.release.travel(strength, stretch.at_cut), knocked, swept, shaken


class _Crowded(NamedTuple):
    lost: tuple[Index, Index, Index]
    released: Released
    emptied: Index
    why: Small


def _shares(held: Flags, part: Array) -> Array:
    """Part of the hole that pulls each held seed: the first has what the others leave it."""
    shares = np.where(held, part, 0.0)
    rows, first = np.arange(len(held)), held.argmax(axis=1)
    shares[rows, first] = 0.0
    shares[rows, first] = 1 - shares.sum(axis=1)
    return shares


def _follow_crowd(stretch: Stretch, crowd: Crowd) -> _Crowded:
    """Cells that several seeds joined."""
    block, vacuum = stretch.block, stretch.vacuum
    pickup, release, draws = block.stations.pickup, block.stations.release, block.draws
    cells, places = (crowd.cells + stretch.start)[:, None], np.arange(PLACES)
    chances = at_cells(stretch.chances, crowd.cells)
    column = Chances(*(v[:, None] if isinstance(v, np.ndarray) else v for v in chances))
    held, part, needed = crowd.held.copy(), crowd.part, crowd.needed
    why, lost = np.full(len(held), POOL_EMPTY, dtype=np.int8), []

    def lose(gone: Flags, reason: int) -> None:
        nonlocal part
        lost.append(np.repeat(crowd.cells, gone.sum(axis=1)))
        emptied = held.any(axis=1)
        held[gone] = False
        why[emptied & ~held.any(axis=1)] = reason

    if np.any(column.knocks > 0):
        heap = draws.exponential("heap", cells, places)
        pull = np.where(held, _shares(held, part) * vacuum, 1.0)
        lose(held & (heap < column.knocks * (needed / pull)), KNOCKED)
    else:
        lost.append(NONE)
    lose(_swept(stretch, crowd, held), SWEPT)
    pull = np.where(held, _shares(held, part) * vacuum, needed)
    strength = pickup.strength(column, needed, pull)
    spare = pickup.spare_load(column, strength)
    row, place = (held & (spare < stretch.shocks.bound)).nonzero()
    shaken = stretch.shocks.shake_off(cells[row, 0], spare[row, place])
    if shaken.any():
        gone = np.zeros_like(held)
        gone[row[shaken], place[shaken]] = True
        lose(gone, SHAKEN)
        pull = np.where(held, _shares(held, part) * vacuum, needed)
        strength = pickup.strength(column, needed, pull)
    else:
        lost.append(NONE)
    travel = np.zeros_like(needed)
    before, at = np.zeros(len(held)), stretch.at_cut.rows(crowd.cells)
    for k in range(PLACES):
        first = held[:, k] & ~held[:, :k].any(axis=1)
        after = before + release.lag(crowd.size[:, k], at)
        travel[:, k] = np.where(first, release.travel(strength[:, k], at), after)
        before = np.where(held[:, k], travel[:, k], before)
    row, place = np.nonzero(held)
    released = Released(
        crowd.cells[row], place, crowd.size[row, place], needed[row, place], travel[row, place]
    )
    empty = np.flatnonzero(~held.any(axis=1))
    return _Crowded((lost[0], lost[1], lost[2]), released, crowd.cells[empty], why[empty])


def _swept(stretch: Stretch, crowd: Crowd, held: Flags) -> Flags:
    """Which seeds of crowded cells the singulator takes."""
    block, vacuum, draws = stretch.block, stretch.vacuum, stretch.block.draws
    edge, left = block.stations.singulator, held.copy()
    cells = crowd.cells + stretch.start
    reach = np.zeros_like(crowd.size)
    reach[:, 0] = block.reach[cells]
    row, place = held[:, 1:].nonzero()
    reach[row, place + 1] = edge.reach(draws.normal("pose", cells[row], place + 1))
    reach *= crowd.size
    lone = (held.sum(axis=1) == 1).nonzero()[0]
    if lone.size:
        at, place = cells[lone], held[lone].argmax(axis=1)
        rank = np.where(place > 0, draws.uniform("edge", at, place), draws.edge[at])
        off_centre = np.abs(block.across[at]) * edge.narrowing
        ratio = vacuum / crowd.needed[lone, place]
        passed = stretch.at_edge.rows(crowd.cells[lone])
        deviate = edge.deviate(reach[lone, place], off_centre, ratio, passed)
        left[lone, place] = deviate <= edge.weakest(rank)
    several = (held.sum(axis=1) > 1).nonzero()[0]
    cells, reach, size = cells[several], reach[several], crowd.size[several]
    needed, part, here = crowd.needed[several], crowd.part[several], held[several]
    outline, seat = block.outline[cells], block.distance[cells] * edge.narrowing
    rows, teeth = np.arange(len(several)), np.arange(TEETH)[:, None]
    across = np.abs(np.sin(np.pi * draws.uniform("pair direction", cells, 0, teeth)))
    withstood = ndtri(draws.uniform("tooth", cells[:, None], np.arange(PLACES), teeth[:, None]))
    passed = stretch.at_edge.rows(crowd.cells[several][:, None])
    for tooth in range(TEETH):
        first = here.argmax(axis=1)
        apart = outline[:, None] * (size[rows, first][:, None] + size) - seat[:, None]
        apart[rows, first] = seat
        ratio = np.where(here, _shares(here, part) * vacuum / needed, 1.0)
        deviate = edge.deviate(reach, apart * across[tooth][:, None], ratio, passed)
        here = here & (withstood[tooth] >= deviate)
    left[several] = here
    return held & ~left
