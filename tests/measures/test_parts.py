"""Parts of lost stand and uneven plants: closed forms, limits, and that they make the whole."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.measures.parts import METERING, PARTS
from metersim.measures.scales import PLAIN, scale_of
from metersim.questions.shared.plants import plants
from metersim.run.simulation import simulate
from tests.questions.test_plants import SPACING, perfect, real
from tests.strategies import standard_error

SUMS = {
    "lost": ("metering", "emergence", "together"),
    "uneven": ("metering", "emergence", "own", "together"),
}


def kept(run, keep):
    """A run with some of its seeds alone."""
    return dataclasses.replace(run, seeds=run.seeds.part(np.flatnonzero(keep)))


def moved(run, by):
    """A run whose seeds lie elsewhere."""
    seeds = dataclasses.replace(run.seeds, position=run.seeds.position + by)
    return dataclasses.replace(run, seeds=seeds)


def off(stand, key, expected):
    """Distance of a part from a closed form, in standard errors."""
    return abs(stand[key].value - expected) / standard_error(stand[key])


def geometric(chance):
    """Variance of spacings where places hold a plant with a chance, independently. [m2]"""
    return SPACING**2 * (1 - chance) / chance**2


@pytest.mark.parametrize("shift", [0.0, 0.02])
def test_parts_make_the_whole(shift):
    stand = plants(real(emergence=0.8, plant_shift=shift))
    for group, names in SUMS.items():
        whole = stand[f"{group}.whole"].value
        assert sum(stand[f"{group}.{name}"].value for name in names) == pytest.approx(whole)
        fine = sum(
            stand[f"{group}.{name}"].value for name in METERING if f"{group}.{name}" in stand
        )
        assert fine == pytest.approx(stand[f"{group}.metering"].value)
    shares = [stand[f"uneven_share.{name}"].value for name in SUMS["uneven"]]
    assert sum(shares) == pytest.approx(1)
    assert sum(shares[:-1]) != pytest.approx(1, abs=1e-4)  # negative control: without the overlap
    assert stand["uneven.whole"].value == pytest.approx(stand["plants.sd"].value ** 2)
    scenario = stand.scenario
    area = scenario.spacing * scenario.demand.row_spacing  # of a cell
    per_cell = stand["plants.per_area"].value * area
    assert 1 - stand["lost.whole"].value == pytest.approx(per_cell, rel=1e-3)


def test_all_seeds_that_come_up_leave_no_part_to_emergence():
    """At 100 % emergence its part and the overlap are 0, whatever the meter does."""
    stand = plants(real(emergence=1.0, plant_shift=0.01))
    for group in SUMS:
        for name in ("emergence", "together"):
            assert stand[f"{group}.{name}"].value == pytest.approx(0, abs=1e-12)
    assert stand["uneven.metering"].low > 0
    fewer = plants(real(emergence=0.9, plant_shift=0.01))  # negative control
    assert fewer["lost.emergence"].low > 0 and fewer["uneven.emergence"].low > 0


def test_a_perfect_meter_has_no_part():
    """One seed in every cell, exactly spaced: metering and overlap are 0."""
    stand = plants(perfect(emergence=0.85, plant_shift=0.02))
    for group in SUMS:
        for name in ("metering", "together", *METERING):
            if f"{group}.{name}" in stand:
                assert stand[f"{group}.{name}"].value == pytest.approx(0, abs=1e-12)
    assert stand["lost.emergence"].value == stand["lost.whole"].value
    assert off(stand, "uneven.emergence", geometric(0.85)) < 4
    assert off(stand, "uneven.own", 2 * 0.02**2) < 4
    assert off(stand, "uneven.emergence", 1.2 * geometric(0.85)) > 4  # negative controls
    assert off(stand, "uneven.own", 0.02**2) > 4
    spoiled = plants(real(emergence=0.85, plant_shift=0.02))
    assert spoiled["uneven.metering"].low > 0


def test_skips_alone_and_with_emergence_have_their_closed_forms():
    """p/(1 - p)^2 alone; with emergence g a place holds a plant with the chance (1 - p) g."""
    p, g = 0.1, 0.8
    run = perfect(emergence=g)
    stand = plants(kept(run, np.random.default_rng(5).random(len(run.seeds)) > p))
    skips, emergence, whole = geometric(1 - p), geometric(g), geometric((1 - p) * g)
    assert off(stand, "uneven.skips", skips) < 4
    assert off(stand, "uneven.emergence", emergence) < 4
    assert off(stand, "uneven.together", whole - skips - emergence) < 4
    assert off(stand, "uneven.together", 0.0) > 4  # negative control: squares do not add up
    assert stand["uneven.doubles"].value == pytest.approx(0, abs=1e-12)
    assert stand["uneven.scatter"].value == pytest.approx(0, abs=1e-12)
    assert off(stand, "lost.skips", p) < 4
    assert off(stand, "lost.together", -p * (1 - g)) < 4
    assert off(stand, "lost.together", p * (1 - g)) > 4  # negative control: its sign


def test_doubles_add_plants_and_lose_them_to_emergence():
    """Every tenth cell has two seeds: a tenth of a plant a cell, of which emergence takes its part.

    With all up, ten of eleven spacings are x and one is 0: a variance of x^2 10/11^2.
    """
    stand = plants(perfect(doubled=10, emergence=0.7))
    assert stand["lost.doubles"].value == pytest.approx(-0.1)
    assert stand["lost.skips"].value == pytest.approx(0)
    assert off(stand, "lost.together", 0.1 * 0.3) < 4
    assert off(stand, "lost.together", -0.1 * 0.3) > 4  # negative control
    assert stand["uneven.doubles"].value == pytest.approx(SPACING**2 * 10 / 11**2, rel=1e-3)


def test_scatter_has_two_variances_and_no_overlap_with_emergence():
    """Positions that scatter independently add 2 s^2, with all seeds up or with a part of them."""
    run, sd = perfect(emergence=0.8), 0.02
    stand = plants(moved(run, np.random.default_rng(6).normal(0, sd, len(run.seeds))))
    assert off(stand, "uneven.scatter", 2 * sd**2) < 4
    assert off(stand, "uneven.scatter", sd**2) > 4  # negative control
    assert stand["uneven.metering"].value == pytest.approx(stand["uneven.scatter"].value)
    assert off(stand, "uneven.together", 0.0) < 4


def test_parts_of_emergence_and_of_even_seeds_do_not_depend_on_the_meter():
    """They belong to a perfect meter, so two meters with common random numbers share them."""
    fine, rough = perfect(turns=200, plant_shift=0.01), perfect(turns=200, plant_shift=0.01)
    keep = np.random.default_rng(7).random(len(rough.seeds)) > 0.2
    one, other = plants(fine), plants(kept(rough, keep))
    for key in ("lost.emergence", "uneven.emergence", "uneven.own"):
        assert one[key].value == other[key].value
    assert one["lost.skips"].value != other["lost.skips"].value  # negative control


def test_the_closed_form_of_even_seeds_is_that_of_the_parts():
    """`even_sd` squared is what emergence and even seeds make, within the sampling error."""
    stand = plants(real(emergence=0.85, plant_shift=0.02, turns=400))
    both = stand["uneven.emergence"].value + stand["uneven.own"].value
    error = math.hypot(*(standard_error(stand[f"uneven.{k}"]) for k in ("emergence", "own")))
    # shifted plants of neighbouring places hardly overtake one another here
    assert abs(both - stand.even_sd**2) < 4 * error
    assert abs(1.3 * both - stand.even_sd**2) > 4 * error  # negative control


def test_parts_may_be_negative_and_their_means_add_up():
    """They are averaged as they are: on another scale a sum of means is not the mean of sums."""
    assert all(part.signed and scale_of(part, np.array([1.0, 2.0])) is PLAIN for part in PARTS)
    stand = plants(perfect(doubled=10, emergence=0.7))
    assert stand["lost.doubles"].high < 0


def test_nothing_that_comes_up_has_parts_that_are_not_known():
    stand = plants(real(turns=20, emergence=0.0))
    assert stand["lost.whole"].value == 1
    assert math.isnan(stand["uneven.whole"].value)
    assert math.isnan(stand["uneven_share.metering"].value)


def test_parts_follow_the_plan_of_a_pass():
    """At 100 % emergence all unevenness is the meter's, also where the rate changes on the way."""
    run = real(emergence=1.0, plant_shift=0.0)
    changed = run.scenario.replace(travel__rates="40 m 40000/ha", run__turns=100)
    stand = plants(simulate(changed))
    for name in ("emergence", "together"):
        assert stand[f"uneven.{name}"].value == pytest.approx(0, abs=1e-12)
    in_metres = np.std(np.diff(np.sort(simulate(changed).seeds.position))) ** 2
    assert in_metres > 1.2 * stand["uneven.metering"].value  # negative control
