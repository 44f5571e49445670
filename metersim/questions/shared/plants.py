"""Plants of a run and of two, beside published relations of yield to the stand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from metersim.files.faults import bad
from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, difference
from metersim.measures.intervals import Estimate
from metersim.measures.plants import BY_NAME, PLANTED, even_seeds_sd, planted, plants_tally
from metersim.measures.tally import stretches_for
from metersim.measures.yields import Relation, relations_of
from metersim.questions.shared.unknowns import Draws, Spread, gather, run_draws
from metersim.run.records import Run

if TYPE_CHECKING:
    import pandas as pd

TABLES = ("plants", "losses")


@dataclass(frozen=True)
class Loss:
    """What a published relation takes off the yield of a stand: a range, never one number.

    Attributes
    ----------
    relation : Relation
        The relation.
    low, high : float
        From the least slope that was published, at the low end of the stand's interval, to the
        greatest at its high end; of a difference, the ends of both. nan where the run is too short
        to tell. [kg/m2 or 1, as the relation gives]
    outside : bool
        Whether the stand lies outside what the study covered.
    """

    relation: Relation
    low: float
    high: float
    outside: bool


@dataclass(frozen=True)
class Stand:
    """Plants of runs of one scenario.

    Attributes
    ----------
    measured : Measured
        Measures of the plants, `PLANTED`.
    draws : Draws, optional
        The same in every draw of what is not known.
    """

    measured: Measured
    draws: Draws | None = None

    def __repr__(self) -> str:
        many = f"{self.measured.total('seeds'):,} plants"
        return f"<Stand of {self.scenario.name}: {many}; to_dataframe() shows it>"

    def __getitem__(self, key: str) -> Estimate:
        return self.measured[key]

    @property
    def scenario(self) -> Scenario:
        """What was set."""
        return self.measured.scenario

    @property
    def crop(self) -> str:
        """What was sown."""
        return self.scenario.lot.crop

    @property
    def even_sd(self) -> float:
        """SD of plant spacings that emergence alone would leave of perfectly even seeds. [m]"""
        stand = self.scenario.stand
        return even_seeds_sd(self.scenario.spacing, stand.emergence, stand.plant_shift)

    @cached_property
    def spread(self) -> Spread | None:
        """What luck does to the stand and what not knowing does; None where all is known."""
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
        """Where a run of the user's lies: by luck, and by what is not known where anything is."""
        return self.spread.both(key) if self.spread else self.measured[key]

    @cached_property
    def losses(self) -> tuple[Loss, ...]:
        """What each published relation takes off; empty for a crop that none was found of."""
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
            One row a measure of the plants, or one a published relation.

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
    """Refuse plants where seeds fall on a belt, with a `BadInput`."""
    if not scenario.in_field or any(one.field == "furrow__surface" for one in scenario.unknown):
        message = (
            'plants come up in a field alone, not on a bench\'s belt; give surface = "field" '
            "(--set surface=field)"
        )
        raise bad(scenario.name, "furrow.surface", message)


def plants(runs: Run | Sequence[Run], *, level: float = 0.95) -> Stand:
    """The stand that comes up from the seeds of a run, or of replicates of one scenario.

    Parameters
    ----------
    runs : Run or sequence of Run
        At least one, in a field; its scenario's section ``stand`` says how seeds become plants.
    level : float
        Coverage of the intervals.

    Returns
    -------
    Stand
        Measures by key, such as ``plants(run)["plants.sd"]``, and `Stand.losses`.

    Raises
    ------
    BadInput
        On a bench.

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
    """Run a scenario and keep of its plants the sums alone.

    Parameters
    ----------
    scenario : Scenario
        In a field.
    seed, replicates : int
        Random seed, and how many repetitions with fresh draws.
    draws : int, optional
        How often to draw what is not known, if anything is; none, when not given.
    stretches, on_cells
        As for `metersim.measures.tally.tallied`.

    Raises
    ------
    BadInput
        On a bench, or when drawn values contradict.
    """
    check_field(scenario)
    each = stretches or stretches_for(scenario.passages, replicates)
    luck: Any = {"seed": seed, "stretches": each, "on_cells": on_cells}
    parts = [planted(scenario, replicate=k, **luck).tallies[0] for k in range(replicates)]
    found = None
    if draws is not None and scenario.unknown:
        further: Any = {"seed": seed, "replicates": replicates, "on_cells": on_cells}
        rows = run_draws(scenario, draws=draws, watch=planted, **further)
        found = gather(one.points for (one,) in rows)
    return Stand(Measured(tuple(parts), measures=PLANTED), found)


SLOPES = (0, 1)  # the least and the greatest


@dataclass(frozen=True)
class StandChange:
    """What differs between two stands on the same luck.

    Attributes
    ----------
    measures : mapping of str to Estimate
        The second less the first, by key.
    losses : tuple of Loss
        What each relation takes off the second more than off the first; empty where the crops
        differ or no relation was found of them.
    spread : Spread, optional
        What luck does to the measures and what not knowing does.
    """

    measures: Mapping[str, Estimate]
    losses: tuple[Loss, ...]
    spread: Spread | None = None


def stand_change(
    first: Stand, other: Stand, draws: Draws | None = None, about: str = ""
) -> StandChange:
    """Paired differences of two stands with as many replicates and stretches.

    Parameters
    ----------
    first, other : Stand
        On the same luck.
    draws : Draws, optional
        The differences in every draw of what is not known, as `change_draws` gives them.
    about : str
        What it is the difference of, in words.
    """
    a, b = first.measured, other.measured
    apart = {part.key: difference(a, b, part) for part in PLANTED}
    spread = None
    if draws is not None:
        unknown = tuple(dict.fromkeys((*first.scenario.unknown, *other.scenario.unknown)))
        spread = Spread(about, unknown, apart, draws, a.level, BY_NAME)
    losses = []
    for relation in relations_of(first.crop) if first.crop == other.crop else ():
        measure = BY_NAME[relation.of]
        if spread:
            ends = [spread.both(f"{relation.key}.{k}") for k in SLOPES]
        else:
            ends = [difference(a, b, measure, _loss_by(relation, k)) for k in SLOPES]
        outside = any(relation.is_outside(one.reach(relation.of).value) for one in (first, other))
        low, high = min(end.low for end in ends), max(end.high for end in ends)
        losses.append(Loss(relation, low, high, outside))
    return StandChange(apart, tuple(losses), spread)


def change_draws(rows: Iterable[Sequence[Measured]]) -> list[Draws]:
    """Differences from the first stand in every draw, for each stand but the first.

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
    """Measures, and losses by both slopes, of all stretches and without each of them."""
    points: dict[str, Any] = dict(stand.points)
    for relation in relations_of(stand.scenario.lot.crop):
        for k, loss in enumerate(relation.losses(points[relation.of])):
            points[f"{relation.key}.{k}"] = loss
    return points


def _loss_by(relation: Relation, slope: int) -> Callable[[Any], Any]:
    """What a relation takes off, by its least or its greatest slope."""
    return lambda value: relation.losses(value)[slope]
