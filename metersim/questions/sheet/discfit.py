"""Discs that can carry a lot, and objections against a disc before its run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from metersim.files.faults import BadInput, Fault
from metersim.files.fields import specs
from metersim.machine.changes import KEYS, listed, section_of
from metersim.machine.discs import GenericDisc
from metersim.machine.reading import CHANGES, load_scenario
from metersim.machine.scenario import CLOSE_PITCH, MIN_PITCH_OVER_LENGTH, Scenario
from metersim.machine.sections import Demand, Pool
from metersim.machine.seedlot import load_lot
from metersim.machine.sources import HANDBOOK_HOLE
from metersim.measures.limits import SPEED_CEILING, STUDIED_CROPS

MACHINE = Path(__file__).parents[2] / "data" / "machine.toml"
TRIED_HOLE = (0.4, 0.8)  # assumption: widest range of trial, so that the handbooks can be wrong
START_LEVEL = 0.8  # pool level of the comparison over the carry line, as in shipped scenarios
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
    """An objection against a disc.

    Attributes
    ----------
    kind : str
        ``small hole``, ``large hole``, ``pitch``, or ``speed``.  Three others exclude the disc from
        runs: ``hole out of reach``, ``touching``, and ``impossible``.
    value, bound : float
        Hole over seed width [1], pitch over seed length [1], or speed of the holes [m/s]; and the
        exceeded bound.
    why : str
        Contradiction of an impossible disc.
    """

    kind: str
    value: float
    bound: float
    why: str = ""

    @property
    def bars(self) -> bool:
        """Whether the objection excludes the disc from runs."""
        return self.kind in BARS


@dataclass(frozen=True)
class Machine:
    """Request on a machine whose disc and settings are not yet chosen.

    Attributes
    ----------
    scenario : Scenario
        Scenario in the field, with an arbitrary disc.
    given : frozenset of str
        Fields that the user stated, as ``section.field``.
    """

    scenario: Scenario
    given: frozenset[str]

    def fitted(self, disc: GenericDisc) -> Scenario:
        """Scenario with a disc, its singulator, and the gate at the level of the comparison.

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
    """Gate opening for a pool level that is a share of the carry line. [m]"""
    run = scenario.pool.pool_depth * math.tan(scenario.seeds.repose_angle)
    spec = specs(Pool)["gate_opening"]
    return min(max(level * scenario.pool.carry_line + run, spec.low), spec.high)


def machine_for(lot: str, changes: str | Sequence[str], changed_by: str = CHANGES) -> Machine:
    """Generic machine with the request and the fields that the user stated.

    Parameters
    ----------
    lot : str
        Name of a shipped lot, or path of a lot file.
    changes : str or sequence of str
        Changes of single keys; rate, row spacing and speed must be among them.
    changed_by : str
        Name of the source of changes in faults.

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
    hole = max(0.3 * seeds.width * 1e3, 0.3)  # placeholder until a disc is fitted
    filled = [f"lot={lot}", f"hole_diameter_mm={hole:.6g}"]
    made = load_scenario(MACHINE, [*filled, *changes], changed_by=changed_by)
    return Machine(replace(made, name="sheet", changes=tuple(changes)), frozenset(places))


def _field(section: str, key: str) -> str:
    return KEYS[section][key].name


def objections(scenario: Scenario) -> tuple[Objection, ...]:
    """Objections against the disc of a scenario, without a run.

    Parameters
    ----------
    scenario : Scenario
        Scenario with the disc.

    Notes
    -----
    Bounds of the hole over the seed width are those of handbooks (from memory).  The bound of the
    pitch is an assumption: closer neighbours disturb each other.  The bound of the holes' speed
    is the end of the range of onal2012 (from memory), only for the crops of that study.
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
    pitch_over_length = scenario.pitch / scenario.seeds.length
    if pitch_over_length < MIN_PITCH_OVER_LENGTH:
        found.append(Objection(TOUCHING, pitch_over_length, MIN_PITCH_OVER_LENGTH))
    elif pitch_over_length < CLOSE_PITCH:
        found.append(Objection(PITCH, pitch_over_length, CLOSE_PITCH))
    if scenario.lot.crop in STUDIED_CROPS and scenario.peripheral_speed > SPEED_CEILING:
        found.append(Objection(SPEED, scenario.peripheral_speed, SPEED_CEILING))
    return found


def fit(machine: Machine, disc: GenericDisc) -> tuple[Scenario | None, tuple[Objection, ...]]:
    """Scenario of a machine with a disc, and objections; no scenario if it is impossible."""
    share = disc.hole_diameter / machine.scenario.seeds.width
    if any(objection.bars for objection in _of_hole(share)):
        return None, tuple(_of_hole(share))
    try:
        scenario = machine.fitted(disc)
    except BadInput as error:
        return None, (Objection(IMPOSSIBLE, share, share, error.faults[0].message),)
    return scenario, objections(scenario)
