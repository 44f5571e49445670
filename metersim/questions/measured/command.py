"""The command `measured`: compares measured spacings with a scenario and with one another."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.files.faults import all_of, percent, whole
from metersim.files.fields import specs
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.machine.sections import Disc
from metersim.questions.measured.answer import measured_answer
from metersim.questions.measured.rows import joined
from metersim.questions.measured.study import check_emergence, measured
from metersim.questions.measured.text import measured_json
from metersim.questions.shared.options import changes_of, details_option, scenario_options, seed_of
from metersim.questions.shared.spacings import read_spacings


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim measured``."""
    scenario_options(command)
    command.add_argument(
        "files",
        nargs="+",
        metavar="FILE.csv",
        help="a column spacing_cm, position_cm (tape or belt; also mm, m, in, ft) or time_s (a "
        "sensor's pulses; also ms), and, if wanted, a column row; or the CSV file of a run. Rows, "
        "and several files, are compared with one another",
    )
    command.add_argument(
        "--emergence",
        metavar="PERCENT",
        help="percentage of seeds that came up, if known, for spacings in a field; 100 for seeds "
        "that were dug up",
    )
    command.add_argument(
        "--cells",
        metavar="N",
        help="holes of the disc; finds a hole that fails more often than the others",
    )
    command.add_argument("--seed", default="1", metavar="N", help="random seed (1)")
    details_option(command, "show the whole report: every measure, its reading and all notes")
    command.add_argument("--json", metavar="FILE", help="write all of it as JSON; - prints it")
    command.add_argument("--figure", metavar="FILE", help="draw the distributions")


def answer(options: argparse.Namespace) -> str:
    """Report on measured spacings with these options; writes the requested files."""
    files = [("--json", options.json), ("--figure", options.figure)]
    scenario, emergence, cells, seed, _, *read = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: _emergence(options.emergence),
        lambda: _cells(options.cells),
        lambda: seed_of(options),
        lambda: check_writable(files, [options.scenario, *options.files]),
        *(lambda file=file: read_spacings(Path(file)) for file in options.files),
    )
    spacings = joined(read)
    check_emergence(scenario, spacings, emergence)
    found = measured(scenario, spacings, emergence=emergence, cells=cells, seed=seed)
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.questions.measured.figure import measured_figure
        from metersim.questions.shared.page import encoded

        drawn = measured_figure(found, options.units)
        made.append((options.figure, encoded(drawn, options.figure)))
    if options.json and options.json != "-":
        made.append((options.json, measured_json(found)))
    write_all(made)
    if options.json == "-":
        return measured_json(found).removesuffix("\n")
    return measured_answer(found, options.units, options.details)


def _emergence(word: str | None) -> float | None:
    """Share of the seeds that stand as plants, if the option is given."""
    return None if word is None else percent("--emergence", word, 1, 100)


def _cells(word: str | None) -> int | None:
    """Holes of the disc, if the option is given."""
    spec = specs(Disc)["cells"]
    return None if word is None else whole("--cells", word, int(spec.low), int(spec.high))
