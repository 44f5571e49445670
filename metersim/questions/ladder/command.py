"""The command `ladder`: reports the effect of single steps, and the counts that detect it."""

from __future__ import annotations

import argparse

from metersim.files.faults import all_of, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.ladder.study import CELLS, SEEDS, ladder, runs_of
from metersim.questions.ladder.text import ladder_text
from metersim.questions.shared.counts import LEAST_WATCHED, MOST_COUNTED, MOST_WATCHED
from metersim.questions.shared.options import bar, changes_of, seed_of, watched_options


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim ladder``."""
    watched_options(command, "each rung", "20,000")
    command.add_argument("--seeds", metavar="N", help="seeds of a count whose noise is told (300)")
    command.add_argument("--figure", metavar="FILE", help="draw the ladder: .png, .svg or .pdf")


def answer(options: argparse.Namespace) -> str:
    """Report of a ladder with these options; draws the requested figure."""
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
        found = ladder(
            scenario, seeds=seeds, units=options.units, seed=seed, cells=cells, on_run=show
        )
    if options.figure:
        from metersim.questions.ladder.figure import ladder_figure
        from metersim.questions.shared.page import encoded

        drawn = ladder_figure(found)
        write_all([(options.figure, encoded(drawn, options.figure))])
    return ladder_text(found)
