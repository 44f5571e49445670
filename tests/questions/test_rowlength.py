"""Row length for a thousandth of an area, and what lies there."""

import dataclasses
import math

import numpy as np
import pytest

import metersim as m
from metersim.files.units import UNITS
from metersim.questions.howmany.standards import (
    AREAS,
    Standing,
    row_length,
    standing_in,
    stretch_of,
)
from metersim.questions.howmany.text import length_text

INCH, FOOT = 0.0254, 0.3048
# University of Tennessee and Manitoba extension (read): row spacing in in, length in ft and in
EXTENSION = {15: (34, 10), 20: (26, 2), 22: (23, 9), 30: (17, 5), 36: (14, 6), 38: (13, 9)}


@pytest.mark.parametrize("width", EXTENSION)
def test_a_thousandth_of_an_acre_is_as_extension_tables_say(width):
    """Exact is 522.72 ft over the spacing in inches, as 43.56 ft2 are a thousandth of an acre."""
    length = row_length(width * INCH, AREAS["us"])
    assert length / FOOT == pytest.approx(522.72 / width, rel=1e-12)
    feet, inches = EXTENSION[width]
    assert length_text(length, "us") == f"{feet} ft {inches} in"


def test_a_table_that_rounds_otherwise_is_not_followed():
    """One published table (read) prints 13.2 ft for 40 in; exact is 13.068 ft."""
    feet = row_length(40 * INCH, AREAS["us"]) / FOOT
    assert feet == pytest.approx(13.068, abs=1e-12)
    assert f"{feet:.1f}" == "13.1" != "13.2"


def test_a_thousandth_of_a_hectare_is_ten_square_metres():
    assert row_length(0.75, AREAS["metric"]) == pytest.approx(10 / 0.75)
    assert row_length(0.5, AREAS["metric"]) == pytest.approx(20)
    ratio = AREAS["metric"] / AREAS["us"]
    assert ratio == pytest.approx(UNITS["per_acre"].factor / UNITS["per_ha"].factor)
    assert length_text(13.3333, "metric") == "13.33 m"


def test_a_perfect_row_leaves_nothing_to_luck():
    found = standing_in(np.arange(10_001) * 0.25, 10.0)
    assert (found.mean, found.low, found.high, found.sd) == (40, 40, 40, 0)
    assert found.stretches == 250 and found.repeats() == 1


def test_random_seeding_has_the_spread_of_a_poisson_law():
    """Variance is the mean: |z| < 4 with the kurtosis of that law."""
    rng = np.random.Generator(np.random.PCG64(1))
    found = standing_in(rng.random(80_000) * 20_000, 5.0)
    many, mean = found.stretches, found.mean
    error = mean * math.sqrt(2 / (many - 1) + 1 / mean / many)
    assert abs(found.sd**2 - mean) < 4 * error
    assert found.low < mean - 1.5 * found.sd and found.high > mean + 1.5 * found.sd


def test_thinning_a_perfect_row_has_the_spread_of_a_binomial_law():
    """Derived: n places of which each has a plant with chance g vary with n g (1 - g)."""
    rng = np.random.Generator(np.random.PCG64(2))
    places = np.arange(400_000) * 0.25
    found = standing_in(places[rng.random(places.size) < 0.9], 10.0)
    variance = 40 * 0.9 * 0.1
    assert abs(found.mean - 36) < 4 * math.sqrt(variance / found.stretches)
    assert abs(found.sd**2 / variance - 1) < 4 * math.sqrt(2.3 / found.stretches)


def test_repeats_are_enough_to_know_the_mean():
    """The mean of so many stretches is within 5 % in 95 of 100; that of half as many is not."""
    rng = np.random.Generator(np.random.PCG64(3))
    found = Standing(32.0, 4.0, 24, 40, 1000)
    n = found.repeats()
    assert n == math.ceil((1.959964 * 4 / 32 / 0.05) ** 2)

    def known(repeats):
        means = rng.normal(32, 4, (4000, repeats)).mean(axis=1)
        return float(np.mean(np.abs(means / 32 - 1) <= 0.05))

    assert known(n) > 0.95 - 4 * math.sqrt(0.05 * 0.95 / 4000)
    assert known(n // 2) < 0.92  # negative control
    assert found.repeats(0.1) < n < found.repeats(0.02)


def test_a_row_too_short_tells_nothing():
    assert standing_in([], 5.0) is None
    assert standing_in(np.arange(30) * 0.2, 5.0) is None
    assert standing_in(np.arange(60) * 0.2, 5.0).stretches == 2


def test_a_run_in_the_field_has_its_seeds_and_fewer_plants():
    """Seeds: those that the rate asks for, but for skips and doubles; plants: a share g of them."""
    run = m.simulate(m.load_scenario("maize_field", ["turns=1000", "emergence_percent=90"]))
    found = stretch_of(run, AREAS["metric"])
    assert found.asked == pytest.approx(80)
    assert found.seeds.mean == pytest.approx(80 * len(run.seeds) / len(run.cells), rel=5e-3)
    off = found.plants.mean / found.seeds.mean - 0.9
    assert abs(off) < 4 * math.sqrt(0.09 / len(run.seeds)) + 1e-3
    assert found.plants.sd > found.seeds.sd
    every = dataclasses.replace(run, scenario=run.scenario.replace(stand__emergence=1.0))
    assert stretch_of(every, AREAS["metric"]).plants == found.seeds
    bench = dataclasses.replace(run, scenario=run.scenario.replace(furrow__surface="bench"))
    assert stretch_of(bench, AREAS["metric"]).plants is None
