"""The stations of a meter as values: the equations bound to one machine and one lot.

A station is a frozen dataclass; replace it by another with the same methods to try an own tube
or gate.  Methods take numbers or arrays, like the equations they bind.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from metersim.coefficients import USUAL, Coefficients
from metersim.physics import (
    drive,
    furrow,
    pickup,
    pool,
    release,
    rowunit,
    sensor,
    singulator,
    tube,
)
from metersim.scenario import Scenario
from metersim.seedlot import SeedLot
from metersim.units import STANDARD_GRAVITY as GRAVITY

# Where a cell passes what, in rad of disc rotation after it enters the pool; assumption: the
# pool lies at the bottom, the singulator follows its exit, the cut-off is on the falling side.
POOL_EXIT = math.radians(120)
SINGULATOR = math.radians(160)
CUT_OFF = math.radians(330)
PASSES = (0.0, POOL_EXIT, SINGULATOR, CUT_OFF)


@dataclass(frozen=True, kw_only=True)
class DriveStation:
    """Turns the disc."""

    angular_speed: float
    ramp: float
    ripple: float
    ripples_per_turn: int

    def time_at(self, angle: Any) -> Any:
        """Time at which the disc has turned through `angle` [rad]. [s]"""
        return drive.time_at(
            angle, self.angular_speed, self.ramp, self.ripple, self.ripples_per_turn
        )


@dataclass(frozen=True, kw_only=True)
class GateStation:
    """Lets seed from the hopper into the pool."""

    opening: float
    width: float
    depth: float
    carry_line: float
    circle_radius: float
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
            self.opening, self.lot.gmd, k.orifice_dead_zone, k.arch_rate, k.arch_steepness
        )
        return float(rate)

    @cached_property
    def clearing_rate(self) -> float:
        """Arches cleared a second. [1/s]"""
        k = self.coefficients
        return k.arch_clearing + k.arch_clearing_by_shock * self.shock


class Chances(NamedTuple):
    """What a cell that enters the pool now has to expect."""

    vacuum: float  # Pa
    meetings: float  # mean number of seeds met
    needed: float  # vacuum that the mean seed needs in the pool, Pa
    margin: float  # ln(vacuum/needed)
    exposure: float  # time of a meeting over time to join
    hold: float  # chance that a seed would hold
    join: float  # chance that a holding seed joins in one meeting
    carry_load: float  # load outside the pool over load in it
    turn_load: float  # share of u^2/(gR) in the load outside the pool
    knocks: float  # knocks by a heap above the carry line, for a seed held by a hair


@dataclass(frozen=True, kw_only=True)
class PickupStation:
    """Takes seeds from the pool."""

    hole_diameter: float
    circle_radius: float
    pitch: float
    agitation: float
    carry_line: float
    shock: float
    lot: SeedLot
    coefficients: Coefficients

    @cached_property
    def resistance(self) -> float:
        """Resistance of the pool on a seed over its weight. [1]"""
        return self.coefficients.resistance * math.tan(self.lot.repose_angle)

    @cached_property
    def slowness(self) -> float:
        """Time to join over that of a free pull across one seed, on this disc. [1]"""
        k = self.coefficients
        return float(pickup.join_slowness(k.join_slowness, self.agitation, k.agitation_gain))

    @cached_property
    def room(self) -> float:
        """Share of the meetings that neighbouring cells leave. [1]"""
        k = self.coefficients
        return float(
            pickup.crowding(self.pitch, self.lot.length, k.crowding_pitch, k.crowding_power)
        )

    @cached_property
    def spread(self) -> float:
        """SD of ln(vacuum needed) over all seeds. [1]"""
        return float(
            pickup.needed_spread(self.lot.size_cv, self.coefficients.hold_spread, self.shock)
        )

    @cached_property
    def seat_spread(self) -> float:
        """SD of ln(vacuum needed) of seeds of one size. [1]"""
        return float(pickup.needed_spread(0.0, self.coefficients.hold_spread, self.shock))

    @cached_property
    def seat_scale(self) -> float:
        """Scale of the distance of a seat from the hole's centre. [m]"""
        return self.coefficients.eccentricity * self.hole_diameter / 2

    def centrifugal(self, speed: Any) -> Any:
        """``u^2/(g R)`` at a peripheral speed [m/s]. [1]"""
        return speed**2 / (GRAVITY * self.circle_radius)

    def needed(self, speed: Any, resistance: Any) -> Any:
        """Vacuum that the mean seed needs at a peripheral speed [m/s]. [Pa]"""
        return pickup.needed_vacuum(
            self.lot.seed_mass,
            pickup.centroid_height(self.lot.width, self.lot.thickness),
            self.hole_diameter,
            resistance,
            1.0,
            self.centrifugal(speed),
            GRAVITY,
        )

    def chances(self, level: Any, vacuum: Any, speed: Any) -> Chances:
        """Chances of a cell at a pool level [m], vacuum [Pa] and peripheral speed [m/s]."""
        k = self.coefficients
        arc = pool.swept_arc(level, self.circle_radius)
        needed = self.needed(speed, self.resistance)
        margin = pickup.log_margin(vacuum, needed)
        exposure = pickup.exposure(
            vacuum,
            self.hole_diameter,
            self.lot.seed_mass,
            self.lot.gmd,
            speed,
            k.slip,
            self.slowness,
        )
        excess = pool.excess_arc(level, self.carry_line, self.circle_radius)
        turn_load = self.centrifugal(speed)
        return Chances(
            vacuum=vacuum,
            meetings=pickup.meetings(arc, k.slip, self.lot.gmd) * self.room,
            needed=needed,
            margin=margin,
            exposure=exposure,
            hold=pickup.hold_chance(margin, self.spread),
            join=pickup.join_chance(exposure),
            carry_load=(1 + turn_load) / (1 + self.resistance + turn_load),
            turn_load=turn_load,
            knocks=pool.knock_chance_scale(excess, self.lot.gmd, k.knock),
        )

    def first_needed(self, chances: Chances, rank: Any) -> tuple[Any, Any]:
        """Vacuum that a first seed of this rank needs [Pa], and its deviate. [1]"""
        deviate = pickup.truncated_normal(rank, chances.hold)
        return chances.needed * np.exp(self.spread * deviate), deviate

    def first_size(self, deviate: Any, draw: Any) -> Any:
        """Linear size over the mean of a seed whose vacuum deviates so. [1]"""
        told = 4 * self.lot.size_cv / self.spread
        return np.exp(self.lot.size_cv * (told * deviate + math.sqrt(1 - told**2) * draw))

    def size(self, draw: Any) -> Any:
        """Linear size over the mean of a seed of which nothing is known. [1]"""
        return np.exp(self.lot.size_cv * draw)

    def outline(self, direction: Any) -> Any:
        """Radius of the mean seed's outline in a direction to the track. [m]"""
        return pickup.outline_radius(self.lot.length, self.lot.width, direction)

    def gap_share(self, radius: Any, distance: Any) -> Any:
        """Share of the hole that a seed of this radius covers from this distance. [1]"""
        return pickup.circles_overlap(self.hole_diameter / 2, radius, distance)

    def later_hold(self, chances: Chances, share: Any, size: Any) -> Any:
        """Chance that a seed of this size holds on a share of the hole. [1]"""
        margin = chances.margin + np.log(share) - 4 * np.log(size)
        return pickup.hold_chance(margin, self.seat_spread)

    def later_needed(self, chances: Chances, size: Any, rank: Any, hold: Any) -> Any:
        """Vacuum that a later seed needs on the whole hole. [Pa]"""
        deviate = pickup.truncated_normal(rank, hold)
        return chances.needed * size**4 * np.exp(self.seat_spread * deviate)

    def join(self, exposure: Any) -> Any:
        """Chance to join in one meeting. [1]"""
        return pickup.join_chance(exposure)


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

    def deviate(self, reach: Any, off_centre: Any, vacuum_ratio: Any) -> Any:
        """Deviate below which a tooth's draw makes the seed leave. [1]"""
        push = reach + off_centre - self.offset
        unseating = singulator.unseating_push(self.hole_diameter, vacuum_ratio)
        return singulator.unseating_deviate(push, unseating, self.coefficients.push_spread)


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

    def downward(self, draw: Any) -> Any:
        """Share of the peripheral speed that points down the tube. [1]"""
        return np.cos(self.launch_sd * draw)


@dataclass(frozen=True, kw_only=True)
class TubeStation:
    """Guides seeds to the furrow."""

    length: float
    curvature: float
    wear: float
    terminal_velocity: float
    narrowing: float
    coefficients: Coefficients

    @cached_property
    def rough(self) -> float:
        """Contacts over those of the reference stand. [1]"""
        return float(tube.roughness(self.curvature, self.wear))

    def contacts(self, speed: Any) -> Any:
        """Mean number of wall contacts at a peripheral speed [m/s]. [1]"""
        k = self.coefficients
        sideways = k.contact_by_speed * self.narrowing
        return tube.contact_mean(speed, self.rough, k.contact_base, sideways)

    def loss(self, rank: Any) -> Any:
        """Share of speed lost at a contact. [1]"""
        return tube.contact_loss(rank, self.rough, self.coefficients.contact_loss)

    def steady_speed(self, size: Any) -> Any:
        """Terminal velocity of a seed of this relative size. [m/s]"""
        return self.terminal_velocity * np.sqrt(size)

    def fall(self, height: Any, speed: Any, steady: Any) -> tuple[Any, Any]:
        """Time to fall through a height [s], and speed there [m/s]."""
        end = tube.fall_speed(height, speed, steady, GRAVITY)
        return tube.fall_time(speed, end, steady, GRAVITY), end


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
        return furrow.hop_time(self.hop * draw, impact_speed, GRAVITY)

    def hop_length(self, time: Any, impact_speed: Any) -> Any:
        """Distance hopped along the row. [m]"""
        rearward = furrow.rearward_speed(impact_speed, self.curvature)
        return furrow.hop_length(time, self.ground_speed, rearward)


@dataclass(frozen=True, kw_only=True)
class RowUnitStation:
    """Shakes the meter in the field."""

    acceleration_sd: float

    @property
    def still(self) -> bool:
        """Whether nothing shakes."""
        return self.acceleration_sd == 0

    def shaking(self, time: Any, before: Any, after: Any, sine_before: Any, sine_after: Any) -> Any:
        """Vertical speed of the row unit, downward positive. [m/s]"""
        return rowunit.vertical_speed(self.acceleration_sd) * rowunit.shaking(
            time, before, after, sine_before, sine_after
        )

    def peak_load(self, envelope: Any) -> Any:
        """Added load at an envelope of the shaking, over gravity. [1]"""
        return self.acceleration_sd * envelope / GRAVITY


@dataclass(frozen=True, kw_only=True)
class Stations:
    """All stations of a meter, from the drive to the furrow."""

    drive: DriveStation
    gate: GateStation
    pickup: PickupStation
    singulator: SingulatorStation
    release: ReleaseStation
    tube: TubeStation
    sensor: SensorStation
    furrow: FurrowStation
    row_unit: RowUnitStation

    @property
    def replaced(self) -> dict[str, str]:
        """Stations that are not the usual ones: name and class."""
        usual = usual_stations()
        return {
            name: type(getattr(self, name)).__qualname__
            for name, kind in usual.items()
            if type(getattr(self, name)) is not kind
        }


def usual_stations() -> dict[str, type]:
    """The usual class of every station, by name."""
    return {
        "drive": DriveStation,
        "gate": GateStation,
        "pickup": PickupStation,
        "singulator": SingulatorStation,
        "release": ReleaseStation,
        "tube": TubeStation,
        "sensor": SensorStation,
        "furrow": FurrowStation,
        "row_unit": RowUnitStation,
    }


def stations_of(scenario: Scenario, coefficients: Coefficients = USUAL) -> Stations:
    """The usual stations of a scenario.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    coefficients : Coefficients
        The model's coefficients.

    Returns
    -------
    Stations
        One of each; change some with `dataclasses.replace`.
    """
    lot, k = scenario.seeds, coefficients
    disc, in_field = scenario.disc, scenario.in_field
    shaking = float(
        rowunit.shock_sd(scenario.demand.speed, scenario.row_unit.shock_per_speed) * in_field
    )
    narrowing = k.guide_narrowing if scenario.guide.inner_guide else 1.0
    firm = k.firmer_factor if scenario.furrow.firmer else 1.0
    return Stations(
        drive=DriveStation(
            angular_speed=scenario.angular_speed,
            ramp=scenario.drive.start_ramp,
            ripple=scenario.drive.ripple,
            ripples_per_turn=scenario.drive.ripples_per_turn,
        ),
        gate=GateStation(
            opening=scenario.pool.gate_opening,
            width=scenario.pool.gate_width,
            depth=scenario.pool.pool_depth,
            carry_line=scenario.pool.carry_line,
            circle_radius=disc.circle_radius,
            shock=shaking / GRAVITY,
            lot=lot,
            coefficients=k,
        ),
        pickup=PickupStation(
            hole_diameter=disc.hole_diameter,
            circle_radius=disc.circle_radius,
            pitch=scenario.pitch,
            agitation=disc.agitation,
            carry_line=scenario.pool.carry_line,
            shock=shaking / GRAVITY,
            lot=lot,
            coefficients=k,
        ),
        singulator=SingulatorStation(
            gap=scenario.singulator.gap,
            notch_step=scenario.singulator.notch_step,
            notch=scenario.singulator.notch,
            hole_diameter=disc.hole_diameter,
            inner_guide=scenario.guide.inner_guide,
            lot=lot,
            coefficients=k,
        ),
        release=ReleaseStation(
            hole_diameter=disc.hole_diameter,
            circle_radius=disc.circle_radius,
            decay_arc=scenario.cutoff.decay_arc,
            launch_sd=k.launch_spread * narrowing,
            lot=lot,
            coefficients=k,
        ),
        tube=TubeStation(
            length=scenario.tube.tube_length,
            curvature=scenario.tube.tube_curvature,
            wear=scenario.tube.tube_wear,
            terminal_velocity=lot.terminal_velocity,
            narrowing=narrowing,
            coefficients=k,
        ),
        sensor=SensorStation(
            height=scenario.sensor.sensor_height,
            beam_height=scenario.sensor.beam_height,
            detection=scenario.sensor.detection,
            seed_length=lot.length,
        ),
        furrow=FurrowStation(
            in_field=in_field,
            ground_speed=scenario.demand.speed,
            scatter=scenario.furrow.soil_scatter * firm * in_field,
            hop=k.hop * firm * in_field,
            curvature=scenario.tube.tube_curvature,
        ),
        row_unit=RowUnitStation(acceleration_sd=shaking),
    )


assert set(usual_stations()) == {field.name for field in fields(Stations)}
