"""Pick-up: how seeds are drawn to a hole, and the chances that a cell leaves with one.

Deep in the pool a hole gains and loses seeds all the time.  The seed that it carries away was
drawn onto it in the exit zone, the last few seed diameters before the pool's surface.  So the
chances count the seeds that a hole draws while it crosses that zone.  What lies below the zone does
not count.

A rival, the plain form, counts meetings along the whole arc in the pool.  It fits the published
rows less well (criterion 39.0 against 33.7), with one free coefficient more.  Particle runs, a
throw-away simulation of our own, not published, speak against it: with two thirds of the seeds
there were half the meetings, but as many empty cells.  The tests calibrate both forms.
"""

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
    layer_share,
    swept_arc,
    zone_crossed,
)
from metersim.machine.holding import (
    centroid_height,
    circles_overlap,
    hold_chance,
    log_margin,
    needed_spread,
    needed_vacuum,
    outline_radius,
    pool_spread,
    truncated_normal,
)
from metersim.machine.losses import LOW_POOL, NOT_HELD, NOT_JOINED, POOL_EMPTY
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot


def draw_rate(
    margin: Any, gmd: Any, peripheral_speed: Any, slowness: Any, draw_power: Any, gravity: Any
) -> Any:
    """Seeds that a free hole draws onto itself while it passes one seed diameter.

    A seed needs a time to reach the hole: the time of a free fall through its own size, times the
    slowness, and longer when the vacuum is weak.  The mean number is the time in which the hole
    passes one seed diameter, over the time that a seed needs.

    Parameters
    ----------
    margin : float or ndarray
        `log_margin` of the mean seed. [1]
    gmd : float or ndarray
        Geometric mean diameter of the seed. [m]
    peripheral_speed : float or ndarray
        Speed of the holes, above 0. [m/s]
    slowness : float
        `draw_slowness`. [1]
    draw_power : float
        Power of vacuum over vacuum needed: 1 for a seed that the bed holds back with friction,
        1/2 for a seed that flies. [1]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``draw_rate = exp(draw_power * margin) * sqrt(gravity * gmd) / (slowness * peripheral_speed)``

    assumption: the scaling follows particle runs: a throw-away simulation of our own, not
    published. The number of seeds drawn went there as speed over sqrt(gravity * gmd), with a power
    from -1 to -1.3. The negative logarithm of the share of empty cells went as vacuum over vacuum
    needed, with a power of 1.3; this number has the chance to hold in it too.
    """
    return np.exp(draw_power * margin) * np.sqrt(gravity * gmd) / (slowness * peripheral_speed)


def draw_slowness(slowness: Any, agitation: Any, agitation_gain: Any) -> Any:
    """Slowness of drawing seeds on a disc that stirs the pool.

    Parameters
    ----------
    slowness : float
        Slowness on a smooth disc: the time to draw a seed over that of a free fall through its
        size. [1]
    agitation : float or ndarray
        From 0, smooth, to 1, pegged. [1]
    agitation_gain : float
        How many times sooner a pegged disc draws seeds. [1]

    Returns
    -------
    float or ndarray
        Slowness on this disc. [1]

    Notes
    -----
    ``draw_slowness = slowness / agitation_gain^agitation``

    assumption: the logarithm is linear between a smooth and a pegged disc.
    """
    return slowness * np.power(agitation_gain, -agitation)


class Chances(NamedTuple):
    """Numbers that decide which seeds join a cell and stay on it.

    They follow from the vacuum, the speed and the level at which the cell enters the pool.
    """

    vacuum: Any  # vacuum at the holes, Pa
    zone: Any  # part of the exit zone that the cell crosses, seed diameters
    full_zone: Any  # `zone` in a pool that is filled to the carry line, seed diameters
    needed: Any  # vacuum that the mean seed needs in the pool, Pa
    margin: Any  # ln(vacuum/needed)
    draws: Any  # mean number of seeds that a free hole draws while it passes one seed diameter
    limit: Any  # a seed whose vacuum needed has a higher normal deviate does not hold
    hold: Any  # chance that a seed that is drawn holds
    rate: Any  # mean number of seeds that are drawn and hold: zone * draws * hold
    carry_load: Any  # load on a seed outside the pool over its load in the pool
    turn_load: Any  # centrifugal load over weight: u^2/(gR)
    knocks: Any  # mean number of knocks by a heap above the carry line, for a seed that just holds


FEW_HOLD = 0.5  # below this chance to hold, the vacuum is the reason for an empty cell


class Room(NamedTuple):
    """Room that a hole leaves for one more seed of a given size."""

    part: Any  # part of the hole that the seed would cover, 1
    needed: Any  # vacuum that a seed of its size needs in the pool in a median seat, Pa
    hold: Any  # chance that it would hold
    rate: Any  # mean number of such seeds that are drawn and hold


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
        """Time to draw a seed over that of a free fall through its size, on this disc. [1]"""
        k = self.coefficients
        return float(draw_slowness(k.draw_slowness, self.agitation, k.agitation_gain))

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
        """SD of ln(vacuum needed) over all seeds. [1]"""
        return float(
            needed_spread(self.lot.size_cv, self.coefficients.hold_spread, self.load_spread)
        )

    @cached_property
    def later_spread(self) -> float:
        """SD of ln(vacuum needed) of seeds of one size. [1]"""
        return float(needed_spread(0.0, self.coefficients.hold_spread, self.load_spread))

    def centrifugal(self, speed: Any) -> Any:
        """``u^2/(g R)`` at a peripheral speed [m/s]. [1]"""
        return speed * speed / (GRAVITY * self.circle_radius)

    def needed(self, speed: Any, resistance: Any) -> Any:
        """Vacuum that the mean seed needs at a peripheral speed [m/s]. [Pa]"""
        return needed_vacuum(
            self.lot.seed_mass,
            centroid_height(self.lot.width, self.lot.thickness),
            self.hole_diameter,
            resistance,
            1.0,
            self.centrifugal(speed),
            GRAVITY,
        )

    def arc(self, level: Any) -> Any:
        """Arc of the hole circle in the pool, at a level [m], no wider than the pool. [m]"""
        swept = swept_arc(level, self.circle_radius)
        return np.minimum(swept, arc_within(self.pool_width, self.circle_radius))

    def zone(self, arc: Any) -> Any:
        """Part of the exit zone that a cell crosses on an arc in the pool [m]. [1]"""
        crossed = zone_crossed(arc, self.lot.gmd, self.coefficients.exit_zone)
        return crossed * self.room

    def zone_at(self, level: Any) -> Any:
        """Part of the exit zone that a cell crosses at a level of the pool [m]. [1]

        A layer with gaps counts by its seeds.
        """
        return self.zone(self.arc(level)) * layer_share(level, self.lot.gmd)

    def draws(self, margin: Any, speed: Any) -> Any:
        """Seeds that a free hole draws while it passes one seed diameter. [1]"""
        power = self.coefficients.draw_power
        return draw_rate(margin, self.lot.gmd, speed, self.slowness, power, GRAVITY)

    def part_draws(self, draws: Any, part: Any) -> Any:
        """Seeds that a part of the hole draws, given `draws` of the whole hole. [1]

        `part` is the part of the hole over the seed's load, as a ratio to the mean seed's load.
        """
        return draws * np.power(part, self.coefficients.draw_power)

    def chances(self, vacuum: Any, at: Moment) -> Chances:
        """Chances of a cell that enters the pool at a moment, at a vacuum [Pa].

        The level and the speed are those of the last tick.
        """
        level, speed = at.level, at.speed
        needed = self.needed(speed, self.resistance)
        margin = log_margin(vacuum, needed)
        zone, draws = self.zone_at(level), self.draws(margin, speed)
        hold = hold_chance(margin, self.spread)
        excess = excess_arc(level, self.carry_line, self.circle_radius)
        turn_load = self.centrifugal(speed)
        return Chances(
            vacuum=vacuum,
            zone=zone,
            full_zone=self.zone_at(self.carry_line),
            needed=needed,
            margin=margin,
            draws=draws,
            limit=margin / self.spread,
            hold=hold,
            rate=zone * draws * hold,
            carry_load=(1 + turn_load) / (1 + self.resistance + turn_load),
            turn_load=turn_load,
            knocks=knock_chance_scale(excess, self.lot.gmd, self.coefficients.knock),
        )

    @cached_property
    def seat_scale(self) -> float:
        """SD of the offset of a first seed's seat, along and across the track. [m]"""
        return self.coefficients.eccentricity * self.hole_diameter / 2

    def size(self, draw: Any) -> Any:
        """Linear size over the mean, from a standard normal draw. [1]"""
        return np.exp(self.lot.size_cv * draw)

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

        The seed holds: `deviate` is a deviate among all seeds that lies below `Chances.limit`.
        """
        by_deviate, by_size, by_seat = self._weights_of_need
        return np.exp(by_deviate * deviate + by_size * size_draw + by_seat * seat_draw)

    def why_empty(self, chances: Chances, meeting: Any) -> Any:
        """Code of the reason why no seed joined a cell; see `metersim.machine.losses.REASONS`."""
        in_full_pool = meeting < chances.full_zone * chances.hold * chances.draws
        would_join = meeting < chances.zone * chances.draws
        reason = np.where(in_full_pool, LOW_POOL, NOT_JOINED)
        reason = np.where(would_join | (chances.hold < FEW_HOLD), NOT_HELD, reason)
        return np.where(chances.zone > 0, reason, POOL_EMPTY)

    def outline(self, along: Any, across: Any) -> Any:
        """Radius of the mean seed's outline in a direction: its parts along and across. [m]"""
        return outline_radius(self.lot.length, self.lot.width, along, across)

    def uncovers(self, size: Any, outline: Any, gap: Any) -> Any:
        """Whether a first seed leaves a part of the hole open.

        `size` is its linear size, `outline` the mean seed's radius [m] and `gap` its offset [m].
        """
        return outline * size - gap < self.hole_diameter / 2

    def room_for(
        self, chances: Chances, first: Any, outline: Any, gap: Any, other: Any, free: Any
    ) -> Room:
        """Room that a hole leaves for one more seed.

        The seed lies against the first one and covers a lens of the hole.  It must hold on that
        part.  It is drawn more slowly than onto the whole hole.

        Parameters
        ----------
        chances : Chances
            Chances of the cell.
        first, other : float or ndarray
            Sizes of the first seed and of this one. [1]
        outline : float or ndarray
            `outline` in the direction from the first seed to this one. [m]
        gap : float or ndarray
            Offset of the first seed's seat away from this one. [m]
        free : float or ndarray
            Part of the hole that later seeds have not covered yet. [1]
        """
        distance = outline * (first + other) - gap
        lens = circles_overlap(self.hole_diameter / 2, outline * other, distance)
        part = free * np.minimum(lens, self.coefficients.most_covered)
        other4 = np.square(np.square(other))
        margin = chances.margin + log_margin(part, other4)
        hold = hold_chance(margin, self.later_spread)
        draws = self.part_draws(chances.draws, part / other4)
        return Room(part, chances.needed * other4, hold, chances.zone * hold * draws)

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
