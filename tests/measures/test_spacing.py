"""Spacing indices against constructed lists, closed forms and properties."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from metersim.measures import spacing
from tests import plain_spacing as plain

# Constructed data: twenty spacings made up to hold every class but the last, reference 6.5.
CONSTRUCTED = np.array(
    [
        6.5, 6.0, 7.1, 6.4, 0.8, 5.9, 13.2, 6.6, 6.2, 7.4,
        2.9, 9.8, 6.5, 6.7, 19.4, 6.1, 6.3, 7.0, 5.8, 6.9,
    ]
)  # fmt: skip
REFERENCE = 6.5

COUNTS = st.lists(st.integers(0, 10_000), min_size=5, max_size=5)
GAPS = st.lists(st.floats(0, 50), max_size=60)


def z(seen, expected, error):
    """Distance from the expected value in standard errors."""
    return (seen - expected) / error


def normal_quantiles(centre, sd, number=200_000):
    """Evenly spaced quantiles: a normal distribution without chance."""
    return centre + sd * ndtri((np.arange(number) + 0.5) / number)


def cell_rows(rng, miss, double, rows, cells):
    """Spacings of rows of perfectly placed cells, pitch 1, one array a row."""
    u = rng.random((rows, cells))
    seeds = np.where(u < miss, 0, np.where(u < miss + double, 2, 1))
    return [spacing.spacings_of(np.repeat(np.arange(cells), row)) for row in seeds]


# ---------------------------------------------------------------- classes


@pytest.mark.parametrize(
    ("ratio", "expected"),
    # ISO 7256-1:1984: each bound belongs to the class below it
    [(0, 0), (0.5, 0), (0.51, 1), (1.5, 1), (1.51, 2), (2.5, 2), (2.51, 3), (3.5, 3), (3.51, 4)],
)
@pytest.mark.parametrize("reference", [1.0, 6.5, 0.1, 0.155, 0.0254 * 7, 0.20993])
def test_bounds_belong_to_the_lower_class(ratio, expected, reference):
    assert spacing.classify([ratio * reference], reference).tolist() == [expected]


def test_bounds_survive_the_rounding_of_positions_far_down_the_row():
    # 0.7 m steps of a 1.4 m reference: exactly half, but not in binary (constructed data)
    positions = 100 + 0.7 * np.arange(2000)
    gaps = spacing.spacings_of(positions)
    assert gaps.max() > 0.7  # the rounding that a bare comparison trips over
    assert spacing.class_counts(gaps, 1.4).tolist() == [1999, 0, 0, 0, 0]


def test_slack_at_a_bound_is_far_below_anything_measured():
    assert spacing.classify([0.5 + 1e-6, 1.5 + 1e-6], 1.0).tolist() == [1, 2]


def test_seeds_may_arrive_out_of_order():
    assert spacing.spacings_of([3.0, 0.0, 1.0]).tolist() == [1.0, 2.0]
    assert spacing.spacings_of([]).size == spacing.spacings_of([4.0]).size == 0


# ---------------------------------------------------------------- constructed list


def test_constructed_list_classes_and_shares():
    # derived; constructed data
    counts = spacing.class_counts(CONSTRUCTED, REFERENCE)
    assert counts.tolist() == [2, 15, 2, 1, 0]
    assert spacing.per_spacing(counts) == spacing.PerSpacing(20, 0.10, 0.75, 0.15)
    assert spacing.place_counts(counts).tolist() == [2, 16, 4]
    place = plain.per_place(counts)
    assert place.places == 22
    assert 100 * place.multiple == pytest.approx(9.0909, abs=5e-5)
    assert 100 * place.single == pytest.approx(72.7273, abs=5e-5)
    assert 100 * place.miss == pytest.approx(18.1818, abs=5e-5)


def test_constructed_list_precision():
    # derived; constructed data: SD 0.465168 of the normal spacings over 6.5
    assert 100 * plain.precision(CONSTRUCTED, REFERENCE) == pytest.approx(7.15643, abs=5e-6)
    assert 100 * plain.precision(CONSTRUCTED, REFERENCE, ddof=0) == pytest.approx(6.91376, abs=5e-6)
    assert REFERENCE * plain.precision(CONSTRUCTED, REFERENCE) == pytest.approx(0.465168, abs=5e-7)


def test_class_columns_add_up_to_the_counts():
    columns = plain.class_columns(CONSTRUCTED, REFERENCE)
    assert columns.shape == (20, 5)
    assert columns.sum(axis=0).tolist() == [2, 15, 2, 1, 0]


# ---------------------------------------------------------------- cell model


def test_cell_model_numbers():
    # derived, at 5 % misses and 3 % doubles
    model = plain.cell_model(miss=0.05, double=0.03)
    assert 100 * model.multiple == pytest.approx(3.0612, abs=5e-5)
    assert 100 * model.quality == pytest.approx(92.0918, abs=5e-5)
    assert 100 * model.miss == pytest.approx(4.8469, abs=5e-5)
    assert 100 * model.cv == pytest.approx(28.8371, abs=5e-5)


@given(st.floats(0, 0.99), st.floats(0, 1))
def test_cell_model_shares_sum_to_one_and_cv_has_its_closed_form(miss, part):
    double = part * (1 - miss)
    model = plain.cell_model(miss, double)
    assert model.multiple + model.quality + model.miss == pytest.approx(1, abs=1e-12)
    seeds = 1 - miss + double
    assert model.cv**2 == pytest.approx(seeds * (1 + miss) / (1 - miss) - 1, abs=1e-10)


@pytest.mark.parametrize("miss", [0.0, 0.01, 0.2])
def test_cv_of_misses_alone_is_the_root_of_their_share(miss):
    assert plain.cell_model(miss, 0.0).cv == pytest.approx(math.sqrt(miss), abs=1e-15)  # derived


def test_simulated_cells_give_the_cell_model_and_the_place_shares():
    rows = cell_rows(np.random.default_rng(3), miss=0.05, double=0.03, rows=600, cells=2000)
    model = plain.cell_model(0.05, 0.03)
    seen = []
    for gaps in rows:
        counts = spacing.class_counts(gaps, 1.0)
        one, place = spacing.per_spacing(counts), plain.per_place(counts)
        cv = gaps.std(ddof=1) / gaps.mean()
        seen.append([one.multiple, one.quality, one.miss, cv, place.multiple, place.miss])
    seen = np.array(seen)
    error = seen.std(axis=0, ddof=1) / math.sqrt(len(seen))
    # derived: per place 3/92/5 %
    expected = np.array([model.multiple, model.quality, model.miss, model.cv, 0.03, 0.05])
    assert np.abs(z(seen.mean(axis=0), expected, error)).max() < 4
    # negative control: one point more misses is seen at once
    other = plain.cell_model(0.06, 0.03)
    assert abs(z(seen[:, 2].mean(), other.miss, error[2])) > 4
    assert abs(z(seen[:, 3].mean(), other.cv, error[3])) > 4
    # and so is taking shares of spacings for shares of places
    assert abs(z(seen[:, 2].mean(), 0.05, error[2])) > 4


def test_simulated_misses_alone():
    miss, rows = 0.08, cell_rows(np.random.default_rng(5), 0.08, 0.0, rows=200, cells=2000)
    cvs = np.array([gaps.std(ddof=1) / gaps.mean() for gaps in rows])
    error = cvs.std(ddof=1) / math.sqrt(len(cvs))
    # derived; the bias of a CV from 2,000 cells is a small part of the error
    assert abs(z(cvs.mean(), math.sqrt(miss), error)) < 4
    assert abs(z(cvs.mean(), math.sqrt(miss / (1 - miss)), error)) > 4


# ---------------------------------------------------------------- distributions


def test_position_error_alone():
    n, q = 40_000, 0.1
    rng = np.random.default_rng(7)
    gaps = spacing.spacings_of(np.arange(n + 1) + rng.normal(0, q, n + 1))
    # derived; errors by Bartlett's formula for a moving average with rho_1 = -0.5
    assert abs(z(gaps.std(ddof=1), q * math.sqrt(2), q * math.sqrt(2) * math.sqrt(0.75 / n))) < 4
    assert abs(z(spacing.lag_correlation(gaps), -0.5, math.sqrt(0.5 / n))) < 4
    assert abs(z(spacing.lag_correlation(gaps, lag=2), 0, math.sqrt(1.5 / n))) < 4
    # negative control: the same spacings in another order
    shuffled = spacing.lag_correlation(rng.permutation(gaps))
    assert abs(z(shuffled, 0, math.sqrt(1 / n))) < 4
    assert abs(z(shuffled, -0.5, math.sqrt(0.5 / n))) > 4


def test_random_seeding():
    n = 50_000
    gaps = spacing.spacings_of(np.cumsum(np.random.default_rng(11).exponential(1, n + 1)))
    one = spacing.per_spacing(spacing.class_counts(gaps, 1.0))
    multiple, miss = 1 - math.exp(-0.5), math.exp(-1.5)  # derived
    assert abs(z(one.multiple, multiple, math.sqrt(multiple * (1 - multiple) / n))) < 4
    assert abs(z(one.miss, miss, math.sqrt(miss * (1 - miss) / n))) < 4
    # CV 1, its error 1/sqrt(n) by the delta method for an exponential
    assert abs(z(gaps.std(ddof=1) / gaps.mean(), 1, 1 / math.sqrt(n))) < 4
    # negative control: Poisson seeding is not what cells with misses alone would give
    assert abs(z(one.multiple, 0, math.sqrt(multiple * (1 - multiple) / n))) > 4


def test_precision_of_even_spacings_is_its_practical_limit():
    even = 0.5 + (np.arange(100_000) + 0.5) / 100_000
    assert 100 * plain.precision(even, 1.0) == pytest.approx(28.8675, abs=3e-4)  # derived
    assert plain.precision(even, 1.0, ddof=0) == pytest.approx(1 / math.sqrt(12), rel=1e-8)


@pytest.mark.parametrize(
    ("sd", "quality", "precision"),
    [(0.20, 98.7581, 19.0919), (0.25, 95.4500, 21.9906)],  # derived, truncated normal
)
def test_normal_spacings(sd, quality, precision):
    gaps = normal_quantiles(1.0, sd)
    gaps = gaps[gaps >= 0]  # the 3e-5 below 0 at sd 0.25 are multiples either way
    counts = spacing.class_counts(gaps, 1.0)
    assert 100 * counts[1] / 200_000 == pytest.approx(quality, abs=1e-3)
    assert 100 * plain.precision(gaps, 1.0) == pytest.approx(precision, abs=1e-3)


@pytest.mark.parametrize(("sd", "share"), [(0.015, 68.269), (0.03, 38.292)])
def test_window_of_3_cm(sd, share):
    # derived: normal errors about the centre
    gaps = normal_quantiles(0.20, sd)
    assert 100 * plain.within_window(gaps, 0.20) == pytest.approx(share, abs=1e-3)


def test_window_holds_its_ends_and_follows_its_centre():
    gaps = [0.185, 0.215, 0.184, 0.216]
    assert plain.within_window(gaps, 0.2) == 0.5
    assert plain.within_window(gaps, 0.23) == 0.5
    assert plain.within_window(gaps, 0.2, width=0.04) == 1.0


# ---------------------------------------------------------------- properties


@given(GAPS, st.floats(0.01, 30))
def test_every_spacing_has_one_class(gaps, reference):
    counts = spacing.class_counts(gaps, reference)
    assert counts.shape == (5,)
    assert counts.sum() == len(gaps)


@given(COUNTS.filter(any))
def test_shares_sum_to_one(counts):
    place, one = plain.per_place(counts), spacing.per_spacing(counts)
    for shares in (
        (place.multiple, place.single, place.miss),
        (one.multiple, one.quality, one.miss),
    ):
        assert sum(shares) == pytest.approx(1, abs=1e-12)
        assert min(shares) >= 0


@given(COUNTS)
def test_scheme_holds_up_to_half_multiples(counts):
    total = sum(counts)
    if 2 * counts[0] <= total:
        empty = counts[2] + 2 * counts[3] + 3 * counts[4]
        assert spacing.place_counts(counts).tolist() == [
            counts[0],
            total - 2 * counts[0],
            empty,
        ]


# Spacings in whole millimetres, reference an odd number of 0.1 mm: none lies on a bound.
MILLIMETRES = st.lists(st.integers(0, 900), min_size=2, max_size=60)


@given(MILLIMETRES, st.integers(50, 200), st.floats(1e-3, 1e3))
def test_indices_do_not_depend_on_the_unit(steps, reference, factor):
    positions, reference = np.cumsum(steps) / 1000, reference / 1000 + 1e-4
    gaps, scaled = spacing.spacings_of(positions), spacing.spacings_of(factor * positions)
    assert np.array_equal(
        spacing.classify(gaps, reference), spacing.classify(scaled, factor * reference)
    )
    assert plain.precision(scaled, factor * reference) == pytest.approx(
        plain.precision(gaps, reference), abs=1e-7, nan_ok=True
    )


@given(MILLIMETRES, st.integers(50, 200), st.floats(-500, 500))
def test_indices_do_not_depend_on_where_the_row_starts(steps, reference, shift):
    positions, reference = np.cumsum(steps) / 1000, reference / 1000
    gaps, moved = spacing.spacings_of(positions), spacing.spacings_of(positions + shift)
    assert np.array_equal(spacing.classify(gaps, reference), spacing.classify(moved, reference))
    assert plain.within_window(moved, reference) == plain.within_window(gaps, reference)


# ---------------------------------------------------------------- edges


def test_places_stay_right_beyond_half_multiples():
    # Constructed data: heaps of five seeds at places 0 and 2, one seed at 4: five places, of
    # which two hold several, one holds one, two are empty.
    counts = spacing.class_counts(spacing.spacings_of([0] * 5 + [2] * 5 + [4]), 1.0)
    assert counts.tolist() == [8, 0, 2, 0, 0]
    # N' counts from the second seeded place on, as the scheme always does
    assert plain.per_place(counts) == plain.PerPlace(4, 0.5, 0.0, 0.5)
    assert plain.per_place([7, 0, 0, 0, 0]) == plain.PerPlace(1, 1.0, 0.0, 0.0)


def test_place_counts_go_block_by_block():
    blocks = np.array([[2, 15, 2, 1, 0], [1, 9, 0, 0, 1]])
    assert spacing.place_counts(blocks).tolist() == [[2, 16, 4], [1, 9, 3]]
    assert (
        spacing.place_counts(blocks).sum(axis=0).tolist()
        == spacing.place_counts(blocks.sum(axis=0)).tolist()
    )


@given(st.lists(st.lists(st.integers(0, 30), min_size=5, max_size=5), min_size=1, max_size=9))
def test_places_of_blocks_sum_to_those_of_the_row(blocks):
    """However the row is cut; the parts of a block are its own counts while pairs are few."""
    counts = np.array(blocks)
    parts = spacing.place_sums(counts)
    assert parts.sum(axis=0).tolist() == spacing.place_counts(counts.sum(axis=0)).tolist()
    if (2 * counts[:, 0] <= counts.sum(axis=1)).all():
        assert parts.tolist() == spacing.place_counts(counts).tolist()


def test_a_block_of_pairs_does_not_lose_them():
    """Six multiples of eight spacings are pairs of the row, though no block can hold as many."""
    blocks = np.array([[6, 2, 0, 0, 0], [0, 20, 0, 0, 1]])
    row = spacing.place_counts(blocks.sum(axis=0)).tolist()
    assert row == spacing.place_sums(blocks).sum(axis=0).tolist() == [6, 17, 3]
    # negative control: a cap in each block makes fewer pairs
    assert spacing.place_counts(blocks).sum(axis=0).tolist() == [2, 21, 3]


def test_nothing_measured_is_nan_and_not_zero():
    place, one = plain.per_place([0] * 5), spacing.per_spacing([0] * 5)
    assert place.places == one.spacings == 0
    assert math.isnan(place.single) and math.isnan(one.quality)
    assert math.isnan(plain.precision([1.0, 3.0], 1.0))
    assert math.isnan(plain.within_window([], 0.2))
    assert math.isnan(spacing.lag_correlation([1.0, 2.0]))
    assert math.isnan(spacing.lag_correlation([1.0, 1.0, 1.0]))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: spacing.spacings_of([0.0, math.nan]), r"positions\[1\] is nan; allowed: finite"),
        (lambda: spacing.spacings_of([[0.0]]), "positions has 2 dimensions; allowed: 1"),
        (lambda: spacing.classify([0.1, -0.2], 1.0), r"spacings\[1\] is -0.2; allowed: 0 or more"),
        (lambda: spacing.classify([0.1], 0.0), "reference is 0.0; allowed: finite and above 0"),
        (lambda: spacing.classify([0.1], math.nan), "reference is nan; allowed: finite and"),
        (lambda: spacing.classify([math.inf], 1.0), r"spacings\[0\] is inf; allowed: finite"),
        (lambda: plain.within_window([0.1], 0.0), "centre is 0.0; allowed"),
        (lambda: plain.within_window([0.1], 0.1, width=-0.03), "width is -0.03; allowed"),
        (lambda: spacing.lag_correlation([0.1], lag=0), "lag is 0; allowed: 1 or more"),
        (lambda: spacing.per_spacing([1, 2, 3]), r"counts has shape \(3,\); allowed: \(5,\)"),
        (lambda: spacing.per_spacing([1, 2, 3, 4, -5]), "counts holds -5.0; allowed: whole"),
        (lambda: spacing.place_counts([1, 2, 3, 4, 0.5]), "counts holds 0.5; allowed: whole"),
        (lambda: plain.cell_model(1.0, 0.0), "miss is 1.0; allowed: 0 to below 1"),
        (
            lambda: plain.cell_model(0.5, 0.6),
            "double is 0.6; allowed: 0 to 1 - miss, here 0.5",
        ),
    ],
)
def test_bad_values_are_named_with_what_is_allowed(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_thinning_a_perfect_row_by_emergence():
    """Mean x/g and SD x sqrt(1 - g)/g: 32,000/ac in 30-in rows, g 0.95: 6.878 and 1.538 in.

    derived; geometric gaps.  Simulated with |z| < 4, and not met by another chance.
    """
    acre, inch = 4046.8564224, 0.0254
    reference = acre / 32_000 / (30 * inch) / inch
    chance = 0.95
    mean, sd = reference / chance, reference * np.sqrt(1 - chance) / chance
    assert (mean, sd) == (pytest.approx(6.878, abs=5e-4), pytest.approx(1.538, abs=5e-4))
    plants = np.flatnonzero(np.random.default_rng(5).random(200_000) < chance) * reference
    gaps = spacing.spacings_of(plants)
    assert abs(gaps.mean() - mean) < 4 * sd / np.sqrt(len(gaps))
    error = np.sqrt(np.mean((gaps - gaps.mean()) ** 4) - gaps.var() ** 2) / (2 * sd)
    assert abs(gaps.std() - sd) < 4 * error / np.sqrt(len(gaps))
    assert abs(gaps.mean() - reference / 0.93) > 4 * sd / np.sqrt(len(gaps))  # control
