"""Holds measured spacings against a scenario, and fits the cells behind them."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim import outputs
from metersim.commands.shared import changes_of, seed_of
from metersim.faults import all_of, percent
from metersim.reading import load_scenario
from metersim.reports.measured import measured_text
from metersim.spacingcsv import read_spacings
from metersim.studies.measured import check_emergence, measured


def answer(options: argparse.Namespace) -> str:
    """Compare as the options say, write what they ask for, and tell the result."""
    files = [("--json", options.json), ("--figure", options.figure)]
    scenario, spacings, emergence, seed, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: read_spacings(Path(options.file)),
        lambda: _emergence(options.emergence),
        lambda: seed_of(options),
        lambda: outputs.check_writable(files, [options.scenario, options.file]),
    )
    check_emergence(scenario, spacings, emergence)
    found = measured(scenario, spacings, emergence=emergence, seed=seed)
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.figures import encoded, measured_figure

        drawn = measured_figure(found, options.units)
        made.append((options.figure, encoded(drawn, options.figure)))
    if options.json and options.json != "-":
        made.append((options.json, outputs.measured_json(found)))
    outputs.write_all(made)
    if options.json == "-":
        return outputs.measured_json(found).removesuffix("\n")
    return measured_text(found, options.units)


def _emergence(word: str | None) -> float | None:
    """Share of the seeds that stand as plants, when it is given."""
    return None if word is None else percent("--emergence", word, 1, 100)
