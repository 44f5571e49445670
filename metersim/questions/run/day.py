"""A day behind one lens: what the monitor shows hour by hour, beside what lies in the row.

Dust hides seeds from the beam, and a brush clears the lens.  The row is the same at all hours.  So
one run is watched through the lens of each hour, with the same seeds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.measures.estimates import Measured, measure
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.measures.tally import stretches_of, tallied

if TYPE_CHECKING:
    import pandas as pd

MOST_CELLS = 9_000  # of the run that is watched
MOST_HOURS = all_fields()["sensor", "hours_since_brushing"].high
DUE = 1e-9  # h, by which rounding may miss an hour of brushing
PLANNED = 0.05  # share of the planned seeds within which the seed used is as planned
TIMES = 2.0  # skips on the monitor over those of the row, from which the alarm is false


@dataclass(frozen=True)
class Hour:
    """The lens at one moment of a day.

    Attributes
    ----------
    time : float
        Hours of work since the start of the day. [h]
    since : float
        Hours of work since the lens was brushed, just before any brushing now. [h]
    measured : Measured
        Measures of the row, and of what the sensor shows of it.
    """

    time: float
    since: float
    measured: Measured

    @property
    def monitor(self) -> float:
        """Share of cells that the monitor shows as skips. [1]"""
        return self.measured["sensor.skip"].value

    @property
    def skips(self) -> float:
        """Share of cells that released no seed. [1]"""
        return self.measured["cells.skip"].value

    @property
    def counted(self) -> float:
        """Seeds that the monitor counts on an area. [1/m2]"""
        return self.measured["sensor.seen"].value * self.placed

    @property
    def placed(self) -> float:
        """Seeds placed on an area. [1/m2]"""
        return self.measured["placed.per_area"].value


@dataclass(frozen=True)
class Day:
    """A day behind one lens.

    Attributes
    ----------
    scenario : Scenario
        The scenario of the day.
    hours : tuple of Hour
        The start of the day, each full hour, each brushing, and its end.
    clean : Hour
        The lens just after a brushing.
    """

    scenario: Scenario
    hours: tuple[Hour, ...]
    clean: Hour

    def __repr__(self) -> str:
        return f"<Day of {self.scenario.name}: {self.hours[-1].time:g} hours>"

    @property
    def worst(self) -> Hour:
        """The hour at which the monitor shows most skips."""
        return max(self.hours, key=lambda one: one.monitor)

    @property
    def planned(self) -> float:
        """Seeds planned on an area. [1/m2]"""
        return self.scenario.demand.rate

    @property
    def used(self) -> float:
        """Mass of seed used on an area, over the whole day. [kg/m2]"""
        return self.hours[0].placed * self.scenario.seeds.seed_mass

    @property
    def is_as_planned(self) -> bool:
        """Whether the seed used is as planned."""
        return abs(self.hours[0].placed / self.planned - 1) < PLANNED

    @property
    def is_false_alarm(self) -> bool:
        """Whether the monitor shows far more skips than the row has, and the seed is as planned."""
        worst = self.worst
        return self.is_as_planned and worst.monitor > TIMES * worst.skips

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row an hour, in SI but for hours (extra ``notebook``)."""
        return dataframe(rows_of(self))


def rows_of(day: Day) -> list[dict[str, float]]:
    """One row an hour."""
    return [
        {
            "hour": one.time,
            "hours_since_brushing": one.since,
            "monitor_skip": one.monitor,
            "cells_skip": one.skips,
            "counted_per_m2": one.counted,
            "placed_per_m2": one.placed,
        }
        for one in day.hours
    ]


def hours_since(time: float, at_start: float, every: float) -> float:
    """Hours since the lens was brushed, just before any brushing at this time.

    Parameters
    ----------
    time : float
        Hours of work since the start of the day. [h]
    at_start : float
        Hours since brushing at the start. [h]
    every : float
        Hours between two brushings of the day; the first comes after as many hours. [h]
    """
    done = math.ceil(time / every - DUE) - 1  # brushings before this time
    return time - done * every if done > 0 else at_start + time


def day_of(
    scenario: Scenario, *, seed: int = 1, on_cells: Callable[[int], object] | None = None
) -> Day:
    """Watch a row through the lens of each hour of a day.

    Parameters
    ----------
    scenario : Scenario
        A scenario with `sensor.day` above 0.
    seed : int
        Random seed; all hours have the same seeds.
    on_cells : callable, optional
        Called with each further number of cells that are done.
    """
    lens = scenario.sensor
    row = scenario.lasting(min(scenario.passages, MOST_CELLS))
    each = stretches_of(row)

    def at(time: float, since: float) -> Hour:
        seen = row.replace(sensor__hours_since_brushing=min(since, MOST_HOURS))
        sums = tallied(seen, seed=seed, stretches=each, on_cells=on_cells)
        return Hour(time, since, measure(sums, level=LEVEL_TOTAL))

    hours = (
        at(time, hours_since(time, lens.hours_since_brushing, lens.brushed_every))
        for time in sorted({*np.arange(0.0, lens.day).tolist(), *brushings(scenario), lens.day})
    )
    return Day(scenario, tuple(hours), at(0.0, 0.0))


def brushings(scenario: Scenario) -> list[float]:
    """Times of the day at which the lens is brushed. [h]"""
    every, length = scenario.sensor.brushed_every, scenario.sensor.day
    return [k * every for k in range(1, math.ceil(length / every - DUE))]


def watched_runs(scenario: Scenario) -> int:
    """Number of runs of `day_of`."""
    return math.ceil(scenario.sensor.day) + len(brushings(scenario)) + 2
