"""Pick-up: shares of empty cells by reason, seats, and second seeds, worked out by hand.

The chances are those of `tests.byhand`, which knows nothing of the stations: a run's cells are
counted against them.
"""

import math

import numpy as np
import pytest

from metersim.machine import losses
from metersim.run.draws import HoleDraws
from metersim.run.streams import Streams
from tests.byhand import Pool, Seconds
from tests.facts import (
    AT,
    CLEAN,
    fallen,
    first_of,
    off_chances,
    off_mean,
    open_share,
    sown,
    travels,
    tuned,
)

QUIET = {"singulator__notch": -10.0, "singulator__gap": 8e-3}  # an edge that touches no seed


# Settings at which each coefficient shows in the cells that leave the pool empty.
RAPID = {"demand__speed": 3.5, "disc__cells": 16, "run__turns": 600}
SETTINGS = {
    "fast": (RAPID | {"vacuum__vacuum": 4e3}, {}),
    "much vacuum, smooth": (
        RAPID | {"vacuum__vacuum": 9e3, "disc__agitation": 0.0},
        {"draw_slowness": 15.0},
    ),
    "pegged": (RAPID | {"disc__agitation": 1.0}, {"draw_slowness": 15.0, "agitation_gain": 3.0}),
    "little vacuum": ({"vacuum__vacuum": 600.0, "run__turns": 300}, {}),
    "leaking": ({"vacuum__vacuum": 1.2e3, "run__turns": 300}, {"seal": 0.45}),
    "even seats": (
        {"vacuum__vacuum": 900.0, "run__turns": 300, "seed__size_cv": 0.0},
        {"hold_spread": 0.1, "resistance_cv": 0.5},
    ),
    "uneven seats": (
        {"vacuum__vacuum": 700.0, "run__turns": 300, "seed__size_cv": 0.1},
        {"hold_spread": 0.8, "resistance_cv": 0.0},
    ),
    "flying seeds": (RAPID | {"vacuum__vacuum": 9e3}, {"draw_power": 0.65}),
    "a narrow zone": (
        {"vacuum__vacuum": 2e3, "run__turns": 300},
        {"exit_zone": 2.6, "resistance": 9.0},
    ),
    "crowded": (
        {"disc__cells": 60, "vacuum__vacuum": 3e3, "run__turns": 150, "demand__speed": 3.0},
        {"crowding_pitch": 1.4, "crowding_power": 5.0},
    ),
    "low pool": (
        {
            "pool__gate_opening": 0.0465,
            "pool__pool_depth": 0.1,
            "pool__gate_width": 0.3,
            "vacuum__vacuum": 3e3,
            "run__turns": 300,
        },
        {"exit_zone": 10.0},
    ),
    "thin bed": (
        RAPID | {"pool__gate_opening": 0.02, "vacuum__vacuum": 6e3},
        {"thin_bed": 0.3},
    ),
    "light bed": (
        {"pool__gate_opening": 0.02, "vacuum__vacuum": 500.0, "run__turns": 300},
        {"depth_power": 1.5},
    ),
    "loose": ({"vacuum__vacuum": 6e3, "run__turns": 400}, {"loosening": 0.5}),
    "losing less": (
        {"vacuum__vacuum": 9e3, "run__turns": 400},
        {"loosening": 2.0, "loss_power": 1.2},
    ),
    "blocked": ({"run__turns": 1500, "vacuum__vacuum": 100.0}, {"blocked": 0.016}),
    "shaken": (
        {
            "furrow__surface": "field",
            "row_unit__shock_per_speed": 6.0,
            "vacuum__vacuum": 900.0,
            "run__turns": 300,
        },
        {},
    ),
}


def found_and_expected(name):
    """Empty cells by reason, cells, and the chances by hand."""
    changes, values = SETTINGS[name]
    k = tuned(**values)
    run = sown(k, **QUIET, **changes)
    empty = np.bincount(run.cells.reason[run.cells.joined == 0], minlength=len(losses.REASONS))
    return empty, len(run.cells), Pool(run.scenario, k)


@pytest.mark.parametrize("name", SETTINGS)
def test_cells_are_empty_for_each_reason_as_often_as_by_hand(name):
    """Blocked, not joined, dropped, low pool and not held: each by its own chance."""
    empty, cells, pool = found_and_expected(name)
    shares = pool.shares()
    assert empty.sum() == sum(empty[reason] for reason in shares)
    for reason, share in shares.items():
        if share * cells < 1e-3:
            assert empty[reason] == 0
        else:
            assert abs(off_chances(empty[reason], np.full(cells, share))) < 4, reason


# what a setting must tell from its value times 0.8 and times 1.2 (negative controls)
TELLS = [
    ("fast", "draw_slowness"),
    ("much vacuum, smooth", "draw_power"),
    ("much vacuum, smooth", "draw_slowness"),
    ("pegged", "agitation_gain"),
    ("little vacuum", "resistance"),
    ("little vacuum", "resistance_cv"),
    ("leaking", "seal"),
    ("even seats", "resistance_cv"),
    ("uneven seats", "hold_spread"),
    ("flying seeds", "draw_power"),
    ("a narrow zone", "exit_zone"),
    ("crowded", "crowding_pitch"),
    ("crowded", "crowding_power"),
    ("thin bed", "thin_bed"),
    ("light bed", "depth_power"),
    ("loose", "loosening"),
    ("losing less", "loss_power"),
    ("blocked", "blocked"),
]


@pytest.mark.parametrize(("name", "coefficient"), TELLS)
def test_a_fifth_more_or_less_is_seen_in_the_cells(name, coefficient):
    """Negative controls of the shares: by hand with the coefficient moved, they are not met."""
    empty, cells, pool = found_and_expected(name)
    value = getattr(pool.k, coefficient)
    for factor in (0.8, 1.2):
        k = tuned(**SETTINGS[name][1] | {coefficient: factor * value})
        shares = Pool(pool.scenario, k).shares()
        off = [
            abs(off_chances(empty[reason], np.full(cells, share)))
            for reason, share in shares.items()
            if share * cells > 1
        ]
        assert max(off) > 4, factor


def test_a_pool_that_gives_half_of_the_zone_loses_cells_to_its_level():
    """Low pool: a pool at the carry line would have filled these cells."""
    empty, cells, pool = found_and_expected("low pool")
    assert empty[losses.LOW_POOL] > 0.02 * cells
    assert pool.zone(pool.level) < 0.8 * pool.zone(0.05)


def test_holes_that_lose_many_seeds_leave_cells_of_that_reason():
    """Dropped: the hole gained a seed, and lost it again before the surface."""
    empty, _, _ = found_and_expected("loose")
    assert empty[losses.DROPPED] > 0.5 * empty.sum()
    # negative control: holes that lose none have no such cell
    never = sown(tuned(loosening=0.0), **QUIET, **SETTINGS["loose"][0])
    assert not (never.cells.reason == losses.DROPPED).any()


# ---------------------------------------------------------------- load out of the pool


def test_a_seed_leaves_its_hole_at_the_open_share_that_its_load_asks_for():
    """Out of the pool the load falls by (1 + c)/(1 + lambda + c): seed by seed, from its travel.

    The share of the hole that is open at that travel, by plane geometry, is the vacuum that the
    seed needs in the pool over the vacuum, times that fall of the load.
    """
    k = tuned(**CLEAN, resistance=7.0)
    run = sown(k, **QUIET, run__turns=50)
    alone = (run.cells.released == 1)[run.seeds.cell]
    share = open_share(travels(run), run.scenario.disc.hole_diameter)
    pool = Pool(run.scenario, k)
    load = (1 + pool.turning) / (1 + pool.pull + pool.turning)
    expected = run.seeds.needed[run.seeds.nth == 0] * load / run.scenario.vacuum.vacuum
    alone = alone[run.seeds.nth == 0]
    assert share[alone] == pytest.approx(expected[alone], rel=1e-3, abs=2e-5)


def test_the_mean_seed_needs_the_vacuum_of_the_torque_balance():
    """Seeds that all hold: the median of what they need in the pool, by hand."""
    k = tuned(**CLEAN, resistance_cv=0.0)
    run = sown(k, **QUIET, run__turns=100, vacuum__vacuum=14e3)
    pool = Pool(run.scenario, k)
    logs = np.log(run.seeds.needed[run.seeds.nth == 0] / pool.needed)
    edge = math.log(pool.edgewise)  # added on edge, which this share of the seeds do not stand on
    both = math.hypot(k.hold_spread, 4 * run.scenario.seeds.size_cv)
    spread = math.hypot(both, edge * math.sqrt(pool.flat * (1 - pool.flat)))
    assert abs(off_mean(logs, (1 - pool.flat) * edge, spread)) < 4
    assert abs(off_mean(logs, 0.0, spread)) > 4  # control: all flat
    assert abs(np.std(logs) / spread - 1) < 4 / math.sqrt(2 * len(logs))
    assert abs(np.std(logs) / spread / 1.1 - 1) > 4 / math.sqrt(2 * len(logs))  # control


# ---------------------------------------------------------------- seats


@pytest.mark.parametrize("eccentricity", [0.3, AT.eccentricity])
def test_seats_lie_off_the_centre_by_their_spread(eccentricity):
    """A seed that sits higher on its hole falls longer: the height says where it sat.

    Along the track the offset is normal, of that share of the hole's radius.
    """
    k = tuned(**CLEAN | {"eccentricity": eccentricity})
    run = sown(k, **QUIET, run__turns=100, seed__size_cv=0.0)
    seeds, lot = run.seeds, run.scenario.seeds
    first = seeds.nth == 0
    time = (seeds.landing_time - seeds.release_time)[first]
    offset = fallen(time, run.scenario.peripheral_speed, lot.terminal_velocity) - 0.45
    scale = eccentricity * run.scenario.disc.hole_diameter / 2
    n = first.sum()
    assert abs(off_mean(offset, 0.0, scale)) < 4
    assert abs(np.std(offset) / scale - 1) < 4 / math.sqrt(2 * n)
    # negative control: a tenth more is seen
    assert abs(np.std(offset) / scale / 1.1 - 1) > 4 / math.sqrt(2 * n)


# ---------------------------------------------------------------- second seeds

DOUBLES = {
    "usual": ({"run__turns": 300}, {}),
    "big holes": ({"run__turns": 100, "disc__hole_diameter": 5.2e-3}, {}),
    "steep": ({"run__turns": 300}, {"hole_power": 5.0, "seconds": 0.6}),
    "much vacuum": ({"run__turns": 100, "vacuum__vacuum": 9e3}, {"seconds_power": 0.7}),
    "many sizes": (
        {
            "run__turns": 300,
            "disc__hole_diameter": 5.8e-3,
            "seed__size_cv": 0.2,
            "vacuum__vacuum": 1.5e3,
        },
        {"hold_spread": 0.3, "resistance_cv": 0.5},
    ),
    "many shapes": ({"run__turns": 300, "lot__shape_cv": 0.25}, {"hole_power": 6.0}),
    "levelling off": (
        {"run__turns": 300, "vacuum__vacuum": 9e3},
        {"seconds_power": 3.0, "seconds_knee": 4.0, "seconds": 0.02},
    ),
    "soybean": ({"run__turns": 300, "lot": "soybean"}, {"seconds": 1.0}),
}
# settings whose doubles a fifth less or more of a coefficient moves by more than 4 SE
DOUBLE_TELLS = [
    ("usual", "seconds"),
    ("steep", "hole_power"),
    ("much vacuum", "seconds_power"),
    ("levelling off", "seconds_knee"),
    ("soybean", "seconds"),
]


def doubles_off(name, **moved):
    """Distance of the share of filled cells that draw more seeds from that by hand, in SE."""
    changes, values = DOUBLES[name]
    run = sown(tuned(**values, blocked=0.0), **QUIET, **changes)
    filled = (run.cells.joined > 0).sum()
    chances = Seconds(Pool(run.scenario, tuned(**values | moved, blocked=0.0))).chance
    chance, error = chances.mean(), chances.std() / math.sqrt(len(chances))
    share = (run.cells.joined > 1).sum() / filled
    return (share - chance) / math.sqrt(chance * (1 - chance) / filled + error**2)


@pytest.mark.parametrize("name", DOUBLES)
def test_second_seeds_are_as_many_as_by_hand(name):
    """Of the cells that draw a seed, those that draw more before the singulator."""
    assert abs(doubles_off(name)) < 4


@pytest.mark.parametrize(("name", "coefficient"), DOUBLE_TELLS)
def test_a_fifth_more_or_less_is_seen_in_the_doubles(name, coefficient):
    """Negative controls of the doubles."""
    value = getattr(tuned(**DOUBLES[name][1]), coefficient)
    for factor in (0.8, 1.2):
        assert abs(doubles_off(name, **{coefficient: factor * value})) > 4


@pytest.mark.parametrize("name", ["big holes", "many sizes"])
def test_second_seeds_are_as_small_and_as_well_seated_as_by_hand(name):
    """Size, and what the seat adds to the need beside the fourth power of size: means and SDs."""
    changes, values = DOUBLES[name]
    k = tuned(**values, blocked=0.0)
    run = sown(k, **QUIET, **changes)
    assert run.cells.swept.sum() < 0.01 * len(run.seeds)  # the edge chooses none of them
    seeds, pool = run.seeds, Pool(run.scenario, k)
    second = seeds.nth == 1
    size = np.log(seeds.size[second])
    seat = np.log(seeds.needed[second] / pool.needed) - 4 * size
    by_hand = Seconds(pool)
    chosen = by_hand.chance / by_hand.chance.sum()
    hand_size = np.log(by_hand.other)
    hand_seat = np.log(by_hand.other_need / pool.needed) - 4 * hand_size
    for found, made in ((size, hand_size), (seat, hand_seat)):
        mean = (chosen * made).sum()
        sd = math.sqrt((chosen * (made - mean) ** 2).sum())
        both = math.sqrt(1 / len(found) + (chosen**2).sum())
        assert abs(found.mean() - mean) < 4 * sd * both
        assert abs(found.std() / sd - 1) < 4 * both  # with room for a kurtosis of 3
        # negative control: a third more spread
        assert abs(found.std() / (4 / 3 * sd) - 1) > 4 * both
    # negative control: second seeds are seated as any seed is
    assert abs(seat.mean()) > 4 * seat.std() / math.sqrt(len(seat))


def test_no_later_seed_covers_more_than_its_share_of_what_is_free():
    """What is covered goes as the root of a uniform number, up to the coefficient.

    The first of a double leaves when the open share times what the second leaves it is what it
    needs.  So its travel says what the second covers.
    """
    k = tuned(**CLEAN, most_covered=0.4, seconds=0.5)
    run = sown(k, **QUIET, run__turns=100, disc__hole_diameter=5.5e-3, vacuum__vacuum=4e3)
    pool = Pool(run.scenario, k)
    two = np.flatnonzero((run.cells.released == 2) & (run.cells.joined == 2))
    share = np.full(len(run.cells), np.nan)
    first = run.seeds.nth == 0
    share[run.seeds.cell[first]] = open_share(travels(run), run.scenario.disc.hole_diameter)
    load = (1 + pool.turning) / (1 + pool.pull + pool.turning)
    left = first_of(run, "needed")[two] * load / run.scenario.vacuum.vacuum / share[two]
    covered = 1 - left
    assert len(two) > 100
    assert covered.max() < 0.4 + 1e-3
    assert abs(off_mean((covered / 0.4) ** 2, 0.5, math.sqrt(1 / 12))) < 4
    assert abs(off_mean((covered / 0.32) ** 2, 0.5, math.sqrt(1 / 12))) > 4  # control


# ---------------------------------------------------------------- holes that differ


def test_each_hole_fills_by_its_own_vacuum():
    """Cells of one hole are empty by the chance at its draw and its place on the disc."""
    k = tuned(blocked=0.0, hole_spread=0.15, run_out=0.1)
    run = sown(k, **QUIET, vacuum__vacuum=800.0, run__turns=300)
    holes = run.scenario.disc.cells
    draws = HoleDraws(Streams(1, 0), holes)
    hole = np.arange(len(run.cells)) % holes
    empty = np.bincount(hole, run.cells.joined == 0, holes)
    turns = len(run.cells) / holes

    def off(deviates, spread=0.15):
        uneven = np.exp(spread * deviates + 0.1 * np.cos(2 * np.pi * draws.turns))
        chances = [sum(Pool(run.scenario, k, one).shares().values()) for one in uneven]
        return (empty - turns * np.array(chances)) / np.sqrt(
            turns * np.multiply(chances, 1 - np.array(chances))
        )

    assert np.abs(off(draws.deviates)).max() < 4
    assert abs((off(draws.deviates) ** 2).sum() / holes - 1) < 4 * math.sqrt(2 / holes)
    # negative controls: alike, and differing twice as much
    assert (off(draws.deviates, 0.0) ** 2).sum() / holes > 3
    assert (off(draws.deviates, 0.3) ** 2).sum() / holes > 3
