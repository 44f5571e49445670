"""Pick-up and singulator by hand: what each coefficient means, without the stations."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import losses

DRAWS = 200_000
TEETH = 3


@dataclass
class Pool:
    """What a hole of a scenario meets in a full pool, at some coefficients."""

    scenario: object
    k: object

    def __post_init__(self):
        lot, disc, k = self.scenario.seeds, self.scenario.disc, self.k
        self.speed = self.scenario.peripheral_speed
        self.turning = self.speed**2 / (GRAVITY * disc.circle_radius)
        self.pull = k.resistance * math.tan(lot.repose_angle)  # of the pool, in seed weights
        torque = lot.seed_mass * GRAVITY * (1 + self.pull + self.turning)
        torque *= (lot.width / 2 + lot.thickness / 2) / 2
        hole = math.pi * disc.hole_diameter**2 / 4 * disc.hole_diameter / 2
        self.needed = torque / hole
        uneven = math.log(1 + (k.resistance_cv * self.pull / (1 + self.pull)) ** 2)
        shock = 0.0
        if self.scenario.furrow.surface == "field":
            shock = self.scenario.row_unit.shock_per_speed * self.scenario.demand.speed / GRAVITY
        self.seats2 = k.hold_spread**2 + uneven + shock**2
        self.spread = math.sqrt(self.seats2 + (4 * lot.size_cv) ** 2)
        self.over = self.scenario.vacuum.vacuum / self.needed
        self.hold = float(ndtr(math.log(self.over) / self.spread))
        pace = k.draw_slowness / k.agitation_gain**disc.agitation
        fall = math.sqrt(lot.gmd / GRAVITY)  # time of a free fall through a seed, but for sqrt 2
        self.draws = self.over**k.draw_power * lot.gmd / self.speed / (pace * fall)
        near = 2 * math.pi * disc.circle_radius / disc.cells / lot.length
        self.alone = 1 / (1 + (k.crowding_pitch / near) ** k.crowding_power)

    def zone(self, level):
        """Seed diameters of the exit zone that a hole crosses at a level [m]."""
        radius, lot = self.scenario.disc.circle_radius, self.scenario.seeds
        arc = 2 * radius * math.acos(1 - level / radius)
        chord = 2 * radius * math.asin(min(self.scenario.pool.gate_width / 2 / radius, 1))
        diameters = min(min(arc, chord) / lot.gmd, self.k.exit_zone)
        return diameters * self.alone * min(level / lot.gmd, 1)

    @property
    def level(self):
        """Level of the full pool, of whole seeds. [m]"""
        lot, pool = self.scenario.seeds, self.scenario.pool
        level = pool.gate_opening - pool.pool_depth * math.tan(lot.repose_angle)
        seed = lot.seed_mass / lot.bulk_density / pool.gate_width / pool.pool_depth
        return math.floor(level / seed) * seed

    def shares(self):
        """Chance of each reason of an empty cell, for a lot of which at least half holds."""
        drawn = self.zone(self.level) * self.draws
        could = self.zone(self.scenario.pool.carry_line) * self.draws * self.hold
        late = math.exp(-max(drawn, could))
        low = max(math.exp(-drawn) - math.exp(-could), 0.0)
        unheld = math.exp(-drawn * self.hold) - math.exp(-drawn)
        if self.hold < 0.5:  # then all of them are laid to the vacuum
            late, low, unheld = 0.0, 0.0, late + low + unheld
        rest = 1 - self.k.blocked
        return {
            losses.BLOCKED: self.k.blocked,
            losses.NOT_JOINED: rest * late,
            losses.LOW_POOL: rest * low,
            losses.NOT_HELD: rest * unheld,
        }


def shared(radius, other, apart):
    """Area that two circles share over that of the first, by the angles of their common chord."""
    x = (apart**2 + radius**2 - other**2) / (2 * apart)
    x = np.clip(x, -radius, radius)
    y = np.clip(apart - x, -other, other)
    first = radius**2 * np.arccos(x / radius) - x * np.sqrt(radius**2 - x**2)
    second = other**2 * np.arccos(y / other) - y * np.sqrt(np.maximum(other**2 - y**2, 0))
    area = np.where(apart < radius + other, first + second, 0.0)
    area = np.where(apart <= abs(other - radius), np.pi * np.minimum(radius, other) ** 2, area)
    return area / (np.pi * radius**2)


class Seconds:
    """First seeds of cells of a pool, drawn at random, and the second ones beside them.

    `chance` is that of a second seed; the rest is that of such a pair.
    """

    def __init__(self, pool, seed=7):
        k, lot, disc = pool.k, pool.scenario.seeds, pool.scenario.disc
        rng = np.random.default_rng(seed)
        radius, rate = disc.hole_diameter / 2, pool.zone(pool.level) * pool.draws * pool.hold
        at = rng.random(DRAWS) * -math.expm1(-rate)
        done = -np.log1p(-at) / rate  # part of the zone that is over when the first has come
        along, across = k.eccentricity * radius * rng.standard_normal((2, DRAWS))
        self.off = np.hypot(along, across)
        # first seeds hold with the size, seat and load that they have
        load2 = pool.seats2 - k.hold_spread**2
        most = int(2 * DRAWS / pool.hold)
        size, seat, load = rng.standard_normal((3, most))
        size, seat, load = lot.size_cv * size, k.hold_spread * seat, math.sqrt(load2) * load
        holds = np.flatnonzero(4 * size + seat + load < math.log(pool.over))[:DRAWS]
        self.first = np.exp(size[holds])
        self.need = pool.needed * np.exp(4 * size + seat)[holds]
        self.other = np.exp(lot.size_cv * rng.standard_normal(DRAWS))
        # the outline of a seed that lies along the track, towards the side that is left open
        direction = (along / self.off / lot.length) ** 2 + (across / self.off / lot.width) ** 2
        self.outline = 0.5 / np.sqrt(direction)
        opens = self.outline * self.first - self.off < radius
        self.apart = self.outline * (self.first + self.other) - self.off
        lens = shared(radius, self.outline * self.other, self.apart)
        self.part = np.minimum(lens, k.most_covered)
        with np.errstate(divide="ignore"):
            margin = np.log(pool.over * self.part / self.other**4)
        hold = ndtr(margin / math.sqrt(pool.seats2))
        pull = (self.part / self.other**4) ** k.draw_power
        second = pool.zone(pool.level) * pool.draws * pull * hold
        self.chance = np.where(opens, -np.expm1(-(1 - done) * second), 0.0)
        # what holds on its part is a normal deviate cut there, of which the seat stays
        deviate = ndtri(rng.random(DRAWS) * np.where(opens, hold, 1.0))
        told = k.hold_spread / math.sqrt(pool.seats2)
        rest = math.sqrt(1 - told**2) * rng.standard_normal(DRAWS)
        seat = k.hold_spread * (told * deviate + rest)
        self.other_need = pool.needed * self.other**4 * np.exp(seat)

    def left_by_edge(self, pool, narrowing=1.0, seed=8):
        """Chance that a pair passes the teeth of the singulator with both seeds.

        At each tooth the pair lies in another direction, any as likely; the first sits beside
        the centre, the second that much less than both outlines from it; each bears half a hole
        times the root of what pulls it over what it needs.
        """
        k, lot, setting = pool.k, pool.scenario.seeds, pool.scenario.singulator
        rng = np.random.default_rng(seed)
        radius, vacuum = pool.scenario.disc.hole_diameter / 2, pool.scenario.vacuum.vacuum
        edge = setting.gap - setting.notch_step * setting.notch
        some = np.flatnonzero(self.chance > 0)
        first, other, part = self.first[some], self.other[some], self.part[some]
        seat = narrowing * self.off[some]
        beside = (seat, self.outline[some] * (first + other) - seat)
        reach = []
        for size in (first, other):
            turned = np.sin(lot.pose_sd * rng.standard_normal(len(some)))
            wide, long = lot.width * np.sqrt(1 - turned**2), lot.length * turned
            reach.append(size / 2 * np.hypot(wide, long))
        pulls = (
            (1 - part) * vacuum / self.need[some],
            part * vacuum / self.other_need[some],
        )
        stays = self.chance[some]
        for _ in range(TEETH):
            across = np.abs(np.sin(2 * np.pi * rng.random(len(some))))
            for extent, aside, pull in zip(reach, beside, pulls, strict=True):
                push = extent + aside * across - edge
                stays = stays * ndtr(-(push / (radius * np.sqrt(pull)) - 1) / k.push_spread)
        return stays.sum() / self.chance.sum()
