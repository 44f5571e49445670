"""What may be behind a count, and what each fault shows: formulas, bounds, conservation."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import metersim as m
from metersim.questions.next.hypotheses import (
    DRIVE,
    ELSE_PRIOR,
    FAULTS,
    FINE,
    FINE_PRIOR,
    HOLES,
    LENS,
    MOST_HOLES,
    draw_points,
    named,
    priors,
)
from metersim.questions.next.shown import seeds_used, through_holes, through_lens, through_slip
from metersim.questions.shared.looks import SENSOR, SPACED, loads, loads_of_spacings, rates_of
from metersim.run.simulation import simulate

BENCH = m.load_scenario("maize_bench")
ALL = named(sensed=True, lens_clean=False, drive_shows=True)
SHARES = st.floats(0, 0.5)
PARTS = st.floats(0, 1)


# hypotheses


def test_chances_sum_to_one_with_what_is_not_listed():
    for sensed in (True, False):
        names = named(sensed=sensed, lens_clean=False, drive_shows=sensed)
        chances = priors(names)
        assert sum(chances.values()) + ELSE_PRIOR == pytest.approx(1)
        assert chances[FINE] == FINE_PRIOR
        points = draw_points(names, 3, each=40)
        for k, name in enumerate(names):
            assert points.prior[points.which == k].sum() == pytest.approx(chances[name])


def test_a_fault_is_a_hypothesis_where_counts_can_say_something_of_it():
    assert LENS not in named(sensed=False, lens_clean=False, drive_shows=True)
    assert LENS not in named(sensed=True, lens_clean=True, drive_shows=True)
    assert DRIVE not in named(sensed=True, lens_clean=False, drive_shows=False)
    assert {*ALL} == {FINE, *FAULTS}


def test_each_fault_is_as_far_off_as_its_words_say_and_nothing_else_is():
    """Bounds in the words; what is in order keeps its mean over ten thousand points, |z| < 4."""
    points = draw_points(ALL, 5, each=1000)

    def of(name, column):
        return getattr(points, column)[points.which == ALL.index(name)]

    for name, column, low, high in (
        ("small seed", "size", 0, 0.96),
        ("large seed", "size", 1.04, 2),
        ("vacuum", "vacuum", 0, 0.85),
        ("edge far", "edge", -9, -0.8),
        ("edge near", "edge", 0.8, 9),
        ("low pool", "gate", 0, 0.85),
        ("high pool", "gate", 1.15, 2),
        (LENS, "lost", 0.01, 1),
        (DRIVE, "slip", 0.01, 1),
        (HOLES, "failing", 0.3, MOST_HOLES),
    ):
        values = of(name, column)
        assert low <= values.min() and values.max() <= high
        assert all(word in FAULTS[name].off for word in ("0.8",)) or "edge" not in name
    fine = of(FINE, "size") - 1
    assert abs(fine.mean()) < 4 * fine.std() / np.sqrt(len(fine))
    assert not of(FINE, "failing").any() and not of(FINE, "slip").any()
    assert of(FINE, "vacuum").max() <= 1  # a gauge may show too much, no hole has more


def test_a_repair_brings_its_cause_back_and_nothing_else():
    points = draw_points(ALL, 5, each=50)
    mended = points.mended("vacuum")
    assert (mended.vacuum == 1).all() and (mended.size == points.size).all()
    assert (points.vacuum < 1).any()


# what a fault shows


@given(SHARES, SHARES, PARTS)
def test_shares_stay_shares_and_a_fault_of_nothing_changes_nothing(skip, double, part):
    for through in (through_holes, through_lens, through_slip):
        s, d = through(skip, double, part)
        assert s >= 0 and d >= 0 and s + d <= 1 + 1e-12
        assert s >= skip - 1e-12 and d <= double + 1e-12
        assert through(skip, double, 0.0) == pytest.approx((skip, double))
        assert through(skip, double, 1.0) == pytest.approx((1.0, 0.0))


def test_seeds_are_conserved_by_a_lens():
    """Mean seeds a cell times the chance to see one: doubles have two, singles one."""
    skip, double, lost = 0.02, 0.05, 0.1
    s, d = through_lens(skip, double, lost)
    assert (1 - s - d) + 2 * d == pytest.approx((1 - lost) * (1 - skip + double))


def test_seed_used_is_what_leaves_the_meter_less_what_a_slip_leaves_out():
    assert seeds_used(0.02, 0.05, 0.0) == pytest.approx(1.03)
    assert seeds_used(0.02, 0.05, 0.1) == pytest.approx(0.927)


@pytest.mark.parametrize("way", [SENSOR, SPACED])
def test_a_dirty_lens_does_what_its_formula_says(way):
    """A run whose sensor misses one seed of ten more; binomial |z| < 4.  Control: no loss."""
    clean = BENCH.lasting(20_000)
    run = simulate(clean, seed=6)
    dirty = simulate(clean.replace(sensor__detection=0.9 * clean.sensor.detection), seed=6)
    before, after = (rates_of(loads(one, way)) for one in (run, dirty))
    wanted = through_lens(before.skip, before.double, 0.1)
    for found, share in zip((after.skip, after.double), wanted, strict=True):
        assert abs(found - share) < 4 * np.sqrt(2 * share * (1 - share) / 20_000) + 0.002
    assert abs(after.skip - before.skip) > 0.05


def test_a_plugged_hole_does_what_its_formula_says():
    """Cells of one hole of thirty emptied in a long run; by conservation to the last cell."""
    run = simulate(BENCH.lasting(6_000), seed=4)
    shown = loads(run)
    before = rates_of(shown)
    emptied = np.where(np.arange(len(shown)) % 30 == 7, 0, shown)
    after = rates_of(emptied)
    skip, double = through_holes(before.skip, before.double, 1 / 30)
    assert after.skip == pytest.approx(skip, abs=0.002)
    assert after.double == pytest.approx(double, abs=0.002)


# what a monitor counts from spacings


def test_places_follow_from_spacings_as_the_standard_says():
    """ISO 7256-1 (from memory): at most 0.5 is a multiple, over 1.5 leaves a place empty."""
    ratios = np.array([1.0, 0.2, 1.0, 2.0, 3.0, 1.0, 0.5, 1.5, 9.0])
    assert loads_of_spacings(ratios).tolist() == [2, 1, 0, 1, 0, 0, 1, 2, 1, 0, 0, 0, 1]
    assert loads_of_spacings(np.ones(5)).tolist() == [1] * 5
    assert loads_of_spacings(np.array([])).tolist() == []


def test_a_monitor_by_spacing_counts_the_scatter_of_a_sound_meter():
    """Source iso11783 (read): misses are spacings.  Without scatter both ways are the same."""
    field = m.load_scenario("maize_field").lasting(6_000)
    run = simulate(field, seed=3)
    by_cells, by_spacing = (rates_of(loads(run, way)) for way in (SENSOR, SPACED))
    assert by_spacing.skip > by_cells.skip
    even = replace(run.seeds, sensor_time=run.seeds.cell * field.spacing / field.demand.speed)
    even = replace(even, seen=np.ones(len(even.cell), dtype=bool))
    still = replace(run, seeds=even)
    a, b = (rates_of(loads(still, way)) for way in (SENSOR, SPACED))
    assert b.double == pytest.approx(a.double, abs=1e-3)
    assert b.skip == pytest.approx(a.skip, abs=2e-3)
