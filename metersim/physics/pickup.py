"""Pick-up: the vacuum that a seed needs, and the chances that a cell leaves the pool with it.

The chances have the plain form: a cell meets seeds as a Poisson stream along its whole arc in
the pool.  A rival form, in which only the last few seed diameters before the surface count, is
not used here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

NO_MARGIN = 1e-300


def centroid_height(width: Any, thickness: Any) -> Any:
    """Distance of a seed's centroid from the disc.

    Seeds lie flat or on edge, as they come: the mean of half the thickness and half the width.

    Parameters
    ----------
    width, thickness : float or ndarray
        Middle and shortest dimension of the seed. [m]

    Returns
    -------
    float or ndarray
        Height of the centroid. [m]

    Notes
    -----
    assumption: both poses equally often; the spread between them is part of `hold_spread`.
    """
    return (width + thickness) / 4


def needed_vacuum(
    seed_mass: Any,
    centroid: Any,
    hole_diameter: Any,
    resistance: Any,
    shock: Any,
    centrifugal: Any,
    gravity: Any,
) -> Any:
    """Vacuum at which a seed just stays on its hole.

    Torque balance about the hole's edge: ``8 m g C (s (1 + lambda) + u^2/(g R))/(pi d^3)``.

    Parameters
    ----------
    seed_mass : float or ndarray
        Mass of the seed. [kg]
    centroid : float or ndarray
        Distance of its centroid from the disc. [m]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    resistance : float or ndarray
        Pull of the pool on the seed over its weight; 0 outside the pool. [1]
    shock : float or ndarray
        Vertical acceleration over gravity, 1 at rest. [1]
    centrifugal : float or ndarray
        ``u^2/(g R)`` at the hole circle. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Vacuum. [Pa]

    Notes
    -----
    Source: karayel2004 gives the handbook form; its safety factors are replaced by the spread
    they cover.
    """
    load = shock * (1 + resistance) + centrifugal
    area = hole_diameter * hole_diameter
    return 8 * seed_mass * gravity * centroid * load / (np.pi * area * hole_diameter)


def log_margin(vacuum: Any, needed: Any) -> Any:
    """Logarithm of the vacuum a seed has over the vacuum it needs.

    Parameters
    ----------
    vacuum, needed : float or ndarray
        Vacuum at the hole, and vacuum needed. [Pa]

    Returns
    -------
    float or ndarray
        Margin; very negative when there is no vacuum. [1]

    Notes
    -----
    Source: definition.
    """
    return np.log(np.maximum(vacuum / needed, NO_MARGIN))


def hold_chance(margin: Any, spread: Any) -> Any:
    """Chance that a seed of the lot would stay on a hole that it meets.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    spread : float or ndarray
        SD of the logarithm of the vacuum needed. [1]

    Returns
    -------
    float or ndarray
        Chance. [1]

    Notes
    -----
    assumption: the vacuum needed is lognormal between seeds and seats.
    """
    return ndtr(margin / spread)


def needed_spread(size_cv: Any, hold_spread: Any, load_sd: Any) -> Any:
    """SD of the logarithm of the vacuum needed, between seeds, seats and shocks.

    Mass goes with the cube of size and the centroid's height with size itself, so size enters
    with its fourth power.

    Parameters
    ----------
    size_cv : float or ndarray
        Coefficient of variation of linear size. [1]
    hold_spread : float
        SD that comes from seats. [1]
    load_sd : float or ndarray
        Relative SD of the load that shocks of the row unit add, 0 on a bench. [1]

    Returns
    -------
    float or ndarray
        SD. [1]

    Notes
    -----
    assumption: independent normal logarithms; averaging the chance over the shocks met along the
    pool widens the spread and leaves the median.
    """
    return np.sqrt(16 * size_cv * size_cv + hold_spread * hold_spread + load_sd * load_sd)


def meetings(arc: Any, slip: Any, gmd: Any) -> Any:
    """Mean number of seeds that a hole meets along its arc in the pool.

    Parameters
    ----------
    arc : float or ndarray
        Arc in the pool. [m]
    slip : float
        Speed past the seeds over disc speed. [1]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]

    Returns
    -------
    float or ndarray
        Meetings. [1]

    Notes
    -----
    assumption: one meeting a seed diameter of travel past the seeds.
    """
    return arc * slip / gmd


def crowding(pitch: Any, length: Any, crowding_pitch: Any, crowding_power: Any) -> Any:
    """Share of the meetings left when neighbouring cells carry seeds too close by.

    Parameters
    ----------
    pitch : float or ndarray
        Distance between cells along the circle. [m]
    length : float or ndarray
        Length of the seed. [m]
    crowding_pitch : float
        Pitch over length at which half is lost. [1]
    crowding_power : float
        Steepness. [1]

    Returns
    -------
    float or ndarray
        Share between 0 and 1. [1]

    Notes
    -----
    assumption: no loss at wide pitch, growing as the pitch nears 1.5 seed lengths.
    """
    return 1 / (1 + np.power(crowding_pitch * length / pitch, crowding_power))


def exposure(
    vacuum: Any,
    hole_diameter: Any,
    seed_mass: Any,
    gmd: Any,
    peripheral_speed: Any,
    slip: Any,
    slowness: Any,
) -> Any:
    """How long a meeting lasts over the time that joining the disc takes.

    A meeting lasts ``gmd/(slip u)``; joining takes ``tau sqrt(2 gmd/a)`` at the acceleration
    ``a = p pi d^2/(4 m)`` of a seed that closes the hole.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum at the hole. [Pa]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    seed_mass : float or ndarray
        Mass of the seed. [kg]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    peripheral_speed : float or ndarray
        Speed of the holes, above 0. [m/s]
    slip : float
        Speed past the seeds over disc speed. [1]
    slowness : float
        tau, see `join_slowness`. [1]

    Returns
    -------
    float or ndarray
        Ratio of the two times. [1]

    Notes
    -----
    assumption: speed costs fill through time of exposure, as liao2018 found.
    """
    meeting = gmd / (slip * peripheral_speed)
    acceleration = vacuum * np.pi * hole_diameter * hole_diameter / (4 * seed_mass)
    return meeting * np.sqrt(acceleration / (2 * gmd)) / slowness


def join_slowness(slowness: Any, agitation: Any, agitation_gain: Any) -> Any:
    """Slowness of joining on a disc that stirs the pool.

    Parameters
    ----------
    slowness : float
        tau of a smooth disc. [1]
    agitation : float or ndarray
        From 0, smooth, to 1, pegged. [1]
    agitation_gain : float
        How many times sooner seeds join a pegged disc. [1]

    Returns
    -------
    float or ndarray
        tau. [1]

    Notes
    -----
    assumption: geometric between smooth and pegged.
    """
    return slowness * np.power(agitation_gain, -agitation)


def join_chance(exposed: Any) -> Any:
    """Chance that a seed that would hold joins the disc in one meeting.

    Parameters
    ----------
    exposed : float or ndarray
        `exposure`. [1]

    Returns
    -------
    float or ndarray
        Chance. [1]

    Notes
    -----
    assumption: joining is a Poisson event in time.
    """
    return -np.expm1(-exposed)


def truncated_normal(rank: Any, chance: Any) -> Any:
    """Standard normal deviate of a seed that is known to be among the lowest.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw between 0 and 1. [1]
    chance : float or ndarray
        Share of seeds it belongs to, above 0. [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    Source: inverse of the distribution function; exact thinning of the meetings.
    """
    return ndtri(rank * chance)


def capture_distance(
    vacuum: Any, hole_diameter: Any, terminal_velocity: Any, air_density: Any, discharge: Any
) -> Any:
    """Distance from which a hole lifts a free seed, for a sink in a plane wall.

    Reported, not used in the chances: it gives about half of what was measured.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum at the hole. [Pa]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    terminal_velocity : float or ndarray
        Speed of air that just carries the seed. [m/s]
    air_density : float
        Density of air. [kg/m3]
    discharge : float
        Discharge coefficient of the hole, about 0.62. [1]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    Source: guarella1996 for the idea; potential flow into a sink.
    """
    jet = np.sqrt(2 * vacuum / air_density)
    return hole_diameter * np.sqrt(discharge * jet / (8 * terminal_velocity))
