"""Lists what is shipped."""

from __future__ import annotations

import argparse

from metersim.faults import bad
from metersim.reading import load_scenario
from metersim.reports.lists import LISTS, all_equations


def answer(options: argparse.Namespace) -> str:
    """The list that the options ask for."""
    if options.scenario is None:
        return LISTS[options.what]()
    if options.what != "equations":
        raise bad("list", options.scenario, "only 'list equations' takes a scenario")
    return all_equations(load_scenario(options.scenario))
