"""The rows of a machine before and after a pass: what they share, and what they left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from metersim import __version__
from metersim.files.faults import bad
from metersim.machine.air import equivalent_holes
from metersim.machine.airline import Air, AirLine, air_line, full_holes
from metersim.machine.rows import row_scenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import ENTERS, Stations, departures_of, stations_of
from metersim.machine.turning import gap_leak
from metersim.run.chamber import Holes, ticks_until
from metersim.run.course import Course
from metersim.run.draws import Array, SlipDraws
from metersim.run.records import Origin, Run
from metersim.run.streams import Streams

MOST_VALUES = 10_000_000  # moments times rows, some 80 MB for each quantity
LEAST_GAP = 0.3e-3  # m, of a singulator whose zero lies nearer than its scale says


@dataclass(frozen=True, kw_only=True)
class AirHistory:
    """The air along a pass.

    Attributes
    ----------
    time : ndarray, shape (ticks,)
        Times of the ticks. [s]
    vacuum : ndarray, shape (rows, ticks)
        Vacuum at the holes of each row of the machine, parked ones included. [Pa]
    reading, at_fan : ndarray, shape (ticks,)
        Vacuum that the gauge shows, and that at the fan's end of the pipe. [Pa]
    flow : ndarray, shape (ticks,)
        Flow of the fan. [m3/s]
    fan_speed : float
        Speed of the fan over its greatest one. [1]
    """

    time: Array
    vacuum: Array
    reading: Array
    at_fan: Array
    flow: Array
    fan_speed: float


@dataclass(frozen=True, kw_only=True)
class RowRun:
    """The run of one row.

    Attributes
    ----------
    number : int
        Number of the row, from 1.
    run : Run
        Its records; positions are metres from where the pass began.
    """

    number: int
    run: Run


@dataclass(frozen=True, kw_only=True)
class Pass:
    """The runs of all working rows of a machine, and their air.

    Attributes
    ----------
    scenario : Scenario
        The whole machine.
    seed, replicate : int
        What chose the random draws.
    version : str
        Version of the program.
    rows : tuple of RowRun
        The working rows in order.
    air : AirHistory
        The air of all rows.
    """

    scenario: Scenario
    seed: int
    replicate: int
    version: str
    rows: tuple[RowRun, ...]
    air: AirHistory


class Machine:
    """The rows of a machine before a pass: scenarios, stations, draws, and the line of the air.

    Parameters
    ----------
    scenario : Scenario
        The whole machine.
    seed, replicate : int
        What chooses the random draws.
    """

    def __init__(self, scenario: Scenario, seed: int, replicate: int) -> None:
        self.scenario, self.seed, self.replicate = scenario, seed, replicate
        number = scenario.toolbar.rows
        streams = Streams(seed, replicate)
        edge, seal, vacuum = (
            streams.generator(f"row {cause}").standard_normal(number)
            for cause in ("edge", "seal", "vacuum")
        )
        self.rows: Mapping[int, Scenario] = {
            row: _with_edge(row_scenario(scenario, row), float(edge[row - 1]))
            for row in range(1, number + 1)
        }
        # a gap is worked out at the vacuum for which the fan was set
        self._gap_leaks = np.array(
            [float(gap_leak(one, one.vacuum.vacuum)) for one in self.rows.values()]
        )
        self.line: AirLine = air_line(
            scenario,
            rows=self.rows,
            gap_leak=self._gap_leaks,
            seal_draws=seal,
            vacuum_draws=vacuum,
        )

    @property
    def working(self) -> tuple[int, ...]:
        """Numbers of the working rows."""
        return self.scenario.working_rows

    @cached_property
    def stations(self) -> dict[int, Stations]:
        """Stations of the working rows."""
        return {row: stations_of(self.rows[row]) for row in self.working}

    def streams(self, row: int) -> Streams:
        """Random draws of a row."""
        return Streams(self.seed, self.replicate, row)

    @cached_property
    def courses(self) -> dict[int, Course]:
        """When the cells of the working rows pass what."""
        return {
            row: Course(self.rows[row], self.stations[row].drive, SlipDraws(self.streams(row)))
            for row in self.working
        }

    @cached_property
    def ends(self) -> dict[int, float]:
        """Times at which the working rows take up their last cells. [s]"""
        return {
            row: float(course.times(np.array([course.passages - 1]), ENTERS)[0])
            for row, course in self.courses.items()
        }

    @cached_property
    def ticks(self) -> Array:
        """Times of the ticks, until the last row takes up its last cell. [s]

        Raises
        ------
        BadInput
            When there are more than `MOST_VALUES` for all rows.
        """
        end, step = max(self.ends.values()), self.scenario.travel.air_tick
        longest = MOST_VALUES * step / len(self.rows)
        if end > longest:
            message = (
                f"{step:g} s is too short for a pass of {end:,.0f} s on {len(self.rows)} rows; "
                f"give more, or a pass of at most {longest:,.0f} s"
            )
            raise bad(self.scenario.name, "travel.air_tick_s", message)
        return ticks_until(end, step)

    def held(self, row: int, holes: Holes) -> Holes:
        """Holes of a row at all ticks; a row that has ended keeps its disc as it was.

        Rows end at different times in a curve, or with different discs.
        """
        last = int(np.searchsorted(self.ticks, self.ends[row], side="right")) - 1
        at = np.minimum(np.arange(len(self.ticks)), last)
        return Holes(*(each[at] for each in holes))

    def air(self, holes: Mapping[int, Holes]) -> Air:
        """The air of all rows, from what sits on the discs of the working ones."""
        ticks = len(next(iter(holes.values())).empty)
        equal = np.zeros((len(self.rows), ticks))
        for row, one in holes.items():
            k = self.rows[row].coefficients
            equal[row - 1] = equivalent_holes(
                one.empty, one.in_pool, one.seeded, k.leak_in_pool, k.leak_of_seated
            )
        return self._solved(equal)

    def first_air(self) -> Air:
        """The air while all discs of working rows are full, at every tick."""
        full = np.array([[full_holes(one)] for one in self.rows.values()])
        return self._solved(full.repeat(len(self.ticks), axis=1))

    def _solved(self, holes: Array) -> Air:
        """The air of all rows, from open holes that let through as much."""
        return self.line.solve(self.line.open_area(holes, self._gap_leaks[:, None]))

    def origin(self, row: int) -> Origin:
        """Origin of the records of a row."""
        made = self.rows[row]
        return Origin(made, self.seed, self.replicate, __version__, departures_of(made))


def _with_edge(row: Scenario, deviate: float) -> Scenario:
    """A row whose edge has a zero of its own."""
    edge = row.singulator
    least = max(LEAST_GAP, edge.notch_step * edge.notch + row.seeds.width / 1000)
    gap = max(edge.gap + row.toolbar.edge_spread * deviate, least)
    return row if gap == edge.gap else row.replace(singulator__gap=gap)
