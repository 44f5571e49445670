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
from metersim.run.records import Run, Seeds

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


class Plan:
    """Planned places along a pass; mean times of fall are those of the first seeds that it gets.

    Parameters
    ----------
    way : Way
        The pass of the row.
    """

    def __init__(self, way: Way) -> None:
        self._way = way
        self._fall = self._to_beam = float("nan")

    def _learn(self, seeds: Seeds) -> None:
        if np.isnan(self._fall):
            self._fall, self._to_beam = mean_fall(seeds), mean_way_to_beam(seeds)

    def places(self, seeds: Seeds, positions: Floats, *, by_pulse: bool = False) -> Floats:
        """Planned places of positions [m], which are those of the pulses or of the ground. [m]"""
        self._learn(seeds)
        fall = self._to_beam if by_pulse else self._fall
        return np.asarray(planned_place(self._way, positions, fall))

    def signals(self, seeds: Seeds, times: Floats) -> Floats:
        """Planned places of seeds that cross the beam at times [s]. [m]"""
        self._learn(seeds)
        return np.asarray(planned_at(self._way, times - self._to_beam))


def shown_spacings(run: Run) -> Floats:
    """Spacings that a monitor measures, over the nominal one; in planned places if plans change."""
    scenario, seeds = run.scenario, run.seeds
    times = np.sort(seeds.sensor_time[seeds.seen])
    if scenario.way:
        return np.diff(Plan(scenario.way).signals(seeds, times)) / scenario.spacing
    found: Floats = np.diff(times) * scenario.demand.speed / scenario.spacing
    return found


def mean_fall(seeds: Seeds) -> float:
    """Mean time from the hole to the ground; nan without seeds. [s]"""
    return _mean(seeds.landing_time - seeds.release_time)


def mean_way_to_beam(seeds: Seeds) -> float:
    """Mean time from the hole to the beam of the sensor; nan without seeds. [s]"""
    return _mean(seeds.sensor_time - seeds.release_time)


def _mean(times: Floats) -> float:
    return float(times.mean()) if len(times) else float("nan")
