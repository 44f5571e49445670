"""Quantiles of the beta, Student's and the chi-squared distribution, for single numbers.

The functions have the names and the order of arguments that scipy.special gives them, and agree
with it to 1e-10, mostly to 1e-14, for up to some 1e6 degrees of freedom or counts, and shares
from 1e-9 to 1 - 1e-9.  Each takes some 50 microseconds.
"""

from __future__ import annotations

import math
from functools import lru_cache

from metersim.distributions.normal import ndtri

EXACT = 1e-15  # of a sum, relative, at which a continued fraction or a series ends
STEP = 1e-7  # relative; what follows a step of third order that is as short is rounding
MOST = 100_000  # terms, far more than are ever needed
STEPS = 60
LEAST = 1e-300
HALF_LOG = 0.5 * math.log(2 * math.pi)


def betainc(a: float, b: float, x: float) -> float:
    """Share of the beta distribution below x.

    Parameters
    ----------
    a, b : float
        Above 0. [1]
    x : float
        From 0 to 1. [1]

    Returns
    -------
    float
        Share. [1]

    Notes
    -----
    Source: its continued fraction (dlmf, 8.17.22), with Stirling's series for its factor.
    """
    if not 0 < x < 1:
        return math.nan if math.isnan(x) or not 0 <= x <= 1 else x
    return _beta(a, b, x, 1 - x)[0]


@lru_cache(maxsize=4096)
def betaincinv(a: float, b: float, share: float) -> float:
    """Number below which a share of the beta distribution lies.

    Parameters
    ----------
    a, b : float
        Above 0. [1]
    share : float
        From 0 to 1. [1]

    Returns
    -------
    float
        From 0 to 1; nan where there is none. [1]
    """
    if not (a > 0 and b > 0 and 0 <= share <= 1):
        return math.nan
    if share in (0, 1):
        return float(share)
    return _beta_quantile(a, b, share, 1 - share)[0]


@lru_cache(maxsize=4096)
def stdtrit(freedom: float, share: float) -> float:
    """Deviate below which a share of Student's distribution lies.

    Parameters
    ----------
    freedom : float
        Degrees of freedom, above 0. [1]
    share : float
        Between 0 and 1. [1]

    Returns
    -------
    float
        Deviate; nan where there is none. [1]
    """
    if not (freedom > 0 and 0 < share < 1):
        return math.nan
    tail = 2 * min(share, 1 - share)
    if tail == 1:
        return 0.0
    rest, far = _beta_quantile(freedom / 2, 0.5, tail, 1 - tail)
    return math.copysign(math.sqrt(freedom * far / rest), share - 0.5)


@lru_cache(maxsize=4096)
def chdtri(freedom: float, share: float) -> float:
    """Number above which a share of the chi-squared distribution lies.

    Parameters
    ----------
    freedom : float
        Degrees of freedom, above 0. [1]
    share : float
        Between 0 and 1. [1]

    Returns
    -------
    float
        Number; nan where there is none. [1]
    """
    if not (freedom > 0 and 0 < share < 1):
        return math.nan
    a = freedom / 2
    x: float = a * max(1 - 1 / (9 * a) - ndtri(share) / math.sqrt(9 * a), 0.0) ** 3
    if a < 1 or x == 0:  # Wilson and Hilferty's cube is of no use
        x = min(((1 - share) * math.gamma(a + 1)) ** (1 / a), a + 1) if a < 100 else a
    for _ in range(STEPS):
        below, above, density = _gamma(a, x)
        over = below - (1 - share) if share > 0.5 else share - above
        x, step = _stepped(x, over / density, (a - 1) / x - 1)
        if abs(step) < STEP * x:
            break
    return 2 * x


def _stepped(x: float, newton: float, bend: float) -> tuple[float, float]:
    """Halley's step from x, at most half the way to 0, and its length."""
    step = newton / (1 - 0.5 * max(min(newton * bend, 1.0), -1.0))
    step = min(step, 0.5 * x)
    return x - step, step


def _stirling(a: float) -> float:
    """What Stirling's formula leaves of the logarithm of the gamma function."""
    if a < 16:
        return math.lgamma(a) - ((a - 0.5) * math.log(a) - a + HALF_LOG)
    square = 1 / (a * a)
    series = 1 / 1260 - square * (1 / 1680 - square * (1 / 1188 - square * 691 / 360360))
    return (1 / 12 - square * (1 / 360 - square * series)) / a


def _log_ratio(x: float, middle: float, over: float) -> float:
    """Logarithm of x over the middle, where x lies over the middle by so much."""
    away = over / middle
    return math.log1p(away) if abs(away) < 0.5 else math.log(x) - math.log(middle)


def _beta(a: float, b: float, x: float, y: float) -> tuple[float, float, float]:
    """Shares below and above x = 1 - y, and the density at x times x y."""
    n = a + b
    over = x - a / n if x < y else b / n - y
    log = a * _log_ratio(x, a / n, over) + b * _log_ratio(y, b / n, -over)
    log += 0.5 * (math.log(a) + math.log(b) - math.log(n)) - HALF_LOG
    factor = math.exp(log + _stirling(n) - _stirling(a) - _stirling(b))
    if x * (n + 2) < a + 1:
        below = factor / a / _beta_fraction(a, b, x)
        return below, 1 - below, factor
    above = factor / b / _beta_fraction(b, a, y)
    return 1 - above, above, factor


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Continued fraction of the share below x, by Lentz's method."""
    found = c = (1 - (a + b) * x / (a + 1)) or LEAST
    d = 1.0
    for m in range(1, MOST):
        k = a + 2 * m
        even = m * (b - m) * x / ((k - 1) * k)
        odd = -(a + m) * (a + b + m) * x / (k * (k + 1))
        d = 1 / ((1 + even * d) or LEAST)
        c = (1 + even / c) or LEAST
        found *= c * d
        d = 1 / ((1 + odd * d) or LEAST)
        c = (1 + odd / c) or LEAST
        found *= c * d
        if abs(c * d - 1) < EXACT:
            break
    return found


def _beta_quantile(a: float, b: float, share: float, rest: float) -> tuple[float, float]:
    """x and 1 - x, where a share lies below x and the rest above; the lesser is exact."""
    x, y = _beta_start(a, b, share, rest)
    if min(x, y) < LEAST:
        return x, y
    if x > y:
        y, x = _beta_lesser(b, a, rest, share, y)
        return x, y
    return _beta_lesser(a, b, share, rest, x)


def _beta_start(a: float, b: float, share: float, rest: float) -> tuple[float, float]:
    """A first guess of a quantile: Paulson's, or the first term of its series."""
    if min(a, b) > 1:
        u, v = 1 / (2 * a - 1), 1 / (2 * b - 1)
        deviate = -ndtri(share)
        bend, wide = (deviate * deviate - 3) / 6, 2 / (u + v)
        if wide + bend > 0:
            way = deviate * math.sqrt(wide + bend) / wide
            way -= (v - u) * (bend + 5 / 6 - 2 / (3 * wide))
            odds = a * math.exp(-2 * way)
            return odds / (odds + b), b / (odds + b)
    low = math.exp(a * math.log(a / (a + b))) / a
    high = math.exp(b * math.log(b / (a + b))) / b
    if share < low / (low + high):
        x = float((a * (low + high) * share) ** (1 / a))
        return x, 1 - x
    y = float((b * (low + high) * rest) ** (1 / b))
    return 1 - y, y


def _beta_lesser(a: float, b: float, share: float, rest: float, x: float) -> tuple[float, float]:
    for _ in range(STEPS):
        below, above, factor = _beta(a, b, x, 1 - x)
        over = below - share if share < 0.5 else rest - above
        bend = (a - 1) / x - (b - 1) / (1 - x)
        newton = over * x * (1 - x) / factor
        x, step = _stepped(x, newton, bend)
        x = min(x, 0.5 + 0.5 * (x + step)) if x >= 1 else x
        if abs(step) < STEP * x:
            break
    return x, 1 - x


def _gamma(a: float, x: float) -> tuple[float, float, float]:
    """Shares of the gamma distribution below and above x, and the density at x."""
    log = a * _log_ratio(x, a, x - a) - (x - a) + 0.5 * math.log(a) - HALF_LOG - _stirling(a)
    factor = math.exp(log)
    if x < a + 1:
        total = term = 1 / a
        for k in range(1, MOST):
            term *= x / (a + k)
            total += term
            if term < EXACT * total:
                break
        below = factor * total
        return below, 1 - below, factor / x
    b = x + 1 - a
    c, d = 1 / LEAST, 1 / b
    total = d
    for k in range(1, MOST):
        part, b = -k * (k - a), b + 2
        d = 1 / ((part * d + b) or LEAST)
        c = (b + part / c) or LEAST
        total *= c * d
        if abs(c * d - 1) < EXACT:
            break
    above = factor * total
    return 1 - above, above, factor / x
