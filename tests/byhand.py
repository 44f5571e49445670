"""Pick-up and singulator by hand: what each coefficient means, without the stations."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm
from scipy.special import ndtr, ndtri

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import losses

DRAWS = 200_000
TEETH = 3


def left_empty(gain, loss, zone):
    """Share of holes that are empty after a zone: the two states' rates, put into a matrix."""
    rates = np.array([[-gain, loss], [gain, -loss]])
    return float(expm(rates * zone)[0, 0])


@dataclass
class Pool:
    """What a hole of a scenario meets in a full pool, at some coefficients."""

    scenario: object
    k: object
    uneven: float = 1.0  # vacuum of the hole over that of the chamber

    def __post_init__(self):
        lot, disc, k = self.scenario.seeds, self.scenario.disc, self.k
        self.speed = self.scenario.peripheral_speed
        self.turning = self.speed**2 / (GRAVITY * disc.circle_radius)
        full = k.resistance * math.tan(lot.repose_angle)  # of a pool filled to the carry line
        self.pull = full * (self.level / self.scenario.pool.carry_line) ** k.depth_power
        torque = lot.seed_mass * GRAVITY * (1 + self.pull + self.turning)
        torque *= lot.thickness / 2
        hole = math.pi * disc.hole_diameter**2 / 4 * disc.hole_diameter / 2
        self.needed = torque / hole / k.seal
        uneven = math.log(1 + (k.resistance_cv * full / (1 + full)) ** 2)
        shock = 0.0
        if self.scenario.furrow.surface == "field":
            shock = self.scenario.row_unit.shock_per_speed * self.scenario.demand.speed / GRAVITY
        self.seats2 = k.hold_spread**2 + uneven + shock**2
        self.spread = math.sqrt(self.seats2 + (4 * lot.size_cv) ** 2)
        self.vacuum = self.uneven * self.scenario.vacuum.vacuum
        self.over = self.vacuum / self.needed
        self.flat = lot.width / (lot.width + lot.thickness)
        self.edgewise = lot.width / lot.thickness  # need on edge over that of a flat seed
        self.hold = self.flat * float(ndtr(math.log(self.over) / self.spread))
        on_edge = float(ndtr(math.log(self.over / self.edgewise) / self.spread))
        self.hold += (1 - self.flat) * on_edge
        pace = k.draw_slowness / k.agitation_gain**disc.agitation
        fall = math.sqrt(lot.gmd / GRAVITY)  # time of a free fall through a seed, but for sqrt 2
        self.draws = self.over**k.draw_power * lot.gmd / self.speed / (pace * fall)
        near = 2 * math.pi * disc.circle_radius / disc.cells / lot.length
        self.draws /= 1 + (k.crowding_pitch / near) ** k.crowding_power
        self.loss = k.loosening / self.over**k.loss_power

    def zone(self, level):
        """Seed diameters of the exit zone that a hole crosses at a level [m]."""
        radius, lot = self.scenario.disc.circle_radius, self.scenario.seeds
        arc = 2 * radius * math.acos(1 - level / radius)
        chord = 2 * radius * math.asin(min(self.scenario.pool.gate_width / 2 / radius, 1))
        return min(min(arc, chord) / lot.gmd, self.k.exit_zone)

    def bed(self, level):
        """Seeds that press to the disc at a level [m], over those at the carry line."""
        filled, half = level / self.scenario.pool.carry_line, self.k.thin_bed
        return filled / (filled + half) / (1 / (1 + half))

    @property
    def level(self):
        """Level of the full pool, of whole seeds. [m]"""
        lot, pool = self.scenario.seeds, self.scenario.pool
        mean = pool.gate_opening - pool.pool_depth * math.tan(lot.repose_angle) / 2
        seed = lot.seed_mass / lot.bulk_density / pool.gate_width / pool.pool_depth
        low = pool.pool_depth * math.tan(lot.repose_angle) / 2  # of the disc's side below the mean
        return math.floor(mean / seed) * seed - low

    def shares(self):
        """Chance of each reason of an empty cell."""
        here, full = self.zone(self.level), self.zone(self.scenario.pool.carry_line)
        drawn = self.draws * self.bed(self.level)
        empty = left_empty(drawn * self.hold, self.loss, here)
        all_held = min(left_empty(drawn, self.loss, here), empty)
        filled = min(left_empty(self.draws * self.hold, self.loss, full), all_held)
        no_gain = min(math.exp(-drawn * self.hold * here), filled)
        unheld, low, dropped = empty - all_held, all_held - filled, filled - no_gain
        if self.hold < 0.5:  # then all of them are laid to the vacuum
            unheld, low, dropped, no_gain = empty, 0.0, 0.0, 0.0
        rest = 1 - self.k.blocked
        return {
            losses.BLOCKED: self.k.blocked,
            losses.NOT_JOINED: rest * no_gain,
            losses.DROPPED: rest * dropped,
            losses.LOW_POOL: rest * low,
            losses.NOT_HELD: rest * unheld,
        }


def quarters(rng, count):
    """Directions of second seeds: 0.4 ahead, 0.42 outside, 0.1 behind, 0.08 inside. [rad]"""
    middle = rng.choice([0.0, 0.5, 1.0, 1.5], count, p=[0.4, 0.42, 0.1, 0.08]) * np.pi
    return middle + np.pi / 2 * (rng.random(count) - 0.5)


class Seconds:
    """First seeds of cells of a pool, drawn at random, and the second ones beside them.

    `chance` is that of a second seed; the rest is that of such a pair.
    """

    def __init__(self, pool, seed=7):
        k, lot, disc = pool.k, pool.scenario.seeds, pool.scenario.disc
        rng = np.random.default_rng(seed)
        # first seeds hold with the pose, size, seat and load that they have
        load2 = pool.seats2 - k.hold_spread**2
        most = int(2 * DRAWS / pool.hold)
        size, seat, load = rng.standard_normal((3, most))
        size, seat, load = lot.size_cv * size, k.hold_spread * seat, math.sqrt(load2) * load
        flat = rng.random(most) < pool.flat
        pose = np.where(flat, 0.0, math.log(pool.edgewise))
        holds = np.flatnonzero(pose + 4 * size + seat + load < math.log(pool.over))[:DRAWS]
        self.first = np.exp(size[holds])
        self.need = pool.needed * np.exp(pose + 4 * size + seat)[holds]
        shape = np.exp(lot.shape_cv / 2 * rng.standard_normal(len(holds)))
        self.narrow = np.where(flat[holds], lot.width / shape, lot.thickness)
        self.long = lot.length * shape
        # the power law is half at the knee, and ends at its value there
        power_law, most = pool.over**k.seconds_power, k.seconds_knee**k.seconds_power
        later = k.seconds * (1 - lot.gmd / lot.length) * power_law * most
        later /= power_law + most
        later = later * (disc.hole_diameter / (lot.width / shape * self.first)) ** k.hole_power
        self.chance = -np.expm1(-later)
        self.other = np.exp(lot.size_cv * rng.standard_normal(len(holds)))
        self.part = k.most_covered * np.sqrt(rng.random(len(holds)))
        margin = np.log(pool.over * self.part / self.other**4)
        # what holds on its part is a normal deviate cut there, of which the seat stays
        holds_on_part = np.maximum(ndtr(margin / math.sqrt(pool.seats2)), 1e-200)
        deviate = ndtri(rng.random(len(holds)) * holds_on_part)
        known = k.hold_spread / math.sqrt(pool.seats2)
        rest = math.sqrt(1 - known**2) * rng.standard_normal(len(holds))
        seat = k.hold_spread * (known * deviate + rest)
        self.other_need = pool.needed * self.other**4 * np.exp(seat)

    def left_by_edge(self, pool, inner=math.inf, seed=8):
        """Chance that a pair passes the teeth of the singulator with both seeds.

        At each tooth the pair lies in another direction.  The second seed lies there, the first
        one on the other side.  The outer edge pushes inwards, an inner one outwards.
        """
        k, lot, setting = pool.k, pool.scenario.seeds, pool.scenario.singulator
        rng = np.random.default_rng(seed)
        hole, count = pool.scenario.disc.hole_diameter, len(self.first)
        edge = setting.gap * (1 + k.edge_zero) - setting.notch_step * setting.notch
        reach = []
        seeds = ((self.first, self.long, self.narrow), (self.other, lot.length, lot.width))
        for size, long, narrow in seeds:
            turned = lot.pose_sd * rng.standard_normal(count)
            reach.append(size / 2 * np.hypot(narrow * np.cos(turned), long * np.sin(turned)))
        shares = 1 - self.part, self.part
        needs = self.need, self.other_need
        stays = self.chance.copy()
        for _ in range(TEETH):
            turn = quarters(rng, count)
            outline = 0.5 / np.hypot(np.cos(turn) / lot.length, np.sin(turn) / lot.width)
            rim = (0.5 - self.part) * hole  # where the two touch, from the hole's centre
            away = rim - outline * self.first, rim + outline * self.other
            for extent, at, share, need in zip(reach, away, shares, needs, strict=True):
                outward = at * np.sin(turn)
                push = np.maximum(outward + extent - edge, -outward + extent - inner)
                bears = k.seat_push * share * hole * np.sqrt(share * pool.vacuum / need)
                bears = bears * (pool.speed / 0.3) ** k.edge_speed
                touched = push > 0  # what the edge does not touch stays
                strong = ndtr(-np.log(np.where(touched, push, bears) / bears) / k.push_spread)
                stays = np.where(touched, stays * strong, stays)
        return stays.sum() / self.chance.sum()
