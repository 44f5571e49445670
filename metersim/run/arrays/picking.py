"""Seeds that join the holes of many cells: their number, size and needed vacuum."""

from __future__ import annotations

from functools import cached_property
from typing import Any, NamedTuple, cast

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.machine.losses import BLOCKED, PLUGGED, SEEDED
from metersim.machine.pickup import Chances
from metersim.machine.stations import Stations
from metersim.run.draws import MOST_SEEDS, Array, BlockDraws

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Small = NDArray[np.int8]

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

    def __init__(
        self, table: Chances, entries: Index, read: dict[str, Array | float] | None = None
    ) -> None:
        self._table, self._entries = table, entries
        self._read: dict[str, Array | float] = {} if read is None else read

    def __getattr__(self, name: str) -> Any:
        if name not in self._read:
            self._read[name] = _flat(getattr(self._table, name))
        column = self._read[name]
        if isinstance(column, np.ndarray):
            column = column[self._entries]
        setattr(self, name, column)  # it is asked for once
        return column

    @cached_property
    def rows(self) -> tuple[NDArray[Any], Index]:
        """The table as records, and the entry of each cell."""
        columns = {name: np.asarray(column) for name, column in self._table._asdict().items()}
        many = max(column.size for column in columns.values())
        table = np.empty(many, dtype=[(name, np.float64) for name in columns])
        for name, column in columns.items():
            table[name] = column
        return table, self._entries

    @property
    def each(self) -> Chances:
        """The same, as stations take them."""
        return cast(Chances, self)

    def of(self, cells: Index) -> CellChances:
        """The chances of some cells."""
        return CellChances(self._table, self._entries[cells], self._read)


def _flat(column: Array | float) -> Array | float:
    """A column of the table; one number where all are the same."""
    flat = np.ravel(column)
    return float(flat[0]) if (flat == flat[0]).all() else flat


class Crowd(NamedTuple):
    """Seeds on cells that several seeds joined: one entry per seed, by cell and by seed in it."""

    cells: Index  # counted in the stretch
    nth: Index  # number of the seed in its cell: 0 joined first
    size: Array  # linear size over the mean
    needed: Array  # vacuum needed, Pa
    part: Array  # part of the hole that a later seed covers
    narrow: Array  # narrow side of the seed over its size, m

    def some(self, which: Any) -> Crowd:
        """Some of the seeds."""
        return Crowd(*(column[which] for column in self))


class Picked(NamedTuple):
    """Seeds that join a stretch of cells from a pool that does not run out."""

    joined: NDArray[np.int8]  # number of seeds that join each cell
    reason: NDArray[np.int8]  # code of the reason
    size: Array  # linear size of first seeds over the mean
    needed: Array  # vacuum that first seeds need, Pa
    narrow: Array  # narrow side of first seeds on the disc over their size, m
    crowd: Crowd  # seeds on cells that several seeds join


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
    crowd = _crowd(block, start, chances, Firsts(at, size[at], needed[at], narrow[at]), left[at])
    joined = joins.astype(np.int8)
    joined[crowd.cells] = crowd.nth + 1  # the last seed of a cell stays
    return Picked(joined, reason, size, needed, narrow, crowd)


class Firsts(NamedTuple):
    """First seeds of the cells of a stretch that several seeds join, as in `Picked`."""

    cells: Index
    size: Array
    needed: Array
    narrow: Array


def _crowd(block: Block, start: int, chances: CellChances, firsts: Firsts, left: Array) -> Crowd:
    """Pick the later seeds of cells that several seeds join.

    `left` is the mean number of seeds that are still to come after the second.
    """
    draws, pickup, many = block.draws, block.stations.pickup, len(firsts.cells)
    rows, free = np.arange(many), np.ones(many)
    found = [(rows, np.zeros(many, dtype=np.intp), np.zeros(many))]
    for nth in range(1, MOST_SEEDS):
        cells = firsts.cells[rows] + start
        if nth > 1:
            left = left - draws.exponential("meeting", cells, nth)
            still = (left > 0).nonzero()[0]
            rows, cells, left = rows[still], cells[still], left[still]
        if not rows.size:
            break
        part = np.asarray(pickup.covers(draws.uniform("part", cells, nth), free[rows]))
        free[rows] -= part
        found.append((rows, np.full(len(rows), nth), part))
    columns: list[Any] = [np.concatenate(parts) for parts in zip(*found, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    rows, nth_of, part = (column[order] for column in columns)
    cells, later = firsts.cells[rows], nth_of.nonzero()[0]
    ranks = draws.uniform(("size", "grip", "seat"), cells[later] + start, nth_of[later])
    size_draw, seat_draw = ndtri(ranks[::2])
    size, needed, narrow = firsts.size[rows], firsts.needed[rows], firsts.narrow[rows]
    size[later] = pickup.size(size_draw)
    room = pickup.room_for(chances.of(cells[later]).each, size[later], part[later])
    needed[later] = pickup.later_needed(room, ranks[1], seat_draw)
    narrow[later] = pickup.narrow_side(True, 1.0)
    return Crowd(cells, nth_of, size, needed, part, narrow)
