"""What a source would print: counts of its own length, discrepancy, rounding, machines."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.questions.evidence.predictions import COUNTED, STRETCHES, Predicted
from metersim.questions.evidence.printed import (
    SPACINGS,
    TESTS,
    counted,
    decimals,
    printed,
    remeasured,
    spread_shares,
)
from metersim.questions.shared.cases import read_case
from metersim.questions.shared.statements import Row

DRAWS = 4000
SHARES = (0.02, 0.95, 0.03)
ROW = '[[rows]]\nname = "%s"\nkind = "level"\nat = "a"\nmeasure = "%s"\npublished = %s\n'
HEAD = """
source = "banaj2022"
mark = "read"
read = ["made up for a test"]
[scenario]
extends = "maize_bench"
[conditions.a]
"""


def made(folder, rows, draws=DRAWS, machines=1):
    """A prediction whose draws are alike: shares of a test, and a precision of runs of 1,000."""
    path = folder / "own.toml"
    path.write_text(HEAD + rows)
    values = {
        key: np.full((draws, 1 + STRETCHES), p) for key, p in zip(TESTS[0], SHARES, strict=True)
    }
    precision = np.full((draws, 1 + STRETCHES), 0.10)
    precision[:, 1:] += 0.001 * np.resize([1, -1], STRETCHES)
    values |= {"precision": precision, COUNTED: np.full((draws, 1 + STRETCHES), 1000.0)}
    case = dataclasses.replace(read_case(path), machines=machines)
    return Predicted(case, {"a": values})


def close_to_sd(found, sd):
    """Whether an SD is that expected, within four standard errors of a nearly normal sample."""
    return abs(np.std(found) - sd) < 4 * sd / math.sqrt(2 * len(found)) * 1.3


def test_a_test_is_one_count(tmp_path):
    """Quality, multiple and miss add up to 100 % and have the variances of a multinomial."""
    rows = "".join(ROW % (key, key, "1.0") for key in TESTS[0])
    prediction = made(tmp_path, rows)
    exact = [
        dataclasses.replace(row, stated=row.stated | {"published": 0.123456789012})
        for row in prediction.case.rows
    ]
    found = np.array([printed(prediction, row, 1) for row in exact])
    assert found.sum(axis=0) == pytest.approx(100.0)
    assert np.all(np.abs(found * SPACINGS / 100 - np.round(found * SPACINGS / 100)) < 1e-6)
    for drawn, p in zip(found, SHARES, strict=True):
        sd = 100 * math.sqrt(p * (1 - p) / SPACINGS)
        assert abs(drawn.mean() - 100 * p) < 4 * sd / math.sqrt(DRAWS) and close_to_sd(drawn, sd)
    covariance = np.cov(found[0], found[2])[0, 1] / 1e4
    assert abs(covariance + SHARES[0] * SHARES[2] / SPACINGS) < 4 * 9.8e-5 / math.sqrt(DRAWS)
    again = printed(prediction, exact[0], 2)
    assert not np.array_equal(again, found[0])  # other draws for another seed


@pytest.mark.parametrize(("published", "places"), [("97.19", 2), ("0.0", 1), ("5", 0)])
def test_draws_are_rounded_as_the_source_rounds(tmp_path, published, places):
    prediction = made(tmp_path, ROW % ("q", "per_spacing.quality", published), draws=50)
    (row,) = prediction.case.rows
    assert decimals(row) == places
    assert np.array_equal(printed(prediction, row, 1), printed(prediction, row, 1).round(places))


def test_a_mean_over_machines_is_a_mean_of_draws(tmp_path):
    """Of three machines the variance is a third, and the mean is the same."""
    row = ROW % ("q", "per_spacing.quality", "97.19")
    one, three = (
        printed(each, each.case.rows[0], 1)
        for each in (made(tmp_path, row), made(tmp_path, row, machines=3))
    )
    sd = 100 * math.sqrt(0.95 * 0.05 / SPACINGS)
    assert close_to_sd(one, sd) and close_to_sd(three, sd / math.sqrt(3))
    assert three.mean() == pytest.approx(one.mean(), abs=0.01)


def test_a_precision_has_the_error_of_a_shorter_run(tmp_path):
    """Runs of 1,000 spacings have a quarter of the variance already; the rest is added."""
    own = STRETCHES - 1  # times the variance of the values without each stretch
    prediction = made(tmp_path, ROW % ("p", "precision", "10.1234"))
    drawn = printed(prediction, prediction.case.rows[0], 1)
    sd = 100 * math.sqrt(own * 0.001**2 * (1000 / SPACINGS - 1))
    assert close_to_sd(np.log(drawn), sd / 10)
    values = prediction.values["a"]["precision"]
    short = remeasured(values, np.full(DRAWS, 100.0), SPACINGS, np.random.default_rng(1))
    assert np.array_equal(short, values[:, 0])


def test_discrepancy_is_stated_at_3_percent_and_scales():
    rng = np.random.default_rng(3)
    found = spread_shares(np.tile([0.03, 0.6, 0.37], (DRAWS, 1)), 0.01, rng)
    assert found.sum(axis=1) == pytest.approx(1.0)
    assert close_to_sd(found[:, 0], 0.01)
    assert close_to_sd(found[:, 1], 0.01 * math.sqrt(0.6 * 0.4 / (0.03 * 0.97)))
    assert found.mean(axis=0) == pytest.approx([0.03, 0.6, 0.37], abs=4 * 0.03 / math.sqrt(DRAWS))
    same = np.tile(SHARES, (5, 1))
    assert np.array_equal(spread_shares(same, 0.0, rng), same)
    each = spread_shares(np.tile(SHARES, (2, 1)), [0.0, 0.02], rng)
    assert np.array_equal(each[0], SHARES) and not np.allclose(each[1], SHARES)


def test_discrepancies_widen_what_is_printed(tmp_path):
    rows = ROW % ("q", "per_spacing.quality", "95.0") + ROW % ("p", "precision", "10.12")
    prediction = made(tmp_path, rows)
    for row, part in zip(prediction.case.rows, ("discrepancy", "relative"), strict=True):
        plain, wide = (np.std(printed(prediction, row, 1, **{part: by})) for by in (0.0, 0.1))
        assert wide > 1.2 * plain


def test_what_cannot_happen_is_not_counted():
    found = counted(np.tile([0.0, 1.0], (50, 1)), 250, np.random.default_rng(1), 0.01)
    assert np.array_equal(found, np.tile([0.0, 1.0], (50, 1)))


def test_a_run_without_a_value_prints_none(tmp_path):
    prediction = made(tmp_path, ROW % ("q", "per_spacing.quality", "95.0"), draws=6)
    prediction.values["a"]["per_spacing.quality"][2] = math.nan
    found = printed(prediction, prediction.case.rows[0], 1)
    assert np.isnan(found[2]) and np.isfinite(np.delete(found, 2)).all()


def test_a_maximum_is_printed_as_it_is():
    assert decimals(Row("m", "level", (), {"published": 5})) == 0
