"""Intervals: coverage on dependent sequences, limits, and what naive intervals get wrong."""

import math
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from metersim.measures import intervals, spacing
from tests import blocks as blocks_of
from tests import plain_spacing as plain

RUNS = 600
LOWEST_COVERAGE = 0.95 - 4 * math.sqrt(0.95 * 0.05 / RUNS)
HIGHEST_COVERAGE = 0.95 + 4 * math.sqrt(0.95 * 0.05 / RUNS)


def rows_with_error(rng, runs, cells, miss, error):
    """Spacings of runs at pitch 1: independent misses and normal position errors."""
    for _ in range(runs):
        filled = np.flatnonzero(rng.random(cells) >= miss)
        yield spacing.spacings_of(filled + rng.normal(0, error, filled.size))


def runs_of_skips(rng, runs, cells, share, length):
    """True where a cell is skipped, (runs, cells): skips in runs of geometric length."""
    start = share / (1 - share) / length
    u = rng.random((runs, cells))
    skipped = np.empty((runs, cells), dtype=bool)
    skipped[:, 0] = u[:, 0] < share
    for i in range(1, cells):
        skipped[:, i] = u[:, i] < np.where(skipped[:, i - 1], 1 - 1 / length, start)
    return skipped


def covers(estimates, truth):
    """Share of intervals that hold the truth."""
    return np.mean([estimate.low <= truth <= estimate.high for estimate in estimates])


# ---------------------------------------------------------------- coverage


@pytest.mark.slow
def test_coverage_for_position_errors_with_misses():
    # Derived: spacing = geometric gap + difference of two errors, lag-1 correlation negative.
    miss, error, cells = 0.05, 0.15, 3000
    spread = error * math.sqrt(2)
    quality = (1 - miss) * (1 - 2 * ndtr(-0.5 / spread)) + miss * (1 - miss) * ndtr(-0.5 / spread)
    true_sd = math.sqrt(miss / (1 - miss) ** 2 + 2 * error**2)
    true_cv = true_sd * (1 - miss)
    rng, resampling = np.random.default_rng(1), np.random.default_rng(2)
    shares, sds, cvs = [], [], []
    for gaps in rows_with_error(rng, RUNS, cells, miss, error):
        classes = blocks_of.block_sums(plain.class_columns(gaps, 1.0), 190)
        shares.append(intervals.share_interval(classes[:, 1], classes.sum(axis=1)))
        moments = blocks_of.block_sums(blocks_of.moment_columns(gaps), 190)
        assert len(moments) in (14, 15)
        sds.append(blocks_of.interval(moments, blocks_of.sd, resampling))
        cvs.append(blocks_of.interval(moments, blocks_of.cv, resampling))
    assert LOWEST_COVERAGE < covers(shares, quality) < HIGHEST_COVERAGE
    assert LOWEST_COVERAGE < covers(sds, true_sd) < HIGHEST_COVERAGE
    assert LOWEST_COVERAGE < covers(cvs, true_cv) < HIGHEST_COVERAGE
    # negative control: the same check sees a truth that is one tenth off
    assert covers(sds, 1.1 * true_sd) < LOWEST_COVERAGE


def test_position_errors_alone_make_the_naive_interval_of_an_sd_too_narrow():
    # Derived: var(s^2) = 2 sigma^4/n (1 + 2 rho_1^2) is 1.5 times what independence gives, so
    # a naive 95 % interval covers P(|Z| < 1.96/sqrt(1.5)) = 89.0 %.
    error, cells = 0.1, 1500
    truth = error * math.sqrt(2)
    rng, resampling = np.random.default_rng(3), np.random.default_rng(4)
    blocked, naive = [], []
    for gaps in rows_with_error(rng, RUNS, cells, 0.0, error):
        assert spacing.lag_correlation(gaps) < -0.4
        moments = blocks_of.block_sums(blocks_of.moment_columns(gaps), 75)
        blocked.append(blocks_of.interval(moments, blocks_of.sd, resampling))
        s = gaps.std(ddof=1)
        half = 1.96 * s / math.sqrt(2 * gaps.size)
        naive.append(intervals.Estimate(s, s - half, s + half))
    assert LOWEST_COVERAGE < covers(blocked, truth) < HIGHEST_COVERAGE
    expected = 1 - 2 * ndtr(-1.96 / math.sqrt(1.5))
    tolerance = 4 * math.sqrt(expected * (1 - expected) / RUNS)
    assert covers(naive, truth) < LOWEST_COVERAGE
    assert covers(naive, truth) == pytest.approx(expected, abs=tolerance)


def test_runs_of_skips_make_the_naive_interval_of_a_share_worthless():
    # Skips at 5 % in runs of ten: derived design effect (1 + r)/(1 - r), r the lag-1
    # correlation 1 - 1/length - start.
    share, length, cells = 0.05, 10, 7000
    r = 1 - 1 / length - share / (1 - share) / length
    effect = (1 + r) / (1 - r)
    blocked, naive = [], []
    for skipped in runs_of_skips(np.random.default_rng(5), RUNS, cells, share, length):
        sums = blocks_of.block_sums(skipped[:, None], 280)[:, 0]
        sizes = blocks_of.block_sums(np.ones((cells, 1)), 280)[:, 0]
        blocked.append(intervals.share_interval(sums, sizes))
        # one block is taken as independent cells: plain Clopper-Pearson
        naive.append(intervals.share_interval([skipped.sum()], [cells]))
    assert LOWEST_COVERAGE < covers(blocked, share) < HIGHEST_COVERAGE
    expected = 1 - 2 * ndtr(-1.96 / math.sqrt(effect))  # about 36 %
    tolerance = 4 * math.sqrt(expected * (1 - expected) / RUNS)
    assert covers(naive, share) == pytest.approx(expected, abs=tolerance)


def test_rare_independent_skips_are_covered():
    # Ten skips expected; Clopper-Pearson may cover more than it says, never less.
    share = 10 / 7000
    rng, sizes = np.random.default_rng(6), np.full(28, 250)
    estimates = [
        intervals.share_interval(row, sizes) for row in rng.binomial(250, share, (RUNS, 28))
    ]
    assert covers(estimates, share) > LOWEST_COVERAGE
    assert covers(estimates, 2.5 * share) < LOWEST_COVERAGE


# ---------------------------------------------------------------- shares


def test_no_skip_in_7000_cells_leaves_an_upper_bound():
    # Derived: 1 - 0.025^(1/n), near 3.689/n
    zero = intervals.share_interval(np.zeros(28), np.full(28, 250))
    assert (zero.value, zero.low) == (0, 0)
    assert zero.high == pytest.approx(1 - 0.025 ** (1 / 7000), rel=1e-9)
    assert zero.high * 7000 == pytest.approx(-math.log(0.025), rel=1e-3)


def test_nothing_but_singles_mirrors_no_skip():
    zero = intervals.share_interval(np.zeros(28), np.full(28, 250))
    full = intervals.share_interval(np.full(28, 250), np.full(28, 250))
    assert (full.value, full.high) == (1, 1)
    assert full.low == pytest.approx(1 - zero.high, rel=1e-12)


def test_one_block_is_clopper_pearson():
    # 2 of 10: 2.52 to 55.61 % (standard table of exact binomial bounds, from memory)
    estimate = intervals.share_interval([2], [10])
    assert estimate.value == 0.2
    assert estimate.low == pytest.approx(0.0252, abs=5e-5)
    assert estimate.high == pytest.approx(0.5561, abs=5e-5)


def test_wider_for_runs_and_narrower_for_regular_skips():
    sizes = np.full(28, 250)
    even = np.full(28, 5)
    scattered = np.random.default_rng(7).permutation(np.repeat([2, 5, 8], [9, 10, 9]))
    heaped = np.where(np.arange(28) < 7, 20, 0)
    widths = []
    for events in (even, scattered, heaped):
        estimate = intervals.share_interval(events, sizes)
        assert estimate.value == 0.02
        widths.append(estimate.high - estimate.low)
    assert widths == sorted(widths)
    naive = intervals.share_interval([140], [7000])
    # four times the cells at most, so about half the width, t and exactness apart
    assert 0.4 < widths[0] / (naive.high - naive.low) < 0.7
    assert widths[2] > 3 * (naive.high - naive.low)


def test_few_blocks_of_a_share_give_the_width_of_student():
    # Derived: with many cells the exact bounds are normal ones, so what is left is
    # t(4) s/sqrt(5), s the SD of the five shares.
    shares = np.array([0.494, 0.497, 0.500, 0.503, 0.506])
    estimate = intervals.share_interval(1e5 * shares, np.full(5, 1e5))
    student = 2.776445 * shares.std(ddof=1) / math.sqrt(5)  # t table, 4 degrees of freedom
    assert (estimate.high - estimate.low) / (2 * student) == pytest.approx(1, abs=0.01)


def test_share_needs_cells():
    estimate = intervals.share_interval([0, 0], [0, 0])
    assert estimate.to_dict() == {"value": None, "low": None, "high": None}


@given(
    st.lists(
        st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
        min_size=1,
        max_size=30,
    )
)
def test_share_and_its_mirror(blocks):
    events, cells = np.array(blocks).T
    estimate = intervals.share_interval(events, cells)
    mirror = intervals.share_interval(cells - events, cells)
    if cells.sum() == 0:
        assert math.isnan(estimate.value)
        return
    assert 0 <= estimate.low <= estimate.value <= estimate.high <= 1
    assert estimate.low < estimate.high
    assert mirror.low == pytest.approx(1 - estimate.high, abs=1e-9)
    assert mirror.high == pytest.approx(1 - estimate.low, abs=1e-9)


# ---------------------------------------------------------------- lengths of runs


def starts_and_skips(skipped, blocks):
    """Runs that begin in each block, and skips in it."""
    starts = skipped & ~np.concatenate(([False], skipped[:-1]))
    columns = np.stack([starts, skipped], axis=1)
    return blocks_of.block_sums(columns, len(skipped) // blocks).T


@pytest.mark.parametrize(("share", "length"), [(0.004, 1.2), (0.01, 2.0), (0.1, 1.5)])
def test_mean_lengths_of_few_and_of_many_runs_are_covered(share, length):
    """Some 3, 5 and 67 runs; the resampled interval covers no mean of few."""
    rng, found, resampled = np.random.default_rng(11), [], []
    for skipped in runs_of_skips(rng, RUNS, 1000, share, length):
        starts, skips = starts_and_skips(skipped, 40)
        if starts.sum():
            found.append(intervals.run_interval(starts, skips))
            sums = np.stack([skips, starts], axis=1)
            resampled.append(blocks_of.interval(sums, blocks_of.share, rng, resamples=100))
    assert len(found) > 0.9 * RUNS
    assert covers(found, length) > LOWEST_COVERAGE
    # negative controls: another mean is seen, where there are runs enough to see it, and
    # resampling makes as much of few runs as of many
    if share == 0.1:
        assert covers(found, 1.5 * length) < 0.5
    else:
        assert covers(resampled, length) < LOWEST_COVERAGE - 0.1


@pytest.mark.parametrize("count", [1, 2, 30])
def test_runs_of_one_leave_an_upper_bound(count):
    # Derived: with a chance p to end, all of them do with p^n; 0.025 of it bounds the mean 1/p
    one = intervals.run_interval([count, 0], [count, 0])
    assert (one.value, one.low) == (1, 1)
    assert one.high == pytest.approx(0.025 ** (-1 / count))


def test_one_run_is_bounded_by_the_geometric_distribution():
    # Derived: a run lasts n cells or more with q^(n-1), and n or fewer with 1 - q^n
    one = intervals.run_interval([1], [8])
    assert one.value == 8
    assert (1 - 1 / one.low) ** 7 == pytest.approx(0.025)
    assert 1 - (1 - 1 / one.high) ** 8 == pytest.approx(0.025)


def test_long_runs_beside_short_ones_widen_the_interval():
    starts = np.array([5, 5, 5, 1, 0, 0])
    alike, apart = (
        intervals.run_interval(starts, starts + rest)
        for rest in (np.array([12, 12, 12, 3, 0, 0]), np.array([0, 0, 0, 9, 15, 15]))
    )
    assert alike.value == apart.value
    assert apart.low < alike.low and alike.high < apart.high


@pytest.mark.slow
@given(
    st.lists(
        st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
        min_size=1,
        max_size=30,
    )
)
def test_a_run_has_a_cell_at_least(blocks):
    starts, skips = np.array(blocks).T
    estimate = intervals.run_interval(starts, skips)
    if starts.sum() == 0:
        assert math.isnan(estimate.value)
        return
    assert 1 <= estimate.low <= estimate.value < estimate.high < math.inf


# ---------------------------------------------------------------- blocks and statistics


@given(st.integers(1, 300), st.integers(1, 400))
def test_blocks_drop_nothing_and_are_of_nearly_equal_length(rows, block):
    columns = np.stack([np.ones(rows), np.arange(rows)], axis=1)
    sums = blocks_of.block_sums(columns, block)
    assert sums.shape == (max(rows // block, 1), 2)
    assert sums.sum(axis=0).tolist() == columns.sum(axis=0).tolist()
    assert np.ptp(sums[:, 0]) <= 1
    assert np.all(np.diff(sums[:, 1] / sums[:, 0]) > 0)  # contiguous and in order


def test_blocks_of_nothing():
    assert blocks_of.block_sums(np.empty((0, 3)), 10).tolist() == [[0, 0, 0]]


def test_statistics_of_the_constructed_list():
    # derived; constructed data (the list of test_spacing): mean 7.175, sample SD 3.710281
    gaps = np.array(
        [6.5, 6.0, 7.1, 6.4, 0.8, 5.9, 13.2, 6.6, 6.2, 7.4]
        + [2.9, 9.8, 6.5, 6.7, 19.4, 6.1, 6.3, 7.0, 5.8, 6.9]
    )
    sums = blocks_of.moment_columns(gaps).sum(axis=0)
    assert blocks_of.mean(sums) == pytest.approx(7.175, abs=1e-12)
    assert blocks_of.sd(sums) == pytest.approx(3.710281, abs=5e-7)
    assert blocks_of.cv(sums) == pytest.approx(3.710281 / 7.175, abs=1e-7)
    normal = spacing.classify(gaps, 6.5) == 1
    kept = blocks_of.moment_columns(gaps, normal).sum(axis=0)
    assert kept[0] == 15
    assert blocks_of.sd(kept) == pytest.approx(0.465168, abs=5e-7)
    assert blocks_of.share(np.array([3.0, 20.0])) == 0.15


def test_statistics_of_too_little_are_nan():
    none, one = np.zeros(3), np.array([1.0, 2.0, 4.0])
    assert np.isnan([blocks_of.mean(none), blocks_of.sd(none), blocks_of.cv(none)]).all()
    assert blocks_of.mean(one) == 2
    assert math.isnan(float(blocks_of.sd(one)))


def test_bootstrap_of_a_mean_has_its_known_spread():
    # Derived: the bootstrap SD of a mean of equal blocks is SD(n)/sqrt(blocks); its relative
    # error from R resamples is 1/sqrt(2R).
    values = np.random.default_rng(8).normal(3, 1, 40)
    sums = blocks_of.block_sums(blocks_of.moment_columns(values), 1)
    estimates, replicates = intervals.bootstrap(
        sums, [blocks_of.mean, blocks_of.sd], np.random.default_rng(9), resamples=4000
    )
    assert estimates == pytest.approx([values.mean(), values.std(ddof=1)], rel=1e-9)
    assert replicates.shape == (2, 4000)
    expected = values.std() / math.sqrt(40)
    assert abs(replicates[0].std() / expected - 1) < 4 / math.sqrt(2 * 4000)
    assert abs(replicates[0].mean() - values.mean()) < 4 * expected / math.sqrt(4000)


def test_few_blocks_of_a_mean_give_the_width_of_student():
    # Derived: t(n-1) s/sqrt(n) is the exact interval of a normal mean; the stretch makes the
    # percentile interval agree with it but for resampling (a few %) and its shorter tails.
    values = np.random.default_rng(10).normal(0, 1, 15)
    sums = blocks_of.moment_columns(values)
    estimate = blocks_of.interval(sums, blocks_of.mean, np.random.default_rng(11), resamples=20_000)
    student = 2.144787 * values.std(ddof=1) / math.sqrt(15)  # t table, 14 degrees of freedom
    assert (estimate.high - estimate.low) / (2 * student) == pytest.approx(1, abs=0.04)


def test_intervals_of_few_blocks_have_the_width_of_student_on_average():
    """Normal means of ten blocks: t(9) s/sqrt(10), which resampling alone makes 5 % too narrow.

    A resample of n blocks has a variance of (n - 1)/n of theirs, over n.
    """
    rng, n, ratios = np.random.default_rng(15), 10, []
    for values in rng.normal(0, 1, (300, n)):
        made = blocks_of.interval(blocks_of.moment_columns(values), blocks_of.mean, rng)
        student = 2.262157 * values.std(ddof=1) / math.sqrt(n)  # t table, 9 degrees of freedom
        ratios.append((made.high - made.low) / (2 * student))
    error = np.std(ratios, ddof=1) / math.sqrt(len(ratios))
    assert abs(np.mean(ratios) - 1) < 4 * error + 0.01  # its tails are a little short
    assert abs(np.mean(ratios) * math.sqrt((n - 1) / n) - 1) > 4 * error + 0.03  # without


def test_same_generator_state_same_interval_and_level_widens():
    sums = blocks_of.moment_columns(np.random.default_rng(12).normal(1, 0.1, 30))
    first, again, wide = (
        blocks_of.interval(sums, blocks_of.cv, np.random.default_rng(0), level)
        for level in (0.95, 0.95, 0.99)
    )
    assert first == again
    assert wide.low < first.low < first.value < first.high < wide.high


def test_floor_stops_the_lower_bound_only():
    sums = blocks_of.moment_columns([1.0, 1.0, 1.1, 1.0, 3.0, 1.0])[[0, 1, 4, 5]]
    free, held = (
        blocks_of.interval(sums, blocks_of.sd, np.random.default_rng(0), floor=floor)
        for floor in (-math.inf, 0.0)
    )
    assert free.low < 0 == held.low
    assert held.high == free.high


def test_a_single_block_has_a_value_and_no_bounds():
    estimate = blocks_of.interval([[3.0, 6.0, 14.0]], blocks_of.mean, np.random.default_rng(0))
    assert estimate.to_dict() == {"value": 2.0, "low": None, "high": None}


# ---------------------------------------------------------------- pairs


def test_runs_alike_in_every_block_differ_by_exactly_nothing():
    blocks = blocks_of.moment_columns(np.random.default_rng(13).normal(0.2, 0.02, 28))
    (paired,) = intervals.paired_intervals(
        blocks, blocks.copy(), [blocks_of.sd], np.random.default_rng(0)
    )
    assert (paired.value, paired.low, paired.high) == (0, 0, 0)


def test_what_two_runs_share_cancels():
    rng = np.random.default_rng(14)
    common = rng.normal(1, 0.2, 2800)
    a = blocks_of.block_sums(blocks_of.moment_columns(common), 100)
    b = blocks_of.block_sums(
        blocks_of.moment_columns(common + 0.002 + rng.normal(0, 0.01, 2800)), 100
    )
    (paired,) = intervals.paired_intervals(a, b, [blocks_of.mean], np.random.default_rng(0))
    (swapped,) = intervals.paired_intervals(b, a, [blocks_of.mean], np.random.default_rng(0))
    # derived: SE 0.01/sqrt(2800) = 0.00019 when paired, 0.2 sqrt(2/2800) = 0.0053 when not
    error = 0.01 / math.sqrt(2800)
    assert abs(paired.value - 0.002) < 4 * error
    assert paired.low > 0
    assert 3 * error < paired.high - paired.low < 6 * error
    assert swapped.value == -paired.value
    # negative control: b's blocks in another order break the pairs
    (broken,) = intervals.paired_intervals(
        a, rng.permutation(b), [blocks_of.mean], np.random.default_rng(0)
    )
    assert broken.value == pytest.approx(paired.value, abs=1e-12)
    assert broken.low < 0 < broken.high


def test_paired_difference_is_covered():
    # b loses one seed in fifty of those that a sows: difference of shares -0.02 x 0.9
    rng, resampling = np.random.default_rng(15), np.random.default_rng(16)
    estimates = []
    for _ in range(RUNS):
        a = rng.random((20, 100)) < 0.9
        b = a & (rng.random((20, 100)) >= 0.02)
        sums = [np.stack([x.sum(axis=1), np.full(20, 100)], axis=1) for x in (a, b)]
        estimates += intervals.paired_intervals(*sums, [blocks_of.share], resampling)
    assert LOWEST_COVERAGE < covers(estimates, -0.018) < HIGHEST_COVERAGE
    assert covers(estimates, 0.0) < 0.05


# ---------------------------------------------------------------- manners


@pytest.mark.benchmark
def test_twenty_estimates_of_7000_cells_take_little_time():
    rng = np.random.default_rng(17)
    gaps = next(rows_with_error(rng, 1, 7000, 0.03, 0.1))
    moments = blocks_of.block_sums(blocks_of.moment_columns(gaps), 250)
    classes = blocks_of.block_sums(plain.class_columns(gaps, 1.0), 250)
    totals = classes.sum(axis=1)

    def shortest(call, tries=5):
        times = []
        for _ in range(tries):
            start = time.perf_counter()
            call()
            times.append(time.perf_counter() - start)
        return min(times)

    assert shortest(lambda: intervals.share_interval(classes[:, 1], totals)) < 0.005
    assert (
        shortest(lambda: [blocks_of.interval(moments, blocks_of.cv, rng) for _ in range(20)])
        < 0.060
    )


def test_estimate_keeps_its_order():
    assert intervals.Estimate(1.0, 0.5, 2.0).to_dict() == {"value": 1.0, "low": 0.5, "high": 2.0}
    with pytest.raises(ValueError, match=r"value is 3.0; allowed: from low 0.5 to high 2.0"):
        intervals.Estimate(3.0, 0.5, 2.0)


RNG = np.random.default_rng(0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: intervals.bootstrap([1.0, 2.0], [], RNG), "sums has 1 dimensions; allowed: 2"),
        (lambda: intervals.bootstrap([[math.nan]], [], RNG), "sums holds nan; allowed: finite"),
        (lambda: intervals.bootstrap([[1.0]], [], RNG, 0), "resamples is 0; allowed: 1 or more"),
        (lambda: intervals.bootstrap(np.empty((0, 2)), [], RNG), "sums has 0 blocks; allowed"),
        (
            lambda: blocks_of.interval([[1.0, 1.0]], blocks_of.share, RNG, level=1.0),
            "level is 1.0; allowed: between 0 and 1",
        ),
        (
            lambda: intervals.paired_intervals([[1.0, 1.0]], [[1.0]], [blocks_of.share], RNG),
            r"blocks_b has shape \(1, 1\); allowed: that of blocks_a, \(1, 2\)",
        ),
        (
            lambda: intervals.share_interval([1, 10], [5, 5]),
            "the sum of events is 11; allowed: 0 to the cells, 10",
        ),
        (
            lambda: intervals.run_interval([1, 9], [5, 5]),
            r"numerator_blocks\[1\] is 9; allowed: 0 to the cells, 5",
        ),
        (
            lambda: intervals.share_interval([1], [5, 5]),
            r"numerator_blocks has shape \(1,\); allowed: that of the cells, \(2,\)",
        ),
        (lambda: intervals.share_interval([], []), "numerator_blocks has 0 blocks; allowed"),
        (lambda: intervals.share_interval([1], [5], level=0), "level is 0; allowed: between"),
    ],
)
def test_bad_values_are_named_with_what_is_allowed(call, message):
    with pytest.raises(ValueError, match=message):
        call()
