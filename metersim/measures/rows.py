"""Measures of a pass: of each row, of all rows together, of their vacuum, and of the start."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtrc

from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, LEAVES, stations_of
from metersim.measures.estimates import Measured
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate, share_interval
from metersim.measures.tally import Tally, stretches_of, tally_of
from metersim.run.course import Course
from metersim.run.draws import SlipDraws
from metersim.run.records import Run
from metersim.run.rows import AirHistory, Pass
from metersim.run.streams import Streams

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OF_PLAN = Measure(
    "placed.of_plan",
    "share",
    "seeds placed over the seeds that the machine was to place on the row's ground",
    function=lambda sums: sums["seeds"] / np.where(sums["planned"] > 0, sums["planned"], np.nan),
)
ROW_KEYS = (
    "cells.skip",
    "cells.single",
    "cells.double",
    "cells.triple",
    "per_spacing.quality",
    "per_spacing.multiple",
    "per_spacing.miss",
    "precision",
    "sensor.skip",
    "sensor.double",
    "placed.per_area",
)
ROW_MEASURES: tuple[Measure, ...] = (*(BY_KEY[key] for key in ROW_KEYS), OF_PLAN)
"""Measures of rows.  Lengths are left out, as rows in a curve may have spacings of their own."""

BY_CHANCE = 0.01  # how often a turn of a settled row may be taken for one of the start
FEWEST_TURNS = 4  # of a pass whose start can be told from the rest


@dataclass(frozen=True)
class Middle:
    """Least, middle and greatest value along a pass.

    Attributes
    ----------
    least, middle, most : float
        Minimum, median and maximum over the ticks of all replicates.
    """

    least: float
    middle: float
    most: float


@dataclass(frozen=True, eq=False)
class RowTally:
    """Sums of one row of a pass.

    Attributes
    ----------
    number : int
        Number of the row, from 1.
    tally : Tally
        Sums over stretches; the planned seeds are those of the machine.
    missed, doubled : ndarray of int, shape (turns,)
        Cells without a seed, and with two, by turn of the disc.
    leaves, ends : ndarray, shape (turns + 1,)
        Times at which the first cell of each turn leaves the pool, and passes the cut-off; the last
        ones are those of the end. [s]
    first : float
        Place of the first seed; nan without seeds. [m]
    """

    number: int
    tally: Tally
    missed: Ints
    doubled: Ints
    leaves: Floats
    ends: Floats
    first: float


@dataclass(frozen=True, eq=False)
class PassTally:
    """Sums of a pass: its rows and its air, without the records.

    Attributes
    ----------
    scenario : Scenario
        The whole machine.
    rows : tuple of RowTally
        The working rows in order.
    air : AirHistory
        The air of all rows.
    """

    scenario: Scenario
    rows: tuple[RowTally, ...]
    air: AirHistory


def tallied_pass(done: Pass, stretches: int | None = None) -> PassTally:
    """Sums of a pass.

    Parameters
    ----------
    done : Pass
        The pass.
    stretches : int, optional
        Number of stretches of each row; by default as many as the shortest row allows.
    """
    many = stretches or stretches_of(*(one.run.scenario for one in done.rows))
    rate = done.scenario.demand.rate
    rows = tuple(_row_tally(one.number, one.run, many, rate) for one in done.rows)
    return PassTally(done.scenario, rows, done.air)


def _row_tally(number: int, run: Run, stretches: int, rate: float) -> RowTally:
    scenario, cells = run.scenario, run.scenario.disc.cells
    made = tally_of(run, stretches)
    planned = made.sums["planned"] * (rate / scenario.demand.rate)
    released = run.cells.released.reshape(-1, cells)
    begins = cells * np.arange(len(released) + 1)
    return RowTally(
        number=number,
        tally=replace(made, sums={**made.sums, "planned": planned}),
        missed=(released == 0).sum(axis=1),
        doubled=(released > 1).sum(axis=1),
        leaves=passing_times(run, begins, LEAVES),
        ends=passing_times(run, begins, CUT),
        first=float(run.seeds.position.min()) if len(run.seeds) else math.nan,
    )


def passing_times(run: Run, cells: Any, point: int) -> Floats:
    """Times at which cells of a row of a pass pass a point of their way. [s]"""
    scenario = run.scenario
    slips = SlipDraws(Streams(run.seed, run.replicate, scenario.row))
    course = Course(scenario, stations_of(scenario).drive, slips)
    return np.asarray(course.times(cells, point))


@dataclass(frozen=True, eq=False)
class Start:
    """The start of a pass, turn by turn of the disc.

    Attributes
    ----------
    missed, doubled, cells : ndarray of int, shape (turns,)
        Cells without a seed, with two or more, and all cells, over rows and replicates.
    vacuum : ndarray, shape (turns,)
        Mean vacuum at the working rows while the cells of the turn leave the pool. [Pa]
    ends : ndarray, shape (turns,)
        Mean time at which the turn ends. [s]
    first : float
        Mean place of a row's first seed. [m]
    level : float
        Coverage of intervals.
    """

    missed: Ints
    doubled: Ints
    cells: Ints
    vacuum: Floats
    ends: Floats
    first: float
    level: float = LEVEL_TOTAL

    @cached_property
    def settled(self) -> Estimate:
        """Share of missed cells in the second half of the pass."""
        return self.share(len(self.missed) // 2, len(self.missed))

    @cached_property
    def turns(self) -> int:
        """First turns that each miss more than the settled rows, with one false alarm in 100."""
        many = len(self.missed)
        if many < FEWEST_TURNS:
            return 0
        late = slice(many // 2, None)
        usual = (self.missed[late].sum() + 0.5) / (self.cells[late].sum() + 1)
        chance = bdtrc(self.missed - 1, self.cells, usual)
        more = np.asarray(chance < BY_CHANCE)[: many // 2]
        return int(np.argmin(np.append(more, False)))

    def share(self, begin: int, end: int) -> Estimate:
        """Share of missed cells from one turn to before another."""
        part = slice(begin, end)
        return share_interval(self.missed[part], self.cells[part], level=self.level)


@dataclass(frozen=True, eq=False)
class PassMeasured:
    """Measures of a pass, or of its replicates.

    Attributes
    ----------
    tallies : tuple of PassTally
        One a replicate.
    level : float
        Coverage of all intervals.
    """

    tallies: tuple[PassTally, ...]
    level: float = LEVEL_TOTAL

    def __repr__(self) -> str:
        many = f"{len(self.rows)} rows, {self.whole.total('cells'):,} cells"
        return f"<PassMeasured {self.scenario.name}: {many}>"

    @property
    def scenario(self) -> Scenario:
        """The whole machine."""
        return self.tallies[0].scenario

    @cached_property
    def rows(self) -> Mapping[int, Measured]:
        """Measures of each working row, by its number."""
        each = zip(*(one.rows for one in self.tallies), strict=True)
        return {
            row[0].number: Measured(tuple(one.tally for one in row), self.level, ROW_MEASURES)
            for row in each
        }

    @cached_property
    def whole(self) -> Measured:
        """Measures of all rows together."""
        return Measured(tuple(self._each()), self.level, ROW_MEASURES)

    def _each(self) -> Iterator[Tally]:
        return (row.tally for one in self.tallies for row in one.rows)

    @cached_property
    def vacuum(self) -> Mapping[int, Middle]:
        """Vacuum at the holes of each row of the machine, parked ones included. [Pa]"""
        found = np.concatenate([one.air.vacuum for one in self.tallies], axis=1)
        return {row: _middle(values) for row, values in enumerate(found, 1)}

    def air(self, name: str) -> Middle:
        """``reading``, ``at_fan`` or ``flow`` of `metersim.run.rows.AirHistory`."""
        return _middle(np.concatenate([getattr(one.air, name) for one in self.tallies]))

    @property
    def fan_speed(self) -> float:
        """Mean speed of the fan over its greatest one. [1]"""
        return float(np.mean([one.air.fan_speed for one in self.tallies]))

    @cached_property
    def start(self) -> Start:
        """The start of the pass, as far as all rows have turns."""
        rows = [(one.air, row) for one in self.tallies for row in one.rows]
        many = min(len(row.missed) for _, row in rows)
        counts = [
            np.sum([getattr(row, name)[:many] for _, row in rows], axis=0)
            for name in ("missed", "doubled")
        ]
        cells = sum(row.tally.origin.scenario.disc.cells for _, row in rows)
        ends = np.mean([row.ends[: many + 1] for _, row in rows], axis=0)
        vacuum = np.mean([_by_turn(air, row, many) for air, row in rows], axis=0)
        first = [row.first for _, row in rows if not math.isnan(row.first)]
        return Start(
            missed=counts[0],
            doubled=counts[1],
            cells=np.full(many, cells),
            vacuum=vacuum,
            ends=ends[1:],
            first=float(np.mean(first)) if first else math.nan,
            level=self.level,
        )


def _by_turn(air: AirHistory, row: RowTally, many: int) -> Floats:
    """Mean vacuum at a row while the cells of each turn leave the pool. [Pa]"""
    vacuum = air.vacuum[row.number - 1]
    # the sum up to each tick, as the vacuum is constant between ticks
    steps = np.diff(air.time)
    total = np.concatenate(([0.0], np.cumsum(vacuum[:-1] * steps)))
    ends = row.leaves[: many + 1]
    at = np.interp(ends, air.time, total) + vacuum[-1] * (ends - air.time[-1]).clip(min=0.0)
    made: Floats = np.diff(at) / np.diff(ends)
    return made


def _middle(values: Floats) -> Middle:
    return Middle(float(values.min()), float(np.median(values)), float(values.max()))


def measure_pass(
    passes: Pass | PassTally | Sequence[Pass | PassTally], *, level: float = LEVEL_TOTAL
) -> PassMeasured:
    """Measures of a pass of a machine, or of its replicates, with intervals.

    Parameters
    ----------
    passes : Pass, PassTally or sequence of them
        One or more passes of one scenario.
    level : float
        Coverage of the intervals, which hold the sampling error alone.

    Examples
    --------
    >>> import metersim as m
    >>> around = ["rows=3", "shut_off_kpa=8", "free_flow_m3_h=900", "turns=20"]
    >>> found = m.measure_pass(m.simulate_pass(m.load_scenario("maize_field", around), seed=1))
    >>> found.whole.total("none") == sum(row.total("none") for row in found.rows.values())
    True
    """
    given = (passes,) if isinstance(passes, Pass | PassTally) else tuple(passes)
    fresh = [one for one in given if isinstance(one, Pass)]
    each = (
        stretches_of(
            *(row.run.scenario for one in fresh for row in one.rows), replicates=len(given)
        )
        if fresh
        else None
    )
    tallies = tuple(one if isinstance(one, PassTally) else tallied_pass(one, each) for one in given)
    return PassMeasured(tallies, level)
