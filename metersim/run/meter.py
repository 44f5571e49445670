"""What the processes of a meter share: its stations, where its seeds are, and its records."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from metersim.machine.pickup import Chances
from metersim.machine.rowunit import KNOT_INTERVAL, SAMPLE, SAMPLES, envelope, shaking
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations, stations_of
from metersim.run.course import Course
from metersim.run.draws import ArchLuck, CellDraws, KnotDraws, Streams
from metersim.run.records import Event


@dataclass(slots=True)
class Held:
    """A seed on a hole."""

    place: int  # which seed of its cell
    size: float  # over the mean
    needed: float  # vacuum that it needs on the whole hole in the pool, Pa
    share: float  # part of the hole that pulls it


@dataclass(slots=True)
class Cell:
    """A hole on one way round, and the seeds on it."""

    number: int
    chances: Chances  # what it had to expect when it entered the pool
    along: float  # seat of the first seed from the hole's centre, along the track, m
    across: float  # the same across the track, m
    held: list[Held]

    @property
    def off_centre(self) -> float:
        """Distance of the first seed's seat from the hole's centre. [m]"""
        return math.sqrt(self.along * self.along + self.across * self.across)

    def keep(self, held: list[Held]) -> None:
        """Hold these seeds alone; the first has the part of the hole that the others leave."""
        self.held = held
        if held:
            held[0].share = 1 - sum(seed.share for seed in held[1:])


class Shaking:
    """The shaking of the row unit over its SD, at any time."""

    def __init__(self, draws: KnotDraws) -> None:
        self._draws = draws

    def at(self, time: float) -> float:
        """Motion at a time [s]."""
        sample = int(time / SAMPLE)
        before = sample // SAMPLES
        sizes = [float(envelope(self._draws.strength(before + k))) for k in (0, 1)]
        phases = [self._draws.phase(before + k) for k in (0, 1)]
        return float(shaking((sample + 0.5) * SAMPLE, *sizes, *phases))

    def peak(self, start: float, end: float) -> float:
        """Largest size of the envelope between two times [s]."""
        first, last = int(start / KNOT_INTERVAL), int(end / KNOT_INTERVAL) + 1
        return float(envelope(self._draws.strongest(first, last)))


class Meter:
    """A meter at work.

    What one process needs alone stays in that process.

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
    speed : float
        Speed of the holes since the last tick. [m/s]
    level : float
        Level of the pool at the last tick. [m]
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
        self.course = Course(scenario, stations.drive)
        self.passages = self.course.passages
        self.draws = CellDraws(streams, self.passages)
        self.arches = ArchLuck(streams)
        self.shaking = Shaking(KnotDraws(streams))
        self.speed = 0.0
        self.beam_dark_until = -math.inf
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        self.pool = self.available = min(stations.gate.full, total)
        self.level = float(stations.gate.level(self.pool))
        self.hopper = total - self.pool
        self.carried = self.falling = self.landed = 0
        self.arched = False
        self.events: list[Event] | None = [] if trace else None
        self.ticks: list[tuple[float, int, int, bool]] = []
        self.cell_rows: list[tuple[int, ...]] = [()] * self.passages
        self.seed_rows: list[tuple[Any, ...]] = []

    def until(self, time: float) -> Any:
        """The wait until a time [s]."""
        return self.env.timeout(max(time - self.env.now, 0.0))

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

    def note(self, cell: int, place: int, station: str, event: str, why: str = "") -> None:
        """Add a line to the trace."""
        if self.events is not None:
            self.events.append(Event(self.env.now, cell, place, station, event, why))

    def note_all(self, cell: int, held: Iterable[Held], station: str, event: str) -> None:
        """Add a line to the trace for each seed that a cell holds."""
        for seed in held:
            self.note(cell, seed.place, station, event)
