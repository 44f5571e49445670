"""Cells folded by the holes of a disc: a hole that fails is found, and chance finds none."""

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from metersim.measures.fold import (
    ALARMS,
    DOUBLES,
    FEWEST_TURNS,
    KINDS,
    LONGEST,
    MISSES,
    detected,
    exact,
    failing,
    fold,
    folds,
    follow,
)

HOLES, TURNS = 30, 24


def row(rng, *, turns=TURNS, hole=None, fails=1.0, kind=MISSES, start=0, scatter=0.12, **more):
    """Spacings of cells, and the number of the failing hole as the first seed counts it."""
    empty, double = more.get("empty", 0.01), more.get("double", 0.02)
    drawn, cell = rng.random(turns * HOLES), np.arange(turns * HOLES)
    held = np.where(drawn < empty, 0, np.where(drawn < empty + double, 2, 1))
    if hole is not None:
        bad = ((cell + start) % HOLES == hole) & (rng.random(cell.size) < fails)
        held[bad] = 0 if kind == MISSES else 2
    cell = np.repeat(cell, held)
    slip, long = more.get("slip", 0.0), 400 / (2 * np.pi)
    places = cell + scatter * rng.standard_normal(cell.size) + slip * long * np.sin(cell / long)
    named = None if hole is None else (hole - start - cell[0]) % HOLES + 1
    return np.diff(np.sort(more.get("distance", 1.0) * places)), named


def test_cells_without_scatter_are_counted_exactly():
    cells = np.array([0, 1, 2, 2, 3, 6, 7, 8, 9, 10, 14, 15, *range(16, 120)])
    found = follow(1.04 * np.diff(cells).astype(float))
    assert not found.lost and (found.index == cells).all()
    assert found.scatter == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("scatter", [0.05, 0.1, 0.2])
def test_the_scatter_is_that_of_the_seeds(scatter):
    found = follow(row(np.random.default_rng(1), scatter=scatter, turns=40)[0])
    assert found.scatter == pytest.approx(scatter, rel=0.15)


@pytest.mark.parametrize("kind", KINDS)
def test_a_hole_that_always_fails_is_named_by_its_number(kind):
    rng = np.random.default_rng(2)
    for hole in (0, 7, 29):
        spacings, named = row(rng, hole=hole, kind=kind, start=3)
        (one,) = fold(spacings, HOLES).found
        assert (one.kind, one.hole) == (kind, named)
        assert one.count >= TURNS - 3 and one.chance < 1e-9
        assert one.share.low < one.count / one.turns <= one.share.high


def test_the_start_of_the_count_does_not_matter():
    """Leave out the first seeds: the same hole is found, counted from the new first seed."""
    spacings, named = row(np.random.default_rng(3), hole=17, scatter=0.1)
    cells = follow(spacings).index
    for left_out in (1, 10, 40, 75):
        (one,) = fold(spacings[left_out:], HOLES).found
        assert one.hole == (named - 1 - cells[left_out]) % HOLES + 1


@pytest.mark.parametrize("more", [{"distance": 1.07}, {"distance": 0.93}, {"slip": 0.01}])
def test_slip_and_a_wrong_distance_do_not_add_up(more):
    """The cells of a row of 720 are counted rightly, though they end far from nominal ones."""
    rng = np.random.default_rng(4)
    spacings, named = row(rng, hole=11, **more)
    found = fold(spacings, HOLES)
    assert not found.lost and found.turns == pytest.approx(TURNS, abs=0.1)
    assert [one.hole for one in found.found] == [named]


@pytest.mark.slow
def test_chance_alone_makes_a_pattern_in_one_of_twenty_answers_at_most():
    """Rows without a failing hole; the control has one, and is found in them all."""
    rng, samples = np.random.default_rng(5), 60
    alarms = sum(bool(fold(row(rng)[0], HOLES).found) for _ in range(samples))
    assert (alarms / samples - ALARMS) / np.sqrt(ALARMS * (1 - ALARMS) / samples) < 4
    found = [fold(*row(rng, hole=4)[:1], HOLES).found for _ in range(10)]
    assert all(found)


@pytest.mark.slow
def test_the_chance_of_an_alarm_is_bounded_over_all_holes_and_kinds():
    """Misses dealt to holes at random: an alarm in at most 5 of 100, with hypergeometric counts."""
    rng, samples, alarms = np.random.default_rng(6), 2000, 0
    passed = np.full(HOLES, TURNS)
    for _ in range(samples):
        alarm = False
        for kind in KINDS:
            dealt = rng.permutation(np.repeat([1, 0], [20, HOLES * TURNS - 20]))
            counts = dealt.reshape(HOLES, TURNS).sum(axis=1)
            alarm |= bool(failing(kind, counts, passed, HOLES * len(KINDS)))
        alarms += alarm
    assert (alarms / samples - ALARMS) / np.sqrt(ALARMS * (1 - ALARMS) / samples) < 4
    assert alarms > 0  # control: the test can alarm


def test_a_count_of_one_hole_has_the_chance_of_cards_that_are_dealt():
    passed, counts = np.full(HOLES, TURNS), np.zeros(HOLES, dtype=int)
    counts[[3, 9]] = (6, 1)
    (one,) = failing(MISSES, counts, passed, 60)
    assert one.chance == pytest.approx(60 * hypergeom.sf(5, HOLES * TURNS, 7, TURNS))
    assert (one.hole, one.count) == (4, 6)
    assert not failing(MISSES, np.ones(HOLES, dtype=int), passed, 60)


def test_two_holes_that_fail_do_not_hide_each_other():
    passed, counts = np.full(HOLES, TURNS), np.zeros(HOLES, dtype=int)
    counts[[5, 20]] = (24, 7)
    assert [one.hole for one in failing(MISSES, counts, passed, 60)] == [6, 21]


def test_a_share_has_the_interval_of_its_tails():
    one = exact(21, 24, 0.95)
    assert binom.sf(20, 24, one.low) == pytest.approx(0.025)
    assert binom.cdf(21, 24, one.high) == pytest.approx(0.025)
    assert exact(0, 24, 0.95).low == 0 and exact(24, 24, 0.95).high == 1


@pytest.mark.slow
def test_the_stated_power_is_that_of_drawn_rows():
    """A hole that fails half of its turns, in rows of six turns."""
    rng, samples = np.random.default_rng(7), 150
    said = np.mean([fold(row(rng, turns=6)[0], HOLES).power for _ in range(30)])
    hits = 0
    for _ in range(samples):
        spacings, named = row(rng, turns=6, hole=13, fails=0.5)
        hits += any(one.hole == named for one in fold(spacings, HOLES).found)
    assert 0.05 < said < 0.95
    assert abs(hits / samples - said) < 4 * np.sqrt(said * (1 - said) / samples)


def test_more_turns_and_less_scatter_detect_more():
    passed = np.full(HOLES, 10)
    misses = np.zeros(HOLES, dtype=int)
    powers = [detected(0.5, misses, passed * k, 60) for k in (1, 2, 4)]
    assert powers == sorted(powers) and powers[0] < powers[-1]
    assert detected(0.5, misses, passed, 60, 0.25) < detected(0.5, misses, passed, 60)
    assert detected(0.2, misses, passed, 60) < detected(0.5, misses, passed, 60)


def test_fewer_than_three_turns_are_too_short():
    rng = np.random.default_rng(8)
    short = fold(row(rng, turns=FEWEST_TURNS, hole=5)[0][:-40], HOLES)
    assert short.too_short and not short.found
    assert not fold(row(rng, turns=FEWEST_TURNS + 1)[0], HOLES).too_short


def test_seeds_that_lie_anywhere_lose_the_count():
    """Without cells there is no count, and no hole is named."""
    rng = np.random.default_rng(9)
    for _ in range(10):
        found = fold(rng.exponential(size=700), HOLES)
        assert found.lost and not found.found
    assert not fold(row(rng)[0], HOLES).lost  # control


def test_a_stop_begins_another_stretch():
    spacings, _ = row(np.random.default_rng(10))
    stopped = spacings.copy()
    stopped[100] = LONGEST + 3.4
    found = fold(stopped, HOLES)
    assert found.left_out == 101
    assert found.passed.sum() == pytest.approx(TURNS * HOLES - 101, abs=6)


def test_each_row_is_an_own_disc_and_adds_looks():
    rng = np.random.default_rng(11)
    (bad, named), (good, _) = row(rng, hole=2), row(rng)
    first, other = folds([bad, good], HOLES, ("left", "right"))
    assert [one.hole for one in first.found] == [named] and not other.found
    assert (first.label, other.label) == ("left", "right")
    assert first.found[0].chance == pytest.approx(2 * fold(bad, HOLES).found[0].chance)
    assert DOUBLES in KINDS
