"""Gate, pool and hopper at many ticks, and the one history of cells that agrees with them.

Cells depend on the pool and the pool depends on cells.  So the pool is guessed, the cells are
computed, and the pool that follows from them is compared with the guess.  A tick depends on earlier
ticks alone.  So all cells before the first wrong guess are right.  Where the pool breathes, the
first guess is wrong, but few cells mind.  The pool that follows from them is the second guess.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from metersim.machine.gate import GateStation
from metersim.machine.losses import TAKING
from metersim.machine.moment import Moment
from metersim.machine.pickup import PickupStation
from metersim.machine.stations import CUT, EDGE, ENTERS, LEAVES, RETURNS, Stations
from metersim.run.arrays.arches import Arches, whole_seeds
from metersim.run.arrays.fates import Fates, together
from metersim.run.arrays.filling import Filled, Limits, Start, Whole
from metersim.run.arrays.picking import Block, CellChances, Index, Small
from metersim.run.arrays.steps import Steps
from metersim.run.arrays.stretch import Shocks, Stretch
from metersim.run.chamber import Vacuum
from metersim.run.course import Course
from metersim.run.draws import BLOCK, MOST_SEEDS, ArchDraws, Array, HoleDraws


class Supply:
    """The pool and the hopper at the ticks around a block of cells, known or guessed.

    Ticks are counted from `first`.  Cells take seeds from the pool and bring some back.  The
    balance before a tick changes the pool at that tick.  The balance of known cells is kept in
    `_owed`.

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
    steps : Steps
        How the ticks are worked out.

    Attributes
    ----------
    first, known : int
        The first tick that is kept, and how many of the kept ticks are known.
    corrected : int
        How many of the kept ticks are better than a first guess.
    times, speeds, pool, hopper, sliding, arched, spilt : ndarray
        One entry per tick.  Pool, hopper, sliding and spilt are guesses at ticks that are not
        known.
    """

    def __init__(
        self, course: Course, gate: GateStation, draws: ArchDraws, total: int, steps: Steps
    ) -> None:
        self._course, self._gate, self._fill = course, gate, steps.fill
        self._arches = Arches(gate, draws)
        self.first = self.known = self.corrected = self._guessed = 0
        self.times, self.speeds = np.empty((2, 0))
        self.pool, self.hopper, self._able, self._owed = np.empty((4, 0), np.int64)
        self.spilt, self._out = np.empty((2, 0), np.int64)
        self._leaking, self._before = 0.0, 0.0  # seeds that could have leaked; time of a tick
        self._full, self._low = np.empty((2, 0), np.int64)
        self.arched, self.sliding = np.empty((2, 0), dtype=bool)
        speed = float(course.tick_speeds(0, 1)[0])
        full = int(gate.full(Moment("gate", time=0.0, speed=speed)))
        self._start = Start(min(full, total), max(total - full, 0), False, 0)

    def look_ahead(self, first: int, last: int, owed_until: int) -> None:
        """Keep ticks from `first`, and add ticks to before `last`, with all that needs no cells."""
        gone = first - self.first
        seen = self.first + len(self.times)
        times = np.asarray(self._course.tick_times(seen, last))
        speeds = self._course.tick_speeds(seen, last)
        at = Moment("gate", time=times, speed=speeds)
        arched, able = self._arches.go_on(times, at)
        full, low = (
            np.broadcast_to(seeds, times.shape).astype(np.int64)
            for seeds in (self._gate.full(at), self._gate.low(at))
        )
        steps = np.diff(times, prepend=self._before)
        out, self._leaking = whole_seeds(self._leaking, steps * self._gate.leak(at))
        self._before = float(times[-1]) if len(times) else self._before
        guess = np.zeros(len(times), dtype=np.int64)
        self.times = np.concatenate((self.times[gone:], times))
        self.speeds = np.concatenate((self.speeds[gone:], speeds))
        self.arched = np.concatenate((self.arched[gone:], arched))
        self._able = np.concatenate((self._able[gone:], able))
        self._out = np.concatenate((self._out[gone:], out))
        self.spilt = np.concatenate((self.spilt[gone:], guess))
        self._full = np.concatenate((self._full[gone:], full))
        self._low = np.concatenate((self._low[gone:], low))
        self.pool = np.concatenate((self.pool[gone:], guess))
        self.hopper = np.concatenate((self.hopper[gone:], guess))
        self.sliding = np.concatenate((self.sliding[gone:], guess > 0))
        owed = np.zeros(max(owed_until - first, len(self.times)), dtype=np.int64)
        owed[: len(self._owed) - gone] = self._owed[gone:]
        self._owed = owed
        self.first, self.known = first, self.known - gone
        self._guessed -= gone
        self.corrected -= gone

    @property
    def owing(self) -> int:
        """Number of ticks for which changes are kept."""
        return len(self._owed)

    def finish(self) -> None:
        """Compute all ticks that are kept, when no more cells come."""
        last = len(self.times)
        self.correct(np.zeros_like(self._owed), last)
        self.known = last

    def guess(self, last: int, taken: float) -> None:
        """Guess the pool to before tick `last`, for a number of seeds taken between ticks."""
        part = slice(self._guessed, last)
        if last > self._guessed:
            gained = (np.arange(part.start, last) * -taken).astype(np.int64)
            gained -= int(part.start * -taken)
            self._keep(part, self._after(gained, part))
            self._guessed = last

    def correct(self, change: Whole, last: int) -> int:
        """Replace a guess by the pool that follows from the changes by cells.

        Returns the first tick that was guessed wrong, or `last` when none was.  Cells do not mind a
        wrong number of seeds if they see the same level and cannot use the pool up.
        """
        part = slice(self.known, last)
        made = self._after(np.cumsum(self._owed[part] + change[part]), part)
        few = 2 * MOST_SEEDS * self._course.cells_in_tick  # seeds that cells might use up
        least = np.minimum(made.pool, self.pool[part])
        other = self._gate.seen(made.pool) != self._gate.seen(self.pool[part])
        wrong = (other | (least < few) & (made.pool != self.pool[part])).nonzero()[0]
        self._keep(part, made)
        self.corrected = max(last, self.corrected)
        return self.known + int(wrong[0]) if wrong.size else last

    def _keep(self, part: slice, made: Filled) -> None:
        self.pool[part], self.hopper[part], self.sliding[part], self.spilt[part] = made

    def confirm(self, change: Whole, last: int) -> None:
        """Mark the ticks to before `last` as known, and keep the changes of their cells."""
        self._owed += change
        self.known = max(last, self.known)

    def _after(self, gained: Whole, part: slice) -> Filled:
        """Pool and hopper at ticks, from the seeds gained from cells since the tick before them."""
        columns = self._out, self._able, self._low, self._full
        start = self._start
        if before := part.start:
            row = self.pool, self.hopper, self.sliding, self.spilt
            start = Start(*(column[before - 1].item() for column in row))
        return self._fill(gained, Limits(*(column[part] for column in columns)), start)


SHORTEST = 64  # fewest cells in a stretch
LATER_POINTS = (("singulator", EDGE), ("release", CUT))


class History:
    """Finds the fates of the cells of a run, block after block.

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
    vacuum : Vacuum
        Vacuum in the chamber.
    holes : HoleDraws
        Draws of the holes of the disc.
    steps : Steps
        How a stretch of cells is worked out.
    """

    def __init__(
        self,
        stations: Stations,
        course: Course,
        supply: Supply,
        shocks: Shocks,
        vacuum: Vacuum,
        holes: HoleDraws,
        steps: Steps,
    ) -> None:
        self._stations, self._course = stations, course
        self._supply, self._shocks = supply, shocks
        self._taken = -1, 0  # a tick, and seeds that known cells took since then
        self._length = BLOCK  # cells in the next stretch
        self._joining = 1.0  # mean number of seeds that join a cell
        self._vacuum, self._draws, self._steps = vacuum, holes, steps
        self._holes = self._works(vacuum.at(0.0), np.arange(len(holes.turns)))

    def fates_of(self, block: Block) -> Fates:
        """The fates of the cells of the next block; the supply must hold its ticks."""
        start, cells = 0, block.draws.cells
        parts = []
        while start < cells:
            stop, found = self._one_round(block, start, min(start + self._length, cells))
            parts.append((start, found))
            start = stop
        return together(parts)

    def _one_round(self, block: Block, start: int, stop: int) -> tuple[int, Fates]:
        """Guess the pool, compute a stretch of cells, and keep those before the first wrong guess.

        Returns the cell after the kept ones, and the fates of the kept ones.
        """
        supply, course = self._supply, self._course
        cells = np.arange(start, stop) + block.draws.first
        enters = course.ticks_before(cells, ENTERS) - supply.first
        leaves = course.ticks_before(cells, LEAVES) - supply.first
        last = int(leaves[-1]) + 1
        supply.guess(last, self._joining * course.cells_per_tick)
        chances = self._chances(cells, enters)
        picked = self._steps.pick(block, start, stop, chances)
        edge, cut = (self._moment(*point, cells, enters) for point in LATER_POINTS)
        at_edge = at_cut = self._at_holes(cells, EDGE)
        if not self._vacuum.steady:
            at_cut = self._at_holes(cells, CUT)
        stretch = Stretch(block, start, stop, chances, at_edge, at_cut, self._shocks, edge, cut)
        found = self._steps.fates(stretch, picked, self._left(leaves, picked.joined))
        change = self._change(cells, leaves, found)
        again = supply.corrected >= last
        right = supply.correct(change, last)
        known = int(np.searchsorted(leaves, right))  # cells whose ticks were all guessed right
        self._joining = float(found.joined.mean())
        if known < len(cells):
            if again and known < len(cells) // 4:  # a corrected guess should be nearly right
                self._length = max(len(cells) // 2, SHORTEST)
            cells, leaves, found = cells[:known], leaves[:known], found.until(known)
            if not known:
                return start, found
            change = self._change(cells, leaves, found)
        else:
            self._length = min(2 * self._length, BLOCK)
        supply.confirm(change, int(leaves[-1]) + 1)
        self._taken = self._taken_since(leaves, found.joined)
        return start + known, found

    def _moment(self, station: str, point: int, cells: Index, enters: Whole) -> Moment:
        """The moment at which cells pass a point; `enters` is the tick before they entered."""
        course = self._course
        return Moment(
            station,
            time=lambda: course.times(cells, point),
            speed=lambda: course.hole_speeds(cells, point),
            level=lambda: self._stations.gate.seen(self._supply.pool[enters]),
        )

    def _at_holes(self, cells: Index, point: int) -> Array:
        """Vacuum at the hole of each cell when it passes a point. [Pa]"""
        holes = cells % len(self._holes)
        if self._vacuum.steady:
            return np.asarray(self._holes[holes])
        return self._works(self._vacuum.at(self._course.times(cells, point)), holes)

    def _works(self, chamber: Any, holes: Index) -> Array:
        """Vacuum that works at holes, by that of the chamber. [Pa]"""
        deviates, turns = self._draws.deviates[holes], self._draws.turns[holes]
        return np.asarray(self._stations.pickup.at_hole(chamber, deviates, turns, holes))

    def _chances(self, cells: Index, ticks: Whole) -> CellChances:
        """Chances of cells that enter the pool after these ticks."""
        gate, pickup = self._stations.gate, self._stations.pickup
        holes = len(self._holes)
        part = slice(int(ticks[0]), int(ticks[-1]) + 1)
        pool, speed = self._supply.pool[part], self._supply.speeds[part]
        first, steady = int(pool.min()), bool((speed == speed[0]).all())
        pools = int(pool.max()) + 1 - first
        usual = type(pickup).chances is PickupStation.chances  # an own one may need the time
        alike = usual and steady and self._vacuum.steady
        if not alike or pools * holes > len(cells):
            at = Moment(
                "pickup",
                time=lambda: self._course.times(cells, ENTERS),
                speed=self._supply.speeds[ticks],
                level=gate.seen(self._supply.pool[ticks]),
            )
            made = pickup.chances(self._at_holes(cells, ENTERS), at)
            return CellChances(made, np.arange(len(cells)))
        levels = gate.seen(np.arange(first, first + pools).repeat(holes))
        at = Moment("pickup", speed=float(speed[0]), level=levels)
        table = pickup.chances(np.tile(self._holes, pools), at)
        entries = (pool[ticks - ticks[0]] - first) * holes + cells % holes
        return CellChances(table, entries)

    def _left(self, leaves: Whole, joined: Small) -> Whole | None:
        """Seeds left for each cell when it leaves the pool; None if they cannot run out."""
        part = self._supply.pool[leaves[0] : leaves[-1] + 1]
        if part.min() >= 2 * MOST_SEEDS * self._course.cells_in_tick:
            return None  # even with the cells of earlier stretches after the same tick
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
        """Seeds that cells of earlier stretches took since a tick, counted as in the supply."""
        since, seeds = self._taken
        return seeds if since == tick + self._supply.first else 0

    def _taken_since(self, leaves: Whole, joined: Small) -> tuple[int, int]:
        """The last tick before a stretch ends, and the seeds that cells took since then."""
        tick = int(leaves[-1])
        seeds = int(joined[leaves == tick].sum())
        if tick == leaves[0]:
            seeds += self._taken_by_others(tick)
        return tick + self._supply.first, seeds

    def _change(self, cells: Index, leaves: Whole, found: Fates) -> Whole:
        """Seeds that cells bring back to the pool, less those that they take, by tick."""
        size = self._supply.owing
        change = -np.bincount(leaves + 1, found.joined, size).astype(np.int64)
        for loss, lost in zip(TAKING, found.lost, strict=True):
            if lost.size:
                passed = RETURNS[loss.station]
                ticks = self._course.ticks_before(cells[lost], passed) - self._supply.first
                change += np.bincount(ticks + 1, minlength=size)
        return change
