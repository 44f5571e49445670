"""The state of a meter that its processes share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from metersim.dealing import Dealt
from metersim.luck import BLOCK, CellStreams, KnotLuck, TickLuck
from metersim.physics import rowunit
from metersim.physics.rowunit import KNOT_INTERVAL
from metersim.records import Event
from metersim.scenario import Scenario
from metersim.stations import PASSES, Chances, Stations, stations_of
from metersim.streams import Streams

KNOTS_DEALT = 512  # at a time
SAMPLES = 2  # of the row unit's motion between two knots; seeds follow one another more slowly
SAMPLE = KNOT_INTERVAL / SAMPLES  # s


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
        self._cosine, self._sine = luck.deal(1)
        self._knots = 0  # before the last one dealt
        self.motion: list[float] = []
        self.envelope: list[float] = np.hypot(self._cosine, self._sine).tolist()
        self._highest: float = self.envelope[0]

    def reach(self, time: float) -> None:
        """Shake on until a time [s] at the least."""
        missing = int(time / KNOT_INTERVAL) + 1 - self._knots
        if missing > 0:
            self._go_on(max(missing, KNOTS_DEALT))

    def _go_on(self, knots: int) -> None:
        cosine, sine = self._luck.deal(knots)
        cosine = np.concatenate((self._cosine, cosine))
        sine = np.concatenate((self._sine, sine))
        sample = np.arange(knots * SAMPLES)
        before = sample // SAMPLES
        time = (sample + self._knots * SAMPLES + 0.5) * SAMPLE
        self.motion += rowunit.shaking(
            time, cosine[before], cosine[before + 1], sine[before], sine[before + 1]
        ).tolist()
        size = np.hypot(cosine[1:], sine[1:])
        self.envelope += size.tolist()
        self._highest = max(self._highest, float(size.max()))
        self._cosine, self._sine = cosine[-1:], sine[-1:]
        self._knots += knots

    def at(self, time: float) -> float:
        """Motion at a time [s]."""
        sample = int(time / SAMPLE)
        if sample >= len(self.motion):
            self.reach(time)
        return self.motion[sample]

    def highest_until(self, time: float) -> float:
        """A bound of the envelope until a time [s]: the largest that was dealt so far."""
        self.reach(time)
        return self._highest

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
        self.pitch = 2 * math.pi / self.cells
        self.passages = self.cells * scenario.run.turns
        last = self.passages * self.pitch + PASSES[-1]
        self.cells_in_tick = math.ceil(self.cells * scenario.run.tick)
        self.tick_count = math.ceil(last / (2 * math.pi * scenario.run.tick)) + 1
        self.cell_streams = CellStreams(streams)
        self.tick_luck = TickLuck(streams, self.tick_count)
        self.end = float(stations.drive.time_at(last))
        self.shaking = Shaking(KnotLuck(streams))
        self.speed = 0.0  # of the holes, m/s
        self.beam_dark_until = -math.inf
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        self.pool = min(stations.gate.full, total)
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
            angles = cells[:, None] * self.pitch + np.array(PASSES)
            times = self.stations.drive.time_at(angles).tolist()
            turning = self.stations.drive.speed_at(angles[:, -1])
            speeds = turning * self.scenario.disc.circle_radius
            luck = self.cell_streams.deal(len(cells))
            dealt = self._dealt[block] = Dealt(luck, self.stations, times, speeds)
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
