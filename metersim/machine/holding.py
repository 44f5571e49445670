"""Hold of a seed on its hole: the vacuum that a seed needs, and what it covers of the hole."""

from __future__ import annotations

from typing import Any

import numpy as np

from metersim.distributions.normal import ndtr, ndtri

NO_DIRECTION = 1e-150  # added to a part of a direction that may be 0


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


NO_MARGIN = 1e-100  # vacuum over vacuum needed that stands for no vacuum


def flat_chance(width: Any, thickness: Any) -> Any:
    """Chance that a seed meets a hole with its broad face.

    Otherwise it meets the hole on edge.  A seed keeps its pose until it leaves the disc.

    Parameters
    ----------
    width, thickness : float or ndarray
        Middle and shortest dimension of the seed. [m]

    Returns
    -------
    float or ndarray
        Chance. [1]

    Notes
    -----
    ``flat_chance = width / (width + thickness)``

    assumption: faces meet the hole in proportion to their width. Particle runs, a throw-away
    simulation of our own, not published, found 16 to 29 % flat seeds beside the disc, and 45 to
    71 % on holes narrower than the seed is thick.
    """
    return width / (width + thickness)


def centroid_height(across_face: Any) -> Any:
    """Distance of a seed's centroid from the disc.

    Parameters
    ----------
    across_face : float or ndarray
        Dimension of the seed at a right angle to the disc: its thickness when it lies flat, its
        width when it stands on edge. [m]

    Returns
    -------
    float or ndarray
        Height of the centroid. [m]

    Notes
    -----
    ``centroid_height = across_face / 2``

    Source: plane geometry of a symmetric seed.
    """
    return across_face / 2


def needed_vacuum(
    seed_mass: Any,
    centroid: Any,
    hole_diameter: Any,
    resistance: Any,
    shock: Any,
    centrifugal: Any,
    seal: Any,
    gravity: Any,
) -> Any:
    """Vacuum at which a seed just stays on its hole.

    The pull of the vacuum and the load on the seed balance about the hole's edge.  A seat leaks, so
    only a part of the chamber's vacuum pulls.

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
    seal : float
        Part of the chamber's vacuum that pulls on a seated seed. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Vacuum in the chamber. [Pa]

    Notes
    -----
    ``needed_vacuum = 8 * seed_mass * gravity * centroid * load / (pi * seal * hole_diameter^3)
    where load = shock * (1 + resistance) + centrifugal``

    Source: karayel2004 gives the handbook form. Its safety factors are left out: `needed_spread`
    and the seal stand for what they cover.
    """
    load = shock * (1 + resistance) + centrifugal
    volume = hole_diameter * hole_diameter * hole_diameter
    return 8 * seed_mass * gravity * centroid * load / (np.pi * seal * volume)


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
    ``log_margin = ln(max(vacuum / needed, 1e-100))``

    Source: definition. The smallest number stands for no vacuum at all; its square is a number
    too.
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


def resistance_at(resistance: Any, level: Any, carry_line: Any, depth_power: Any) -> Any:
    """Resistance of the pool on a seed that is drawn out of it, at a level.

    A high pool leans on the seeds that leave it.

    Parameters
    ----------
    resistance : float or ndarray
        Pull of a pool that is filled to the carry line, over the seed's weight. [1]
    level, carry_line : float or ndarray
        Level of the pool, and the level up to which it is meant to be filled. [m]
    depth_power : float
        Power of the level in the resistance. [1]

    Returns
    -------
    float or ndarray
        Resistance over the seed's weight. [1]

    Notes
    -----
    ``resistance_at = resistance * (max(level, 0) / carry_line)^depth_power``

    assumption: in particle runs, a throw-away simulation of our own, not published, the resistance
    grew with depth. How it depends on the level has no source.
    """
    return resistance * np.power(np.maximum(level, 0.0) / carry_line, depth_power)


def vacuum_of_hole(
    vacuum: Any, deviate: Any, turn: Any, rim: Any, hole_spread: Any, run_out: Any
) -> Any:
    """Vacuum that works at one hole of the disc.

    Holes differ by burrs, wear and diameter.  A disc that runs out leaks more on one side, once a
    turn.  Both last for the whole run.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum in the chamber. [Pa]
    deviate : float or ndarray
        Standard normal draw of the hole. [1]
    turn : float or ndarray
        Position of the hole on the disc, from where the disc runs out most, in turns. [1]
    rim : float or ndarray
        Part of the vacuum that works at its rim, 1 at a sound one. [1]
    hole_spread : float
        SD of ln(vacuum) between holes. [1]
    run_out : float
        Amplitude of ln(vacuum) around the disc. [1]

    Returns
    -------
    float or ndarray
        Vacuum. [Pa]

    Notes
    -----
    ``vacuum_of_hole = vacuum * rim * exp(hole_spread * deviate + run_out * cos(2 * pi * turn))``

    assumption: differences of holes act like differences of vacuum. Their sizes have no source.
    """
    return vacuum * rim * np.exp(hole_spread * deviate + run_out * np.cos(2 * np.pi * turn))


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
