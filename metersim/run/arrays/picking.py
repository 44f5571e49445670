"""Seeds that join the holes of many cells: their number, size and needed vacuum."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from metersim.machine.holding import truncated_normal
from metersim.machine.losses import BLOCKED, SEEDED
from metersim.machine.pickup import Chances
from metersim.machine.stations import Stations
from metersim.run.draws import MOST_SEEDS, Array, BlockDraws

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

LOW = 0.01  # with a lower draw at the singulator, a seed may leave though it is hardly pushed


class Block:
    """A block of cells, with the properties of first seeds that do not depend on the pool."""

    def __init__(self, stations: Stations, draws: BlockDraws) -> None:
        pickup = stations.pickup
        self.stations, self.draws = stations, draws
        self.along = draws.along * pickup.seat_scale
        self.across = draws.across * pickup.seat_scale
        self.distance = np.sqrt(self.along * self.along + self.across * self.across)
        self.need = pickup.relative_need(draws.grip, draws.size, draws.seat)
        self.size = pickup.first_size(draws.grip, draws.size)
        self.highest_grip = float(draws.grip.max())
        self.least_deviate, self.low_deviate = map(
            float, stations.singulator.weakest(np.array([draws.edge.min(), LOW]))
        )
        self.blocked = draws.blocked(pickup.coefficients.blocked)

    @cached_property
    def outline(self) -> Array:
        """Radius of the mean seed's outline towards the open part of the hole. [m]"""
        return np.asarray(self.stations.pickup.outline(self.along, self.across))

    @cached_property
    def reach(self) -> Array:
        """Half-extent across the track of a mean seed in each first seed's pose. [m]"""
        return np.asarray(self.stations.singulator.reach(self.draws.pose))


def at_cells(chances: Chances, cells: Index) -> Chances:
    """Chances of some cells of a stretch; a plain number stays as it is."""
    return Chances(*(part[cells] if isinstance(part, np.ndarray) else part for part in chances))


class Crowd(NamedTuple):
    """Cells that several seeds joined; arrays have one row per cell, one column per seed in it."""

    cells: Index  # counted in the stretch
    held: Flags  # whether there is such a seed
    size: Array  # linear size over the mean
    needed: Array  # vacuum needed, Pa
    part: Array  # part of the hole that a later seed covers


class Picked(NamedTuple):
    """Seeds that join a stretch of cells from a pool that does not run out."""

    joined: NDArray[np.int8]  # number of seeds that join each cell
    reason: NDArray[np.int8]  # code of the reason
    size: Array  # linear size of first seeds over the mean
    needed: Array  # vacuum that first seeds need, Pa
    crowd: Crowd  # cells that several seeds join


def pick(block: Block, start: int, stop: int, chances: Chances) -> Picked:
    """Pick the seeds that join the cells of a stretch from a pool that does not run out."""
    draws, pickup, part = block.draws, block.stations.pickup, slice(start, stop)
    meeting = draws.meeting[part]
    joins = meeting < chances.rate
    blocked = block.blocked[(block.blocked >= start) & (block.blocked < stop)] - start
    joins[blocked] = False
    need, size = block.need[part], block.size[part]
    if block.highest_grip > np.min(chances.limit):
        again = (joins & (draws.grip[part] > chances.limit)).nonzero()[0]
        rank = draws.uniform("grip", again + start)
        deviate = truncated_normal(rank, at_cells(chances, again).hold)
        need, size = need.copy(), size.copy()
        size_draw, seat_draw = draws.size[again + start], draws.seat[again + start]
        need[again] = pickup.relative_need(deviate, size_draw, seat_draw)
        size[again] = pickup.first_size(deviate, size_draw)
    empty = (~joins).nonzero()[0]
    reason = np.full(stop - start, SEEDED, dtype=np.int8)
    reason[empty] = pickup.why_empty(at_cells(chances, empty), meeting[empty])
    reason[blocked] = BLOCKED
    needed = chances.needed * need
    open_ = joins & pickup.uncovers(size, block.outline[part], block.distance[part])
    crowd = _crowd(block, start, chances, open_.nonzero()[0], size, needed)
    joined = joins.astype(np.int8)
    joined[crowd.cells] = crowd.held.sum(axis=1)
    return Picked(joined, reason, size, needed, crowd)


def _crowd(
    block: Block, start: int, chances: Chances, at: Index, size: Array, needed: Array
) -> Crowd:
    """Pick the later seeds of cells whose first seed leaves a part of the hole open."""
    draws, pickup = block.draws, block.stations.pickup
    part = np.zeros((len(at), MOST_SEEDS))
    wanted, own = np.ones((2, len(at), MOST_SEEDS))  # 1 where no seed is: no division by 0
    held = np.zeros((len(at), MOST_SEEDS), dtype=bool)
    held[:, 0] = True
    wanted[:, 0], own[:, 0] = needed[at], size[at]
    rows, cells = np.arange(len(at)), at + start
    outline, gap = block.outline[cells], block.distance[cells]
    here = at_cells(chances, at)
    done, free = draws.meeting[cells] / here.rate, np.ones(len(at))
    for nth in range(1, MOST_SEEDS):
        if nth > 1:
            turn = 2 * np.pi * draws.uniform("next direction", cells, nth)
            outline = pickup.outline(np.cos(turn), np.sin(turn))
            gap = block.along[cells] * np.cos(turn) + block.across[cells] * np.sin(turn)
            kept = pickup.uncovers(own[rows, 0], outline, gap).nonzero()[0]
            rows, cells, outline, gap = rows[kept], cells[kept], outline[kept], gap[kept]
        here = at_cells(chances, at[rows])
        size_rank, meeting = draws.uniform(("size", "meeting"), cells, nth)
        other = pickup.size(ndtri(size_rank))
        room = pickup.room_for(here, own[rows, 0], outline, gap, other, free[rows])
        wait = -np.log(meeting)
        kept = ((1 - done[rows]) * room.rate > wait).nonzero()[0]
        rows, cells = rows[kept], cells[kept]
        room = type(room)(*(column[kept] for column in room))
        done[rows] += wait[kept] / room.rate
        rank, seat_rank = draws.uniform(("grip", "seat"), cells, nth)
        wanted[rows, nth] = pickup.later_needed(room, rank, ndtri(seat_rank))
        own[rows, nth], part[rows, nth] = other[kept], room.part
        held[rows, nth] = True
        free[rows] -= room.part
    crowded = held[:, 1].nonzero()[0]
    return Crowd(at[crowded], held[crowded], own[crowded], wanted[crowded], part[crowded])
