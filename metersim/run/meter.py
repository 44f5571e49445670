"""What the processes of a meter share: its stations, where its seeds are, and its records."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations, check_own, values_changed
from metersim.run.course import Course, Shaking
from metersim.run.draws import ArchDraws, CellDraws, KnotDraws, Streams
from metersim.run.records import Change, Event


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
    level: float  # of the pool when it entered, m
    chances: Chances  # what it had to expect then
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


class Meter:
    """A meter at work.

    What one process needs alone stays in that process.

    Attributes
    ----------
    env : simpy.Environment
        The clock.
    stations : Stations
        The stations; assign another value to change the meter while it runs, all but the drive.
    vacuum : float
        Vacuum at the holes, 0 or more; may be assigned. [Pa]
    changes : list of Change
        What was assigned so far, and when.
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
        self._stations = stations
        self._vacuum = scenario.vacuum.vacuum
        self.changes: list[Change] = []
        self.course = Course(scenario, stations.drive)
        self.passages = self.course.passages
        self.draws = CellDraws(streams, self.passages)
        self.arches = ArchDraws(streams)
        self.shaking = Shaking(KnotDraws(streams))
        self.speed = float(self.course.tick_speeds(0, 1)[0])
        self.beam_dark_until = -math.inf
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        full = int(stations.gate.full(Moment("gate", time=0.0, speed=self.speed)))
        self.pool = self.available = min(full, total)
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

    @property
    def vacuum(self) -> float:
        """Vacuum at the holes. [Pa]"""
        return self._vacuum

    @vacuum.setter
    def vacuum(self, vacuum: float) -> None:
        if not 0 <= vacuum < math.inf:
            raise ValueError(f"vacuum is {vacuum!r} Pa; allowed: a number, 0 or more")
        if vacuum != self._vacuum:
            self._note_change("vacuum", f"{self._vacuum:g} to {vacuum:g} Pa")
        self._vacuum = vacuum

    @property
    def stations(self) -> Stations:
        """The stations."""
        return self._stations

    @stations.setter
    def stations(self, stations: Stations) -> None:
        changed = stations.departures(self._stations)
        if "drive" in changed:
            raise ValueError("the drive cannot change in a run; it keeps its schedule of the start")
        check_own({name: getattr(stations, name) for name in changed})
        for name, what in changed.items():
            old, new = getattr(self._stations, name), getattr(stations, name)
            self._note_change(name, values_changed(old, new) or what)
        self._stations = stations

    def _note_change(self, what: str, words: str) -> None:
        self.changes.append(Change(self.env.now, what, words))
        self.note(-1, -1, what, "changed", words)

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
