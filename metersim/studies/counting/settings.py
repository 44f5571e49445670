"""What an operator sets, and the single step of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from metersim.faults import BadInput
from metersim.fields import Spec
from metersim.scenario import Scenario
from metersim.sections import all_fields
from metersim.units import UNITS


@dataclass(frozen=True)
class Setting:
    """One thing that is set, and how far one step moves it.

    Attributes
    ----------
    name : str
        What it is called here.
    section, field : str
        Where a scenario holds it.
    steps : mapping of str to float
        One step by family of units, in SI; 1 for a switch.
    more, less : str
        A step up and one down, in words; ``{}`` stands for how far.
    part : bool
        Whether a step takes another part, not a turn of a knob.
    """

    name: str
    section: str
    field: str
    steps: Mapping[str, float]
    more: str
    less: str
    part: bool = False

    @property
    def spec(self) -> Spec:
        """What a scenario allows."""
        return all_fields()[self.section, self.field]

    def of(self, scenario: Scenario) -> Any:
        """The value that a scenario holds, in SI."""
        return getattr(getattr(scenario, self.section), self.field)

    def said(self, count: int, units: str = "metric") -> str:
        """So many steps in words, up when above 0 and down when below."""
        form = self.more if count > 0 else self.less
        if self.spec.kind == "switch":
            return form
        far = abs(count) * self.steps[units]
        if self.spec.units:
            family = [unit for unit in self.spec.units if unit.family in (units, "both")]
            return form.format(f"{family[0].from_si(far):.3g} {family[0].symbol}")
        many = {1: "one notch", 2: "two notches", 3: "three notches"}.get(abs(count))
        return form.format(many or f"{abs(count)} notches")


SETTINGS = {
    setting.name: setting
    for setting in (
        Setting(
            "notch",
            "singulator",
            "notch",
            {"metric": 1.0, "us": 1.0},
            "{} more aggressive",
            "{} less aggressive",
        ),
        Setting(
            "vacuum",
            "vacuum",
            "vacuum",
            {"metric": 500.0, "us": UNITS["inh2o"].to_si(2)},
            "{} more vacuum",
            "{} less vacuum",
        ),
        Setting(
            "gate",
            "pool",
            "gate_opening",
            {"metric": 5e-3, "us": UNITS["in"].to_si(0.25)},
            "gate {} higher",
            "gate {} lower",
        ),
        Setting(
            "guide",
            "guide",
            "inner_guide",
            {"metric": 1.0, "us": 1.0},
            "inner guide fitted",
            "inner guide taken off",
        ),
        Setting(
            "speed",
            "demand",
            "speed",
            {"metric": UNITS["kmh"].to_si(1), "us": UNITS["mph"].to_si(0.5)},
            "{} faster",
            "{} slower",
        ),
        Setting(
            "hole",
            "disc",
            "hole_diameter",
            {"metric": 0.25e-3, "us": UNITS["in"].to_si(0.01)},
            "holes {} wider",
            "holes {} narrower",
            part=True,
        ),
    )
}
"""By name.  The steps are common practice, no source: what is easily set again by hand."""

Steps = Mapping[str, int]
"""How many steps of which settings, by name; up when above 0."""


def moved(scenario: Scenario, steps: Steps, units: str = "metric") -> Scenario:
    """A scenario with settings moved by whole steps.

    Parameters
    ----------
    scenario : Scenario
        Where from.  What is moved and not known is moved from its middle.
    steps : mapping of str to int
        How many steps of which of `SETTINGS`; above 0 for more.
    units : {'metric', 'us'}
        Whose steps.

    Raises
    ------
    BadInput
        When a setting cannot go there.
    """
    changes: dict[str, Any] = {}
    for name, count in steps.items():
        setting = SETTINGS[name]
        now = setting.of(scenario)
        if setting.spec.kind == "switch":
            to: Any = count > 0 if count else now
        else:
            to = now + count * setting.steps[units]
        changes[f"{setting.section}__{setting.field}"] = to
    return scenario.replace(**changes)


def can_move(scenario: Scenario, steps: Steps, units: str = "metric") -> bool:
    """Whether settings can be moved so, and anything would be other than it is."""
    try:
        there = moved(scenario, steps, units)
    except BadInput:
        return False
    return any(
        SETTINGS[name].of(there) != SETTINGS[name].of(scenario) for name, count in steps.items()
    )


def said(steps: Steps, units: str = "metric") -> str:
    """Steps in words."""
    words = [SETTINGS[name].said(count, units) for name, count in steps.items() if count]
    return " and ".join(words) or "as it is"
