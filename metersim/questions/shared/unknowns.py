"""Sampling error and input uncertainty of a result, from draws of the uncertain inputs.

The scenario is run at the middle of the uncertain inputs, and once for each draw with its own
random numbers.  The variance over the draws is the total.  The stretches of each run give the
sampling error in it; the rest is input uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from metersim.files.faults import Keyed
from metersim.files.tables import dataframe
from metersim.files.unknown import Unknown
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import Estimate, jackknife
from metersim.measures.tally import stretches_for, tallied
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

DRAWS, MOST_DRAWS = 64, 10_000
NEXT_TO_AN_END = 2.0**-53
BY_CHANCE = 0.05  # how often sampling error alone may be taken for input uncertainty

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Draws:
    """Measures in every draw of the uncertain inputs, by key of the measure.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (draws,)
        Values in SI; nan where a run has no estimate.
    variances : mapping of str to ndarray, shape (draws,)
        Sampling variance of each value.
    """

    values: Mapping[str, Floats]
    variances: Mapping[str, Floats]


@dataclass(frozen=True, eq=False)
class Spread:
    """Sampling error and input uncertainty of measures, or of differences.

    Attributes
    ----------
    about : str
        Description of the result.
    unknowns : tuple of Unknown
        Uncertain inputs.
    estimates : mapping of str to Estimate
        Estimates at the middle of the uncertain inputs, with intervals of the sampling error.
    draws : Draws
        Measures in every draw.
    level : float
        Coverage of the intervals.
    measures : mapping of str to Measure
        Definitions of the measures by key.
    """

    about: str
    unknowns: tuple[Unknown, ...]
    estimates: Mapping[str, Estimate]
    draws: Draws
    level: float = 0.95
    measures: Mapping[str, Measure] = field(default_factory=lambda: BY_KEY, repr=False)

    def __repr__(self) -> str:
        many = f"{self.size:,} draws of {len(self.unknowns)} unknown"
        return f"<Spread of {self.about}: {many}; to_dataframe() shows it>"

    @property
    def size(self) -> int:
        """Number of draws of the uncertain inputs."""
        return len(next(iter(self.draws.values.values())))

    def sampling(self, key: str) -> Estimate:
        """Estimate at the middle of the uncertain inputs, with its sampling error."""
        return self.estimates[key]

    def total(self, key: str) -> Estimate:
        """Median over the draws, with the interval of the total uncertainty.

        The k-th of n draws is the quantile k/(n + 1), with straight lines between.  A further run
        then lies inside with the stated chance, whatever the distribution.  The chance is a little
        higher where one input has nearly all the effect, as the draws are stratified.  Below 39
        draws the ends of 95 % are the least and the greatest draw, which hold (n - 1)/(n + 1).

        Source: Weibull's plotting positions; Hyndman & Fan 1996, Am Stat 50(4):361-365, from
        memory.
        """
        values = self._values(key)
        if len(values) < 2:
            return Estimate(math.nan, math.nan, math.nan)
        tail = (1 - self.level) / 2
        low, middle, high = np.quantile(values, [tail, 0.5, 1 - tail], method="weibull")
        return Estimate(float(middle), float(low), float(high))

    def inputs(self, key: str) -> Estimate:
        """Median over the draws, with the interval of the input uncertainty.

        The interval of `total` is shrunk about the median by sqrt(1 - L/V).  V is the variance over
        the draws, L the mean of their sampling variances.

        Notes
        -----
        assumption: the two variances add up, and both distributions have one shape.  64 draws
        give V to about 18 %.  Input uncertainty below half of the total may be chance: see
        `is_detected`.
        """
        total, ratio = self.total(key), self._sampling_over_total(key)
        if math.isnan(ratio):
            return Estimate(total.value, math.nan, math.nan)
        part = math.sqrt(max(1 - ratio, 0.0))
        low, high = (total.value + part * (end - total.value) for end in (total.low, total.high))
        return Estimate(total.value, low, high)

    def is_detected(self, key: str) -> bool:
        """Whether input uncertainty is detected, with one false alarm in twenty."""
        n, ratio = len(self._values(key)), self._sampling_over_total(key)
        return n > 1 and ratio * float(chdtri(n - 1, BY_CHANCE)) / (n - 1) < 1

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a measure, in SI (extra ``notebook``).

        Columns give the interval of the sampling error at the middle, the median over the draws,
        and the intervals of input and total uncertainty.
        """
        return dataframe(
            [
                {
                    "key": key,
                    "kind": self.measures[key].kind,
                    "value": sampling.value,
                    "luck_low": sampling.low,
                    "luck_high": sampling.high,
                    "median": total.value,
                    "unknown_low": inputs.low,
                    "unknown_high": inputs.high,
                    "both_low": total.low,
                    "both_high": total.high,
                    "told_from_luck": self.is_detected(key),
                    "meaning": self.measures[key].meaning,
                }
                for key, sampling in self.estimates.items()
                for inputs, total in [(self.inputs(key), self.total(key))]
            ]
        )

    def _values(self, key: str) -> Floats:
        values = self.draws.values[key]
        return values[~np.isnan(values)]

    def _sampling_over_total(self, key: str) -> float:
        """Mean sampling variance over the variance of the draws; nan when either is missing."""
        values, variances = self._values(key), self.draws.variances[key]
        variances = variances[~np.isnan(variances)]
        if len(values) < 2 or not len(variances):
            return math.nan
        among = float(np.var(values, ddof=1))
        return float(np.mean(variances)) / among if among > 0 else 1.0


def draw_places(unknowns: Sequence[Unknown], draws: int, seed: int) -> Floats:
    """Quantiles of the uncertain inputs, as `metersim.machine.scenario.Scenario.drawn` takes them.

    Each column is stratified, as in a Latin hypercube (mckay1979), and has its own random stream.
    Its draws do not depend on other keys, and two scenarios that share a key share its draws.

    Parameters
    ----------
    unknowns : sequence of Unknown
        Uncertain inputs.
    draws : int
        Number of draws, 1 or more.
    seed : int
        Random seed of the draws.

    Returns
    -------
    ndarray, shape (draws, len(unknowns))
        Quantiles between 0 and 1, both excluded.
    """
    streams, places = Streams(seed), np.empty((draws, len(unknowns)))
    for column, one in zip(places.T, unknowns, strict=True):
        column[:] = streams.stratified(f"unknown {one.section}.{one.name}", draws)
    return places.clip(NEXT_TO_AN_END, 1 - NEXT_TO_AN_END)


def run_draws(
    *scenarios: Scenario,
    draws: int,
    seed: int,
    replicates: int = 1,
    cells: int | None = None,
    on_cells: Callable[[int], object] | None = None,
    watch: Callable[..., Measured] | None = None,
) -> Iterator[list[Measured]]:
    """Run and measure scenarios in every draw of their uncertain inputs.

    Scenarios of one draw share their random numbers; each draw has its own.

    Parameters
    ----------
    *scenarios : Scenario
        Scenarios with any number of uncertain inputs; shared inputs have the same draws.
    draws, seed : int
        Number of draws, and random seed of draws and runs.
    replicates : int
        Number of replicates at the middle; the draws use later replicates.
    cells : int, optional
        Approximate number of cells of each run; by default each scenario has its own turns.
    on_cells : callable, optional
        As for `metersim.measures.tally.tallied`.
    watch : callable, optional
        Function that runs and measures a scenario, with the arguments of
        `metersim.measures.tally.tallied`.  By default the seeds are measured.

    Returns
    -------
    iterator of list of Measured
        Measures of each scenario, draw by draw.

    Raises
    ------
    BadInput
        Before any run, when the values of a draw contradict one another.
    """
    if draws < 2:
        raise ValueError(f"draws is {draws}; allowed: 2 or more")
    drawn = [
        [scenario.drawn(row) for row in draw_places(scenario.unknown, draws, seed).tolist()]
        for scenario in scenarios
    ]
    if cells is not None:
        drawn = [[one.lasting(cells) for one in column] for column in drawn]
    stretches = stretches_for(min(one.passages for column in drawn for one in column))
    draws_of_run: Any = {"seed": seed, "stretches": stretches, "on_cells": on_cells}
    return (
        [(watch or _seeds)(one, replicate=replicates + k, **draws_of_run) for one in row]
        for k, row in enumerate(zip(*drawn, strict=True))
    )


def _seeds(scenario: Scenario, **draws_of_run: Any) -> Measured:
    return measure(tallied(scenario, **draws_of_run))


def gather(points: Iterable[Mapping[str, Floats]]) -> Draws:
    """Values and sampling variances of all draws, from `Measured.points` of each draw."""
    rows = [{key: (one[0], jackknife(one[1:])) for key, one in row.items()} for row in points]
    columns = {key: np.array([row[key] for row in rows]).T for key in rows[0]}
    return Draws(
        Keyed({key: values for key, (values, _) in columns.items()}),
        Keyed({key: variances for key, (_, variances) in columns.items()}),
    )


def spread_about(
    middle: Measured, *, draws: int = DRAWS, on_cells: Callable[[int], object] | None = None
) -> Spread:
    """Uncertainty of a scenario that has been measured at the middle of its uncertain inputs.

    Parameters
    ----------
    middle : Measured
        Measures of its replicates; their random seed also chooses the draws.
    draws, on_cells
        As for `run_draws`.
    """
    scenario, seed, replicates = middle.scenario, middle.origin.seed, len(middle.tallies)
    runs = run_draws(scenario, draws=draws, seed=seed, replicates=replicates, on_cells=on_cells)
    found = gather(one.points for (one,) in runs)
    return Spread(scenario.name, scenario.unknown, middle.estimates, found, middle.level)


def spread(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    draws: int = DRAWS,
    replicates: int = 1,
    stations: OwnGiven | None = None,
) -> Spread:
    """Sampling error and input uncertainty of a scenario's measures.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Scenario with ranges, distributions or lists in place of some values, its name, or its file.
    seed : int
        Random seed of runs and draws.
    draws : int
        Number of draws of the uncertain inputs, 2 or more; each is run once.
    replicates : int
        Number of runs at the middle.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Raises
    ------
    BadInput
        When possible values contradict one another.

    Examples
    --------
    >>> import metersim as m
    >>> vague = m.load_scenario("maize_bench", ["vacuum_kpa={low = 2, high = 4}", "turns=100"])
    >>> found = m.spread(vague, seed=3)
    >>> found
    <Spread of maize_bench: 64 draws of 1 unknown; to_dataframe() shows it>
    >>> for skips in (found.sampling("cells.skip"), found.inputs("cells.skip")):
    ...     print(f"from {skips.low:.2%} to {skips.high:.2%}")
    from 0.19% to 0.73%
    from 0.13% to 1.12%
    """
    scenario = fitted(scenario, stations)
    each = stretches_for(scenario.passages, replicates)
    runs = [tallied(scenario, seed=seed, replicate=k, stretches=each) for k in range(replicates)]
    return spread_about(measure(runs), draws=draws)
