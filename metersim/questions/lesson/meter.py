"""A simulated meter of a lesson: its cells, and what differs between two meters."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, differences
from metersim.measures.indices import Measure
from metersim.measures.intervals import Estimate
from metersim.measures.tally import stretches_of, tally_of_cells
from metersim.questions.shared.answer import is_distinct
from metersim.questions.shared.counts import (
    CERTAINTY,
    COUNTED,
    POWER,
    Share,
    cells_to_detect,
    power_of,
    shares_of,
)
from metersim.questions.shared.looks import carried, kept_full
from metersim.run.records import Cells
from metersim.run.simulation import origin_of, simulate_cells

CELLS = 9_000  # of the run of a meter that is compared
SIZES = (100, 300, 1_000)  # cells of counts that a class makes
USUAL_SIZE = 300  # of them, the one that questions are about
PAIR_SIZE = 1_000  # of them, that of counts before and after two moves at once
ODD = Measure("cells.odd", "share", "cells without exactly one seed", ("none", "two", "three"),
              "cells")  # fmt: skip
NEVER = Share(0.0)
SHOWN = (COUNTED["skips"], COUNTED["doubles"], ODD)


@dataclass(frozen=True)
class Rates:
    """Skips and doubles of a meter, or their changes from one meter to another.

    Attributes
    ----------
    skips, doubles : Estimate
        Share of the cells, or its change, with the sampling error of the runs. [1]
    odd : Estimate
        The same of cells without exactly one seed. [1]
    """

    skips: Estimate
    doubles: Estimate
    odd: Estimate

    @property
    def kinds(self) -> Mapping[str, Estimate]:
        """Skips and doubles by name."""
        return {"skips": self.skips, "doubles": self.doubles}


@dataclass(frozen=True)
class Seen:
    """What two counts, one before and one after a move, detect of it.

    Attributes
    ----------
    kind : str
        Kind of cell that detects it best; empty where long runs do not distinguish any.
    before, after : Share
        Share of this kind before and after the move.
    """

    kind: str = ""
    before: Share = NEVER
    after: Share = NEVER

    def chance(self, cells: float) -> float:
        """Chance that two counts of so many cells detect it; of a false alarm without a kind."""
        if not self.kind:
            return 1 - CERTAINTY
        return power_of(self.before, self.after, cells)

    @property
    def cells(self) -> float:
        """Cells of each of two counts that detect it with the usual power."""
        if not self.kind:
            return math.inf
        return cells_to_detect(self.before, self.after, CERTAINTY, POWER)


@dataclass(frozen=True, eq=False)
class Meter:
    """A run of a meter whose seeds were not followed to the ground.

    Attributes
    ----------
    scenario : Scenario
        The meter.
    seed : int
        Random seed.
    cells : Cells
        Records of its cells.
    """

    scenario: Scenario
    seed: int
    cells: Cells

    @cached_property
    def shares(self) -> Mapping[str, Share]:
        """Shares of skips, doubles and singles with their design effects."""
        return shares_of(carried(self.cells))

    @cached_property
    def rates(self) -> Rates:
        """Skips and doubles with their sampling error."""
        return _rates(self.cut(stretches_of(self.scenario)).estimates)

    def cut(self, stretches: int) -> Measured:
        """Measures over a number of stretches."""
        tally = tally_of_cells(origin_of(self.scenario, self.seed), self.cells, stretches)
        return Measured((tally,), CERTAINTY, SHOWN)


def meter_of(scenario: Scenario, seed: int, cells: int) -> Meter:
    """Run a meter over about so many cells, with its hopper kept full."""
    long = kept_full(scenario, cells)
    return Meter(long, seed, simulate_cells(long, seed=seed))


def changes(before: Meter, after: Meter) -> Rates:
    """Changes of skips and doubles between two meters with common random numbers."""
    alike = stretches_of(before.scenario, after.scenario)
    return _rates(differences(before.cut(alike), after.cut(alike), SHOWN))


def seen(before: Meter, after: Meter, change: Rates) -> Seen:
    """What two counts detect of a change that long runs distinguish."""
    found = Seen()
    for kind, estimate in change.kinds.items():
        one = Seen(kind, before.shares[kind], after.shares[kind])
        if is_distinct(estimate) and one.cells < found.cells:
            found = one
    return found


def _rates(found: Mapping[str, Estimate]) -> Rates:
    return Rates(*(found[one.key] for one in SHOWN))
