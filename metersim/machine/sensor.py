"""Sensor: a beam across the tube that sees seeds as pulses."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.machine.moment import Moment


def pulse_length(length: Any, beam_height: Any, speed: Any) -> Any:
    """How long a seed darkens the beam.

    A seed gives no pulse of its own when it comes within this time after the seed before it.

    Parameters
    ----------
    length : float or ndarray
        Length of the seed along its fall. [m]
    beam_height : float or ndarray
        Height of the beam. [m]
    speed : float or ndarray
        Fall speed at the beam, above 0. [m/s]

    Returns
    -------
    float or ndarray
        Time. [s]

    Notes
    -----
    ``pulse_length = (length + beam_height) / speed``

    Source: kinematics.
    """
    return (length + beam_height) / speed


def seen_through(detection: Any, dust: Any, hours: Any) -> Any:
    """Chance that a beam sees a lone seed through a lens that collects dust.

    Parameters
    ----------
    detection : float or ndarray
        Chance through a clean lens. [1]
    dust : float or ndarray
        Share of the seeds that an hour's dust hides, below 1. [1]
    hours : float or ndarray
        Hours of work since the lens was brushed. [1]

    Returns
    -------
    float or ndarray
        Chance. [1]

    Notes
    -----
    ``seen_through = detection * (1 - dust)^hours``

    assumption: each hour's dust hides the same share of the seeds that are still seen.
    """
    return detection * np.power(1 - dust, hours)


@dataclass(frozen=True, kw_only=True)
class SensorStation:
    """Counts seeds in the tube.

    A monitor that follows ISO 11783-11 (iso11783, read) computes singulation, skips, multiples and
    CV from measured spacings, by the indices of iso7256.  So its skips are misses of spacing, not
    empty cells.  The scatter of a healthy meter counts among them.
    """

    height: float
    beam_height: float
    detection: float  # through a clean lens
    dust_per_hour: float
    hours: float  # of work since the lens was brushed
    seed_length: float

    @cached_property
    def seen(self) -> float:
        """Chance that the beam sees a lone seed through the lens as it is. [1]"""
        return float(seen_through(self.detection, self.dust_per_hour, self.hours))

    def detects(self, at: Moment) -> Any:
        """Chance that the beam sees a seed that crosses it. [1]"""
        return self.seen

    def pulse(self, size: Any, speed: Any, at: Moment) -> Any:
        """Time for which a seed darkens the beam. [s]"""
        return pulse_length(self.seed_length * size, self.beam_height, speed)
