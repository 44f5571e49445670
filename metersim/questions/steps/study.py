"""Effects of single steps of each setting, and the counts that detect them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

from metersim.files.faults import Keyed
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import differences
from metersim.measures.intervals import Estimate
from metersim.measures.tally import stretches_of
from metersim.questions.shared.answer import MOST_ROWS
from metersim.questions.shared.counts import (
    CERTAINTY,
    MOST_PRACTICAL,
    POWER,
    cells_to_detect,
    deviations,
)
from metersim.questions.shared.looks import kept_full
from metersim.questions.shared.settings import SETTINGS, Steps, can_move, moved
from metersim.questions.shared.spread import change_between, gather
from metersim.questions.steps.step import CHANGES, DRAWN_CELLS, Job, Step, points_of, run_step
from metersim.questions.steps.together import Pair, pair_of
from metersim.run.parallel import check_sent, in_order
from metersim.run.records import Origin

if TYPE_CHECKING:
    import pandas as pd

CELLS = 20_000  # least cells of the run of each step
SEEDS = 300  # of a count
DRAWS = 16  # of machine and uncertain inputs for each step
COUNTS = (-2, -1, 1, 2)


class Visible(NamedTuple):
    """Seeds in each of two counts from which a change is detected.

    Attributes
    ----------
    seeds : float
        Seeds of each count; infinite when no count detects the change.
    kind : str
        Kind of cell that detects it with fewest seeds; empty when none does.
    """

    seeds: float
    kind: str


@dataclass(frozen=True)
class SingleSteps:
    """Single steps of each setting around the present one, with common random numbers.

    Attributes
    ----------
    base : Step
        Present meter.
    steps : tuple of Step
        Possible steps that change the meter, by setting, from the least to the greatest; for an
        answer alone, those up or down by one, of which those listed have draws.
    paired : tuple of mappings
        Differences of the run of each step from that of the present meter, as `paired_of`.
    pairs : tuple of Pair
        Pairs of single steps of settings that need no other part.
    seeds : int
        Seeds of a count, for its sampling error.
    units : str
        Family of units of the steps: ``metric`` or ``us``.
    is_refilled : bool
        Whether the hopper of the scenario would run empty in its own run; here it is kept full.
    """

    base: Step
    steps: tuple[Step, ...]
    paired: tuple[Mapping[str, Estimate], ...]
    pairs: tuple[Pair, ...]
    seeds: int
    units: str
    is_refilled: bool = False

    def __repr__(self) -> str:
        many = f"{len(self.steps)} steps, {len(self.pairs)} pairs"
        return f"<SingleSteps of {self.origin.scenario.name}: {many}; to_dataframe() shows them>"

    @property
    def origin(self) -> Origin:
        """Origin of the run of the present meter."""
        return self.base.measured.origin

    @cached_property
    def differences(self) -> tuple[Mapping[str, Estimate], ...]:
        """Differences of each step from the present meter, with their total uncertainty.

        All steps share the machine, for each of `CHANGES`.
        """
        return tuple(map(self.difference, range(len(self.steps))))

    def difference(self, number: int) -> Mapping[str, Estimate]:
        """Differences of the step of a number from the present meter, as `differences`."""
        step, paired = self.steps[number], self.paired[number]
        rows = zip(self.base.points, step.points, strict=True)
        drawn = gather({key: b[key] - a[key] for key in b} for a, b in rows)
        estimates = {part.key: paired[key] for key, part in step.reported.items()}
        spread = change_between(self.base.level, step.level, estimates, drawn)
        return Keyed({key: spread.total(part.key) for key, part in step.reported.items()})

    @cached_property
    def visible(self) -> tuple[Visible, ...]:
        """Seeds from which each step is detected, by the kind of cell that needs fewest.

        A change that the long runs do not detect is never visible in counts.  What a count detects
        depends on its sampling error; the machine is the same before and after.
        """
        found = []
        for step, changes in zip(self.steps, self.paired, strict=True):
            best = Visible(math.inf, "")
            for kind, share in step.shares.items():
                if changes[kind].low <= 0 <= changes[kind].high:
                    continue
                cells = cells_to_detect(self.base.shares[kind], share, CERTAINTY, POWER)
                best = min(best, Visible(cells * self.base.seeds_per_cell, kind))
            found.append(best)
        return tuple(found)

    @cached_property
    def singly(self) -> tuple[int, ...]:
        """Numbers of the steps up or down by one, from that which needs the fewest seeds."""
        by_one = (k for k, step in enumerate(self.steps) if abs(step.step) == 1)
        return tuple(sorted(by_one, key=lambda k: self.visible[k].seeds))

    @property
    def listed(self) -> tuple[int, ...]:
        """Numbers of the steps that an answer lists: practical counts detect them."""
        practical = (k for k in self.singly if self.visible[k].seeds <= MOST_PRACTICAL)
        return tuple(practical)[: MOST_ROWS - 1]

    @property
    def cells(self) -> float:
        """Cells in a count of `seeds` of the present meter."""
        return self.seeds / self.base.seeds_per_cell

    def band(self, kind: str) -> float:
        """Difference that 95 % of pairs of counts keep within by sampling error alone. [1]"""
        return deviations(CERTAINTY) * self.base.noise(self.base, kind, self.cells)

    def seeds_to_distinguish(self, pair: Pair) -> float:
        """Seeds in each of two counts that distinguish the effects of two steps."""
        return pair.cells_to_distinguish() * self.base.seeds_per_cell

    def to_dataframe(self, table: str = "steps") -> pd.DataFrame:
        """A table for pandas with one row a step or a pair of steps, in SI (extra ``notebook``).

        Parameters
        ----------
        table : {'steps', 'pairs'}
            Name of the table.

        Raises
        ------
        ValueError
            For an unknown table.
        """
        if table not in ("steps", "pairs"):
            raise ValueError(f"table is {table!r}; allowed: steps, pairs")
        return dataframe(self.rows(table))

    def rows(self, table: str = "steps") -> list[dict[str, Any]]:
        """Rows of a table of `to_dataframe`, in SI."""
        return [*(self._steps() if table == "steps" else self._pairs())]

    def _steps(self) -> Iterator[dict[str, Any]]:
        nothing = dict.fromkeys(CHANGES, Estimate(0.0, 0.0, 0.0))
        each = zip(
            (self.base, *self.steps),
            (nothing, *self.differences),
            (Visible(math.inf, ""), *self.visible),
            strict=True,
        )
        for step, changes, visible in each:
            row: dict[str, Any] = {"setting": step.setting, "step": step.step, "value": math.nan}
            if step.setting:
                row["value"] = SETTINGS[step.setting].of(step.measured.scenario)
            for key, estimate in step.estimates.items():
                row |= {key: estimate.value, f"{key}_low": estimate.low}
                row |= {f"{key}_high": estimate.high, f"{key}_change": changes[key].value}
                row |= {f"{key}_change_low": changes[key].low}
                row |= {f"{key}_change_high": changes[key].high}
            for kind, share in step.shares.items():
                row[f"{kind}_effect"] = share.effect
                row[f"{kind}_noise"] = step.noise(self.base, kind, self.cells)
            yield row | {"visible_seeds": visible.seeds, "visible_by": visible.kind}

    def _pairs(self) -> Iterator[dict[str, Any]]:
        for pair in self.pairs:
            (first, one), (second, other) = (*pair.first.items(), *pair.second.items())
            row: dict[str, Any] = {"first": first, "first_step": one}
            row |= {"second": second, "second_step": other, "way": pair.way}
            for kind, found in pair.interaction.items():
                row |= {f"{kind}_beyond": found.value, f"{kind}_beyond_low": found.low}
                row[f"{kind}_beyond_high"] = found.high
            row["distance"] = pair.distance(self.cells)
            yield row | {
                "adds_up": pair.adds_up,
                "seeds_to_distinguish": self.seeds_to_distinguish(pair),
            }


def paired_of(base: Step, step: Step) -> Mapping[str, Estimate]:
    """Differences of the run of a step from that of the present meter, with sampling error."""
    found = differences(base.measured, step.measured, step.reported.values())
    return Keyed({key: found[part.key] for key, part in step.reported.items()})


def steps(
    scenario: AnyScenario,
    *,
    seeds: int = SEEDS,
    units: str = "metric",
    seed: int = 1,
    cells: int = CELLS,
    draws: int = DRAWS,
    whole: bool = True,
    stations: OwnGiven | None = None,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> SingleSteps:
    """Simulate single steps of each setting, two up and two down, and pairs of steps.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Present meter: scenario, name or file.
    seeds : int
        Seeds of a count, 1 or more, for its sampling error.
    units : {'metric', 'us'}
        Family of units of the steps: 0.5 kPa of vacuum, or 2 inches of water.
    seed : int
        Random seed, common to all steps.
    cells : int
        Approximate cells of the run of each step; the hopper is kept filled.
    draws : int
        Number of draws of machine and uncertain inputs, 2 or more, for the total uncertainty.
    whole : bool
        Whether to run all that `to_dataframe` gives.  An answer takes a tenth of the time: skips
        and doubles of steps up or down by one, with the draws of those that it lists, and no pair
        of steps together.  What it has is as in the whole.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.
    on_run : callable, optional
        Function that takes the number of finished runs.

    Returns
    -------
    SingleSteps
        Steps and pairs of steps.

    Raises
    ------
    ValueError
        When `seeds` or `cells` is below 1, or units are unknown.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.steps("maize_bench", cells=2_000, draws=6, seed=3)
    >>> table = found.to_dataframe().set_index(["setting", "step"])
    >>> notch = table.loc[("notch", 1)]
    >>> bool(notch.doubles_change < 0 < notch.skips_change)
    True
    """
    if min(seeds, cells) < 1:
        raise ValueError(f"seeds is {seeds}, cells {cells}; allowed: 1 or more")
    if units not in ("metric", "us"):
        raise ValueError(f"units is {units!r}; allowed: 'metric', 'us'")
    scenario = fitted(scenario, stations)
    check_sent(scenario, executor)
    longest = kept_full(scenario, cells)
    singles, doubles = single_steps(longest, units, whole), paired_steps(longest, units)
    wanted: list[Steps] = [{}, *singles]
    if whole:
        wanted += [{**first, **second} for first, second in doubles]
    meters = [kept_full(moved(longest, move, units), cells) for move in wanted]
    # common to all, as stretches are paired
    stretches = stretches_of(*meters), stretches_of(*meters, cells=min(DRAWN_CELLS, cells))
    jobs = [
        Job(meter, move, seed, whole * draws * (len(move) < 2), *stretches, whole)
        for meter, move in zip(meters, wanted, strict=True)
    ]
    made: list[Step] = []
    for step in in_order(run_step, jobs, executor):
        made.append(step)
        if on_run:
            on_run(len(made))
    base, singly, both = made[0], made[1 : len(singles) + 1], made[len(singles) + 1 :]
    present = base.by_stretch()
    alone = {(step.setting, step.step): step for step in singly}
    # all pairs together have the usual certainty
    level = 1 - (1 - CERTAINTY) / max(2 * len(doubles), 1)
    pairs = []
    for (first, second), step in itertools.zip_longest(doubles, both):
        parts = [alone[next(iter(move.items()))] for move in (first, second)]
        one, other = (part.by_stretch() - present for part in parts)
        changes = (one, other, step.by_stretch() - present if step else None)
        shares = (base.shares, *(part.shares for part in parts))
        pairs.append(pair_of((first, second), changes, shares, level))
    used = base.seeds_per_cell * scenario.passages * scenario.seeds.seed_mass
    refilled = used > scenario.pool.hopper - scenario.pool_fill
    paired = tuple(paired_of(base, step) for step in singly)
    found = SingleSteps(base, tuple(singly), paired, tuple(pairs), seeds, units, refilled)
    if whole:
        return found
    drawn = [0, *(k + 1 for k in found.listed)]
    wanted_draws = (jobs[k]._replace(draws=draws) for k in drawn)
    found_draws = in_order(points_of, wanted_draws, executor)
    for done, (k, points) in enumerate(zip(drawn, found_draws, strict=True), len(jobs) + 1):
        made[k] = replace(made[k], points=points)
        if on_run:
            on_run(done)
    return replace(found, base=made[0], steps=tuple(made[1:]))


def runs_of(scenario: Scenario, units: str = "metric", whole: bool = True) -> int:
    """Number of runs that all steps and pairs take, or at most those of an answer, with draws."""
    singles = len(single_steps(scenario, units, whole))
    return 1 + singles + (len(paired_steps(scenario, units)) if whole else min(singles, MOST_ROWS))


def single_steps(scenario: Scenario, units: str, twice: bool = True) -> list[Steps]:
    """All steps that are possible and change the meter: by one, and `twice` by two as well."""
    wanted = ({name: count} for name in SETTINGS for count in _counts(name, twice))
    return [move for move in wanted if can_move(scenario, move, units)]


def paired_steps(scenario: Scenario, units: str) -> list[tuple[Steps, Steps]]:
    """Pairs of single steps of two settings that need no other part.

    The first setting moves up, the second both ways.  A setting that can move only one way moves
    that way.
    """
    names = [name for name, setting in SETTINGS.items() if not setting.part]
    ways = {
        name: [count for count in (1, -1) if can_move(scenario, {name: count}, units)]
        for name in names
    }
    found: list[tuple[Steps, Steps]] = [
        ({one: ways[one][0]}, {other: count})
        for one, other in itertools.combinations(names, 2)
        if ways[one]
        for count in ways[other]
    ]
    return [(a, b) for a, b in found if can_move(scenario, {**a, **b}, units)]


def _counts(name: str, twice: bool) -> tuple[int, ...]:
    return COUNTS if twice and SETTINGS[name].spec.kind != "switch" else (-1, 1)
