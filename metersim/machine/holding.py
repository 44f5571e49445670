"""Hold of a seed on its hole: the vacuum that a seed needs, and what it covers of the hole."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

NO_DIRECTION = 1e-150  # added to a part of a direction that may be 0


def circles_overlap(radius: Any, other_radius: Any, distance: Any) -> Any:
    """Area that two circles share, over the area of the first.

    Parameters
    ----------
    radius, other_radius : float or ndarray
        Radii of the two circles, above 0. [m]
    distance : float or ndarray
        Distance between their centres, above 0. [m]

    Returns
    -------
    float or ndarray
        Share from 0 to 1. [1]

    Notes
    -----
    ``circles_overlap = (first + other) / (pi * radius^2)
    where first = radius^2 * (arccos(a) - a * sqrt(1 - a^2))
    where other = other_radius^2 * (arccos(b) - b * sqrt(1 - b^2))
    where a = (apart^2 + radius^2 - other_radius^2) / (2 * apart * radius)
    where b = (apart^2 + other_radius^2 - radius^2) / (2 * apart * other_radius)
    where apart = min(max(distance, abs(radius - other_radius)), radius + other_radius)``

    Source: plane geometry (lens of two circles).
    """
    distance = np.maximum(distance, np.abs(radius - other_radius))
    distance = np.minimum(distance, radius + other_radius)
    apart2, first2, other2 = distance * distance, radius * radius, other_radius * other_radius
    at_first = (apart2 + first2 - other2) / (2 * distance * radius)
    at_other = (apart2 + other2 - first2) / (2 * distance * other_radius)
    area = first2 * _segment(at_first) + other2 * _segment(at_other)
    return area / (np.pi * first2)


def _segment(cosine: Any) -> Any:
    """Area that a chord cuts off a circle of radius 1, by the cosine of half its angle."""
    cosine = np.minimum(np.maximum(cosine, -1.0), 1.0)
    return np.arccos(cosine) - cosine * np.sqrt(1 - cosine * cosine)


def outline_radius(length: Any, width: Any, along: Any, across: Any) -> Any:
    """Distance from the centre to the outline of a seed that lies along the track.

    Parameters
    ----------
    length, width : float or ndarray
        Long and short axis of the elliptic outline. [m]
    along, across : float or ndarray
        Parts of the direction along and across the track; their common length is free. A
        direction of length 0 counts as along the track. [m]

    Returns
    -------
    float or ndarray
        Radius of the ellipse in that direction. [m]

    Notes
    -----
    ``outline_radius = if(reach > 0, length * width * reach / (2 * turned), length / 2)
    where reach = sqrt(along^2 + across^2)
    where turned = sqrt((width * along)^2 + (length * across)^2)``

    Source: plane geometry. When two outlines of one shape touch, the distance between their
    centres is the sum of their radii in that direction.
    """
    a, b = length / 2, width / 2
    along = along + NO_DIRECTION
    flat, steep = b * along, a * across
    reach2 = along * along + across * across
    return a * b * np.sqrt(reach2 / (flat * flat + steep * steep))


NO_MARGIN = 1e-300  # vacuum over vacuum needed that stands for no vacuum


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


DISCHARGE = 0.62  # of a sharp-edged hole; common practice, no source
