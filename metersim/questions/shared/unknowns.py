"""Draws of uncertain inputs and of machines, and the uncertainty of a scenario's measures.

A scenario is run once for each draw, with its own random numbers.  A draw has one value for each
uncertain input, and one set of coefficients: a machine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.unknown import Unknown
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, drawn_about, fitted
from metersim.measures.estimates import Measured, measure
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.measures.tally import stretches_of, tallied
from metersim.questions.shared.discrepancy import errors_of, shifted
from metersim.questions.shared.spread import Draws, Spread, change_between, gather
from metersim.run.streams import Streams

DRAWS, MOST_DRAWS = 32, 10_000
DRAWN_CELLS = 1_200
"""Most cells of the run of a draw.

The sampling error of these runs is taken off, so it moves an interval by chance alone.  Half of a
total interval over 32 draws has an SE of some 8 % of it, with runs of any length from here on.
That of a difference has one of 12 %, or 5 % with runs of 3,000 cells; widths differ by up to 5 %.
"""
CHANGING_CELLS = 9_000  # the same, of a run that is not alike from start to end
NEXT_TO_AN_END = 2.0**-53

Floats = NDArray[np.float64]


def draw_places(unknowns: Sequence[Unknown], draws: int, seed: int) -> Floats:
    """Quantiles of the uncertain inputs, as `metersim.machine.scenario.Scenario.drawn` takes them.

    Each column is stratified, as in a Latin hypercube (mckay1979), and has its own random stream.
    Its draws do not depend on other keys, and two scenarios that share a key share its draws.

    Parameters
    ----------
    unknowns : sequence of Unknown
        Uncertain inputs.
    draws : int
        Number of draws, 1 or more.
    seed : int
        Random seed of the draws.

    Returns
    -------
    ndarray, shape (draws, len(unknowns))
        Quantiles between 0 and 1, both excluded.
    """
    streams, places = Streams(seed), np.empty((draws, len(unknowns)))
    for column, one in zip(places.T, unknowns, strict=True):
        column[:] = streams.stratified(f"unknown {one.section}.{one.name}", draws)
    return places.clip(NEXT_TO_AN_END, 1 - NEXT_TO_AN_END)


def most_cells(scenario: Scenario) -> int:
    """Most cells of the run of a draw.

    A run whose hopper empties, or whose drive starts up, is not alike from start to end.  So its
    draws are longer.
    """
    empties = scenario.pool.hopper < scenario.passages * scenario.seeds.seed_mass
    return CHANGING_CELLS if empties or scenario.drive.start_ramp > 0 else DRAWN_CELLS


def drawn_cells(scenario: Scenario, split: bool = True) -> int:
    """Cells of the runs of one draw: of machine and inputs, and with `split` of inputs alone."""
    return min(scenario.passages, most_cells(scenario)) * (2 if split and scenario.unknown else 1)


def run_draws(
    *scenarios: Scenario,
    draws: int,
    seed: int,
    replicates: int = 1,
    cells: int | None = None,
    machines: bool = True,
    on_cells: Callable[[int], object] | None = None,
    watch: Callable[..., Measured] | None = None,
    stretches: int | None = None,
) -> Iterator[list[Measured]]:
    """Run and measure scenarios in every draw of their uncertain inputs and their machine.

    Scenarios of one draw share their random numbers and the number of the machine's draw; each
    draw has its own.

    Parameters
    ----------
    *scenarios : Scenario
        Scenarios with any number of uncertain inputs; shared inputs have the same draws.
    draws, seed : int
        Number of draws, and random seed of draws and runs.
    replicates : int
        Number of replicates of the scenarios' own runs; the draws use later replicates.
    cells : int, optional
        Approximate number of cells of each run; by default each scenario has its own turns.
        `most_cells` limits it.
    machines : bool
        Whether the coefficients are drawn; otherwise each scenario keeps its own.
    on_cells : callable, optional
        As for `metersim.measures.tally.tallied`.
    watch : callable, optional
        Function that runs and measures a scenario, with the arguments of
        `metersim.measures.tally.tallied`.  By default the seeds are measured.
    stretches : int, optional
        Number of stretches of each run; by default as many as all runs allow.

    Returns
    -------
    iterator of list of Measured
        Measures of each scenario, draw by draw.

    Raises
    ------
    BadInput
        Before any run, when the values of a draw contradict one another.
    """
    if draws < 2:
        raise ValueError(f"draws is {draws}; allowed: 2 or more")
    drawn = [
        [
            drawn_about(scenario, scenario.drawn(row))
            for row in draw_places(scenario.unknown, draws, seed).tolist()
        ]
        for scenario in scenarios
    ]
    if machines:
        drawn = [
            [replace(one, coefficients=one.posterior.draw(k)) for k, one in enumerate(column)]
            for column in drawn
        ]
    most = max(map(most_cells, scenarios))
    drawn = [[one.lasting(min(cells or one.passages, most)) for one in column] for column in drawn]
    stretches = stretches or stretches_of(*(one for column in drawn for one in column))
    draws_of_run: Any = {"seed": seed, "stretches": stretches, "on_cells": on_cells}
    return (
        [(watch or _seeds)(one, replicate=replicates + k, **draws_of_run) for one in row]
        for k, row in enumerate(zip(*drawn, strict=True))
    )


def _seeds(scenario: Scenario, **draws_of_run: Any) -> Measured:
    return measure(tallied(scenario, **draws_of_run))


def spread_about(
    middle: Measured,
    *,
    draws: int = DRAWS,
    on_cells: Callable[[int], object] | None = None,
    watch: Callable[..., Measured] | None = None,
    split: bool = True,
) -> Spread:
    """Uncertainty of a scenario that has been measured at the middle of its uncertain inputs.

    Parameters
    ----------
    middle : Measured
        Measures of its replicates; their random seed also chooses the draws.
    draws, on_cells, watch
        As for `run_draws`.
    split : bool
        As for `spreads_about`.
    """
    each: Any = {"draws": draws, "on_cells": on_cells, "watch": watch, "split": split}
    (found,), _ = spreads_about([middle], **each)
    return found


def spreads_about(
    middles: Sequence[Measured],
    changes: Sequence[Mapping[str, Estimate]] = (),
    *,
    labels: Sequence[str] = (),
    draws: int = DRAWS,
    cells: int | None = None,
    on_cells: Callable[[int], object] | None = None,
    watch: Callable[..., Measured] | None = None,
    points: Callable[[Measured], Mapping[str, Floats]] = attrgetter("points"),
    split: bool = True,
) -> tuple[tuple[Spread, ...], tuple[Spread, ...]]:
    """Uncertainty of scenarios with common random numbers, and of their differences.

    In each draw all scenarios share the machine, what they have in uncertain inputs, and the random
    numbers.  So a difference is known better than the levels.

    Parameters
    ----------
    middles : sequence of Measured
        Measures of the scenarios' own runs, with equal seeds and replicates.
    changes : sequence of mappings
        Paired differences of each further scenario from the first; empty without any.
    labels : sequence of str
        Names of the scenarios, by default those of their files.
    draws, cells, on_cells, watch
        As for `run_draws`.
    points : callable
        Function that gives values as `Measured.points`, for all keys of the differences.
    split : bool
        Whether the inputs are also drawn alone, to split the total between inputs and model.  It
        takes as many runs again, and the total stays as it is.

    Returns
    -------
    levels, differences : tuple of Spread
        One for each scenario, and one for each of `changes`.
    """
    first, scenarios = middles[0], [one.scenario for one in middles]
    each: Any = {"draws": draws, "seed": first.origin.seed, "replicates": len(first.tallies)}
    each |= {"cells": cells, "on_cells": on_cells, "watch": watch, "points": points}
    uncertain = split and any(scenario.unknown for scenario in scenarios)
    drawn = list(drawn_points(scenarios, **each))
    inputs = list(drawn_points(scenarios, machines=False, **each)) if uncertain else None
    return spreads_of(middles, changes, drawn, inputs, labels=labels)


def drawn_points(
    scenarios: Sequence[Scenario],
    *,
    machines: bool = True,
    points: Callable[[Measured], Mapping[str, Floats]] = attrgetter("points"),
    **asked: Any,
) -> Iterator[list[Mapping[str, Floats]]]:
    """Values of scenarios in every draw, each draw worked out when it is asked for.

    Parameters
    ----------
    scenarios : sequence of Scenario
        Scenarios, as for `run_draws`.
    machines : bool
        Whether the coefficients are drawn, with the shifts of a learned machine.
    points : callable
        As for `spreads_about`.
    **asked
        All else that `run_draws` takes.

    Returns
    -------
    iterator of list of mappings
        Values of each scenario, draw by draw.
    """
    rows = run_draws(*scenarios, machines=machines, **asked)
    shifts = [scenario.posterior.shifts if machines else () for scenario in scenarios]
    for k, row in enumerate(rows):
        yield [
            shifted(points(one), by[k % len(by)]) if by else points(one)
            for one, by in zip(row, shifts, strict=True)
        ]


def spreads_of(
    middles: Sequence[Measured],
    changes: Sequence[Mapping[str, Estimate]],
    drawn: Sequence[Sequence[Mapping[str, Floats]]],
    inputs: Sequence[Sequence[Mapping[str, Floats]]] | None = None,
    *,
    labels: Sequence[str] = (),
) -> tuple[tuple[Spread, ...], tuple[Spread, ...]]:
    """Uncertainty of scenarios and of their differences, from their values in every draw.

    Parameters
    ----------
    middles, changes, labels
        As for `spreads_about`.
    drawn : sequence
        What `drawn_points` gives with machines.
    inputs : sequence, optional
        The same of the inputs alone; None when they were not drawn alone.

    Returns
    -------
    levels, differences : tuple of Spread
        As `spreads_about`.
    """

    def gathered(rows: Sequence[Sequence[Mapping[str, Floats]]]) -> tuple[list[Draws], list[Draws]]:
        apart = [
            [{key: row[k][key] - row[0][key] for key in found if key in row[k]} for row in rows]
            for k, found in enumerate(changes, start=1)
        ]
        return [gather(column) for column in zip(*rows, strict=True)], [*map(gather, apart)]

    levels_drawn, drawn_apart = gathered(drawn)
    of_inputs, inputs_apart = gathered(inputs) if inputs is not None else ([], [])
    names = labels or [middle.scenario.name for middle in middles]
    levels = tuple(
        Spread(
            names[k],
            middle.scenario.unknown,
            middle.estimates,
            levels_drawn[k],
            of_inputs[k] if of_inputs else None,
            errors_of(middle.scenario.posterior, middle.scenario.lot.crop, middle.measures),
            middle.scenario.posterior,
            level=middle.level,
            measures={one.key: one for one in middle.measures},
        )
        for k, middle in enumerate(middles)
    )
    apart = tuple(
        change_between(
            levels[0],
            levels[k + 1],
            found,
            drawn_apart[k],
            inputs_apart[k] if inputs_apart else None,
            f"{names[k + 1]} minus {names[0]}",
        )
        for k, found in enumerate(changes)
    )
    return levels, apart


def spread(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    draws: int = DRAWS,
    replicates: int = 1,
    stations: OwnGiven | None = None,
) -> Spread:
    """Sampling, input and model uncertainty of a scenario's measures.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Scenario, its name, or its file; ranges, distributions or lists may stand in place of some
        values.
    seed : int
        Random seed of runs and draws.
    draws : int
        Number of draws of inputs and machine, 2 or more; each is run once.
    replicates : int
        Number of runs at the middle.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Raises
    ------
    BadInput
        When possible values contradict one another.

    Examples
    --------
    >>> import metersim as m
    >>> vacuum, sizes = "vacuum_kpa={low = 2, high = 4}", "size_cv_percent=5"
    >>> vague = m.load_scenario("maize_bench", [vacuum, sizes, "turns=100"])
    >>> found = m.spread(vague, seed=3)
    >>> found
    <Spread of maize_bench: 32 draws of a machine, 1 unknown; to_dataframe() shows it>
    >>> total, model = found.total("cells.double"), found.model("cells.double")
    >>> total.low <= model.low < total.value < model.high <= total.high
    True
    """
    scenario = fitted(scenario, stations)
    each = stretches_of(scenario, replicates=replicates)
    runs = [tallied(scenario, seed=seed, replicate=k, stretches=each) for k in range(replicates)]
    return spread_about(measure(runs, level=LEVEL_TOTAL), draws=draws)
