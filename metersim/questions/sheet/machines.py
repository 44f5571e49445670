"""Levels and differences on the same machines, with total intervals.

Each draw has one machine, one error of seed size and vacuum, and one set of random numbers for all
scenarios.  So a difference is known better than the levels.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.measures.estimates import Measured, differences, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import tallied
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import spreads_about
from metersim.questions.sheet.start import COMPARED, measured

DISC_DRAWS, DISC_CELLS = 16, 2_000  # machines that all discs share, and cells of each run
MOVE_DRAWS, MOVE_CELLS = 12, 1_000  # the same for single changes about the start point
NONE = Estimate(0.0, 0.0, 0.0)


class SharedMachines:
    """Scenarios on the same machines: each draw of machine and inputs runs each of them once.

    Parameters
    ----------
    draws : int
        Number of draws.
    cells : int
        Cells of the run of a draw.
    """

    def __init__(self, draws: int, cells: int) -> None:
        self._draws, self._cells = draws, cells
        self._seen: dict[Hashable, Measured] = {}

    def between(
        self, first: Measured, rest: Sequence[Measured]
    ) -> tuple[tuple[Spread, ...], tuple[Spread, ...]]:
        """Levels of all scenarios, and differences of `rest` from the first.

        Parameters
        ----------
        first : Measured
            Measures of a scenario with its uncertain inputs, at the middle of these.
        rest : sequence of Measured
            The same of other scenarios, with common random numbers.
        """
        runs = [_compared(one) for one in (first, *rest)]
        return spreads_about(
            runs,
            [differences(runs[0], one, one.measures) for one in runs[1:]],
            draws=self._draws,
            cells=self._cells,
            watch=self._run,
            split=False,
        )

    def against(
        self, runs: Sequence[Measured], k: int
    ) -> list[tuple[dict[str, Estimate], dict[str, Estimate]]]:
        """Measures of each scenario, and their differences from number k, with total intervals."""
        levels, apart = self.between(runs[k], [one for n, one in enumerate(runs) if n != k])
        reached = [{key: one.total(key) for key in COMPARED} for one in levels]
        led = [dict.fromkeys(COMPARED, NONE)]
        led += [{key: one.total(key) for key in COMPARED} for one in apart]
        found = list(zip(reached, led, strict=True))
        return [*found[1 : k + 1], found[0], *found[k + 1 :]]

    def _run(self, scenario: Scenario, **draws_of_run: Any) -> Measured:
        """Measures of a drawn scenario; each is run once, whatever it is compared with."""
        about = (_settings(scenario), draws_of_run["replicate"], draws_of_run["stretches"])
        if about not in self._seen:
            self._seen[about] = _compared(measure(tallied(scenario, **draws_of_run)))
        return self._seen[about]


def _compared(one: Measured) -> Measured:
    kept = tuple(BY_KEY[key] for key in COMPARED)
    return replace(one, level=LEVEL_TOTAL, measures=kept)


def _settings(scenario: Scenario) -> Hashable:
    return tuple(getattr(scenario, name) for name in SECTIONS)


@dataclass(frozen=True, eq=False)
class FromStart:
    """Differences from a start point with total intervals, and the runs behind them.

    Attributes
    ----------
    start : Measured
        Measures of the start point.
    uncertain : callable
        Function that gives a scenario with its uncertain inputs.
    seed : int
        Random seed.
    """

    start: Measured
    uncertain: Callable[[Scenario], Scenario]
    seed: int
    _machines: SharedMachines = field(
        default_factory=lambda: SharedMachines(MOVE_DRAWS, MOVE_CELLS), repr=False
    )
    _runs: dict[Hashable, Measured] = field(default_factory=dict, repr=False)

    @property
    def scenario(self) -> Scenario:
        """Settings of the start point."""
        return self.start.scenario

    def run(self, scenario: Scenario) -> Measured:
        """Measures of a scenario with the random numbers of the start point."""
        about = _settings(scenario)
        if about not in self._runs:
            self._runs[about] = measured(scenario, seed=self.seed)
        return self._runs[about]

    def moved(self, scenario: Scenario) -> FromStart:
        """The same from another start point, with the runs that there are already."""
        return replace(self, start=self.run(scenario))

    def spread(self, scenario: Scenario) -> Spread:
        """Total uncertainty of the differences of a scenario from the start point, with parts."""
        first, other = (self._about(one) for one in (self.start, self.run(scenario)))
        return self._machines.between(first, [other])[1][0]

    def differences(self, scenario: Scenario) -> Mapping[str, Estimate]:
        """Differences of a scenario from the start point, for all of `COMPARED`."""
        found = self.spread(scenario)
        return {key: found.total(key) for key in COMPARED}

    def _about(self, one: Measured) -> Measured:
        """The same measures, of a scenario that knows its uncertain inputs."""
        about = self.uncertain(one.scenario)
        tallies = (
            replace(part, origin=replace(part.origin, scenario=about)) for part in one.tallies
        )
        return replace(one, tallies=tuple(tallies))
