"""Start sheet of a lot: chosen disc, settings, expectations, and the size of a count."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

from metersim.files.faults import bad
from metersim.files.fields import specs
from metersim.files.tables import dataframe
from metersim.files.unknown import Unknown
from metersim.machine.discs import GenericDisc, load_discs
from metersim.machine.given import scenario_toml
from metersim.machine.reading import CHANGES, parse_scenario
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import tallied
from metersim.questions.shared.plants import Stand, stand_of
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.unknowns import DRAWS, spread_about
from metersim.questions.sheet.choice import GUIDE, Fit, Found, Ranking, Unfit, searched
from metersim.questions.sheet.counting import Count, seeds_to_count
from metersim.questions.sheet.discfit import Machine, machine_for
from metersim.questions.sheet.machines import FromStart
from metersim.questions.sheet.moves import Nearby, nearby_of
from metersim.questions.sheet.owndisc import Own, own_disc, own_of
from metersim.questions.sheet.rules import Rule, other_holes, rules_for
from metersim.questions.sheet.scatter import scatter_spread
from metersim.questions.sheet.start import (
    QUALITY,
    SINGLE,
    Gate,
    Plateau,
    leading,
    long,
    measured,
    rough_start,
)
from metersim.run.parallel import check_sent

if TYPE_CHECKING:
    import pandas as pd

VACUUM_LEAST = 500.0  # Pa; least vacuum of a fan for a search
VACUUM_MOST = 6e3  # Pa; assumption: highest vacuum of a fan, by default
FEWEST = 100  # normal spacings in a run, below which there is no sheet
DRAWN_CELLS = 5_000  # cells of the run of a draw
SIZE_UNKNOWN, VACUUM_UNKNOWN = 0.05, 0.10  # assumption: relative error of seed size and vacuum
SHOWS = "Where a start sheet starts, on a machine as stated there: prove it on a bench."


@dataclass(frozen=True, eq=False)
class Sheet:
    """A start sheet, in SI.

    Attributes
    ----------
    scenario : Scenario
        Start settings in the field.
    chosen : Found
        The disc to start with.
    ranking : Ranking
        Discs that can carry the lot, which can be compared.
    unfit : tuple of Unfit
        Discs that cannot carry it.
    gate : Gate
        Tried openings of the gate.
    guide : Estimate, optional
        Gain of quality by an inner guide; None when the user stated the guide.
    field, bench : Measured
        Expected measures of the start settings in the field and on the bench.
    field_spread : Spread
        Uncertainty of measures in the field from machine, seed size, vacuum, and uncertain inputs.
    start : FromStart
        Differences from the start settings in the field.
    count : Count
        Size of a count on the bench.
    vacuum_most : float
        Highest vacuum of the fan. [Pa]
    given : tuple of str
        Fields of the machine that the user stated.
    own : Own, optional
        The user's own disc with its verdict.
    usual : tuple of str
        Parts of the request that were not given and are usual for the crop.

    Notes
    -----
    What the answer does not show is computed when it is asked for first: `fits`, `stand`,
    `nearby`, `rules`, `scatter` and `bench_spread`.
    """

    scenario: Scenario
    chosen: Found
    ranking: Ranking
    unfit: tuple[Unfit, ...]
    gate: Gate
    guide: Estimate | None
    field: Measured
    bench: Measured
    field_spread: Spread
    start: FromStart
    count: Count
    vacuum_most: float
    given: tuple[str, ...]
    own: Own | None = None
    usual: tuple[str, ...] = ()

    def __repr__(self) -> str:
        disc = self.chosen.disc
        holes = f"{disc.cells} holes of {disc.hole_diameter * 1e3:.3g} mm"
        return f"<Sheet for {self.scenario.lot.name}: {holes}; to_dataframe() shows all discs>"

    @cached_property
    def fits(self) -> tuple[Fit, ...]:
        """Discs that can carry the lot: the chosen one, then the others from the best."""
        return self.ranking.fits

    @cached_property
    def bench_spread(self) -> Spread:
        """Uncertainty of measures on the bench, as `field_spread`."""
        return _spread(self.start.uncertain(self.bench.scenario), self.start.seed)

    @property
    def single_on_bench(self) -> Estimate:
        """Share of cells with one seed on the bench, with its total interval. [1]

        Notes
        -----
        Derived: that in the field, and the difference of the two own runs.  Machine and inputs are
        the same, and a shaking row unit alone moves cells.  The ends differ from those of
        `bench_spread` by up to 0.1 percentage points at usual shaking; with four times the shaking
        at 9 km/h, by an eighth of the interval.
        """
        by = _by_bench(self.field, self.bench)
        total = self.field_spread.total(SINGLE)
        return Estimate(*(min(one + by, 1.0) for one in (total.value, total.low, total.high)))

    @cached_property
    def stand(self) -> Stand:
        """Plants in the field."""
        return stand_of(self.start.uncertain(self.scenario), seed=self.start.seed, draws=DRAWS)

    @cached_property
    def nearby(self) -> tuple[Nearby, ...]:
        """Costs of single changes, the greatest first."""
        return nearby_of(self.start)

    @cached_property
    def rules(self) -> tuple[Rule, ...]:
        """Rules of the trade with their verdicts."""
        others, how = other_holes(self.scenario), (self.vacuum_most, self.start.seed)
        holes = {
            name: rough_start((one, *how, self.ranking.units)).scenario
            for name, one in others.items()
        }
        return rules_for(self.start, self.gate, holes)

    @cached_property
    def scatter(self) -> Mapping[str, Estimate]:
        """Scatter of seeds along the row on the ``bench`` and in the ``field``. [m]

        It has its total interval, and is empty where seeds do not lie close.
        """
        if self.leading != SINGLE:
            return {}
        places = {"bench": self.bench.scenario, "field": self.scenario}
        return {
            name: scatter_spread(self.start.uncertain(one), seed=self.start.seed, draws=DRAWS)
            for name, one in places.items()
        }

    @property
    def leading(self) -> str:
        """Key of the measure that decides: quality of feed, or singulation for close seeds."""
        return leading(self.scenario)

    @property
    def plateau(self) -> Plateau:
        """Vacuums with the leading measure within half a percentage point of the best. [Pa]"""
        return self.chosen.start.plateau

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a disc that was run, in SI (extra ``notebook``).

        It holds start point and leading measure; ``lead`` is its difference from the chosen disc.
        """
        rows = [
            {
                "cells": one.disc.cells,
                "hole_diameter": one.disc.hole_diameter,
                "vacuum": one.start.scenario.vacuum.vacuum,
                "notch": one.start.scenario.singulator.notch,
                **vars(one.reach[one.leading]),
                "lead": one.lead[one.leading].value,
                "lead_low": one.lead[one.leading].low,
                "lead_high": one.lead[one.leading].high,
                "objections": ", ".join(against.kind for against in one.objections),
            }
            for one in self.fits
        ]
        return dataframe(rows)


def sheet(
    lot: str,
    changes: str | Sequence[str],
    *,
    discs: Sequence[GenericDisc] | None = None,
    own: tuple[int, float] | None = None,
    vacuum_most: float = VACUUM_MOST,
    seed: int = 1,
    units: str = "metric",
    changed_by: str = CHANGES,
    stations: OwnGiven | None = None,
    executor: Executor | None = None,
    on_disc: Callable[[int], object] = lambda done: None,
) -> Sheet:
    """Choose a disc and a start point for a lot, with their expected results.

    Parameters
    ----------
    lot : str
        Name of a shipped lot, or path of a lot file.
    changes : str or sequence of str
        Request and known values of the machine, as ``key=value``.  The request is
        ``rate_per_ha=80000``, ``row_spacing_cm=75`` and ``speed_kmh=6``, or other units of these.
    discs : sequence of GenericDisc, optional
        Discs in place of the shipped ones; `metersim.machine.discs.load_discs` reads a file.
    own : tuple, optional
        Holes of your own disc, and their diameter [m].  The sheet is for it if it can carry the
        lot, and says whether it suits.
    vacuum_most : float
        Highest vacuum of the fan at the hole. [Pa]
    seed : int
        Random seed.
    units : {'metric', 'us'}
        Family of units of the round start vacuum and gate.
    changed_by : str
        Name of the source of changes in faults.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.  Stations whose
        settings the sheet chooses, such as the singulator, need classes or functions.
    executor : Executor, optional
        Executor of the rough search, with one job a disc.
    on_disc : callable, optional
        Function that takes the number of finished discs.

    Returns
    -------
    Sheet
        Content of the sheet.

    Raises
    ------
    BadInput
        With every fault found, and when no disc can carry the lot.

    Examples
    --------
    >>> import metersim as m
    >>> asked = ["rate_per_ha=110000", "row_spacing_cm=50", "speed_kmh=6"]
    >>> beet = [disc for disc in m.load_discs() if "beet" in disc.meant_for]
    >>> found = m.sheet("sugar_beet", asked, discs=beet, seed=3)
    >>> found
    <Sheet for sugar_beet: 60 holes of 2.2 mm; to_dataframe() shows all discs>
    >>> found.chosen.disc.suits("sugar beet"), found.chosen.objections
    (True, ())
    """
    machine = machine_for(lot, changes, changed_by)
    machine = replace(machine, scenario=fitted(machine.scenario, stations))
    check_sent(machine.scenario, executor)
    every = tuple(discs or load_discs())
    mine = own_disc(*own, machine.scenario.seeds.width) if own else None
    if mine is not None:
        every = (mine, *(one for one in every if not _is_same(one, mine)))
    fitted_discs, unfit = searched(machine, every)
    uncertain = partial(_uncertain, machine=machine)
    ranking = Ranking(
        fitted_discs,
        uncertain,
        vacuum_most,
        seed,
        units,
        own=mine,
        executor=executor,
        on_disc=lambda left: on_disc(len(every) - left),
    )
    chosen = ranking.chosen
    scenario = _as_written(chosen.start.scenario)
    start, guide = _guided(scenario, GUIDE in machine.given, uncertain, seed)
    scenario = start.scenario
    pulses = "pulses" if scenario.observed == "pulses" else None
    on_bench = scenario.replace(furrow__surface="bench", furrow__observed=pulses)
    bench = measured(on_bench, seed=seed)
    spread = _spread(uncertain(scenario), seed)
    return Sheet(
        scenario=scenario,
        chosen=chosen,
        ranking=ranking,
        unfit=unfit,
        gate=ranking.gate,
        guide=guide,
        field=start.start,
        bench=bench,
        field_spread=spread,
        start=start,
        count=seeds_to_count(bench, _faulty_at_most(spread, _by_bench(start.start, bench))),
        vacuum_most=vacuum_most,
        given=scenario.changes,
        own=None if mine is None else own_of(mine, scenario, ranking.fits, unfit),
    )


def _is_same(one: GenericDisc, other: GenericDisc) -> bool:
    """Whether two discs have the same holes."""
    alike = math.isclose(one.hole_diameter, other.hole_diameter, rel_tol=1e-2)
    return one.cells == other.cells and alike


def _guided(
    scenario: Scenario, given: bool, uncertain: Callable[[Scenario], Scenario], seed: int
) -> tuple[FromStart, Estimate | None]:
    """Start with an inner guide if its gain is detected, unless the user stated the guide.

    Raises
    ------
    BadInput
        When too little is sown to measure anything.
    """
    without = scenario if given else scenario.replace(guide__inner_guide=False)
    start = FromStart(measured(without, seed=seed), uncertain, seed)
    if start.start.total("class2") < FEWEST:
        message = "no disc sows enough to tell: ask less of it (rate, speed), or give more vacuum"
        raise bad("sheet", scenario.lot.name, message)
    if given:
        return start, None
    fitted = scenario.replace(guide__inner_guide=True)
    gain = start.differences(fitted)[QUALITY]
    return (start.moved(fitted) if gain.low > 0 else start), gain


def _as_written(scenario: Scenario) -> Scenario:
    """Scenario as its written file is read back, so that the file gives the same numbers."""
    titled = replace(scenario, title=f"Start setup: {scenario.lot.title}", shows=SHOWS)
    lasting = long(titled)
    table = tomllib.loads(scenario_toml(lasting))
    made = parse_scenario(table, Path(), Path(f"{scenario.name}.toml"))
    return replace(
        made, changes=scenario.changes, own=scenario.own, coefficients=scenario.coefficients
    )


def _spread(scenario: Scenario, seed: int) -> Spread:
    """Uncertainty of a result from machine, seed size, vacuum, and inputs given as ranges."""
    middle = measure(tallied(scenario.lasting(DRAWN_CELLS), seed=seed), level=LEVEL_TOTAL)
    return spread_about(middle, draws=DRAWS)


def _uncertain(scenario: Scenario, machine: Machine) -> Scenario:
    """Scenario with seed size, vacuum, and the user's ranges as uncertain inputs."""
    return replace(scenario, unknown=_unknown(scenario, machine))


def _by_bench(field: Measured, bench: Measured) -> float:
    """Share of cells with one seed on the bench less that in the field. [1]"""
    return float(bench.points[SINGLE][0] - field.points[SINGLE][0])


def _faulty_at_most(spread: Spread, by: float) -> float:
    """Skips and doubles for the worst uncertain inputs; 0 where no effect is detected. [1]

    `by` is added to the singles of the spread.
    """
    return 1 - spread.inputs(SINGLE).low - by if spread.is_detected(SINGLE) else 0.0


def _unknown(scenario: Scenario, machine: Machine) -> tuple[Unknown, ...]:
    """Uncertain inputs of the user, with seed size and vacuum, which are always uncertain."""
    about = {("vacuum", "vacuum_kpa"): (scenario.vacuum.vacuum / 1e3, VACUUM_UNKNOWN)}
    if "seed.size_factor" not in machine.given:
        about["seed", "size_factor"] = (scenario.seed.size_factor, SIZE_UNKNOWN)
    found = list(scenario.unknown)
    for (section, key), (middle, part) in about.items():
        spec = specs(SECTIONS[section])[key.removesuffix("_kpa")]
        unit = spec.keys[key]
        most = unit.from_si(spec.high) if unit else spec.high
        ends = tuple(float(f"{min(middle * (1 + sign * part), most):.6g}") for sign in (-1, 1))
        found.append(Unknown(section, key, spec, "uniform", ends))
    return tuple(found)
