"""The command `steps`: reports the effect of single steps, and the counts that detect it."""

from __future__ import annotations

import argparse

from metersim.files.faults import all_of, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.shared.counts import LEAST_WATCHED, MOST_COUNTED, MOST_WATCHED
from metersim.questions.shared.effort import announce, seconds_for
from metersim.questions.shared.options import (
    changes_of,
    details_option,
    seed_of,
    watched_options,
)
from metersim.questions.shared.progress import bar
from metersim.questions.steps.step import DRAWN_CELLS
from metersim.questions.steps.study import CELLS, DRAWS, SEEDS, runs_of, steps
from metersim.questions.steps.text import steps_answer, steps_json


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim steps``."""
    watched_options(command, "each step", "20,000")
    command.add_argument(
        "--counted", metavar="N", help="seeds of a count whose sampling error is given (300)"
    )
    details_option(command)
    command.add_argument("--json", metavar="FILE", help="write all of it as JSON; - prints it")
    command.add_argument("--figure", metavar="FILE", help="draw the steps: .png, .svg or .pdf")


def answer(options: argparse.Namespace) -> str:
    """Answer on single steps with these options; writes the requested files."""
    files = [("--json", options.json), ("--figure", options.figure)]
    scenario, seed, seeds, cells, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: seed_of(options),
        lambda: whole("--counted", options.counted or str(SEEDS), 1, MOST_COUNTED),
        lambda: whole("--cells", options.cells or str(CELLS), LEAST_WATCHED, MOST_WATCHED),
        lambda: check_writable(files, [options.scenario]),
    )
    every = bool(options.details or options.json or options.figure)
    runs = runs_of(scenario, options.units, every)
    drawn = min(DRAWN_CELLS, cells) * DRAWS
    announce(seconds_for(runs * (cells + drawn), runs * (1 + DRAWS)))
    with bar(runs, "run") as show:
        found = steps(
            scenario,
            seeds=seeds,
            units=options.units,
            seed=seed,
            cells=cells,
            whole=every,
            on_run=show,
        )
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.questions.shared.page import encoded
        from metersim.questions.steps.figure import steps_figure

        made.append((options.figure, encoded(steps_figure(found), options.figure)))
    if options.json and options.json != "-":
        made.append((options.json, steps_json(found)))
    write_all(made)
    if options.json == "-":
        return steps_json(found).removesuffix("\n")
    return steps_answer(found, options.details)
