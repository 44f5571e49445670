"""Singulator: an edge beside the holes' path that pushes surplus seeds off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.distributions.normal import ndtri
from metersim.machine.coefficients import Coefficients
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot
from metersim.machine.wear import uneven_push, worn_gap


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


def inner_edge(hole_diameter: Any, inner_gap: Any) -> Any:
    """Distance of the inner edge from the path of the holes' centres.

    Parameters
    ----------
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    inner_gap : float or ndarray
        Gap from the holes' rims to the inner edge. [m]

    Returns
    -------
    float or ndarray
        Distance, inwards. [m]

    Notes
    -----
    ``inner_edge = hole_diameter / 2 + inner_gap``

    Source: geometry; assumption: huazhong2023 measures the inner gap from the holes' rims. From
    their centres it would empty more than a fifth of the cells.
    """
    return hole_diameter / 2 + inner_gap


def push_of_edges(reach: Any, outward: Any, outer: Any, inner: Any) -> Any:
    """Furthest push of a seed by an edge outside and an edge inside the holes' path.

    The outer edge pushes inwards what reaches past it.  The inner edge pushes outwards.

    Parameters
    ----------
    reach : float or ndarray
        Half-extent of the seed across the track. [m]
    outward : float or ndarray
        Distance of the seed's centre from the path, outwards positive. [m]
    outer, inner : float or ndarray
        Distances of the two edges from the path; an edge that is not there is infinitely far. [m]

    Returns
    -------
    float or ndarray
        Push; negative when no edge touches the seed. [m]

    Notes
    -----
    ``push_of_edges = reach + max(outward - outer, -outward - inner)``

    Source: plane geometry.
    """
    return reach + np.maximum(outward - outer, -outward - inner)


def direction_of_second(rank: Any) -> Any:
    """Direction in which a second seed lies from the first one.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw from 0 to 1. [1]

    Returns
    -------
    float or ndarray
        Angle: 0 is ahead, pi/2 outside, pi behind, 3 pi/2 inside. [rad]

    Notes
    -----
    ``direction_of_second = if(rank > 0.92, last, if(rank > 0.82, third, if(rank > 0.4, second,
    first)))
    where first = -pi / 4 + pi / 2 * rank / 0.4
    where second = pi / 4 + pi / 2 * (rank - 0.4) / 0.42
    where third = 3 * pi / 4 + pi / 2 * (rank - 0.82) / 0.1
    where last = 5 * pi / 4 + pi / 2 * (rank - 0.92) / 0.08``

    assumption: in particle runs, a throw-away simulation of our own, not published, the second seed
    lay ahead in 0.4 of the doubles, outside in 0.4 to 0.5, behind in 0.1 and inside in 0.05 to 0.1.
    """
    return np.interp(rank, SECTORS, QUARTERS)


def first_offset(radius: Any, part: Any, hole_diameter: Any) -> Any:
    """Distance of a first seed's centre from the hole's centre, away from a second seed.

    The two touch where the second seed begins to cover the hole.

    Parameters
    ----------
    radius : float or ndarray
        Radius of the seed's outline towards the second seed. [m]
    part : float or ndarray
        Part of the hole that the second seed covers. [1]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    ``first_offset = radius - (1 / 2 - part) * hole_diameter``

    Source: geometry; assumption: the part grows in proportion to the width that is covered.
    """
    return radius - (0.5 - part) * hole_diameter


def second_offset(radius: Any, part: Any, hole_diameter: Any) -> Any:
    """Distance of a second seed's centre from the hole's centre.

    Parameters
    ----------
    radius : float or ndarray
        Radius of its outline towards the first seed. [m]
    part : float or ndarray
        Part of the hole that it covers. [1]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    ``second_offset = radius + (1 / 2 - part) * hole_diameter``

    Source: geometry; assumption: as for `first_offset`.
    """
    return radius + (0.5 - part) * hole_diameter


SECTORS = (0.0, 0.4, 0.82, 0.92, 1.0)  # shares of the doubles up to the end of each quarter
QUARTERS = tuple(np.pi * k / 4 for k in (-1, 1, 3, 5, 7))


def unseating_push(
    hole_diameter: Any,
    share: Any,
    vacuum_ratio: Any,
    peripheral_speed: Any,
    seat_push: Any,
    edge_speed: Any,
) -> Any:
    """Push that unseats a seed in half of the cases.

    Parameters
    ----------
    hole_diameter : float or ndarray
        Diameter of the hole. [m]
    share : float or ndarray
        Part of the hole that the seed covers. [1]
    vacuum_ratio : float or ndarray
        Vacuum that works on the seed over the vacuum it needs. [1]
    peripheral_speed : float or ndarray
        Speed of the holes, above 0. [m/s]
    seat_push : float
        Push that unseats a seed that just holds, over the hole's diameter. [1]
    edge_speed : float
        Power of speed; 0 if speed does not matter. [1]

    Returns
    -------
    float or ndarray
        Sideways displacement. [m]

    Notes
    -----
    ``unseating_push = seat_push * share * hole_diameter * sqrt(vacuum_ratio) * by_speed
    where by_speed = (peripheral_speed / 0.3)^edge_speed``

    assumption: a seed that covers a part of the hole leaves sooner, in proportion. The push grows
    as the square root of the vacuum. A fast disc leaves less time for the push and strikes
    harder, so the sign of speed is not known.
    """
    seat = seat_push * share * hole_diameter * np.sqrt(vacuum_ratio)
    return seat * np.power(peripheral_speed / USUAL_SPEED, edge_speed)


USUAL_SPEED = 0.3  # m/s, of the holes


def unseating_deviate(push: Any, unseating: Any, push_spread: Any) -> Any:
    """How far a push lies above the one that unseats a seed, in standard deviations.

    A standard normal draw below this value means that the seed leaves.

    Parameters
    ----------
    push : float or ndarray
        Displacement that the edge forces on the seed; negative when it does not touch. [m]
    unseating : float or ndarray
        `unseating_push`, above 0. [m]
    push_spread : float
        SD of ln(push that unseats a seed). [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    ``unseating_deviate = ln(max(push / unseating, 1e-6)) / push_spread``

    assumption: the push that a seat withstands is lognormal, so an edge that does not touch takes
    no seed.
    """
    return np.log(np.maximum(push / unseating, NO_PUSH)) / push_spread


NO_PUSH = 1e-6  # push over unseating push that stands for no touch


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
    """Pushes surplus seeds off, by an edge outside the holes and perhaps one inside."""

    gap: float
    notch_step: float
    notch: float
    inner_gap: float  # from the holes' rims; infinite without an inner edge
    wear: float
    inner_wear: float
    hole_diameter: float
    lot: SeedLot
    coefficients: Coefficients

    @cached_property
    def offset(self) -> float:
        """Distance of the outer edge from the path of the holes' centres. [m]"""
        k = self.coefficients
        gap = worn_gap(self.gap * (1 + k.edge_zero), self.wear, k.edge_recession)
        return float(edge_offset(gap, self.notch_step, self.notch))

    @cached_property
    def inner(self) -> float:
        """Distance of the inner edge from that path. [m]"""
        recession = self.coefficients.edge_recession
        gap = worn_gap(self.inner_gap, self.inner_wear, recession)
        return float(inner_edge(self.hole_diameter, gap))

    @cached_property
    def push_spread(self) -> float:
        """SD of ln(push that unseats a seed), over seats and teeth. [1]"""
        k = self.coefficients
        return float(uneven_push(k.push_spread, self.wear, k.uneven_teeth))

    def reach(self, length: Any, narrow: Any, pose_draw: Any) -> Any:
        """Half-extent across the track of a seed with these sides [m] in a pose. [m]"""
        return reach_across(length, narrow, self.lot.pose_sd * pose_draw)

    def weakest(self, rank: Any) -> Any:
        """Deviate of the tooth that a lone seed resists least; it meets all in one pose. [1]"""
        return weakest_deviate(rank, TEETH)

    def deviate(self, reach: Any, outward: Any, share: Any, vacuum_ratio: Any, at: Moment) -> Any:
        """Deviate below which a tooth's draw makes the seed leave. [1]"""
        k = self.coefficients
        push = push_of_edges(reach, outward, self.offset, self.inner)
        unseating = unseating_push(
            self.hole_diameter, share, vacuum_ratio, at.speed, k.seat_push, k.edge_speed
        )
        return unseating_deviate(push, unseating, self.push_spread)
