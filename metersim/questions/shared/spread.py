"""Sampling, input and model uncertainty of measures, and the total of them.

The variance of a measure over the draws of inputs and machine, less that of the sampling, is that
of inputs and machine.  The run of the scenario itself has its own sampling error, and the model has
a discrepancy.  All of them together are the total.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.distributions.quantiles import chdtri, stdtrit
from metersim.files.faults import Keyed
from metersim.files.tables import dataframe
from metersim.files.unknown import Unknown
from metersim.machine.posterior import Posterior
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate, jackknife
from metersim.measures.scales import ANGLE, Scale, bent, scale_of
from metersim.questions.shared.discrepancy import is_share

if TYPE_CHECKING:
    import pandas as pd

BY_CHANCE = 0.05  # how often sampling error alone may be taken for input uncertainty
ALIKE = 0.95
"""Correlation of the model's discrepancy between two settings of one machine; assumption."""
KNEE = 2.0  # of the scale of differences, over the SD of their sampling and discrepancy
LEAST_KNEE = 0.05  # least knee, over the root mean square of the differences
NOTHING = Estimate(math.nan, math.nan, math.nan)

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Draws:
    """Measures in every draw, by key of the measure.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (draws,)
        Values in SI; nan where a run has no estimate.
    variances : mapping of str to ndarray, shape (draws,)
        Sampling variance of each value.
    """

    values: Mapping[str, Floats]
    variances: Mapping[str, Floats]

    def of(self, key: str) -> tuple[Floats, Floats]:
        """Values of a measure that are not nan, and sampling variances that are not."""
        values, variances = self.values[key], self.variances[key]
        return values[~np.isnan(values)], variances[~np.isnan(variances)]


def gather(points: Iterable[Mapping[str, Floats]]) -> Draws:
    """Values and sampling variances of all draws, from `Measured.points` of each draw."""
    rows = [{key: (one[0], jackknife(one[1:])) for key, one in row.items()} for row in points]
    columns = {key: np.array([row[key] for row in rows]).T for key in rows[0]}
    return Draws(
        Keyed({key: values for key, (values, _) in columns.items()}),
        Keyed({key: variances for key, (_, variances) in columns.items()}),
    )


@dataclass(frozen=True, eq=False)
class Spread:
    """Sampling, input and model uncertainty of measures, or of differences.

    Attributes
    ----------
    about : str
        Description of the result.
    unknowns : tuple of Unknown
        Uncertain inputs.
    estimates : mapping of str to Estimate
        Estimates of the scenario's own run, with intervals of the sampling error.
    draws : Draws
        Measures in every draw of inputs and machine.
    of_inputs : Draws, optional
        Measures in draws of the inputs alone; None when no input is uncertain.
    errors : mapping of str to float
        SD of the model's discrepancy, on the scale of the measure, or in SI for differences; 0
        where it is missing.
    posterior : Posterior, optional
        Draws of the machine; None when draws are those of inputs alone.
    change : bool
        Whether the measures are differences.
    centres : mapping of str to float
        Centres of intervals in place of the means over the draws.
    level : float
        Coverage of all intervals.
    measures : mapping of str to Measure
        Definitions of the measures by key.
    """

    about: str
    unknowns: tuple[Unknown, ...]
    estimates: Mapping[str, Estimate]
    draws: Draws
    of_inputs: Draws | None = None
    errors: Mapping[str, float] = field(default_factory=dict)
    posterior: Posterior | None = None
    change: bool = False
    centres: Mapping[str, float] = field(default_factory=dict)
    level: float = LEVEL_TOTAL
    measures: Mapping[str, Measure] = field(default_factory=lambda: BY_KEY, repr=False)

    def __repr__(self) -> str:
        many = f"{self.size:,} draws of a machine, {len(self.unknowns)} unknown"
        return f"<Spread of {self.about}: {many}; to_dataframe() shows it>"

    @property
    def size(self) -> int:
        """Number of draws."""
        return len(next(iter(self.draws.values.values())))

    def at_middle(self, key: str) -> Estimate:
        """Estimate of the scenario's own run, with its sampling error."""
        return self.estimates[key]

    def total(self, key: str) -> Estimate:
        """Mean over the draws, with the interval of the total uncertainty.

        Mean and SD are taken on the scale of the measure (`metersim.measures.scales`).  Draws of
        the inputs alone do not move it.

        Notes
        -----
        On that scale an end lies ``sqrt(w^2 + (t s)^2)`` from the mean.  w is that end's distance
        in the interval of the scenario's own run, and t Student's quantile of n - 1.  s^2 is
        ``(V - S) (1 + 1/n) + S/n + d^2``, with the variance V over n draws, their mean sampling
        variance S, and the SD d of the model's discrepancy.  So a further machine's run lies
        inside with the stated chance, if the draws are normal on that scale.
        """
        if len(self.draws.of(key)[0]) < 2:
            return NOTHING
        if key not in self._totals:
            variance = sum(self._variances(key)) + self._centre_error(key)
            self._totals[key] = self._interval(key, variance, sampled=True)
        return self._totals[key]

    @cached_property
    def _totals(self) -> dict[str, Estimate]:
        """Totals that were asked for."""
        return {}

    def sampling(self, key: str) -> Estimate:
        """Mean over the draws, with the interval of the sampling error alone."""
        return self._interval(key, 0.0, sampled=True)

    def inputs(self, key: str) -> Estimate:
        """Mean over the draws, with the interval of the input uncertainty alone.

        The ends are nan when no input is uncertain, or when runs are too short to estimate it.
        """
        if self.of_inputs is None or math.isnan(self._sampling_over_total(key)):
            return Estimate(self.total(key).value, math.nan, math.nan)
        return self._interval(key, self._variances(key)[1])

    def model(self, key: str) -> Estimate:
        """Mean over the draws, with the interval of the model uncertainty alone."""
        if len(self.draws.of(key)[0]) < 2:
            return NOTHING
        return self._interval(key, self._variances(key)[0])

    def is_detected(self, key: str) -> bool:
        """Whether input uncertainty is detected, with one false alarm in twenty."""
        if self.of_inputs is None:
            return False
        n, ratio = len(self.of_inputs.of(key)[0]), self._sampling_over_total(key)
        return n > 1 and ratio * float(chdtri(n - 1, BY_CHANCE)) / (n - 1) < 1

    def has_either_sign(self, key: str) -> bool:
        """Whether the sign of a difference depends on the uncertain inputs.

        The draws between the ends of `level` have both signs, when their sampling error is taken
        off by a factor on their distances from the median.
        """
        if self.of_inputs is None or not self.is_detected(key):
            return False
        tail = (1 - self.level) / 2
        low, middle, high = np.quantile(self.of_inputs.of(key)[0], [tail, 0.5, 1 - tail])
        part = math.sqrt(max(1 - self._sampling_over_total(key), 0.0))
        return bool(middle + part * (low - middle) < 0 < middle + part * (high - middle))

    def parts(self, key: str) -> dict[str, Estimate]:
        """All intervals of a measure by name, the total first."""
        return {
            "total": self.total(key),
            "sampling": self.sampling(key),
            "inputs": self.inputs(key),
            "model": self.model(key),
            "own_run": self.at_middle(key),
        }

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a measure, in SI (extra ``notebook``).

        Columns give the total interval, its three parts, and the scenario's own run.
        """
        return dataframe(
            [
                {"key": key, "kind": self.measures[key].kind, "value": parts["total"].value}
                | {
                    f"{name}_{end}": getattr(parts[name], end)
                    for name in parts
                    for end in ("low", "high")
                }
                | {
                    "own_run": parts["own_run"].value,
                    "inputs_detected": self.is_detected(key),
                    "meaning": self.measures[key].meaning,
                }
                for key in self.estimates
                for parts in [self.parts(key)]
            ]
        )

    def _scale(self, key: str, values: Floats) -> Scale:
        if not self.change:
            return scale_of(self.measures.get(key), values)
        _, variances = self.draws.of(key)
        sampled = float(np.mean(variances)) if len(variances) else 0.0
        least = LEAST_KNEE**2 * float(np.mean(values**2))
        noise = KNEE**2 * (sampled + self.errors.get(key, 0.0) ** 2)
        return bent(math.sqrt(noise + least))

    def _centre(self, key: str, scale: Scale) -> float:
        """Centre of all intervals of a measure, on its scale."""
        if key in self.centres:
            return float(scale.to(np.array(self.centres[key])))
        return float(np.mean(scale.to(self.draws.of(key)[0])))

    def _interval(self, key: str, variance: float, sampled: bool = False) -> Estimate:
        """Interval about the mean of the draws, from a variance and the own run's interval."""
        values, variances = self.draws.of(key)
        if len(values) < 2:
            return NOTHING
        scale, own = self._scale(key, values), self.estimates[key]
        centre = self._centre(key, scale)
        wide = float(stdtrit(len(values) - 1, (1 + self.level) / 2)) * math.sqrt(variance)
        sides = self._sampling_sides(key, scale) if sampled and len(variances) else (0.0, 0.0)
        if self.change and not np.any(values) and own.low == own.high == 0:
            wide, sides = 0.0, (0.0, 0.0)  # the two runs are the same in every cell
        reach = [math.hypot(wide, side) for side in sides]
        made = scale.back(np.array([centre, centre - reach[0], centre + reach[1]]))
        measure = self.measures.get(key)
        if self.change and measure is not None and is_share(measure):
            made = made.clip(-1.0, 1.0)  # a share cannot change by more
        value, low, high = made.tolist()
        return Estimate(value, min(low, value), max(high, value))

    def _sampling_sides(self, key: str, scale: Scale) -> tuple[float, float]:
        """Distances of the ends of the own run's interval on the scale of the measure.

        Where the own run shows nothing, it is taken to be as long as the runs of the draws.
        """
        own = self.estimates[key]
        with np.errstate(divide="ignore", invalid="ignore"):  # a length of 0 has no logarithm
            value, low, high = scale.to(np.array([own.value, own.low, own.high])).tolist()
        if not (math.isfinite(value) and math.isfinite(high)) or math.isnan(low):
            one = float(ndtri((1 + self.level) / 2)) * math.sqrt(self._sampling(self.draws, key))
            return one, one
        return value - low, high - value

    def _variances(self, key: str) -> tuple[float, float]:
        """Variances of model and inputs on the scale of the measure, without sampling error."""
        both, inputs = self._excess(self.draws, key), 0.0
        if self.of_inputs is not None:  # they make no more than inputs and machines together
            inputs = min(self._excess(self.of_inputs, key), both)
        error = self.errors.get(key, 0.0) ** 2
        if self.change:
            scale = self._scale(key, self.draws.of(key)[0])
            error /= float(scale.flatness(scale.back(np.array(self._centre(key, scale)))))
        return both - inputs + error, inputs

    def _excess(self, draws: Draws, key: str) -> float:
        """Variance over draws less the sampling variance, 0 or more."""
        values, variances = draws.of(key)
        if len(values) < 2:
            return 0.0
        scale = self._scale(key, values)
        among = float(np.var(scale.to(values), ddof=1))
        sampled = self._sampling(draws, key) if len(variances) else 0.0
        return max(among - sampled, 0.0)

    def _sampling(self, draws: Draws, key: str) -> float:
        """Mean sampling variance of draws on the scale of the measure."""
        values, variances = draws.of(key)
        known = ~np.isnan(draws.values[key]) & ~np.isnan(draws.variances[key])
        scale = self._scale(key, values)
        return scale.variance(draws.values[key][known], variances) if len(variances) else 0.0

    def _centre_error(self, key: str) -> float:
        """Variance of the mean over the draws."""
        n = max(len(self.draws.of(key)[0]), 1)
        return (self._excess(self.draws, key) + self._sampling(self.draws, key)) / n

    def _sampling_over_total(self, key: str) -> float:
        """Sampling variance over the variance of the draws of inputs; nan if either is missing."""
        assert self.of_inputs is not None
        values, variances = self.of_inputs.of(key)
        if len(values) < 2 or not len(variances):
            return math.nan
        among = float(np.var(self._scale(key, values).to(values), ddof=1))
        return self._sampling(self.of_inputs, key) / among if among > 0 else 1.0


def change_errors(
    posterior: Posterior, measures: Iterable[Measure], a: Spread, b: Spread
) -> dict[str, float]:
    """SD of the discrepancy of differences between two settings, in SI.

    The discrepancies of both settings have the correlation `ALIKE`, so most of them cancel.  Where
    the shifts of a machine hold the common part, those of the rest are independent.

    Parameters
    ----------
    posterior : Posterior
        Draws of the machine, with the discrepancy.
    measures : iterable of Measure
        Measures that are compared.
    a, b : Spread
        Levels of both settings.
    """
    found, alike = {}, 0.0 if posterior.shifts else ALIKE
    for one in measures:
        if one.key not in a.errors or one.key not in b.errors:
            continue
        levels = np.array([part.total(one.key).value for part in (a, b)])
        factors = np.sqrt(ANGLE.flatness(levels)) if is_share(one) else levels
        errors = np.array([part.errors[one.key] for part in (a, b)])
        first, second = (errors * factors).tolist()
        found[one.key] = math.sqrt(max(first**2 + second**2 - 2 * alike * first * second, 0.0))
    return found


def change_between(
    a: Spread,
    b: Spread,
    estimates: Mapping[str, Estimate],
    draws: Draws,
    of_inputs: Draws | None = None,
    about: str = "",
) -> Spread:
    """Uncertainty of the differences between two settings of one machine, `b` less `a`.

    A difference is that of the two levels, and its spread that of the paired differences in each
    draw.

    Parameters
    ----------
    a, b : Spread
        Levels of both settings.
    estimates : mapping of str to Estimate
        Differences of the two own runs, with intervals of the sampling error.
    draws, of_inputs : Draws
        Differences in every draw, as `Spread.draws` and `Spread.of_inputs`.
    about : str
        Description of the difference.
    """
    posterior = b.posterior or a.posterior
    kept = [b.measures[key] for key in estimates if key in b.measures]
    return Spread(
        about,
        tuple(dict.fromkeys((*a.unknowns, *b.unknowns))),
        estimates,
        draws,
        of_inputs,
        change_errors(posterior, kept, a, b) if posterior else {},
        posterior,
        change=True,
        centres={one.key: b.total(one.key).value - a.total(one.key).value for one in kept},
        level=b.level,
        measures=b.measures,
    )
