"""Gate, pool and hopper at ticks, many ticks at a time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from metersim.machine.gate import GateStation
from metersim.machine.losses import TAKING
from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances, PickupStation
from metersim.machine.stations import CUT, EDGE, ENTERS, LEAVES, RETURNS, Stations
from metersim.run.arrays.fates import Fates, Shocks, Stretch, fates, together
from metersim.run.arrays.picking import Block, Index, pick
from metersim.run.course import Course
from metersim.run.draws import BLOCK, PLACES, ArchDraws, Array

Small = NDArray[np.int8]

Whole = NDArray[np.int64]


class Arches:
    """Whether an arch stops the gate, and how many seeds it can pass: known without the pool."""

    def __init__(self, gate: GateStation, draws: ArchDraws) -> None:
        self._gate, self._draws = gate, draws
        self._arched, self._before, self._passable = False, 0.0, 0.0
        self._wait = draws.wait()  # until an arch forms, or clears, over the mean of such waits

    def go_on(self, times: Array, at: Moment) -> tuple[NDArray[np.bool_], Whole]:
        """Arches at the next ticks, and seeds that the gate can pass before each."""
        arched, steps = np.full(len(times), self._arched), np.diff(times, prepend=self._before)
        rates = {False: self._gate.arch_rate(at), True: self._gate.clearing_rate(at)}
        waited = {state: np.cumsum(steps * rate) for state, rate in rates.items()}
        tick, since = 0, 0.0
        while tick < len(times):
            passed = waited[self._arched]
            changes = tick + int(np.searchsorted(passed[tick:], since + self._wait))
            if changes >= len(times):
                self._wait -= float(passed[-1]) - since
                break
            self._arched = not self._arched
            arched[changes:] = self._arched
            self._wait, tick = self._draws.wait(), changes + 1
            since = float(waited[self._arched][changes])
        passed = steps * self._gate.flow(at) * ~arched
        passable = np.cumsum(np.concatenate(([self._passable], passed)))
        if len(times):
            self._before, self._passable = float(times[-1]), float(passable[-1])
        whole: Whole = passable.astype(np.int64)
        return arched, whole[1:] - whole[:-1]


class Supply:
    """The ticks around a block of cells: what is known of the pool, and what it is guessed to be.

    Ticks are counted from `first`.  What cells bring back less what they take before a tick
    changes the pool at that tick; changes of settled cells are kept in `owed`.

    Parameters
    ----------
    course : Course
        The cells and ticks.
    gate : GateStation
        The gate.
    draws : ArchDraws
        Draws of its arches.
    total : int
        All seeds.

    Attributes
    ----------
    first, known : int
        The first tick that is kept, and how many of those kept are settled.
    times, speeds, pool, hopper, arched : ndarray
        One entry a tick; those of pool and hopper that are not settled are a guess.
    """

    def __init__(self, course: Course, gate: GateStation, draws: ArchDraws, total: int) -> None:
        self._course, self._gate = course, gate
        self._arches = Arches(gate, draws)
        self.first = self.known = self._guessed = 0
        self.times, self.speeds = np.empty((2, 0))
        self.pool, self.hopper, self._able, self._owed, self._full = np.empty((5, 0), np.int64)
        self.arched = np.empty(0, dtype=bool)
        speed = float(course.tick_speeds(0, 1)[0])
        full = int(gate.full(Moment("gate", time=0.0, speed=speed)))
        self._start = min(full, total), max(total - full, 0)

    def look_ahead(self, first: int, last: int, owed_until: int) -> None:
        """Keep ticks from `first`, and foresee what does not depend on cells to before `last`."""
        gone = first - self.first
        seen = self.first + len(self.times)
        times = np.asarray(self._course.tick_times(seen, last))
        speeds = self._course.tick_speeds(seen, last)
        at = Moment("gate", time=times, speed=speeds)
        arched, able = self._arches.go_on(times, at)
        full = np.broadcast_to(self._gate.full(at), times.shape).astype(np.int64)
        guess = np.zeros(len(times), dtype=np.int64)
        self.times = np.concatenate((self.times[gone:], times))
        self.speeds = np.concatenate((self.speeds[gone:], speeds))
        self.arched = np.concatenate((self.arched[gone:], arched))
        self._able = np.concatenate((self._able[gone:], able))
        self._full = np.concatenate((self._full[gone:], full))
        self.pool = np.concatenate((self.pool[gone:], guess))
        self.hopper = np.concatenate((self.hopper[gone:], guess))
        owed = np.zeros(max(owed_until - first, len(self.times)), dtype=np.int64)
        owed[: len(self._owed) - gone] = self._owed[gone:]
        self._owed = owed
        self.first, self.known = first, self.known - gone
        self._guessed -= gone

    @property
    def owing(self) -> int:
        """Ticks for which changes are kept."""
        return len(self._owed)

    def finish(self) -> None:
        """Settle all ticks that are kept, when no more cells come."""
        last = len(self.times)
        self.correct(np.zeros_like(self._owed), last)
        self.known = last

    def guess(self, last: int, taken: float) -> None:
        """Guess the pool to before tick `last`, if so many seeds are taken between ticks."""
        part = slice(self._guessed, last)
        if last > self._guessed:
            gained = (np.arange(part.start, last) * -taken).astype(np.int64)
            gained -= int(part.start * -taken)
            self.pool[part], self.hopper[part] = self._after(gained, part)
            self._guessed = last

    def correct(self, change: Whole, last: int) -> int:
        """Put what changes by cells lead to in place of a guess.

        Returns the first tick that was guessed wrong, or `last` when there is none.
        """
        part = slice(self.known, last)
        pool, hopper = self._after(np.cumsum(self._owed[part] + change[part]), part)
        wrong = (pool != self.pool[part]).nonzero()[0]
        self.pool[part], self.hopper[part] = pool, hopper
        return self.known + int(wrong[0]) if wrong.size else last

    def settle(self, change: Whole, last: int) -> None:
        """Hold ticks to before `last` for known, and keep the changes of their cells."""
        self._owed += change
        self.known = max(last, self.known)

    def _after(self, gained: Whole, part: slice) -> tuple[Whole, Whole]:
        """Pool and hopper at ticks, after what cells brought since the tick before all of them,
        and what ran in under the gate."""
        pool, hopper = self._start
        if part.start:
            pool, hopper = int(self.pool[part.start - 1]), int(self.hopper[part.start - 1])
        able, full = self._able[part], self._full[part]
        level = gained + pool
        inflow = np.maximum.accumulate(np.maximum(full - level, 0))
        enough = not len(inflow) or (inflow[0] <= able[0] and inflow[-1] <= hopper)
        if enough and (np.diff(inflow) <= able[1:]).all():
            return level + inflow, hopper - inflow
        pools, hoppers = [], []
        change = np.diff(gained, prepend=0)
        for gain, most, top in zip(change.tolist(), able.tolist(), full.tolist(), strict=True):
            pool += gain
            runs = max(min(top - pool, most, hopper), 0)
            pool += runs
            hopper -= runs
            pools.append(pool)
            hoppers.append(hopper)
        return np.array(pools, dtype=np.int64), np.array(hoppers, dtype=np.int64)


SHORTEST = 64  # cells in a stretch
PLACES_ON_THE_WAY = (("singulator", EDGE), ("release", CUT))


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
        start, cells = 0, block.draws.cells
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
        cells = np.arange(start, stop) + block.draws.first
        enters = course.ticks_before(cells, ENTERS) - supply.first
        leaves = course.ticks_before(cells, LEAVES) - supply.first
        last = int(leaves[-1]) + 1
        supply.guess(last, self._joining * course.cells_per_tick)
        chances = self._chances(cells, enters)
        picked = pick(block, start, stop, chances)
        edge, cut = (self._moment(*place, cells, enters) for place in PLACES_ON_THE_WAY)
        stretch = Stretch(block, start, stop, chances, self._vacuum, self._shocks, edge, cut)
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

    def _moment(self, station: str, place: int, cells: Index, enters: Whole) -> Moment:
        """What a station may ask of cells that pass it and entered after these ticks."""
        course = self._course
        return Moment(
            station,
            time=lambda: course.times(cells, place),
            speed=lambda: course.hole_speeds(cells, place),
            level=lambda: self._stations.gate.level(self._supply.pool[enters]),
        )

    def _chances(self, cells: Index, ticks: Whole) -> Chances:
        """What cells that enter the pool after these ticks have to expect."""
        gate, pickup = self._stations.gate, self._stations.pickup
        if type(pickup).chances is not PickupStation.chances:  # it may ask for the time
            own = Moment(
                "pickup",
                time=lambda: self._course.times(cells, ENTERS),
                speed=lambda: self._supply.speeds[ticks],
                level=lambda: gate.level(self._supply.pool[ticks]),
            )
            made = pickup.chances(self._vacuum, own)
            return Chances(*(np.broadcast_to(column, ticks.shape) for column in made))
        part = slice(int(ticks[0]), int(ticks[-1]) + 1)
        pool, speed = self._supply.pool[part], self._supply.speeds[part]
        if (pool == pool[0]).all() and (speed == speed[0]).all():
            return self._same_for_all(int(pool[0]), float(speed[0]))
        which = np.arange(len(pool))
        if (speed == speed[0]).all():
            pool, which = np.unique(pool, return_inverse=True)
            speed = speed[0]
        level = gate.level(pool)
        made = pickup.chances(self._vacuum, Moment("pickup", speed=speed, level=level))
        which = which[ticks - ticks[0]]
        return Chances(*(np.broadcast_to(part, pool.shape)[which] for part in made))

    def _same_for_all(self, pool: int, speed: float) -> Chances:
        """Chances at a pool and a speed that stay as they are, which is the usual case."""
        if self._steady is None or self._steady[0] != (pool, speed):
            level = self._stations.gate.level(pool)
            at = Moment("pickup", speed=speed, level=level)
            made = self._stations.pickup.chances(self._vacuum, at)
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
        for loss, lost in zip(TAKING, found.lost, strict=True):
            if lost.size:
                passed = RETURNS[loss.station]
                ticks = self._course.ticks_before(cells[lost], passed) - self._supply.first
                change += np.bincount(ticks + 1, minlength=size)
        return change
