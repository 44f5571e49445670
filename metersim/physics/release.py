"""Release: the vacuum is cut and the seed leaves its hole."""

from __future__ import annotations

from typing import Any

import numpy as np

STEPS = 1 << 14  # of the table of open heights, even in share
_ANGLE = 2 * np.pi * np.linspace(0, 1, 8 * STEPS + 1)
_OPEN_HEIGHT = np.interp(
    np.linspace(0, 1, STEPS + 1),
    (_ANGLE - np.sin(_ANGLE)) / (2 * np.pi),
    (1 - np.cos(_ANGLE / 2)) / 2,
)
_RISE = np.append(np.diff(_OPEN_HEIGHT), 0.0)


def closing_travel(share: Any, hole_diameter: Any) -> Any:
    """Travel of a hole past the cut-off edge until only a given share of it is open.

    Parameters
    ----------
    share : float or ndarray
        Open share of the hole's area; clipped to 0 to 1. [1]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]

    Returns
    -------
    float or ndarray
        Travel since the edge first touched the hole, 0 to one diameter. [m]

    Notes
    -----
    Source: area of a circular segment, inverted through a table that is read by its index;
    error of the open share below 1e-5, and below 2e-6 of it for shares from 0.01 to 0.99.
    """
    step = np.minimum(np.maximum(share, 0.0), 1.0) * STEPS
    whole = np.asarray(step).astype(np.intp)
    height = _OPEN_HEIGHT.take(whole) + (step - whole) * _RISE.take(whole)
    return hole_diameter * (1 - height)


def decay_travel(share: Any, decay_arc: Any) -> Any:
    """Added travel when the vacuum decays over an arc behind a worn or wrong edge.

    Parameters
    ----------
    share : float or ndarray
        Vacuum at which the seed leaves over full vacuum, 0 to 1. [1]
    decay_arc : float or ndarray
        Arc over which the vacuum falls to nothing; 0 for a good edge. [m]

    Returns
    -------
    float or ndarray
        Added travel. [m]

    Notes
    -----
    assumption: the vacuum falls evenly along the arc.
    """
    return decay_arc * (1 - share)


def sideways_way(sideways_speed: Any, fall_time: Any) -> Any:
    """How far along the row a seed lands that falls freely and was not launched straight down.

    Parameters
    ----------
    sideways_speed : float or ndarray
        Part of its launch speed that points along the row, which the disc stands in. [m/s]
    fall_time : float or ndarray
        Time of its fall. [s]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    Source: ballistics; assumption: no drag sideways, a few hundredths of the way. Walls of a
    tube end it: there it is a cause of contacts.
    """
    return sideways_speed * fall_time


def downward_share(sideways: Any) -> Any:
    """Share of a seed's launch speed that points down the tube.

    Parameters
    ----------
    sideways : float or ndarray
        Share that points across it. [1]

    Returns
    -------
    float or ndarray
        Share, 0 or more. [1]

    Notes
    -----
    Source: geometry; assumption: the sideways share is normal, which for the small angles of a
    launch is the same as a normal angle, and leaves out a cosine.
    """
    return np.sqrt(np.maximum(1 - sideways * sideways, 0.0))
