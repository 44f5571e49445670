"""Outlines of seeds about a hole: the part of the hole that one seed covers."""

from __future__ import annotations

from typing import Any

import numpy as np

NO_DIRECTION = 1e-150  # added to a part that may be 0


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
