"""Limits: what standards say, and how many seeds show on which side of one a meter is."""

import math

import numpy as np
import pytest

import metersim as m
from metersim.files.faults import BadInput
from metersim.measures.indices import Limit
from metersim.questions.howmany.standards import STANDARDS, Side, limits_of, side_of
from metersim.questions.shared.counts import Share, angle, deviations
from metersim.questions.shared.looks import loads

MISS = Limit("per_spacing.miss", "<=", 0.08)


def test_limits_are_those_of_the_standards():
    """DB32/T 1023-2007: quality >= 80, multiple <= 8, miss <= 8 %; NY/T 1628-2008: >= 95, <= 2,
    <= 2 % (both read); classes of quality of feed, from memory: 90.4, 4.8, 4.8 %."""
    wanted = {"db32t1023": (0.80, 0.08, 0.08), "nyt1628": (0.95, 0.02, 0.02)}
    wanted["onal1995"] = (0.904, 0.048, 0.048)
    assert set(wanted) == set(STANDARDS)
    for name, values in wanted.items():
        limits = limits_of(name)
        assert tuple(limit.value for limit in limits) == values
        assert [limit.sign for limit in limits] == [">=", "<=", "<="]
        kinds = [limit.key.partition(".")[2] for limit in limits]
        assert kinds == ["quality", "multiple", "miss"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("iso", "give db32t1023, nyt1628, onal1995, or MEASURE<=VALUE"),
        ("per_spacing.mis<=0.1", "unknown measure; did you mean 'per_spacing.miss'?"),
        ("precision<=0.2", "cannot be counted one by one; give cells.skip or cells.single or"),
        ("cells.skip<=0", "none, or all, can be shown by no count"),
        ("cells.skip<=5", "a share is given from 0 to 1"),
        ("cells.skip<=x", "'x' is no number"),
    ],
)
def test_what_is_no_limit_is_refused(text, words):
    with pytest.raises(BadInput) as error:
        limits_of(text)
    (fault,) = error.value.faults
    assert words in fault.message


@pytest.mark.parametrize("share", [0.04, 0.06, 0.12])
def test_a_count_of_that_size_shows_the_side(share):
    """Counts that are drawn lie off the limit by more than 1.64 standard errors, on the side of
    the truth, in 80 of 100: |z| < 4 and a hundredth for the normal law; not those of a quarter."""
    side = Side(MISS, Share(share))
    sign, many = (1 if side.kept else -1), 4000
    rng = np.random.Generator(np.random.PCG64(1))

    def shown(cells):
        counts = rng.binomial(cells, share, many)
        angles = 2 * np.arcsin(np.sqrt((counts + 0.375) / (cells + 0.75)))
        off = sign * (angle(MISS.value) - angles) * math.sqrt(cells)
        return float(np.mean(off > deviations(0.95, sides=1)))

    cells = round(side.to_show())
    assert abs(shown(cells) - 0.8) < 4 * math.sqrt(0.16 / many) + 0.01
    assert shown(cells // 4) < 0.5


@pytest.mark.parametrize("worse", [1.25, 1.5, 2.0])
def test_a_meter_that_is_not_in_order_passes_as_often_as_it_says(worse):
    """Counts that are drawn keep to the limit as often: |z| < 4."""
    rng, many, true = np.random.Generator(np.random.PCG64(2)), 20_000, MISS.value * worse
    met = float(np.mean(rng.binomial(300, true, many) <= MISS.value * 300))
    said = Side(MISS, Share(0.05)).passes(300, worse)
    assert abs(said - met) < 4 * math.sqrt(said * (1 - said) / many)
    least = Limit("per_spacing.quality", ">=", 0.92)  # 8 % of what is not wanted are allowed, too
    assert Side(least, Share(0.95)).passes(300, worse) == pytest.approx(said)
    # misses in runs of 2 on average, of geometric lengths, have three times the variance (derived)
    runs = rng.poisson(300 * true / 2, many)
    met = float(np.mean(runs + rng.negative_binomial(runs, 0.5) <= MISS.value * 300))
    wide = Side(MISS, Share(0.05, 3 / (1 - true))).passes(300, worse)
    assert abs(wide - met) < 4 * math.sqrt(wide * (1 - wide) / many) + 0.03  # for its skewness
    assert met > 1.4 * said  # negative control: the plain law is off


def test_more_seeds_let_less_pass():
    side = Side(MISS, Share(0.05, 1.5))
    chances = [side.passes(counted, 1.5) for counted in (50, 300, 2000)]
    assert chances == sorted(chances, reverse=True) and chances[0] > 0.15 > 0.01 > chances[2]
    assert side.passes(300, 1.0) == pytest.approx(0.5, abs=0.06)  # just at the limit, luck decides
    assert Side(MISS, Share(0.08)).to_show() == math.inf
    dependent, plain = Side(MISS, Share(0.05, 2.0)), Side(MISS, Share(0.05))
    assert dependent.to_show() == pytest.approx(2 * plain.to_show())


def test_shares_are_those_that_are_measured():
    """The same shares as the measures of a run, to the last spacing but those at its ends."""
    run = m.simulate(m.load_scenario("maize_field", ["turns=400"]), seed=1)
    measured = m.measure(run)
    for limit in (*limits_of("nyt1628"), *limits_of("cells.skip<=0.01")):
        side = side_of(run, loads(run), limit)
        assert side.share.value == pytest.approx(measured[limit.key].value, abs=2e-4)
        kept = side.share.value <= limit.value
        assert side.kept == (kept if limit.sign == "<=" else not kept)


def test_without_spacings_there_is_nothing_to_judge():
    run = m.simulate(m.load_scenario("maize_bench", ["vacuum_kpa=0", "turns=5"]), seed=1)
    with pytest.raises(BadInput, match="no two seeds came out"):
        side_of(run, loads(run), MISS)
    assert side_of(run, loads(run), limits_of("cells.skip<=0.01")[0]).share.value == 1
