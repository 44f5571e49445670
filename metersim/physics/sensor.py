"""Sensor: a beam across the tube that sees seeds as pulses."""

from __future__ import annotations

from typing import Any


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
