"""The command `run`: runs a scenario and reports how the seeds will lie."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.files.faults import all_of, bad
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import measure
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.measures.tally import stretches_of, tallied
from metersim.questions.run.day import MOST_CELLS, Day, day_of, watched_runs
from metersim.questions.run.text import as_json, as_trace, summary
from metersim.questions.shared.effort import (
    EVENTS_BYTES,
    RECORD_BYTES,
    ROW_BYTES,
    TRACE_BYTES,
    announce,
    check_cells,
    check_memory,
    check_room,
    seconds_for,
)
from metersim.questions.shared.emptying import split
from metersim.questions.shared.options import (
    changes_of,
    details_option,
    draws_of,
    draws_option,
    engine_option,
    harvest_of,
    plants_options,
    replicates_of,
    scenario_options,
    seed_of,
    seed_options,
)
from metersim.questions.shared.plants import check_field, stand_of
from metersim.questions.shared.progress import adding_bar
from metersim.questions.shared.rowcsv import as_csv
from metersim.questions.shared.unknowns import drawn_cells, spread_about
from metersim.run.records import Run
from metersim.run.simulation import EVENTS, simulate

FILES = ("json", "csv", "trace", "figure")


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim run``."""
    scenario_options(command)
    seed_options(command)
    engine_option(command)
    draws_option(command)
    details_option(command)
    plants_options(command)
    command.add_argument("--json", metavar="FILE", help="write all measures as JSON; - prints them")
    command.add_argument("--csv", metavar="FILE", help="write one row a seed")
    command.add_argument("--trace", metavar="FILE", help="write every event of every seed")
    command.add_argument(
        "--figure",
        metavar="FILE",
        help="draw the first replicate, or the day of a lens: .png, .svg or .pdf",
    )


def answer(options: argparse.Namespace) -> str:
    """Report of a run with these options; writes the requested files."""
    files = [(f"--{name}", getattr(options, name)) for name in FILES]
    scenario, seed, replicates, draws, harvest, *_ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: seed_of(options),
        lambda: replicates_of(options),
        lambda: draws_of(options),
        lambda: harvest_of(options),
        lambda: check_writable(files, [options.scenario]),
        lambda: _check_engine(options),
    )
    if scenario.is_toolbar:
        from metersim.questions.run.machinecommand import answer_machine  # a machine alone needs it

        return answer_machine(options, scenario, seed, replicates, draws)
    if options.plants:
        check_field(scenario)
    parts = bool(options.details or options.json)  # only these show the parts of an interval
    _check_effort(options, scenario, replicates, draws, parts)
    repeats = [{"seed": seed, "replicate": k} for k in range(replicates)]
    runs, traced = [], []
    if options.trace:
        traced = [simulate(scenario, **one, trace=True) for one in repeats]
    if options.csv or options.trace or options.figure:  # only these files need all records
        # a trace must not change the other files in any digit
        runs = traced if traced and options.engine == EVENTS else []
        runs = runs or [simulate(scenario, **one, engine=options.engine) for one in repeats]
        measured = measure(runs, level=LEVEL_TOTAL)
    else:
        each = stretches_of(scenario, replicates=replicates)
        with adding_bar(scenario.passages * replicates, "cell") as on_cells:
            measured = measure(
                [
                    tallied(
                        scenario, **one, stretches=each, engine=options.engine, on_cells=on_cells
                    )
                    for one in repeats
                ],
                level=LEVEL_TOTAL,
            )
    row = split(measured, engine=options.engine)
    measured = row.reported
    drawn = drawn_cells(measured.scenario, parts) * draws
    with adding_bar(drawn, "cell") as on_cells:
        spread = spread_about(measured, draws=draws, on_cells=on_cells, split=parts)
    stand = None
    if options.plants:
        sown = measured.scenario
        with adding_bar(sown.passages * replicates + drawn, "cell") as on_cells:
            each_run = {"seed": seed, "replicates": replicates, "on_cells": on_cells}
            stand = stand_of(sown, **each_run, draws=draws, split=parts)
    day = None
    if scenario.sensor.day > 0:
        with adding_bar(_watched(scenario), "cell") as on_cells:
            day = day_of(scenario, seed=seed, on_cells=on_cells)
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        made.append((options.figure, _drawn(options, runs[0], day)))
    if options.csv:
        made.append((options.csv, as_csv(runs)))
    if options.trace:
        made.append((options.trace, as_trace(traced)))
    content = as_json(row, spread, stand, harvest, day) if options.json else ""
    if options.json and options.json != "-":
        made.append((options.json, content))
    write_all(made)
    if options.json == "-":
        return content.removesuffix("\n")
    return summary(row, options.units, spread, stand, harvest, options.details, day)


def _drawn(options: argparse.Namespace, run: Run, day: Day | None) -> bytes:
    """The picture of a run; of a day instead, and a PDF of a day has both pages."""
    from metersim.questions.run.dayfigure import day_figure
    from metersim.questions.run.figure import run_figure
    from metersim.questions.shared.page import encoded, encoded_pdf

    if not day:
        return encoded(run_figure(run, options.units), options.figure)
    page = day_figure(day, options.units)
    if Path(options.figure).suffix.lower() == ".pdf":
        return encoded_pdf([page, run_figure(run, options.units)])
    return encoded(page, options.figure)


def _watched(scenario: Scenario) -> int:
    """Cells of all runs of a day."""
    return min(scenario.passages, MOST_CELLS) * watched_runs(scenario)


def _check_effort(
    options: argparse.Namespace, scenario: Scenario, replicates: int, draws: int, split: bool
) -> None:
    """Say how long it takes; raises `BadInput` where time, memory or disk do not hold it."""
    cells, drawn = scenario.passages * replicates, drawn_cells(scenario, split) * draws
    check_cells("--turns", cells + drawn)
    check_room("--csv", options.csv, cells * ROW_BYTES)
    check_room("--trace", options.trace, cells * EVENTS_BYTES)
    if options.trace:
        check_memory("--trace", cells * TRACE_BYTES)
    elif options.csv or options.figure:
        check_memory("--csv" if options.csv else "--figure", cells * RECORD_BYTES)
    runs, engine = replicates + draws, options.engine
    parts = [seconds_for(cells, replicates, engine), seconds_for(drawn, draws)]
    if options.plants:
        parts.append(seconds_for(cells + drawn, runs))
    if scenario.sensor.day > 0:
        parts.append(seconds_for(_watched(scenario), watched_runs(scenario)))
    if options.trace and engine != EVENTS:
        parts.append(seconds_for(cells, replicates, EVENTS))
    announce(sum(parts))


def _check_engine(options: argparse.Namespace) -> None:
    if options.trace and options.engine not in (None, EVENTS):
        raise bad("--engine", options.engine, "leaves no trace; give --engine events, or none")
