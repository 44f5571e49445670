"""All that a report states: a run with its intervals, single steps, and unseen cases like it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from metersim.files.faults import Parameter
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, differences, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import stretches_of, tallied
from metersim.questions.report.unseen import Unseen, unseen_like
from metersim.questions.shared.effort import RECORD_BYTES, check_cells, check_memory
from metersim.questions.shared.emptying import Row, split
from metersim.questions.shared.looks import kept_full
from metersim.questions.shared.machinerun import MachineRun, run_machine
from metersim.questions.shared.settings import SETTINGS, Steps, can_move, moved
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import (
    DRAWN_CELLS,
    DRAWS,
    drawn_cells,
    spread_about,
    spreads_about,
)
from metersim.run.records import Run
from metersim.run.rows import Pass
from metersim.run.simulation import simulate

MOVED_DRAWS = 16  # of machine and inputs, shared by all steps
MOVED_CELLS = 9_000  # most cells of the run of a step
STEPPED = ("per_spacing.quality", "per_spacing.miss", "per_spacing.multiple")
"""Measures whose change by a step is given."""


@dataclass(frozen=True)
class Move:
    """One step of a setting, and what it changes with common random numbers.

    Attributes
    ----------
    steps : mapping of str to int
        The step, as `metersim.questions.shared.settings.moved` takes it.
    changes : mapping of str to Estimate
        Differences of `STEPPED` from the present setting, with their total uncertainty.
    """

    steps: Steps
    changes: Mapping[str, Estimate]


@dataclass(frozen=True, eq=False)
class Report:
    """All that a report states of one scenario.

    Attributes
    ----------
    done : Run or Pass
        Records of the run, or of the pass of a machine.
    row : Row
        Measures of one meter; of a machine, those of all rows together.
    spread : Spread
        Total uncertainty of the measures that are reported first.
    machine : MachineRun, optional
        Measures of the rows, for a machine.
    moves : tuple of Move
        Single steps of settings that need no other part.
    unseen : Unseen
        Predictions of published cases with the same crop that the model had not seen.
    draws : int
        Number of draws of machine and inputs.
    """

    done: Run | Pass
    row: Row
    spread: Spread
    machine: MachineRun | None
    moves: tuple[Move, ...]
    unseen: Unseen
    draws: int

    @property
    def measured(self) -> Measured:
        """The measures that are reported first."""
        return self.row.reported

    @property
    def scenario(self) -> Scenario:
        """All settings as they were asked for."""
        return self.row.whole.scenario

    def total(self, key: str) -> Estimate:
        """A measure with its total interval."""
        return self.spread.total(key)


def report_on(
    scenario: Scenario,
    *,
    seed: int = 1,
    draws: int = DRAWS,
    units: str = "metric",
    on_cells: Callable[[int], object] | None = None,
) -> Report:
    """Work out all that a report states.

    The run, its draws and so its numbers are those of ``metersim run``.

    Parameters
    ----------
    scenario : Scenario
        All settings; of one meter, or of a machine.
    seed : int
        Random seed of runs and draws.
    draws : int
        Draws of machine and uncertain inputs, 2 or more.
    units : {'metric', 'us'}
        Units of the single steps.
    on_cells : callable, optional
        Called with each further number of cells that are done.

    Raises
    ------
    BadInput
        When the run takes too long or too much memory, or the fan cannot give the vacuum.
    """
    check_cells(Parameter("turns"), cells_of(scenario, draws, units))
    rows = len(scenario.working_rows) if scenario.is_toolbar else 1
    check_memory(Parameter("turns"), scenario.passages * rows * RECORD_BYTES)
    each: Any = {"draws": draws, "on_cells": on_cells, "split": False}
    machine = None
    done: Run | Pass
    if scenario.is_toolbar:
        kept: list[Pass] = []
        machine = run_machine(scenario, seed=seed, on_pass=kept.append, **each)
        done, row, spread = kept[0], Row(machine.measured.whole), machine.whole
    else:
        done = simulate(scenario, seed=seed)
        if on_cells:
            on_cells(scenario.passages)
        row = split(measure([done], level=LEVEL_TOTAL))
        spread = spread_about(row.reported, **each)
    return Report(
        done,
        row,
        spread,
        machine,
        moves_of(scenario, seed=seed, units=units, on_cells=on_cells),
        unseen_like(scenario),
        draws,
    )


def possible(scenario: Scenario, units: str = "metric") -> list[Steps]:
    """Single steps up and down of each setting that needs no other part."""
    steps = [{name: by} for name, one in SETTINGS.items() if not one.part for by in (-1, 1)]
    return [one for one in steps if can_move(scenario, one, units)]


def cells_of(scenario: Scenario, draws: int, units: str = "metric") -> int:
    """Cells of all runs of a report."""
    rows = len(scenario.working_rows) if scenario.is_toolbar else 1
    own = scenario.passages * rows + drawn_cells(scenario, False) * draws
    length = min(scenario.passages, MOVED_CELLS)
    many = len(possible(scenario, units)) + 1
    return own + many * (length + MOVED_DRAWS * min(length, DRAWN_CELLS))


def moves_of(
    scenario: Scenario,
    *,
    seed: int = 1,
    units: str = "metric",
    on_cells: Callable[[int], object] | None = None,
) -> tuple[Move, ...]:
    """What each possible step changes, for a meter whose hopper is kept full.

    Parameters
    ----------
    scenario, seed, units, on_cells
        As for `report_on`.  A machine is taken as its middle row.
    """
    steps = possible(scenario, units)
    if not steps:
        return ()
    base = kept_full(scenario, min(scenario.passages, MOVED_CELLS))
    each = [base, *(moved(base, one, units) for one in steps)]
    stretches = stretches_of(*each)
    runs = [
        measure(tallied(one, seed=seed, stretches=stretches, on_cells=on_cells), level=LEVEL_TOTAL)
        for one in each
    ]
    asked = [BY_KEY[key] for key in STEPPED]
    paired = [differences(runs[0], one, asked) for one in runs[1:]]
    _, changes = spreads_about(
        runs, paired, draws=MOVED_DRAWS, cells=base.passages, on_cells=on_cells, split=False
    )
    return tuple(
        Move(one, {key: change.total(key) for key in STEPPED})
        for one, change in zip(steps, changes, strict=True)
    )
