"""Times of a run: when cells pass the points of their way, when ticks fall, how it shakes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.drive import DriveStation
from metersim.machine.rowunit import KNOT_INTERVAL, SAMPLE, SAMPLES, envelope, shaking
from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, POINTS
from metersim.run.draws import KnotDraws, SlipDraws

Array = NDArray[np.float64]
HALVINGS = 64  # of an interval of angles, until rounding ends it


class Course:
    """Angles, times and speeds of the cells and ticks of a run.

    Parameters
    ----------
    scenario : Scenario
        All settings.
    drive : DriveStation
        The drive of the disc.
    draws : SlipDraws
        Draws of the slips of its ground wheel.

    Attributes
    ----------
    passages, ticks : int
        Numbers of passages of a cell and of ticks in the run.
    pitch : float
        Angle between cells. [rad]
    cells_per_tick : float
        Cells that enter the pool between two ticks, on average.
    cells_in_tick : int
        Cells that enter the pool between two ticks, at most.
    """

    def __init__(self, scenario: Scenario, drive: DriveStation, draws: SlipDraws) -> None:
        self._scenario, self._drive, self._way = scenario, drive, scenario.way
        self._slips = Slips(drive, draws) if drive.slip else None
        self.passages = scenario.passages
        self.pitch = 2 * math.pi / scenario.disc.cells
        self.cells_in_tick = math.ceil(scenario.disc.cells * scenario.run.tick)
        self.cells_per_tick = scenario.disc.cells * scenario.run.tick
        self.ticks = math.ceil(self._last_angle / (2 * math.pi * scenario.run.tick)) + 1

    @property
    def _last_angle(self) -> float:
        return self.passages * self.pitch + POINTS[CUT]

    @property
    def end(self) -> float:
        """Time at which the last cell passes the cut-off. [s]"""
        return float(self._time_at(self._last_angle))

    def angles(self, cells: Any, point: int) -> Any:
        """Angles of the disc at which cells pass a point of their way. [rad]"""
        return cells * self.pitch + POINTS[point]

    def ticks_before(self, cells: NDArray[Any], point: int) -> NDArray[np.int64]:
        """Number of the last tick before cells pass a point of their way."""
        return self._scenario.ticks_before(self.angles(cells, point))

    def times(self, cells: Any, point: int) -> Any:
        """Times at which cells pass a point of their way. [s]"""
        return self._time_at(self.angles(cells, point))

    def angle_at(self, time: float) -> float:
        """Angle through which the disc has turned at a time [s], 0 or more. [rad]

        While the ground wheel slips, it is the angle at which the disc stands.
        """
        low, high = 0.0, 2 * math.pi
        while float(self._time_at(high)) <= time:
            low, high = high, 2 * high
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            if float(self._time_at(middle)) <= time:
                low = middle
            else:
                high = middle
        return low

    def hole_speeds(self, cells: Any, point: int = CUT) -> Any:
        """Speed of the holes when cells pass any point of their way but the first. [m/s]"""
        angles = self.angles(cells, point)
        turning = self._drive.speed_at(angles)
        if self._way:
            turning = turning * self._way.turning_at(self._moving(angles))
        return turning * self._scenario.disc.circle_radius

    def tick_times(self, first: int, last: int) -> Any:
        """Times of the ticks from `first` to before `last`. [s]"""
        return self._time_at(self._scenario.tick_angles(last, first))

    def tick_speeds(self, first: int, last: int) -> Array:
        """Mean speed of the holes from each tick to the next. [m/s]

        The last bits are cut off, so that rounding does not look like a change of speed.
        """
        angles = self._scenario.tick_angles(last + 1, first)
        steps = np.diff(angles)
        durations = self._drive.duration(angles[:-1], steps)
        if self._way:
            durations = np.diff(self._moving(angles))
        if self._slips:
            durations = durations + np.diff(self._slips.stood_until(angles))
        speeds = steps / durations
        rounded: Array = np.round(speeds * self._scenario.disc.circle_radius, 12)
        return rounded

    def stood(self, tick: int) -> float:
        """Time for which the disc stood between a tick and the tick before. [s]"""
        if not self._slips or not tick:
            return 0.0
        before, now = self._slips.stood_until(self._scenario.tick_angles(tick + 1, tick - 1))
        return float(now - before)

    def _moving(self, angle: Any) -> Any:
        """Time at which the disc has turned through an angle [rad], without slips. [s]"""
        time = self._drive.time_at(angle)
        return self._way.time_of(time) if self._way else time

    def _time_at(self, angle: Any) -> Any:
        """Time at which the disc has turned through an angle [rad], with slips. [s]"""
        time = self._moving(angle)
        return time + self._slips.stood_until(angle) if self._slips else time


SLIPS = 1024  # slips that are drawn at once
FEWEST_SLIPS = 1e-100  # per angle that stand for none at all, 1/rad


class Slips:
    """Slips of a ground wheel: the angles at which the disc stands, and for how long in all."""

    def __init__(self, drive: DriveStation, draws: SlipDraws) -> None:
        self._means = 1 / max(drive.slips_per_angle, FEWEST_SLIPS), drive.stand
        self._draws = draws
        self._angle, self._stood = np.zeros((2, 1))  # at each slip; the first stands for no slip

    def stood_until(self, angle: Any) -> Any:
        """Time for which the disc stood before it had turned through angles [rad]. [s]"""
        while self._angle[-1] <= np.max(angle, initial=0.0):
            ends = np.array([[self._angle[-1], self._stood[-1]]])
            drawn = np.cumsum(np.concatenate((ends, self._draws.next(SLIPS) * self._means)), axis=0)
            self._angle = np.concatenate((self._angle, drawn[1:, 0]))
            self._stood = np.concatenate((self._stood, drawn[1:, 1]))
        return self._stood[np.maximum(np.searchsorted(self._angle, angle) - 1, 0)]


class Shaking:
    """The shaking of the row unit at any time, over its SD."""

    def __init__(self, draws: KnotDraws) -> None:
        self._draws = draws

    def at(self, time: float) -> float:
        """Motion at a time [s], over its SD."""
        sample = int(time / SAMPLE)
        before = sample // SAMPLES
        sizes = [float(envelope(self._draws.strength(before + k))) for k in (0, 1)]
        phases = [self._draws.phase(before + k) for k in (0, 1)]
        return float(shaking((sample + 0.5) * SAMPLE, *sizes, *phases))

    def peak(self, start: float, end: float) -> float:
        """Largest envelope of the motion between two times [s], over the motion's SD."""
        first, last = int(start / KNOT_INTERVAL), int(end / KNOT_INTERVAL) + 1
        return float(envelope(self._draws.strongest(first, last)))
