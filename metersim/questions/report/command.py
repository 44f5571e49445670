"""The command `report`: writes one file that an adviser forwards."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from metersim.files.faults import BadInput, Fault, all_of
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.report.study import cells_of, report_on
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.effort import announce, seconds_for
from metersim.questions.shared.html import PAPERS
from metersim.questions.shared.options import (
    changes_of,
    draws_of,
    draws_option,
    scenario_options,
    seed_of,
)
from metersim.questions.shared.progress import adding_bar

ENDINGS = (".html", ".htm")
FILE = "report.html"  # in the command that makes it again


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim report``."""
    scenario_options(command)
    command.add_argument("--out", required=True, metavar="FILE", help="file to write: .html")
    command.add_argument("--seed", default="1", metavar="N", help="random seed (1)")
    draws_option(command)
    command.add_argument(
        "--paper", choices=PAPERS, help="paper on which it prints (a4; letter with --units us)"
    )


def answer(options: argparse.Namespace) -> str:
    """Write a report with these options, and say where."""
    from metersim.questions.report.page import report_html
    from metersim.questions.report.text import first_lines

    changes = changes_of(options)
    scenario, seed, draws, *_ = all_of(
        lambda: load_scenario(options.scenario, changes),
        lambda: seed_of(options),
        lambda: draws_of(options),
        lambda: _check_out(options),
    )
    cells = cells_of(scenario, draws, options.units)
    announce(seconds_for(cells, draws))
    with adding_bar(cells, "cell") as on_cells:
        made = report_on(scenario, seed=seed, draws=draws, units=options.units, on_cells=on_cells)
    page = report_html(
        made, options.units, command=again(options, seed, draws), paper=options.paper
    )
    write_all([(options.out, page)])
    first = [*first_lines(made, options.units), f"Written to {options.out}."]
    return Answer(first=first).text()


def again(options: argparse.Namespace, seed: int, draws: int) -> str:
    """The command that makes a report again, in the folder of its scenario."""
    given = str(options.scenario)
    words = ["metersim", "report", Path(given).name if given.lower().endswith(".toml") else given]
    for change in changes_of(options):
        words += ["--set", change]
    words += ["--seed", f"{seed}", "--draws", f"{draws}", "--units", options.units]
    words += ["--paper", options.paper] if options.paper else []
    return shlex.join([*words, "--out", FILE])


def _check_out(options: argparse.Namespace) -> None:
    """Refuse a file that cannot be written, and another ending."""
    check_writable([("--out", options.out)], [options.scenario])
    if not options.out.lower().endswith(ENDINGS):
        raise BadInput([Fault("--out", options.out, "must end in .html or .htm")])
