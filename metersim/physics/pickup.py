"""Pick-up: the vacuum that a seed needs, and the chances that a cell leaves the pool with it.

Deep in the pool a hole gains and loses seeds all the time.  The seed that it carries away was
drawn onto it in the exit zone, the last few seed diameters before the pool's surface.  So the
chances count the seeds that a hole draws while it crosses that zone.  What lies below the zone does
not count.

There is a rival, the plain form.  It counts meetings along the whole arc in the pool; each meeting
lasts as long as the hole passes one seed.  It was calibrated on the same published rows.  It fits
them less well (criterion 39.0 against 33.7), it has one free coefficient more, and its slip lies at
the end of the allowed range.  Its structure was tested in particle runs: a throw-away simulation
of our own, not published.  A pool with two thirds of the seeds halved the meetings there and left
the number of empty cells as it was.  The plain form would give several times as many empty cells.
The tests still calibrate both forms.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

NO_MARGIN = 1e-300


def centroid_height(width: Any, thickness: Any) -> Any:
    """Distance of a seed's centroid from the disc.

    A seed lies flat or on edge.  The height is the mean of half its thickness and half its width.

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
    ``centroid_height = (width + thickness) / 4``

    assumption: both poses are equally frequent. Their difference is part of `hold_spread`.
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

    The pull of the vacuum and the load on the seed balance about the hole's edge.

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
        Centrifugal acceleration at the hole circle over gravity. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Vacuum. [Pa]

    Notes
    -----
    ``needed_vacuum = 8 * seed_mass * gravity * centroid * load / (pi * hole_diameter^3)
    where load = shock * (1 + resistance) + centrifugal``

    Source: karayel2004 gives the handbook form. Its safety factors are left out: `needed_spread`
    stands for what they cover.
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
    ``log_margin = ln(max(vacuum / needed, 1e-300))``

    Source: definition. The smallest number stands for no vacuum at all.
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
    ``hold_chance = Phi(margin / spread)``

    assumption: the vacuum needed is lognormal over all seeds and their seats on the hole.
    """
    return ndtr(margin / spread)


def needed_spread(size_cv: Any, hold_spread: Any, load_sd: Any) -> Any:
    """SD of the logarithm of the vacuum needed, between seeds, seats and loads.

    Mass grows as the cube of size, and the centroid's height as size itself.  So the vacuum needed
    grows as the fourth power of size.

    Parameters
    ----------
    size_cv : float or ndarray
        Coefficient of variation of linear size. [1]
    hold_spread : float
        SD that comes from the seats of seeds on the hole. [1]
    load_sd : float or ndarray
        SD of ln(load) that the pool and the shocks of the row unit add. [1]

    Returns
    -------
    float or ndarray
        SD. [1]

    Notes
    -----
    ``needed_spread = sqrt(16 * size_cv^2 + hold_spread^2 + load_sd^2)``

    assumption: size, seat and load are independent and lognormal. The loads that a seed meets along
    the pool widen the spread and do not move the median.
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
        Seed diameters: the whole zone, or the whole arc when the pool is too low for it. [1]

    Notes
    -----
    ``zone_crossed = min(arc / gmd, exit_zone)``

    assumption: form and size follow particle runs: a throw-away simulation of our own, not
    published. The seeds that were carried away there had sat down in the last five diameters. A
    pool with two thirds of the seeds left as many cells empty.
    """
    return np.minimum(arc / gmd, exit_zone)


def crowding(pitch: Any, length: Any, crowding_pitch: Any, crowding_power: Any) -> Any:
    """Share of the drawn seeds that remains when neighbouring cells carry their seeds close by.

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
    ``crowding = 1 / (1 + (crowding_pitch * length / pitch)^crowding_power)``

    assumption: a wide pitch loses nothing. The loss grows as the pitch nears 1.5 seed lengths.
    """
    return 1 / (1 + np.power(crowding_pitch * length / pitch, crowding_power))


def draw_rate(
    margin: Any, gmd: Any, peripheral_speed: Any, slowness: Any, draw_power: Any, gravity: Any
) -> Any:
    """Seeds that a free hole draws onto itself while it passes one seed diameter.

    A seed needs a time to reach the hole: the time of a free fall through its own size, times the
    slowness, and longer when the vacuum is weak.  The mean number is the time in which the hole
    passes one seed diameter, over the time that a seed needs.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    peripheral_speed : float or ndarray
        Speed of the holes, above 0. [m/s]
    slowness : float
        `draw_slowness`. [1]
    draw_power : float
        Power of vacuum over vacuum needed: 1 for a seed that the bed holds back with friction,
        1/2 for a seed that flies. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``draw_rate = exp(draw_power * margin) * sqrt(gravity * gmd) / (slowness * peripheral_speed)``

    assumption: the scaling follows particle runs: a throw-away simulation of our own, not
    published. The number of seeds drawn went there as speed over sqrt(gravity * gmd), with a power
    from -1 to -1.3. The negative logarithm of the share of empty cells went as vacuum over vacuum
    needed, with a power of 1.3; this number has the chance to hold in it too.
    """
    return np.exp(draw_power * margin) * np.sqrt(gravity * gmd) / (slowness * peripheral_speed)


def draw_slowness(slowness: Any, agitation: Any, agitation_gain: Any) -> Any:
    """Slowness of drawing seeds on a disc that stirs the pool.

    Parameters
    ----------
    slowness : float
        Slowness on a smooth disc: the time to draw a seed over that of a free fall through its
        size. [1]
    agitation : float or ndarray
        From 0, smooth, to 1, pegged. [1]
    agitation_gain : float
        How many times sooner a pegged disc draws seeds. [1]

    Returns
    -------
    float or ndarray
        Slowness on this disc. [1]

    Notes
    -----
    ``draw_slowness = slowness / agitation_gain^agitation``

    assumption: the logarithm is linear between a smooth and a pegged disc.
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
        SD. [1]

    Notes
    -----
    ``pool_spread = sqrt(ln(1 + (resistance_cv * resistance / (1 + resistance))^2))``

    assumption: the load, weight and resistance together, is lognormal. Its median is the load of
    the torque balance. In particle runs, a throw-away simulation of our own, not published, the SD
    of the resistance was as large as its mean.
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
        Share of all seeds that these lowest ones are, above 0. [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    ``truncated_normal = Phi_inv(rank * chance)``

    Source: inverse of the distribution function, cut at a share.
    """
    return ndtri(rank * chance)


def capture_distance(
    vacuum: Any, hole_diameter: Any, terminal_velocity: Any, air_density: Any, discharge: Any
) -> Any:
    """Distance from which a hole lifts a free seed, for a sink in a plane wall.

    It is reported only.  The chances do not use it, as it gives about half of what was measured.

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
    ``capture_distance = hole_diameter * sqrt(discharge * jet / (8 * terminal_velocity))
    where jet = sqrt(2 * vacuum / air_density)``

    Source: guarella1996 for the idea; potential flow into a sink in a plane wall. The jet is the
    speed of the air in the hole.
    """
    jet = np.sqrt(2 * vacuum / air_density)
    return hole_diameter * np.sqrt(discharge * jet / (8 * terminal_velocity))
