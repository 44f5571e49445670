"""Seeds on many cells from the pool to the cut-off, one cell after the other.

The order is that of `metersim.run.hole`: heap, singulator, shaking.  After each loss, the first
seed that is left gets the part of the hole that the others leave.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from metersim.machine.losses import BLOCKED, KNOCKED, PLUGGED, POOL_EMPTY, SHAKEN, SWEPT
from metersim.machine.pickup import PickupStation
from metersim.machine.release import ReleaseStation
from metersim.machine.rowunit import RowUnitStation
from metersim.machine.singulator import (
    TEETH,
    SingulatorStation,
    direction_of_second,
    first_offset,
    push_of_edges,
    second_offset,
)
from metersim.run.arrays.crowd import LEAST_DEVIATE
from metersim.run.arrays.picking import LOW
from metersim.run.compiled.draws import exponential, index_of, normal, uniform
from metersim.run.draws import MOST_SEEDS

BY_HEAP, BY_EDGE, BY_SHAKING = range(3)  # rows of lost seeds, as in `metersim.machine.losses`
NO_MOMENT: Any = None  # the release asks nothing of it
RELEASED = 3  # after the numbers of lost seeds, that of released ones


class FollowColumns(NamedTuple):
    """What is drawn for the first seeds of a block, and what follows from it alone."""

    pose: Any
    edge: Any
    shape: Any
    across: Any


class Way(NamedTuple):
    """What the cells of a stretch meet; one entry a cell."""

    vacuum_at_edge: Any
    vacuum_at_cut: Any
    at_edge: Any
    first_knot: Any  # of the row unit's shaking between the pool and the cut-off; empty if still
    last_knot: Any


def follow_cells(
    pickup: PickupStation,
    singulator: SingulatorStation,
    release: ReleaseStation,
    row_unit: RowUnitStation,
    block: FollowColumns,
    chances: Any,
    given: Any,
    keys: Any,
    way: Way,
    shocks: Any,
    firsts: Any,
    crowd: Any,
    most: Any,
    found: Any,
    released: Any,
) -> Any:
    """Follow the seeds of the cells of a stretch.

    Parameters
    ----------
    pickup, singulator, release, row_unit : record
        The stations.
    block : FollowColumns
        Columns of the block.
    chances : tuple of ndarray
        Chances, and for each cell its entry among them.
    given : tuple
        First cell of the block, first cell of the stretch in the block, and the two deviates below
        which the singulator takes no lone seed: any, and one with a rank above `LOW`.
    keys : record
        Keys of the causes of draws.
    way : Way
        What the cells meet.
    shocks : tuple
        Envelope of the row unit's shaking at knots, and the load that none exceeds.
    firsts : tuple of ndarray
        Size, needed vacuum and narrow side of the first seed of each cell.
    crowd : ndarray of records
        Seeds of cells that several seeds join.
    most : ndarray of int
        Seeds that the pool has left for each cell; empty if it cannot run out.
    found : tuple of ndarray
        Seeds that joined each cell, and the reason for what it releases, from a full pool; they
        are corrected.  Then the cells of lost seeds, one row a loss; they are filled in.
    released : Released
        Seeds that leave at the cut-off; they are filled in.

    Returns
    -------
    ndarray of int
        Seeds lost to the heap, to the singulator and to shaking, and seeds released.
    """
    first, start, least, least_of_most = given
    table, entries = chances
    sizes, needs, narrows = firsts
    joined, reason, lost = found
    poses, edges, shapes, acrosses = block.pose, block.edge, block.shape, block.across
    vacuum_at_edge, vacuum_at_cut = way.vacuum_at_edge, way.vacuum_at_cut
    moments_at_edge = way.at_edge
    envelopes, bound = shocks
    first_knot, last_knot = way.first_knot, way.last_knot
    held, share = np.empty(MOST_SEEDS, np.intp), np.empty(MOST_SEEDS)
    reach = np.empty(MOST_SEEDS)
    counts = np.zeros(4, np.intp)
    after = 0  # seeds of the crowd on cells so far
    for k in range(len(entries)):
        begin, many = after, joined[k]
        if many > 1:
            after += many
        if len(most) > 0:
            if most[k] <= 0 and reason[k] != BLOCKED and reason[k] != PLUGGED:
                reason[k] = POOL_EMPTY
            joined[k] = many = min(many, most[k])
        if many == 0:
            continue
        cell, here = start + k, table[entries[k]]
        vacuum, at_edge = vacuum_at_edge[k], moments_at_edge[k]
        hardest = bound
        if after == begin:  # no other seed would have joined
            size, needed = sizes[k], needs[k]
            if here.knocks > 0:
                heap = exponential(keys.heap, index_of(first, cell, 0, 0))
                if heap < here.knocks * (needed / here.vacuum):
                    reason[k] = KNOCKED
                    _lose(lost, counts, BY_HEAP, k)
                    continue
            long = pickup.long_side(shapes[cell])
            half = singulator.reach(long, narrows[k], poses[cell]) * size
            deviate = singulator.deviate(half, acrosses[cell], 1.0, vacuum / needed, at_edge)
            rank = edges[cell]
            risky = deviate > least and (rank < LOW or deviate > least_of_most)
            if risky and deviate > singulator.weakest(rank):
                reason[k] = SWEPT
                _lose(lost, counts, BY_EDGE, k)
                continue
            strength = pickup.strength(here, needed, vacuum_at_cut[k])
            spare = pickup.spare_load(here, strength)
            if spare < bound:
                if len(first_knot) > 0:
                    hardest = _hardest(row_unit, envelopes, first_knot[k], last_knot[k])
                if spare < hardest:
                    reason[k] = SHAKEN
                    _lose(lost, counts, BY_SHAKING, k)
                    continue
            travel = release.travel(strength, NO_MOMENT)
            _let_go(released, counts, k, 0, size, needed, travel)
            continue
        for j in range(many):
            held[j] = begin + j
        left = many
        if here.knocks > 0:
            left = _knock_off(here, first, cell, keys, crowd, held, share, many)
            for _ in range(left, many):
                _lose(lost, counts, BY_HEAP, k)
            if left == 0:
                reason[k] = KNOCKED
        many = left
        mine = acrosses[cell], poses[cell], edges[cell], pickup.long_side(shapes[cell])
        if many > 0:
            left = _sweep_off(
                pickup, singulator, at_edge, vacuum, mine, first, cell, keys, crowd, held, share,
                reach, many,
            )  # fmt: skip
        for _ in range(left, many):
            _lose(lost, counts, BY_EDGE, k)
        if many > 0 and left == 0:
            reason[k] = SWEPT
        many = left
        if many > 0 and len(first_knot) > 0:
            hardest = _hardest(row_unit, envelopes, first_knot[k], last_knot[k])
        left = _shake_off(pickup, here, vacuum_at_cut[k], hardest, crowd, held, share, many)
        for _ in range(left, many):
            _lose(lost, counts, BY_SHAKING, k)
        if many > 0 and left == 0:
            reason[k] = SHAKEN
        many = left
        _share_out(crowd, held, share, many)
        travel = 0.0
        for j in range(many):
            seed = crowd[held[j]]
            if j == 0:
                strength = pickup.strength(here, seed.needed, share[0] * vacuum_at_cut[k])
                travel = release.travel(strength, NO_MOMENT)
            else:
                travel += release.lag(seed.size, NO_MOMENT)
            _let_go(released, counts, k, seed.nth, seed.size, seed.needed, travel)
    return counts


def _knock_off(
    here: Any, first: Any, cell: Any, keys: Any, crowd: Any, held: Any, share: Any, many: Any
) -> Any:
    """Let a heap above the carry line knock seeds off a cell; return how many are left."""
    _share_out(crowd, held, share, many)
    left = 0
    for j in range(many):
        seed = crowd[held[j]]
        strength = seed.needed / (share[j] * here.vacuum)
        if exponential(keys.heap, index_of(first, cell, seed.nth, 0)) >= here.knocks * strength:
            held[left] = held[j]
            left += 1
    return left


def _sweep_off(
    pickup: PickupStation,
    singulator: SingulatorStation,
    at: Any,
    vacuum: Any,
    mine: Any,
    first: Any,
    cell: Any,
    keys: Any,
    crowd: Any,
    held: Any,
    share: Any,
    reach: Any,
    many: Any,
) -> Any:
    """Let the singulator sweep seeds off a cell; return how many are left.

    `mine` has the seat across the track, the pose, the rank and the long side of a first seed.
    """
    across, pose, rank, long = mine
    hole = pickup.hole_diameter
    for j in range(many):
        seed = crowd[held[j]]
        if seed.nth > 0:
            pose = normal(keys.pose, index_of(first, cell, seed.nth, 0))
            long = pickup.long_side(1.0)
        reach[j] = singulator.reach(long, seed.narrow, pose) * seed.size
    if many == 1:  # it meets all teeth in one pose
        seed = crowd[held[0]]
        if seed.nth > 0:
            rank = uniform(keys.edge, index_of(first, cell, seed.nth, 0))
        deviate = singulator.deviate(reach[0], across, 1.0, vacuum / seed.needed, at)
        return 0 if deviate > singulator.weakest(rank) else 1
    for tooth in range(TEETH):
        _share_out(crowd, held, share, many)
        outside, radius, most, swept = 0.0, 0.0, 0.0, 0
        for j in range(many - 1, -1, -1):
            seed = crowd[held[j]]
            outward = across
            if j > 0:
                index = index_of(first, cell, seed.nth, tooth)
                turn = direction_of_second(uniform(keys.pair_direction, index))
                outside = math.sin(turn)
                radius = pickup.outline(math.cos(turn), outside)
                outward = outside * second_offset(radius * seed.size, share[j], hole)
            elif many > 1:  # away from the second one
                outward = -outside * first_offset(radius * seed.size, share[1], hole)
            if push_of_edges(reach[j], outward, singulator.offset, singulator.inner) <= 0:
                continue
            ratio = share[j] * vacuum / seed.needed
            deviate = singulator.deviate(reach[j], outward, share[j], ratio, at)
            if deviate > LEAST_DEVIATE:
                index = index_of(first, cell, seed.nth, tooth)
                excess = deviate - normal(keys.tooth, index)
                if excess > 0 and excess >= most:
                    most, swept = excess, j
        if most > 0:
            many -= 1
            for j in range(swept, many):
                held[j], reach[j] = held[j + 1], reach[j + 1]
        if many == 0:
            break
    return many


def _shake_off(
    pickup: PickupStation,
    here: Any,
    vacuum: Any,
    hardest: Any,
    crowd: Any,
    held: Any,
    share: Any,
    many: Any,
) -> Any:
    """Drop seeds at too little vacuum or at the hardest shock; return how many are left."""
    _share_out(crowd, held, share, many)
    left = 0
    for j in range(many):
        strength = pickup.strength(here, crowd[held[j]].needed, share[j] * vacuum)
        if pickup.spare_load(here, strength) >= hardest:
            held[left] = held[j]
            left += 1
    return left


def _hardest(row_unit: RowUnitStation, envelopes: Any, first: Any, last: Any) -> Any:
    """The hardest shock between two knots, the last one not included, over gravity."""
    largest = envelopes[first]
    for knot in range(first + 1, last):
        largest = max(largest, envelopes[knot])
    return row_unit.peak_load(largest)


def _share_out(crowd: Any, held: Any, share: Any, many: Any) -> None:
    """Part of the hole that pulls each seed; the first gets what the others leave."""
    free = 1.0
    for j in range(1, many):
        share[j] = crowd[held[j]].part
        free -= share[j]
    share[0] = free


def _lose(lost: Any, counts: Any, loss: Any, row: Any) -> None:
    lost[loss, counts[loss]] = row
    counts[loss] += 1


def _let_go(
    released: Any, counts: Any, row: Any, nth: Any, size: Any, needed: Any, travel: Any
) -> None:
    cells, nths, sizes, needs, travels = released
    place = counts[RELEASED]
    cells[place], nths[place], sizes[place] = row, nth, size
    needs[place], travels[place] = needed, travel
    counts[RELEASED] += 1
