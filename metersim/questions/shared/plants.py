"""Plants of a run, differences of two stands, and published relations of yield to the stand."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from metersim.files.faults import Keyed, bad
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, difference, differences
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.plants import BY_NAME, COUNTED, even_seeds_sd, planted, plants_tally
from metersim.measures.tally import stretches_of
from metersim.measures.yields import RELATIONS, Relation, relations_of
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import spread_about, spreads_about
from metersim.run.records import Run
from metersim.run.simulation import simulate

if TYPE_CHECKING:
    import pandas as pd

TABLES = ("plants", "losses")


@dataclass(frozen=True)
class Loss:
    """Range of yield loss of a stand after a published relation.

    Attributes
    ----------
    relation : Relation
        Published relation of yield to the stand.
    low, high : float
        Least and greatest loss.  The least published slope is taken at the low end of the stand's
        interval, the greatest slope at its high end.  A difference has the outer ends of the
        intervals of both slopes.  nan where the run is too short for an interval. [kg/m2 or 1, as
        the relation gives]
    outside : bool
        Whether the stand lies outside the range of the study.
    """

    relation: Relation
    low: float
    high: float
    outside: bool


@dataclass(frozen=True)
class Stand(Mapping[str, Estimate]):
    """Plants that come up from runs of one scenario: a mapping of their measures by key.

    Attributes
    ----------
    measured : Measured
        Measures `COUNTED` of the plants: those of `PLANTED`, and parts of their losses.
    spread : Spread, optional
        Their uncertainty over draws of machines and uncertain inputs.
    """

    measured: Measured
    spread: Spread | None = None

    def __repr__(self) -> str:
        many = f"{self.measured.total('seeds'):,} plants"
        return f"<Stand of {self.scenario.name}: {many}; to_dataframe() shows it>"

    def __getitem__(self, key: str) -> Estimate:
        return self.measured[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.measured)

    def __len__(self) -> int:
        return len(self.measured)

    @property
    def scenario(self) -> Scenario:
        """Scenario of the runs."""
        return self.measured.scenario

    @property
    def crop(self) -> str:
        """Name of the sown crop."""
        return self.scenario.lot.crop

    @property
    def even_sd(self) -> float:
        """SD of plant spacings for perfectly even seeds, caused by emergence alone. [m]"""
        stand = self.scenario.stand
        return even_seeds_sd(self.scenario.spacing, stand.emergence, stand.plant_shift)

    def reach(self, key: str) -> Estimate:
        """Estimate of a measure with its total uncertainty, or sampling error without draws."""
        return self.spread.total(key) if self.spread else self.measured[key]

    @cached_property
    def losses(self) -> tuple[Loss, ...]:
        """Yield loss after each published relation of the crop; empty without any relation."""
        return tuple(self._loss(one) for one in relations_of(self.crop))

    def _loss(self, relation: Relation) -> Loss:
        at = self.reach(relation.of)
        low, high = relation.losses(at.low)[0], relation.losses(at.high)[1]
        return Loss(relation, float(low), float(high), relation.is_outside(at.value))

    @cached_property
    def emergence_losses(self) -> tuple[Loss, ...]:
        """Part of each loss that emergence alone makes, with one seed in every cell, evenly spaced.

        Notes
        -----
        With even seeds the SD of plants is `even_sd`, no cell has two plants, and a cell is without
        a plant only where its seed does not come up.  All late plants are late by emergence.
        """
        empty = 1 - self.scenario.stand.emergence
        alone = {"plants.sd": self.even_sd, "hills.none": empty, "plants.in_doubles": 0.0}
        found = []
        for whole in self.losses:
            if (at := alone.get(whole.relation.of)) is None:
                found.append(whole)
                continue
            low, high = (float(end) for end in whole.relation.losses(at))
            low, high = min(low, whole.low), min(high, whole.high)
            found.append(Loss(whole.relation, low, high, whole.outside))
        return tuple(found)

    @property
    def meter_losses(self) -> tuple[Loss, ...]:
        """Rest of each loss, which uneven spacing by the meter makes."""
        return tuple(
            Loss(whole.relation, whole.low - part.low, whole.high - part.high, whole.outside)
            for whole, part in zip(self.losses, self.emergence_losses, strict=True)
        )

    def to_dataframe(self, table: str = "plants") -> pd.DataFrame:
        """A table for pandas (extra ``notebook``), in SI.

        Parameters
        ----------
        table : {'plants', 'losses'}
            Table with one row for each measure of the plants, or for each published relation.

        Raises
        ------
        ValueError
            For an unknown table.
        ImportError
            Without pandas.
        """
        if table not in TABLES:
            raise ValueError(f"table is {table!r}; allowed: {', '.join(TABLES)}")
        if table == "plants":
            return self.measured.to_dataframe()
        return dataframe(
            [
                {
                    "relation": loss.relation.key,
                    "of": loss.relation.of,
                    "gives": loss.relation.gives,
                    "low": loss.low,
                    "high": loss.high,
                    "outside": loss.outside,
                    "source": loss.relation.source,
                    "mark": loss.relation.mark,
                    "says": loss.relation.says,
                    "hedge": loss.relation.hedge,
                }
                for loss in self.losses
            ]
        )


def check_field(scenario: Scenario) -> None:
    """Refuse plants of seeds that fall on a belt; raises `BadInput`."""
    if not scenario.in_field or any(one.field == "furrow__surface" for one in scenario.unknown):
        message = (
            'plants come up in a field alone, not on a bench\'s belt; give surface = "field" '
            "(`changes` surface=field)"
        )
        raise bad(scenario.name, "furrow.surface", message)


def plants(
    runs: Run | Sequence[Run] | AnyScenario,
    *,
    level: float = 0.95,
    seed: int = 1,
    stations: OwnGiven | None = None,
) -> Stand:
    """The stand that comes up from the seeds of a run, or of replicates of one scenario.

    Parameters
    ----------
    runs : Run, sequence of Run, Scenario, str or Path
        At least one run in a field, or a scenario to run.  Section ``stand`` of the scenario
        describes emergence.
    level : float
        Coverage of the intervals.
    seed : int
        Random seed of the run of a scenario; given runs have their own.
    stations : mapping, Stations or callable, optional
        Own stations of a scenario, as for `metersim.run.simulation.simulate`.

    Returns
    -------
    Stand
        Measures by key, such as ``plants(run)["plants.sd"]``, and `Stand.losses`.

    Raises
    ------
    BadInput
        For a run on a bench.

    Examples
    --------
    >>> import metersim as m
    >>> run = m.simulate(m.load_scenario("maize_field", ["emergence_percent=90"]), seed=3)
    >>> stand = m.plants(run)
    >>> sd = stand["plants.sd"]
    >>> 0 < sd.low < sd.value < sd.high < 0.15  # in m
    True
    >>> for loss in stand.losses[2:4]:  # one in kg/m2, and one that found none
    ...     print(f"{loss.relation.by}: {loss.low > 0}")
    Doerge et al. 2001: True
    Liu et al. 2004: False
    """
    if isinstance(runs, Scenario | str | Path):
        scenario = fitted(runs, stations)
        check_field(scenario)
        return plants(simulate(scenario, seed=seed), level=level)
    if stations is not None:
        raise ValueError("a run has its stations already; give a scenario with stations")
    given = (runs,) if isinstance(runs, Run) else tuple(runs)
    check_field(given[0].scenario)
    each = stretches_of(*(run.scenario for run in given), replicates=len(given))
    parts = [plants_tally(run.origin, len(run.cells), run.pieces(), each) for run in given]
    return Stand(Measured(tuple(parts), level, COUNTED))


def stand_of(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicates: int = 1,
    draws: int | None = None,
    split: bool = True,
    stretches: int | None = None,
    on_cells: Callable[[int], object] | None = None,
) -> Stand:
    """Stand of a scenario that is run here; only sums of its plants are kept.

    Parameters
    ----------
    scenario : Scenario
        Scenario in a field.
    seed, replicates : int
        Random seed, and number of repetitions with other random draws.
    draws : int, optional
        Number of draws of machine and uncertain inputs; no draws when not given.
    split : bool
        As for `metersim.questions.shared.unknowns.spreads_about`.
    stretches, on_cells
        As for `metersim.measures.tally.tallied`.

    Raises
    ------
    BadInput
        For a bench, or when drawn values contradict one another.
    """
    check_field(scenario)
    each = stretches or stretches_of(scenario, replicates=replicates)
    draws_of_run: Any = {"seed": seed, "stretches": each, "on_cells": on_cells}
    parts = [planted(scenario, replicate=k, **draws_of_run).tallies[0] for k in range(replicates)]
    middle = Measured(tuple(parts), LEVEL_TOTAL, COUNTED)
    if draws is None:
        return Stand(middle)
    of_draws: Any = {"draws": draws, "on_cells": on_cells, "watch": planted, "split": split}
    return Stand(middle, spread_about(middle, **of_draws))


RELATION = {one.key: one for one in RELATIONS}
SLOPES = (0, 1)  # least and greatest slope of a relation


@dataclass(frozen=True)
class StandChange:
    """Paired differences of two stands with common random numbers.

    Attributes
    ----------
    measures : mapping of str to Estimate
        Second stand less the first, by key of the measure, with its total uncertainty, or its
        sampling error without draws.
    losses : tuple of Loss
        Loss of the second stand less that of the first, by relation.  Empty where the crops
        differ or no relation of the crop is known.
    spread : Spread, optional
        Uncertainty of the differences.
    """

    measures: Mapping[str, Estimate]
    losses: tuple[Loss, ...]
    spread: Spread | None = None


def stand_change(first: Stand, other: Stand, spread: Spread | None = None) -> StandChange:
    """Paired differences of two stands with equal numbers of replicates and stretches.

    Parameters
    ----------
    first, other : Stand
        Stands with common random numbers.
    spread : Spread, optional
        Uncertainty of the differences, as `compared_stands` gives it.
    """
    paired = paired_changes(first.measured, other.measured)
    differences = {part.key: paired[part.key] for part in COUNTED}
    if spread is not None:
        differences = {key: spread.total(key) for key in differences}
    losses = []
    for relation in relations_of(first.crop) if first.crop == other.crop else ():
        keys = [f"{relation.key}.{k}" for k in SLOPES]
        ends = [spread.total(key) if spread else paired[key] for key in keys]
        outside = any(relation.is_outside(one.reach(relation.of).value) for one in (first, other))
        low, high = min(end.low for end in ends), max(end.high for end in ends)
        losses.append(Loss(relation, low, high, outside))
    return StandChange(Keyed(differences), tuple(losses), spread)


def paired_changes(a: Measured, b: Measured) -> dict[str, Estimate]:
    """Paired differences of plants and of losses by both slopes, with their sampling error."""
    found = dict(differences(a, b, COUNTED))
    crops = {one.scenario.lot.crop for one in (a, b)}
    for relation in relations_of(crops.pop()) if len(crops) == 1 else ():
        for k in SLOPES:
            by = _loss_by(relation, k)
            found[f"{relation.key}.{k}"] = difference(a, b, BY_NAME[relation.of], by)
    return found


def compared_stands(
    stands: Sequence[Stand], labels: Sequence[str], *, draws: int, cells: int, split: bool = True
) -> tuple[tuple[Stand, ...], tuple[Spread, ...]]:
    """Stands with their uncertainty, and the uncertainty of differences from the first stand.

    Parameters
    ----------
    stands : sequence of Stand
        Stands with common random numbers.
    labels : sequence of str
        Their names.
    draws, cells : int
        Number of draws, and approximate cells of each run.
    split : bool
        As for `metersim.questions.shared.unknowns.spreads_about`.
    """
    middles = [one.measured for one in stands]
    levels, changes = spreads_about(
        middles,
        [paired_changes(middles[0], other) for other in middles[1:]],
        labels=labels,
        draws=draws,
        cells=cells,
        watch=planted,
        points=_points,
        split=split,
    )
    changes = tuple(
        replace(change, errors={**change.errors, **_loss_errors(change, level)})
        for change, level in zip(changes, levels[1:], strict=True)
    )
    made = (Stand(one.measured, level) for one, level in zip(stands, levels, strict=True))
    return tuple(made), changes


def _loss_errors(change: Spread, level: Spread) -> dict[str, float]:
    """SD of the discrepancy of differences of losses: what that of the stand makes of the loss."""
    found = {}
    for key in change.estimates:
        name, _, slope = key.rpartition(".")
        relation = RELATION.get(name)
        if relation and relation.of in change.errors:
            at, error = level.total(relation.of).value, change.errors[relation.of]
            low, high = (float(relation.losses(one)[int(slope)]) for one in (at, at + error))
            found[key] = high - low
    return found


def _points(stand: Measured) -> dict[str, Any]:
    """Measures and losses by both slopes, for all stretches and without each stretch in turn."""
    points: dict[str, Any] = dict(stand.points)
    for relation in relations_of(stand.scenario.lot.crop):
        for k, loss in enumerate(relation.losses(points[relation.of])):
            points[f"{relation.key}.{k}"] = loss
    return points


def _loss_by(relation: Relation, slope: int) -> Callable[[Any], Any]:
    """Function that gives the loss after a relation by its least or its greatest slope."""
    return lambda value: relation.losses(value)[slope]
