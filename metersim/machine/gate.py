"""Gate and pool: seed slides in from the hopper, arches stop it, a heap lies at the disc."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import Coefficients
from metersim.machine.heap import (
    heap_volume,
    level_at_disc,
    level_seen,
    slope,
    static_level,
    tilted_angle,
    volume_at_level,
)
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot
from metersim.machine.wear import leak_flow, thin_share


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


def excess_arc(level: Any, carry_line: Any, pool_width: Any, circle_radius: Any) -> Any:
    """Arc that a cell travels in contact with the heap after the carry line.

    Parameters
    ----------
    level : float or ndarray
        Level of the pool. [m]
    carry_line : float or ndarray
        Level up to which the machine is meant to be filled. [m]
    pool_width : float or ndarray
        Width of the pool along the disc. [m]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Arc length, 0 when the pool is not above the carry line. [m]

    Notes
    -----
    ``excess_arc = min(max(excess, 0), arc_within(pool_width, circle_radius)) / 2
    where excess = swept_arc(level, circle_radius) - swept_arc(carry_line, circle_radius)``

    Source: geometry, as `swept_arc`. The half is the rising side. assumption: the heap there is
    no longer than half of the pool.
    """
    excess = swept_arc(level, circle_radius) - swept_arc(carry_line, circle_radius)
    return np.minimum(np.maximum(excess, 0.0), arc_within(pool_width, circle_radius)) / 2


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


def zone_crossed(arc: Any, gmd: Any, exit_zone: Any) -> Any:
    """Part of the exit zone that a hole crosses, in seed diameters.

    Parameters
    ----------
    arc : float or ndarray
        Arc in the pool. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    exit_zone : float
        Seed diameters before the surface in which what is drawn onto a hole stays there. [1]

    Returns
    -------
    float or ndarray
        Seed diameters: the whole zone, or the whole arc when the pool is too low for it. [1]

    Notes
    -----
    ``zone_crossed = min(arc / gmd, exit_zone)``

    assumption: form and size follow particle runs: a throw-away simulation of our own, not
    published. The seeds that were carried away there had sat down in the last five diameters. A
    pool with two thirds of the seeds left as many cells empty.
    """
    return np.minimum(arc / gmd, exit_zone)


def crowding(pitch: Any, length: Any, crowding_pitch: Any, crowding_power: Any) -> Any:
    """Share of the drawn seeds that remains when neighbouring cells carry their seeds close by.

    Parameters
    ----------
    pitch : float or ndarray
        Distance between cells along the circle. [m]
    length : float or ndarray
        Length of the seed. [m]
    crowding_pitch : float
        Pitch over length at which half is lost. [1]
    crowding_power : float
        Steepness. [1]

    Returns
    -------
    float or ndarray
        Share between 0 and 1. [1]

    Notes
    -----
    ``crowding = 1 / (1 + (crowding_pitch * length / pitch)^crowding_power)``

    assumption: a wide pitch loses nothing. The loss grows as the pitch nears 1.5 seed lengths.
    """
    return 1 / (1 + np.power(crowding_pitch * length / pitch, crowding_power))


@dataclass(frozen=True, kw_only=True)
class GateStation:
    """Lets seed from the hopper into the pool."""

    opening: float
    width: float
    depth: float
    clearance: float  # of the slot between disc and housing
    shock: float  # SD of vertical acceleration over gravity
    lot: SeedLot
    coefficients: Coefficients
    sidehill: float = 0.0  # slope across the rows, positive where the gate lies higher

    @cached_property
    def seeds_per_volume(self) -> float:
        """Seeds in a heap per volume. [1/m3]"""
        return self.lot.bulk_density / self.lot.seed_mass

    @cached_property
    def slope(self) -> float:
        """Rise of the heap over its run when a slide has stopped: that of a poured heap. [1]"""
        return self._slope(self.lot.repose_angle)

    @cached_property
    def steepest(self) -> float:
        """Rise over run from the disc to the lip at which a slide starts. [1]"""
        return self._slope(self.lot.repose_angle + self.coefficients.avalanche_angle)

    def _slope(self, angle: float) -> float:
        tilted = tilted_angle(angle, self.sidehill)
        return float(slope(tilted, self.shock, self.coefficients.slope_loss_by_shock))

    @cached_property
    def full_level(self) -> float:
        """Level at the disc of a pool that a slide has filled, at the usual opening. [m]"""
        volume = heap_volume(self.opening, self.depth, self.slope, self.width)
        seeds = np.floor(volume * self.seeds_per_volume)
        return max(float(self.level(seeds)), 1e-6)

    def opened(self, at: Moment) -> Any:
        """Opening of the gate at a moment; all other methods use it. [m]"""
        return self.opening

    def full(self, at: Moment) -> Any:
        """Whole seeds in the pool when a slide has filled it. [1]"""
        volume = heap_volume(self.opened(at), self.depth, self.slope, self.width)
        return np.floor(volume * self.seeds_per_volume)

    def low(self, at: Moment) -> Any:
        """Whole seeds in the pool at which a slide starts, fewer than in a full pool. [1]"""
        level = static_level(self.opened(at), self.depth, self.steepest)
        volume = volume_at_level(level, self.depth, self.slope, self.width)
        return np.minimum(np.floor(volume * self.seeds_per_volume), self.full(at) - 1)

    def level(self, seeds: Any) -> Any:
        """Level at the disc for a number of seeds in the pool. [m]"""
        return level_at_disc(seeds / self.seeds_per_volume, self.depth, self.slope, self.width)

    def seen(self, seeds: Any) -> Any:
        """Level that a cell sees in a pool of so many seeds. [m]"""
        return level_seen(self.level(seeds), self.full_level, self.lot.gmd)

    def flow(self, at: Moment) -> Any:
        """Seeds per second that the gate can pass while no arch stops it. [1/s]"""
        dead_zone = self.coefficients.orifice_dead_zone
        return self._slot(self.opened(at), dead_zone) / self.lot.seed_mass

    def _slot(self, opening: Any, dead_zone: float) -> Any:
        """Flow that a slot as wide as the pool passes. [kg/s]"""
        lot, outlet = self.lot, self.coefficients.side_outlet
        return slot_flow(opening, self.width, lot.bulk_density, GRAVITY, lot.gmd, dead_zone, outlet)

    def leak(self, at: Moment) -> Any:
        """Seeds per second that leak out of the pool between disc and housing. [1/s]"""
        lot, k = self.lot, self.coefficients
        share = thin_share(self.clearance, lot.thickness, lot.size_cv)
        open_flow = self._slot(self.clearance, 0.0)
        free_flow = self._slot(self.clearance, k.orifice_dead_zone)
        return leak_flow(share, open_flow, free_flow, k.trickle) / lot.seed_mass

    def arch_rate(self, at: Moment) -> Any:
        """Arches that form per second while seed flows. [1/s]"""
        k = self.coefficients
        return arch_rate(
            np.minimum(self.opened(at), self.width),
            self.lot.gmd,
            k.orifice_dead_zone,
            k.arch_rate,
            k.arch_steepness,
        )

    def clearing_rate(self, at: Moment) -> Any:
        """Arches that clear per second. [1/s]"""
        k = self.coefficients
        return k.arch_clearing + k.arch_clearing_by_shock * self.shock


def slot_flow(
    opening: Any,
    width: Any,
    bulk_density: Any,
    gravity: Any,
    gmd: Any,
    orifice_dead_zone: Any,
    side_outlet: Any,
) -> Any:
    """Flow of seed that a slot in a side wall can pass.

    Nothing flows when the slot is narrower or lower than the dead zone.

    Parameters
    ----------
    opening, width : float or ndarray
        Height and width of the slot. [m]
    bulk_density : float or ndarray
        Density of the heap. [kg/m3]
    gravity : float
        Acceleration of free fall. [m/s2]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    orifice_dead_zone : float
        Seed diameters of width and of height that pass nothing, about 1.4. [1]
    side_outlet : float
        Factor of a vertical opening, 0.37 to 0.50. [1]

    Returns
    -------
    float or ndarray
        Mass flow. [kg/s]

    Notes
    -----
    ``slot_flow = side_outlet * 1.03 * bulk_density * sqrt(gravity) * free_width * free_opening^1.5
    where free_width = max(width - orifice_dead_zone * gmd, 0)
    where free_opening = max(opening - orifice_dead_zone * gmd, 0)``

    Source: beverloo1961 and myers (slot form); chang1991 (vertical opening).
    """
    free_width = np.maximum(width - orifice_dead_zone * gmd, 0.0)
    free_opening = np.maximum(opening - orifice_dead_zone * gmd, 0.0)
    fall = np.sqrt(gravity * free_opening)
    return side_outlet * 1.03 * bulk_density * free_width * free_opening * fall


def arch_rate(
    opening: Any, gmd: Any, orifice_dead_zone: Any, narrow_rate: Any, steepness: Any
) -> Any:
    """How often seed arches over the gate and stops.

    Parameters
    ----------
    opening : float or ndarray
        Height of the gate. [m]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    orifice_dead_zone : float
        Opening below which nothing flows, in seed diameters. [1]
    narrow_rate : float
        Arches a second at that opening. [1/s]
    steepness : float
        Fall of the logarithm of the rate per seed size of opening. [1]

    Returns
    -------
    float or ndarray
        Arches a second of flow. [1/s]

    Notes
    -----
    ``arch_rate = narrow_rate * exp(-steepness * (opening / gmd - orifice_dead_zone))``

    assumption: the rate falls exponentially as the opening grows, counted in seed sizes.
    """
    return narrow_rate * np.exp(-steepness * (opening / gmd - orifice_dead_zone))
