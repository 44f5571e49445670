"""What an operator can move on a meter with a hidden fault, as people type it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.typed import typed_quantity
from metersim.machine.changes import listed, read_changes, section_of
from metersim.machine.given import scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.faults.fault import stated
from metersim.questions.shared.settings import SETTINGS, Setting, Steps, can_move
from metersim.questions.shared.words import notch_text

REACH = 6  # steps from the start within which a setting can be moved
MOVABLE = {name: one for name, one in SETTINGS.items() if not one.part}
"""Settings that an operator can move, by name."""
LABELS = {
    "notch": "notch of the singulator",
    "vacuum": "vacuum at the gauge",
    "gate": "opening of the gate",
    "guide": "inner guide",
    "speed": "speed of travel",
}
Changes = tuple[str, ...]
"""Moved settings with their values, in typed form and in the order of `MOVABLE`."""


@dataclass(frozen=True)
class Limits:
    """Values of a setting that an operator can choose.

    Attributes
    ----------
    low, high : float
        Least and greatest value, in SI; 0 and 1 for a switch.
    step : float
        One step, in SI.
    """

    low: float
    high: float
    step: float


def limits_of(setting: Setting, start: Scenario, units: str) -> Limits:
    """Values that a setting can have, up to `REACH` steps from the start."""
    if setting.spec.kind == "switch":
        return Limits(0.0, 1.0, 1.0)
    now, step = setting.of(start), setting.steps[units]

    def reach(way: int) -> int:
        steps = (way * k for k in range(REACH, 0, -1))
        return next((k for k in steps if can_move(start, {setting.name: k}, units)), 0)

    return Limits(now + reach(-1) * step, now + reach(1) * step, step)


def value_text(setting: Setting, value: Any, units: str) -> str:
    """A setting and its value in words."""
    if setting.spec.kind == "switch":
        return setting.more if value else f"no {LABELS[setting.name]}"
    if setting.name == "notch":
        return notch_text(value)
    unit = setting.spec.unit_for(units)
    number = f"{unit.from_si(value) if unit else value:.3g}"
    return f"{setting.name} {number} {unit.symbol if unit else ''}".rstrip()


def settings_text(scenario: Scenario, units: str, names: Iterable[str] = MOVABLE) -> str:
    """Some settings of a scenario and their values in words."""
    return ", ".join(value_text(MOVABLE[k], MOVABLE[k].of(scenario), units) for k in names)


def key_of(setting: Setting, units: str) -> str:
    """Key of a setting with its unit, as it is typed."""
    unit = setting.spec.unit_for(units)
    return f"{setting.field}_{unit.suffix}" if unit else setting.field


def moved_names(before: Scenario, after: Scenario) -> tuple[str, ...]:
    """Names of the settings whose values differ."""
    return tuple(name for name, one in MOVABLE.items() if one.of(before) != one.of(after))


def change_of(setting: Setting, scenario: Scenario) -> str:
    """Value of a setting in a scenario, as a change in typed form."""
    return stated(setting.section, setting.field, setting.of(scenario))


def changes_of(steps: Steps, start: Scenario, units: str) -> Changes:
    """Settings moved by whole steps from the start, in typed form."""
    found = []
    for name, one in MOVABLE.items():
        if count := steps.get(name, 0):
            switch = one.spec.kind == "switch"
            to = count > 0 if switch else one.of(start) + count * one.steps[units]
            found.append(stated(one.section, one.field, to))
    return tuple(found)


def moved_to(start: Scenario, now: Changes, typed: Sequence[str], units: str) -> Changes:
    """Changes after one move of one or several settings.

    Parameters
    ----------
    start : Scenario
        What the scales show before the first move.
    now : tuple of str
        Changes so far.
    typed : sequence of str
        Settings and their new values, such as ``notch=1`` or ``vacuum=16 inH2O``.  A value without
        a unit has the one that this reader's units have for it.
    units : str
        ``metric`` or ``us``.

    Raises
    ------
    BadInput
        With every fault found: what an operator cannot move, or not so far.
    """
    texts = listed(_with_unit(one, units) for one in typed)
    if not texts:
        raise bad("move", "", "names no setting; give key=value, such as notch=1")
    table, faults = read_changes(texts, "move")
    faults = [_known(one) for one in faults]
    faults += _twice(texts)
    wanted: dict[str, str] = {}
    for section, part in table.items():
        for key, value in part.items():
            name = _name_of(section, key)
            if name is None:
                faults.append(_known(Fault("move", key, "")))
            else:
                wanted[name] = f"{section}.{key}={str(value).lower()}"
                faults += _faults_of(MOVABLE[name], key, value, start, units)
    if faults:
        raise BadInput(faults)
    place = scenario_of(scenario_of(start, now), wanted.values(), changed_by="move")
    changes = tuple(change_of(MOVABLE[k], place) for k in moved_names(start, place))
    if changes == now:
        said = settings_text(place, units, wanted)
        raise bad("move", ", ".join(typed), f"moves nothing; it is {said} already")
    return changes


def _with_unit(typed: str, units: str) -> str:
    """A typed change with the key of its field; a plain number has the reader's unit."""
    key, equals, value = (part.strip() for part in typed.partition("="))
    bare = key.rpartition(".")[2]
    by_field = {one.field: one for one in MOVABLE.values()}
    setting = MOVABLE.get(bare) or by_field.get(bare)
    if not setting or not equals:
        return typed
    read = typed_quantity(value)
    plain = read is not None and read[1] is None
    return f"{key_of(setting, units) if plain else setting.field}={value}"


def _twice(texts: Sequence[str]) -> list[Fault]:
    """Faults of settings that are moved twice."""
    found = [section_of(one.partition("=")[0].strip()) for one in texts]
    names = [_name_of(*one) for one in found if one]
    twice = [name for name in dict.fromkeys(names) if name and names.count(name) > 1]
    return [Fault("move", name, "is moved twice; give one value") for name in twice]


def _name_of(section: str, key: str) -> str | None:
    """Name of the setting that a key moves, if an operator can move it."""
    for name, one in MOVABLE.items():
        if one.section == section and key in all_fields()[section, one.field].keys:
            return name
    return None


def _known(fault: Fault) -> Fault:
    """A fault that says what can be moved, where a key is unknown."""
    if "key=value" in fault.message or "cannot be read" in fault.message:
        return fault
    bare = fault.key.rpartition(".")[2]
    for name, one in MOVABLE.items():
        if bare in (name, one.field):  # known, but not with this unit
            symbols = [unit.symbol for unit in one.spec.keys.values() if unit]
            return Fault("move", fault.key, f"must be a number of {' or '.join(symbols)}")
    names = [*MOVABLE]
    return Fault("move", fault.key, f"cannot be moved by an operator; {hint(fault.key, names)}")


def _faults_of(setting: Setting, key: str, value: Any, start: Scenario, units: str) -> list[Fault]:
    """What is wrong with a value: it is none, or lies too far from the start."""
    spec, unit = setting.spec, setting.spec.keys[key]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or spec.kind == "switch":
        complaint = spec.complaint(value, unit)
        return [Fault("move", key, complaint)] if complaint else []
    ends, there = limits_of(setting, start, units), unit.to_si(value) if unit else float(value)
    slack = 1e-3 * ends.step  # ends are shown with six digits
    if ends.low - slack <= there <= ends.high + slack:
        return []
    low, high = (f"{unit.from_si(end) if unit else end:.4g}" for end in (ends.low, ends.high))
    allowed = f"give {low} to {high} {unit.symbol if unit else ''}".rstrip()
    return [Fault("move", key, f"{value} is too far from the start; {allowed}")]
