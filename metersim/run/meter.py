"""State that the processes of a meter share: its stations, its seeds and its records."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from metersim.machine.moment import Moment
from metersim.machine.own import check_own
from metersim.machine.pickup import Chances
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations, values_changed
from metersim.run.course import Course, Shaking
from metersim.run.draws import ArchDraws, CellDraws, HoleDraws, KnotDraws, SlipDraws
from metersim.run.records import Change, Event
from metersim.run.streams import Streams


@dataclass(slots=True)
class Held:
    """A seed on a hole."""

    nth: int  # number of the seed in its cell: 0 joined first
    size: float  # linear size over the mean of the lot
    needed: float  # vacuum that it needs if the whole hole pulls it in the pool, Pa
    share: float  # part of the hole that pulls it
    long: float  # its long side over its size, m
    narrow: float  # its narrow side on the disc over its size, m


@dataclass(slots=True)
class Cell:
    """A hole on one way round the disc, and the seeds on it."""

    number: int
    level: float  # level of the pool when the cell entered it, m
    chances: Chances  # numbers that decide which seeds join and stay
    along: float  # offset of the first seed's seat from the hole's centre, along the track, m
    across: float  # offset of that seat across the track, outwards positive, m
    held: list[Held]

    def keep(self, held: list[Held]) -> None:
        """Hold these seeds alone; the first gets the part of the hole that the others leave."""
        self.held = held
        if held:
            held[0].share = 1 - sum(seed.share for seed in held[1:])


class Meter:
    """A meter at work: what its processes share.

    Attributes
    ----------
    env : simpy.Environment
        The clock.
    stations : Stations
        The stations.  Assign others to change the meter while it runs; the drive cannot change.
    vacuum : float
        Vacuum in the chamber, 0 or more.  It may be assigned. [Pa]
    changes : list of Change
        All assignments so far, with their times.
    in_pool, empty, seeded : int
        Cells under vacuum that let air through: in the pool, carried without a seed, and carried
        with seeds.
    hopper, pool, carried, falling, landed, spilt : int
        Whole seeds in each part of the meter, and those that leaked out of it.  Their sum never
        changes.
    available : int
        Seeds of the pool that cells can still take until the next tick.  A seed that comes back
        from the disc lies on the heap until then.
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
        vacuum: float,
        trace: bool = False,
        starts: str | None = None,
    ) -> None:
        self.env = env
        self.scenario = scenario
        self._stations = self.first_stations = stations
        self._vacuum = vacuum
        self.changes: list[Change] = []
        self.course = Course(scenario, stations.drive, SlipDraws(streams))
        self.passages = self.course.passages
        self.draws = CellDraws(streams, self.passages)
        self.holes = HoleDraws(streams, scenario.disc.cells)
        self.arches = ArchDraws(streams)
        self.shaking = Shaking(KnotDraws(streams))
        self.speed = float(self.course.tick_speeds(0, 1)[0])
        self.beam_dark_until = -math.inf  # s
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        full = int(stations.gate.full(Moment("gate", time=0.0, speed=self.speed)))
        self.pool = self.available = min(full, total)
        self.level = float(stations.gate.seen(self.pool))
        self.hopper = total - self.pool
        self.carried = self.falling = self.landed = self.spilt = 0
        self.arched = self.sliding = False
        self.in_pool = self.empty = self.seeded = 0.0
        self.starts = starts  # where rows share a fan, whether discs are filled or empty at first
        self.events: list[Event] | None = [] if trace else None
        self.ticks: list[tuple[float, int, int, bool, int]] = []
        self.cell_rows: list[tuple[int, ...]] = [()] * self.passages
        self.seed_rows: list[tuple[Any, ...]] = []

    def until(self, time: float) -> Any:
        """Event to wait for until a time [s]."""
        return self.env.timeout(max(time - self.env.now, 0.0))

    @property
    def vacuum(self) -> float:
        """Vacuum at the holes. [Pa]"""
        return self._vacuum

    @vacuum.setter
    def vacuum(self, vacuum: float) -> None:
        if not (isinstance(vacuum, int | float) and 0 <= vacuum < math.inf):
            raise ValueError(f"vacuum is {vacuum!r} Pa; allowed: a number, 0 or more")
        if vacuum != self._vacuum:
            self._note_change("vacuum", f"{self._vacuum:g} to {vacuum:g} Pa")
        self._vacuum = vacuum

    def count_open(self, holes: float, is_open: bool) -> None:
        """Count carried holes, open ones or those that a seed shuts; below 0 they end."""
        if is_open:
            self.empty += holes
        else:
            self.seeded += holes

    def breathe(self, vacuum: float) -> None:
        """Set the vacuum of the chamber [Pa] at a tick of the air, which is no change by hand."""
        self._vacuum = vacuum

    def vacuum_at(self, cell: int) -> float:
        """Vacuum at the hole of a cell, 0 or more. [Pa]"""
        hole = cell % self.scenario.disc.cells
        deviate, turn = float(self.holes.deviates[hole]), float(self.holes.turns[hole])
        return float(self.stations.pickup.at_hole(self.vacuum, deviate, turn, hole))

    @property
    def stations(self) -> Stations:
        """The stations."""
        return self._stations

    @stations.setter
    def stations(self, stations: Stations) -> None:
        if not isinstance(stations, Stations):
            raise ValueError(f"stations are {stations!r}; allowed: Stations")
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
        inside = self.hopper + self.pool + self.carried + self.falling
        return inside + self.landed + self.spilt

    def note(self, cell: int, nth: int, station: str, event: str, why: str = "") -> None:
        """Add a line to the trace."""
        if self.events is not None:
            self.events.append(Event(self.env.now, cell, nth, station, event, why))

    def note_all(self, cell: int, held: Iterable[Held], station: str, event: str) -> None:
        """Add a line to the trace for each seed that a cell holds."""
        for seed in held:
            self.note(cell, seed.nth, station, event)
