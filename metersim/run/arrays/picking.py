"""Seeds that join the holes of many cells: their number, size and needed vacuum."""

from __future__ import annotations

from functools import cached_property
from typing import Any, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from metersim.machine.losses import BLOCKED, PLUGGED, SEEDED
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
        self.need = pickup.relative_need(draws.grip, draws.size, draws.seat)
        self.size = pickup.first_size(draws.grip, draws.size)
        self.least_deviate, self.low_deviate = map(
            float, stations.singulator.weakest(np.array([draws.edge.min(), LOW]))
        )
        self.blocked = draws.blocked(pickup.coefficients.blocked)
        holes = (draws.first + np.arange(draws.cells)) % pickup.holes.cells
        self.plugged = np.isin(holes, pickup.holes.plugged).nonzero()[0]

    @cached_property
    def shape(self) -> Array:
        """Root of length over width of first seeds, over that of the mean seed. [1]"""
        return np.asarray(self.stations.pickup.shape(self.draws.shape))


class CellChances:
    """Chances of many cells, looked up in a table when they are first read.

    It has the attributes of `metersim.machine.pickup.Chances`, as an array or as one number for
    all cells.

    Parameters
    ----------
    table : Chances
        Numbers or flat arrays of one length.
    entries : ndarray of int
        Entry of the table for each cell.
    """

    def __init__(self, table: Chances, entries: Index) -> None:
        self._table, self._entries = table, entries

    def __getattr__(self, name: str) -> Any:
        column = getattr(self._table, name)
        if isinstance(column, np.ndarray):
            column = column[self._entries]
        setattr(self, name, column)  # it is asked for once
        return column

    @property
    def each(self) -> Chances:
        """The same, as stations take them."""
        return cast(Chances, self)

    def of(self, cells: Index) -> CellChances:
        """The chances of some cells."""
        return CellChances(self._table, self._entries[cells])

    def columns(self) -> CellChances:
        """The same chances, with arrays as columns of one number a row."""
        return CellChances(self._table, self._entries[:, None])


class Crowd(NamedTuple):
    """Cells that several seeds joined; arrays have one row per cell, one column per seed in it."""

    cells: Index  # counted in the stretch
    held: Flags  # whether there is such a seed
    size: Array  # linear size over the mean
    needed: Array  # vacuum needed, Pa
    part: Array  # part of the hole that a later seed covers
    narrow: Array  # narrow side of the first seed over its size, m; one entry per cell

    def some(self, rows: Index) -> Crowd:
        """Some of the cells."""
        columns: list[Any] = [column[rows] for column in self]
        return Crowd(*columns)

    def at_most(self, most: NDArray[np.int64]) -> Crowd:
        """The same cells with no more seeds than are left for each cell of the stretch."""
        there = np.arange(self.held.shape[1]) < most[self.cells, None]
        return self._replace(held=self.held & there)


class Picked(NamedTuple):
    """Seeds that join a stretch of cells from a pool that does not run out."""

    joined: NDArray[np.int8]  # number of seeds that join each cell
    reason: NDArray[np.int8]  # code of the reason
    size: Array  # linear size of first seeds over the mean
    needed: Array  # vacuum that first seeds need, Pa
    narrow: Array  # narrow side of first seeds on the disc over their size, m
    crowds: tuple[Crowd, ...]  # cells that two seeds join, and cells that more join


def pick(block: Block, start: int, stop: int, chances: CellChances) -> Picked:
    """Pick the seeds that join the cells of a stretch from a pool that does not run out."""
    draws, pickup, part = block.draws, block.stations.pickup, slice(start, stop)
    meeting = draws.meeting[part]
    joins = meeting < chances.rate
    blocked, plugged = (
        cells[(cells >= start) & (cells < stop)] - start for cells in (block.blocked, block.plugged)
    )
    joins[blocked] = False
    joins[plugged] = False
    flat = np.asarray(pickup.lies_flat(chances.each, draws.lie[part]))
    need, size = block.need[part], block.size[part]
    limit = pickup.limit(chances.each, flat)
    again = (joins & (draws.grip[part] > limit)).nonzero()[0]
    if again.size:
        rank = draws.uniform("grip", again + start)
        deviate = pickup.first_deviate(chances.of(again).each, flat[again], rank)
        need, size = need.copy(), size.copy()
        size_draw, seat_draw = draws.size[again + start], draws.seat[again + start]
        need[again] = pickup.relative_need(deviate, size_draw, seat_draw)
        size[again] = pickup.first_size(deviate, size_draw)
    empty = (~joins).nonzero()[0]
    reason = np.full(stop - start, SEEDED, dtype=np.int8)
    reason[empty] = pickup.why_empty(chances.of(empty).each, meeting[empty])
    reason[blocked] = BLOCKED
    reason[plugged] = PLUGGED
    needed = chances.needed * (pickup.pose_need(flat) * need)
    narrow = np.asarray(pickup.narrow_side(flat, block.shape[part]))
    left = pickup.later(chances.each, pickup.width(block.shape[part]) * size) - draws.second[part]
    at = (joins & (left > 0)).nonzero()[0]
    left = left[at] - draws.exponential("meeting", at + start, 2)  # mean number still to come
    firsts = Firsts(at, size[at], needed[at], narrow[at])
    crowds = (
        _crowd(block, start, chances, firsts.some(left <= 0), 2, left[left <= 0]),
        _crowd(block, start, chances, firsts.some(left > 0), MOST_SEEDS, left[left > 0]),
    )
    joined = joins.astype(np.int8)
    for crowd in crowds:
        joined[crowd.cells] = crowd.held.sum(axis=1)
    return Picked(joined, reason, size, needed, narrow, crowds)


class Firsts(NamedTuple):
    """First seeds of some cells of a stretch, as in `Picked`."""

    cells: Index
    size: Array
    needed: Array
    narrow: Array

    def some(self, which: Flags) -> Firsts:
        """Some of the seeds."""
        columns: list[Any] = [column[which] for column in self]
        return Firsts(*columns)


def _crowd(
    block: Block, start: int, chances: CellChances, firsts: Firsts, most: int, left: Array
) -> Crowd:
    """Pick the later seeds of cells with two seeds, or with three to `most`.

    `left` is the mean number of seeds that are still to come after the third.
    """
    draws, pickup, many = block.draws, block.stations.pickup, len(firsts.cells)
    part = np.zeros((many, most))
    wanted, own = np.ones((2, many, most))  # 1 where no seed is: no division by 0
    held = np.zeros((many, most), dtype=bool)
    held[:, 0] = True
    wanted[:, 0], own[:, 0] = firsts.needed, firsts.size
    rows, free = np.arange(many), np.ones(many)
    for nth in range(1, most):
        if nth > 2:
            cells = firsts.cells[rows] + start
            left = left - draws.exponential("meeting", cells, nth)
            rows, left = rows[left > 0], left[left > 0]
        cells = firsts.cells[rows]
        ranks = draws.uniform(("size", "part", "grip", "seat"), cells + start, nth)
        other = pickup.size(ndtri(ranks[0]))
        room = pickup.room_for(chances.of(cells).each, other, ranks[1], free[rows])
        wanted[rows, nth] = pickup.later_needed(room, ranks[2], ndtri(ranks[3]))
        own[rows, nth], part[rows, nth] = other, room.part
        held[rows, nth] = True
        free[rows] -= room.part
    return Crowd(firsts.cells, held, own, wanted, part, firsts.narrow)
