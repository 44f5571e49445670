"""How many seeds to count, so that a rise of skips and doubles is seen."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from scipy.special import bdtrik, ndtri

from metersim.files.fields import specs
from metersim.files.tables import dataframe
from metersim.files.unknown import Unknown
from metersim.machine.discs import GenericDisc, load_discs
from metersim.machine.reading import parse_scenario
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.writing import scenario_toml
from metersim.measures.estimates import Measured, difference, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.tally import tallied
from metersim.questions.shared.counts import effect_by_blocks
from metersim.questions.shared.plants import Stand, stand_of
from metersim.questions.shared.unknowns import Spread, spread_about
from metersim.questions.sheet.choice import (
    GUIDE,
    Fit,
    Rule,
    Unfit,
    other_holes,
    ranked,
    rules_for,
    searched,
)
from metersim.questions.sheet.discfit import Machine, machine_for
from metersim.questions.sheet.start import (
    QUALITY,
    Gate,
    Nearby,
    Plateau,
    long,
    measured,
    nearby_of,
    start_point,
)
from metersim.run.parallel import in_order

if TYPE_CHECKING:
    import pandas as pd

RISE = 1.5  # times as many skips and doubles
CHANCE, POWER = 0.05, 0.8  # of a false alarm, and of seeing the rise; common practice, no source
COUNTED = 1000  # cells of a usual count


@dataclass(frozen=True)
class Count:
    """Seeds to count.

    Attributes
    ----------
    share : float
        Cells that release none or more than one, as expected. [1]
    effect : float
        Design effect: how many times more cells than independent ones, 1 or more. [1]
    seeds : int
        Seeds to count; 0 where there is nothing that could rise.
    usual, by_luck : float, int
        Such cells expected among `COUNTED`, and the most that luck makes 19 times out of 20.
    unsure : int
        The most that luck makes where seed and vacuum are off as far as they may be.
    """

    share: float
    effect: float
    seeds: int
    usual: float
    by_luck: int
    unsure: int


def seeds_to_count(measured: Measured, most: float = 0.0) -> Count:
    """Seeds after which skips and doubles of half as many again are told from those expected.

    Parameters
    ----------
    measured : Measured
        What is expected.
    most : float
        Share of such cells where what is not known is at its worst, if that is more. [1]

    Notes
    -----
    A one-sided test of a share against a known one, in normal approximation, times the design
    effect: the variance of the share over stretches of the run, over that of independent cells.
    """
    cells = measured.sums["cells"]
    odd = cells - measured.sums["one"]
    share = float(odd.sum() / cells.sum())
    if not 0 < share < 1 / RISE:
        some = round(COUNTED * share)
        return Count(share, 1.0, 0, COUNTED * share, some, some)
    effect = max(effect_by_blocks(odd, cells), 1.0)
    more = RISE * share
    deviates = (ndtri(1 - CHANCE), ndtri(POWER))
    spreads = (math.sqrt(share * (1 - share)), math.sqrt(more * (1 - more)))
    wide = sum(float(z) * spread for z, spread in zip(deviates, spreads, strict=True))
    a_cell = measured.total("seeds") / measured.total("cells")
    seeds = math.ceil(effect * (wide / (more - share)) ** 2 * a_cell)
    by_luck, unsure = (_most(one, effect) for one in (share, max(share, most)))
    return Count(share, effect, seeds, COUNTED * share, by_luck, unsure)


def _most(share: float, effect: float) -> int:
    """The most cells among `COUNTED` that luck makes 19 times out of 20."""
    return math.ceil(float(bdtrik(1 - CHANCE, COUNTED / effect, share)) * effect)


VACUUM_LEAST = 500.0  # Pa, that a fan must give for a search
VACUUM_MOST = 6e3  # Pa; assumption: what a fan gives, if nothing is said
DRAWN_CELLS = 8_000  # of a draw of what is not known
DRAWS = 40  # of what is not known; 39 are the fewest that show 95 %
SIZE_UNKNOWN, VACUUM_UNKNOWN = 0.05, 0.10  # assumption: shares by which they may be off
SHOWS = "Where a start sheet starts, on a machine as stated there: prove it on a bench."


@dataclass(frozen=True, eq=False)
class Sheet:
    """A start sheet, in SI.

    Attributes
    ----------
    scenario : Scenario
        The start setup in the field.
    fits : tuple of Fit
        Discs that can carry the lot: the chosen one, then the others from the best.
    unfit : tuple of Unfit
        Discs that cannot.
    gate : Gate
        Openings of the gate that were tried.
    guide : Estimate, optional
        Quality with an inner guide less that without, paired; None when the user stated it.
    field, bench : Measured
        What to expect of the start setup.
    field_spread, bench_spread : Spread
        The same with seed size and vacuum not quite known.
    stand : Stand
        What comes up in the field.
    nearby : tuple of Nearby
        What goes wrong when one thing moves, the costliest first.
    rules : tuple of Rule
        What the trade says.
    count : Count
        Seeds to count on the bench.
    vacuum_most : float
        What the fan gives. [Pa]
    given : tuple of str
        What the user stated of the machine.
    """

    scenario: Scenario
    fits: tuple[Fit, ...]
    unfit: tuple[Unfit, ...]
    gate: Gate
    guide: Estimate | None
    field: Measured
    bench: Measured
    field_spread: Spread
    bench_spread: Spread
    stand: Stand
    nearby: tuple[Nearby, ...]
    rules: tuple[Rule, ...]
    count: Count
    vacuum_most: float
    given: tuple[str, ...]

    def __repr__(self) -> str:
        disc = self.chosen.disc
        holes = f"{disc.cells} holes of {disc.hole_diameter * 1e3:.3g} mm"
        return f"<Sheet for {self.scenario.lot.name}: {holes}; to_dataframe() shows all discs>"

    @property
    def chosen(self) -> Fit:
        """The disc to start with."""
        return self.fits[0]

    @property
    def plateau(self) -> Plateau:
        """Vacuums within half a point of the best at the start notch. [Pa]"""
        return self.chosen.start.plateau

    def to_dataframe(self) -> pd.DataFrame:
        """One row a disc that was run, in SI, for pandas (extra ``notebook``).

        Its start point and quality; ``lead`` is its quality less that of the chosen disc, paired.
        """
        rows = [
            {
                "cells": one.disc.cells,
                "hole_diameter": one.disc.hole_diameter,
                "vacuum": one.start.scenario.vacuum.vacuum,
                "notch": one.start.scenario.singulator.notch,
                **vars(one.measured[QUALITY]),
                "lead": one.lead[QUALITY].value,
                "lead_low": one.lead[QUALITY].low,
                "lead_high": one.lead[QUALITY].high,
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
    vacuum_most: float = VACUUM_MOST,
    seed: int = 1,
    units: str = "metric",
    changed_by: str = "--set",
    executor: Executor | None = None,
    on_disc: Callable[[int], object] = lambda done: None,
) -> Sheet:
    """Choose a disc and a start point for a lot, and say what to expect of them.

    Parameters
    ----------
    lot : str
        Name of a shipped lot, or path of a lot file.
    changes : str or sequence of str
        What is asked, ``rate_per_ha=80000``, ``row_spacing_cm=75`` and ``speed_kmh=6`` or the
        same in other units, and what is known of the machine, as ``key=value``.
    discs : sequence of GenericDisc, optional
        In place of those that are shipped; `metersim.machine.discs.load_discs` reads some from a
        file.
    vacuum_most : float
        What the fan gives at the hole. [Pa]
    seed : int
        Chooses the luck.
    units : {'metric', 'us'}
        Of which start vacuum and gate are round numbers.
    changed_by : str
        What faults of changes are said to come from.
    executor : Executor, optional
        Where to search, a disc a job.
    on_disc : callable, optional
        Told how many discs are done.

    Returns
    -------
    Sheet
        All that the sheet says.

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
    >>> f"{found.field['per_spacing.quality'].value:.0%} of spacings are normal in the field"
    '98% of spacings are normal in the field'
    """
    machine = machine_for(lot, changes, changed_by)
    search = partial(searched, machine, discs or load_discs(), executor, on_disc)
    found, unfit = search(vacuum_most, seed, units)
    fits, gate = ranked(found, seed, units)
    scenario, guide = _guided(fits[0].start.scenario, GUIDE in machine.given, seed)
    scenario = _as_written(scenario)
    on_bench = scenario.replace(furrow__surface="bench")
    run = partial(measured, seed=seed)
    field, bench = run(scenario), run(on_bench)
    spreads = [_spread(one, machine, seed) for one in (scenario, on_bench)]
    others = other_holes(scenario)
    jobs = ((one, vacuum_most, seed, units) for one in others.values())
    starts = in_order(start_point, jobs, executor)
    holes = {name: one.scenario for name, one in zip(others, starts, strict=True)}
    return Sheet(
        scenario=scenario,
        fits=fits,
        unfit=unfit,
        gate=gate,
        guide=guide,
        field=field,
        bench=bench,
        field_spread=spreads[0],
        bench_spread=spreads[1],
        stand=stand_of(replace(scenario, unknown=()), seed=seed),
        nearby=nearby_of(field, run),
        rules=rules_for(field, run, gate, holes),
        count=seeds_to_count(bench, _odd_at_most(spreads[1])),
        vacuum_most=vacuum_most,
        given=scenario.changes,
    )


def _guided(scenario: Scenario, given: bool, seed: int) -> tuple[Scenario, Estimate | None]:
    """With an inner guide when that is told to be better, unless the user has stated it."""
    if given:
        return scenario, None
    without, fitted = (scenario.replace(guide__inner_guide=one) for one in (False, True))
    a, b = (measured(one, seed=seed) for one in (without, fitted))
    gain = difference(a, b, BY_KEY[QUALITY])
    return (fitted if gain.low > 0 else without), gain


def _as_written(scenario: Scenario) -> Scenario:
    """As a file would give it back, so that what is written gives the same numbers."""
    titled = replace(scenario, title=f"Start setup: {scenario.lot.title}", shows=SHOWS)
    lasting = long(titled)
    table = tomllib.loads(scenario_toml(lasting))
    made = parse_scenario(table, Path(), Path(f"{scenario.name}.toml"))
    return replace(made, changes=scenario.changes)


def _spread(scenario: Scenario, machine: Machine, seed: int) -> Spread:
    """What not knowing seed size, vacuum, and what the user gives as ranges does to a result."""
    unknown = _unknown(scenario, machine)
    vague = replace(scenario.lasting(DRAWN_CELLS), unknown=unknown)
    return spread_about(measure(tallied(vague, seed=seed)), draws=DRAWS)


def _odd_at_most(spread: Spread) -> float:
    """Skips and doubles where what is not known is at its worst; 0 where luck hides that. [1]"""
    key = "cells.single"
    return 1 - spread.unknown(key).low if spread.is_told(key) else 0.0


def _unknown(scenario: Scenario, machine: Machine) -> tuple[Unknown, ...]:
    """What the user does not know, with seed size and vacuum, which nobody knows quite."""
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
