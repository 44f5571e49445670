"""What moves the meter: the drive that turns the disc, and the row unit that shakes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from metersim.physics import drive, rowunit
from metersim.units import STANDARD_GRAVITY as GRAVITY


@dataclass(frozen=True, kw_only=True)
class DriveStation:
    """Turns the disc."""

    angular_speed: float
    ramp: float
    ripple: float
    ripples_per_turn: int

    def time_at(self, angle: Any) -> Any:
        """Time at which the disc has turned through `angle` [rad]. [s]"""
        return drive.time_at(
            angle, self.angular_speed, self.ramp, self.ripple, self.ripples_per_turn
        )

    def speed_at(self, angle: Any) -> Any:
        """Speed of the disc when it has turned through `angle` [rad], above 0. [rad/s]"""
        return drive.speed_at(
            angle, self.angular_speed, self.ramp, self.ripple, self.ripples_per_turn
        )

    def duration(self, angle: Any, step: Any) -> Any:
        """Time in which the disc turns by `step` [rad] from `angle` [rad]. [s]"""
        return drive.duration(
            angle, step, self.angular_speed, self.ramp, self.ripple, self.ripples_per_turn
        )


@dataclass(frozen=True, kw_only=True)
class RowUnitStation:
    """Shakes the meter in the field."""

    acceleration_sd: float

    @property
    def still(self) -> bool:
        """Whether nothing shakes."""
        return self.acceleration_sd == 0

    @cached_property
    def speed_sd(self) -> float:
        """SD of the vertical speed. [m/s]"""
        return float(rowunit.vertical_speed(self.acceleration_sd))

    def vertical_speed(self, motion: Any) -> Any:
        """Vertical speed at a motion over its SD, downward positive. [m/s]"""
        return self.speed_sd * motion

    def peak_load(self, envelope: Any) -> Any:
        """Added load at an envelope of the shaking, over gravity. [1]"""
        return self.acceleration_sd * envelope / GRAVITY
