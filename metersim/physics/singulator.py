"""Singulator: an edge beside the holes' path that pushes surplus seeds off."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import ndtri


def edge_offset(gap: Any, notch_step: Any, notch: Any) -> Any:
    """Distance of the edge from the path of the holes' centres.

    Parameters
    ----------
    gap : float or ndarray
        Distance at the centre of the travel. [m]
    notch_step : float or ndarray
        Travel of one notch. [m]
    notch : float or ndarray
        Setting; 0 is the centre, positive is more aggressive. [1]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    Source: definition.
    """
    return gap - notch_step * notch


def reach_across(length: Any, width: Any, pose: Any) -> Any:
    """Half-extent across the track of a seed turned away from it.

    Parameters
    ----------
    length, width : float or ndarray
        Axes of the seed's elliptic outline. [m]
    pose : float or ndarray
        Angle between the long axis and the track. [rad]

    Returns
    -------
    float or ndarray
        Half-extent. [m]

    Notes
    -----
    Source: plane geometry (support of an ellipse).
    """
    turned = np.sin(pose)
    return np.sqrt(width * width + (length * length - width * width) * turned * turned) / 2


def unseating_push(hole_diameter: Any, vacuum_ratio: Any) -> Any:
    """Push that unseats a seed in half of the cases.

    Parameters
    ----------
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    vacuum_ratio : float or ndarray
        Vacuum that works on the seed over the vacuum it needs. [1]

    Returns
    -------
    float or ndarray
        Sideways displacement. [m]

    Notes
    -----
    assumption: half a hole diameter for a seed held by a hair, growing with the root of the
    vacuum.
    """
    return hole_diameter / 2 * np.sqrt(vacuum_ratio)


def unseating_deviate(push: Any, unseating: Any, push_spread: Any) -> Any:
    """How far a push lies above the one that unseats a seed, in standard deviations.

    A standard normal draw below this value means that the seed leaves.

    Parameters
    ----------
    push : float or ndarray
        Displacement that the edge forces on the seed; negative when it does not touch. [m]
    unseating : float or ndarray
        `unseating_push`. [m]
    push_spread : float
        Relative spread. [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    assumption: normal spread of the push that a seat withstands.
    """
    return (push / unseating - 1) / push_spread


def weakest_deviate(rank: Any, teeth: Any) -> Any:
    """Standard normal draw of the tooth that a seed withstands least.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw from 0 to 1. [1]
    teeth : int
        Teeth that the seed meets in the same pose. [1]

    Returns
    -------
    float or ndarray
        The lowest of as many independent normal draws. [1]

    Notes
    -----
    Source: distribution of the smallest of several, inverted.
    """
    return ndtri(-np.expm1(np.log1p(-rank) / teeth))
