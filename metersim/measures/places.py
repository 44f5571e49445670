"""Planned places along a pass whose speed, rate or stops change.

A spacing in metres says little where the rate changes, and nothing where the row is off.  So a seed
is judged by the number of seeds that were meant to lie before it.  A seed falls while the machine
moves on, so the plan of a place is that of the moment when its seed left the disc.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.travel import Way
from metersim.run.records import Seeds

Floats = NDArray[np.float64]


def planned_place(way: Way, position: Any, fall: float) -> Any:
    """Place along a steady pass that a seed would have in place of its own. [m]

    Parameters
    ----------
    way : Way
        The pass of the row.
    position : float or ndarray
        Place along the ground. [m]
    fall : float
        Mean time from the hole to the ground. [s]

    Returns
    -------
    float or ndarray
        Seeds planned up to where the machine was when the seed left its hole, times the nominal
        spacing.  It stands still while the row is off. [m]

    Examples
    --------
    >>> from metersim.machine.travel import read_profile, way_of
    >>> from metersim.measures.places import planned_place
    >>> profile, _ = read_profile("steady", "steady", "10 m to 15 m")
    >>> way = way_of(profile, 2.0, 8.0, 0.2)
    >>> [round(float(planned_place(way, x, 0.0)), 6) for x in (9.8, 12.0, 15.2)]
    [9.8, 10.0, 10.2]
    """
    return planned_at(way, way.time_at(position) - fall)


def planned_at(way: Way, time: Any) -> Any:
    """Seeds planned up to a time [s], times the nominal spacing. [m]"""
    return way.planned(way.distance_at(time)) * way.spacing


def sown_distance(way: Way, time: Any) -> Any:
    """Distance up to a time [s] over which the row was on. [m]"""
    return planned_at(replace(way, part=(way.part > 0).astype(float)), time)


def mean_fall(seeds: Seeds) -> float:
    """Mean time from the hole to the ground; nan without seeds. [s]"""
    return _mean(seeds.landing_time - seeds.release_time)


def mean_way_to_beam(seeds: Seeds) -> float:
    """Mean time from the hole to the beam of the sensor; nan without seeds. [s]"""
    return _mean(seeds.sensor_time - seeds.release_time)


def _mean(times: Floats) -> float:
    return float(times.mean()) if len(times) else float("nan")
