"""Gate, pool and hopper at ticks, many ticks at a time."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from metersim.course import Course
from metersim.luck import ArchLuck, Array
from metersim.stations import GateStation

Whole = NDArray[np.int64]


class Arches:
    """Whether an arch stops the gate, and how many seeds it can pass: known without the pool."""

    def __init__(self, gate: GateStation, luck: ArchLuck) -> None:
        self._gate, self._luck = gate, luck
        self._arched, self._before, self._passable = False, 0.0, 0.0
        self._due = self._after(0.0)

    def _after(self, time: float) -> float:
        rate, wait = self._gate.arch_rate, self._luck.wait()
        if self._arched:
            rate = self._gate.clearing_rate
        return time + wait / rate if rate else math.inf

    def go_on(self, times: Array) -> tuple[NDArray[np.bool_], Whole]:
        """Arches at the next ticks, and seeds that the gate can pass before each."""
        arched = np.full(len(times), self._arched)
        tick = int(np.searchsorted(times, self._due))
        while tick < len(times):
            self._arched = not self._arched
            arched[tick:] = self._arched
            self._due = self._after(float(times[tick]))
            tick += 1
            tick += int(np.searchsorted(times[tick:], self._due))
        passed = np.diff(times, prepend=self._before) * self._gate.flow * ~arched
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
    luck : ArchLuck
        Luck of its arches.
    total : int
        All seeds.

    Attributes
    ----------
    first, known : int
        The first tick that is kept, and how many of those kept are settled.
    times, speeds, pool, hopper, arched : ndarray
        One entry a tick; those of pool and hopper that are not settled are a guess.
    """

    def __init__(self, course: Course, gate: GateStation, luck: ArchLuck, total: int) -> None:
        self._course, self._gate = course, gate
        self._arches = Arches(gate, luck)
        self.first = self.known = self._guessed = 0
        self.times, self.speeds = np.empty((2, 0))
        self.pool, self.hopper, self._able, self._owed = np.empty((4, 0), dtype=np.int64)
        self.arched = np.empty(0, dtype=bool)
        self._start = min(gate.full, total), max(total - gate.full, 0)

    def look_ahead(self, first: int, last: int, owed_until: int) -> None:
        """Keep ticks from `first`, and foresee what does not depend on cells to before `last`."""
        gone = first - self.first
        seen = self.first + len(self.times)
        times = np.asarray(self._course.tick_times(seen, last))
        speeds = self._course.tick_speeds(seen, last)
        arched, able = self._arches.go_on(times)
        guess = np.zeros(len(times), dtype=np.int64)
        self.times = np.concatenate((self.times[gone:], times))
        self.speeds = np.concatenate((self.speeds[gone:], speeds))
        self.arched = np.concatenate((self.arched[gone:], arched))
        self._able = np.concatenate((self._able[gone:], able))
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
        able, full = self._able[part], self._gate.full
        level = gained + pool
        inflow = np.maximum.accumulate(np.maximum(full - level, 0))
        enough = not len(inflow) or (inflow[0] <= able[0] and inflow[-1] <= hopper)
        if enough and (np.diff(inflow) <= able[1:]).all():
            return level + inflow, hopper - inflow
        pools, hoppers = [], []
        change = np.diff(gained, prepend=0)
        for gain, most in zip(change.tolist(), able.tolist(), strict=True):
            pool += gain
            runs = max(min(full - pool, most, hopper), 0)
            pool += runs
            hopper -= runs
            pools.append(pool)
            hoppers.append(hopper)
        return np.array(pools, dtype=np.int64), np.array(hoppers, dtype=np.int64)
