"""Pick-up: what a cell has to expect in the pool, and what joins it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from metersim.coefficients import Coefficients
from metersim.physics import outlines, pickup, pool
from metersim.records import LOW_POOL, NOT_HELD, NOT_JOINED, POOL_EMPTY
from metersim.seedlot import SeedLot
from metersim.units import STANDARD_GRAVITY as GRAVITY


class Chances(NamedTuple):
    """What a cell that enters the pool now has to expect."""

    vacuum: Any  # Pa
    meetings: Any  # mean number of seeds met
    most_meetings: Any  # the same in a pool that stands at the carry line
    needed: Any  # vacuum that the mean seed needs in the pool, Pa
    margin: Any  # ln(vacuum/needed)
    exposure: Any  # time of a meeting over time to join
    limit: Any  # deviate of the vacuum needed, among all seeds, above which a seed does not hold
    hold: Any  # chance that a seed would hold
    join: Any  # chance that a holding seed joins in one meeting
    rate: Any  # mean number of seeds that would hold and join
    carry_load: Any  # load outside the pool over load in it
    turn_load: Any  # share of u^2/(gR) in the load outside the pool
    knocks: Any  # knocks by a heap above the carry line, for a seed held by a hair


FEW_HOLD = 0.5  # below this chance to hold, an empty cell is laid to the vacuum
MOST_COVERED = 0.95  # of the free part of a hole, by one more seed; the rest stays with the others


class Room(NamedTuple):
    """What a hole offers one more seed."""

    part: Any  # of the hole that the seed would cover, 1
    needed: Any  # vacuum that a seed of its size needs in the pool in an even seat, Pa
    hold: Any  # chance that it would hold
    rate: Any  # mean number of such seeds that would hold and join


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
    def rest_spread(self) -> float:
        """Part of `spread` that stays with a seed when the shocks have passed. [1]

        What a seed's deviate tells of itself, by regression on the sum of itself and the shocks.
        """
        at_rest = pickup.needed_spread(self.lot.size_cv, self.coefficients.hold_spread, 0.0)
        return float(at_rest * at_rest / self.spread)

    @cached_property
    def seat_spread(self) -> float:
        """SD of ln(vacuum needed) of seeds of one size. [1]"""
        return float(pickup.needed_spread(0.0, self.coefficients.hold_spread, 0.0))

    def centrifugal(self, speed: Any) -> Any:
        """``u^2/(g R)`` at a peripheral speed [m/s]. [1]"""
        return speed * speed / (GRAVITY * self.circle_radius)

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

    def arc(self, level: Any) -> Any:
        """Arc of the hole circle in the pool, at a level [m], no wider than the pool. [m]"""
        swept = pool.swept_arc(level, self.circle_radius)
        return np.minimum(swept, pool.arc_within(self.pool_width, self.circle_radius))

    def chances(self, level: Any, vacuum: Any, speed: Any) -> Chances:
        """Chances of a cell at a pool level [m], vacuum [Pa] and peripheral speed [m/s]."""
        k = self.coefficients
        arc, full_arc = self.arc(level), self.arc(self.carry_line)
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
        meetings = pickup.meetings(arc, k.slip, self.lot.gmd) * self.room
        limit, join = margin / self.spread, pickup.join_chance(exposure)
        hold = pickup.hold_chance(margin, self.spread)
        return Chances(
            vacuum=vacuum,
            meetings=meetings,
            most_meetings=pickup.meetings(full_arc, k.slip, self.lot.gmd) * self.room,
            needed=needed,
            margin=margin,
            exposure=exposure,
            limit=limit,
            hold=hold,
            join=join,
            rate=meetings * hold * join,
            carry_load=(1 + turn_load) / (1 + self.resistance + turn_load),
            turn_load=turn_load,
            knocks=pool.knock_chance_scale(excess, self.lot.gmd, k.knock),
        )

    @cached_property
    def seat_scale(self) -> float:
        """SD of the offset of a first seed's seat, along and across the track. [m]"""
        return self.coefficients.eccentricity * self.hole_diameter / 2

    def size(self, draw: Any) -> Any:
        """Linear size over the mean of a seed of which nothing is known but a draw. [1]"""
        return np.exp(self.lot.size_cv * draw)

    def relative_need(self, deviate: Any) -> Any:
        """Vacuum that a first seed needs over that of the mean seed. [1]

        The seed is one of those that hold; its deviate is that of all seeds, cut at the limit.
        """
        return np.exp(self.rest_spread * deviate)

    @cached_property
    def told(self) -> float:
        """Correlation of size with the deviate of the vacuum needed. [1]"""
        return 4 * self.lot.size_cv / self.spread

    def first_size(self, deviate: Any, draw: Any) -> Any:
        """Linear size over the mean of a first seed, of which the deviate tells a part. [1]"""
        return self.size(self.told * deviate + math.sqrt(1 - self.told * self.told) * draw)

    def why_empty(self, chances: Chances, meeting: Any) -> Any:
        """Index into `metersim.records.REASONS` for a cell that no seed joined."""
        in_full_pool = meeting < chances.most_meetings * chances.hold * chances.join
        would_join = meeting < chances.meetings * chances.join
        reason = np.where(in_full_pool, LOW_POOL, NOT_JOINED)
        reason = np.where(would_join | (chances.hold < FEW_HOLD), NOT_HELD, reason)
        return np.where(chances.meetings > 0, reason, POOL_EMPTY)

    def outline(self, along: Any, across: Any) -> Any:
        """Radius of the mean seed's outline in a direction, by its parts. [m]"""
        return outlines.outline_radius(self.lot.length, self.lot.width, along, across)

    def uncovers(self, size: Any, outline: Any, gap: Any) -> Any:
        """Whether a first seed of this size leaves a part of the hole open towards a gap [m]."""
        return outline * size - gap < self.hole_diameter / 2

    def room_for(
        self, chances: Chances, first: Any, outline: Any, gap: Any, other: Any, free: Any
    ) -> Room:
        """What a hole offers one more seed.

        The seed lies against the first and covers a lens of the hole; it must hold on that part,
        and joins it the more slowly.

        Parameters
        ----------
        chances : Chances
            Of the cell.
        first, other : float or ndarray
            Sizes of the first seed and of this one. [1]
        outline : float or ndarray
            `outline` in the direction from the one to the other. [m]
        gap : float or ndarray
            Offset of the first seed's seat away from this one. [m]
        free : float or ndarray
            Part of the hole that later seeds have not covered yet. [1]
        """
        distance = outline * (first + other) - gap
        lens = outlines.circles_overlap(self.hole_diameter / 2, outline * other, distance)
        part = free * np.minimum(lens, MOST_COVERED)
        other4 = np.square(np.square(other))
        margin = chances.margin + pickup.log_margin(part, other4)
        hold = pickup.hold_chance(margin, self.seat_spread)
        join = pickup.join_chance(chances.exposure * np.sqrt(part))
        return Room(part, chances.needed * other4, hold, chances.meetings * hold * join)

    def later_needed(self, room: Room, rank: Any) -> Any:
        """Vacuum that a later seed needs on the whole hole in the pool. [Pa]"""
        deviate = pickup.truncated_normal(rank, room.hold)
        return room.needed * np.exp(self.seat_spread * deviate)

    def strength(self, chances: Chances, needed: Any, pull: Any) -> Any:
        """Vacuum that a carried seed needs over its part of the vacuum, the pull [Pa]. [1]"""
        return needed * chances.carry_load / pull

    def spare_load(self, chances: Chances, strength: Any) -> Any:
        """Load over gravity that a carried seed bears beside its own; below 0 it falls. [1]"""
        return (1 / strength - 1) * (1 + chances.turn_load)
