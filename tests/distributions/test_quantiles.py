"""Quantiles of single numbers, against scipy as a reference."""

import math

import numpy as np
import pytest
import scipy.special

from metersim.distributions import quantiles
from metersim.distributions.quantiles import betainc, betaincinv, chdtri, stdtrit

CLOSE = 1e-10  # relative
SHARES = (1e-6, 0.0005, 0.005, 0.025, 0.05, 0.5, 0.9, 0.95, 0.975, 0.995)
rng = np.random.Generator(np.random.PCG64(2))


def powers(low, high, many=200):
    return (10.0 ** rng.uniform(low, high, many)).tolist()


EVEN = list(zip(powers(-1.3, 1), powers(-1.3, 1), rng.choice(SHARES, 200).tolist(), strict=True))
RARE = list(zip(powers(-1, 2), powers(0, 5.5), rng.choice(SHARES, 200).tolist(), strict=True))
MANY = list(zip(powers(2, 5), powers(2, 5), rng.choice(SHARES, 200).tolist(), strict=True))
COMMON = [(b, a, share) for a, b, share in RARE]
WHOLE = [(float(a), float(b), 0.025) for a in range(1, 12) for b in (1, 2, 3, 50, 9000)]
STUDENT = [(freedom, share) for freedom in (1, 2, 3.5, 6, 9, 31, 99, 9999) for share in SHARES]
SQUARES = [(freedom, share) for freedom in (0.4, 1, 2, 3, 7, 31, 99, 9999) for share in SHARES]
CASES = {
    "even": (betaincinv, EVEN),
    "rare": (betaincinv, RARE),
    "common": (betaincinv, COMMON),
    "many": (betaincinv, MANY),
    "whole": (betaincinv, WHOLE),
    "student": (stdtrit, STUDENT),
    "squares": (chdtri, SQUARES),
}


def off(function, cases):
    """The largest relative difference from the reference."""
    reference = getattr(scipy.special, function.__name__)
    pairs = [(function(*case), float(reference(*case))) for case in cases]
    return max(abs(found - known) / (abs(known) or 1.0) for found, known in pairs)


@pytest.mark.parametrize("name", CASES)
def test_quantiles_are_those_of_the_reference(name):
    """Few events among many cells, many among few, parts of an event, and few of both."""
    assert off(*CASES[name]) < CLOSE


@pytest.mark.parametrize("name", CASES)
def test_a_sum_that_ends_early_is_seen(name, monkeypatch):
    """Negative control: fractions and series end at their third digit."""
    monkeypatch.setattr(quantiles, "EXACT", 1e-3)
    function, cases = CASES[name]
    function.cache_clear()
    assert off(function, cases) > CLOSE
    function.cache_clear()


def test_shares_are_those_of_the_reference():
    cases = [(a, b, x) for a, b, _ in EVEN + MANY for x in (0.001, 0.2, 0.5, 0.9)]
    cases = [case for case in cases if scipy.special.betainc(*case) > 1e-200]
    assert off(betainc, cases) < CLOSE
    assert [betainc(2, 3, x) for x in (0, 1)] == [0, 1]
    assert math.isnan(betainc(2, 3, 1.5))


def test_closed_forms():
    """One event of one; two degrees of freedom; Cauchy's distribution."""
    assert betaincinv(1, 1, 0.3) == pytest.approx(0.3, rel=1e-15)
    assert betaincinv(1, 9, 0.975) == pytest.approx(1 - 0.025 ** (1 / 9), rel=1e-14)
    assert chdtri(2, 0.05) == pytest.approx(-2 * math.log(0.05), rel=1e-14)
    assert stdtrit(1, 0.975) == pytest.approx(math.tan(math.pi * 0.475), rel=1e-13)
    assert stdtrit(5, 0.5) == 0
    assert stdtrit(5, 0.2) == -stdtrit(5, 0.8)


def test_what_has_no_quantile_has_none():
    """As with scipy."""
    assert [betaincinv(2, 3, end) for end in (0, 1)] == [0, 1]
    for wrong in (betaincinv(0, 3, 0.5), betaincinv(2, 3, 1.1), stdtrit(0, 0.5), chdtri(-1, 0.5)):
        assert math.isnan(wrong)
