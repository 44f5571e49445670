"""Planned places: a row is judged by its plan where speed, rate or stops change along a pass."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.reading import load_scenario
from metersim.machine.travel import read_profile, way_of
from metersim.measures.estimates import measure
from metersim.measures.places import mean_fall, planned_at, planned_place, sown_distance
from metersim.measures.spacing import class_counts, spacings_of
from metersim.measures.tally import tallied
from metersim.run.simulation import simulate

STEADY, NONE = "steady", "none"
SPEED, RATE, SPACING = 2.0, 8.0, 0.2
TURNS = "turns=300"


def way(speeds=STEADY, rates=STEADY, off=NONE):
    """A pass with changes along it."""
    profile, wrong = read_profile(speeds, rates, off)
    assert not wrong
    return way_of(profile, SPEED, RATE, SPACING)


WAYS = {
    "speed": way(speeds="0 s 4 km/h, 5 s 9 km/h, 12 s 6 km/h"),
    "rate": way(rates="4 s 60000/ha, 20 m 95000/ha"),
    "off": way(off="5 s to 8 s, 30 m to 42 m"),
}


@pytest.mark.parametrize("name", WAYS)
def test_seeds_without_scatter_lie_one_spacing_apart(name):
    """A seed that leaves at each planned place and falls for a while is one place on."""
    pass_, fall = WAYS[name], 0.4
    turned = np.arange(1, 300) * SPACING / SPEED  # nominal times of the drive
    leaves = pass_.time_of(turned)
    lies = pass_.distance_at(leaves + fall)
    places = planned_place(pass_, lies, fall)
    assert np.diff(places) == pytest.approx(SPACING, abs=1e-9)
    assert not np.allclose(np.diff(lies), SPACING, rtol=0.05)  # negative control: in metres


def test_a_row_that_is_off_stands_still_in_its_plan():
    pass_ = WAYS["off"]
    ends = np.array([5.0, 8.0])
    assert np.diff(planned_at(pass_, ends)) == 0 and np.diff(pass_.distance_at(ends)) == 6
    assert float(sown_distance(pass_, 12.0)) == pytest.approx(24 - 6)
    steady_rate = WAYS["rate"]
    assert float(sown_distance(steady_rate, 12.0)) == pytest.approx(24)  # on all the way
    assert float(planned_at(steady_rate, 12.0)) != pytest.approx(24, rel=0.01)


def apart(one, other, column, of):
    """Difference of two shares over its standard error, from the spread between stretches."""
    shares, variances = [], []
    for found in (one, other):
        top, bottom = found.sums[column], found.sums[of]
        share = top.sum() / bottom.sum()
        rest = top - share * bottom
        n = len(top)
        shares.append(share)
        variances.append(n / (n - 1) * (rest**2).sum() / bottom.sum() ** 2)
    return (shares[1] - shares[0]) / math.sqrt(sum(variances))


CHANGES = {
    "rate": "rates=40 s 79999/ha, 90 m 80000/ha",
    "off": "off=20 s to 26 s, 80 m to 95 m, 120 m to 124 m",
}
ROUND = ["rate_per_ha=80000", TURNS]


@pytest.mark.parametrize("name", CHANGES)
def test_a_pass_of_the_same_rate_has_the_indices_of_a_steady_one(name):
    """Rows that stop, or whose rate hardly changes, are as even as a steady row."""
    usual = measure(tallied(load_scenario("maize_field", ROUND), seed=1))
    other = measure(tallied(load_scenario("maize_field", [*ROUND, CHANGES[name]]), seed=2))
    for column in ("class1", "class2", "class3"):
        assert abs(apart(usual, other, column, "spacings")) < 4, column
    assert abs(apart(usual, other, "shown3", "shown")) < 4


def test_a_rate_that_changes_has_the_indices_of_its_parts():
    """Half of the row at 60,000, half at 100,000: its indices lie half way between the two."""
    high = load_scenario("maize_field", ["rate_per_ha=100000", TURNS])
    low = load_scenario("maize_field", ["rate_per_ha=60000", TURNS])
    half = high.passages / 2 * high.spacing  # m; half of the planned seeds
    both = load_scenario(
        "maize_field", ["rate_per_ha=100000", TURNS, f"rates={half:.2f} m 60000/ha"]
    )
    parts = [measure(tallied(one, seed=k)) for k, one in enumerate((high, low), 1)]
    found = measure(tallied(both, seed=3))
    for column in ("class1", "class2", "class3"):
        shares, variances = zip(*(share_of(one, column) for one in (*parts, found)), strict=True)
        error = math.sqrt(variances[0] / 4 + variances[1] / 4 + variances[2])
        assert abs(shares[2] - (shares[0] + shares[1]) / 2) < 4 * error, column
    run = simulate(both, seed=3)
    counts = class_counts(spacings_of(run.seeds.position), both.spacing)  # negative control
    shares = [share_of(one, "class3")[0] for one in parts]
    error = math.sqrt(share_of(found, "class3")[1])
    assert abs(counts[2] / counts.sum() - sum(shares) / 2) > 4 * error


def share_of(found, column):
    """Share of spacings in a class, and its variance from the spread between equal stretches."""
    top, bottom = found.sums[column], found.sums["spacings"]
    share = top.sum() / bottom.sum()
    return share, share * (1 - share) / bottom.sum() * 2  # neighbours depend on each other


def test_seeds_of_a_stop_are_not_missed():
    """Twenty stops leave twenty gaps in metres, and none in planned places."""
    stops = ", ".join(f"{40 * k + 10} m to {40 * k + 20} m" for k in range(1, 21))
    scenario = load_scenario("maize_field", [f"off={stops}", TURNS])
    found, run = measure(tallied(scenario, seed=4)), simulate(scenario, seed=4)
    in_metres = class_counts(spacings_of(run.seeds.position), scenario.spacing)
    missed = int(found.sums["class5"].sum())
    assert in_metres[4] >= 20 + missed  # negative control
    assert missed <= 3
    assert found["placed.per_area"].value == pytest.approx(
        scenario.demand.rate, rel=0.03
    )  # of the ground that was sown


def test_pulses_of_a_pass_are_where_the_machine_is():
    scenario = load_scenario(
        "maize_field", ["speeds=0 s 4 km/h, 20 s 9 km/h", "observed=pulses", "turns=60"]
    )
    found = measure(tallied(scenario, seed=5))
    as_dug = measure(tallied(dataclasses.replace(scenario.replace(furrow__observed=None)), seed=5))
    assert found["spacing.mean"].value == pytest.approx(as_dug["spacing.mean"].value, rel=0.01)
    assert found["precision"].value < as_dug["precision"].value  # soil scatters no pulse


def test_mean_fall_is_that_of_the_records():
    run = simulate(load_scenario("maize_field", ["turns=10"]), seed=6)
    falls = run.seeds.landing_time - run.seeds.release_time
    assert mean_fall(run.seeds) == pytest.approx(falls.mean())
    assert math.isnan(mean_fall(run.seeds.part(slice(0, 0))))
