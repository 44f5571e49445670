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
    ramped = np.minimum(angle, angular_speed * ramp / 2)
    wave = ripple / ripples_per_turn * np.sin(ripples_per_turn * angle)
    return np.sqrt(2 * ramped * ramp / angular_speed) + (angle - ramped + wave) / angular_speed
