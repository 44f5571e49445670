"""The command `compare`: reports paired differences between scenarios."""

from __future__ import annotations

import argparse

from metersim.files.faults import all_of
from metersim.files.whole import check_writable, write_all
from metersim.questions.compare.answer import summary
from metersim.questions.compare.asjson import as_json
from metersim.questions.compare.study import DRAWS, compare
from metersim.questions.shared.effort import (
    RECORD_BYTES,
    announce,
    check_cells,
    check_memory,
    seconds_for,
)
from metersim.questions.shared.options import (
    changes_of,
    check_vary,
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
from metersim.questions.shared.settings import variants
from metersim.questions.shared.unknowns import drawn_cells


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim compare``."""
    scenario_options(command)
    command.add_argument("other", nargs="?", metavar="OTHER", help="a second scenario")
    command.add_argument("--vary", metavar="KEY=A,B[,C]", help="values of one key to compare")
    seed_options(command)
    engine_option(command)
    draws_option(command, usual=DRAWS)
    details_option(command)
    plants_options(command)
    command.add_argument("--json", metavar="FILE", help="write all as JSON in SI; - prints it")
    command.add_argument("--figure", metavar="FILE", help="draw the distributions")


def answer(options: argparse.Namespace) -> str:
    """Answer of a comparison with these options; writes the requested files."""
    files = [("--json", options.json), ("--figure", options.figure)]
    names = [name for name in (options.scenario, options.other) if name is not None]
    named, seed, replicates, draws, harvest, *_ = all_of(
        lambda: variants(*names, vary=options.vary, changes=changes_of(options)),
        lambda: seed_of(options),
        lambda: replicates_of(options),
        lambda: draws_of(options, DRAWS),
        lambda: harvest_of(options),
        lambda: check_vary(options),
        lambda: check_writable(files, [options.scenario, options.other]),
    )
    cells = sum(one.passages for one in named.values()) * replicates
    split = bool(options.details or options.json)  # only these show the parts of an interval
    drawn = sum(drawn_cells(one, split) for one in named.values()) * draws
    check_cells("--turns", cells + drawn)
    if options.figure:
        check_memory("--figure", cells * RECORD_BYTES)
    seconds = seconds_for(cells, len(named) * replicates, options.engine)
    seconds += seconds_for(drawn, len(named) * draws)
    announce(seconds * (2 if options.plants else 1))
    result = compare(
        *named.values(),
        labels=list(named),
        seed=seed,
        replicates=replicates,
        engine=options.engine,
        keep=bool(options.figure),
        draws=draws,
        plants=options.plants,
        split=split,
    )
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.questions.compare.figure import comparison_figure
        from metersim.questions.shared.page import encoded

        drawn = comparison_figure(result, options.units)
        made.append((options.figure, encoded(drawn, options.figure)))
    content = as_json(result, harvest) if options.json else ""
    if options.json and options.json != "-":
        made.append((options.json, content))
    write_all(made)
    if options.json == "-":
        return content.removesuffix("\n")
    return summary(result, options.units, harvest, options.details)
