"""The command `steps`: reports the effect of single steps, and the counts that detect it."""

from __future__ import annotations

import argparse

from metersim.files.faults import all_of, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.shared.counts import LEAST_WATCHED, MOST_COUNTED, MOST_WATCHED
from metersim.questions.shared.options import bar, changes_of, seed_of, watched_options
from metersim.questions.steps.study import CELLS, SEEDS, runs_of, steps
from metersim.questions.steps.text import steps_report


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim steps``."""
    watched_options(command, "each step", "20,000")
    command.add_argument("--seeds", metavar="N", help="seeds of a count whose noise is told (300)")
    command.add_argument("--figure", metavar="FILE", help="draw the steps: .png, .svg or .pdf")


def answer(options: argparse.Namespace) -> str:
    """Report of a steps with these options; draws the requested figure."""
    scenario, seed, seeds, cells, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: seed_of(options),
        lambda: (
            SEEDS if options.seeds is None else whole("--seeds", options.seeds, 1, MOST_COUNTED)
        ),
        lambda: whole("--cells", options.cells or str(CELLS), LEAST_WATCHED, MOST_WATCHED),
        lambda: check_writable([("--figure", options.figure)], [options.scenario]),
    )
    with bar(runs_of(scenario, options.units), "run") as show:
        found = steps(
            scenario, seeds=seeds, units=options.units, seed=seed, cells=cells, on_run=show
        )
    if options.figure:
        from metersim.questions.shared.page import encoded
        from metersim.questions.steps.figure import steps_figure

        drawn = steps_figure(found)
        write_all([(options.figure, encoded(drawn, options.figure))])
    return steps_report(found)
