"""What is drawn for first and later seeds: size, seat and load, and room for more than one."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import ks_2samp, norm

from metersim.machine.coefficients import USUAL
from metersim.machine.holding import truncated_normal
from metersim.machine.moment import Moment
from metersim.machine.stations import stations_of
from metersim.run.draws import MOST_SEEDS
from metersim.run.simulation import simulate
from tests.strategies import BENCH, ran

RARE = 6.3e-5  # two-sided chance of |z| > 4
MANY = 200_000

# sizes of nearly one kind and of many, seats that matter little and much, loads even and uneven
MIXES = {
    "usual": {},
    "one size": {"size_cv": 0.0},
    "many sizes": {"size_cv": 0.2},
    "even seats": {"hold_spread": 0.1},
    "uneven seats": {"hold_spread": 0.9},
    "even load": {"resistance_cv": 0.0},
    "even load, many sizes": {"resistance_cv": 0.0, "size_cv": 0.2},
    "shaken": {"shock": 0.6, "size_cv": 0.15},
}


def station_of(size_cv=None, shock=0.0, **coefficients):
    """Pick-up of the bench with spreads of its own."""
    scenario = BENCH if size_cv is None else BENCH.replace(seed__size_cv=size_cv)
    station = stations_of(scenario, dataclasses.replace(USUAL, **coefficients)).pickup
    return dataclasses.replace(station, shock=shock)


def spreads_of(station):
    """SD of ln(vacuum needed) from size, from the seat and from the load."""
    size, seat = 4 * station.lot.size_cv, station.coefficients.hold_spread
    return size, seat, station.load_spread


def off_covariance(a, b, expected):
    """Distance of the covariance of two normal samples from what is expected, in SE."""
    error = math.sqrt((a.var() * b.var() + expected**2) / len(a))
    return (np.cov(a, b)[0, 1] - expected) / error if error > 0 else 0.0


def drawn(station, seed=5):
    """Deviates of all seeds, and with them ln(vacuum needed) out of the pool and ln(size)."""
    deviate, size_draw, seat_draw = np.random.default_rng(seed).standard_normal((3, MANY))
    need = np.log(station.relative_need(deviate, size_draw, seat_draw))
    return deviate, need, np.log(station.first_size(deviate, size_draw))


@pytest.mark.parametrize("mix", MIXES.values(), ids=MIXES)
def test_size_seat_and_load_have_their_joint_normal(mix):
    """Of random deviates: ln need keeps size and seat, and goes with size and deviate as it must.

    ``Z = (4 cv S + sigma T + load)/spread`` and ``ln H = 4 cv S + sigma T``, so that the
    covariances are ``cov(ln H, Z) = var(ln H)/spread`` and ``cov(ln H, ln size) = 4 cv^2``.
    """
    station = station_of(**mix)
    size, seat, load = spreads_of(station)
    own, cv = size**2 + seat**2, size / 4
    spread = math.sqrt(own + load**2)
    assert station.spread == pytest.approx(spread)
    deviate, need, ln_size = drawn(station)
    assert abs(need.mean()) < 4 * math.sqrt(own / MANY)
    assert abs(off_covariance(need, need, own)) < 4
    assert abs(off_covariance(ln_size, ln_size, cv**2)) < 4
    assert abs(off_covariance(need, deviate, own / spread)) < 4
    assert abs(off_covariance(ln_size, deviate, cv * size / spread)) < 4
    assert abs(off_covariance(need, ln_size, cv * size)) < 4


@pytest.mark.parametrize("shock", [0.0, 0.6])
@pytest.mark.parametrize("cv", [0.0, 1.0])
def test_the_load_spreads_by_the_pool_and_by_shocks(shock, cv):
    """Both add as squares of the logarithm, and first and later seeds bear them alike."""
    station = station_of(shock=shock, resistance_cv=cv)
    pull = cv * station.resistance / (1 + station.resistance)
    assert station.load_spread**2 == pytest.approx(math.log(1 + pull**2) + shock**2)
    size = 4 * station.lot.size_cv
    assert station.spread**2 == pytest.approx(station.later_spread**2 + size**2)


def test_other_joint_normals_are_told_apart():
    """Negative control: draws that forget what size and deviate tell one another are seen."""
    station = station_of(size_cv=0.15)
    size, seat, load = spreads_of(station)
    own, cv = size**2 + seat**2, size / 4
    spread = math.sqrt(own + load**2)
    deviate, need, ln_size = drawn(station)
    other, other_need, _ = drawn(station, seed=6)
    assert abs(off_covariance(other_need, ln_size, cv * size)) > 4  # sizes of other seeds
    assert abs(off_covariance(need, other, own / spread)) > 4  # deviates of other seeds
    # seat and size drawn as if they told nothing of one another, given the deviate
    free_size, free_seat = math.sqrt(1 - (size / spread) ** 2), math.sqrt(1 - (seat / spread) ** 2)
    size_draw, seat_draw = np.random.default_rng(7).standard_normal((2, MANY))
    careless = own / spread * deviate + size * free_size * size_draw + seat * free_seat * seat_draw
    assert abs(off_covariance(careless, careless, own)) > 4
    # the whole deviate kept, load and all, as if a seed took the pool along
    assert abs(off_covariance(spread * deviate, spread * deviate, own)) > 4


def test_without_load_the_deviate_and_the_size_tell_all():
    """Then need is the deviate times its spread, and the seat's own draw has no part in it."""
    station = station_of(size_cv=0.1, resistance_cv=0.0)
    assert station.load_spread == 0
    deviate, size_draw, seat_draw = np.random.default_rng(5).standard_normal((3, 1000))
    need = station.relative_need(deviate, size_draw, seat_draw)
    assert np.log(need) == pytest.approx(station.spread * deviate, abs=1e-6)
    # negative control: with load the same deviates leave a rest
    loaded = station_of(size_cv=0.1).relative_need(deviate, size_draw, seat_draw)
    assert np.abs(np.log(loaded) - station.spread * deviate).max() > 0.1


def test_seeds_of_one_size_and_the_mean_deviate_need_the_mean():
    """No deviate and no draws: the mean seed."""
    for mix in MIXES.values():
        station = station_of(**mix)
        assert station.relative_need(0.0, 0.0, 0.0) == station.first_size(0.0, 0.0) == 1


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_first_seeds_are_like_seeds_that_were_tried_one_by_one(share):
    """Seeds drawn with size, seat and load, and kept if they hold, need what the draws say."""
    station = station_of(size_cv=0.12)
    size, seat, load = spreads_of(station)
    rng = np.random.default_rng(11)
    parts = rng.standard_normal((3, MANY))
    limit = station.spread * norm.ppf(share)
    s, t, _ = parts[:, size * parts[0] + seat * parts[1] + load * parts[2] < limit]
    found = {"need": size * s + seat * t, "size": size / 4 * s}

    count = len(s)
    deviate = truncated_normal(rng.random(count), share)
    size_draw, seat_draw = rng.standard_normal((2, count))
    made = {
        "need": np.log(station.relative_need(deviate, size_draw, seat_draw)),
        "size": np.log(station.first_size(deviate, size_draw)),
    }
    for name, values in found.items():
        assert ks_2samp(values, made[name]).pvalue > RARE, name
    product = found["need"] * found["size"]
    error = math.sqrt(2 * product.var() / count)
    assert abs(product.mean() - (made["need"] * made["size"]).mean()) < 4 * error
    # negative control: of all seeds, kept or not
    whole = rng.standard_normal(count)
    need = np.log(station.relative_need(whole, size_draw, seat_draw))
    assert ks_2samp(found["need"], need).pvalue < RARE


@pytest.mark.parametrize("margin", [-0.5, 1.0])
def test_later_seeds_are_like_seeds_that_were_tried_one_by_one(margin):
    """Of seeds of one size that hold with seat and load, the seat stays."""
    station = station_of()
    _, seat, load = spreads_of(station)
    level, speed = 0.03, BENCH.peripheral_speed
    vacuum = station.needed(speed, station.resistance) * math.exp(margin)
    chances = station.chances(vacuum, Moment(speed=speed, level=level))
    room = station.room_for(chances, 0.9, station.covers(0.7, 1.0))
    rng = np.random.default_rng(12)
    t, rest = rng.standard_normal((2, MANY))
    tried = seat * t + load * rest < np.log(vacuum * room.part / room.needed)
    assert abs(tried.mean() - room.hold) < 4 * math.sqrt(room.hold * (1 - room.hold) / MANY)
    found = seat * t[tried]
    rank, draw = rng.random(len(found)), rng.standard_normal(len(found))
    made = np.log(station.later_needed(room, rank, draw) / room.needed)
    assert ks_2samp(found, made).pvalue > RARE
    # negative control: seats of all seeds of that size
    assert ks_2samp(found, seat * rng.standard_normal(len(found))).pvalue < RARE


# ---------------------------------------------------------------- room for more


def chances_at(station, vacuum):
    """Chances in an ordinary pool."""
    return station.chances(vacuum, Moment(speed=BENCH.peripheral_speed, level=0.03))


def test_a_second_seed_has_less_than_a_first():
    """On its part it holds more rarely than on the whole hole, and more so the bigger it is."""
    station = station_of()
    chances = chances_at(station, 4e3)
    other = np.linspace(0.7, 1.3, 7)
    room = station.room_for(chances, other, station.covers(0.49, 1.0))
    assert room.part == pytest.approx(USUAL.most_covered * 0.7)
    assert room.needed == pytest.approx(chances.needed * other**4)
    margin = np.log(4e3 * room.part / room.needed)
    assert room.hold == pytest.approx(ndtr(margin / station.later_spread))
    assert np.all(np.diff(room.hold) < 0)
    assert np.all(room.hold[other >= 1] < chances.hold)


def test_what_earlier_seeds_cover_is_gone():
    """Half of a hole covered leaves half of the part, and all of it leaves none."""
    station = station_of()
    chances = chances_at(station, 4e3)
    whole, half, none = (
        station.room_for(chances, 1.0, station.covers(0.6, free)) for free in (1.0, 0.5, 0.0)
    )
    assert half.part == pytest.approx(whole.part / 2)
    assert 0 < half.hold < whole.hold
    assert none.part == 0


def test_a_seed_that_covers_next_to_nothing_still_has_a_need():
    """Where no seed in a thousand years would hold, what it needs is above 0 all the same."""
    station = station_of(hold_spread=0.1, resistance_cv=0.0)
    chances = chances_at(station, 1.2e3)
    room = station.room_for(chances, 1.4, station.covers(1e-12, 1.0))
    assert ndtr(np.log(1.2e3 * room.part / room.needed) / station.later_spread) == 0
    assert station.later_needed(room, 0.5, 0.0) > 0


def test_no_cell_has_more_seeds_than_follow_each_other_by_chance():
    """Further seeds are Poisson: counted on a run against a mean that is the same for all.

    Seeds of one size and shape in one pose, on holes that are alike.
    """
    lot = dataclasses.replace(
        BENCH.lot, size_cv=0.0, shape_cv=0.0, thickness=BENCH.lot.width, name="one of a kind"
    )
    scenario = dataclasses.replace(BENCH.replace(run__turns=300, singulator__notch=-8.0), lot=lot)
    k = dataclasses.replace(USUAL, hole_spread=0.0, run_out=0.0, avalanche_angle=0.0, seconds=0.6)
    stations = stations_of(scenario, k)
    run = simulate(scenario, stations=stations)
    gate = stations.gate
    at = Moment(speed=scenario.peripheral_speed, level=gate.level(gate.full(Moment("gate"))))
    chances = stations.pickup.chances(scenario.vacuum.vacuum, at)
    mean = float(stations.pickup.later(chances, lot.width))
    more = run.cells.joined[run.cells.joined > 0] - 1
    for number in (0, 1, 2):
        chance = math.exp(-mean) * mean**number / math.factorial(number)
        error = math.sqrt(chance * (1 - chance) / len(more))
        assert abs((more == number).mean() - chance) < 4 * error, number
        other = math.exp(-1.2 * mean) * (1.2 * mean) ** number / math.factorial(number)
        assert number == 1 or abs((more == number).mean() - other) > 4 * error  # control


# ---------------------------------------------------------------- one pose


def test_one_pose_per_seed():
    """A seed on edge needs more, and is narrower for the edge of the singulator."""
    station = station_of()
    lot = station.lot
    assert station.pose_need(True) == 1
    assert station.pose_need(False) == pytest.approx(lot.width / lot.thickness)
    assert station.narrow_side(True, 1.0) == lot.width
    assert station.narrow_side(False, 1.0) == lot.thickness
    chances = chances_at(station, 4e3)
    flat, on_edge = (station.limit(chances, pose) for pose in (True, False))
    assert flat - on_edge == pytest.approx(math.log(lot.width / lot.thickness) / station.spread)


def test_flat_seeds_hold_best_so_more_of_those_that_hold_lie_flat():
    """By the chances to hold in either pose, which add up; at a high vacuum as they come."""
    station = station_of()
    ranks = (np.arange(100_000) + 0.5) / 100_000
    for vacuum in (600.0, 1.5e3, 14e3):
        chances = chances_at(station, vacuum)
        flat, on_edge = (ndtr(station.limit(chances, pose)) for pose in (True, False))
        both = station.flat * flat + (1 - station.flat) * on_edge
        assert chances.hold == pytest.approx(both)
        share = station.lies_flat(chances, ranks).mean()
        assert share == pytest.approx(station.flat * flat / both, abs=1e-4)
        assert share > station.flat
    assert share == pytest.approx(station.flat, abs=0.01)


def test_a_ball_knows_no_pose():
    """Its faces are alike, so it makes no difference how it lies."""
    round_lot = dataclasses.replace(
        BENCH.lot, length=7e-3, width=7e-3, thickness=7e-3, name="balls"
    )
    station = dataclasses.replace(station_of(), lot=round_lot)
    assert station.flat == 0.5
    assert station.pose_need(False) == 1
    assert station.narrow_side(True, 1.0) == station.narrow_side(False, 1.0)


def test_a_huge_hole_carries_six_seeds_and_no_more():
    """liao2018 saw up to six on one hole; a cell of ours carries so many and not one more."""
    run = ran(
        disc__hole_diameter=0.75 * BENCH.seeds.width,
        disc__cells=16,
        vacuum__vacuum=5e3,
        singulator__notch=-10.0,
        demand__speed=0.5,
    )
    joined = run.cells.joined
    assert joined.max() == MOST_SEEDS == 6
    counts = np.bincount(joined, minlength=MOST_SEEDS + 1)[1:]
    assert np.all(counts > 0)
    assert np.all(run.seeds.nth < MOST_SEEDS)
    # negative control: a hole of half the width does not
    assert ran(disc__hole_diameter=0.5 * BENCH.seeds.width).cells.joined.max() < MOST_SEEDS
