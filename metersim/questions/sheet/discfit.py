"""Which discs can carry a lot at all, and what speaks against a disc before it runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from metersim.files.faults import BadInput, Fault
from metersim.files.fields import specs
from metersim.machine.discs import GenericDisc
from metersim.machine.reading import KEYS, listed, load_scenario, section_of
from metersim.machine.scenario import CLOSE_PITCH, MIN_PITCH_OVER_LENGTH, Scenario
from metersim.machine.sections import Demand, Pool
from metersim.machine.seedlot import load_lot
from metersim.machine.sources import HANDBOOK_HOLE
from metersim.measures.limits import SPEED_CEILING, STUDIED_CROPS

MACHINE = Path(__file__).parents[2] / "data" / "machine.toml"
TRIED_HOLE = (0.4, 0.8)  # assumption: beyond, nobody would try; widened so that the rule can fail
START_LEVEL = 0.8  # of the carry line, at which discs are compared; as in the shipped scenarios
CHOSEN = (
    "seed.lot",
    "disc.cells",
    "disc.hole_diameter",
    "disc.agitation",
    "pool.gate_opening",
    "pool.hopper",
    "vacuum.vacuum",
    "singulator.notch",
    "furrow.surface",
    "run.turns",
    "run.tick",
)
SMALL_HOLE, LARGE_HOLE, NO_HOLE = "small hole", "large hole", "hole out of reach"
PITCH, TOUCHING, SPEED, IMPOSSIBLE = "pitch", "touching", "speed", "impossible"
BARS = (NO_HOLE, TOUCHING, IMPOSSIBLE)


@dataclass(frozen=True)
class Objection:
    """What speaks against a disc.

    Attributes
    ----------
    kind : str
        ``small hole``, ``large hole``, ``pitch``, ``speed``; or, with which it is not run at all,
        ``hole out of reach``, ``touching``, ``impossible``.
    value, bound : float
        Hole over the seed's width [1], pitch over its length [1], or speed of the holes [m/s];
        and the bound that it passes.
    why : str
        Of what is impossible: the contradiction.
    """

    kind: str
    value: float
    bound: float
    why: str = ""

    @property
    def bars(self) -> bool:
        """Whether the disc is not even run."""
        return self.kind in BARS


@dataclass(frozen=True)
class Machine:
    """What is asked, on a machine whose disc and settings are still to be chosen.

    Attributes
    ----------
    scenario : Scenario
        In the field, with a disc in it that stands for any.
    given : frozenset of str
        Fields that the user has stated, as ``section.field``.
    """

    scenario: Scenario
    given: frozenset[str]

    def fitted(self, disc: GenericDisc) -> Scenario:
        """With a disc, its singulator and the gate at the level where discs are compared.

        Raises
        ------
        BadInput
            When the disc contradicts lot or machine.
        """
        changes: dict[str, object] = {
            "disc__cells": disc.cells,
            "disc__hole_diameter": disc.hole_diameter,
            "disc__agitation": disc.agitation,
            "pool__gate_opening": gate_for(self.scenario, START_LEVEL),
        }
        if "singulator.gap" not in self.given:
            changes["singulator__gap"] = disc.gap
        if "singulator.notch_step" not in self.given:
            changes["singulator__notch_step"] = disc.notch_step
        return self.scenario.replace(**changes)


def gate_for(scenario: Scenario, level: float) -> float:
    """Opening at which the pool stands at a share of the carry line. [m]"""
    run = scenario.pool.pool_depth * math.tan(scenario.seeds.repose_angle)
    spec = specs(Pool)["gate_opening"]
    return min(max(level * scenario.pool.carry_line + run, spec.low), spec.high)


def machine_for(lot: str, changes: str | Sequence[str], changed_by: str = "--set") -> Machine:
    """The generic machine with what is asked and what the user has stated of it.

    Parameters
    ----------
    lot : str
        Name of a shipped lot, or path of a lot file.
    changes : str or sequence of str
        Changes of single keys; rate, row spacing and speed must be among them.
    changed_by : str
        What faults of changes are said to come from.

    Raises
    ------
    BadInput
        With every fault found.
    """
    changes = listed(changes)
    places = {}
    for change in changes:
        key = change.partition("=")[0].strip()
        if place := section_of(key):
            section, bare = place
            places[f"{section}.{_field(section, bare)}"] = key
    faults = [
        Fault(changed_by, places[name], "is chosen by the sheet or has an option; leave it out")
        for name in CHOSEN
        if name in places
    ]
    faults += [
        Fault(changed_by, "", f"{spec.meaning} is missing; give {' or '.join(spec.keys)}")
        for name, spec in specs(Demand).items()
        if f"demand.{name}" not in places
    ]
    try:
        seeds = load_lot(lot)
    except BadInput as error:
        raise BadInput((*error.faults, *faults)) from None
    if faults:
        raise BadInput(faults)
    hole = max(0.3 * seeds.width * 1e3, 0.3)  # stands for any until a disc is fitted
    filled = [f"lot={lot}", f"hole_diameter_mm={hole:.6g}"]
    made = load_scenario(MACHINE, [*filled, *changes], changed_by=changed_by)
    return Machine(replace(made, name="sheet", changes=tuple(changes)), frozenset(places))


def _field(section: str, key: str) -> str:
    return KEYS[section][key].name


def objections(scenario: Scenario) -> tuple[Objection, ...]:
    """What speaks against the disc of a scenario, without running it.

    Parameters
    ----------
    scenario : Scenario
        With the disc fitted.

    Notes
    -----
    The hole's share of the width is what handbooks give (from memory); the pitch is where
    neighbours get in each other's way (assumption); the speed of the holes is where the range of
    onal2012 ends (from memory), for the crops of that study alone.
    """
    return (*_of_hole(scenario.disc.hole_diameter / scenario.seeds.width), *_of_circle(scenario))


def _of_hole(share: float) -> list[Objection]:
    low, high = HANDBOOK_HOLE
    if not TRIED_HOLE[0] <= share <= TRIED_HOLE[1]:
        return [Objection(NO_HOLE, share, low if share < low else high)]
    if share < low:
        return [Objection(SMALL_HOLE, share, low)]
    return [Objection(LARGE_HOLE, share, high)] if share > high else []


def _of_circle(scenario: Scenario) -> list[Objection]:
    found = []
    apart = scenario.pitch / scenario.seeds.length
    if apart < MIN_PITCH_OVER_LENGTH:
        found.append(Objection(TOUCHING, apart, MIN_PITCH_OVER_LENGTH))
    elif apart < CLOSE_PITCH:
        found.append(Objection(PITCH, apart, CLOSE_PITCH))
    if scenario.lot.crop in STUDIED_CROPS and scenario.peripheral_speed > SPEED_CEILING:
        found.append(Objection(SPEED, scenario.peripheral_speed, SPEED_CEILING))
    return found


def fit(machine: Machine, disc: GenericDisc) -> tuple[Scenario | None, tuple[Objection, ...]]:
    """A machine with a disc, and what speaks against the disc; no scenario where it cannot be."""
    share = disc.hole_diameter / machine.scenario.seeds.width
    if any(objection.bars for objection in _of_hole(share)):
        return None, tuple(_of_hole(share))
    try:
        scenario = machine.fitted(disc)
    except BadInput as error:
        return None, (Objection(IMPOSSIBLE, share, share, error.faults[0].message),)
    return scenario, objections(scenario)
