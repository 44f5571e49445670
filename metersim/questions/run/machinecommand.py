"""What ``metersim run`` does with a machine: a scenario with a fan."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.files.faults import BadInput, Fault
from metersim.files.whole import write_all
from metersim.machine.scenario import Scenario
from metersim.questions.run.machineanswer import answer_text
from metersim.questions.run.machinejson import machine_csv, machine_json
from metersim.questions.shared.effort import (
    RECORD_BYTES,
    ROW_BYTES,
    announce,
    check_cells,
    check_memory,
    check_room,
    seconds_for,
)
from metersim.questions.shared.machinerun import run_machine
from metersim.questions.shared.progress import adding_bar
from metersim.questions.shared.unknowns import drawn_cells
from metersim.run.rows import Pass
from metersim.run.simulation import EVENTS

GUESSES = 3  # times that all rows are worked out until their vacuum comes out again, mostly


def _check_options(options: argparse.Namespace, scenario: Scenario) -> None:
    """Refuse options that do not go with a machine; raises `BadInput`."""
    faults = []
    if options.trace:
        message = "goes with one meter, not with a machine; give a scenario without a fan"
        faults.append(Fault("--trace", options.trace, message))
    if options.plants:
        message = "goes with one meter, not with a machine; give a scenario without a fan"
        faults.append(Fault("--plants", "", message))
    if scenario.sensor.day > 0:
        message = "a day is followed behind the lens of one meter; give 0, or no fan"
        faults.append(Fault(scenario.name, "sensor.day", message))
    if faults:
        raise BadInput(faults)


def answer_machine(
    options: argparse.Namespace, scenario: Scenario, seed: int, replicates: int, draws: int
) -> str:
    """Report of a machine with these options; writes the requested files."""
    _check_options(options, scenario)
    cells = scenario.passages * len(scenario.working_rows)
    split = bool(options.details or options.json)  # only these show the parts of an interval
    drawn = drawn_cells(scenario, split) * draws
    _check_effort(options, cells, replicates, drawn, draws)
    kept: list[Pass] = []

    def keep(done: Pass) -> None:
        if options.csv or (options.figure and not kept):
            kept.append(done)

    with adding_bar(cells * replicates + drawn, "cell") as on_cells:
        found = run_machine(
            scenario,
            seed=seed,
            replicates=replicates,
            draws=draws,
            split=split,
            engine=options.engine,
            on_pass=keep,
            on_cells=on_cells,
        )
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.questions.run.machinefigure import pass_figure
        from metersim.questions.shared.page import encoded

        page = pass_figure(kept[0], options.units)
        made.append((options.figure, encoded(page, Path(options.figure))))
    if options.csv:
        made.append((options.csv, machine_csv(kept)))
    content = machine_json(found) if options.json else ""
    if options.json and options.json != "-":
        made.append((options.json, content))
    write_all(made)
    if options.json == "-":
        return content.removesuffix("\n")
    return answer_text(found, options.units, options.details)


def _check_effort(
    options: argparse.Namespace, cells: int, replicates: int, drawn: int, draws: int
) -> None:
    """Say how long it takes; raises `BadInput` where time, memory or disk do not hold it."""
    check_cells("--turns", cells * replicates + drawn)
    check_room("--csv", options.csv, cells * replicates * ROW_BYTES)
    check_memory("--turns", cells * RECORD_BYTES * (replicates if options.csv else 1))
    guesses = 1 if options.engine == EVENTS else GUESSES
    announce(
        seconds_for(cells * replicates * guesses, replicates, options.engine)
        + seconds_for(drawn, draws)
    )
