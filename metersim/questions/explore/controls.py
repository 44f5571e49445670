"""The settings of a scenario as controls of a page: value, range and step in both unit systems.

The ends of a slider follow one rule:

1. They are half and twice the value of the scenario.  A degree from 0 to 1, a value of 0 or less,
   a temperature, and a setting that is not stated have the whole declared range.  `RANGES` names
   the few settings for which people use another range.
2. They are never outside the declared range.
3. An end at which the scenario contradicts itself is moved towards the value until it does not.
4. They are rounded inwards to whole steps, and always include the value.

A step is that of `metersim.questions.shared.settings.SETTINGS`, or one round number: 1, 2 or 5
times a power of ten, some `STEPS` of which make the range.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from metersim.files.faults import BadInput
from metersim.files.fields import Spec
from metersim.files.unknown import Unknown
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.machine.seedlot import shipped_lots
from metersim.questions.shared.settings import SETTINGS

SYSTEMS = ("metric", "us")
STEPS = 40  # of a slider, at least
ROUNDING = 1e-9  # of a step
HALVINGS = 12  # of the way from an end that contradicts itself to the value
MAIN = (
    "demand.speed",
    "vacuum.vacuum",
    "singulator.notch",
    "pool.gate_opening",
    "disc.hole_diameter",
    "disc.cells",
    "guide.inner_guide",
    "demand.rate",
    "demand.row_spacing",
    "seed.lot",
    "run.turns",
)
"""Settings that people move first, in this order."""
RANGES: Mapping[str, tuple[float, float]] = {
    "singulator.notch": (-3, 5),
    "pool.hopper": (0.2, 40),
    "tube.tube_curvature": (0, math.radians(30)),
    "run.turns": (20, 1_000),
    "run.tick": (0.05, 0.5),
    "gap.running_gap": (0.1e-3, 2e-3),
    "toolbar.curve_radius": (10, 500),
    "fan.shut_off": (1e3, 15e3),
    "fan.free_flow": (50 / 3600, 2_000 / 3600),
    "hoses.fan_at": (0.5, 12.5),
    "guide.inner_gap": (1e-3, 10e-3),
    "seed.size_cv": (0, 0.2),
    "travel.air_tick": (0.05, 1),
}
"""Usable ranges in SI where half to twice the value says too little or too much."""
LABELS: Mapping[str, str] = {
    "demand.rate": "seeding rate",
    "disc.cells": "holes on the disc",
    "drive.kind": "drive",
    "seed.lot": "seed lot",
    "seed.size_factor": "seed size",
    "seed.size_cv": "spread of seed size",
    "singulator.gap": "gap at notch 0",
    "disc.circle_radius": "radius of the holes' circle",
    "pool.hopper": "seed in the hopper",
    "pool.clearance": "slot at the disc",
    "cutoff.made_for": "cut-off part made for",
    "furrow.observed": "spacings observed",
    "row_unit.shock_per_speed": "shocks per speed",
    "sensor.detection": "seeds the sensor sees",
    "sensor.day": "hours of a day followed",
    "stand.late_share": "late plants",
    "stand.late_by": "delay of late plants",
    "travel.speeds": "speed along the pass",
    "travel.rates": "rate along the pass",
    "travel.off": "row off",
    "travel.start": "discs at the start",
    "fan.set_when": "fan set",
    "fan.shut_off": "fan, most pressure",
    "fan.free_flow": "fan, free flow",
    "toolbar.rows": "rows of the machine",
    "toolbar.working": "rows that work",
    "toolbar.parked": "parked rows",
    "run.tick": "tick, in turns",
    "run.turns": "turns of the disc",
}
"""Labels of settings whose name alone would not be understood."""
GROUPS: Mapping[str, str] = {
    "seed": "seed",
    "disc": "disc",
    "pool": "gate and pool",
    "vacuum": "vacuum",
    "singulator": "singulator",
    "guide": "inner guide",
    "cutoff": "cut-off",
    "tube": "tube",
    "furrow": "furrow or belt",
    "row_unit": "row unit",
    "sensor": "sensor",
    "drive": "drive",
    "gap": "running gap",
    "conditions": "ground and weather",
    "toolbar": "rows of the machine",
    "fan": "fan",
    "hoses": "hoses",
    "travel": "the pass",
    "demand": "speed and rate",
    "stand": "plants",
    "run": "length of the run",
}
KINDS = {
    "number": "number",
    "count": "whole",
    "choice": "choice",
    "switch": "flag",
    "text": "text",
}


@dataclass(frozen=True, kw_only=True)
class Control:
    """One setting as a page offers it.

    Attributes
    ----------
    key : str
        Section and field.
    spec : Spec
        Declaration of the field.
    value : Any
        Value in SI; the middle of a range; None if it is not stated.
    spread : Unknown, optional
        The range that is given in place of a value.
    low, high : float
        Ends of the slider in SI; nan for what is no number.
    choices : tuple of str
        Allowed words, or those that are offered for a text.
    """

    key: str
    spec: Spec
    value: Any
    spread: Unknown | None = None
    low: float = math.nan
    high: float = math.nan
    choices: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The control for JSON; numbers in metric and in US units."""
        section, spec = self.key.partition(".")[0], self.spec
        made: dict[str, Any] = {
            "key": self.key,
            "typed": {system: _typed(spec, system) for system in SYSTEMS},
            "label": label_of(self.key),
            "group": GROUPS[section],
            "meaning": spec.meaning,
            "kind": KINDS[spec.kind],
            "main": self.key in MAIN,
            "optional": spec.optional,
            "value": self.shown(self.value),
        }
        if spec.kind in ("number", "count"):
            ends = {system: self._ends(system) for system in SYSTEMS}
            for k, name in enumerate(("low", "high", "step")):
                made[name] = {system: ends[system][k] for system in SYSTEMS}
            made["unit"] = {system: _symbol(spec, system) for system in SYSTEMS}
        if self.choices:
            made["choices"] = [*self.choices]
        if self.spread:
            made["spread"] = {system: self.spread.text(system) for system in SYSTEMS}
        return made

    def shown(self, value: Any) -> Any:
        """A value in SI as the page shows it: a number by system of units, others as they are."""
        if self.spec.kind not in ("number", "count"):
            return value
        return {system: _in_unit(self.spec, value, system) for system in SYSTEMS}

    def _ends(self, system: str) -> tuple[float, float, float]:
        """Low, high and step of the slider, in a unit of a system."""
        spec = self.spec
        unit = spec.unit_for(system)
        low, high = (unit.from_si(end) if unit else end for end in (self.low, self.high))
        step = _step(self.key, spec, system, high - low)
        here = self.value is not None
        value = _in_unit(spec, self.value, system) if here else (low + high) / 2
        down, up = math.ceil(low / step - ROUNDING), math.floor(high / step + ROUNDING)
        number = round if spec.kind == "count" else float
        ends = min(float(f"{down * step:.10g}"), value), max(float(f"{up * step:.10g}"), value)
        return number(ends[0]), number(ends[1]), number(step)


def label_of(key: str) -> str:
    """What the page calls a setting, given as section and field."""
    return LABELS.get(key) or key.partition(".")[2].replace("_", " ")


def controls_of(scenario: Scenario) -> tuple[Control, ...]:
    """Controls of every setting of a scenario, those that people move first at the head.

    Parameters
    ----------
    scenario : Scenario
        The scenario whose values are in the middle of the sliders.
    """
    spreads = {f"{one.section}.{one.name}": one for one in scenario.unknown}
    found = {}
    for (section, name), spec in all_fields().items():
        key, value = f"{section}.{name}", getattr(getattr(scenario, section), name)
        low, high = math.nan, math.nan
        if spec.kind in ("number", "count"):
            low, high = _range(scenario, section, spec, value)
        choices = spec.choices
        if key == "seed.lot":
            choices = tuple(dict.fromkeys((value, *shipped_lots())))
        found[key] = Control(
            key=key,
            spec=spec,
            value=value,
            spread=spreads.get(key),
            low=low,
            high=high,
            choices=choices,
        )
    first = [found[key] for key in MAIN]
    return (*first, *(one for key, one in found.items() if key not in MAIN))


def values_of(controls: tuple[Control, ...], scenario: Scenario) -> dict[str, Any]:
    """Values of all settings of a scenario by key, as the controls show them."""
    made = {}
    for one in controls:
        section, _, name = one.key.partition(".")
        made[one.key] = one.shown(getattr(getattr(scenario, section), name))
    return made


def _range(scenario: Scenario, section: str, spec: Spec, value: Any) -> tuple[float, float]:
    """Ends of the slider of a number, in SI; see the rule at the head of the module."""
    low, high = _usable(f"{section}.{spec.name}", spec, value)
    if value is None:
        return low, high
    low, high = min(low, value), max(high, value)

    def allowed(end: float) -> bool:
        to = round(end) if spec.kind == "count" else end
        try:
            scenario.replace(**{f"{section}__{spec.name}": to})
        except BadInput:
            return False
        return True

    return _nearest(low, float(value), allowed), _nearest(high, float(value), allowed)


def _usable(key: str, spec: Spec, value: Any) -> tuple[float, float]:
    """A usable range in SI within the declared one."""
    if key in RANGES:
        low, high = RANGES[key]
    elif not value or value < 0 or (spec.low, spec.high) == (0, 1) or _has_zero(spec):
        low, high = spec.low, spec.high
    else:
        low, high = value / 2, value * 2
    return max(low, spec.low), min(high, spec.high)


def _has_zero(spec: Spec) -> bool:
    """Whether twice a value has no meaning, as of a temperature."""
    return any(unit.zero for unit in spec.units)


def _nearest(end: float, value: float, allowed: Callable[[float], bool]) -> float:
    """The end, or the farthest allowed place on the way from it to the value."""
    if allowed(end):
        return end
    good, bad = value, end
    for _ in range(HALVINGS):
        middle = (good + bad) / 2
        good, bad = (middle, bad) if allowed(middle) else (good, middle)
    return good


def _step(key: str, spec: Spec, system: str, span: float) -> float:
    """Size of one step in the unit of a system."""
    unit = spec.unit_for(system)
    for one in SETTINGS.values():
        if key == f"{one.section}.{one.field}":
            far = one.steps[system]
            return float(f"{far / unit.factor if unit else far:.6g}")
    step = _round_number(span / STEPS)
    return max(step, 1.0) if spec.kind == "count" else step


def _round_number(most: float) -> float:
    """The greatest of 1, 2 and 5 times a power of ten that is not above a number."""
    power = 10.0 ** math.floor(math.log10(most)) if most > 0 else 1.0
    size = max(one for one in (1, 2, 5) if one * power <= most * (1 + 1e-9) or one == 1)
    return float(f"{size * power:.6g}")


def _typed(spec: Spec, system: str) -> str:
    """The key that states the field in a system of units."""
    unit = spec.unit_for(system)
    return f"{spec.name}_{unit.suffix}" if unit else spec.name


def _symbol(spec: Spec, system: str) -> str:
    unit = spec.unit_for(system)
    return unit.symbol if unit else ""


def _in_unit(spec: Spec, value: Any, system: str) -> Any:
    """A number in the unit of a system; None if it is not stated."""
    unit = spec.unit_for(system)
    if spec.kind == "count" or unit is None or value is None:
        return value
    return float(f"{unit.from_si(value):.10g}")
