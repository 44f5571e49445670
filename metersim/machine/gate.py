"""Gate: seed runs from the hopper into the pool, and arches stop it at times."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import Coefficients
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot


@dataclass(frozen=True, kw_only=True)
class GateStation:
    """Lets seed from the hopper into the pool."""

    opening: float
    width: float
    depth: float
    shock: float  # SD of vertical acceleration over gravity
    lot: SeedLot
    coefficients: Coefficients

    @cached_property
    def seeds_per_level(self) -> float:
        """Seeds in the pool per metre of level. [1/m]"""
        area = self.width * self.depth
        return float(seeds_at_level(1.0, area, self.lot.bulk_density, self.lot.seed_mass))

    def opened(self, at: Moment) -> Any:
        """Opening of the gate at a moment, which all that follows goes by. [m]"""
        return self.opening

    def full(self, at: Moment) -> Any:
        """Whole seeds in the pool at its static level. [1]"""
        level = static_level(self.opened(at), self.depth, self.lot.repose_angle)
        return np.floor(level * self.seeds_per_level)

    def level(self, seeds: Any) -> Any:
        """Level at the disc with so many seeds in the pool. [m]"""
        return seeds / self.seeds_per_level

    def flow(self, at: Moment) -> Any:
        """Seeds a second that the gate can pass while no arch stops it. [1/s]"""
        mass_flow = slot_flow(
            self.opened(at),
            self.width,
            self.lot.bulk_density,
            GRAVITY,
            self.lot.gmd,
            self.coefficients.orifice_dead_zone,
            self.coefficients.side_outlet,
        )
        return mass_flow / self.lot.seed_mass

    def arch_rate(self, at: Moment) -> Any:
        """Arches a second while seed flows. [1/s]"""
        k = self.coefficients
        return arch_rate(
            np.minimum(self.opened(at), self.width),
            self.lot.gmd,
            k.orifice_dead_zone,
            k.arch_rate,
            k.arch_steepness,
        )

    def clearing_rate(self, at: Moment) -> Any:
        """Arches cleared a second. [1/s]"""
        k = self.coefficients
        return k.arch_clearing + k.arch_clearing_by_shock * self.shock


def static_level(gate_opening: Any, pool_depth: Any, repose_angle: Any) -> Any:
    """Level at the disc at which seed stops running in under the gate's lip.

    Seed runs from the lip down to the disc at its angle of repose.

    Parameters
    ----------
    gate_opening : float or ndarray
        Height of the lip above the pool's floor. [m]
    pool_depth : float or ndarray
        Distance from lip to disc. [m]
    repose_angle : float or ndarray
        Angle of repose. [rad]

    Returns
    -------
    float or ndarray
        Level above the lowest point of the hole circle, 0 or more. [m]

    Notes
    -----
    ``static_level = max(gate_opening - pool_depth * tan(repose_angle), 0)``

    assumption: the slope of the heap is straight.
    """
    return np.maximum(gate_opening - pool_depth * np.tan(repose_angle), 0.0)


def seeds_at_level(level: Any, floor_area: Any, bulk_density: Any, seed_mass: Any) -> Any:
    """Seeds that fill the pool's floor up to a level.

    Parameters
    ----------
    level : float or ndarray
        Level of the pool. [m]
    floor_area : float or ndarray
        Depth times width of the pool. [m2]
    bulk_density : float or ndarray
        Density of the heap. [kg/m3]
    seed_mass : float or ndarray
        Mass of the mean seed. [kg]

    Returns
    -------
    float or ndarray
        Seeds, not rounded. [1]

    Notes
    -----
    ``seeds_at_level = level * floor_area * bulk_density / seed_mass``

    assumption: the pool is equally deep everywhere.
    """
    return level * floor_area * bulk_density / seed_mass


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
