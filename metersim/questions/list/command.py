"""Lists what is shipped."""

from __future__ import annotations

import argparse

from metersim.files.faults import bad
from metersim.machine.reading import load_scenario
from metersim.questions.list.text import LISTS, all_equations


def add_options(command: argparse.ArgumentParser) -> None:
    """What can be typed behind ``metersim list``."""
    command.add_argument("what", metavar="WHAT", choices=tuple(LISTS), help=", ".join(LISTS))
    command.add_argument(
        "scenario",
        nargs="?",
        metavar="SCENARIO",
        help="with equations: the scenario to work through (maize_bench)",
    )


def answer(options: argparse.Namespace) -> str:
    """The list that the options ask for."""
    if options.scenario is None:
        return LISTS[options.what]()
    if options.what != "equations":
        raise bad("list", options.scenario, "only 'list equations' takes a scenario")
    return all_equations(load_scenario(options.scenario))
