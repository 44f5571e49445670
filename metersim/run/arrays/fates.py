"""Fates of the seeds on many cells, from the pool to the cut-off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import BLOCKED, CODES, PLUGGED, POOL_EMPTY, TAKING
from metersim.run.arrays.crowd import follow_crowd
from metersim.run.arrays.picking import LOW, Index, Picked, Small
from metersim.run.arrays.stretch import NONE, Flags, Released, Stretch
from metersim.run.draws import Array

Whole = NDArray[np.int64]


class Fates(NamedTuple):
    """Fates of the seeds of a stretch of cells, from the pool to the cut-off."""

    joined: Small  # number of seeds that joined each cell
    reason: Small  # code of the reason for what each cell released
    lost: tuple[Index, ...]  # for each loss of `TAKING`, the cell of each lost seed
    released: Released  # by cell and by seed in cell

    def until(self, stop: int) -> Fates:
        """The fates of the cells before `stop`."""
        lost = tuple(cells[cells < stop] for cells in self.lost)
        seeds = slice(np.searchsorted(self.released.cells, stop))
        return Fates(self.joined[:stop], self.reason[:stop], lost, self.released.some(seeds))


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
    joined, reason, crowd = picked.joined, picked.reason.copy(), picked.crowd
    if most is not None:
        joined = np.minimum(joined, most).astype(np.int8)
        reason[(most <= 0) & (reason != BLOCKED) & (reason != PLUGGED)] = POOL_EMPTY
        crowd = crowd.some(crowd.nth < most[crowd.cells])
    held = joined > 0
    held[picked.crowd.cells] = False
    travel, *lost = _follow_alone(stretch, picked, held)
    for loss, cells in zip(TAKING, lost, strict=True):
        reason[cells] = CODES[loss.name]
    several, *others = follow_crowd(stretch, crowd, reason)
    first = several.some(several.nth == 0)
    held[first.cells], travel[first.cells] = True, first.travel
    at = held.nonzero()[0]
    nth = np.zeros(len(at), dtype=np.intp)
    firsts = Released(at, nth, picked.size[at], picked.needed[at], travel[at])
    return Fates(
        joined,
        reason,
        tuple(np.concatenate(pair) for pair in zip(lost, others, strict=True)),
        firsts.with_later(several.some(several.nth > 0)),
    )


def together(parts: Sequence[tuple[int, Fates]]) -> Fates:
    """Join the fates of stretches to those of a block; each comes with its first cell."""
    if len(parts) == 1:
        return parts[0][1]
    found = [fates for _, fates in parts]
    lost = tuple(
        np.concatenate([fates.lost[k] + start for start, fates in parts])
        for k in range(len(TAKING))
    )
    seeds = [fates.released._replace(cells=fates.released.cells + start) for start, fates in parts]
    joined, reason = (
        np.concatenate([getattr(f, name) for f in found]) for name in ("joined", "reason")
    )
    return Fates(joined, reason, lost, Released(*map(np.concatenate, zip(*seeds, strict=True))))


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
