"""What luck does to a result, and what not knowing does: values are drawn for what is not known.

The scenario is run at the middle of what is not known, and once for each draw, with luck of its
own.  How the draws differ shows both causes together; how much of that is luck is told by the
stretches of each run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from metersim.files.tables import dataframe
from metersim.files.unknown import Unknown
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import Estimate, jackknife
from metersim.measures.tally import stretches_for, tallied
from metersim.run.draws import Streams

if TYPE_CHECKING:
    import pandas as pd

DRAWS, MOST_DRAWS = 64, 10_000
NEXT_TO_AN_END = 2.0**-53
BY_CHANCE = 0.05  # how often luck alone may pass for not knowing

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Draws:
    """Numbers over draws of what is not known, by key of the measure.

    Attributes
    ----------
    values : mapping of str to ndarray, shape (draws,)
        In SI; nan where a run has nothing to estimate from.
    variances : mapping of str to ndarray, shape (draws,)
        Of each value, by luck alone.
    """

    values: Mapping[str, Floats]
    variances: Mapping[str, Floats]


@dataclass(frozen=True, eq=False)
class Spread:
    """What luck does to the measures of a scenario, or to differences, and what not knowing does.

    Attributes
    ----------
    about : str
        What it is the spread of.
    unknowns : tuple of Unknown
        What is not known.
    estimates : mapping of str to Estimate
        At the middle of what is not known, with the interval of luck.
    draws : Draws
        Runs of what else is possible.
    level : float
        Coverage of the intervals.
    measures : mapping of str to Measure
        What they are, by key.
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
        """Number of draws."""
        return len(next(iter(self.draws.values.values())))

    def luck(self, key: str) -> Estimate:
        """The measure at the middle of what is not known, with the interval of luck alone."""
        return self.estimates[key]

    def both(self, key: str) -> Estimate:
        """Median over the draws, and where a run lies by luck and not knowing together.

        The k-th of n draws stands at the share k/(n + 1), with straight lines between, so that a
        further run lies inside with the stated chance whatever the distribution; a little oftener
        where one unknown does nearly all, as the draws of each are spread evenly.  Below 39 draws
        the ends of 95 % are the least and the greatest, which hold (n - 1)/(n + 1).

        Source: Weibull's plotting positions; Hyndman & Fan 1996, Am Stat 50(4):361-365, from
        memory.
        """
        values = self._values(key)
        if len(values) < 2:
            return Estimate(math.nan, math.nan, math.nan)
        tail = (1 - self.level) / 2
        low, middle, high = np.quantile(values, [tail, 0.5, 1 - tail], method="weibull")
        return Estimate(float(middle), float(low), float(high))

    def unknown(self, key: str) -> Estimate:
        """Median over the draws, and where a run without luck would lie: not knowing alone.

        The deviations of `both` from the median, shrunk by sqrt(1 - L/V): V is the variance over
        the draws, L the mean of the variances that luck gives each of them.

        Notes
        -----
        assumption: luck and not knowing add up, and both distributions are of one shape; 64 draws
        know V to about 18 %, so that not knowing below half of both can be chance: see `is_told`.
        """
        both, ratio = self.both(key), self._luck_over_all(key)
        if math.isnan(ratio):
            return Estimate(both.value, math.nan, math.nan)
        part = math.sqrt(max(1 - ratio, 0.0))
        low, high = (both.value + part * (end - both.value) for end in (both.low, both.high))
        return Estimate(both.value, low, high)

    def is_told(self, key: str) -> bool:
        """Whether the draws differ by more than luck alone does once in twenty times."""
        n, ratio = len(self._values(key)), self._luck_over_all(key)
        return n > 1 and ratio * float(chdtri(n - 1, BY_CHANCE)) / (n - 1) < 1

    def to_dataframe(self) -> pd.DataFrame:
        """One row a measure, in SI, for pandas (extra ``notebook``).

        The interval of luck at the middle, then the median over draws with the intervals of not
        knowing and of both.
        """
        return dataframe(
            [
                {
                    "key": key,
                    "kind": self.measures[key].kind,
                    "value": luck.value,
                    "luck_low": luck.low,
                    "luck_high": luck.high,
                    "median": both.value,
                    "unknown_low": unknown.low,
                    "unknown_high": unknown.high,
                    "both_low": both.low,
                    "both_high": both.high,
                    "told_from_luck": self.is_told(key),
                    "meaning": self.measures[key].meaning,
                }
                for key, luck in self.estimates.items()
                for unknown, both in [(self.unknown(key), self.both(key))]
            ]
        )

    def _values(self, key: str) -> Floats:
        values = self.draws.values[key]
        return values[~np.isnan(values)]

    def _luck_over_all(self, key: str) -> float:
        """Mean variance by luck over the variance of the draws; nan when that is unknown."""
        values, variances = self._values(key), self.draws.variances[key]
        variances = variances[~np.isnan(variances)]
        if len(values) < 2 or not len(variances):
            return math.nan
        among = float(np.var(values, ddof=1))
        return float(np.mean(variances)) / among if among > 0 else 1.0


def draw_places(unknowns: Sequence[Unknown], draws: int, seed: int) -> Floats:
    """Places for `metersim.machine.scenario.Scenario.drawn`, a column for each that is not known.

    Each column is stratified, as in a Latin hypercube (mckay1979), and has a stream of its own
    name: it stays as it is when another key becomes known or unknown, and two scenarios that
    share a key share its draws.

    Parameters
    ----------
    unknowns : sequence of Unknown
        What is not known.
    draws : int
        How many, 1 or more.
    seed : int
        Chooses the draws.

    Returns
    -------
    ndarray, shape (draws, len(unknowns))
        Between 0 and 1, neither of them included.
    """
    places = np.empty((draws, len(unknowns)))
    for column, one in zip(places.T, unknowns, strict=True):
        rng = Streams(seed).generator(f"unknown {one.section}.{one.name}")
        column[:] = (rng.permutation(draws) + rng.random(draws)) / draws
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
    """Every draw of scenarios, run once each, on luck that they share and no other draw has.

    Parameters
    ----------
    *scenarios : Scenario
        Of any number of unknowns; those that they share are drawn alike.
    draws, seed : int
        How many, and what chooses them and their luck.
    replicates : int
        Replicates that have been run at the middle, whose luck is left to them.
    cells : int, optional
        About how many to watch in each; else each scenario has its turns.
    on_cells : callable, optional
        As for `metersim.measures.tally.tallied`.
    watch : callable, optional
        Runs and measures a scenario, with the arguments of `metersim.measures.tally.tallied`.
        Without it the seeds of a scenario are measured.

    Returns
    -------
    iterator of list of Measured
        One of each scenario, draw by draw.

    Raises
    ------
    BadInput
        At once, when the values of a draw contradict.
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
    luck: Any = {"seed": seed, "stretches": stretches, "on_cells": on_cells}
    return (
        [(watch or _seeds)(one, replicate=replicates + k, **luck) for one in row]
        for k, row in enumerate(zip(*drawn, strict=True))
    )


def _seeds(scenario: Scenario, **luck: Any) -> Measured:
    return measure(tallied(scenario, **luck))


def gather(points: Iterable[Mapping[str, Floats]]) -> Draws:
    """Values and variances of the points of each draw (`Measured.points`)."""
    rows = [{key: (one[0], jackknife(one[1:])) for key, one in row.items()} for row in points]
    columns = {key: np.array([row[key] for row in rows]).T for key in rows[0]}
    return Draws(
        {key: values for key, (values, _) in columns.items()},
        {key: variances for key, (_, variances) in columns.items()},
    )


def spread_about(
    middle: Measured, *, draws: int = DRAWS, on_cells: Callable[[int], object] | None = None
) -> Spread:
    """The spread about a scenario that has been measured at the middle of what is not known.

    Parameters
    ----------
    middle : Measured
        Its replicates; the draws are chosen by the same seed.
    draws, on_cells
        As for `run_draws`.
    """
    scenario, seed, replicates = middle.scenario, middle.origin.seed, len(middle.tallies)
    runs = run_draws(scenario, draws=draws, seed=seed, replicates=replicates, on_cells=on_cells)
    found = gather(one.points for (one,) in runs)
    return Spread(scenario.name, scenario.unknown, middle.estimates, found, middle.level)


def spread(scenario: Scenario, *, seed: int = 1, draws: int = DRAWS, replicates: int = 1) -> Spread:
    """What luck does to a scenario's measures, and what not knowing some of its settings does.

    Parameters
    ----------
    scenario : Scenario
        With ranges, distributions or lists in place of some values.
    seed : int
        Chooses luck and draws.
    draws : int
        How many times values are drawn for what is not known, 2 or more; each is run once.
    replicates : int
        How often the middle is run.

    Raises
    ------
    BadInput
        When values that are possible contradict one another.

    Examples
    --------
    >>> import metersim as m
    >>> vague = m.load_scenario("maize_bench", ["vacuum_kpa={low = 2, high = 4}", "turns=100"])
    >>> found = m.spread(vague, seed=3)
    >>> found
    <Spread of maize_bench: 64 draws of 1 unknown; to_dataframe() shows it>
    >>> for skips in (found.luck("cells.skip"), found.unknown("cells.skip")):
    ...     print(f"from {skips.low:.2%} to {skips.high:.2%}")
    from 0.19% to 0.73%
    from 0.13% to 1.12%
    """
    each = stretches_for(scenario.passages, replicates)
    runs = [tallied(scenario, seed=seed, replicate=k, stretches=each) for k in range(replicates)]
    return spread_about(measure(runs), draws=draws)
