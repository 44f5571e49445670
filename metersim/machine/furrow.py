"""Furrow or belt: where a seed comes to rest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.moment import Moment
from metersim.machine.travel import Way


def hop_time(restitution: Any, impact_speed: Any, gravity: Any) -> Any:
    """Time that a seed spends in the air after it hits the furrow.

    Parameters
    ----------
    restitution : float or ndarray
        Share of the impact speed kept upward. [1]
    impact_speed : float or ndarray
        Downward speed at impact. [m/s]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Time. [s]

    Notes
    -----
    ``hop_time = 2 * restitution * impact_speed / gravity``

    Source: ballistics.
    """
    return 2 * restitution * impact_speed / gravity


def hop_length(time: Any, ground_speed: Any, rearward_speed: Any, aside: Any) -> Any:
    """Distance that a seed travels along the furrow while it hops.

    Parameters
    ----------
    time : float or ndarray
        `hop_time`. [s]
    ground_speed : float or ndarray
        Speed of the machine. [m/s]
    rearward_speed : float or ndarray
        Speed at which the tube throws the seed rearward. [m/s]
    aside : float or ndarray
        Further speed along the row after the tube's last contact, forward positive. [m/s]

    Returns
    -------
    float or ndarray
        Distance, forward positive. [m]

    Notes
    -----
    ``hop_length = time * (ground_speed + aside - rearward_speed)``

    Source: ballistics. A seed that is thrown rearward at ground speed falls straight down.
    """
    return time * (ground_speed + aside - rearward_speed)


def downward_speed(impact_speed: Any, curvature: Any) -> Any:
    """Downward part of the speed of a seed that leaves a curved tube.

    Parameters
    ----------
    impact_speed : float or ndarray
        Speed at the tube's end. [m/s]
    curvature : float or ndarray
        Angle of the tube's end to the vertical. [rad]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``downward_speed = impact_speed * cos(curvature)``

    Source: geometry; assumption: the seed follows the tube's end.
    """
    return impact_speed * np.cos(curvature)


def rearward_speed(impact_speed: Any, curvature: Any) -> Any:
    """Rearward part of the speed of a seed that leaves a curved tube.

    Parameters
    ----------
    impact_speed : float or ndarray
        Speed at the tube's end. [m/s]
    curvature : float or ndarray
        Angle of the tube's end to the vertical. [rad]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``rearward_speed = impact_speed * sin(curvature)``

    Source: geometry; assumption: the seed follows the tube's end.
    """
    return impact_speed * np.sin(curvature)


def landing_spread(landing_scatter: Any, gmd: Any) -> Any:
    """SD of a seed's place on a belt about the point where it landed.

    Parameters
    ----------
    landing_scatter : float
        SD for a seed of `USUAL_SIZE`. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    ``landing_spread = landing_scatter * gmd / 0.007``

    assumption: on the same film of grease, a seed of any size rolls through the same angle before
    it sticks.  Only spreads of maize were published, so that the power of the size has no source.
    """
    return landing_scatter * gmd / USUAL_SIZE


USUAL_SIZE = 7e-3  # m, geometric mean diameter of maize, whose spreads were published


@dataclass(frozen=True, kw_only=True)
class FurrowStation:
    """Stops the seed, on a belt or in a furrow.

    On a belt, the scatter is the same whatever the belt's speed.  One that grows with it agreed
    less with three published spreads of one stand (banaj2022): by 0.5 percentage points of CV
    against 0.2.
    A printed CV of 250 spacings is no closer than half a point, so that this is an assumption.
    """

    in_field: bool
    ground_speed: float
    scatter: float
    hop: float
    curvature: float
    way: Way | None = None  # where speed or rate change along the pass

    def speed_at(self, time: Any) -> Any:
        """Speed of the machine at a time [s]. [m/s]"""
        return self.way.speed_at(time) if self.way else self.ground_speed

    def place_at(self, time: Any) -> Any:
        """Place of the tube's end along the row at a time [s]. [m]"""
        return self.way.distance_at(time) if self.way else self.ground_speed * time

    def hop_time(self, draw: Any, impact_speed: Any, at: Moment) -> Any:
        """Time in the air after the impact; 0 on a belt. [s]"""
        downward = downward_speed(impact_speed, self.curvature)
        return hop_time(self.hop * draw, downward, GRAVITY)

    def hop_length(self, time: Any, impact_speed: Any, aside: Any, at: Moment) -> Any:
        """Distance along the row of a hop of a time [s], with a speed along the row [m/s]. [m]"""
        rearward = rearward_speed(impact_speed, self.curvature)
        return hop_length(time, self.speed_at(at.time), rearward, aside)
