"""What a count can tell: closed forms, and counts that are drawn."""

import math

import numpy as np
import pytest

from metersim.machine.reading import load_scenario
from metersim.questions.shared.counts import (
    WINDOW,
    Share,
    angle,
    cells_to_detect,
    deviations,
    least_difference,
    power_of,
    share_at,
    share_of,
    shares_of,
)
from metersim.questions.shared.looks import kept_full, loads, rates, rates_of
from metersim.run.simulation import simulate
from tests.paired_counts import differ

PAIRS = [(0.004, 0.015), (0.012, 0.025), (0.05, 0.02), (0.95, 0.92)]


def rng(seed=1):
    return np.random.Generator(np.random.PCG64(seed))


def within(met, wanted, many):
    """Whether a share of many draws is that wanted: |z| < 4."""
    return abs(met - wanted) < 4 * math.sqrt(wanted * (1 - wanted) / many)


# what is shown for sure


def test_deviations_are_those_of_the_normal_law():
    """1.959964 and 1.644854 for 95 % on two sides and one; 0.841621 for 80 % (tables)."""
    assert deviations(0.95) == pytest.approx(1.959964, abs=1e-6)
    assert deviations(0.95, sides=1) == pytest.approx(1.644854, abs=1e-6)
    assert deviations(0.95, 0.8) == pytest.approx(1.959964 + 0.841621, abs=1e-6)


@pytest.mark.parametrize("share", [0.0, 1e-4, 0.03, 0.5, 1.0])
def test_an_angle_leads_back_to_its_share(share):
    assert share_at(angle(share)) == pytest.approx(share, abs=1e-15)
    assert angle(0.5) == pytest.approx(math.pi / 2)


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_the_plain_formula_for_shares_that_are_near(a, b):
    """(z1 + z2)^2 (p1 q1 + p2 q2) / (p1 - p2)^2, which it comes to as shares draw near."""
    b = a + (b - a) / 50
    plain = deviations(0.95, 0.8) ** 2 * (a * (1 - a) + b * (1 - b)) / (a - b) ** 2
    assert cells_to_detect(Share(a), Share(b)) == pytest.approx(plain, rel=0.01)


def test_dependence_costs_as_many_cells_as_it_adds_variance():
    a, b = Share(0.01), Share(0.03)
    twice = cells_to_detect(Share(0.01, 2.0), Share(0.03, 2.0))
    assert twice == pytest.approx(2 * cells_to_detect(a, b))
    assert cells_to_detect(a, a) == math.inf
    assert cells_to_detect(a, b) == cells_to_detect(b, a)
    assert (
        cells_to_detect(a, b, certainty=0.99)
        > cells_to_detect(a, b)
        > cells_to_detect(a, b, power=0.5)
    )


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_power_and_cells_say_the_same(a, b):
    a, b = Share(a, 1.3), Share(b, 0.8)
    cells = cells_to_detect(a, b, power=0.7)
    assert power_of(a, b, cells) == pytest.approx(0.7, abs=1e-3)
    assert power_of(a, a, cells) == pytest.approx(0.05)  # what is alike is found in 5 of 100


@pytest.mark.parametrize("share", [0.004, 0.02, 0.3])
@pytest.mark.parametrize("cells", [300, 3000])
def test_the_least_difference_takes_just_those_cells(share, cells):
    known = Share(share, 1.5)
    for other in least_difference(known, cells):
        if not math.isnan(other):
            assert cells_to_detect(known, Share(other, 1.5)) == pytest.approx(cells)
    assert math.isnan(least_difference(Share(0.001), 100)[0])  # not even none could be told


# what is drawn


@pytest.mark.parametrize(("a", "b"), PAIRS)
def test_the_power_is_met_by_independent_counts(a, b):
    """Counts of the size that is given are found to differ as often as it says: |z| < 4, and a
    hundredth for what the normal law leaves out of few events."""
    cells, many, draw = round(cells_to_detect(Share(a), Share(b))), 4000, rng()
    pairs = [draw.binomial(cells, share, many) for share in (a, b)]
    met = float(np.mean(differ(pairs, (cells, cells), (1.0, 1.0))))
    assert abs(met - 0.8) < 4 * math.sqrt(0.16 / many) + 0.01
    # as often as it should be for two of one meter
    pairs = [draw.binomial(cells, a, many) for _ in range(2)]
    assert abs(float(np.mean(differ(pairs, (cells, cells), (1.0, 1.0)))) - 0.05) < 0.014 + 0.01
    # negative control: a quarter of the cells is not enough
    few = cells // 4
    pairs = [draw.binomial(few, share, many) for share in (a, b)]
    assert float(np.mean(differ(pairs, (few, few), (1.0, 1.0)))) < 0.45


def test_independent_events_have_an_effect_of_one():
    """|z| < 4; overlapping windows have 2/3 of the variance of single ones (derived)."""
    cells = 200_000
    error = math.sqrt(2 * 2 / 3 * WINDOW / cells)
    for share in (0.02, 0.3):
        found = share_of(rng().random(cells) < share)
        assert abs(found.effect - 1) < 4 * error
        assert abs(found.value - share) < 4 * found.error(cells)
    runs = rng().random(cells) < 0.02  # negative control: skips in pairs have twice the variance
    assert share_of(runs | np.roll(runs, 1)).effect - 1 > 8 * error


def test_too_little_tells_nothing_of_dependence():
    assert share_of(np.zeros(10_000, dtype=bool)) == Share(0.0, 1.0)
    assert share_of(np.arange(4 * WINDOW - 1) % 2 == 0).effect == 1.0
    assert share_of(np.arange(4 * WINDOW) % 2 == 0).effect < 0.2  # regular, and enough of it


def test_kinds_of_cells_are_all_of_them():
    found = shares_of(rng().choice([0, 1, 2, 3], 5000, p=[0.1, 0.8, 0.07, 0.03]))
    assert sum(share.value for share in found.values()) == pytest.approx(1)
    assert found["doubles"].value == pytest.approx(0.1, abs=0.02)


@pytest.mark.slow
def test_seed_lasts_as_long_as_a_meter_is_watched():
    """A hopper of 20 kg is empty after some 70,000 seeds of 283 mg; what is in it moves no seed."""
    bench = load_scenario("maize_bench")
    longer = kept_full(bench, 90_000)
    run, starved = simulate(longer), simulate(bench.lasting(90_000))
    assert len(starved.seeds) < 0.85 * len(run.seeds) and len(run.cells) == 90_000
    assert float(np.mean(loads(run)[-3000:] == 0)) < 0.02
    assert (loads(run)[:50_000] == loads(starved)[:50_000]).all()
    assert rates(bench, 90_000).skip < 0.02 < rates_of(loads(starved)).skip
    assert kept_full(bench, 3000).pool.hopper == bench.pool.hopper
    # the largest hopper, 500 kg, has too little for ten million: watched for as long as it lasts
    longest = kept_full(bench, 10_000_000)
    assert 0.99 * 500 < longest.pool.hopper <= 500
    assert longest.passages * bench.seeds.seed_mass < 500
