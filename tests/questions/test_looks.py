"""Looks: what was counted adds up, neighbours depend as they do, and the true rates fit best."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.questions.shared.looks import (
    BELT,
    DISC,
    LEAST_EFFECT,
    SENSOR,
    SPACED,
    STRETCH,
    Look,
    Rates,
    levels_of,
    loads,
    log_chances,
    look_of_seeds,
    rates,
    rates_of,
)
from metersim.run.simulation import simulate


def chance_of(rates, look):
    """Logarithm of the chance of one look under one meter's rates."""
    return float(log_chances(levels_of([rates]), [look])[0, 0])


BENCH = load_scenario("maize_bench")
CELLS = 200_000
ERROR = math.sqrt(2 / (CELLS / STRETCH - 1))  # of a variance of so many near-normal counts


def events(share, seed=1, cells=CELLS):
    """Independent events."""
    return np.random.Generator(np.random.PCG64(seed)).random(cells) < share


# what was counted


@given(
    singles=st.integers(0, 2000),
    skips=st.integers(0, 500),
    doubles=st.integers(0, 500),
    triples=st.integers(0, 100),
)
def test_cells_are_what_seeds_and_skips_make_them(singles, skips, doubles, triples):
    """N seeds, K skips, J doubles: N + K - J cells; a triple hides two further seeds."""
    seeds = singles + 2 * doubles + 3 * triples
    if not seeds + skips:
        return
    look = look_of_seeds(seeds, skips, doubles, triples)
    assert look.cells == seeds + skips - doubles - 2 * triples
    assert look.cells == singles + skips + doubles + triples  # nothing is lost
    assert look.doubles == doubles + triples
    assert look.skip_share * look.cells == pytest.approx(skips)


@pytest.mark.parametrize(
    ("counted", "key", "words"),
    [
        ((10, 0, 6), "doubles", "6 doubles alone have 12 seeds, more than the 10 counted"),
        ((10, 0, 3, 2), "doubles", "3 doubles and 2 triples alone have 12 seeds"),
        ((-1, 0, 0), "seeds", "-1 is below 0"),
        ((10, -2, 0), "skips", "-2 is below 0"),
        ((0, 0, 0), "seeds", "nothing was counted"),
    ],
)
def test_counts_that_do_not_add_up_are_refused(counted, key, words):
    with pytest.raises(BadInput) as error:
        look_of_seeds(*counted)
    (fault,) = error.value.faults
    assert (fault.where, fault.key) == ("count", key) and fault.message.startswith(words)


def test_as_many_doubles_as_there_are_seeds_for_are_allowed():
    """Negative control of the refusal: the very most is a count as any other."""
    assert look_of_seeds(10, 0, 5).cells == 5
    assert look_of_seeds(0, 3, 0).skip_share == 1


@pytest.mark.parametrize(
    "wrong", [{"cells": 0}, {"skips": -1}, {"doubles": 99}, {"way": "ear"}, {"skips": 101}]
)
def test_a_look_that_cannot_be_is_refused(wrong):
    right = {"cells": 100, "skips": 2, "doubles": 3}
    assert Look(**right).double_share == 0.03
    assert math.isnan(Look(cells=100, skips=2, doubles=None).double_share)
    with pytest.raises(BadInput):
        Look(**right | wrong)


# dependence


@pytest.mark.parametrize("share", [0.02, 0.2, 0.7])
def test_independent_cells_have_an_effect_of_one(share):
    """|z| < 4; the kurtosis of a binomial count adds its part to the error."""
    skips = events(share)
    one = STRETCH * share * (1 - share)
    error = ERROR * math.sqrt(1 + (1 - 6 * share * (1 - share)) / one / 2)
    effect = rates_of(np.where(skips, 0, 1)).skip_effect
    assert abs(effect - 1) < 4 * error
    # negative control: each skip makes the next cell one too
    pairs = skips | np.roll(skips, 1)
    assert rates_of(np.where(pairs, 0, 1)).skip_effect > 1 + 8 * error


def test_runs_of_skips_have_the_effect_of_their_length():
    """Derived: rare runs of L cells have L times the variance, less what the ends cut.

    A run is cut by the end of a stretch with (L - 1) / STRETCH; |z| < 4 about that.
    """
    length, share = 5, 0.004
    starts = events(share)
    cells = np.zeros(CELLS, dtype=bool)
    for k in range(length):
        cells |= np.roll(starts, k)
    lags = np.arange(1, length)
    wanted = 1 + 2 * float(np.sum((1 - lags / STRETCH) * (1 - lags / length)))
    effect = rates_of(np.where(cells, 0, 1)).skip_effect
    # a count is 5 times a Poisson number of runs: its kurtosis makes the error greater
    error = wanted * ERROR * math.sqrt(1 + 1 / (STRETCH * share) / 2)
    assert abs(effect - wanted) < 4 * error + share * length * wanted
    assert effect > 2


def test_regular_events_have_less_than_independent_ones():
    regular = np.arange(CELLS) % 20 == 0
    assert rates_of(np.where(regular, 0, 1)).skip_effect == LEAST_EFFECT
    assert rates_of(np.where(regular, 2, 1)).double_effect == LEAST_EFFECT


def test_where_nothing_is_met_nothing_is_known_of_dependence():
    found = rates_of(np.ones(1000, dtype=int))
    assert (found.skip, found.double, found.skip_effect, found.double_effect) == (0, 0, 1, 1)


def test_starved_cells_depend_on_one_another():
    """Seed arches at a gate too low, and skips come together; in order they do not."""
    starved = rates(load_scenario("gate_too_low"), 20_000, seed=1)
    assert starved.skip_effect > 3
    assert rates(BENCH, 20_000, seed=1).skip_effect < 1.5


# chances


def rates_at(skip, double, cells=10**9):
    """Rates that are known for sure."""
    return Rates(skip, double, 1.0, 1.0, cells)


@pytest.mark.parametrize(("skip", "double"), [(0.01, 0.02), (0.2, 0.05), (0.003, 0.1)])
def test_the_true_rates_have_the_greatest_chance(skip, double):
    """The maximum likelihood of a multinomial count is at its shares."""
    look = Look(cells=100_000, skips=round(skip * 1e5), doubles=round(double * 1e5))
    best = chance_of(rates_at(skip, double), look)
    for factor in (0.5, 0.9, 0.99, 1.01, 1.1, 2):
        assert chance_of(rates_at(skip * factor, double), look) < best
        assert chance_of(rates_at(skip, double * factor), look) < best


def test_a_chance_is_that_of_independent_cells():
    """The ratio of two chances is that of the multinomial; twice the cells, twice its logarithm."""
    look, twice = Look(cells=50, skips=2, doubles=3), Look(cells=100, skips=4, doubles=6)
    a, b = rates_at(0.04, 0.06), rates_at(0.02, 0.1)
    wanted = 2 * math.log(2) + 3 * math.log(0.6) + 45 * math.log(0.9 / 0.88)
    assert chance_of(a, look) - chance_of(b, look) == pytest.approx(wanted, rel=1e-5)
    assert chance_of(a, twice) - chance_of(b, twice) == pytest.approx(2 * wanted, rel=1e-5)


def test_dependent_cells_are_worth_fewer():
    """Four times the variance leaves a quarter of what tells two states apart."""
    look = Look(cells=1000, skips=32, doubles=20)
    apart = []
    for effect in (1.0, 4.0):
        a, b = (Rates(skip, 0.02, effect, 1.0, 10**9) for skip in (0.03, 0.06))
        apart.append(chance_of(a, look) - chance_of(b, look))
    assert apart[1] == pytest.approx(apart[0] / 4, rel=1e-4) and apart[0] > 1


def test_what_was_not_counted_does_not_count():
    """Without doubles, rates that differ in them alone have chances alike."""
    look = Look(cells=1000, skips=30, doubles=None)
    alike = [chance_of(rates_at(0.03, double), look) for double in (0.01, 0.2)]
    assert alike[0] == pytest.approx(alike[1], abs=1e-6)
    seen = Look(cells=1000, skips=30, doubles=10)  # negative control
    alike = [chance_of(rates_at(0.03, double), seen) for double in (0.01, 0.2)]
    assert alike[0] > alike[1] + 10


def test_no_run_shows_that_something_cannot_be():
    """A count of what a run of 1000 cells never met has a small chance, not none."""
    never = Rates(0.0, 0.01, 1.0, 1.0, 1000)
    chance = chance_of(never, Look(cells=300, skips=1, doubles=3))
    assert -math.inf < chance < chance_of(never, Look(cells=300, skips=0, doubles=3))


# ways of looking


def test_every_seed_is_seen_in_its_cell():
    run = simulate(load_scenario("maize_bench", ["detection_percent=80"]), seed=3)
    assert loads(run, BELT).sum() == len(run.seeds)
    assert loads(run, SENSOR).sum() == run.seeds.seen.sum()
    assert (loads(run, SENSOR) <= loads(run, BELT)).all()
    assert loads(run, DISC).sum() == len(run.seeds) + run.cells.shaken.sum()


def test_a_disc_at_rest_holds_all_that_passed_the_edge():
    """By the trace: shocks shake seeds off on the way from the edge on, and a disc at rest none."""
    rough = load_scenario(
        "maize_field", ["turns=20", "vacuum_kpa=1.6", "shock_per_speed_g_per_m_s=1"]
    )
    run = simulate(rough, seed=2, trace=True)
    passed = np.zeros(len(run.cells), dtype=np.int64)
    for event in run.trace:
        passed[event.cell] += (event.station, event.event) == ("singulator", "passed")
    assert np.array_equal(loads(run, DISC), passed)
    fewer = loads(run, DISC) - loads(run, BELT)
    assert fewer.min() == 0 and fewer.sum() == run.cells.shaken.sum() > 20


def test_a_blind_sensor_shows_skips_that_are_none():
    """With a chance d to see a lone seed, 1 - d more single cells show as skips: |z| < 4."""
    shown, true = {}, {}
    for percent in (100, 90, 70):
        scenario = load_scenario("maize_bench", [f"detection_percent={percent}"])
        shown[percent] = rates(scenario, 20_000, way=SENSOR)
        true[percent] = rates(scenario, 20_000)
    assert shown[70].skip > shown[90].skip > shown[100].skip
    assert true[70] == true[90] == true[100]  # what lies in the row does not change
    cells = true[90].cells
    for percent in (90, 70):
        single = 1 - true[100].skip - true[100].double
        more = (1 - percent / 100) * single
        off = shown[percent].skip - shown[100].skip - more
        assert abs(off) < 4 * math.sqrt(more / cells) + 0.3 * true[100].double


def test_the_same_luck_gives_the_same_rates():
    assert rates(BENCH, 3000, seed=0) == rates(BENCH, 3000, seed=0)
    assert rates(BENCH, 3000, seed=0) != rates(BENCH, 3000, seed=1)
    assert rates(BENCH, 3000, seed=0) != rates(BENCH, 3000, seed=0, replicate=1)


@pytest.mark.parametrize(
    "change", ["rates=60 m 40000/ha", "speeds=0 s 3 km/h, 200 s 6 km/h", "off=40 m to 90 m"]
)
def test_a_monitor_of_spacings_knows_the_plan_of_a_pass(change):
    """Skips by spacings are nearly those by cells, whatever speed and rate do along the pass."""
    run = simulate(load_scenario("maize_field", ["turns=60", change]))
    seen, cells = run.seeds, len(run.cells)
    found, expected = (float(np.mean(loads(run, way) == 0)) for way in (SPACED, SENSOR))
    assert abs(found - expected) < 4 * math.sqrt(2 * 0.02 / cells)
    assert abs(len(loads(run, SPACED)) / cells - 1) < 0.02  # as many places as cells
    if "off" not in change:  # negative control: in metres of a steady pass
        metres = np.diff(np.sort(seen.sensor_time[seen.seen])) * run.scenario.demand.speed
        assert abs(metres.sum() / run.scenario.spacing / cells - 1) > 0.1
