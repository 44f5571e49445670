"""The state of a meter that its processes share."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from metersim.dealing import Dealt
from metersim.luck import BLOCK, CellStreams, KnotLuck, TickLuck
from metersim.physics.rowunit import KNOT_INTERVAL
from metersim.records import Event
from metersim.scenario import Scenario
from metersim.stations import PASSES, Chances, Stations, stations_of
from metersim.streams import Streams

KNOTS_DEALT = 512  # at a time
KNOTS_AHEAD = 2  # that a moment needs beyond those of its own stretch


@dataclass(slots=True)
class Held:
    """A seed on a hole."""

    place: int
    size: float  # over the mean
    needed: float  # vacuum it needs on the whole hole in the pool, Pa
    share: float  # share of the hole that pulls it
    travel: float = math.nan  # past the cut-off until it leaves, if nothing changes till then, m


class Shaking:
    """The row unit's shaking so far, knot by knot: both parts of its envelope, and its size."""

    def __init__(self, luck: KnotLuck) -> None:
        self._luck = luck
        self.cosine: list[float] = []
        self.sine: list[float] = []
        self.envelope: list[float] = []
        self.highest = 0.0
        self.go_on(KNOTS_AHEAD)

    def go_on(self, knots: int) -> None:
        """Shake on for some knots."""
        cosine, sine = self._luck.deal(knots)
        self.cosine += cosine.tolist()
        self.sine += sine.tolist()
        size = np.hypot(cosine, sine)
        self.envelope += size.tolist()
        self.highest = max(self.highest, float(size.max()))

    def knot(self, time: float) -> int:
        """Number of the knot before a time [s]; both knots around it are there afterwards."""
        knot = int(time / KNOT_INTERVAL)
        if knot + KNOTS_AHEAD > len(self.envelope):
            self.go_on(knot + KNOTS_AHEAD + KNOTS_DEALT - len(self.envelope))
        return knot

    def peak(self, start: float, end: float) -> float:
        """Largest size of the envelope between two times [s]."""
        last = self.knot(end)
        return max(self.envelope[int(start / KNOT_INTERVAL) : last + KNOTS_AHEAD])


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
        if block not in self._dealt:
            self._dealt.pop(block - 2, None)
            cells = np.arange(block * BLOCK, min((block + 1) * BLOCK, self.passages))
            angles = cells[:, None] * self.pitch + np.array(PASSES)
            times = self.stations.drive.time_at(angles).tolist()
            turning = self.stations.drive.speed_at(angles[:, -1])
            speeds = turning * self.scenario.disc.circle_radius
            luck = self.cell_streams.deal(len(cells))
            self._dealt[block] = Dealt(luck, self.stations, times, speeds)
        dealt = self._dealt[block]
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
