"""The standard normal distribution, for numbers and arrays alike.

Both functions have the names that scipy.special gives them.  A number gives the same bits alone
and in an array, so that both engines find the same.  scipy itself is not used, as loading
scipy.special takes longer than most answers.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Quotient = tuple[tuple[float, ...], tuple[float, ...]]

FEW = 16  # numbers that take less time one by one than as an array

# quotients of two polynomials of the eighth degree, highest power first
CENTRE: Quotient = (
    (
        0.0,
        2.50908092873012267270e3,
        3.34305755835881281050e4,
        6.72657709270087008530e4,
        4.59219539315498714570e4,
        1.37316937655094611250e4,
        1.97159095030655144270e3,
        1.33141667891784377450e2,
        3.38713287279636660800e0,
    ),
    (
        0.0,
        5.22649527885285456100e3,
        2.87290857357219426740e4,
        3.93078958000927106100e4,
        2.12137943015865958670e4,
        5.39419602142475110770e3,
        6.87187007492057908300e2,
        4.23133307016009112520e1,
        1.0,
    ),
)
TAIL: Quotient = (
    (
        0.0,
        7.74545014278341407640e-4,
        2.27238449892691845833e-2,
        2.41780725177450611770e-1,
        1.27045825245236838258e0,
        3.64784832476320460504e0,
        5.76949722146069140550e0,
        4.63033784615654529590e0,
        1.42343711074968357734e0,
    ),
    (
        0.0,
        1.05075007164441684324e-9,
        5.47593808499534494600e-4,
        1.51986665636164571966e-2,
        1.48103976427480074590e-1,
        6.89767334985100004550e-1,
        1.67638483018380384940e0,
        2.05319162663775882187e0,
        1.0,
    ),
)
FAR_TAIL: Quotient = (
    (
        0.0,
        2.01033439929228813265e-7,
        2.71155556874348757815e-5,
        1.24266094738807843860e-3,
        2.65321895265761230930e-2,
        2.96560571828504891230e-1,
        1.78482653991729133580e0,
        5.46378491116411436990e0,
        6.65790464350110377720e0,
    ),
    (
        0.0,
        2.04426310338993978564e-15,
        1.42151175831644588870e-7,
        1.84631831751005468180e-5,
        7.86869131145613259100e-4,
        1.48753612908506148525e-2,
        1.36929880922735805310e-1,
        5.99832206555887937690e-1,
        1.0,
    ),
)
BELOW_CENTRE: Quotient = (
    (
        0.0,
        0.0,
        0.0,
        0.0,
        6.5682337918207449113e-2,
        2.2352520354606839287e0,
        1.6102823106855587881e2,
        1.0676894854603709582e3,
        1.8154981253343561249e4,
    ),
    (
        0.0,
        0.0,
        0.0,
        0.0,
        1.0,
        4.7202581904688241870e1,
        9.7609855173777669322e2,
        1.0260932208618978205e4,
        4.5507789335026729956e4,
    ),
)
BELOW_TAIL: Quotient = (
    (
        1.0765576773720192317e-8,
        3.9894151208813466764e-1,
        8.8831497943883759412e0,
        9.3506656132177855979e1,
        5.9727027639480026226e2,
        2.4945375852903726711e3,
        6.8481904505362823326e3,
        1.1602651437647350124e4,
        9.8427148383839780218e3,
    ),
    (
        1.0,
        2.2266688044328115691e1,
        2.3538790178262499861e2,
        1.5193775994075548050e3,
        6.4855582982667607550e3,
        1.8615571640885098091e4,
        3.4900952721145977266e4,
        3.8912003286093271411e4,
        1.9685429676859990727e4,
    ),
)
BELOW_FAR_TAIL: Quotient = (
    (
        0.0,
        0.0,
        0.0,
        2.307344176494017303e-2,
        2.1589853405795699e-1,
        1.274011611602473639e-1,
        2.2235277870649807e-2,
        1.421619193227893466e-3,
        2.9112874951168792e-5,
    ),
    (
        0.0,
        0.0,
        0.0,
        1.0,
        1.28426009614491121e0,
        4.68238212480865118e-1,
        6.59881378689285515e-2,
        3.78239633202758244e-3,
        7.29751555083966205e-5,
    ),
)
NEAR = 0.67448975  # deviate up to which a share is found from the middle
FURTHER = math.sqrt(32.0)  # deviate from which a tail is far
END = 40.0  # deviate beyond which no number stands for the share
ROOT = 1 / math.sqrt(2 * math.pi)
OUT = 0.425  # distance of a share from a half at which a tail begins
FAR = 5.0  # root of -ln(share) from which a tail is far


def ndtri(share: Any) -> Any:
    """Deviate below which a share of the distribution lies, to some 1e-15 of it.

    Parameters
    ----------
    share : array_like
        Between 0 and 1; the ends give infinity, and what lies outside them gives nan. [1]

    Returns
    -------
    float or ndarray
        Deviate. [1]

    Notes
    -----
    Source: wichura1988, algorithm AS 241 (PPND16).
    """
    return _of_each(share, _deviate, _deviates)


def ndtr(deviate: Any) -> Any:
    """Share of the distribution that lies below a deviate.

    As with scipy, its relative error is some 1e-15, and that of the deviate's square in a tail.

    Parameters
    ----------
    deviate : array_like
        Any number. [1]

    Returns
    -------
    float or ndarray
        Share; 0 below -40. [1]

    Notes
    -----
    Source: cody1969, rational approximations of the error function, here of its deviate (from
    memory; compared with a series and a continued fraction of 60 digits).
    """
    return _of_each(deviate, _share, _shares)


def _of_each(given: Any, number: Any, numbers: Any) -> Any:
    if isinstance(given, float):
        return number(float(given))
    values = np.asarray(given, dtype=np.float64)
    if not values.ndim:
        return number(float(values))
    flat = values.ravel()
    if flat.size <= FEW:
        found = np.array([number(value) for value in flat.tolist()])
    else:
        found = numbers(flat)
    return found.reshape(values.shape)


def _deviate(share: float) -> float:
    away = share - 0.5
    if abs(away) <= OUT:
        return away * _quotient(CENTRE, OUT * OUT - away * away)
    rest = min(share, 1.0 - share)
    if not rest > 0:
        return math.copysign(math.inf, away) if rest == 0 else math.nan
    root = math.sqrt(-float(np.log(rest)))
    found = _quotient(TAIL, root - 1.6) if root <= FAR else _quotient(FAR_TAIL, root - FAR)
    return math.copysign(found, away)


def _deviates(share: Floats) -> Floats:
    away = share - 0.5
    found = _quotients(CENTRE, np.maximum(OUT * OUT - away * away, 0.0))
    found *= away
    out = np.flatnonzero(np.abs(away) > OUT)
    if not out.size:
        return found
    share = share[out]
    rest = np.minimum(share, 1.0 - share)
    wrong = np.flatnonzero(rest <= 0) if rest.min() <= 0 else out[:0]
    beyond = np.where(rest[wrong] < 0, np.nan, np.inf)
    rest[wrong] = 0.5
    root = np.sqrt(-np.log(rest))
    tail = _quotients(TAIL, root - 1.6)
    if root.max() > FAR:
        far = np.flatnonzero(root > FAR)
        tail[far] = _quotients(FAR_TAIL, root[far] - FAR)
    tail[wrong] = beyond
    found[out] = np.copysign(tail, away[out])
    return found


def _share(deviate: float) -> float:
    away = min(abs(deviate), END)
    if away <= NEAR:
        return 0.5 + deviate * _quotient(BELOW_CENTRE, away * away)
    if math.isnan(deviate):
        return math.nan
    if away <= FURTHER:
        tail = _quotient(BELOW_TAIL, away)
    else:
        square = 1 / (away * away)
        tail = (ROOT - square * _quotient(BELOW_FAR_TAIL, square)) / away
    tail *= float(np.exp(-0.5 * (away * away)))
    return tail if deviate < 0 else 1 - tail


def _shares(deviate: Floats) -> Floats:
    away = np.minimum(np.abs(deviate), END)
    tail = _quotients(BELOW_TAIL, away)
    if away.max() > FURTHER:
        far = np.flatnonzero(away > FURTHER)
        square = 1 / (away[far] * away[far])
        tail[far] = (ROOT - square * _quotients(BELOW_FAR_TAIL, square)) / away[far]
    tail *= np.exp(-0.5 * (away * away))
    found = np.where(deviate < 0, tail, 1 - tail)
    near = np.flatnonzero(away <= NEAR)
    if near.size:
        given = deviate[near]
        found[near] = 0.5 + given * _quotients(BELOW_CENTRE, given * given)
    return found


def _quotient(parts: Quotient, x: float) -> float:
    (a8, a7, a6, a5, a4, a3, a2, a1, a0), (b8, b7, b6, b5, b4, b3, b2, b1, b0) = parts
    x2 = x * x
    x4 = x2 * x2
    x8 = x4 * x4
    above = ((a7 * x + a6) * x2 + (a5 * x + a4)) * x4 + ((a3 * x + a2) * x2 + (a1 * x + a0))
    below = ((b7 * x + b6) * x2 + (b5 * x + b4)) * x4 + ((b3 * x + b2) * x2 + (b1 * x + b0))
    return (above + a8 * x8) / (below + b8 * x8)


def _rows(parts: Quotient) -> tuple[Floats, Floats, tuple[float, float]]:
    """Coefficients for `_quotients`, of odd powers and of even ones; sums are made of halves."""
    order = (7, 3, 5, 1)  # powers 1 and 0, then 5 and 4, 3 and 2, 7 and 6
    odd, even = (
        np.array([[part[k + add] for part in parts] for k in order]).reshape(8, 1) for add in (0, 1)
    )
    return odd, even, (parts[0][0], parts[1][0])


ROWS = {id(parts): _rows(parts) for parts in (CENTRE, TAIL, FAR_TAIL)}
ROWS |= {id(parts): _rows(parts) for parts in (BELOW_CENTRE, BELOW_TAIL, BELOW_FAR_TAIL)}


def _quotients(parts: Quotient, x: Floats) -> Floats:
    """`_quotient` of an array, by the same steps: both polynomials at once, in few calls."""
    odd, even, highest = ROWS[id(parts)]
    rows = odd * x
    rows += even
    power = x * x
    twos = rows[4:]
    twos *= power
    twos += rows[:4]
    power *= power
    both = twos[2:]
    both *= power
    both += twos[:2]
    above: Floats = both[0]
    below: Floats = both[1]
    if any(highest):
        power *= power
        above += highest[0] * power
        below += highest[1] * power
    above /= below
    return above
