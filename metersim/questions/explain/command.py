"""Says what a scenario asks of its meter, before it runs."""

from __future__ import annotations

import argparse

from metersim.machine.reading import load_scenario
from metersim.questions.explain.study import explain
from metersim.questions.explain.text import explanation
from metersim.questions.shared.options import changes_of, scenario_options


def add_options(command: argparse.ArgumentParser) -> None:
    """What can be typed behind ``metersim explain``."""
    scenario_options(command)


def answer(options: argparse.Namespace) -> str:
    """Explain as the options say."""
    scenario = load_scenario(options.scenario, changes_of(options))
    return explanation(explain(scenario), options.units)
