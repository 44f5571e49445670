"""The gate that lets seed into the pool."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from metersim.coefficients import Coefficients
from metersim.physics import pool
from metersim.seedlot import SeedLot
from metersim.units import STANDARD_GRAVITY as GRAVITY


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
        return float(pool.seeds_at_level(1.0, area, self.lot.bulk_density, self.lot.seed_mass))

    @cached_property
    def full(self) -> int:
        """Whole seeds in the pool at its static level. [1]"""
        level = pool.static_level(self.opening, self.depth, self.lot.repose_angle)
        return int(level * self.seeds_per_level)

    def level(self, seeds: Any) -> Any:
        """Level at the disc with so many seeds in the pool. [m]"""
        return seeds / self.seeds_per_level

    @cached_property
    def flow(self) -> float:
        """Seeds a second that the open gate can pass. [1/s]"""
        mass_flow = pool.slot_flow(
            self.opening,
            self.width,
            self.lot.bulk_density,
            GRAVITY,
            self.lot.gmd,
            self.coefficients.orifice_dead_zone,
            self.coefficients.side_outlet,
        )
        return float(mass_flow / self.lot.seed_mass)

    @cached_property
    def arch_rate(self) -> float:
        """Arches a second while seed flows. [1/s]"""
        k = self.coefficients
        rate = pool.arch_rate(
            min(self.opening, self.width),
            self.lot.gmd,
            k.orifice_dead_zone,
            k.arch_rate,
            k.arch_steepness,
        )
        return float(rate)

    @cached_property
    def clearing_rate(self) -> float:
        """Arches cleared a second. [1/s]"""
        k = self.coefficients
        return k.arch_clearing + k.arch_clearing_by_shock * self.shock
