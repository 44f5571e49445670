"""The hierarchical fit: its parts by closed forms, and the whole by data from known machines."""

import itertools
import math
from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from metersim.questions.shared.cases import load_case
from metersim.run.pool import processes
from tests.validation.fit.emulator import emulate
from tests.validation.fit.likelihood import (
    Predictor,
    SourceModel,
    kept_rows,
    log_count,
    relative_variance,
)
from tests.validation.fit.posterior import Posterior
from tests.validation.fit.predictive import drawn_shares, herded, levels_of, machines
from tests.validation.fit.recovery import coverage, recover
from tests.validation.fit.report import learned
from tests.validation.fit.runs import KEPT
from tests.validation.fit.sources import observed_of, sources_of
from tests.validation.fit.table import TABLE, Table, Varied
from tests.validation.toy import CONDITION, TOY, linear, toy_emulators, toy_source

ZERO = np.zeros(TOY.size)


def test_the_prior_centre_is_the_coefficient_itself():
    coefficients = TABLE.coefficients(np.zeros(len(TABLE.varied)))
    for one in TABLE.varied:
        assert getattr(coefficients, one.name) == pytest.approx(one.centre)


@pytest.mark.parametrize("x", [-30.0, 30.0])
def test_coefficients_stay_in_their_ranges(x):
    scaled = np.array([one.middle + x * one.sd for one in TABLE.varied])
    TABLE.coefficients(TABLE.inputs(scaled))  # refuses what is not allowed


def test_at_most_four_spreads_are_free():
    one = Varied(name="hop", centre=0.02, sd=0.5, spread=0.1, free=0.5)
    with pytest.raises(ValueError, match="5 spreads"):
        Table(varied=(one,) * 5)


def test_no_spread_leaves_the_unit_of_the_emulators():
    for own, other in zip(TABLE.varied, TABLE.without_spread().varied, strict=True):
        assert (own.total, other.spread, other.free) == (other.total, 0.0, 0.0)


def test_the_three_shares_of_a_test_are_one_count():
    found = {one.rows: one for one in observed_of(load_case("torosoglu"))}
    one = next(o for rows, o in found.items() if rows[0] == "electric 150 mm, quality")
    assert (len(one.rows), one.total, kept_rows(one)) == (3, 250, [1, 2])


def test_a_mean_over_speeds_counts_all_their_spacings():
    one = next(o for o in observed_of(load_case("bozdogan2008")) if o.measure == "precision")
    assert one.total == 1000


def test_cases_held_back_are_neither_fitted_nor_predicted():
    cases = [load_case(name) for name in ("torosoglu", "plantsci2025")]
    assert not any(one.held_back for source in sources_of(cases) for one in source.observed)
    opened = [one for source in sources_of(cases, open_all=True) for one in source.observed]
    assert any(one.held_back for one in opened)
    assert not any(one.fitted for one in opened if one.held_back)


def test_chances_of_all_counts_add_up_to_one():
    p, rho = np.array([[0.1, 0.2, 0.7]]), np.array([0.05])
    counts = [(a, b, 6 - a - b) for a, b in itertools.product(range(7), repeat=2) if a + b <= 6]
    total = sum(math.exp(log_count(np.array(one, float), p, rho)[0]) for one in counts)
    assert total == pytest.approx(1)


def test_counts_without_discrepancy_are_multinomial():
    p, counts = np.array([[0.1, 0.2, 0.7]]), np.array([1.0, 1.0, 4.0])
    exact = 30 * 0.1 * 0.2 * 0.7**4
    assert math.exp(log_count(counts, p, np.array([1e-9]))[0]) == pytest.approx(exact, rel=1e-5)


def test_variance_of_drawn_shares():
    many, rho, count = 40_000, 0.01, 250
    p = np.tile([0.03, 0.97], (many, 1))
    drawn = drawn_shares(p, np.full(many, rho), count, np.random.default_rng(1))[:, 0]
    expected = 0.03 * 0.97 * (1 / count + rho * (1 - 1 / count))
    assert abs(drawn.var() / expected - 1) < 4 * math.sqrt(6 / many)


def test_an_emulator_recovers_a_polynomial_from_counts():
    rng, many = np.random.default_rng(1), 1500
    x = rng.normal(0, 1.6, (many, 3))
    p = 1 / (1 + np.exp(4 - 0.8 * x[:, 0] - 0.3 * x[:, 1] ** 2 / 2 + 0.2 * x[:, 0] * x[:, 2]))
    results = np.full((many, 3, len(KEPT)), np.nan)
    drawn = rng.binomial(800, p) / 800
    results[:, :, KEPT.index("cells.skip")] = np.stack([drawn, p * (1 - p) / 800, p * 0 + 800], 1)
    found = emulate(x, results, "cells.skip", 3)
    usual = np.abs(x).max(1) < 2
    misses = np.log(found(x[usual]) / p[usual])
    assert np.sqrt(np.mean(misses**2)) < 0.1
    assert found.error < 0.15
    results[0] = np.nan  # a point whose values contradict one another
    assert emulate(x, results, "cells.skip", 3)(x[:1])[0] == pytest.approx(found(x[:1])[0], rel=0.1)


def test_the_marginal_likelihood_of_a_normal_value_is_normal():
    source = toy_source("one")
    source = replace(source, observed=source.observed[1:])
    spread = TOY.varied[0].spread / TOY.varied[0].total
    emulators = {
        ("one", CONDITION, "cells.single"): linear(True, 3.0, 0.0, 0.0),
        ("one", CONDITION, "precision"): linear(False, math.log(0.1), 0.4, 0.0),
    }
    model = SourceModel(Predictor(source, TOY, emulators), 4000, 1)
    model.adapt(ZERO)
    one = source.observed[0]
    noise = float(relative_variance(one, TOY.discrepancy[0], TOY.relative[0]))
    noise += (1e-4 / 0.12) ** 2 / 12
    variance = noise + (0.4 * spread) ** 2
    miss = math.log(0.12 / 0.1)
    exact = -0.5 * (miss**2 / variance + math.log(2 * math.pi * variance))
    assert model(ZERO) == pytest.approx(exact, abs=0.03)


def test_a_source_far_from_all_machines_is_an_outlier():
    table = replace(TOY, outlier=0.07)
    near, far = toy_source("near"), toy_source("far", published=(0.5, 0.45, 0.05))
    emulators = toy_emulators([near, far])
    models = [SourceModel(Predictor(one, table, emulators), 500, 1) for one in (near, far)]
    chances = [model.outlying(ZERO) for model in models]
    assert chances[0] < 0.05 and chances[1] > 0.9


def test_machines_that_nobody_would_publish_are_left_out():
    source = toy_source("one")
    emulators, h = toy_emulators([source]), np.zeros((400, TOY.size))
    free = machines(Predictor(source, TOY, emulators), h)[:, 0]
    strict = replace(TOY, accepted=0.97, acceptance_scale=0.002)
    kept = machines(Predictor(source, strict, emulators), h)[:, 0]
    assert kept.mean() < free.mean() - 4 * free.std() / 20


def test_the_first_of_the_draws_represent_all():
    rng = np.random.default_rng(1)
    points = rng.standard_normal((256, 4)) @ rng.standard_normal((4, 4)) + 3
    shown = points[:, :1] * points[:, 1:2]  # what machines do is no straight line
    order = herded(points, shown)
    assert sorted(order) == list(range(256))
    both = np.column_stack([points, shown])
    z = (both - both.mean(0)) / both.std(0)
    for few in (8, 16, 32):  # random draws miss the mean by 1/sqrt(few)
        assert np.abs(z[order[:few]].mean(0)).max() < 0.6 / math.sqrt(few)
        assert np.all(np.abs(z[order[:few]].std(0) - 1) < 0.4)


def test_levels_of_a_test_are_one_count():
    source = toy_source("one")
    levels = levels_of(Predictor(source, TOY, toy_emulators([source])), np.zeros((500, TOY.size)))
    assert [level.measure for level in levels[:2]] == [
        "per_spacing.quality",
        "per_spacing.multiple",
    ]
    assert np.sum([level.draws for level in levels[:3]], 0) == pytest.approx(100)
    assert {level.unit for level in levels} == {"%"}


@pytest.fixture(scope="module")
def fitted():
    """A fit of six toy sources, one of them with many misses."""
    misses = [0.01, 0.02, 0.02, 0.03, 0.015, 0.06]
    sources = [toy_source(f"s{k}", (0.985 - m, 0.015, m)) for k, m in enumerate(misses)]
    emulators = toy_emulators(sources)
    found = Posterior([Predictor(one, TOY, emulators) for one in sources], TOY, points=60)
    found.fit(rounds=1, iterations=2)
    return found


@pytest.mark.slow
def test_a_source_left_out_no_longer_pulls(fitted):
    mode = fitted.without("s5", iterations=1)
    assert mode[0] < fitted.mode[0]  # the one with many misses is the slowest


def test_data_narrow_the_prior(fitted):
    rows = {row[0]: row for row in learned(TOY, fitted.draws(30).h)}
    assert rows["draw_slowness"][7] == "yes"
    assert rows["hop"][5] < TOY.varied[1].sd


def test_a_meter_of_another_kind_is_predicted_alone():
    (source,) = sources_of([load_case("qi2013")])
    assert source.observed and not source.fitted


@pytest.mark.study
@pytest.mark.slow
def test_intervals_hold_what_the_data_were_made_from():
    """90 % intervals hold 90 %, and those of a fit that denies machines a spread do not."""
    sources = [toy_source(f"s{k}") for k in range(6)]
    emulators, found = toy_emulators(sources), {}
    with processes(2) as executor:
        for label, own in (("own", None), ("alike", TOY.without_spread())):
            call = partial(recover, sources, TOY, emulators, fit_table=own)
            found[label] = coverage(executor.map(call, range(24)))
    print(found)
    for share, many in found["own"].values():
        assert abs(share - 0.9) < 4 * math.sqrt(0.09 / min(many, 160))
    for share, many in found["alike"].values():
        assert share < 0.9 - 3 * math.sqrt(0.09 / many)
