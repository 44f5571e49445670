"""Plants of a run, differences of two stands, and published relations of yield to the stand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from metersim.files.faults import Keyed, bad
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, difference
from metersim.measures.intervals import Estimate
from metersim.measures.plants import BY_NAME, PLANTED, even_seeds_sd, planted, plants_tally
from metersim.measures.tally import stretches_for
from metersim.measures.yields import Relation, relations_of
from metersim.questions.shared.unknowns import Draws, Spread, gather, run_draws
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
        Measures `PLANTED` of the plants.
    draws : Draws, optional
        The same measures in every draw of uncertain inputs.
    """

    measured: Measured
    draws: Draws | None = None

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

    @cached_property
    def spread(self) -> Spread | None:
        """Sampling error and input uncertainty of the stand; None without uncertain inputs."""
        if self.draws is None:
            return None
        scenario, measured = self.scenario, self.measured
        return Spread(
            f"the stand of {scenario.name}",
            scenario.unknown,
            measured.estimates,
            self.draws,
            measured.level,
            BY_NAME,
        )

    def reach(self, key: str) -> Estimate:
        """Estimate of a measure with its total uncertainty, or sampling error if all is known."""
        return self.spread.total(key) if self.spread else self.measured[key]

    @cached_property
    def losses(self) -> tuple[Loss, ...]:
        """Yield loss after each published relation of the crop; empty without any relation."""
        return tuple(self._loss(one) for one in relations_of(self.crop))

    def _loss(self, relation: Relation) -> Loss:
        at = self.reach(relation.of)
        low, high = relation.losses(at.low)[0], relation.losses(at.high)[1]
        return Loss(relation, float(low), float(high), relation.is_outside(at.value))

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
    >>> f"{sd.value:.3f} m, from {sd.low:.3f} to {sd.high:.3f}"
    '0.075 m, from 0.072 to 0.078'
    >>> for loss in stand.losses[2:5]:  # one in kg/m2, one that found none, one as a share
    ...     print(f"{loss.relation.by}: {loss.low:.3f} to {loss.high:.3f}")
    Doerge et al. 2001: 0.061 to 0.066
    Liu et al. 2004: 0.000 to 0.000
    Lauer & Rankin 2004: 0.000 to 0.000
    """
    if isinstance(runs, Scenario | str | Path):
        scenario = fitted(runs, stations)
        check_field(scenario)
        return plants(simulate(scenario, seed=seed), level=level)
    if stations is not None:
        raise ValueError("a run has its stations already; give a scenario with stations")
    given = (runs,) if isinstance(runs, Run) else tuple(runs)
    check_field(given[0].scenario)
    each = stretches_for(min(len(run.cells) for run in given), len(given))
    parts = [plants_tally(run.origin, len(run.cells), run.pieces(), each) for run in given]
    return Stand(Measured(tuple(parts), level, PLANTED))


def stand_of(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicates: int = 1,
    draws: int | None = None,
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
        Number of draws of uncertain inputs; no draws when not given.
    stretches, on_cells
        As for `metersim.measures.tally.tallied`.

    Raises
    ------
    BadInput
        For a bench, or when drawn values contradict one another.
    """
    check_field(scenario)
    each = stretches or stretches_for(scenario.passages, replicates)
    draws_of_run: Any = {"seed": seed, "stretches": each, "on_cells": on_cells}
    parts = [planted(scenario, replicate=k, **draws_of_run).tallies[0] for k in range(replicates)]
    found = None
    if draws is not None and scenario.unknown:
        further: Any = {"seed": seed, "replicates": replicates, "on_cells": on_cells}
        rows = run_draws(scenario, draws=draws, watch=planted, **further)
        found = gather(one.points for (one,) in rows)
    return Stand(Measured(tuple(parts), measures=PLANTED), found)


SLOPES = (0, 1)  # least and greatest slope of a relation


@dataclass(frozen=True)
class StandChange:
    """Paired differences of two stands with common random numbers.

    Attributes
    ----------
    measures : mapping of str to Estimate
        Second stand less the first, by key of the measure.
    losses : tuple of Loss
        Loss of the second stand less that of the first, by relation.  Empty where the crops
        differ or no relation of the crop is known.
    spread : Spread, optional
        Sampling error and input uncertainty of the differences.
    """

    measures: Mapping[str, Estimate]
    losses: tuple[Loss, ...]
    spread: Spread | None = None


def stand_change(
    first: Stand, other: Stand, draws: Draws | None = None, about: str = ""
) -> StandChange:
    """Paired differences of two stands with equal numbers of replicates and stretches.

    Parameters
    ----------
    first, other : Stand
        Stands with common random numbers.
    draws : Draws, optional
        Differences in every draw of uncertain inputs, as `change_draws` gives them.
    about : str
        Description of the difference.
    """
    a, b = first.measured, other.measured
    differences = Keyed({part.key: difference(a, b, part) for part in PLANTED})
    spread = None
    if draws is not None:
        unknown = tuple(dict.fromkeys((*first.scenario.unknown, *other.scenario.unknown)))
        spread = Spread(about, unknown, differences, draws, a.level, BY_NAME)
    losses = []
    for relation in relations_of(first.crop) if first.crop == other.crop else ():
        measure = BY_NAME[relation.of]
        if spread:
            ends = [spread.total(f"{relation.key}.{k}") for k in SLOPES]
        else:
            ends = [difference(a, b, measure, _loss_by(relation, k)) for k in SLOPES]
        outside = any(relation.is_outside(one.reach(relation.of).value) for one in (first, other))
        low, high = min(end.low for end in ends), max(end.high for end in ends)
        losses.append(Loss(relation, low, high, outside))
    return StandChange(differences, tuple(losses), spread)


def change_draws(rows: Iterable[Sequence[Measured]]) -> list[Draws]:
    """Differences of each other stand from the first one, in every draw.

    Parameters
    ----------
    rows : iterable of sequences of Measured
        Stands by draw, as `metersim.questions.shared.unknowns.run_draws` gives them of `planted`.
    """
    made = []
    for first, *others in rows:
        start = _points(first)
        each = [_points(other) for other in others]
        made.append([{key: one[key] - start[key] for key in one if key in start} for one in each])
    return [gather(column) for column in zip(*made, strict=True)]


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
