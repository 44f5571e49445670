"""Comparison of scenarios with common random numbers, and their paired differences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

import numpy as np

from metersim.files.faults import Keyed, all_of
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.measures.estimates import Measured, differences, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.limits import Cause, causes
from metersim.measures.tally import Tally, stretches_of, tallied
from metersim.questions.shared.plants import (
    Stand,
    StandChange,
    check_field,
    compared_stands,
    stand_change,
    stand_of,
)
from metersim.questions.shared.settings import variants
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import spreads_about
from metersim.run.records import Run
from metersim.run.simulation import simulate

if TYPE_CHECKING:
    import pandas as pd

DRAWS = 16
"""Draws of the machine and the uncertain inputs.

Half of the interval of a difference has an SE of some 18 % of it, or 12 % with twice the draws.  It
is wider by 5 %, as Student's quantile and the error of the centre are.
"""
COMPARED = (
    "cells.skip",
    "cells.double",
    "per_spacing.multiple",
    "per_spacing.quality",
    "per_spacing.miss",
    "precision",
    "spacing.sd",
    "drop_time.sd",
    "placed.per_area",
)


@dataclass(frozen=True)
class Pairing:
    """Variance reduction of the difference of two shares by common random numbers.

    Attributes
    ----------
    gain : float
        Cells of independent runs with the same standard error, over the cells used here.  It is
        estimated from the stretches; 48 stretches give it to about a quarter.
    best : float
        Largest possible gain for these two shares, if cells are independent of one another.
        Gain and best are nan where the shares do not differ.
    """

    gain: float
    best: float


def pairing(a: Measured, b: Measured, measure: Measure) -> Pairing:
    """Variance reduction of the difference of one share between `a` and `b`.

    Each stretch's part in a ratio of sums is linearised.  Independent runs leave the sum of two
    variances: p1 (1 - p1) + p2 (1 - p2) for independent cells.  With the best coupling, only a
    share D = |p1 - p2| of the cells differs, with variance D (1 - D).  Derived: D is the least
    possible P(one has it, the other not).
    """
    shares, parts = [], []
    for sums in (a.sums, b.sums):
        top, bottom = sum(sums[name] for name in measure.top), sums[measure.bottom]
        total = float(bottom.sum())
        shares.append(float(np.sum(top)) / total if total else math.nan)
        parts.append((top - shares[-1] * bottom) / (total or math.nan))
    apart = abs(shares[1] - shares[0])
    paired = float(np.sum((parts[1] - parts[0]) ** 2))
    if not (apart > 0 and paired > 0):
        return Pairing(math.nan, math.nan)
    separate = float(np.sum(parts[0] ** 2) + np.sum(parts[1] ** 2))
    alone = sum(share * (1 - share) for share in shares)
    least = apart * (1 - apart)
    return Pairing(separate / paired, alone / least if least > 0 else math.nan)


@dataclass(frozen=True)
class Comparison:
    """Runs of several scenarios with common random numbers.

    Attributes
    ----------
    labels : tuple of str
        Distinct names of the scenarios; all others are compared with the first.
    measured : tuple of Measured
        Measures of each scenario.
    runs : tuple of Run
        First replicate of each scenario, if requested.
    levels : tuple of Spread
        Uncertainty of the measures of each scenario.
    spreads : tuple of Spread
        Uncertainty of the differences from the first scenario, by other scenario.
    stands : tuple of Stand
        Plants of each scenario, if requested.
    stand_spreads : tuple of Spread
        Uncertainty of the differences of plants, as `spreads`.
    """

    labels: tuple[str, ...]
    measured: tuple[Measured, ...]
    levels: tuple[Spread, ...]
    spreads: tuple[Spread, ...]
    runs: tuple[Run, ...] = ()
    stands: tuple[Stand, ...] = ()
    stand_spreads: tuple[Spread, ...] = ()

    def __repr__(self) -> str:
        return f"<Comparison of {', '.join(self.labels)}; to_dataframe() shows it>"

    @cached_property
    def values(self) -> tuple[Mapping[str, Estimate], ...]:
        """Compared measures of each scenario, with their total uncertainty."""
        return tuple(Keyed({key: one.total(key) for key in COMPARED}) for one in self.levels)

    @cached_property
    def differences(self) -> tuple[Mapping[str, Estimate], ...]:
        """Differences of all compared measures from the first, by other scenario.

        Their intervals are those of the total uncertainty, with the machine shared by both.
        """
        return tuple(Keyed({key: one.total(key) for key in COMPARED}) for one in self.spreads)

    @cached_property
    def stand_changes(self) -> tuple[StandChange, ...]:
        """Differences of plants and yield losses from the first scenario, by other scenario.

        Empty when plants were not requested.
        """
        pairs = zip(self.stands[1:], self.stand_spreads, strict=True)
        return tuple(stand_change(self.stands[0], other, spread) for other, spread in pairs)

    @cached_property
    def pairings(self) -> tuple[Mapping[str, Pairing], ...]:
        """Variance reduction of each share, by other scenario than the first."""
        first = self.measured[0]
        return tuple(
            Keyed({key: pairing(first, other, BY_KEY[key]) for key in COMPARED if BY_KEY[key].top})
            for other in self.measured[1:]
        )

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a scenario and measure, in SI (extra ``notebook``).

        ``difference`` is the difference from the first scenario.  ``gain`` and ``best`` are those
        of its `Pairing`.  All three are nan for the first scenario; the last two are nan for a
        measure that is no share.  Intervals are of the total uncertainty; each of `levels` and
        `spreads` has a table of its parts.
        """
        none, alone = Estimate(math.nan, math.nan, math.nan), Pairing(math.nan, math.nan)
        return dataframe(
            [
                {
                    "label": label,
                    "key": key,
                    "kind": BY_KEY[key].kind,
                    **vars(values[key]),
                    "difference": differences.get(key, none).value,
                    "difference_low": differences.get(key, none).low,
                    "difference_high": differences.get(key, none).high,
                    **vars(pairings.get(key, alone)),
                }
                for label, values, differences, pairings in zip(
                    self.labels,
                    self.values,
                    ({}, *self.differences),
                    ({}, *self.pairings),
                    strict=True,
                )
                for key in COMPARED
            ]
        )

    @property
    def binding(self) -> tuple[Cause | None, ...]:
        """Main cause of uneven spacing in each scenario, or None without any."""
        return tuple(next(iter(causes(measured)), None) for measured in self.measured)


def compare(
    *scenarios: AnyScenario,
    vary: str | None = None,
    changes: str | Sequence[str] = (),
    labels: Sequence[str] = (),
    seed: int = 1,
    replicates: int = 1,
    engine: str | None = None,
    keep: bool = False,
    draws: int = DRAWS,
    plants: bool = False,
    split: bool = True,
    stations: OwnGiven | None = None,
) -> Comparison:
    """Run scenarios with common random numbers and compare them.

    Parameters
    ----------
    *scenarios : str, Path or Scenario
        Two or more names of shipped scenarios, files, or `Scenario` objects.  With `vary`, one.
        All run for about as many cells as the first.
    vary : str, optional
        Values of one key, ``key=a,b``.
    changes : str or sequence of str
        Changes of single keys for all scenarios, as ``key=value``.
    labels : sequence of str
        One label for each scenario; by default its name, or its varied value.
    seed, replicates : int
        Random seed, and number of repetitions with other random draws.
    engine : str, optional
        As for `metersim.run.simulation.simulate`.
    keep : bool
        Whether to keep the records of each first replicate, which a figure needs.
    draws : int
        Number of draws of the machine and the uncertain inputs.  Scenarios share the machine, and
        draws of uncertain keys that they share, so that common effects cancel in the differences.
    plants : bool
        Whether to add plants; all scenarios must be in a field.
    split : bool
        Whether to split each total between inputs and model, which takes as many runs again.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`, in all
        scenarios; `metersim.machine.stations.fitted` puts them into a single one.

    Returns
    -------
    Comparison
        Measures and differences.

    Raises
    ------
    BadInput
        With every fault found.
    ValueError
        For a wrong number of labels, or no replicate.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.compare("maize_bench", vary="notch=0,1", changes=["turns=50"], seed=3)
    >>> found.labels
    ('notch=0', 'notch=1')
    >>> change = found.differences[0]["cells.skip"]
    >>> sampling = found.spreads[0].sampling("cells.skip")
    >>> change.low <= sampling.low < change.value < sampling.high <= change.high
    True
    >>> m.compare("gate_too_low", "maize_bench", changes=["turns=20"], draws=4).labels
    ('gate_too_low', 'maize_bench')
    """
    if replicates < 1:
        raise ValueError(f"replicates is {replicates}; allowed: 1 or more")
    named = variants(*scenarios, vary=vary, changes=changes, labels=labels)
    named = dict(zip(named, fitted_alike([*named.values()], stations), strict=True))
    if plants:
        all_of(*(partial(check_field, scenario) for scenario in named.values()))
    passages = next(iter(named.values())).passages
    same_length = [scenario.lasting(passages) for scenario in named.values()]
    stretches = stretches_of(*same_length, replicates=replicates)
    kept, measured = [], []
    for scenario in same_length:
        parts: list[Run | Tally] = []
        if keep:
            kept.append(simulate(scenario, seed=seed, engine=engine))
            parts.append(kept[-1])
        for k in range(len(parts), replicates):
            one = tallied(scenario, seed=seed, replicate=k, stretches=stretches, engine=engine)
            parts.append(one)
        measured.append(measure(parts, level=LEVEL_TOTAL, stretches=stretches))
    first = measured[0]
    asked = [BY_KEY[key] for key in COMPARED]
    paired = [differences(first, other, asked) for other in measured[1:]]
    each: Any = {"labels": tuple(named), "draws": draws, "cells": passages, "split": split}
    levels, spreads = spreads_about(measured, paired, **each)
    stands: tuple[Stand, ...] = ()
    stand_spreads: tuple[Spread, ...] = ()
    if plants:
        own: Any = {"seed": seed, "replicates": replicates, "stretches": stretches}
        stands, stand_spreads = compared_stands([stand_of(s, **own) for s in same_length], **each)
    return Comparison(
        tuple(named), tuple(measured), levels, spreads, tuple(kept), stands, stand_spreads
    )
