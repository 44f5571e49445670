"""From what the farmer asks for to the turning of the disc: speed, ramp, ripple, slip, load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


def nominal_spacing(rate: Any, row_spacing: Any) -> Any:
    """Spacing of seeds in the row at a given rate.

    Parameters
    ----------
    rate : float or ndarray
        Seeds per area, above 0. [1/m2]
    row_spacing : float or ndarray
        Distance between rows, above 0. [m]

    Returns
    -------
    float or ndarray
        Nominal spacing. [m]

    Notes
    -----
    ``nominal_spacing = 1 / (rate * row_spacing)``

    Source: definition; checked against extension tables in the tests.
    """
    return 1 / (rate * row_spacing)


def cell_rate(speed: Any, spacing: Any) -> Any:
    """Cells that must pass the cut-off each second.

    Parameters
    ----------
    speed : float or ndarray
        Ground or belt speed. [m/s]
    spacing : float or ndarray
        Nominal spacing, above 0. [m]

    Returns
    -------
    float or ndarray
        Cell rate. [1/s]

    Notes
    -----
    ``cell_rate = speed / spacing``

    Source: definition.
    """
    return speed / spacing


def disc_speed(cells_per_second: Any, cells: Any) -> Any:
    """Turning speed of a disc that must pass so many cells a second.

    Parameters
    ----------
    cells_per_second : float or ndarray
        Cell rate. [1/s]
    cells : int or ndarray
        Cells on the disc, above 0. [1]

    Returns
    -------
    float or ndarray
        Angular speed. [rad/s]

    Notes
    -----
    ``disc_speed = 2 * pi * cells_per_second / cells``

    Source: definition.
    """
    return 2 * np.pi * cells_per_second / cells


def peripheral_speed(angular_speed: Any, circle_radius: Any) -> Any:
    """Speed of the holes.

    Parameters
    ----------
    angular_speed : float or ndarray
        Turning speed of the disc. [rad/s]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Peripheral speed at the hole circle. [m/s]

    Notes
    -----
    ``peripheral_speed = angular_speed * circle_radius``

    Source: definition.
    """
    return angular_speed * circle_radius


SMALLEST = 1e-300  # rad, stands for the angle of no ramp


def _some(value: Any) -> bool:
    """Whether a number, or any of an array, is not 0."""
    return bool(value) if isinstance(value, int | float) else bool(np.any(value))


def time_at(angle: Any, angular_speed: Any, ramp: Any, ripple: Any, ripples_per_turn: Any) -> Any:
    """When the disc has turned through an angle, from rest or from speed.

    The disc gains speed evenly during the ramp.  The ripple repeats with the shaft's angle, as
    with a sprocket or a joint.

    Parameters
    ----------
    angle : float or ndarray
        Angle turned, 0 or more. [rad]
    angular_speed : float
        Steady speed, above 0. [rad/s]
    ramp : float
        Time from rest to steady speed, 0 or more. [s]
    ripple : float
        Relative amplitude of the ripple, below 1. [1]
    ripples_per_turn : int
        Ripples in one turn, 1 or more. [1]

    Returns
    -------
    float or ndarray
        Time since the start; grows with `angle`. [s]

    Notes
    -----
    ``time_at = sqrt(2 * ramped * ramp / angular_speed) + (angle - ramped + wave) / angular_speed
    where ramped = min(angle, angular_speed * ramp / 2)
    where wave = ripple * sin(ripples_per_turn * angle) / ripples_per_turn``

    assumption: even acceleration up to the steady speed, and a ripple that is a sine of the
    angle. Both have this closed form.
    """
    wave = ripple / ripples_per_turn * np.sin(ripples_per_turn * angle) if _some(ripple) else 0.0
    if not _some(ramp):
        return (angle + wave) / angular_speed
    ramped = np.minimum(angle, angular_speed * ramp / 2)
    return np.sqrt(2 * ramped * ramp / angular_speed) + (angle - ramped + wave) / angular_speed


def speed_at(angle: Any, angular_speed: Any, ramp: Any, ripple: Any, ripples_per_turn: Any) -> Any:
    """Speed of the disc when it has turned through an angle.

    Parameters
    ----------
    angle : float or ndarray
        Angle turned, above 0. [rad]
    angular_speed : float
        Steady speed, above 0. [rad/s]
    ramp : float
        Time from rest to steady speed, 0 or more. [s]
    ripple : float
        Relative amplitude of the ripple, below 1. [1]
    ripples_per_turn : int
        Ripples in one turn, 1 or more. [1]

    Returns
    -------
    float or ndarray
        Angular speed. [rad/s]

    Notes
    -----
    ``speed_at = angular_speed / (1 / part + ripple * cos(ripples_per_turn * angle))
    where part = if(angle < angular_speed * ramp / 2, sqrt(2 * angle / (angular_speed * ramp)), 1)``

    assumption: as `time_at`. The speed is 1 over the slope of that time.
    """
    wave = ripple * np.cos(ripples_per_turn * angle) if _some(ripple) else 0.0 * angle
    if not _some(ramp):
        return angular_speed / (1 + wave)
    end = np.maximum(angular_speed * ramp / 2, SMALLEST)
    ramped = np.sqrt(np.minimum(angle, end) / end)
    return angular_speed / (1 / ramped + wave)


def duration(
    angle: Any, step: Any, angular_speed: Any, ramp: Any, ripple: Any, ripples_per_turn: Any
) -> Any:
    """How long the disc takes from one angle to a later one.

    The code does not subtract two long times, so it does not round them.  At steady speed,
    equal steps take equal times to the last bit.

    Parameters
    ----------
    angle : float or ndarray
        Angle turned at the start of the step, 0 or more. [rad]
    step : float or ndarray
        Angle of the step, 0 or more. [rad]
    angular_speed : float
        Steady speed, above 0. [rad/s]
    ramp : float
        Time from rest to steady speed, 0 or more. [s]
    ripple : float
        Relative amplitude of the ripple, below 1. [1]
    ripples_per_turn : int
        Ripples in one turn, 1 or more. [1]

    Returns
    -------
    float or ndarray
        Duration. [s]

    Notes
    -----
    ``duration = later - earlier
    where later = time_at(angle + step, angular_speed, ramp, ripple, ripples_per_turn)
    where earlier = time_at(angle, angular_speed, ramp, ripple, ripples_per_turn)``

    assumption: as `time_at`.
    """
    k, turned = ripples_per_turn, step + 0.0 * angle
    if _some(ripple):
        turned = turned + ripple / k * (np.sin(k * (angle + step)) - np.sin(k * angle))
    if not _some(ramp):
        return turned / angular_speed
    end = angular_speed * ramp / 2
    before, after = np.minimum(angle, end), np.minimum(angle + step, end)
    root = np.sqrt(2 * ramp / angular_speed) * (np.sqrt(after) - np.sqrt(before))
    return root + (turned - (after - before)) / angular_speed


def geared_speed(angular_speed: Any, slip: Any) -> Any:
    """Speed of the disc while its ground wheel does not slip.

    Parameters
    ----------
    angular_speed : float or ndarray
        Mean speed. [rad/s]
    slip : float or ndarray
        Share of the time in which the wheel slips and the disc stands, below 1. [1]

    Returns
    -------
    float or ndarray
        Angular speed. [rad/s]

    Notes
    -----
    ``geared_speed = angular_speed / (1 - slip)``

    assumption: the drive is set so that the mean rate is right, as after a calibration in the
    field.
    """
    return angular_speed / (1 - slip)


def slips_per_angle(angular_speed: Any, slip: Any, stand: Any) -> Any:
    """Slips of the ground wheel per angle of the disc.

    Parameters
    ----------
    angular_speed : float or ndarray
        Mean speed. [rad/s]
    slip : float or ndarray
        Share of the time in which the wheel slips and the disc stands. [1]
    stand : float or ndarray
        Mean time of one slip, above 0. [s]

    Returns
    -------
    float or ndarray
        Slips. [1/rad]

    Notes
    -----
    ``slips_per_angle = slip / (angular_speed * stand)``

    assumption: slips come at random and their times are exponential. The disc stands as long as
    the wheel slips. A slip that is always there is part of the rate and moves no seed.
    """
    return slip / (angular_speed * stand)


def oil_speed(load: Any, droop: Any) -> Any:
    """Speed of a disc on an oil motor over the speed that is meant.

    Parameters
    ----------
    load : float or ndarray
        Torque over the torque at which the motor is rated. [1]
    droop : float or ndarray
        Share of its speed that it loses at that torque. [1]

    Returns
    -------
    float or ndarray
        Share; 0 or less where the motor stalls. [1]

    Notes
    -----
    ``oil_speed = 1 - droop * load``

    assumption: oil leaks past a motor in proportion to pressure, and so to torque. The speed is
    set without load.
    """
    return 1 - droop * load


def electric_speed(load: Any) -> Any:
    """Speed of a disc on an electric motor over the speed that is meant.

    Parameters
    ----------
    load : float or ndarray
        Torque over the torque at which the motor is rated. [1]

    Returns
    -------
    float or ndarray
        Share, 1 up to the rating. [1]

    Notes
    -----
    ``electric_speed = 1 / max(load, 1)``

    assumption: a controller holds the speed up to the rated torque. Beyond it the controller gives
    no more power than at that torque.
    """
    return 1 / np.maximum(load, 1.0)


@dataclass(frozen=True, kw_only=True)
class DriveStation:
    """Turns the disc.

    `angular_speed` is the mean speed.  All times but those of `slips_per_angle` leave out slips.
    """

    angular_speed: float
    ramp: float
    ripple: float
    ripples_per_turn: int
    slip: float = 0.0
    stand: float = 1.0  # mean time of one slip, s

    @property
    def geared(self) -> float:
        """Speed of the disc without ramp and ripple, while no wheel slips. [rad/s]"""
        return float(geared_speed(self.angular_speed, self.slip))

    @property
    def slips_per_angle(self) -> float:
        """Slips per angle of the disc. [1/rad]"""
        return float(slips_per_angle(self.angular_speed, self.slip, self.stand))

    def time_at(self, angle: Any) -> Any:
        """Time at which the disc has turned through `angle` [rad]. [s]"""
        return time_at(angle, self.geared, self.ramp, self.ripple, self.ripples_per_turn)

    def speed_at(self, angle: Any) -> Any:
        """Speed of the disc when it has turned through `angle` [rad], above 0. [rad/s]"""
        return speed_at(angle, self.geared, self.ramp, self.ripple, self.ripples_per_turn)

    def duration(self, angle: Any, step: Any) -> Any:
        """Time in which the disc turns by `step` [rad] from `angle` [rad]. [s]"""
        return duration(angle, step, self.geared, self.ramp, self.ripple, self.ripples_per_turn)
