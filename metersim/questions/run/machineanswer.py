"""The printed answer on a machine."""

from __future__ import annotations

from metersim.questions.run.machinetext import report
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.machinerun import MachineRun
from metersim.questions.shared.machinewords import (
    facts_of,
    notes_of,
    rows_sentence,
    table,
    vacuum_sentence,
)
from metersim.questions.shared.notes import asked
from metersim.questions.shared.words import quantity


def answer_text(found: MachineRun, units: str = "metric", details: bool = False) -> str:
    """The printed answer on a machine.

    Parameters
    ----------
    found : MachineRun
        The machine.
    units : str
        ``metric`` or ``us``.
    details : bool
        Whether to print the whole report below the answer.
    """
    scenario = found.measured.scenario
    facts = facts_of(found, units)
    _, settings, *_ = asked(scenario, units)
    posterior = found.spread.posterior
    rests = [
        f"one seed every {quantity('length', scenario.spacing, units)}",
        settings,
        f"fan at {100 * found.measured.fan_speed:.0f} % of its greatest speed",
        posterior.title if posterior else "the usual machine",
        *(one.text(units) for one in scenario.unknown),
    ]
    return Answer(
        first=[rows_sentence(found), vacuum_sentence(found, units), *facts[:1]],
        notes=[*facts[1:], *notes_of(found, units)],
        table=table(found, units),
        assumes="; ".join(rests) + ".",
        details=report(found, units),
        more="every row, the air, the start turn by turn, and the parts of each interval",
    ).text(details)
