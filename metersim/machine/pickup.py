"""Pick-up: which seeds join a hole, stay on it and leave the pool with it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import Coefficients
from metersim.machine.gate import (
    arc_within,
    crowding,
    excess_arc,
    knock_chance_scale,
    swept_arc,
    zone_crossed,
)
from metersim.machine.heap import exit_level
from metersim.machine.holding import (
    centroid_height,
    flat_chance,
    hold_chance,
    log_margin,
    needed_spread,
    needed_vacuum,
    outline_radius,
    pool_spread,
    resistance_at,
    truncated_normal,
    vacuum_of_hole,
)
from metersim.machine.holes import Holes
from metersim.machine.joining import (
    bed_share,
    draw_rate,
    draw_slowness,
    empty_chance,
    later_at_width,
    later_mean,
    loss_rate,
    part_covered,
)
from metersim.machine.losses import DROPPED, LOW_POOL, NOT_HELD, NOT_JOINED, POOL_EMPTY
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot
from metersim.machine.turning import GapStation
from metersim.machine.wear import rim_share, seal_of_side, stirring, vacuum_left


class Chances(NamedTuple):
    """Numbers that decide which seeds join a cell and stay on it.

    They follow from the vacuum, the speed and the level at which the cell enters the pool.
    """

    vacuum: Any  # vacuum at the hole, Pa
    zone: Any  # part of the exit zone that the cell crosses, seed diameters
    needed: Any  # vacuum that the mean seed needs in the pool when it lies flat, Pa
    margin: Any  # ln(vacuum/needed)
    gain: Any  # seeds that a free hole gains while it passes one seed diameter
    loss: Any  # seeds that a filled hole loses while it passes one seed diameter
    hold_flat: Any  # chance that a seed that is drawn lies flat and holds
    hold: Any  # chance that a seed that is drawn holds
    rate: Any  # -ln(chance that no seed stays until the surface)
    full_rate: Any  # `rate` in a pool that is filled to the carry line
    all_hold: Any  # `rate` if every seed that is drawn holds
    later: Any  # mean number of further seeds on a hole as wide as its first seed
    carry_load: Any  # load on a seed outside the pool over its load in the pool
    turn_load: Any  # centrifugal load over weight: u^2/(gR)
    knocks: Any  # mean number of knocks by a heap above the carry line, for a seed that just holds


LEAST_HOLD = 1e-200  # a seed that covers next to nothing of a hole has a deviate too
FEW_HOLD = 0.5  # below this chance to hold, the vacuum is the reason for an empty cell


class Room(NamedTuple):
    """Room that a hole leaves for one more seed of a given size."""

    part: Any  # part of the hole that the seed covers, 1
    needed: Any  # vacuum that a seed of its size needs in the pool in a median seat, Pa
    hold: Any  # chance that it would hold


@dataclass(frozen=True, kw_only=True)
class PickupStation:
    """Takes seeds from the pool."""

    hole_diameter: float
    circle_radius: float
    pitch: float
    agitation: float
    carry_line: float
    pool_width: float
    shock: float
    holes: Holes
    wrong_way_round: bool
    seal_wear: float  # 0 where a fan is described
    chamber_open: bool  # false where a fan is described
    lot: SeedLot
    coefficients: Coefficients
    gap: GapStation | None = None  # leaks past the seal more on one side of the disc
    uphill: float = 0.0  # slope along the row

    @cached_property
    def resistance(self) -> float:
        """Resistance of a pool filled to the carry line on a seed, over its weight. [1]"""
        return self.coefficients.resistance * math.tan(self.lot.repose_angle)

    @cached_property
    def slowness(self) -> float:
        """Time to draw a seed over that of a free fall through its size, on this disc. [1]"""
        k = self.coefficients
        stirs = stirring(self.agitation, self.wrong_way_round)
        return float(draw_slowness(k.draw_slowness, stirs, k.agitation_gain))

    @cached_property
    def seal(self) -> float:
        """Part of the chamber's vacuum that pulls on a seated seed. [1]"""
        k = self.coefficients
        return float(seal_of_side(k.seal, self.wrong_way_round, k.wrong_side_seal))

    @cached_property
    def rims(self) -> Any:
        """Part of the vacuum that works at each hole of the disc. [1]"""
        k, holes = self.coefficients, self.holes
        worn, chipped = np.zeros((2, holes.cells))
        worn[list(holes.worn)] = chipped[list(holes.chipped)] = 1.0
        return rim_share(worn, chipped, k.worn_rim, k.chipped_rim)

    @cached_property
    def room(self) -> float:
        """Share of the drawn seeds that neighbouring cells leave. [1]"""
        k = self.coefficients
        return float(crowding(self.pitch, self.lot.length, k.crowding_pitch, k.crowding_power))

    @cached_property
    def load_spread(self) -> float:
        """SD of ln(load) in the exit zone, from the pool and from shocks. [1]"""
        from_pool = pool_spread(self.resistance, self.coefficients.resistance_cv)
        return math.hypot(float(from_pool), self.shock)

    @cached_property
    def spread(self) -> float:
        """SD of ln(vacuum needed) over all seeds of one pose. [1]"""
        return float(
            needed_spread(self.lot.size_cv, self.coefficients.hold_spread, self.load_spread)
        )

    @cached_property
    def later_spread(self) -> float:
        """SD of ln(vacuum needed) of seeds of one size and pose. [1]"""
        return float(needed_spread(0.0, self.coefficients.hold_spread, self.load_spread))

    @cached_property
    def flat(self) -> float:
        """Chance that a seed meets the hole with its broad face. [1]"""
        return float(flat_chance(self.lot.width, self.lot.thickness))

    @cached_property
    def on_edge(self) -> float:
        """Vacuum needed by a seed on edge over that of the same seed lying flat. [1]"""
        return self.lot.width / self.lot.thickness

    @cached_property
    def vacuum_share(self) -> float:
        """Part of the stated vacuum that works at holes with sound rims. [1]"""
        k = self.coefficients
        return float(vacuum_left(self.seal_wear, self.chamber_open, k.worn_seal, k.open_chamber))

    def at_hole(self, vacuum: Any, deviate: Any, turn: Any, hole: Any) -> Any:
        """Vacuum that works at a hole, by its draw, its position in turns and its number. [Pa]"""
        k, rim = self.coefficients, self.rims[hole]
        vacuum = vacuum * self.vacuum_share
        if self.gap is not None:
            vacuum = vacuum * self.gap.around(vacuum, turn)
        return vacuum_of_hole(vacuum, deviate, turn, rim, k.hole_spread, k.run_out)

    def centrifugal(self, speed: Any) -> Any:
        """``u^2/(g R)`` at a peripheral speed [m/s]. [1]"""
        return speed * speed / (GRAVITY * self.circle_radius)

    def needed(self, speed: Any, resistance: Any) -> Any:
        """Vacuum that the mean seed needs at a peripheral speed [m/s] when it lies flat. [Pa]"""
        return needed_vacuum(
            self.lot.seed_mass,
            centroid_height(self.lot.thickness),
            self.hole_diameter,
            resistance,
            1.0,
            self.centrifugal(speed),
            self.seal,
            GRAVITY,
        )

    def resistance_at(self, level: Any) -> Any:
        """Resistance of the pool on a seed over its weight, at a level [m]. [1]"""
        power = self.coefficients.depth_power
        return resistance_at(self.resistance, level, self.carry_line, power)

    def leaving(self, level: Any) -> Any:
        """Level where cells leave the pool, by that in its middle [m]. [m]"""
        follow = self.coefficients.tilt_follow
        return exit_level(level, self.uphill, self.pool_width, self.circle_radius, follow)

    def arc(self, level: Any) -> Any:
        """Arc of the hole circle in the pool, at a level [m], no wider than the pool. [m]"""
        swept = swept_arc(level, self.circle_radius)
        return np.minimum(swept, arc_within(self.pool_width, self.circle_radius))

    def zone_at(self, level: Any) -> Any:
        """Part of the exit zone that a cell crosses at a level of the pool [m]. [1]"""
        return zone_crossed(self.arc(level), self.lot.gmd, self.coefficients.exit_zone)

    def draws(self, margin: Any, speed: Any) -> Any:
        """Seeds that a free hole draws from a full pool in one seed diameter of travel. [1]"""
        power = self.coefficients.draw_power
        drawn = draw_rate(margin, self.lot.gmd, speed, self.slowness, power, GRAVITY)
        return drawn * self.room

    def chances(self, vacuum: Any, at: Moment) -> Chances:
        """Chances of a cell that enters the pool at a moment, at a vacuum of its hole [Pa].

        The level and the speed are those of the last tick.
        """
        level, speed, k = at.level, at.speed, self.coefficients
        leaving = self.leaving(level)
        resistance = self.resistance_at(leaving)
        needed = self.needed(speed, resistance)
        margin = log_margin(vacuum, needed)
        hold_flat = self.flat * hold_chance(margin, self.spread)
        on_edge = hold_chance(margin - math.log(self.on_edge), self.spread)
        hold = hold_flat + (1 - self.flat) * on_edge
        bed = bed_share(leaving, self.carry_line, k.thin_bed)
        drawn = self.draws(margin, speed)
        gain = drawn * bed * hold
        loss = loss_rate(margin, k.loosening, k.loss_power)
        zone, full_zone = self.zone_at(level), self.zone_at(self.carry_line)
        excess = excess_arc(leaving, self.carry_line, self.pool_width, self.circle_radius)
        turn_load = self.centrifugal(speed)
        return Chances(
            vacuum=vacuum,
            zone=zone,
            needed=needed,
            margin=margin,
            gain=gain,
            loss=loss,
            hold_flat=hold_flat,
            hold=hold,
            rate=-np.log(empty_chance(gain, loss, zone)),
            full_rate=-np.log(empty_chance(drawn * hold, loss, full_zone)),
            all_hold=-np.log(empty_chance(drawn * bed, loss, zone)),
            later=later_mean(
                margin, self.lot.sphericity, k.seconds, k.seconds_power, k.seconds_knee
            ),
            carry_load=(1 + turn_load) / (1 + resistance + turn_load),
            turn_load=turn_load,
            knocks=knock_chance_scale(excess, self.lot.gmd, k.knock),
        )

    @cached_property
    def seat_scale(self) -> float:
        """SD of the offset of a lone seed's seat, along and across the track. [m]"""
        return self.coefficients.eccentricity * self.hole_diameter / 2

    def size(self, draw: Any) -> Any:
        """Linear size over the mean, from a standard normal draw. [1]"""
        return np.exp(self.lot.size_cv * draw)

    def shape(self, draw: Any) -> Any:
        """Root of length over width, over that of the mean seed, from a normal draw. [1]"""
        return np.exp(self.lot.shape_cv / 2 * draw)

    def lies_flat(self, chances: Chances, rank: Any) -> Any:
        """Whether a seed that holds lies flat, from a uniform draw."""
        return rank * chances.hold < chances.hold_flat

    def width(self, shape: Any) -> Any:
        """Width of a seed of mean size. [m]"""
        return self.lot.width / shape

    def narrow_side(self, flat: Any, shape: Any) -> Any:
        """Narrow side on the disc of a seed of mean size: its width if flat, else thickness. [m]"""
        return np.where(flat, self.width(shape), self.lot.thickness)

    def long_side(self, shape: Any) -> Any:
        """Length of a seed of mean size. [m]"""
        return self.lot.length * shape

    def limit(self, chances: Chances, flat: Any) -> Any:
        """Deviate of the vacuum needed above which a seed in this pose does not hold. [1]"""
        return (chances.margin - np.where(flat, 0.0, math.log(self.on_edge))) / self.spread

    def first_deviate(self, chances: Chances, flat: Any, rank: Any) -> Any:
        """Deviate of the vacuum needed of a seed that is known to hold in this pose. [1]"""
        return truncated_normal(rank, hold_chance(self.limit(chances, flat), 1.0))

    @cached_property
    def _correlations(self) -> tuple[float, float]:
        """Correlations of size and of seat with the deviate of the vacuum needed. [1]"""
        return 4 * self.lot.size_cv / self.spread, self.coefficients.hold_spread / self.spread

    def first_size(self, deviate: Any, draw: Any) -> Any:
        """Linear size of a first seed over the mean, given the deviate of its vacuum needed. [1]"""
        size, _ = self._correlations
        return self.size(size * deviate + math.sqrt(1 - size * size) * draw)

    @cached_property
    def _weights_of_need(self) -> tuple[float, float, float]:
        """Weights of a first seed's deviate and draws in ln(vacuum needed) out of the pool. [1]

        Out of the pool, ``ln H = 4 cv S + sigma T``, with size S and seat T standard normal.  In
        the pool, the load has a part in the deviate Z as well.  Given Z, S and T are normal.
        Their means are Z times their correlations s and t with Z.  Their variances are 1 - s^2
        and 1 - t^2, and their covariance is -s t.
        """
        size, seat = self._correlations
        free = math.sqrt(1 - size * size)
        by_size = 4 * self.lot.size_cv
        by_seat = self.coefficients.hold_spread
        rest = max(1 - size * size - seat * seat, 0.0)
        return (
            by_size * size + by_seat * seat,
            by_size * free - by_seat * seat * size / free,
            by_seat * math.sqrt(rest) / free,
        )

    def relative_need(self, deviate: Any, size_draw: Any, seat_draw: Any) -> Any:
        """Vacuum that a first seed needs out of the pool, over that of the mean seed. [1]

        The seed holds: `deviate` is a deviate among all seeds that lies below `limit`.
        """
        by_deviate, by_size, by_seat = self._weights_of_need
        return np.exp(by_deviate * deviate + by_size * size_draw + by_seat * seat_draw)

    def pose_need(self, flat: Any) -> Any:
        """Vacuum needed in a pose over that of the same seed lying flat. [1]"""
        return np.where(flat, 1.0, self.on_edge)

    def why_empty(self, chances: Chances, meeting: Any) -> Any:
        """Code of the reason why no seed stayed; see `metersim.machine.losses.REASONS`."""
        joined = meeting < chances.zone * chances.gain
        reason = np.where(joined, DROPPED, NOT_JOINED)
        reason = np.where(meeting < chances.full_rate, LOW_POOL, reason)
        if_all_held = (meeting < chances.all_hold) | (chances.hold < FEW_HOLD)
        reason = np.where(if_all_held, NOT_HELD, reason)
        return np.where(chances.zone > 0, reason, POOL_EMPTY)

    def outline(self, along: Any, across: Any) -> Any:
        """Radius of the mean seed's outline in a direction: its parts along and across. [m]

        The seed lies flat.
        """
        return outline_radius(self.lot.length, self.lot.width, along, across)

    def later(self, chances: Chances, width: Any) -> Any:
        """Mean number of further seeds on a hole, by the first seed's width [m]. [1]"""
        return later_at_width(
            chances.later, self.hole_diameter, width, self.coefficients.hole_power
        )

    def covers(self, rank: Any, free: Any) -> Any:
        """Part of the hole that one more seed covers, by a uniform draw and what is free. [1]"""
        return part_covered(rank, free, self.coefficients.most_covered)

    def room_for(self, chances: Chances, other: Any, part: Any) -> Room:
        """Room that a hole leaves for one more seed, which lies flat beside the first one.

        Parameters
        ----------
        chances : Chances
            Chances of the cell.
        other : float or ndarray
            Size of the seed. [1]
        part : float or ndarray
            Part of the hole that it covers. [1]
        """
        other4 = np.square(np.square(other))
        hold = hold_chance(chances.margin + log_margin(part, other4), self.later_spread)
        return Room(part, chances.needed * other4, np.maximum(hold, LEAST_HOLD))

    def later_needed(self, room: Room, rank: Any, draw: Any) -> Any:
        """Vacuum that a later seed needs on the whole hole, at the pool's mean load. [Pa]"""
        seat = self.coefficients.hold_spread
        correlation = seat / self.later_spread
        deviate = truncated_normal(rank, room.hold)
        free = math.sqrt(1 - correlation * correlation)
        return room.needed * np.exp(seat * (correlation * deviate + free * draw))

    def strength(self, chances: Chances, needed: Any, pull: Any) -> Any:
        """Vacuum that a carried seed needs over the vacuum that pulls it, `pull` [Pa]. [1]"""
        return needed * chances.carry_load / pull

    def spare_load(self, chances: Chances, strength: Any) -> Any:
        """Added load over gravity that a carried seed can bear; below 0 it falls. [1]"""
        return (1 / strength - 1) * (1 + chances.turn_load)
