"""The heap between the gate's lip and the disc: its slope, its level and its volume.

The heap is a wedge.  Its surface rises from the disc to the lip at the slope of a poured heap.
When the disc takes seeds, the surface sinks.  A slide starts when the line from the disc to the lip
is steeper than seed bears.  The slide stops when the surface reaches the lip again.  Seeds below a
slope that ends at the lowest hole lie in a corner, out of reach of the holes.
"""

from __future__ import annotations

from typing import Any

import numpy as np

LEVEL_STEP = 0.5  # seed diameters


def level_seen(level: Any, full_level: Any, gmd: Any) -> Any:
    """Level as the disc sees it: in steps of half a seed diameter from the full level.

    Parameters
    ----------
    level : float or ndarray
        Level at the disc. [m]
    full_level : float or ndarray
        Level of a full pool, above 0. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]

    Returns
    -------
    float or ndarray
        Nearest step, above 0 when seed lies at the disc; otherwise 0. [m]

    Notes
    -----
    ``level_seen = if(level > 0, max(full_level - step * steps, min(level, step / 2)), 0)
    where steps = floor((full_level - level) / step + 1 / 2)
    where step = gmd / 2``

    assumption: a surface of single seeds is no sharper. Steps also let most cells not depend on
    whether one seed more or less lies in the pool, so that the arrays stay quick.
    """
    step = LEVEL_STEP * gmd
    seen = full_level - step * np.floor((full_level - level) / step + 0.5)
    return np.where(level > 0, np.maximum(seen, np.minimum(level, step / 2)), 0.0)


def slope(angle: Any, shock: Any, slope_loss: Any) -> Any:
    """Rise over run of a heap of seed that may shake.

    Parameters
    ----------
    angle : float or ndarray
        Angle of the slope at rest. [rad]
    shock : float or ndarray
        SD of the vertical acceleration over gravity. [1]
    slope_loss : float
        Loss of slope by shocks of 1 g, over what is left. [1]

    Returns
    -------
    float or ndarray
        Rise over run, above 0. [1]

    Notes
    -----
    ``slope = tan(angle) / (1 + slope_loss * shock)``

    assumption: vibration acts as less friction between seeds. It lowers the angle at which a
    slide starts and that at which it stops alike.
    """
    return np.tan(angle) / (1 + slope_loss * shock)


LEAST_ANGLE, MOST_ANGLE = 0.02, 1.4  # rad


def tilted_angle(rest_angle: Any, sidehill: Any) -> Any:
    """Angle of a heap's slope to the pool's floor, on a slope across the rows.

    Parameters
    ----------
    rest_angle : float or ndarray
        Angle of the heap to the horizontal. [rad]
    sidehill : float or ndarray
        Slope across the rows, positive where the gate lies higher than the disc. [rad]

    Returns
    -------
    float or ndarray
        Angle, above 0. [rad]

    Notes
    -----
    ``tilted_angle = min(max(rest_angle - sidehill, 0.02), 1.4)``

    Source: geometry. The heap keeps its angle to the horizontal, and the floor turns.
    assumption: the heap rises from the disc to the gate across the row, as the disc stands in the
    row. On a slope steeper than the heap, seed still lies no higher than the lip.
    """
    return np.minimum(np.maximum(rest_angle - sidehill, LEAST_ANGLE), MOST_ANGLE)


def exit_level(
    level: Any, uphill: Any, pool_width: Any, circle_radius: Any, tilt_follow: Any
) -> Any:
    """Level of the pool where cells leave it, on a slope along the row.

    Parameters
    ----------
    level : float or ndarray
        Level in the middle of the pool, above the lowest point of the circle. [m]
    uphill : float or ndarray
        Slope along the row, positive uphill. [rad]
    pool_width : float or ndarray
        Width of the pool along the disc. [m]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]
    tilt_follow : float
        Part of the slope that the surface follows. [1]

    Returns
    -------
    float or ndarray
        Level, 0 or more. [m]

    Notes
    -----
    ``exit_level = max(level - reach * tan(tilt_follow * uphill), 0)
    where reach = min(chord, pool_width / 2)
    where chord = sqrt(max(level, 0) * max(2 * circle_radius - level, 0))``

    Source: geometry. The surface turns about the middle of the pool, so that the seeds in it stay
    as many. assumption: holes rise on the front side of the disc. Uphill, the front lies higher,
    and seed lies nearer the rear; downhill the other way round.
    """
    chord = np.sqrt(np.maximum(level, 0.0) * np.maximum(2 * circle_radius - level, 0.0))
    reach = np.minimum(chord, pool_width / 2)
    return np.maximum(level - reach * np.tan(tilt_follow * uphill), 0.0)


def static_level(gate_opening: Any, pool_depth: Any, slope: Any) -> Any:
    """Level at the disc when the heap rises to the gate's lip at a slope.

    Parameters
    ----------
    gate_opening : float or ndarray
        Height of the lip above the pool's floor. [m]
    pool_depth : float or ndarray
        Distance from lip to disc. [m]
    slope : float or ndarray
        Rise of the heap over its run. [1]

    Returns
    -------
    float or ndarray
        Level above the lowest point of the hole circle, 0 or more. [m]

    Notes
    -----
    ``static_level = max(gate_opening - pool_depth * slope, 0)``

    assumption: the slope of the heap is straight.
    """
    return np.maximum(gate_opening - pool_depth * slope, 0.0)


def heap_volume(gate_opening: Any, pool_depth: Any, slope: Any, pool_width: Any) -> Any:
    """Volume of the heap when it rises to the gate's lip at a slope.

    Parameters
    ----------
    gate_opening : float or ndarray
        Height of the lip above the pool's floor. [m]
    pool_depth : float or ndarray
        Distance from lip to disc. [m]
    slope : float or ndarray
        Rise of the heap over its run, above 0. [1]
    pool_width : float or ndarray
        Width of the pool along the disc. [m]

    Returns
    -------
    float or ndarray
        Volume. [m3]

    Notes
    -----
    ``heap_volume = pool_width * run * (gate_opening - run * slope / 2)
    where run = min(gate_opening / slope, pool_depth)``

    Source: geometry of a wedge. It ends before the disc when the lip is low.
    """
    run = np.minimum(gate_opening / slope, pool_depth)
    return pool_width * run * (gate_opening - run * slope / 2)


def volume_at_level(level: Any, pool_depth: Any, slope: Any, pool_width: Any) -> Any:
    """Volume of the heap at a level at the disc.

    Parameters
    ----------
    level : float or ndarray
        Level above the lowest point of the hole circle, 0 or more. [m]
    pool_depth : float or ndarray
        Distance from lip to disc. [m]
    slope : float or ndarray
        Rise of the heap over its run. [1]
    pool_width : float or ndarray
        Width of the pool along the disc. [m]

    Returns
    -------
    float or ndarray
        Volume. [m3]

    Notes
    -----
    ``volume_at_level = pool_width * pool_depth * (level + pool_depth * slope / 2)``

    Source: geometry of a wedge. assumption: the surface keeps its slope while it sinks.
    """
    return pool_width * pool_depth * (level + pool_depth * slope / 2)


def level_at_disc(volume: Any, pool_depth: Any, slope: Any, pool_width: Any) -> Any:
    """Level at the disc of a heap of a volume.

    Parameters
    ----------
    volume : float or ndarray
        Volume of the heap. [m3]
    pool_depth : float or ndarray
        Distance from lip to disc. [m]
    slope : float or ndarray
        Rise of the heap over its run. [1]
    pool_width : float or ndarray
        Width of the pool along the disc. [m]

    Returns
    -------
    float or ndarray
        Level above the lowest point of the hole circle, 0 or more. [m]

    Notes
    -----
    ``level_at_disc = max(volume / (pool_width * pool_depth) - pool_depth * slope / 2, 0)``

    Source: the other way round than `volume_at_level`. The disc reaches no seed of the corner.
    """
    return np.maximum(volume / (pool_width * pool_depth) - pool_depth * slope / 2, 0.0)
