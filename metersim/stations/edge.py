"""The singulator."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from metersim.coefficients import Coefficients
from metersim.physics import singulator
from metersim.seedlot import SeedLot

TEETH = 3  # edges that a cell passes


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
        return float(singulator.edge_offset(self.gap, self.notch_step, self.notch))

    @cached_property
    def narrowing(self) -> float:
        """Eccentricity that the inner guide leaves. [1]"""
        return self.coefficients.guide_narrowing if self.inner_guide else 1.0

    def reach(self, pose_draw: Any) -> Any:
        """Half-extent across the track of the mean seed in a pose. [m]"""
        return singulator.reach_across(
            self.lot.length, self.lot.width, self.lot.pose_sd * pose_draw
        )

    def weakest(self, rank: Any) -> Any:
        """Deviate of the tooth that a lone seed withstands least: it meets all in one pose. [1]"""
        return singulator.weakest_deviate(rank, TEETH)

    def deviate(self, reach: Any, off_centre: Any, vacuum_ratio: Any) -> Any:
        """Deviate below which a tooth's draw makes the seed leave. [1]"""
        push = reach + off_centre - self.offset
        unseating = singulator.unseating_push(self.hole_diameter, vacuum_ratio)
        return singulator.unseating_deviate(push, unseating, self.coefficients.push_spread)
