"""Gate and seed pool: how seed comes in, how high it stands and how much of the disc it covers.

Angles and levels are counted from the lowest point of the circle of holes.
"""

from __future__ import annotations

from typing import Any

import numpy as np


def swept_arc(level: Any, circle_radius: Any) -> Any:
    """Length of the hole circle that lies in the pool.

    Parameters
    ----------
    level : float or ndarray
        Level above the lowest point of the circle. [m]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Arc length, from 0 to the whole circle. [m]

    Notes
    -----
    ``swept_arc = 2 * circle_radius * arccos(1 - min(max(level / circle_radius, 0), 2))``

    Source: geometry of a circle cut by a level.
    """
    depth = np.minimum(np.maximum(level / circle_radius, 0.0), 2.0)
    return 2 * circle_radius * np.arccos(1 - depth)


def arc_within(width: Any, circle_radius: Any) -> Any:
    """Longest arc of the hole circle, about its lowest point, that a pool of a width can cover.

    Parameters
    ----------
    width : float or ndarray
        Width of the pool along the disc. [m]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Arc length, at most half of the circle. [m]

    Notes
    -----
    ``arc_within = 2 * circle_radius * arcsin(min(width / (2 * circle_radius), 1))``

    Source: geometry of a chord.
    """
    return 2 * circle_radius * np.arcsin(np.minimum(width / (2 * circle_radius), 1.0))


def layer_share(level: Any, gmd: Any) -> Any:
    """Seeds beside the holes over those of a bed, in a pool thinner than a seed.

    Parameters
    ----------
    level : float or ndarray
        Level of the pool, 0 or more. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]

    Returns
    -------
    float or ndarray
        Share; 1 from one seed of depth on. [1]

    Notes
    -----
    ``layer_share = min(level / gmd, 1)``

    assumption: seeds that cannot cover the floor lie on it as one layer with gaps.
    """
    return np.minimum(level / gmd, 1.0)


def excess_arc(level: Any, carry_line: Any, circle_radius: Any) -> Any:
    """Arc that a cell travels in contact with the heap after the carry line.

    Parameters
    ----------
    level : float or ndarray
        Level of the pool. [m]
    carry_line : float or ndarray
        Level up to which the machine is meant to be filled. [m]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Arc length, 0 when the pool is not above the carry line. [m]

    Notes
    -----
    ``excess_arc = max(excess, 0) / 2
    where excess = swept_arc(level, circle_radius) - swept_arc(carry_line, circle_radius)``

    Source: geometry, as `swept_arc`. The half is the rising side.
    """
    excess = swept_arc(level, circle_radius) - swept_arc(carry_line, circle_radius)
    return np.maximum(excess, 0.0) / 2


def knock_chance_scale(excess: Any, gmd: Any, knock: Any) -> Any:
    """Knocks a carried seed meets in a heap above the carry line.

    The mean number of knocks that dislodge a seed is this number times the vacuum that the seed
    needs, over the vacuum that it has.

    Parameters
    ----------
    excess : float or ndarray
        Arc travelled in the heap after the carry line. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    knock : float
        Dislodging knocks per heap seed passed, for a seed that just holds. [1]

    Returns
    -------
    float or ndarray
        Mean number of knocks at a vacuum that just holds. [1]

    Notes
    -----
    ``knock_chance_scale = knock * excess / gmd``

    assumption: the number of knocks is Poisson. A knock dislodges a firmly held seed less often.
    """
    return knock * excess / gmd
