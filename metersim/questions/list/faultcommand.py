"""Options of the list of faults, and its answer."""

from __future__ import annotations

import argparse

from metersim.files.faults import all_of, bad, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.questions.list.faultjson import faults_json
from metersim.questions.list.faults import MACHINE, faults_answer, list_faults
from metersim.questions.shared.faults.signatures import SAMPLES
from metersim.questions.shared.options import (
    crew,
    details_option,
    seed_of,
    workers_of,
    workers_option,
)

MOST_SAMPLES = 200
GOES_WITH = {  # names of options, and values that stand for none
    "machine": None,
    "json": None,
    "figure": None,
    "samples": None,
    "seed": "1",
    "workers": None,
    "details": False,
}


def fault_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim list faults``."""
    add = command.add_argument
    add("--scenario", dest="machine", metavar="SCENARIO", help="with faults: the same machine")
    details_option(command, "with faults: show each inspection with its caution")
    add("--json", metavar="FILE", help="with faults: write everything as JSON, in SI; - prints it")
    add("--figure", metavar="FILE", help="with faults: draw them: .png, .svg or .pdf")
    add("--seed", default="1", metavar="N", help="with faults: random seed (1)")
    add("--samples", metavar="N", help=f"with faults: machines of each fault ({SAMPLES})")
    workers_option(command)


def refuse_fault_options(options: argparse.Namespace) -> None:
    """Refuse options that only the list of faults takes; raises `BadInput`."""
    for name, nothing in GOES_WITH.items():
        value = getattr(options, name)
        if value != nothing:
            option = "--scenario" if name == "machine" else f"--{name}"
            said = "" if value is True else str(value)
            raise bad(option, said, "goes with 'list faults' alone")


def answer_faults(options: argparse.Namespace) -> str:
    """The list of faults, with files that are asked for."""
    if options.scenario and options.machine:
        raise bad("--scenario", options.machine, "names a second machine; give one of them")
    name = options.machine or options.scenario or MACHINE
    files = [("--json", options.json), ("--figure", options.figure)]
    scenario, seed, samples, workers, _ = all_of(
        lambda: load_scenario(name),
        lambda: seed_of(options),
        lambda: (
            SAMPLES
            if options.samples is None
            else whole("--samples", options.samples, 1, MOST_SAMPLES)
        ),
        lambda: workers_of(options),
        lambda: check_writable(files, [name]),
    )
    with crew(workers, options.workers) as executor:
        found = list_faults(scenario, seed=seed, samples=samples, executor=executor)
    content = faults_json(found) if options.json else ""
    written: list[tuple[str, str | bytes]] = []
    if options.json and options.json != "-":
        written.append((options.json, content))
    if options.figure:
        from metersim.questions.list.figure import faults_figure
        from metersim.questions.shared.page import encoded

        written.append((options.figure, encoded(faults_figure(found), options.figure)))
    write_all(written)
    if options.json == "-":
        return content.removesuffix("\n")
    return faults_answer(found, options.details)
