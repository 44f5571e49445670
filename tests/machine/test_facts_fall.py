"""Release, tube and furrow: seed by seed on the same draws, and contacts as a Poisson number."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.integrate import quad

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.stations import stations_of
from metersim.run.simulation import simulate
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
    k = tuned(**CLEAN | {"launch_spread": 0.1, "guide_narrowing": factor, "eccentricity": 0.1})
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
    "slow": ({"demand__speed": 0.6}, {"contact_base": 0.9}),
    "usual": ({}, {}),
    "fast": ({"demand__speed": 4.0}, {}),
    "curved": ({"tube__tube_curvature": math.radians(50)}, {"curvature_contacts": 1.5}),
    "worn": ({"tube__tube_wear": 0.8}, {}),
    "long": ({"tube__tube_length": 0.9}, {}),
    "guided": ({"guide__inner_guide": True}, {"guide_narrowing": 0.5}),
    "rough": ({}, {"good_tube": 1.6, "contact_knee": 0.4}),
}


def contacts_by_hand(scenario, k):
    """Mean number of contacts: at rest, and by squared speed up to the knee; by tube and length."""
    speed, tube = scenario.peripheral_speed, scenario.tube
    sideways = k.contact_by_speed * (k.guide_narrowing if scenario.guide.inner_guide else 1)
    energy = 1 / (1 / speed**2 + 1 / k.contact_knee**2)
    bends = 1 + k.curvature_contacts * tube.tube_curvature
    worn = 1 + k.wear_contacts * tube.tube_wear
    each = k.good_tube * bends * worn * tube.tube_length / 0.45
    return (k.contact_base + sideways * energy) * each


@pytest.mark.parametrize("name", TUBES)
def test_seeds_touch_the_wall_a_poisson_number_of_times(name):
    """Mean and variance of the contacts of a run's seeds, and the share that touches nothing."""
    changes, values = TUBES[name]
    k = tuned(**values)
    run = sown(k, **{"run__turns": 400} | changes)
    contacts = run.seeds.contacts
    mean, n = contacts_by_hand(run.scenario, k), len(contacts)
    assert mean < 4  # of twelve that are followed
    assert abs(off_mean(contacts, mean, math.sqrt(mean))) < 4
    error = math.sqrt((mean + 2 * mean**2) / n)  # of the variance of a Poisson number
    assert abs(contacts.var() - mean) < 4 * error
    free = math.exp(-mean)
    assert abs((contacts == 0).mean() - free) < 4 * math.sqrt(free * (1 - free) / n)
    # negative controls: a tenth more or fewer
    for factor in (0.9, 1.1):
        assert abs(off_mean(contacts, factor * mean, math.sqrt(mean))) > 4


PARTS = [
    ("slow", "contact_base"),
    ("usual", "contact_by_speed"),
    ("fast", "contact_knee"),
    ("usual", "good_tube"),
    ("curved", "curvature_contacts"),
    ("worn", "wear_contacts"),
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
        mean = contacts_by_hand(run.scenario, moved)
        assert abs(off_mean(run.seeds.contacts, mean, math.sqrt(mean))) > 4


SMOOTH = {"lot__terminal_velocity": 20.0}  # little drag


def delay_by_hand(largest, launch, length=0.45):
    """Mean and mean square of the delay by one contact, in a fall without drag. [s, s2]

    The contact lies anywhere along the tube and takes anything up to the largest share.
    """

    def late(share, x):
        at = math.sqrt(launch**2 + 2 * GRAVITY * x)
        after = at * (1 - share)
        rest = 2 * GRAVITY * (length - x)
        slow = (math.sqrt(after**2 + rest) - after) / GRAVITY
        return slow - (math.sqrt(at**2 + rest) - at) / GRAVITY

    def mean(power):
        def over_shares(x):
            return quad(lambda s: late(s, x) ** power, 0, largest)[0]

        return quad(over_shares, 0, length)[0] / (length * largest)

    return mean(1), mean(2)


# The drag that is left out of the hand's integral is worth a hundredth.
LOSSES = {  # tube, coefficients and the largest share by hand
    "usual": ({}, {}, 0.45 / 0.45 * AT.contact_loss),
    "rough": ({"tube__tube_wear": 0.5}, {"wear_contacts": 6.0, "contact_loss": 0.2}, 0.2 * 2.0),
    "hardest": ({"tube__tube_wear": 1.0}, {"contact_loss": 0.6, "hardest_contact": 0.5}, 0.5),
}


@pytest.mark.parametrize("name", LOSSES)
def test_a_contact_delays_a_seed_by_the_speed_it_takes(name):
    """Of seeds with one contact, over the same seeds in a tube that none touches."""
    changes, values, largest = LOSSES[name]
    straight = {"good_tube": 1.0, "launch_spread": 0.0, "eccentricity": 0.0}
    setting = {"run__turns": 300, "tube__tube_curvature": 0.0, "tube__tube_wear": 0.0} | changes
    k = tuned(**straight | values)
    free = dataclasses.replace(k, contact_base=0.0, contact_by_speed=0.0)
    run, clean = (sown(c, **SMOOTH, **EDGE_AWAY, **setting) for c in (k, free))
    once = run.seeds.contacts == 1
    delay = (run.seeds.landing_time - clean.seeds.landing_time)[once]
    assert len(delay) > 200
    mean, square = delay_by_hand(largest, run.scenario.peripheral_speed)
    sd = math.sqrt(square - mean**2)
    assert abs(off_mean(delay, mean, sd)) < 4
    for factor in (0.8, 1.2):  # negative controls
        other = delay_by_hand(min(factor * largest, 1.0), run.scenario.peripheral_speed)[0]
        assert abs(off_mean(delay, other, sd)) > 4


def test_the_largest_loss_grows_with_the_root_of_roughness_up_to_the_hardest():
    """At the stations of a new and a worn tube, straight and curved."""
    for curve, wear in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.6), (1.0, 1.0)):
        scenario = meter(tube__tube_curvature=curve, tube__tube_wear=wear)
        rough = AT.good_tube * (1 + AT.curvature_contacts * curve)
        rough *= 1 + AT.wear_contacts * wear
        for hardest in (0.9, 0.5):
            k = tuned(hardest_contact=hardest)
            found = stations_of(scenario, k).tube.largest_loss
            assert found == pytest.approx(min(AT.contact_loss * math.sqrt(rough), hardest))


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
    run, belt = sown(k, **setting), sown(k, **setting | {"furrow__surface": "bench"})
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
    pull = k.resistance * math.tan(LOT.repose_angle)
    turning = good.scenario.peripheral_speed**2 / (GRAVITY * 0.11)
    share = needs * (1 + turning) / (1 + pull + turning) / good.scenario.vacuum.vacuum
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
    shaken = simulate(scenario, stations=stations).seeds
    at_rest = simulate(scenario, stations=dataclasses.replace(stations, row_unit=still)).seeds
    both = np.intersect1d(shaken.cell, at_rest.cell)
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
