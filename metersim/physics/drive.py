"""Turning of the disc: a steady speed, a ramp from rest and a ripple once or more a turn."""

from __future__ import annotations

from typing import Any

import numpy as np


def time_at(angle: Any, angular_speed: Any, ramp: Any, ripple: Any, ripples_per_turn: Any) -> Any:
    """When the disc has turned through an angle, from rest or from speed.

    During the ramp the disc gains speed evenly.  The ripple is tied to the shaft's angle, as
    of a sprocket or a joint: ``dt/dangle = (1 + ripple cos(k angle))/angular_speed``.

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
    assumption: closed form of an even acceleration and a sinusoidal ripple.
    """
    wave = ripple / ripples_per_turn * np.sin(ripples_per_turn * angle) if ripple else 0.0
    if not ramp:
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
        Angular speed: the inverse of the slope of `time_at`. [rad/s]

    Notes
    -----
    assumption: as `time_at`.
    """
    wave = ripple * np.cos(ripples_per_turn * angle) if ripple else 0.0 * angle
    end = angular_speed * ramp / 2
    if not end:  # nor when the ramp is too short for a number
        return angular_speed / (1 + wave)
    ramped = np.sqrt(np.minimum(angle, end) / end)
    return angular_speed / (1 / ramped + wave)


def duration(
    angle: Any, step: Any, angular_speed: Any, ramp: Any, ripple: Any, ripples_per_turn: Any
) -> Any:
    """How long the disc takes from one angle to a later one.

    The difference of two values of `time_at`, without the rounding of long times: at steady
    speed, equal steps take equal times to the last bit.

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
    assumption: as `time_at`.
    """
    k, turned = ripples_per_turn, step
    if ripple:
        turned = turned + ripple / k * (np.sin(k * (angle + step)) - np.sin(k * angle))
    if not ramp:
        return turned / angular_speed
    end = angular_speed * ramp / 2
    before, after = np.minimum(angle, end), np.minimum(angle + step, end)
    root = np.sqrt(2 * ramp / angular_speed) * (np.sqrt(after) - np.sqrt(before))
    return root + (turned - (after - before)) / angular_speed
