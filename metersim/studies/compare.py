"""What changes when a setting changes: the same luck for all, and paired differences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from metersim.intervals import Estimate
from metersim.limits import Cause, causes
from metersim.measures import BY_KEY, Measured, difference, measure
from metersim.records import Run
from metersim.scenario import Scenario
from metersim.simulation import simulate
from metersim.tally import Tally, stretches_for, tallied

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
    """

    labels: tuple[str, ...]
    measured: tuple[Measured, ...]
    runs: tuple[Run, ...] = ()

    @cached_property
    def differences(self) -> tuple[Mapping[str, Estimate], ...]:
        """For each scenario but the first: every compared measure less that of the first."""
        first = self.measured[0]
        return tuple(
            {key: difference(first, other, BY_KEY[key]) for key in COMPARED}
            for other in self.measured[1:]
        )

    @property
    def binding(self) -> tuple[Cause | None, ...]:
        """What spoils the most spacings of each scenario, if anything does."""
        return tuple(next(iter(causes(measured)), None) for measured in self.measured)


def compare(
    scenarios: Sequence[Scenario],
    labels: Sequence[str],
    *,
    seed: int = 1,
    replicates: int = 1,
    keep: bool = False,
) -> Comparison:
    """Run scenarios on the same luck.

    Parameters
    ----------
    scenarios : sequence of Scenario
        Two or more; all are watched for about as many cells as the first.
    labels : sequence of str
        One each.
    seed, replicates : int
        Luck, and how often to repeat with fresh luck.
    keep : bool
        Whether to keep the records of each first replicate, as a figure needs them.

    Returns
    -------
    Comparison
        Measures and paired differences.

    Raises
    ------
    ValueError
        With fewer than two scenarios, or other than one label each.
    """
    if len(scenarios) < 2 or len(labels) != len(scenarios):
        raise ValueError(
            f"{len(scenarios)} scenarios with {len(labels)} labels; "
            "give two or more, with one label each"
        )
    passages = scenarios[0].passages
    same_length = [
        scenario.replace(run__turns=max(round(passages / scenario.disc.cells), 1))
        for scenario in scenarios
    ]
    fewest = min(scenario.passages for scenario in same_length)
    stretches = stretches_for(fewest, replicates)
    kept, measured = [], []
    for scenario in same_length:
        parts: list[Run | Tally] = []
        if keep:
            kept.append(simulate(scenario, seed=seed))
            parts.append(kept[-1])
        for k in range(len(parts), replicates):
            parts.append(tallied(scenario, seed=seed, replicate=k, stretches=stretches))
        measured.append(measure(parts, stretches=stretches))
    return Comparison(tuple(labels), tuple(measured), tuple(kept))
