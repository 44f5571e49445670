"""Sensor: a beam across the tube that sees seeds as pulses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

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


@dataclass(frozen=True, kw_only=True)
class SensorStation:
    """Counts seeds in the tube.

    A monitor that follows ISO 11783-11 (iso11783, read) computes singulation, skips, multiples and
    CV from measured spacings, by the indices of iso7256.  So its skips are misses of spacing, not
    empty cells.  The scatter of a healthy meter counts among them.
    """

    height: float
    beam_height: float
    detection: float
    seed_length: float

    def detects(self, at: Moment) -> Any:
        """Chance that the beam sees a seed that crosses it. [1]"""
        return self.detection

    def pulse(self, size: Any, speed: Any, at: Moment) -> Any:
        """Time for which a seed darkens the beam. [s]"""
        return pulse_length(self.seed_length * size, self.beam_height, speed)
