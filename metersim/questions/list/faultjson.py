"""JSON of the list of faults, in SI."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from metersim import __version__
from metersim.questions.list.faults import ALONE, ENDS, FaultList
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.faults.groups import ALIKE
from metersim.questions.shared.faults.observe import SIGNS
from metersim.run.records import Origin, provenance

MINUTE = 60.0  # s


def faults_json(found: FaultList) -> str:
    """JSON of everything about the faults: what they change, what they show, and their groups."""
    signed = found.signatures
    made = {
        "provenance": provenance(Origin(found.scenario, found.seed, 0, __version__, {})),
        "samples": signed.samples,
        "faults": [
            _fault(found, fault, letter, most, signed.faults.index(fault.name))
            for letter, fault, most in found.ordered
        ],
        "in_order": {name: _numbers(column) for name, column in signed.usual.items()},
        "alike_below": ALIKE,
        "right_of_two": {
            name: _numbers(row)
            for name, row in zip(found.groups.faults, found.groups.right, strict=True)
        },
    }
    return json.dumps(made, indent=2) + "\n"


def _fault(
    found: FaultList, fault: MeterFault, letter: str, most: tuple[str, ...], at: int
) -> dict[str, Any]:
    """One fault: `at` is its place in the signatures."""
    signed = found.signatures
    chances = {name: signed.chances(name)[:, at].mean(axis=1) for name in SIGNS}
    return {
        "name": fault.name,
        "words": fault.words,
        "group": None if letter == ALONE else letter,
        "scope": fault.scope,
        "onset": fault.onset,
        "when": fault.when,
        "check": fault.check,
        "check_state": fault.state,
        "check_opens": fault.opens,
        "check_s": MINUTE * fault.minutes,
        "caution": fault.caution,
        "chance_before": float(signed.prior[at]),
        "shows_most": list(most),
        "changes": {
            said: list(fault.change(found.scenario, float(severity)))
            for severity, said in enumerate(ENDS)
        },
        "chances": {
            name: dict(zip(SIGNS[name].answers, map(float, part), strict=True))
            for name, part in chances.items()
        },
        "values": {name: _numbers(column[at]) for name, column in signed.values.items()},
    }


def _numbers(values: Iterable[float]) -> list[float | None]:
    """Numbers for JSON; one that is not finite becomes None."""
    return [float(one) if math.isfinite(one) else None for one in values]
