"""The normal distribution, against scipy as a reference, and numbers against arrays."""

import numpy as np
import pytest
import scipy.special

from metersim.distributions import normal
from metersim.distributions.normal import FEW, ndtr, ndtri

CLOSE = 1e-15  # relative
rng = np.random.Generator(np.random.PCG64(1))
SHARES = np.concatenate(
    [
        rng.random(20_000),
        10.0 ** (-300 * rng.random(20_000)),
        1 - 10.0 ** (-15 * rng.random(20_000)),
        0.5 + rng.uniform(-0.4, 0.4, 2_000) * 10.0 ** (-15 * rng.random(2_000)),
        0.5 + np.array([-1, 1]) * normal.OUT,
        [5e-324, np.exp(-25.0), 1 - 2.0**-53],
    ]
)
DEVIATES = np.concatenate(
    [
        rng.normal(size=20_000),
        rng.uniform(-37, 9, 20_000),
        np.outer([-1, 1], [normal.NEAR, normal.FURTHER, 0.0]).ravel(),
    ]
)


def off(found, reference):
    """The largest relative difference; a zero must be one in both."""
    some = reference != 0
    assert not found[~some].any()
    return float(np.abs(found[some] / reference[some] - 1).max())


def off_deviates():
    return off(ndtri(SHARES), scipy.special.ndtri(SHARES))


def off_shares():
    """In a tail, a rounding of the deviate's square moves the share."""
    reference = scipy.special.ndtr(DEVIATES)
    allowed = 1 + np.minimum(DEVIATES, 0.0) ** 2
    return float((np.abs(ndtr(DEVIATES) / reference - 1) / allowed).max())


def test_deviates_are_those_of_the_reference():
    """To the rounding of both, over all shares that a number can be."""
    assert off_deviates() <= 1.2 * CLOSE


def test_shares_are_those_of_the_reference():
    """Likewise."""
    assert off_shares() <= CLOSE


@pytest.mark.parametrize("name", ["CENTRE", "TAIL", "FAR_TAIL"])
def test_one_wrong_digit_of_a_deviate_is_seen(name, monkeypatch):
    """Negative control: the tenth digit of one coefficient."""
    spoil(name, monkeypatch)
    assert off_deviates() > 10 * CLOSE


@pytest.mark.parametrize("name", ["BELOW_CENTRE", "BELOW_TAIL", "BELOW_FAR_TAIL"])
def test_one_wrong_digit_of_a_share_is_seen(name, monkeypatch):
    """Negative control: likewise."""
    spoil(name, monkeypatch)
    assert off_shares() > 2 * CLOSE


def spoil(name, monkeypatch):
    """Change a coefficient that counts by 1e-10 of it."""
    above, below = getattr(normal, name)
    changed = ((*above[:-1], above[-1] * (1 + 1e-10)), below)
    monkeypatch.setattr(normal, name, changed)
    monkeypatch.setitem(normal.ROWS, id(changed), normal._rows(changed))


@pytest.mark.parametrize(("function", "values"), [(ndtri, SHARES), (ndtr, DEVIATES)])
def test_a_number_gives_the_same_bits_alone_and_among_others(function, values):
    """So that both engines find the same, in arrays of any length."""
    whole = function(values)
    assert [function(float(value)) for value in values[::7]] == whole[::7].tolist()
    for length in (0, 1, FEW, FEW + 1, 1000):
        assert function(values[:length]).tolist() == whole[:length].tolist()
    square = values[:400].reshape(20, 20)
    assert (function(square.T) == function(square).T).all()


@pytest.mark.parametrize(
    ("function", "ends"),
    [
        (ndtri, {0.0: -np.inf, 1.0: np.inf, 0.5: 0.0, -0.1: np.nan, 1.1: np.nan, np.nan: np.nan}),
        (ndtr, {-np.inf: 0.0, np.inf: 1.0, 0.0: 0.5, -50.0: 0.0, 50.0: 1.0, np.nan: np.nan}),
    ],
)
def test_the_ends_and_what_is_no_number(function, ends):
    """As scipy has them, alone and in arrays, without a warning."""
    given, wanted = np.array([*ends] * FEW), np.array([*ends.values()] * FEW)
    np.testing.assert_array_equal(function(given), wanted)
    np.testing.assert_array_equal([function(one) for one in ends], [*ends.values()])
    assert function(0) in (-np.inf, 0.5)
    assert isinstance(function(np.float64(0.5)), float)


def test_one_undoes_the_other():
    """A rounding of the deviate moves the share by its square."""
    usual = SHARES[SHARES > 1e-300]
    deviates = ndtri(usual)
    assert (np.abs(ndtr(deviates) / usual - 1) <= CLOSE * (1 + deviates**2)).all()
    assert ndtri(1 - SHARES[:1000]) == pytest.approx(-ndtri(SHARES[:1000]), rel=1e-9, abs=1e-12)
