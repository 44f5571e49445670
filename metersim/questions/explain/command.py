"""The command explain: reports what a scenario asks of its meter."""

from __future__ import annotations

import argparse
import math

from metersim.machine.reading import load_scenario
from metersim.measures.limits import RESERVE, cautions
from metersim.questions.explain.study import Explained, explain
from metersim.questions.shared.notes import asked
from metersim.questions.shared.options import changes_of, scenario_options
from metersim.questions.shared.words import block, number, quantity, set_quantity


def explanation(found: Explained, units: str = "metric") -> str:
    """Demands of a scenario on its meter, as text."""
    scenario, chances = found.scenario, found.chances
    set_vacuum = scenario.vacuum.vacuum
    carry = scenario.pool.carry_line
    against = f" ({set_vacuum / found.needed:.1f} times what the mean seed needs)"
    above = "above" if found.level > carry else "below"
    if not set_vacuum:
        against = ""
    lines = [f"{scenario.title} ({scenario.name}), before it runs"]
    if scenario.shows:
        lines.append(scenario.shows)
    lines += ["", *block("Asked", asked(scenario, units)), ""]
    lines += block(
        "Motion",
        [
            f"a cell passes every {1000 / scenario.cell_rate:.3g} ms; neighbouring holes are "
            f"{quantity('small', scenario.pitch, units)} apart",
        ],
    )
    lines += block(
        "Vacuum",
        [
            f"set {set_quantity('pressure', set_vacuum, units)}{against}",
            f"needed in the pool: {quantity('pressure', found.needed, units)} by the mean seed "
            f"when it lies flat, {quantity('pressure', found.needed_by_most, units)} by 99 of 100 "
            "(not every seed that a hole meets need hold)",
            f"needed on the way round: {quantity('pressure', found.needed_carried, units)} "
            "by the mean seed",
            f"a hole lifts a free seed from {quantity('small', found.reach, units)} "
            "(by the air that it draws in, alone; published measurements are about twice that; the "
            "model does not use it)",
        ],
    )
    lines += block(
        "Pick-up",
        [
            f"in the last {chances.zone:.1f} seed diameters before the surface a hole gains "
            f"{chances.gain:.2g} seeds a diameter and loses {chances.loss:.2g}; a seed that is "
            f"drawn holds with chance {chances.hold:.3f}",
            f"so {found.empty * 100:.3g} % of the cells leave the pool without a seed",
            RESERVE,
        ],
    )
    between = _span(1 / found.arches if found.arches else math.inf)
    lasting = [
        f"mean time between arches at the gate: {between}; the hopper lasts {_span(found.lasts)}"
    ]
    supply = f"the gate passes up to {number(found.flow)} seeds/s; the cells take {found.use:.1f}"
    if found.flow <= 0:
        supply = "the gate is too low for this seed: nothing flows in"
        lasting = []
    lines += block(
        "Pool",
        [
            f"stands {quantity('small', found.level, units)} high at the disc, {above} the carry "
            f"line at {quantity('small', carry, units)}; {found.pool_seeds:,} seeds",
            f"covers {quantity('small', found.arc, units)} of the hole circle",
            supply,
            *lasting,
        ],
    )
    edge = scenario.singulator.gap - scenario.singulator.notch_step * scenario.singulator.notch
    width = scenario.seeds.width
    lines += block(
        "Edge",
        [
            f"the singulator stands {quantity('small', edge, units)} from the holes' path, "
            f"{edge / width:.2f} of the seed's width; a hole is "
            f"{scenario.disc.hole_diameter / width:.2f} of it",
            "what it takes off comes on top of the empty cells above",
        ],
    )
    lines += block(
        "Fall", [f"a seed touches the tube's wall {found.contacts:.2f} times on average"]
    )
    notes = [*cautions(scenario, units), *scenario.warnings]
    if notes:
        lines += ["", *block("Note", notes)]
    return "\n".join(lines)


def _span(seconds: float) -> str:
    for limit, size, name in ((120, 1, "s"), (7200, 60, "min"), (172800, 3600, "h")):
        if seconds < limit:
            return f"{seconds / size:.3g} {name}"
    return "more than two days"


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim explain``."""
    scenario_options(command)


def answer(options: argparse.Namespace) -> str:
    """Report of a scenario's demands with these options."""
    scenario = load_scenario(options.scenario, changes_of(options))
    return explanation(explain(scenario), options.units)
