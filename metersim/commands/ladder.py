"""Says what each single step of each setting does, and what a count shows of it."""

from __future__ import annotations

import argparse

from metersim import outputs
from metersim.commands.shared import bar, changes_of, seed_of
from metersim.faults import all_of, whole
from metersim.reading import load_scenario
from metersim.reports.ladder import ladder_text
from metersim.studies.counting.counts import LEAST_WATCHED, MOST_COUNTED, MOST_WATCHED
from metersim.studies.counting.ladder import CELLS, SEEDS, ladder, runs_of


def answer(options: argparse.Namespace) -> str:
    """Climb as the options say, draw what they ask for, and tell the result."""
    scenario, seed, seeds, cells, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: seed_of(options),
        lambda: (
            SEEDS if options.seeds is None else whole("--seeds", options.seeds, 1, MOST_COUNTED)
        ),
        lambda: whole("--cells", options.cells or str(CELLS), LEAST_WATCHED, MOST_WATCHED),
        lambda: outputs.check_writable([("--figure", options.figure)], [options.scenario]),
    )
    with bar(runs_of(scenario, options.units), "run") as show:
        found = ladder(
            scenario, seeds=seeds, units=options.units, seed=seed, cells=cells, on_run=show
        )
    if options.figure:
        from metersim.figures import encoded, ladder_figure

        drawn = ladder_figure(found)
        outputs.write_all([(options.figure, encoded(drawn, options.figure))])
    return ladder_text(found)
