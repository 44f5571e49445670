"""The library of faults: all of them by name, and those that a machine can have."""

from __future__ import annotations

from collections.abc import Mapping

from metersim.machine.scenario import Scenario
from metersim.questions.shared.faults.air import AIR
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.faults.parts import PARTS
from metersim.questions.shared.faults.setting import SETTING

LIBRARY: Mapping[str, MeterFault] = {one.name: one for one in (*AIR, *PARTS, *SETTING)}
"""All faults by name: those of the air, of parts, and of seed, drive, sensor and use."""


def possible_faults(scenario: Scenario) -> tuple[MeterFault, ...]:
    """Faults that the machine of a scenario can have, in the order of the library."""
    return tuple(one for one in LIBRARY.values() if one.fits(scenario))


def priors_of(faults: tuple[MeterFault, ...]) -> tuple[float, ...]:
    """Chance of each fault before anything is seen, given that there is one of them. [1]"""
    total = sum(one.prior for one in faults)
    return tuple(one.prior / total for one in faults)
