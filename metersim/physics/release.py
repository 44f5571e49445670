"""Release: the vacuum is cut and the seed leaves its hole."""

from __future__ import annotations

from typing import Any

import numpy as np

_ANGLE = 2 * np.pi * np.linspace(0, 1, 4097)
_OPEN_SHARE = (_ANGLE - np.sin(_ANGLE)) / (2 * np.pi)
_OPEN_HEIGHT = (1 - np.cos(_ANGLE / 2)) / 2


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
    Source: area of a circular segment, inverted through a table of 4097 points; relative error
    of the area below 1e-5 for shares above 1e-3, and absolute error below 3e-8 everywhere.
    """
    return hole_diameter * (1 - np.interp(share, _OPEN_SHARE, _OPEN_HEIGHT))


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
