"""The state of a meter that its processes share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from metersim.machine.pickup import Chances
from metersim.machine.rowunit import KNOT_INTERVAL, SAMPLE, SAMPLES, envelope, shaking
from metersim.machine.scenario import Scenario
from metersim.machine.stations import PASSES, Stations, stations_of
from metersim.run.course import Course
from metersim.run.draws import BLOCK, ArchLuck, KnotLuck, Luck, Streams
from metersim.run.records import Event


@dataclass(slots=True)
class Held:
    """A seed on a hole."""

    place: int
    size: float  # over the mean
    needed: float  # vacuum it needs on the whole hole in the pool, Pa
    share: float  # share of the hole that pulls it
    travel: float = math.nan  # past the cut-off until it leaves, if nothing changes till then, m


class Shaking:
    """The row unit's shaking so far, over its SD: motion by samples, envelope by knots."""

    def __init__(self, luck: KnotLuck) -> None:
        self._luck = luck
        self._blocks = 0
        self._last = self._phase = np.empty(0)  # of the last knot dealt
        self._highest = 0.0
        self.motion: list[float] = []
        self.envelope: list[float] = []

    def reach(self, time: float) -> None:
        """Shake on until a time [s] at the least."""
        while len(self.envelope) < int(time / KNOT_INTERVAL) + 2:
            self._go_on()

    def _go_on(self) -> None:
        size = envelope(self._luck.strength(self._blocks))
        self.envelope += size.tolist()
        self._highest = max(self._highest, float(size.max()))
        size = np.concatenate((self._last, size))
        phase = np.concatenate((self._phase, self._luck.phase(self._blocks)))
        sample = np.arange((len(size) - 1) * SAMPLES)
        knot = sample // SAMPLES
        time = (sample + len(self.motion) + 0.5) * SAMPLE
        self.motion += shaking(
            time, size[knot], size[knot + 1], phase[knot], phase[knot + 1]
        ).tolist()
        self._last, self._phase = size[-1:], phase[-1:]
        self._blocks += 1

    def highest_until(self, time: float) -> float:
        """A bound of the envelope until a time [s]: the largest that was dealt so far."""
        self.reach(time)
        return self._highest

    def at(self, time: float) -> float:
        """Motion at a time [s]."""
        sample = int(time / SAMPLE)
        if sample >= len(self.motion):
            self.reach(time)
        return self.motion[sample]

    def peak(self, start: float, end: float) -> float:
        """Largest size of the envelope between two times [s]."""
        self.reach(end)
        return max(self.envelope[int(start / KNOT_INTERVAL) : int(end / KNOT_INTERVAL) + 2])


class Meter:
    """A meter at work: its stations, where its seeds are, and what it has recorded.

    What belongs to one process only stays in that process; here is what they share.

    Attributes
    ----------
    env : simpy.Environment
        The clock.
    stations : Stations
        The stations; assign another value to change the meter while it runs.
    vacuum : float
        Vacuum at the holes, 0 or more; may be assigned. [Pa]
    hopper, pool, carried, falling, landed : int
        Whole seeds in each part of the meter; their sum never changes.
    available : int
        Seeds of the pool that cells can still take until the next tick: what comes back from
        the disc lies on the heap until then.
    """

    def __init__(
        self,
        env: Any,
        scenario: Scenario,
        stations: Stations,
        streams: Streams,
        trace: bool = False,
    ) -> None:
        self.env = env
        self.scenario = scenario
        self.stations = self._noted = stations
        self.replaced = stations.departures(stations_of(scenario))
        self.vacuum = scenario.vacuum.vacuum
        self.cells = scenario.disc.cells
        self.course = Course(scenario, stations.drive)
        self.passages = self.course.passages
        self.streams = streams
        self.arch_luck = ArchLuck(streams)
        self.shaking = Shaking(KnotLuck(streams))
        self.speed = 0.0  # of the holes, m/s
        self.beam_dark_until = -math.inf
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        self.pool = self.available = min(stations.gate.full, total)
        self.hopper = total - self.pool
        self.carried = self.falling = self.landed = 0
        self.arched = False
        self._dealt: dict[int, Dealt] = {}
        self.chances: Chances  # of a cell that enters the pool, since the last tick
        self._looked: tuple[Any, ...] = ()
        self.events: list[Event] | None = [] if trace else None
        self.ticks: list[tuple[float, int, int, bool]] = []
        self.cell_rows: list[tuple[int, ...]] = [()] * self.passages
        self.seed_rows: list[tuple[Any, ...]] = []

    def note_changes(self) -> None:
        """Record which stations were replaced since the last tick.

        Raises
        ------
        ValueError
            When the drive was: it keeps the schedule that it had at the start.
        """
        if self.stations is self._noted:
            return
        for name, what in self.stations.departures(self._noted).items():
            if name == "drive":
                raise ValueError("drive differs; it keeps the schedule that it had at the start")
            self.replaced[name] = f"{what} from {self.env.now:.3f} s"
            self.note(-1, -1, name, "changed", self.replaced[name])
        self._noted = self.stations

    @property
    def total(self) -> int:
        """All seeds, wherever they are."""
        return self.hopper + self.pool + self.carried + self.falling + self.landed

    def dealt(self, cell: int) -> tuple[Dealt, int]:
        """What is in store for the block of a cell, and the cell's place in it."""
        block, index = divmod(cell, BLOCK)
        dealt = self._dealt.get(block)
        if dealt is None:
            self._dealt.pop(block - 2, None)
            cells = np.arange(block * BLOCK, min((block + 1) * BLOCK, self.passages))
            passes = range(len(PASSES))
            times = np.stack([self.course.times(cells, station) for station in passes], axis=1)
            luck = Luck(self.streams, block, len(cells))
            speeds = self.course.hole_speeds(cells)
            dealt = self._dealt[block] = Dealt(luck, self.stations, times.tolist(), speeds)
        if dealt.stations is not self.stations:
            dealt = self._dealt[block] = Dealt(
                dealt.luck, self.stations, dealt.times, dealt.hole_speeds
            )
        return dealt, index

    def look(self) -> None:
        """Bring up to date what a cell that enters the pool has to expect."""
        now = (self.pool, self.vacuum, self.speed, self.stations)
        if now != self._looked:
            level = self.stations.gate.level(self.pool)
            made = self.stations.pickup.chances(level, self.vacuum, self.speed)
            self.chances = Chances(*map(float, made))
            self._looked = now

    def note(self, cell: int, place: int, station: str, event: str, why: str = "") -> None:
        """Add a line to the trace."""
        if self.events is not None:
            self.events.append(Event(self.env.now, cell, place, station, event, why))

    def note_all(self, cell: int, held: Iterable[Held], station: str, event: str) -> None:
        """Add a line to the trace for each seed that a cell holds."""
        if self.events is not None:
            for seed in held:
                self.note(cell, seed.place, station, event)
