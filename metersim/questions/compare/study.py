"""What changes when a setting changes: the same luck for all, and paired differences."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from metersim.files.faults import all_of
from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, difference, measure
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.intervals import Estimate
from metersim.measures.limits import Cause, causes
from metersim.measures.plants import planted
from metersim.measures.tally import Tally, stretches_for, tallied
from metersim.questions.shared.plants import (
    Stand,
    StandChange,
    change_draws,
    check_field,
    stand_change,
    stand_of,
)
from metersim.questions.shared.settings import variants
from metersim.questions.shared.unknowns import DRAWS, Draws, Spread, gather, run_draws
from metersim.run.records import Run
from metersim.run.simulation import simulate

if TYPE_CHECKING:
    import pandas as pd

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
    """What the same luck was worth to the difference of two shares.

    Attributes
    ----------
    gain : float
        How many times fewer cells the difference took than runs of separate luck would have
        taken for the same standard error, by the spread of the stretches: 48 of them tell it to
        about a quarter.
    best : float
        The most that any sharing of luck can reach with these two shares, when cells are
        independent of one another.  Both are nan where the shares do not differ.
    """

    gain: float
    best: float


def pairing(a: Measured, b: Measured, measure: Measure) -> Pairing:
    """What the same luck was worth to the difference of a share of `a` and `b`.

    Each stretch's part in a ratio of sums is linearised.  Separate luck leaves the sum of both
    variances, p1 (1 - p1) + p2 (1 - p2) for independent cells; the most that cells can share
    leaves them differing no oftener than they must, a share D = |p1 - p2| of them with variance
    D (1 - D) (derived: D is the least that P(one has it, the other not) can be).
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
    """Runs of several scenarios on the same luck.

    Attributes
    ----------
    labels : tuple of str
        What tells the scenarios apart; the first is the one that others are compared with.
    measured : tuple of Measured
        Their measures.
    runs : tuple of Run
        The first replicate of each, when asked for.
    draws : tuple of Draws
        For each scenario but the first, where anything is not known: the same differences in
        every draw.
    stands : tuple of Stand
        The plants of each, when asked for.
    stand_draws : tuple of Draws
        For each scenario but the first, as `draws`, of the plants.
    """

    labels: tuple[str, ...]
    measured: tuple[Measured, ...]
    runs: tuple[Run, ...] = ()
    draws: tuple[Draws, ...] = ()
    stands: tuple[Stand, ...] = ()
    stand_draws: tuple[Draws, ...] = ()

    def __repr__(self) -> str:
        return f"<Comparison of {', '.join(self.labels)}; to_dataframe() shows it>"

    @cached_property
    def differences(self) -> tuple[Mapping[str, Estimate], ...]:
        """For each scenario but the first: every compared measure less that of the first."""
        first = self.measured[0]
        return tuple(
            {key: difference(first, other, BY_KEY[key]) for key in COMPARED}
            for other in self.measured[1:]
        )

    @cached_property
    def spreads(self) -> tuple[Spread, ...]:
        """For each scenario but the first: what luck does to its differences from the first, and
        what not knowing does; empty where everything is known."""
        if not self.draws:
            return ()
        first, *others = (part.scenario.unknown for part in self.measured)
        return tuple(
            Spread(
                f"{label} minus {self.labels[0]}",
                tuple(dict.fromkeys((*first, *unknown))),
                differences,
                draws,
                self.measured[0].level,
            )
            for label, unknown, differences, draws in zip(
                self.labels[1:], others, self.differences, self.draws, strict=True
            )
        )

    @cached_property
    def stand_changes(self) -> tuple[StandChange, ...]:
        """For each scenario but the first: what its plants, and what published relations make of
        them, differ from those of the first; empty when plants were not asked for."""
        return tuple(
            stand_change(
                self.stands[0],
                other,
                self.stand_draws[k] if self.stand_draws else None,
                f"{self.labels[k + 1]} minus {self.labels[0]}",
            )
            for k, other in enumerate(self.stands[1:])
        )

    @cached_property
    def pairings(self) -> tuple[Mapping[str, Pairing], ...]:
        """For each scenario but the first: what the same luck was worth to each share."""
        first = self.measured[0]
        return tuple(
            {key: pairing(first, other, BY_KEY[key]) for key in COMPARED if BY_KEY[key].top}
            for other in self.measured[1:]
        )

    def to_dataframe(self) -> pd.DataFrame:
        """One row a scenario and measure, in SI, for pandas (extra ``notebook``).

        ``difference`` is from the first scenario, paired; ``gain`` and ``best`` are those of
        its `Pairing`.  They are nan where there is none: for the first scenario, and, of the
        pairing, for what is no share.  What not knowing does to differences is in the
        ``to_dataframe`` of each of `spreads`.
        """
        none, alone = Estimate(math.nan, math.nan, math.nan), Pairing(math.nan, math.nan)
        return dataframe(
            [
                {
                    "label": label,
                    "key": key,
                    "kind": BY_KEY[key].kind,
                    **vars(measured[key]),
                    "difference": differences.get(key, none).value,
                    "difference_low": differences.get(key, none).low,
                    "difference_high": differences.get(key, none).high,
                    **vars(pairings.get(key, alone)),
                }
                for label, measured, differences, pairings in zip(
                    self.labels,
                    self.measured,
                    ({}, *self.differences),
                    ({}, *self.pairings),
                    strict=True,
                )
                for key in COMPARED
            ]
        )

    @property
    def binding(self) -> tuple[Cause | None, ...]:
        """What spoils the most spacings of each scenario, if anything does."""
        return tuple(next(iter(causes(measured)), None) for measured in self.measured)


def compare(
    *scenarios: str | Path | Scenario,
    vary: str | None = None,
    changes: str | Sequence[str] = (),
    labels: Sequence[str] = (),
    seed: int = 1,
    replicates: int = 1,
    engine: str | None = None,
    keep: bool = False,
    draws: int = DRAWS,
    plants: bool = False,
) -> Comparison:
    """Run scenarios on the same luck.

    Parameters
    ----------
    *scenarios : str, Path or Scenario
        Two or more: shipped ones by name, files, or scenarios of your own making.  One, by name
        or file, with `vary`.  All are watched for about as many cells as the first.
    vary : str, optional
        Values of one key, ``key=a,b``.
    changes : str or sequence of str
        Changes of single keys for all, as ``key=value``; takes names or files.
    labels : sequence of str
        One each; else the names, or the values of what is varied.
    seed, replicates : int
        Random seed, and how many repetitions with fresh draws.
    engine : str, optional
        As for `metersim.run.simulation.simulate`.
    keep : bool
        Whether to keep the records of each first replicate, as a figure needs them.
    draws : int
        How often to draw what is not known, if anything is: alike for all scenarios that do not
        know the same key, so that what it does to all cancels in the differences.
    plants : bool
        Whether to turn seeds into plants too; all scenarios must be in a field.

    Returns
    -------
    Comparison
        Measures and paired differences.

    Raises
    ------
    BadInput
        With every fault found.
    ValueError
        For a `Scenario` together with `vary` or `changes`, other than one label each, or no
        replicate.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.compare("maize_bench", vary="notch=0,1", changes=["turns=50"], seed=3)
    >>> found.labels
    ('notch=0', 'notch=1')
    >>> change = found.differences[0]["cells.skip"]
    >>> f"{change.value:.1%}, from {change.low:.1%} to {change.high:.1%}"
    '1.1%, from 0.5% to 1.6%'
    >>> m.compare("gate_too_low", "maize_bench", changes=["turns=50"]).labels
    ('gate_too_low', 'maize_bench')
    """
    if replicates < 1:
        raise ValueError(f"replicates is {replicates}; allowed: 1 or more")
    named = variants(*scenarios, vary=vary, changes=changes, labels=labels)
    if plants:
        all_of(*(partial(check_field, scenario) for scenario in named.values()))
    passages = next(iter(named.values())).passages
    same_length = [scenario.lasting(passages) for scenario in named.values()]
    fewest = min(scenario.passages for scenario in same_length)
    stretches = stretches_for(fewest, replicates)
    kept, measured = [], []
    for scenario in same_length:
        parts: list[Run | Tally] = []
        if keep:
            kept.append(simulate(scenario, seed=seed, engine=engine))
            parts.append(kept[-1])
        for k in range(len(parts), replicates):
            one = tallied(scenario, seed=seed, replicate=k, stretches=stretches, engine=engine)
            parts.append(one)
        measured.append(measure(parts, stretches=stretches))
    luck: Any = {"seed": seed, "replicates": replicates}
    stands = [stand_of(one, stretches=stretches, **luck) for one in same_length if plants]
    drawn: list[Draws] = []
    stand_drawn: list[Draws] = []
    if any(scenario.unknown for scenario in same_length):
        each: Any = {"draws": draws, "cells": passages, **luck}
        drawn = _differences(run_draws(*same_length, **each))
        if plants:
            stand_drawn = change_draws(run_draws(*same_length, watch=planted, **each))
    return Comparison(
        tuple(named),
        tuple(measured),
        tuple(kept),
        tuple(drawn),
        tuple(stands),
        tuple(stand_drawn),
    )


def _differences(rows: Iterable[Sequence[Measured]]) -> list[Draws]:
    """Differences from the first scenario in every draw, for each scenario but the first."""
    points = [
        [{key: other.points[key] - first.points[key] for key in COMPARED} for other in others]
        for first, *others in rows
    ]
    return [gather(column) for column in zip(*points, strict=True)]
