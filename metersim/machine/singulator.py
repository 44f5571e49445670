"""Singulator: an edge beside the holes' path that pushes surplus seeds off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.special import ndtri

from metersim.machine.coefficients import Coefficients
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot


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
    ``edge_offset = gap - notch_step * notch``

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
    ``reach_across = sqrt(width^2 + (length^2 - width^2) * sin(pose)^2) / 2``

    Source: plane geometry, half-extent of a turned ellipse.
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
    ``unseating_push = hole_diameter / 2 * sqrt(vacuum_ratio)``

    assumption: half a hole diameter unseats a seed that just holds. The push grows as the square
    root of the vacuum.
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
        SD of the push that unseats a seed, over its mean. [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    ``unseating_deviate = (push / unseating - 1) / push_spread``

    assumption: normal spread of the push that a seat withstands.
    """
    return (push / unseating - 1) / push_spread


def weakest_deviate(rank: Any, teeth: Any) -> Any:
    """Standard normal draw of the tooth that unseats a seed most easily.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw from 0 to 1. [1]
    teeth : int
        Teeth that the seed meets in the same pose. [1]

    Returns
    -------
    float or ndarray
        The lowest of as many independent normal draws as there are teeth. [1]

    Notes
    -----
    ``weakest_deviate = Phi_inv(1 - (1 - rank)^(1 / teeth))``

    Source: inverse of the distribution of the smallest of several draws.
    """
    return ndtri(-np.expm1(np.log1p(-rank) / teeth))


TEETH = 3  # teeth of the edge that a cell passes


@dataclass(frozen=True, kw_only=True)
class SingulatorStation:
    """Pushes surplus seeds off."""

    gap: float
    notch_step: float
    notch: float
    hole_diameter: float
    inner_guide: bool
    lot: SeedLot
    coefficients: Coefficients

    @cached_property
    def offset(self) -> float:
        """Distance of the edge from the path of the holes' centres. [m]"""
        return float(edge_offset(self.gap, self.notch_step, self.notch))

    @cached_property
    def narrowing(self) -> float:
        """Eccentricity with the inner guide over that without it. [1]"""
        return self.coefficients.guide_narrowing if self.inner_guide else 1.0

    def reach(self, pose_draw: Any) -> Any:
        """Half-extent across the track of the mean seed in a pose. [m]"""
        return reach_across(self.lot.length, self.lot.width, self.lot.pose_sd * pose_draw)

    def weakest(self, rank: Any) -> Any:
        """Deviate of the tooth that a lone seed resists least; it meets all in one pose. [1]"""
        return weakest_deviate(rank, TEETH)

    def deviate(self, reach: Any, off_centre: Any, vacuum_ratio: Any, at: Moment) -> Any:
        """Deviate below which a tooth's draw makes the seed leave. [1]"""
        push = reach + off_centre - self.offset
        unseating = unseating_push(self.hole_diameter, vacuum_ratio)
        return unseating_deviate(push, unseating, self.coefficients.push_spread)
