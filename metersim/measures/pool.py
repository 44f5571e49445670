"""Traces of the pool in a row: stops of the gate that skips remember, and a hopper that runs empty.

Arches stop a low gate for a while.  The pool is used up then, and skips come in runs.  So cells
depend on each other for about as long as a stop lasts.  Blocks must be much longer than that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from metersim.machine.losses import REASONS
from metersim.machine.moment import Moment
from metersim.machine.scenario import Scenario
from metersim.machine.stations import stations_of
from metersim.run.records import Ticks

SHORTEST = 25  # fewest cells in a stretch
STOPS_IN_STRETCH = 6  # mean stops of the gate that a stretch is long, where the pool starves
ROUNDING = 1e-6  # cells
LONGEST = 1e5  # cells of a stop that hardly ever ends
FEWEST = 10  # stretches of a starved pool, from which intervals cover at their rate
STARVED = 0.01  # least share of time for which the gate of a starved pool is stopped


@dataclass(frozen=True)
class Stops:
    """Stops of the gate, as arches make them.

    Attributes
    ----------
    length : float
        Cells that pass during a stop, on average.
    cycle : float
        Cells from the start of a stop to the start of the next, on average.
    """

    length: float
    cycle: float

    @property
    def is_starved(self) -> bool:
        """Whether stops are so common that the pool may starve."""
        return self.length >= STARVED * self.cycle

    @property
    def shortest(self) -> int:
        """Fewest cells in a stretch."""
        if not self.is_starved:
            return SHORTEST
        return max(SHORTEST, math.ceil(STOPS_IN_STRETCH * min(self.length, LONGEST) - ROUNDING))

    @property
    def enough(self) -> int:
        """Fewest cells of a run whose intervals cover at their rate; 0 where no pool starves."""
        return FEWEST * self.shortest if self.is_starved else 0


def stops_of(scenario: Scenario) -> Stops:
    """Stops of the gate of a scenario, from its rates at the start.

    Stops begin and end by chance, each at its own rate.  So both means are those of exponential
    times.
    """
    gate = stations_of(scenario).gate
    at = Moment("gate", time=0.0, speed=scenario.peripheral_speed)
    begins, ends = float(gate.arch_rate(at)), float(gate.clearing_rate(at))
    if not begins > 0:
        return Stops(0.0, math.inf)
    if not ends > 0:
        return Stops(math.inf, math.inf)
    rate = scenario.cell_rate
    return Stops(rate / ends, rate * (1 / begins + 1 / ends))


@dataclass(frozen=True)
class Emptied:
    """The moment at which the pool falls below its level, as the hopper is empty.

    Attributes
    ----------
    cell : int
        First cell that enters the pool after it.
    time : float
        Time. [s]
    pool : int
        Seeds that are left in the pool.
    gaps : tuple of int
        Runs of skips between seeds from this cell on, by reason, see
        `metersim.measures.tally.Tally`.
    tail : int
        Cells behind the last one that released a seed.
    """

    cell: int
    time: float
    pool: int
    gaps: tuple[int, ...] = (0,) * len(REASONS)
    tail: int = 0


class Hopper:
    """Finds the moment at which an empty hopper leaves the pool below its level.

    The first tick counts after which the hopper is empty and the pool is so low that a slide should
    start.
    """

    def __init__(self, scenario: Scenario) -> None:
        self._scenario = scenario
        self.emptied: Emptied | None = None

    def add(self, first: int, ticks: Ticks) -> None:
        """Look at the next ticks, the first of which has this number."""
        if self.emptied or not len(ticks) or ticks.hopper[-1] > 0:
            return
        scenario = self._scenario
        at = Moment("gate", time=ticks.time, speed=scenario.peripheral_speed)
        low = stations_of(scenario).gate.low(at)
        starving = ((ticks.hopper == 0) & (ticks.pool <= low)).nonzero()[0]
        if not starving.size:
            return
        tick = int(starving[0])
        (angle,) = scenario.tick_angles(first + tick + 1, first + tick)
        cell = math.ceil(angle / (2 * math.pi) * scenario.disc.cells)
        self.emptied = Emptied(cell, float(ticks.time[tick]), int(ticks.pool[tick]))


class Spilt:
    """Counts the seeds that leak out of the pool, from a first cell on.

    Parameters
    ----------
    scenario : Scenario
        All settings.
    first : int
        First cell that counts.
    """

    def __init__(self, scenario: Scenario, first: int = 0) -> None:
        angle = np.array(first * 2 * math.pi / scenario.disc.cells)
        self._tick = int(scenario.ticks_before(angle)) if first else -1
        self._before = self._so_far = 0

    def add(self, first: int, ticks: Ticks) -> None:
        """Look at the next ticks, the first of which has this number."""
        if not len(ticks):
            return
        if 0 <= self._tick - first < len(ticks):
            self._before = int(ticks.spilt[self._tick - first])
        self._so_far = int(ticks.spilt[-1])

    @property
    def seeds(self) -> int:
        """Seeds that leaked since the last tick before the first cell."""
        return self._so_far - self._before
