"""Which seeds cells take and lose, and the pool that they find: one history, found in rounds.

What a cell finds in the pool depends on what earlier cells took and lost.  A stretch of cells is
worked out for a guess of the pool at its ticks; that gives the pool at its ticks; and so on.  A
tick depends on earlier ticks alone, so what comes out the same twice is the one history there is,
and each round is right for one tick more than the round before, at the least.
"""

from __future__ import annotations

import numpy as np

from metersim.arrays.fates import Fates, Small, Stretch, Whole, fates, together
from metersim.arrays.picking import Block, Index, pick
from metersim.arrays.shocks import Shocks
from metersim.arrays.supply import Supply
from metersim.course import Course
from metersim.luck import BLOCK, PLACES
from metersim.stations import CUT, EDGE, ENTERS, LEAVES, Chances, Stations

SHORTEST = 64  # cells in a stretch


class Settling:
    """Settles the cells of a run, block after block.

    Parameters
    ----------
    stations : Stations
        The stations.
    course : Course
        The cells and ticks.
    supply : Supply
        Pool and hopper at ticks.
    shocks : Shocks
        The row unit's shaking.
    vacuum : float
        Vacuum at the holes. [Pa]
    """

    def __init__(
        self, stations: Stations, course: Course, supply: Supply, shocks: Shocks, vacuum: float
    ) -> None:
        self._stations, self._course = stations, course
        self._supply, self._shocks, self._vacuum = supply, shocks, vacuum
        self._taken = -1, 0  # a tick, and seeds taken since then by cells that are settled
        self._length = BLOCK  # of the next stretch
        self._joining = 1.0
        self._steady: tuple[tuple[int, float], Chances] | None = None

    def settle(self, block: Block) -> Fates:
        """What becomes of the cells of the next block, whose ticks the supply looks ahead to."""
        start, cells = 0, block.luck.cells
        parts = []
        while start < cells:
            stop, found = self._settle(block, start, min(start + self._length, cells))
            parts.append((start, found))
            start = stop
        return together(parts)

    def _settle(self, block: Block, start: int, stop: int) -> tuple[int, Fates]:
        """What becomes of the first cells of a stretch, of as many as one round settles.

        Returns where the settled cells end and their fates.
        """
        supply, course = self._supply, self._course
        cells = np.arange(start, stop) + block.luck.first
        enters = course.ticks_before(cells, ENTERS) - supply.first
        leaves = course.ticks_before(cells, LEAVES) - supply.first
        last = int(leaves[-1]) + 1
        supply.guess(last, self._joining * course.cells_per_tick)
        chances = self._chances(enters)
        picked = pick(block, start, stop, chances)
        stretch = Stretch(block, start, stop, chances, self._vacuum, self._shocks)
        found = fates(stretch, picked, self._left(leaves, picked.joined))
        change = self._change(cells, leaves, found)
        right = supply.correct(change, last)
        settled = int(np.searchsorted(leaves, right))  # all their ticks were guessed right
        self._joining = float(found.joined.mean())
        if settled < len(cells):
            self._length = (
                max(len(cells) // 2, SHORTEST) if settled < len(cells) // 4 else len(cells)
            )
            cells, leaves, found = cells[:settled], leaves[:settled], found.until(settled)
            if not settled:
                return start, found
            change = self._change(cells, leaves, found)
        else:
            self._length = min(2 * len(cells), BLOCK)
        supply.settle(change, int(leaves[-1]) + 1)
        self._taken = self._taken_since(leaves, found.joined)
        return start + settled, found

    def _chances(self, ticks: Whole) -> Chances:
        """What cells that enter the pool after these ticks have to expect."""
        gate, pickup = self._stations.gate, self._stations.pickup
        part = slice(int(ticks[0]), int(ticks[-1]) + 1)
        pool, speed = self._supply.pool[part], self._supply.speeds[part]
        if (pool == pool[0]).all() and (speed == speed[0]).all():
            return self._same_for_all(int(pool[0]), float(speed[0]))
        which = np.arange(len(pool))
        if (speed == speed[0]).all():
            pool, which = np.unique(pool, return_inverse=True)
            speed = speed[0]
        made = pickup.chances(gate.level(pool), self._vacuum, speed)
        which = which[ticks - ticks[0]]
        return Chances(*(np.broadcast_to(part, pool.shape)[which] for part in made))

    def _same_for_all(self, pool: int, speed: float) -> Chances:
        """Chances at a pool and a speed that stay as they are, which is the usual case."""
        if self._steady is None or self._steady[0] != (pool, speed):
            level = self._stations.gate.level(pool)
            made = self._stations.pickup.chances(level, self._vacuum, speed)
            self._steady = (pool, speed), Chances(*map(float, made))
        return self._steady[1]

    def _left(self, leaves: Whole, joined: Small) -> Whole | None:
        """Seeds that are left for each cell when it leaves the pool, when they may run out."""
        part = self._supply.pool[leaves[0] : leaves[-1] + 1]
        if part.min() >= 2 * PLACES * self._course.cells_in_tick:
            return None  # nor would others that share the first tick exhaust it
        ticks = leaves - leaves[0]
        taken = np.bincount(ticks, joined).astype(np.int64)
        pool = part.copy()
        pool[0] -= self._taken_by_others(int(leaves[0]))
        if (pool > taken).all():
            return None
        before = np.cumsum(joined) - joined - (np.cumsum(taken) - taken)[ticks]
        left: Whole = np.maximum(pool[ticks] - before, 0)
        return left

    def _taken_by_others(self, tick: int) -> int:
        """Seeds that cells of earlier stretches took after a tick, counted as in the supply."""
        since, seeds = self._taken
        return seeds if since == tick + self._supply.first else 0

    def _taken_since(self, leaves: Whole, joined: Small) -> tuple[int, int]:
        """The last tick before a stretch ends, and the seeds that its cells took since then."""
        tick = int(leaves[-1])
        seeds = int(joined[leaves == tick].sum())
        if tick == leaves[0]:
            seeds += self._taken_by_others(tick)
        return tick + self._supply.first, seeds

    def _change(self, cells: Index, leaves: Whole, found: Fates) -> Whole:
        """What cells bring back to the pool less what they take, by the tick that sees it."""
        size = self._supply.owing
        change = -np.bincount(leaves + 1, found.joined, size).astype(np.int64)
        stations = ((found.knocked, LEAVES), (found.swept, EDGE), (found.shaken, CUT))
        for lost, station in stations:
            if lost.size:
                ticks = self._course.ticks_before(cells[lost], station) - self._supply.first
                change += np.bincount(ticks + 1, minlength=size)
        return change
