"""A row whose hopper runs empty, in two parts: the row before the pool starves, and the rest."""

from __future__ import annotations

from dataclasses import dataclass

from metersim.machine.sections import all_fields
from metersim.measures.estimates import Measured, measure
from metersim.measures.tally import stretches_of, tallied

MOST_SEEDS = 3  # mean seeds of a cell for which the hopper of the row before is filled


@dataclass(frozen=True)
class Row:
    """A measured row, and its parts if the hopper runs empty.

    Attributes
    ----------
    whole : Measured
        Measures of the whole row.
    before, rest : Measured, optional
        Measures of the row before the pool starves, in whole turns of the disc, and of the row
        from there on.  None if the hopper does not run empty, or does so in the first turn.
    """

    whole: Measured
    before: Measured | None = None
    rest: Measured | None = None

    @property
    def reported(self) -> Measured:
        """The measures that a report gives first."""
        return self.before or self.whole

    @property
    def needed(self) -> float:
        """Seed that the whole row needs in the hopper, as the row before uses it. [kg]"""
        used, scenario = self.reported, self.whole.scenario
        seeds = used.total("seeds") + used.spilt
        each = seeds / used.total("cells") * scenario.seeds.seed_mass
        return scenario.pool_fill + each * scenario.passages


def split(whole: Measured, *, engine: str | None = None) -> Row:
    """Cut a measured row where its hopper leaves the pool to starve, and measure both parts.

    Replicates are cut alike, at the first of these places.  Both parts are run again with the same
    random draws.  The scenario of the row before has a hopper that its draws do not empty.

    Parameters
    ----------
    whole : Measured
        Measures of a row or its replicates.
    engine : str, optional
        As for `metersim.run.simulation.simulate`.
    """
    scenario, end = whole.scenario, whole.emptied
    turns = end.cell // scenario.disc.cells if end else 0
    if not turns:
        return Row(whole)
    passages = turns * scenario.disc.cells
    most = MOST_SEEDS * passages + whole.spilt
    wanted = scenario.pool_fill + scenario.seeds.seed_mass * most
    hopper = max(scenario.pool.hopper, min(wanted, all_fields()["pool", "hopper"].high))
    shorter = scenario.replace(run__turns=turns, pool__hopper=hopper)
    parts = []
    for one, first in ((shorter, 0), (scenario, passages)):
        cells = one.passages - first
        each = stretches_of(one, replicates=len(whole.tallies), cells=cells)
        tallies = [
            tallied(
                one,
                seed=part.origin.seed,
                replicate=part.origin.replicate,
                stretches=each,
                engine=engine,
                first=first,
            )
            for part in whole.tallies
        ]
        parts.append(measure(tallies, level=whole.level))
    return Row(whole, *parts)
