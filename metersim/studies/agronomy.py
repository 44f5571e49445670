"""What stands in the field: plants in place of seeds, and what published relations make of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from metersim.faults import bad
from metersim.frames import dataframe
from metersim.intervals import Estimate
from metersim.measures import Measured
from metersim.planted import BY_NAME, PLANTED, planted, plants_tally
from metersim.records import Run
from metersim.scenario import Scenario
from metersim.stand import even_seeds_sd
from metersim.studies.unknowns import Draws, Spread, gather, run_draws
from metersim.tally import stretches_for
from metersim.yields import Relation, relations_of

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
        Luck, and how often to repeat with fresh luck.
    draws : int, optional
        How often to draw what is not known, if anything is; none, when not given.
    stretches, on_cells
        As for `metersim.tally.tallied`.

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
