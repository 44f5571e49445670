"""Row unit: shaking in a band of frequencies, shared by all seeds that fall at one time.

A narrow-band signal is a carrier times a slowly changing complex envelope.  The envelope has
independent normal knots and is linear between them, so the signal fills a band about as wide
as twice the knots' rate on both sides of the carrier: 10 to 50 Hz with the values below.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY

CARRIER = 2 * np.pi * 30.0  # rad/s, middle of the band of gao2024
KNOT_INTERVAL = 0.025  # s
SAMPLES = 2  # samples of the motion between two knots; seeds follow one another more slowly
SAMPLE = KNOT_INTERVAL / SAMPLES  # s


def envelope(strength: Any) -> Any:
    """Size of the envelope over the signal's SD, at a knot.

    Parameters
    ----------
    strength : float or ndarray
        Standard exponential draw. [1]

    Returns
    -------
    float or ndarray
        Size, a Rayleigh draw. [1]

    Notes
    -----
    ``envelope = sqrt(2 * strength)``

    Source: size of a vector of two standard normal parts.
    """
    return np.sqrt(2 * strength)


def shaking(time: Any, before: Any, after: Any, phase_before: Any, phase_after: Any) -> Any:
    """Vertical acceleration over its SD, at a time between two knots of the envelope.

    Parameters
    ----------
    time : float or ndarray
        Time since the start. [s]
    before, after : float or ndarray
        `envelope` at the knots around `time`. [1]
    phase_before, phase_after : float or ndarray
        Phase at these knots, as a share of a whole turn. [1]

    Returns
    -------
    float or ndarray
        Acceleration over its SD; unit variance at all times. [1]

    Notes
    -----
    ``shaking = (here + there) / sqrt((1 - part)^2 + part^2)
    where here = (1 - part) * before * cos(60 * pi * time - 2 * pi * phase_before)
    where there = part * after * cos(60 * pi * time - 2 * pi * phase_after)
    where part = time / 0.025 - floor(time / 0.025)``

    Source: the band is that of gao2024. Its middle is 30 Hz, or 60 * pi rad/s. Knots are 0.025 s
    apart. assumption: the envelope is normal at knots and linear between them.
    """
    part = time / KNOT_INTERVAL
    part = part - np.floor(part)
    rest = 1 - part
    carrier = CARRIER * time
    here = rest * before * np.cos(carrier - 2 * np.pi * phase_before)
    there = part * after * np.cos(carrier - 2 * np.pi * phase_after)
    return (here + there) / np.sqrt(rest * rest + part * part)


def shock_sd(ground_speed: Any, shock_per_speed: Any) -> Any:
    """SD of the row unit's vertical acceleration.

    Parameters
    ----------
    ground_speed : float or ndarray
        Speed of travel. [m/s]
    shock_per_speed : float or ndarray
        SD of acceleration per speed. [1/s]

    Returns
    -------
    float or ndarray
        SD. [m/s2]

    Notes
    -----
    ``shock_sd = ground_speed * shock_per_speed``

    assumption: linear in speed, as field studies find. This is common practice; the size has no
    source.
    """
    return ground_speed * shock_per_speed


def vertical_speed(acceleration: Any) -> Any:
    """Size of the row unit's vertical speed when it shakes at the carrier.

    Parameters
    ----------
    acceleration : float or ndarray
        Acceleration, in any phase. [m/s2]

    Returns
    -------
    float or ndarray
        Speed a quarter period later. [m/s]

    Notes
    -----
    ``vertical_speed = acceleration / (60 * pi)``

    Source: harmonic motion at the carrier of 60 * pi rad/s.
    """
    return acceleration / CARRIER


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
        return float(vertical_speed(self.acceleration_sd))

    def vertical_speed(self, motion: Any) -> Any:
        """Vertical speed at a motion over its SD, downward positive. [m/s]"""
        return self.speed_sd * motion

    def peak_load(self, envelope: Any) -> Any:
        """Added load at an envelope of the shaking, over gravity. [1]"""
        return self.acceleration_sd * envelope / GRAVITY
