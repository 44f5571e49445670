"""When cells pass what, when ticks fall, and how the row unit shakes at any time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.drive import DriveStation
from metersim.machine.rowunit import KNOT_INTERVAL, SAMPLE, SAMPLES, envelope, shaking
from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, PASSES
from metersim.run.draws import KnotDraws

Array = NDArray[np.float64]


class Course:
    """The cells and ticks of a run.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    drive : DriveStation
        What turns the disc.

    Attributes
    ----------
    passages, ticks : int
        Passages of a cell, and ticks.
    pitch : float
        Angle between cells. [rad]
    cells_in_tick : int
        Cells that enter the pool between two ticks, at the most.
    """

    def __init__(self, scenario: Scenario, drive: DriveStation) -> None:
        self._scenario, self._drive = scenario, drive
        self.passages = scenario.passages
        self.pitch = 2 * math.pi / scenario.disc.cells
        self.cells_in_tick = math.ceil(scenario.disc.cells * scenario.run.tick)
        self.cells_per_tick = scenario.disc.cells * scenario.run.tick
        self.ticks = math.ceil(self._last / (2 * math.pi * scenario.run.tick)) + 1

    @property
    def _last(self) -> float:
        return self.passages * self.pitch + PASSES[CUT]

    @property
    def end(self) -> float:
        """When the last cell has passed the cut-off. [s]"""
        return float(self._drive.time_at(self._last))

    def angles(self, cells: Any, station: int) -> Any:
        """Angles of the disc at which cells pass one of `PASSES`. [rad]"""
        return cells * self.pitch + PASSES[station]

    def ticks_before(self, cells: NDArray[Any], station: int) -> NDArray[np.int64]:
        """Number of the last tick before cells pass one of `PASSES`."""
        return self._scenario.ticks_before(self.angles(cells, station))

    def times(self, cells: Any, station: int) -> Any:
        """When cells pass one of `PASSES`. [s]"""
        return self._drive.time_at(self.angles(cells, station))

    def hole_speeds(self, cells: Any, station: int = CUT) -> Any:
        """Speed of the holes when cells pass one of `PASSES` but the first. [m/s]"""
        turning = self._drive.speed_at(self.angles(cells, station))
        return turning * self._scenario.disc.circle_radius

    def tick_times(self, first: int, last: int) -> Any:
        """When ticks fall, from one to before another. [s]"""
        return self._drive.time_at(self._scenario.tick_angles(last, first))

    def tick_speeds(self, first: int, last: int) -> Array:
        """Mean speed of the holes from each tick to the next. [m/s]

        The last bits are cut, so that rounding is no change of speed.
        """
        angles = self._scenario.tick_angles(last + 1, first)
        steps = np.diff(angles)
        speeds = steps / self._drive.duration(angles[:-1], steps)
        rounded: Array = np.round(speeds * self._scenario.disc.circle_radius, 12)
        return rounded


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
