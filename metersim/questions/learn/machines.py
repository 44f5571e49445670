"""Machines as points: coefficients on their scales, uncertain inputs, and shifts.

The draws of a posterior are few.  Further machines are drawn from a smooth density about them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from metersim.distributions.normal import ndtr, ndtri
from metersim.files.fields import Spec, specs
from metersim.files.unknown import Unknown
from metersim.machine.coefficients import Coefficients
from metersim.machine.posterior import SHIFTS, Posterior, Shift
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.discrepancy import share_error, widening
from metersim.questions.shared.spread import ALIKE
from metersim.questions.shared.unknowns import NEXT_TO_AN_END, draw_places
from metersim.run.streams import Streams

TINY = 1e-9  # part of the variance of a column that is added, so that no covariance is singular
KEPT = 0.2  # part of the proposals that comes from the machines before anything was seen
NORMAL_TO = 6.0  # SD; farther inputs count as this far
HALF_AT = 4.0  # steps of the notch at which a correlation is a half
NO_SETTINGS = ("run", "stand", "sensor")  # sections that the discrepancy does not depend on
ELSEWHERE = (("furrow", "observed"), ("seed", "lot"))  # no setting, or compared as a whole

Floats = NDArray[np.float64]


def to_digits(value: float) -> float:
    """A number as a meter file holds it, to nine digits."""
    return float(f"{value:.9g}")


@dataclass(frozen=True)
class Column:
    """Scale of a coefficient: ``log`` above 0, ``logit`` between 0 and 1, or ``plain``."""

    spec: Spec
    scale: str

    def to(self, values: Floats) -> Floats:
        """Values of the coefficient on its scale."""
        made = values
        if self.scale == "log":
            made = np.log(values)
        elif self.scale == "logit":
            made = logit(values)
        return made

    def back(self, points: Floats) -> Floats:
        """Values from points on the scale, kept within the range of the coefficient."""
        made = points
        if self.scale == "log":
            made = np.exp(points)
        elif self.scale == "logit":
            made = expit(points)
        return made.clip(self.spec.low, self.spec.high)


def column_of(name: str, values: Floats) -> Column:
    """The allowed scale on which these values of a coefficient are least skew."""
    spec = specs(Coefficients)[name]
    allowed = [Column(spec, "plain")]
    if values.min() > 0 and spec.low >= 0:
        allowed.append(Column(spec, "log"))
        if values.max() < 1 and (spec.low, spec.high) == (0, 1):
            allowed.append(Column(spec, "logit"))
    return min(allowed, key=lambda one: abs(skewness(one.to(values))))


def skewness(values: Floats) -> float:
    """Third moment about the mean over the cube of the SD. [1]"""
    apart = values - values.mean()
    return float(np.mean(apart**3) / np.mean(apart**2) ** 1.5)


@dataclass(frozen=True, eq=False)
class Density:
    """A mixture of normal densities with one covariance, about weighted centres.

    Attributes
    ----------
    centres : ndarray, shape (centres, columns)
        Centres of the normal densities.
    weights : ndarray, shape (centres,)
        Their chances.
    root : ndarray, shape (columns, columns)
        Lower root of the covariance of each.
    """

    centres: Floats
    weights: Floats
    root: Floats

    def sample(self, places: Floats, normal: Floats) -> Floats:
        """Points from uniform numbers, which choose centres, and from normal numbers."""
        edges = np.cumsum(self.weights)
        chosen = np.searchsorted(edges, places * edges[-1]).clip(max=len(edges) - 1)
        made: Floats = self.centres[chosen] + np.einsum("ij,kj->ki", self.root, normal)
        return made

    def log(self, points: Floats) -> Floats:
        """Logarithm of the density at points, without the constant of the number of columns."""
        turned = np.linalg.inv(self.root)
        x, c = (np.einsum("ij,kj->ki", turned, part) for part in (points, self.centres))
        far: Floats = (
            np.sum(x**2, axis=1)[:, None] + np.sum(c**2, axis=1) - 2 * np.einsum("ki,ji->kj", x, c)
        )
        known = self.weights > 0
        heights: Floats = np.log(self.weights[known]) - 0.5 * far[:, known]
        found: Floats = np.logaddexp.reduce(heights, axis=1)
        return found - float(np.log(np.diagonal(self.root)).sum())


def root_of(points: Floats, weights: Floats) -> Floats:
    """Lower root of the covariance of weighted points."""
    apart = points - weights @ points
    covariance: Floats = (apart * weights[:, None]).T @ apart
    spread = np.diagonal(covariance).copy()
    least = TINY * max(float(spread.max()), TINY)
    covariance[np.diag_indices_from(covariance)] += TINY * spread + least
    found: Floats = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    return found


def smoothed(points: Floats) -> Density:
    """A smooth density about equally likely points, with their mean and their covariance.

    Notes
    -----
    Source: Liu and West 2001, from memory.  Points shrink towards their mean by ``sqrt(1 - h^2)``,
    and each has a normal density with ``h^2`` of their covariance.  h is
    ``(4/(n (d + 2)))^(1/(d + 4))`` of n points in d columns, which suits normal points.
    """
    many, wide = points.shape
    h = (4 / (many * (wide + 2))) ** (1 / (wide + 4))
    weights = np.full(many, 1 / many)
    middle = weights @ points
    centres = middle + (1 - h**2) ** 0.5 * (points - middle)
    return Density(centres, weights, h * root_of(points, weights))


@dataclass(frozen=True, eq=False)
class Machines:
    """What is believed of a machine before anything was seen of it.

    Attributes
    ----------
    scenario : Scenario
        Scenario whose posterior and uncertain inputs are drawn.
    points : ndarray, shape (draws, columns)
        Draws: coefficients on their scales, normal scores of uncertain inputs, and shifts.
    columns : mapping of str to Column
        Scales of the coefficients that vary, by name.
    own_share, own_spread : float
        SD of the rest of the discrepancy, which differs between settings, on the scales of shares
        and of spreads.
    """

    scenario: Scenario
    points: Floats
    columns: dict[str, Column]
    own_share: float
    own_spread: float

    @cached_property
    def density(self) -> Density:
        """Smooth density of the draws."""
        return smoothed(self.points)

    @property
    def inputs(self) -> tuple[Unknown, ...]:
        """Uncertain inputs, in the order of their columns."""
        return self.scenario.unknown

    @property
    def seen(self) -> int:
        """Number of columns that a simulation needs: all but the shifts."""
        return len(self.columns) + len(self.inputs)

    def shifts(self, points: Floats) -> dict[str, Floats]:
        """Shifts of machines by name."""
        return dict(zip(SHIFTS, points[:, self.seen :].T, strict=True))

    def coefficients(self, points: Floats) -> list[Coefficients]:
        """Coefficients of machines."""
        base = self.scenario.posterior.draws[0]
        values = [
            column.back(part) for column, part in zip(self.columns.values(), points.T, strict=False)
        ]
        rows = np.array(values).T.reshape(len(points), -1)
        each = (dict(zip(self.columns, map(to_digits, row), strict=True)) for row in rows)
        return [replace(base, **one) for one in each]

    def places(self, points: Floats) -> list[dict[str, float]]:
        """Quantiles of the uncertain inputs of machines, by field."""
        scores = points[:, len(self.columns) : self.seen].clip(-NORMAL_TO, NORMAL_TO)
        places = ndtr(scores).clip(NEXT_TO_AN_END, 1 - NEXT_TO_AN_END).tolist()
        fields = [one.field for one in self.inputs]
        return [dict(zip(fields, row, strict=True)) for row in places]

    def scenarios(self, setting: Scenario, points: Floats) -> list[Scenario]:
        """A setting with the coefficients and the uncertain inputs of machines."""
        rows = zip(self.coefficients(points), self.places(points), strict=True)
        return [
            replace(
                setting.drawn([places.get(one.field, 0.5) for one in setting.unknown]),
                coefficients=coefficients,
            )
            for coefficients, places in rows
        ]

    def posterior(self, points: Floats, made: str, title: str) -> Posterior:
        """Machines as a posterior, in their order."""
        shifts = np.column_stack(list(self.shifts(points).values()))
        old = self.scenario.posterior
        rest = 1.0 if old.shifts else (1 - ALIKE) ** 0.5
        many, crop = len(points), self.scenario.lot.crop
        return Posterior(
            crop=crop,
            cells=self.scenario.disc.cells,
            draws=tuple(self.coefficients(points)),
            share=(to_digits(rest * widening(old, crop) * old.share_sd),) * many,
            spread=(to_digits(rest * old.spread_sd),) * many,
            shifts=tuple(
                Shift(**dict(zip(SHIFTS, map(to_digits, row), strict=True))) for row in shifts
            ),
            made=made,
            title=title,
        )


def machines_of(scenario: Scenario, seed: int) -> Machines:
    """The machines that a scenario's posterior allows.

    The settings of an unknown machine share a part of the discrepancy, with the correlation
    `metersim.questions.shared.spread.ALIKE`.  This part becomes the shifts of each draw.
    """
    old = scenario.posterior
    columns, parts = {}, []
    for name in old.varied:
        values = np.array([getattr(draw, name) for draw in old.draws])
        if np.ptp(values) > 0:
            columns[name] = column_of(name, values)
            parts.append(columns[name].to(values))
    many = len(old.draws)
    parts += list(ndtri(draw_places(scenario.unknown, many, seed)).T)
    share, spread = share_error(old, scenario.lot.crop), old.spread_sd
    if old.shifts:
        parts += [np.array([getattr(one, name) for one in old.shifts]) for name in SHIFTS]
    else:
        sizes = {"skip": share, "double": share, "spread": spread}
        streams = Streams(seed)
        for name in SHIFTS:
            places = streams.stratified(f"learn shift {name}", many)
            scores = ndtri(places.clip(NEXT_TO_AN_END, 1 - NEXT_TO_AN_END))
            parts.append(ALIKE**0.5 * sizes[name] * scores)
    rest = 1.0 if old.shifts else (1 - ALIKE) ** 0.5
    return Machines(scenario, np.array(parts).T, columns, rest * share, rest * spread)


def near(a: Scenario, b: Scenario) -> float:
    """Correlation of the smooth part of the model's discrepancy between two settings. [1]

    Notes
    -----
    assumption: ``0.5^far``.  far is a sum over all settings that differ: 1 for a number that is
    doubled or halved, less or more by its logarithm; 1 for a switch, another lot, or what is 0 at
    one of the settings; steps over `HALF_AT` where numbers have signs, such as the notch.  The fit
    takes the discrepancy as independent between published rows, which lie as far apart or farther.
    """
    far = float(a.lot != b.lot)
    one: Any
    other: Any
    for (section, name), spec in all_fields().items():
        if section in NO_SETTINGS or (section, name) in ELSEWHERE:
            continue
        one, other = (getattr(getattr(each, section), name) for each in (a, b))
        if one == other:
            continue
        numbers = isinstance(one, int | float) and isinstance(other, int | float)
        if spec.kind == "switch" or not numbers:
            far += 1.0
        elif spec.low < 0:
            far += abs(one - other) / HALF_AT
        else:
            far += abs(math.log2(one / other)) if min(one, other) > 0 else 1.0
    return math.pow(0.5, far)


def rest_of(own: float, alike: float) -> float:
    """SD of the rest of the discrepancy at a setting, where a shift of another one is known.

    Parameters
    ----------
    own : float
        SD of the rest at the setting of the shift.
    alike : float
        Correlation of the two settings, see `near`.

    Notes
    -----
    With the SD d of the whole discrepancy, the smooth part has the variance ``ALIKE d^2`` and the
    rest ``(1 - ALIKE) d^2``.  A shift is the smooth part at one setting.  At another one it counts
    by ``alike``, and ``(1 - alike^2)`` of the variance of its own smooth part remains.
    """
    return own * math.sqrt(1 + ALIKE / (1 - ALIKE) * (1 - alike**2))


def spread_out(points: Floats, first: Sequence[int] = ()) -> list[int]:
    """Order of points in which the first ones represent all of them, however many are taken.

    Notes
    -----
    assumption: the next point is that with the least energy distance of the points taken to all
    points, each column over its SD.
    """
    size = points.std(axis=0)
    scaled = (points - points.mean(axis=0)) / np.where(size > 0, size, 1.0)
    apart = np.sqrt(np.square(scaled[:, None] - scaled[None]).sum(axis=2))
    near, taken = apart.mean(axis=1), np.zeros(len(points))
    order: list[Any] = list(first)
    left = np.ones(len(points), dtype=bool)
    for k in order:
        taken, left[k] = taken + apart[k], False
    while left.any():
        cost = near - taken / (len(order) + 1)
        best = int(np.argmin(np.where(left, cost, np.inf)))
        order.append(best)
        taken, left[best] = taken + apart[best], False
    return order
