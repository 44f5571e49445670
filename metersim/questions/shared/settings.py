"""Settings that people move: single steps, and variants of one scenario."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Parameter, all_of, bad
from metersim.files.fields import Spec
from metersim.files.units import UNITS
from metersim.machine.changes import listed, plain_change, section_of
from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields


@dataclass(frozen=True)
class Setting:
    """One setting of a meter, and the size of one step.

    Attributes
    ----------
    name : str
        Name of the setting.
    section, field : str
        Section and field of a scenario that hold the setting.
    steps : mapping of str to float
        Size of one step by family of units, in SI; 1 for a switch.
    more, less : str
        Words for a step up and for a step down; ``{}`` stands for its size.
    part : bool
        Whether a step needs another part, not a turn of a knob.
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
        """Declaration of the field in a scenario."""
        return all_fields()[self.section, self.field]

    def of(self, scenario: Scenario) -> Any:
        """Value of the setting in a scenario, in SI."""
        return getattr(getattr(scenario, self.section), self.field)

    def words(self, count: int, units: str = "metric") -> str:
        """A number of steps in words: up when above 0, down when below."""
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
"""Settings by name.  Sizes of steps are common practice, no source: easily set again by hand."""

Steps = Mapping[str, int]
"""Number of steps by name of the setting; up when above 0."""


def moved(scenario: Scenario, steps: Steps, units: str = "metric") -> Scenario:
    """A scenario with settings moved by whole steps.

    Parameters
    ----------
    scenario : Scenario
        Scenario before the move.  An uncertain setting is moved from its middle.
    steps : mapping of str to int
        Number of steps by name of `SETTINGS`; up when above 0.
    units : {'metric', 'us'}
        Family of units of the steps.

    Raises
    ------
    BadInput
        When a setting cannot take its new value.
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
    """Whether a move of settings is possible and changes at least one value."""
    try:
        there = moved(scenario, steps, units)
    except BadInput:
        return False
    return any(
        SETTINGS[name].of(there) != SETTINGS[name].of(scenario) for name, count in steps.items()
    )


def steps_text(steps: Steps, units: str = "metric") -> str:
    """Steps of one or more settings in words."""
    words = [SETTINGS[name].words(count, units) for name, count in steps.items() if count]
    return " and ".join(words) or "as it is"


MOST = 6  # values of one key that a figure can show distinctly


def variants(
    *scenarios: AnyScenario,
    vary: str | None = None,
    changes: str | Sequence[str] = (),
    labels: Sequence[str] = (),
) -> dict[str, Scenario]:
    """Scenarios to compare, by a label that distinguishes each of them.

    Parameters
    ----------
    *scenarios : str, Path or Scenario
        Two or more names of shipped scenarios, files, or `Scenario` objects.  With `vary`, one.
    vary : str, optional
        Values of one key, ``key=a,b``.
    changes : str or sequence of str
        Changes of single keys for all scenarios, as ``key=value``.
    labels : sequence of str
        One label for each scenario; by default its name, or its varied value.

    Raises
    ------
    BadInput
        With every fault found.
    ValueError
        For a wrong number of labels.
    """
    if not scenarios or (vary is None) == (len(scenarios) == 1):
        raise bad("compare", "", "give either `vary` key=a,b or a second scenario")
    changes = listed(changes)
    loads = [partial(scenario_of, one, changes) for one in scenarios]
    names = _names(scenarios)
    if vary is not None:
        names = _settings(vary)
        told = Parameter("vary")
        loads = [
            partial(scenario_of, scenarios[0], [*changes, name], changed_by=told) for name in names
        ]
    names = list(labels) or names
    if len(names) != len(loads):
        raise ValueError(f"{len(loads)} scenarios with {len(names)} labels; give one label each")
    for name in names:
        if names.count(name) > 1:
            raise bad("compare", name, "is there twice; compare what differs, or give labels")
    return dict(zip(names, all_of(*loads), strict=True))


def _names(scenarios: Sequence[AnyScenario]) -> list[str]:
    """The shortest names that distinguish the scenarios."""
    short = [one.name if isinstance(one, Scenario) else Path(one).stem for one in scenarios]
    if len(set(short)) == len(short):
        return short
    return [
        ", ".join((one.name, *one.changes)) if isinstance(one, Scenario) else str(one)
        for one in scenarios
    ]


def _settings(vary: str) -> list[str]:
    """The single settings that ``key=a,b`` stands for."""
    key, _, values = (part.strip() for part in plain_change(vary).partition("="))
    if "{" in values:
        message = "takes values; give a range with `changes`, or in the files of two scenarios"
        raise bad(Parameter("vary"), vary, message)
    words = [word.strip() for word in values.split(",") if word.strip()]
    if not 2 <= len(words) <= MOST:
        message = f"must read key=a,b with 2 to {MOST} values, such as vacuum_kpa=3,4"
        raise bad(Parameter("vary"), vary, message)
    if section_of(key) == ("run", "turns"):
        raise bad(
            Parameter("vary"), key, "all variants are watched equally long; set it with `changes`"
        )
    return [f"{key}={word}" for word in words]
