"""Pick-up: the vacuum that a seed needs, and the chances that a cell leaves the pool with it.

Deep in the pool a hole gains and loses seeds all the time; what it carries away was drawn onto it
in the exit zone, the last few seed diameters before the pool's surface.  So the chances count the
seeds that a hole draws while it crosses that zone, whatever lies below it.

A rival, the plain form, counts meetings along the whole arc in the pool, each of which lasts as
long as a seed is passed.  Calibrated on the same published rows it fits them less well, with one
free coefficient more (criterion 39.0 against 33.7) and its slip at the end of what is possible.
Nor does its structure hold: in a simulation of particles made for this project a pool of two
thirds the seeds halved the meetings and left the empty cells as they were, where the plain form
would have a multiple of them.  It lives on in the tests, which calibrate both forms.
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
    """SD of the logarithm of the vacuum needed, between seeds, seats and loads.

    Mass goes with the cube of size and the centroid's height with size itself, so size enters
    with its fourth power.

    Parameters
    ----------
    size_cv : float or ndarray
        Coefficient of variation of linear size. [1]
    hold_spread : float
        SD that comes from seats. [1]
    load_sd : float or ndarray
        SD of ln(load) that the pool and the shocks of the row unit add. [1]

    Returns
    -------
    float or ndarray
        SD. [1]

    Notes
    -----
    assumption: independent normal logarithms; averaging the chance over the loads met along the
    pool widens the spread and leaves the median.
    """
    return np.sqrt(16 * size_cv * size_cv + hold_spread * hold_spread + load_sd * load_sd)


def zone_crossed(arc: Any, gmd: Any, exit_zone: Any) -> Any:
    """Part of the exit zone that a hole crosses, in seed diameters.

    Parameters
    ----------
    arc : float or ndarray
        Arc in the pool. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    exit_zone : float
        Seed diameters before the surface in which what is drawn onto a hole stays there. [1]

    Returns
    -------
    float or ndarray
        Seed diameters: the whole zone, or all of a pool too low to give it. [1]

    Notes
    -----
    assumption: form and size as in a particle simulation made for this project, in which the
    seeds that were carried away had been seated in the last five diameters, and a pool of two
    thirds the seeds left as many cells empty.
    """
    return np.minimum(arc / gmd, exit_zone)


def crowding(pitch: Any, length: Any, crowding_pitch: Any, crowding_power: Any) -> Any:
    """Share of the seeds drawn that is left when neighbouring cells carry seeds too close by.

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


def draw_rate(
    margin: Any, gmd: Any, peripheral_speed: Any, slowness: Any, draw_power: Any, gravity: Any
) -> Any:
    """Seeds that a free hole draws onto itself while it passes one seed diameter.

    ``(p/H)^q sqrt(g D)/(tau u)``: the time in which a seed falls freely through its own size,
    stretched by tau and by its load over the pull, goes so often into the time of passing it.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    gmd : float or ndarray
        D, geometric mean diameter of the seed. [m]
    peripheral_speed : float or ndarray
        u, speed of the holes, above 0. [m/s]
    slowness : float
        tau, see `draw_slowness`. [1]
    draw_power : float
        q; 1 for a seed that a bed holds back with friction, 1/2 for one that flies. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    assumption: the scaling found in a particle simulation made for this project, where speed
    enters as ``u/sqrt(g D)`` with a power from -1 to -1.3, and -ln P(empty), which also has the
    chance to hold in it, grows about as ``(p/H)^1.3``.
    """
    return np.exp(draw_power * margin) * np.sqrt(gravity * gmd) / (slowness * peripheral_speed)


def draw_slowness(slowness: Any, agitation: Any, agitation_gain: Any) -> Any:
    """Slowness of drawing seeds on a disc that stirs the pool.

    Parameters
    ----------
    slowness : float
        tau of a smooth disc. [1]
    agitation : float or ndarray
        From 0, smooth, to 1, pegged. [1]
    agitation_gain : float
        How many times sooner a pegged disc draws seeds. [1]

    Returns
    -------
    float or ndarray
        tau. [1]

    Notes
    -----
    assumption: geometric between smooth and pegged.
    """
    return slowness * np.power(agitation_gain, -agitation)


def pool_spread(resistance: Any, resistance_cv: Any) -> Any:
    """SD of the logarithm of the load on seeds in the exit zone that comes from the pool.

    Parameters
    ----------
    resistance : float or ndarray
        Mean pull of the pool on a seed over its weight. [1]
    resistance_cv : float
        Its SD over its mean. [1]

    Returns
    -------
    float or ndarray
        SD of ``ln(1 + lambda)`` of a lognormal load of that mean and SD. [1]

    Notes
    -----
    assumption: lognormal about the load of the torque balance as its median; an SD as large as the
    mean as in a particle simulation made for this project.
    """
    part = resistance_cv * resistance / (1 + resistance)
    return np.sqrt(np.log1p(part * part))


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
    Source: inverse of the distribution function; exact thinning of the stream.
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
