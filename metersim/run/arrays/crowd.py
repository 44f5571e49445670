"""Fates of seeds on cells that several seeds joined, from the pool to the cut-off."""

from __future__ import annotations

import numpy as np

from metersim.machine.losses import KNOCKED, SHAKEN, SWEPT
from metersim.machine.singulator import (
    TEETH,
    direction_of_second,
    first_offset,
    second_offset,
)
from metersim.run.arrays.picking import Crowd, Index, Small
from metersim.run.arrays.stretch import NONE, Flags, Released, Stretch
from metersim.run.draws import Array

LEAST_DEVIATE = -8.3  # below any normal draw by index


def follow_crowd(
    stretch: Stretch, crowd: Crowd, reason: Small
) -> tuple[Released, Index, Index, Index]:
    """Follow the seeds of a crowd, and set the reason of cells that lose all of them.

    Returns the seeds that leave at the cut-off.  Then come the cells of seeds lost to the heap, to
    the singulator and to shaking.
    """
    if not crowd.cells.size:
        return Released(NONE, NONE, *np.empty((3, 0))), NONE, NONE, NONE
    lost = []
    for code, leaves in ((KNOCKED, _knocked), (SWEPT, _swept), (SHAKEN, _shaken)):
        gone = leaves(stretch, crowd)
        cells = crowd.cells[gone]
        lost.append(cells)
        if cells.size:
            crowd = crowd.some(~gone)
            empty = np.ones(len(reason), dtype=bool)
            empty[crowd.cells] = False
            reason[cells[empty[cells]]] = code
    released = Released(crowd.cells, crowd.nth, crowd.size, crowd.needed, _travel(stretch, crowd))
    return released, lost[0], lost[1], lost[2]


def _first_of(cells: Index) -> Flags:
    """Whether each seed is the first that is left on its cell."""
    first = np.ones(len(cells), dtype=bool)
    np.not_equal(cells[1:], cells[:-1], out=first[1:])
    return first


def _shares(crowd: Crowd, starts: Index) -> Array:
    """Part of the hole that pulls each seed; the first gets the part that the others leave."""
    shares = crowd.part.copy()
    shares[starts] = 0.0
    shares[starts] = 1 - np.add.reduceat(shares, starts)
    return shares


def _starts(crowd: Crowd) -> Index:
    return _first_of(crowd.cells).nonzero()[0]


def _knocked(stretch: Stretch, crowd: Crowd) -> Flags:
    """Whether a heap above the carry line knocks each seed off."""
    chances = stretch.chances.of(crowd.cells)
    if not np.any(chances.knocks > 0):
        return np.zeros(len(crowd.cells), dtype=bool)
    heap = stretch.block.draws.exponential("heap", crowd.cells + stretch.start, crowd.nth)
    pull = _shares(crowd, _starts(crowd)) * chances.vacuum
    return np.asarray(heap < chances.knocks * (crowd.needed / pull))


def _swept(stretch: Stretch, crowd: Crowd) -> Flags:
    """Whether the singulator takes each seed."""
    block, draws = stretch.block, stretch.block.draws
    edge, pickup = block.stations.singulator, block.stations.pickup
    cells, nth = crowd.cells + stretch.start, crowd.nth
    pose, long = draws.pose[cells], np.asarray(pickup.long_side(block.shape[cells]))
    later = nth.nonzero()[0]
    pose[later] = draws.normal("pose", cells[later], nth[later])
    long[later] = pickup.long_side(1.0)
    reach = edge.reach(long, crowd.narrow, pose) * crowd.size
    vacuum = stretch.vacuum_at_edge[crowd.cells]
    first = _first_of(crowd.cells)
    lone = _lone_of(first)
    gone = np.zeros(len(cells), dtype=bool)
    if lone.size:
        rank = draws.edge[cells[lone]]
        later = nth[lone].nonzero()[0]
        rank[later] = draws.uniform("edge", cells[lone][later], nth[lone][later])
        weakest = edge.weakest(rank)
        gone[lone] = _deviates_alone(stretch, crowd, reach, vacuum, lone) > weakest
    together = np.ones(len(cells), dtype=bool)
    together[lone] = False
    _sweep_together(stretch, crowd, reach, vacuum, together.nonzero()[0], gone)
    return gone


def _lone_of(first: Flags) -> Index:
    """Seeds that are alone on their cells, by whether each seed is the first on its cell."""
    last = np.append(first[1:], True)
    return np.flatnonzero(first & last)


def _deviates_alone(
    stretch: Stretch, crowd: Crowd, reach: Array, vacuum: Array, seeds: Index
) -> Array:
    """Deviates of a tooth for seeds that are alone on their cells."""
    block, cells = stretch.block, crowd.cells[seeds]
    ratio = vacuum[seeds] / crowd.needed[seeds]
    outward, at = block.across[cells + stretch.start], stretch.at_edge.rows(cells)
    return np.asarray(
        block.stations.singulator.deviate(reach[seeds], outward, 1.0, ratio, at), dtype=float
    )


def _sweep_together(
    stretch: Stretch, crowd: Crowd, reach: Array, vacuum: Array, seeds: Index, gone: Flags
) -> None:
    """Mark those of several seeds on their cells that one of the teeth takes.

    One tooth takes one seed of a cell, and the others settle.  A seed that is left alone meets the
    teeth that are left in one pose.
    """
    draws, edge = stretch.block.draws, stretch.block.stations.singulator
    alone, alone_from = [], []
    for tooth in range(TEETH):
        if not seeds.size:
            break
        here = crowd.some(seeds)
        first = _first_of(here.cells)
        starts = first.nonzero()[0]
        shares = _shares(here, starts)
        outward = _outward(stretch, here, shares, first, tooth)
        ratio = shares * vacuum[seeds] / here.needed
        passed = stretch.at_edge.rows(here.cells)
        deviate = edge.deviate(reach[seeds], outward, shares, ratio, passed)
        risky = (deviate > LEAST_DEVIATE).nonzero()[0]
        cells = here.cells[risky]
        excess = deviate[risky] - draws.normal(
            "tooth", cells + stretch.start, here.nth[risky], tooth
        )
        pushed = (excess > 0).nonzero()[0]
        taken = risky[pushed[_greatest_of(cells[pushed], excess[pushed])]]
        gone[seeds[taken]] = True
        seeds = np.delete(seeds, taken)
        lone = _lone_of(_first_of(crowd.cells[seeds]))
        alone.append(seeds[lone])
        alone_from.append(np.full(len(lone), tooth + 1))
        seeds = np.delete(seeds, lone)
    if alone:
        _sweep_alone(
            stretch, crowd, reach, vacuum, np.concatenate(alone), np.concatenate(alone_from), gone
        )


def _greatest_of(cells: Index, values: Array) -> Index:
    """The seed with the greatest value on each cell; the first of equal ones."""
    first = _first_of(cells)
    if first.all():
        return np.arange(len(cells))
    most = np.maximum.reduceat(values, first.nonzero()[0])[np.cumsum(first) - 1]
    found = (values == most).nonzero()[0]
    return np.asarray(found[_first_of(cells[found])])


def _sweep_alone(
    stretch: Stretch,
    crowd: Crowd,
    reach: Array,
    vacuum: Array,
    seeds: Index,
    since: Index,
    gone: Flags,
) -> None:
    """Mark those seeds, alone since a tooth, that one of the teeth after it takes."""
    deviate = _deviates_alone(stretch, crowd, reach, vacuum, seeds)
    risky = (deviate > LEAST_DEVIATE).nonzero()[0]
    seeds, since, deviate = seeds[risky], since[risky], deviate[risky]
    cells, nth = crowd.cells[seeds] + stretch.start, crowd.nth[seeds]
    for tooth in range(1, TEETH):
        met = (since <= tooth).nonzero()[0]
        drawn = stretch.block.draws.normal("tooth", cells[met], nth[met], tooth)
        gone[seeds[met[deviate[met] > drawn]]] = True


def _outward(stretch: Stretch, here: Crowd, shares: Array, first: Flags, tooth: int) -> Array:
    """Distances of seeds' centres from the path of the holes at a tooth, outwards. [m]

    A first seed lies away from the second one.  The others lie beside the first one.
    """
    pickup, starts, others = (
        stretch.block.stations.pickup,
        first.nonzero()[0],
        (~first).nonzero()[0],
    )
    hole, cells = pickup.hole_diameter, here.cells + stretch.start
    rank = stretch.block.draws.uniform("pair direction", cells[others], here.nth[others], tooth)
    turns = direction_of_second(rank)
    ahead, outside = np.cos(turns), np.sin(turns)
    radius = pickup.outline(ahead, outside)
    outward = np.empty(len(first))
    outward[others] = outside * second_offset(radius * here.size[others], shares[others], hole)
    second = first[others - 1]  # those that follow a first seed
    away = first_offset(radius[second] * here.size[starts], shares[starts + 1], hole)
    outward[starts] = -outside[second] * away
    return outward


def _shaken(stretch: Stretch, crowd: Crowd) -> Flags:
    """Whether each seed falls for want of vacuum or at a shock."""
    pickup, cells = stretch.block.stations.pickup, crowd.cells
    chances = stretch.chances.of(cells).each
    spare = pickup.spare_load(chances, _strength(stretch, crowd, _starts(crowd)))
    gone = np.zeros(len(cells), dtype=bool)
    at = (spare < stretch.shocks.bound).nonzero()[0]
    gone[at] = stretch.shocks.shake_off(cells[at] + stretch.start, spare[at])
    return gone


def _strength(stretch: Stretch, crowd: Crowd, starts: Index) -> Array:
    """Vacuum that each seed needs at the cut-off, over the vacuum that pulls it. [1]"""
    chances = stretch.chances.of(crowd.cells).each
    pull = _shares(crowd, starts) * stretch.vacuum_at_cut[crowd.cells]
    return np.asarray(stretch.block.stations.pickup.strength(chances, crowd.needed, pull))


def _travel(stretch: Stretch, crowd: Crowd) -> Array:
    """Travel of each seed past the cut-off until it leaves; later seeds lag behind. [m]"""
    release, starts = stretch.block.stations.release, _starts(crowd)
    lag = release.lag(crowd.size, stretch.at_cut.rows(crowd.cells))
    travel = np.empty(len(crowd.cells))
    strength = _strength(stretch, crowd, starts)[starts]
    travel[starts] = release.travel(strength, stretch.at_cut.rows(crowd.cells[starts]))
    seeds = np.diff(starts, append=len(travel))
    for k in range(1, seeds.max(initial=1)):
        after = starts[seeds > k] + k
        travel[after] = travel[after - 1] + lag[after]
    return travel
