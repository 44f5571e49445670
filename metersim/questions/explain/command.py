"""The command explain: reports what a scenario asks of its meter."""

from __future__ import annotations

import argparse

from metersim.machine.reading import load_scenario
from metersim.questions.explain.study import explain
from metersim.questions.explain.text import summary
from metersim.questions.shared.options import changes_of, details_option, scenario_options


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim explain``."""
    scenario_options(command)
    details_option(command)


def answer(options: argparse.Namespace) -> str:
    """Answer on a scenario's demands with these options."""
    scenario = load_scenario(options.scenario, changes_of(options))
    return summary(explain(scenario), options.units, options.details)
