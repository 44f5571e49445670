"""The joint region of skips and doubles that a count allows, and chances that follow from it."""

import numpy as np
import pytest
from scipy.stats import chi2, multinomial, power_divergence

from metersim.questions.shared.game.region import (
    HALF,
    LEVEL,
    RAYS,
    apart,
    bound,
    chance_apart,
    chance_different,
    departure,
    drawn_counts,
    holds,
    outline,
)

SHARES = [(0.01, 0.02), (0.005, 0.03), (0.05, 0.01), (0.1, 0.1), (0.02, 0.2)]
CELLS = 300


def every_count(cells):
    """All counts of so many cells: skips, doubles and cells."""
    skips, doubles = np.mgrid[: cells + 1, : cells + 1]
    kept = skips + doubles <= cells
    return np.stack([skips[kept], doubles[kept], np.full(kept.sum(), cells)], axis=1)


def chance_of(counts, shares):
    """Chance of each count of independent cells."""
    kinds = np.stack([counts[:, 0], counts[:, 1], counts[:, 2] - counts[:, :2].sum(1)], axis=1)
    return multinomial.pmf(kinds, counts[0, 2], [*shares, 1 - sum(shares)])


def test_bound_is_a_quantile_of_chi_square():
    for level in (0.5, 0.9, 0.99):
        assert bound(level) == pytest.approx(chi2.ppf(level, 2), rel=1e-12)


@pytest.mark.parametrize("shares", SHARES)
def test_departure_is_that_of_a_ratio_of_likelihoods(shares):
    counts = np.array([7.0, 12.0, 300.0])
    held = np.array([7.0, 12.0, 281.0]) + HALF
    expected = held.sum() * np.array([*shares, 1 - sum(shares)])
    found = power_divergence(held, expected, lambda_="log-likelihood").statistic
    assert departure(counts, shares) == pytest.approx(found, rel=1e-12)


@pytest.mark.parametrize("counts", [(0, 0, 300), (0, 9, 300), (30, 2, 120), (300, 0, 300)])
def test_outline_is_where_the_departure_reaches_the_bound(counts):
    corners = outline(*counts)
    assert corners.shape == (RAYS, 2) and (corners > 0).all() and (corners.sum(1) < 1).all()
    assert departure(counts, corners) == pytest.approx(bound(), rel=1e-6)
    middle = (np.array(counts[:2]) + HALF) / (counts[2] + 3 * HALF)
    assert all(holds(*counts, middle + 0.99 * (one - middle)) for one in corners)
    assert not any(holds(*counts, middle + 1.01 * (one - middle)) for one in corners)


def test_dependent_cells_count_as_fewer_independent_ones():
    assert outline(6, 9, 300, effect=1.5) == pytest.approx(outline(4, 6, 200), rel=1e-12)


@pytest.mark.parametrize("shares", SHARES)
def test_region_holds_the_truth_as_often_as_stated(shares):
    counts = every_count(CELLS)
    chance = chance_of(counts, shares)

    def coverage(of):
        return chance[departure(of, shares) <= bound()].sum()

    assert LEVEL - 0.02 < coverage(counts) < LEVEL + 0.06
    twice = counts * 2.0  # cells that are counted twice promise more than they hold
    assert coverage(twice) < LEVEL - 0.08


@pytest.mark.parametrize("other", [(0.01, 0.02), (0.025, 0.02), (0.03, 0.04)])
def test_chance_to_distinguish_two_meters_is_that_of_all_counts(other):
    shares = (0.01, 0.02)

    def exact(cells):
        counts = every_count(cells)
        return chance_of(counts, shares)[departure(counts, other) > bound()].sum()

    found = chance_apart(shares, other, CELLS, np.random.default_rng(1))
    error = np.sqrt(exact(CELLS) * (1 - exact(CELLS)) / 2_000)
    assert abs(found - exact(CELLS)) < 4 * error
    if other != shares:  # half of the cells distinguish less
        assert found - exact(CELLS // 2) > 4 * error


def test_two_counts_of_one_meter_seldom_differ_and_of_two_meters_often():
    rng = np.random.default_rng(2)
    same = chance_different((0.03, 0.04), (0.03, 0.04), (CELLS, CELLS), rng)
    assert abs(same - (1 - LEVEL)) < 0.03
    assert chance_different((0.03, 0.04), (0.09, 0.01), (CELLS, CELLS), rng) > 0.9
    assert not apart((9, 9, 300), (9, 9, 300)) and apart((9, 9, 300), (60, 9, 300))


def test_drawn_counts_have_the_means_of_their_shares():
    drawn = drawn_counts((0.1, 0.2), 100.4, np.random.default_rng(3))
    assert (drawn[:, 2] == 100).all()
    error = np.sqrt([100 * 0.1 * 0.9 / 2_000, 100 * 0.2 * 0.8 / 2_000])
    assert (abs(drawn[:, :2].mean(axis=0) - [10, 20]) < 4 * error).all()
