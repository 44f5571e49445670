"""Seeds that join the holes of many cells, one cell after the other."""

from __future__ import annotations

from typing import Any, NamedTuple

from metersim.machine.losses import SEEDED
from metersim.machine.pickup import PickupStation
from metersim.run.compiled.draws import exponential, index_of, normal, uniform
from metersim.run.draws import MOST_SEEDS


class PickColumns(NamedTuple):
    """What is drawn for the first seeds of a block, and what follows from it alone."""

    meeting: Any
    lie: Any
    grip: Any
    size_draw: Any
    seat_draw: Any
    second: Any
    size: Any
    need: Any
    shape: Any


def pick_cells(
    pickup: PickupStation,
    block: PickColumns,
    chances: Any,
    cells: Any,
    keys: Any,
    joined: Any,
    reason: Any,
    firsts: Any,
    crowd: Any,
) -> Any:
    """Let seeds join the cells of a stretch from a pool that does not run out.

    Parameters
    ----------
    pickup : record
        The station.
    block : PickColumns
        Columns of the block.
    chances : ndarray
        Chances, and for each cell its entry among them.
    cells : tuple of int
        First cell of the block, and first cell of the stretch in the block.
    keys : record
        Keys of the causes of draws.
    joined, reason : ndarray
        Seeds that join each cell, and the reason why none does; they are filled in.  A cell with a
        reason is passed over.
    firsts : tuple of ndarray
        Size, needed vacuum and narrow side of first seeds; they are filled in.
    crowd : ndarray of records
        Seeds of cells that several seeds join; they are filled in.

    Returns
    -------
    int
        Seeds in the crowd.
    """
    table, entries = chances
    first, start = cells
    sizes, needs, narrows = firsts
    meetings, lies, grips, seconds = block.meeting, block.lie, block.grip, block.second
    block_sizes, block_needs, shapes = block.size, block.need, block.shape
    seeds = 0
    for k in range(len(entries)):
        if reason[k] != SEEDED:
            continue
        cell, here = start + k, table[entries[k]]
        meeting = meetings[cell]
        if meeting >= here.rate:
            reason[k] = pickup.why_empty(here, meeting)
            continue
        flat = pickup.lies_flat(here, lies[cell])
        size, need, shape = block_sizes[cell], block_needs[cell], shapes[cell]
        if grips[cell] > pickup.limit(here, flat):  # another one that holds joins
            rank = uniform(keys.grip, index_of(first, cell, 0, 0))
            deviate = pickup.first_deviate(here, flat, rank)
            size = pickup.first_size(deviate, block.size_draw[cell])
            need = pickup.relative_need(deviate, block.size_draw[cell], block.seat_draw[cell])
        needed = here.needed * (pickup.pose_need(flat) * need)
        narrow = pickup.narrow_side(flat, shape)
        joined[k], sizes[k], needs[k], narrows[k] = 1, size, needed, narrow
        left = pickup.later(here, pickup.width(shape) * size) - seconds[cell]
        if left > 0:
            _keep(crowd[seeds], k, 0, size, needed, 0.0, narrow)
            joined[k] = _others_join(pickup, here, first, cell, k, keys, left, crowd, seeds)
            seeds += joined[k]
    return seeds


def _others_join(
    pickup: PickupStation,
    here: Any,
    first: Any,
    cell: Any,
    row: Any,
    keys: Any,
    left: Any,
    crowd: Any,
    seeds: Any,
) -> Any:
    """Let more seeds join beside the first one; return how many there are then."""
    free = 1.0  # part of the hole that later seeds have not covered yet
    for nth in range(1, MOST_SEEDS):
        index = index_of(first, cell, nth, 0)
        if nth > 1:
            left -= exponential(keys.meeting, index)
        if left <= 0:
            return nth
        size = pickup.size(normal(keys.size, index))
        part = pickup.covers(uniform(keys.part, index), free)
        free -= part
        room = pickup.room_for(here, size, part)
        rank, seat = uniform(keys.grip, index), normal(keys.seat, index)
        needed = pickup.later_needed(room, rank, seat)
        narrow = pickup.narrow_side(True, 1.0)
        _keep(crowd[seeds + nth], row, nth, size, needed, part, narrow)
    return MOST_SEEDS


def _keep(seed: Any, row: Any, nth: Any, size: Any, needed: Any, part: Any, narrow: Any) -> None:
    seed.cells, seed.nth, seed.size, seed.needed = row, nth, size, needed
    seed.part, seed.narrow = part, narrow
