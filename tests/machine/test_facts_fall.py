"""Release, tube and furrow: seed by seed on the same draws, and contacts that damp each other."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.linalg import expm

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.stations import stations_of
from metersim.run.simulation import simulate
from tests.byhand import Pool
from tests.facts import AT, CLEAN, first_of, meter, off_mean, sown, travels, tuned

LOT = meter().lot
EDGE_AWAY = {"singulator__notch": -5.0}


# ---------------------------------------------------------------- release


@pytest.mark.parametrize("lag", [AT.double_lag, 0.9])
def test_a_second_seed_leaves_later_by_its_own_size(lag):
    """Disc travel between the two is that share of the second seed's width, to the last digit."""
    k = tuned(**CLEAN, double_lag=lag)
    run = sown(
        k,
        **EDGE_AWAY,
        run__turns=60,
        disc__hole_diameter=5.4e-3,
        seed__size_cv=0.12,
        vacuum__vacuum=8e3,
    )
    seeds = run.seeds
    behind = np.flatnonzero((seeds.nth[1:] > 0) & (seeds.cell[1:] == seeds.cell[:-1])) + 1
    assert len(behind) > 100
    speed = run.scenario.peripheral_speed
    later = (seeds.release_time[behind] - seeds.release_time[behind - 1]) * speed
    assert later / seeds.size[behind] == pytest.approx(lag * LOT.width, rel=1e-6)
    assert np.std(seeds.size[behind]) > 0.05  # so that a lag without size would be seen


def aside(run):
    """Directions of launch of seeds that no tube keeps in line. [rad]"""
    seeds = run.seeds
    way = seeds.position - run.scenario.demand.speed * seeds.landing_time
    return way / (run.scenario.peripheral_speed * (seeds.landing_time - seeds.release_time))


@pytest.mark.parametrize("spread", [AT.launch_spread, math.radians(15)])
def test_without_a_tube_directions_of_launch_have_their_spread(spread):
    """SD of the way along the row over disc speed and time of fall."""
    k = tuned(**CLEAN | {"launch_spread": spread})
    found = aside(sown(k, **EDGE_AWAY, run__turns=100, tube__tube_fitted=False))
    n = len(found)
    assert abs(off_mean(found, 0.0, spread)) < 4
    assert abs(found.std() / spread - 1) < 4 / math.sqrt(2 * n)
    assert abs(found.std() / spread / 1.1 - 1) > 4 / math.sqrt(2 * n)  # negative control


@pytest.mark.parametrize("factor", [AT.guide_narrowing, 0.4])
def test_a_guide_leaves_its_share_of_every_launch(factor):
    """The same seeds with and without it: each is launched that share as far aside."""
    k = tuned(
        **CLEAN
        | {"launch_spread": 0.1, "guide_narrowing": factor, "eccentricity": 0.1, "inner_gap": 2.0}
    )
    bare, guided = (
        aside(sown(k, **EDGE_AWAY, run__turns=20, tube__tube_fitted=False, guide__inner_guide=on))
        for on in (False, True)
    )
    assert guided == pytest.approx(factor * bare, rel=1e-6, abs=1e-9)


def test_seeds_launched_aside_fall_longer_by_what_their_direction_takes():
    """Downward is sqrt(1 - s^2) of disc speed: at most a delay of u s^2/(2 g), and nearly so."""
    straight = sown(tuned(**CLEAN), **EDGE_AWAY, run__turns=60, tube__tube_fitted=False)
    k = tuned(**CLEAN | {"launch_spread": 0.2})
    run = sown(k, **EDGE_AWAY, run__turns=60, tube__tube_fitted=False)
    late = run.seeds.landing_time - straight.seeds.landing_time
    speed = run.scenario.peripheral_speed
    most = speed * (1 - np.sqrt(1 - aside(run) ** 2)) / GRAVITY
    assert np.all(late <= most * (1 + 1e-6) + 1e-12)
    assert late.sum() == pytest.approx(most.sum(), rel=0.12)  # but for u over the last speed


# ---------------------------------------------------------------- contacts

TUBES = {
    "slow": ({"demand__speed": 0.6}, {"contacts": 6.0}),
    "usual": ({}, {}),
    "fast": ({"demand__speed": 4.0}, {}),
    "curved": ({"tube__tube_curvature": math.radians(50)}, {"curvature_contacts": 1.5}),
    "worn": ({"tube__tube_wear": 0.8}, {}),
    "long": ({"tube__tube_length": 0.9}, {}),
    "guided": ({"guide__inner_guide": True}, {"guide_narrowing": 0.5, "contacts": 2.0}),
    "spread": ({}, {"launch_spread": 0.2}),
    "lively": ({"tube__tube_wear": 0.5}, {"contact_damping": 0.8}),
}


def rate_by_hand(scenario, k):
    """First contacts in a fall: by sideways energy and by the curve; by wear and by length."""
    speed, tube = scenario.peripheral_speed, scenario.tube
    aside = k.launch_spread * (k.guide_narrowing if scenario.guide.inner_guide else 1) * speed
    each = k.contacts * aside**2 / 0.035**2 + k.curvature_contacts * tube.tube_curvature
    return each * (1 + k.wear_contacts * tube.tube_wear) * tube.tube_length / 0.45


def contacts_by_hand(scenario, k):
    """Chance of each number of contacts: each leaves its share of the rate of the next one."""
    rates = rate_by_hand(scenario, k) * k.contact_damping ** np.arange(12)
    steps = np.diag(np.append(-rates, 0.0)) + np.diag(rates, 1)
    return expm(steps)[0]


def moments(chances):
    """Mean and variance of a number, and its fourth moment about the mean."""
    number = np.arange(len(chances))
    mean = chances @ number
    return mean, chances @ (number - mean) ** 2, chances @ (number - mean) ** 4


@pytest.mark.parametrize("name", TUBES)
def test_seeds_touch_the_wall_ever_less_often_the_more_they_have_touched_it(name):
    """Mean and variance of the contacts of a run's seeds, and the share that touches nothing."""
    changes, values = TUBES[name]
    k = tuned(**values)
    run = sown(k, **{"run__turns": 400} | changes)
    contacts = run.seeds.contacts
    chances, n = contacts_by_hand(run.scenario, k), len(contacts)
    mean, variance, fourth = moments(chances)
    assert abs(off_mean(contacts, mean, math.sqrt(variance))) < 4
    assert abs(contacts.var() - variance) < 4 * math.sqrt((fourth - variance**2) / n)
    free = math.exp(-rate_by_hand(run.scenario, k))
    assert chances[0] == pytest.approx(free)
    assert abs((contacts == 0).mean() - free) < 4 * math.sqrt(free * (1 - free) / n)
    # negative controls: a tenth more or fewer
    for factor in (0.9, 1.1):
        assert abs(off_mean(contacts, factor * mean, math.sqrt(variance))) > 4


def test_contacts_saturate_with_the_speed_of_the_disc():
    """Twice the speed makes nearly four times the contacts of a slow disc, but adds hardly one to
    those of a fast one; without damping the number would go on with the square.
    """

    def number(k, speed):
        run = sown(k, demand__speed=speed, tube__tube_curvature=0.0, run__turns=30)
        return run.seeds.contacts.mean()

    slow, twice, fast, most = (number(AT, speed) for speed in (0.5, 1.0, 3.0, 6.0))
    assert twice > 2.5 * slow
    assert most < fast + 1.3
    free = tuned(contact_damping=1.0)
    assert number(free, 6.0) > number(free, 3.0) + 3  # control


PARTS = [
    ("usual", "contacts"),
    ("usual", "launch_spread"),
    ("curved", "curvature_contacts"),
    ("worn", "wear_contacts"),
    ("worn", "contact_damping"),
    ("guided", "guide_narrowing"),
]


@pytest.mark.parametrize(("name", "coefficient"), PARTS)
def test_a_fifth_more_or_less_is_seen_in_the_contacts(name, coefficient):
    """Negative controls of the above, coefficient by coefficient."""
    changes, values = TUBES[name]
    k = tuned(**values)
    run = sown(k, **{"run__turns": 400} | changes)
    for factor in (0.8, 1.2):
        moved = dataclasses.replace(k, **{coefficient: factor * getattr(k, coefficient)})
        mean, variance, _ = moments(contacts_by_hand(run.scenario, moved))
        assert abs(off_mean(run.seeds.contacts, mean, math.sqrt(variance))) > 4


SLICK = {"lot__terminal_velocity": 20.0}  # little drag
ENTERED = {"launch_spread": 0.0, "eccentricity": 0.0, "curvature_contacts": 1.4}


def shares_by_hand(middle, hardest, many=400):
    """Shares of speed that a contact takes, all as likely: exponential tails about the median."""
    rank = (np.arange(many) + 0.5) / many
    tails = np.where(rank < 0.5, np.log(2 * rank), -np.log(2 * (1 - rank)))
    return np.clip(middle * (1 + tails / 2), 0, hardest)


def delay_by_hand(shares, launch, damping_lost, length=0.45):
    """Mean and mean square of the delay by the only contact, in a fall without drag. [s, s2]

    It lies rather near the top, by the rate that it took off all later ones.
    """
    x = (np.arange(400)[:, None] + 0.5) / 400 * length
    weight = np.exp(-damping_lost * x / length)
    at = np.sqrt(launch**2 + 2 * GRAVITY * x)
    after = at * (1 - shares)
    rest = 2 * GRAVITY * (length - x)
    late = (np.sqrt(after**2 + rest) - after - np.sqrt(at**2 + rest) + at) / GRAVITY
    return tuple((weight * late**power).mean() / weight.mean() for power in (1, 2))


# The drag that is left out of the hand's sum is worth a hundredth.
LOSSES = {  # tube, coefficients, and the median share by hand
    "usual": ({}, {}, AT.contact_loss),
    "rough": ({"tube__tube_wear": 0.5}, {"wear_contacts": 6.0, "contact_loss": 0.1}, 0.1 * 2.0),
    "hardest": ({}, {"contact_loss": 0.4, "hardest_contact": 0.5}, 0.4),
}


@pytest.mark.parametrize("name", LOSSES)
def test_a_contact_delays_a_seed_by_the_speed_it_takes(name):
    """Of seeds with one contact, over the same seeds in a tube that none touches."""
    changes, values, middle = LOSSES[name]
    setting = {"run__turns": 300, "tube__tube_curvature": 0.5, "tube__tube_wear": 0.0} | changes
    k = tuned(**ENTERED | values)
    free = dataclasses.replace(k, curvature_contacts=0.0)
    run, clean = (sown(c, **SLICK, **EDGE_AWAY, **setting) for c in (k, free))
    once = run.seeds.contacts == 1
    delay = (run.seeds.landing_time - clean.seeds.landing_time)[once]
    assert len(delay) > 200
    lost = (1 - k.contact_damping) * rate_by_hand(run.scenario, k)

    def by_hand(factor):
        shares = shares_by_hand(factor * middle, k.hardest_contact)
        return delay_by_hand(shares, run.scenario.peripheral_speed, lost)

    mean, square = by_hand(1.0)
    sd = math.sqrt(square - mean**2)
    assert abs(off_mean(delay, mean, sd)) < 4
    for factor in (0.8, 1.2):  # negative controls
        assert abs(off_mean(delay, by_hand(factor)[0], sd)) > 4


@pytest.mark.parametrize("deflection", [AT.deflection, 0.8])
def test_a_seed_leaves_the_tube_aside_by_the_speed_its_last_contact_took(deflection):
    """Its place, over that of the same seed in a tube that does not throw it aside.

    Variance of the way: that of the direction times the mean square of speed lost over landing
    speed times 5 cm.  Of the seeds with one contact, speeds are those of falls without drag.
    """
    setting = {"run__turns": 300, "tube__tube_curvature": 0.5, "tube__tube_wear": 0.0}
    k = tuned(**ENTERED, deflection=deflection)
    runs = [
        sown(one, **SLICK, **EDGE_AWAY, **setting)
        for one in (k, dataclasses.replace(k, deflection=0.0))
    ]
    once = runs[0].seeds.contacts == 1
    way = (runs[0].seeds.position - runs[1].seeds.position)[once]
    launch, share = runs[0].scenario.peripheral_speed, shares_by_hand(k.contact_loss, 0.9)
    x = (np.arange(400)[:, None] + 0.5) / 400 * 0.45
    weight = np.exp(-(1 - k.contact_damping) * rate_by_hand(runs[0].scenario, k) * x / 0.45)
    at = np.sqrt(launch**2 + 2 * GRAVITY * x)
    landing = np.sqrt((at * (1 - share)) ** 2 + 2 * GRAVITY * (0.45 - x))
    each = at * share / landing * 0.05
    square, fourth = ((weight * each**power).mean() / weight.mean() for power in (2, 4))
    sd = deflection * math.sqrt(square)
    assert abs(off_mean(way, 0.0, sd)) < 4
    error = math.sqrt(
        3 * fourth / square**2 / len(way)
    )  # of the mean square over what it should be
    assert abs((way**2).mean() / sd**2 - 1) < 4 * error
    assert np.all(
        runs[0].seeds.position[~once & (runs[0].seeds.contacts == 0)]
        == runs[1].seeds.position[~once & (runs[0].seeds.contacts == 0)]
    )


def test_a_seed_that_touches_nothing_leaves_the_tube_as_it_was_launched():
    """Below the tube, 5 cm at landing speed, it goes on aside; above it has no room to."""
    k = tuned(**CLEAN | {"launch_spread": 0.1})
    straight = tuned(**CLEAN)
    (run, bare), clean = (
        [sown(k, **EDGE_AWAY, run__turns=20, tube__tube_fitted=on) for on in (True, False)],
        sown(straight, **EDGE_AWAY, run__turns=20),
    )
    seeds = run.seeds
    assert seeds.contacts.sum() == 0
    way = seeds.position - run.scenario.demand.speed * seeds.landing_time
    ratio = way / (aside(bare) * run.scenario.peripheral_speed)  # time below the tube
    rest = math.exp(-2 * GRAVITY * 0.45 / LOT.terminal_velocity**2)
    end = math.sqrt(LOT.terminal_velocity**2 * (1 - rest))
    far = np.abs(way) > 1e-5
    assert far.mean() > 0.9
    assert ratio[far] == pytest.approx(0.05 / end, rel=0.05)  # but for its own size and launch
    way = clean.seeds.position - run.scenario.demand.speed * clean.seeds.landing_time
    assert way == pytest.approx(0.0, abs=1e-9)


def test_a_belt_scatters_seeds_by_its_own_spread():
    """Beside the same seeds whose places are known from pulses, which no belt moves.

    It is stated for a seed of 7 mm, and goes with size.
    """
    for stated in (AT.landing_scatter, 0.02):
        k, scatter = tuned(landing_scatter=stated), stated * LOT.gmd / 7e-3
        belt, pulses = (sown(k, furrow__observed=how) for how in ("belt", "pulses"))
        way = belt.seeds.position - pulses.seeds.position
        assert abs(off_mean(way, 0.0, scatter)) < 4
        assert abs(way.std() / scatter - 1) < 4 / math.sqrt(2 * len(way))
        assert abs(way.std() / scatter / 1.1 - 1) > 4 / math.sqrt(2 * len(way))  # control


# ---------------------------------------------------------------- furrow

# A field whose row unit does not shake and whose soil does not scatter; a bench is its like.
FIELD = {
    "furrow__surface": "field",
    "row_unit__shock_per_speed": 0.0,
    "furrow__soil_scatter": 0.0,
    "run__turns": 100,
}


def hops(k, **changes):
    """Ways and times that seeds hop, against the same seeds on a belt; and their speed down."""
    setting = FIELD | changes
    bench = {"furrow__surface": "bench", "furrow__observed": "pulses"}  # no belt moves a seed
    run, belt = sown(k, **setting), sown(k, **setting | bench)
    assert np.array_equal(run.seeds.release_time, belt.seeds.release_time)
    way = run.seeds.position - belt.seeds.position
    return way, run.seeds.landing_time - belt.seeds.landing_time, run


@pytest.mark.parametrize("curve", [0.0, math.radians(40)])
@pytest.mark.parametrize("hop", [AT.hop, 0.08])
def test_seeds_hop_as_far_as_the_speed_they_keep_throws_them(hop, curve):
    """Mean over the same run without a hop: 2 e v cos/g (V - v sin), of an exponential e.

    The speed v at the end of a fall is that of the closed form with drag, from the disc's speed.
    """
    k = tuned(**CLEAN | {"hop": hop, "eccentricity": 0.0})
    way, time, run = hops(k, tube__tube_curvature=curve, seed__size_cv=0.0)
    limit, launch = LOT.terminal_velocity, run.scenario.peripheral_speed
    rest = math.exp(-2 * GRAVITY * 0.45 / limit**2)
    speed = math.sqrt(launch**2 * rest + limit**2 * (1 - rest))
    air = 2 * hop * speed * math.cos(curve) / GRAVITY
    forward = run.scenario.demand.speed - speed * math.sin(curve)
    assert abs(off_mean(time, air, air)) < 4
    assert way == pytest.approx(time * forward, abs=1e-9)
    for factor in (0.9, 1.1):  # negative controls
        assert abs(off_mean(time, factor * air, air)) > 4
    # exponential: as many as 1/e hop longer than the mean
    share = (time > air).mean()
    assert abs(share - math.exp(-1)) < 4 * math.sqrt(math.exp(-1) / len(time))


@pytest.mark.parametrize("factor", [AT.firmer_factor, 0.3])
@pytest.mark.parametrize("scatter", [0.0, 0.02])
def test_a_firmer_leaves_its_share_of_every_hop_and_of_every_scatter(factor, scatter):
    """The same seeds with and without it: each lies that share as far from where it landed."""
    k = tuned(firmer_factor=factor)
    bare, firm = (
        hops(k, furrow__soil_scatter=scatter, furrow__firmer=on)[0] for on in (False, True)
    )
    assert np.std(bare) > 1e-3
    assert firm == pytest.approx(factor * bare, abs=1e-9)


def test_soil_scatters_seeds_by_its_own_spread():
    """SD of resting places beside a hop: what the scenario says."""
    k = tuned(hop=0.0)
    way = hops(k, furrow__soil_scatter=0.02)[0]
    n = len(way)
    assert abs(off_mean(way, 0.0, 0.02)) < 4
    assert abs(way.std() / 0.02 - 1) < 4 / math.sqrt(2 * n)
    assert abs(way.std() / 0.022 - 1) > 4 / math.sqrt(2 * n)  # negative control


# ---------------------------------------------------------------- cut-off


def test_a_worn_edge_lets_seeds_go_later_by_what_they_do_not_need():
    """Added travel: the arc of decay times the share of the vacuum that a seed does without."""
    arc = math.radians(8)
    k = tuned(**CLEAN)
    good, worn = (
        sown(k, **EDGE_AWAY, run__turns=40, cutoff__decay_arc=decay) for decay in (0.0, arc)
    )
    later = travels(worn) - travels(good)
    needs = first_of(good, "needed")[good.seeds.cell[good.seeds.nth == 0]]
    alone = good.cells.released[good.seeds.cell[good.seeds.nth == 0]] == 1
    pool = Pool(good.scenario, k)
    load = (1 + pool.turning) / (1 + pool.pull + pool.turning)
    share = needs * load / good.scenario.vacuum.vacuum
    assert later[alone] == pytest.approx(arc * 0.11 * (1 - share[alone]), rel=1e-6)


# ---------------------------------------------------------------- shaking


def test_a_shaking_row_unit_hastens_and_delays_falls_by_its_own_speed():
    """Harmonic at 30 Hz: the speed is acceleration/omega, and a launch faster by dv lands
    dv t/v sooner (first order).  The same seeds in a row unit that shakes and in one that does not.
    """
    scenario = meter(
        furrow__surface="field",
        row_unit__shock_per_speed=0.3 * GRAVITY,
        run__turns=100,
        **EDGE_AWAY,
    )
    k = tuned(**CLEAN | {"hop": 0.0, "eccentricity": 0.0})
    stations = stations_of(scenario, k)
    still = dataclasses.replace(stations.row_unit, acceleration_sd=0.0)
    moving = simulate(scenario, stations=stations)
    resting = simulate(scenario, stations=dataclasses.replace(stations, row_unit=still))
    shaken, at_rest = moving.seeds, resting.seeds
    both = np.flatnonzero((moving.cells.released == 1) & (resting.cells.released == 1))
    late = shaken.landing_time[np.isin(shaken.cell, both)]
    late = late - at_rest.landing_time[np.isin(at_rest.cell, both)]
    speed = 0.3 * GRAVITY * scenario.demand.speed / (2 * math.pi * 30)
    time = at_rest.landing_time - at_rest.release_time
    rest = math.exp(-2 * GRAVITY * 0.45 / LOT.terminal_velocity**2)
    end = math.sqrt(scenario.peripheral_speed**2 * rest + LOT.terminal_velocity**2 * (1 - rest))
    sd, n = speed * np.mean(time) / end, len(late)
    assert abs(off_mean(late, 0.0, sd)) < 4
    assert abs(late.std() / sd - 1) < 4 / math.sqrt(2 * n)
    assert abs(late.std() / sd / 1.1 - 1) > 4 / math.sqrt(2 * n)  # negative control
