"""Pick-up: what a cell has to expect in the pool, and what joins it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.coefficients import Coefficients
from metersim.luck import PLACES, Array, CellLuck
from metersim.physics import outlines, pickup, pool
from metersim.records import BLOCKED, LOW_POOL, NOT_HELD, NOT_JOINED, SEEDED
from metersim.seedlot import SeedLot
from metersim.units import STANDARD_GRAVITY as GRAVITY


class Chances(NamedTuple):
    """What a cell that enters the pool now has to expect."""

    vacuum: float  # Pa
    meetings: float  # mean number of seeds met
    most_meetings: float  # the same in a pool that stands at the carry line
    needed: float  # vacuum that the mean seed needs in the pool, Pa
    margin: float  # ln(vacuum/needed)
    exposure: float  # time of a meeting over time to join
    hold: float  # chance that a seed would hold
    join: float  # chance that a holding seed joins in one meeting
    carry_load: float  # load outside the pool over load in it
    turn_load: float  # share of u^2/(gR) in the load outside the pool
    knocks: float  # knocks by a heap above the carry line, for a seed held by a hair


FEW_HOLD = 0.5  # below this chance to hold, an empty cell is laid to the vacuum


MOST_COVERED = 0.95  # of the free part of a hole, by one more seed; the rest stays with the others


class Seats(NamedTuple):
    """Where the first seeds of cells sit; arrays have the cells first."""

    distance: Array  # of the seat from the hole's centre, m
    along: Array  # cosine of its direction to the track
    across: Array  # size of the sine
    gap: Array  # uncovering of the hole towards the second and the third seed, m
    outline: Array  # radius of the mean seed's outline towards them, m


class Picked(NamedTuple):
    """What joins cells; arrays have the cells first, then the places."""

    joined: NDArray[np.int64]  # seeds
    reason: NDArray[np.int64]  # index into `metersim.records.REASONS`
    needed: Array  # vacuum that a seed needs on the whole hole in the pool, Pa
    size: Array  # linear size over the mean
    share: Array  # share of the hole that pulls a seed; 1 for a first seed while it is alone


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
        return Chances(
            vacuum=vacuum,
            meetings=pickup.meetings(arc, k.slip, self.lot.gmd) * self.room,
            most_meetings=pickup.meetings(full_arc, k.slip, self.lot.gmd) * self.room,
            needed=needed,
            margin=margin,
            exposure=exposure,
            hold=pickup.hold_chance(margin, self.spread),
            join=pickup.join_chance(exposure),
            carry_load=(1 + turn_load) / (1 + self.resistance + turn_load),
            turn_load=turn_load,
            knocks=pool.knock_chance_scale(excess, self.lot.gmd, k.knock),
        )

    def size(self, draw: Any) -> Any:
        """Linear size over the mean of a seed of which nothing is known but a draw. [1]"""
        return np.exp(self.lot.size_cv * draw)

    def seats(self, luck: CellLuck) -> Seats:
        """Where first seeds sit, and what gap they leave for later ones."""
        distance = luck.seat * self.coefficients.eccentricity * self.hole_diameter / 2
        length, width = self.lot.length, self.lot.width
        turn = luck.third_angle - luck.seat_angle
        return Seats(
            distance=distance,
            along=np.cos(luck.seat_angle),
            across=np.abs(np.sin(luck.seat_angle)),
            gap=np.stack((distance, distance * np.cos(turn)), axis=1),
            outline=np.stack(
                (
                    outlines.outline_radius(length, width, luck.seat_angle),
                    outlines.outline_radius(length, width, luck.third_angle),
                ),
                axis=1,
            ),
        )

    def pick(self, chances: Chances, luck: CellLuck, seats: Seats) -> Picked:
        """Seeds that cells would take from a pool that does not run out.

        The first seed of a cell is one of those that hold on the whole hole: its deviate tells
        the vacuum it needs and, in part, its size.  A later one sees the share of the hole that
        the gap beside the first leaves it, and what is left of the arc.

        Parameters
        ----------
        chances : Chances
            What the cells have to expect.
        luck : CellLuck
            Luck of the cells.
        seats : Seats
            From `seats`, of the same cells.

        Returns
        -------
        Picked
            What joins each cell.
        """
        cells = len(luck.blocked)
        needed, size, share = np.zeros((3, cells, PLACES))
        count = np.zeros(cells, dtype=np.int64)
        rate = chances.meetings * chances.hold * chances.join
        met = luck.meeting[:, 0]
        blocked = luck.blocked < self.coefficients.blocked
        joined = ~blocked & (met < rate)
        would_join = met < chances.meetings * chances.join
        in_full_pool = met < chances.most_meetings * chances.hold * chances.join
        reason = np.where(in_full_pool, LOW_POOL, NOT_JOINED)
        reason = np.where(would_join | (chances.hold < FEW_HOLD), NOT_HELD, reason)
        reason = np.where(joined, SEEDED, np.where(blocked, BLOCKED, reason))
        at = np.flatnonzero(joined)
        if at.size:
            count[at] = 1
            deviate = pickup.truncated_normal(luck.hold[at, 0], chances.hold)
            told = 4 * self.lot.size_cv / self.spread
            deviate_of_size = told * deviate + math.sqrt(1 - told * told) * luck.size[at, 0]
            needed[at, 0] = chances.needed * np.exp(self.rest_spread * deviate)
            size[at, 0] = np.exp(self.lot.size_cv * deviate_of_size)
            share[at, 0] = 1.0
        done = met / rate if rate > 0 else met
        free = np.ones(cells)
        for place in range(1, PLACES):
            outline, gap = seats.outline[at, place - 1], seats.gap[at, place - 1]
            first = size[at, 0]
            uncovered = outline * first - gap < self.hole_diameter / 2
            at, outline, gap, first = (
                at[uncovered],
                outline[uncovered],
                gap[uncovered],
                first[uncovered],
            )
            other = self.size(luck.size[at, place])
            distance = outline * (first + other) - gap
            lens = outlines.circles_overlap(self.hole_diameter / 2, outline * other, distance)
            part = free[at] * np.minimum(lens, MOST_COVERED)
            other4 = np.square(np.square(other))
            margin = chances.margin + pickup.log_margin(part, other4)
            hold = pickup.hold_chance(margin, self.seat_spread)
            join = pickup.join_chance(chances.exposure * np.sqrt(part))
            rates = chances.meetings * hold * join
            wait = luck.meeting[at, place]
            joins = (1 - done[at]) * rates > wait
            at, other, other4, part, hold = (
                column[joins] for column in (at, other, other4, part, hold)
            )
            done[at] += wait[joins] / rates[joins]
            deviate = pickup.truncated_normal(luck.hold[at, place], hold)
            needed[at, place] = chances.needed * other4 * np.exp(self.seat_spread * deviate)
            size[at, place] = other
            share[at, place] = part
            free[at] -= part
            count[at] += 1
        return Picked(count, reason, needed, size, share)
