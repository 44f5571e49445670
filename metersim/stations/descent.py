"""From the hole to the furrow: release, tube, sensor and furrow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.coefficients import Coefficients
from metersim.physics import furrow, release, sensor, tube
from metersim.seedlot import SeedLot
from metersim.units import STANDARD_GRAVITY as GRAVITY


@dataclass(frozen=True, kw_only=True)
class ReleaseStation:
    """Cuts the vacuum."""

    hole_diameter: float
    circle_radius: float
    decay_arc: float
    launch_sd: float
    lot: SeedLot
    coefficients: Coefficients

    def travel(self, share: Any) -> Any:
        """Travel past the edge until a seed leaves that needs a share of the vacuum. [m]"""
        return release.closing_travel(share, self.hole_diameter) + release.decay_travel(
            share, self.decay_arc * self.circle_radius
        )

    def lag(self, size: Any) -> Any:
        """Travel by which a later seed of a cell leaves after the first. [m]"""
        return self.coefficients.double_lag * self.lot.width * size

    def sideways(self, draw: Any) -> Any:
        """Share of the peripheral speed that points along the row. [1]"""
        return self.launch_sd * draw

    def downward(self, draw: Any) -> Any:
        """Share of the peripheral speed that points down the tube. [1]"""
        return release.downward_share(self.sideways(draw))


@dataclass(frozen=True, kw_only=True)
class TubeStation:
    """Guides seeds to the furrow."""

    length: float
    curvature: float
    wear: float
    fitted: bool
    terminal_velocity: float
    narrowing: float
    coefficients: Coefficients

    @cached_property
    def rough(self) -> float:
        """Contacts over those of the reference stand; none without a tube. [1]"""
        k = self.coefficients
        rough = tube.roughness(
            self.curvature, self.wear, k.good_tube, k.curvature_contacts, k.wear_contacts
        )
        return float(rough) if self.fitted else 0.0

    def contacts(self, speed: Any) -> Any:
        """Mean number of wall contacts at a peripheral speed [m/s]. [1]"""
        k = self.coefficients
        sideways = k.contact_by_speed * self.narrowing
        return tube.contact_mean(
            speed, self.length, self.rough, k.contact_base, sideways, k.contact_knee
        )

    @cached_property
    def largest_loss(self) -> float:
        """Largest share of speed lost at a contact. [1]"""
        k = self.coefficients
        return float(tube.contact_loss(1.0, self.rough, k.contact_loss, k.hardest_contact))

    def loss(self, rank: Any) -> Any:
        """Share of speed lost at a contact. [1]"""
        return rank * self.largest_loss

    def strays(self, sideways_speed: Any, time: Any) -> Any:
        """Way along the row in a fall of a time [s]; a tube's walls allow none. [m]"""
        return 0.0 * time if self.fitted else release.sideways_way(sideways_speed, time)

    def steady_speed(self, size: Any) -> Any:
        """Terminal velocity of a seed of this relative size. [m/s]"""
        return self.terminal_velocity * np.sqrt(size)

    def later_by(self, launch_change: Any, time: Any, speed: Any) -> Any:
        """Change of a fall's time [s] by a small change of its launch speed. [m/s]"""
        return tube.later_by(launch_change, time, speed)

    def speed(self, height: Any, speed: Any, steady: Any) -> Any:
        """Speed of a seed that falls freely through a height [m], from a speed [m/s]. [m/s]"""
        return tube.fall_speed(height, speed, steady, GRAVITY)

    def slowing(self, before: Any, after: Any, steady: Any) -> Any:
        """Factor by which a contact between two speeds [m/s] slows a fall; see `time`. [1]"""
        return tube.contact_slowing(before, after, steady)

    def time(self, height: Any, launch: Any, speed: Any, steady: Any, slowing: Any) -> Any:
        """Time of a fall through a height [m], from its launch to a speed [m/s]. [s]

        `slowing` is the product of those of all contacts on the way.
        """
        return tube.fall_time(height, launch, speed, steady, GRAVITY, slowing)


@dataclass(frozen=True, kw_only=True)
class SensorStation:
    """Counts seeds in the tube."""

    height: float
    beam_height: float
    detection: float
    seed_length: float

    def pulse(self, size: Any, speed: Any) -> Any:
        """Time for which a seed darkens the beam. [s]"""
        return sensor.pulse_length(self.seed_length * size, self.beam_height, speed)


@dataclass(frozen=True, kw_only=True)
class FurrowStation:
    """Stops the seed, on a belt or in a furrow."""

    in_field: bool
    ground_speed: float
    scatter: float
    hop: float
    curvature: float

    def hop_time(self, draw: Any, impact_speed: Any) -> Any:
        """Time in the air after the impact; 0 on a belt. [s]"""
        downward = furrow.downward_speed(impact_speed, self.curvature)
        return furrow.hop_time(self.hop * draw, downward, GRAVITY)

    def hop_length(self, time: Any, impact_speed: Any) -> Any:
        """Distance hopped along the row. [m]"""
        rearward = furrow.rearward_speed(impact_speed, self.curvature)
        return furrow.hop_length(time, self.ground_speed, rearward)
