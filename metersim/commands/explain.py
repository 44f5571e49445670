"""Says what a scenario asks of its meter, before it runs."""

from __future__ import annotations

import argparse

from metersim.commands.shared import changes_of
from metersim.reading import load_scenario
from metersim.reports.explain import explanation
from metersim.studies.explain import explain


def answer(options: argparse.Namespace) -> str:
    """Explain as the options say."""
    scenario = load_scenario(options.scenario, changes_of(options))
    return explanation(explain(scenario), options.units)
