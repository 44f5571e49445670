"""Settings as people move them: by steps, and as variants of one scenario."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, all_of, bad
from metersim.files.fields import Spec
from metersim.files.units import UNITS
from metersim.machine.reading import listed, load_scenario, section_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields


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


MOST = 6  # values of one key, that a figure can tell apart


def variants(
    *scenarios: str | Path | Scenario,
    vary: str | None = None,
    changes: str | Sequence[str] = (),
    labels: Sequence[str] = (),
) -> dict[str, Scenario]:
    """Scenarios to compare, by what tells them apart.

    Parameters
    ----------
    *scenarios : str, Path or Scenario
        Two or more: shipped ones by name, files, or scenarios of your own making.  One, by name
        or file, with `vary`.
    vary : str, optional
        Values of one key, ``key=a,b``.
    changes : str or sequence of str
        Changes of single keys for all, as ``key=value``; takes names or files.
    labels : sequence of str
        One each; else the names, or the values of what is varied.

    Raises
    ------
    BadInput
        With every fault found.
    ValueError
        For a `Scenario` together with `vary` or `changes`, or other than one label each.
    """
    if not scenarios or (vary is None) == (len(scenarios) == 1):
        raise bad("compare", "", "give either --vary key=a,b or a second scenario")
    made = [one for one in scenarios if isinstance(one, Scenario)]
    if made and (vary is not None or changes):
        raise ValueError(
            f"{made[0].name!r} is made already; give vary and changes with the name or file of "
            "a scenario, or change it with its method replace"
        )
    changes = listed(changes)
    loads = [partial(_loaded, one, changes) for one in scenarios]
    names = _names(scenarios)
    if vary is not None:
        names = _settings(vary)
        loads = [partial(_loaded, scenarios[0], [*changes, name], "--vary") for name in names]
    names = list(labels) or names
    if len(names) != len(loads):
        raise ValueError(f"{len(loads)} scenarios with {len(names)} labels; give one label each")
    for name in names:
        if names.count(name) > 1:
            raise bad("compare", name, "is there twice; compare what differs, or give labels")
    return dict(zip(names, all_of(*loads), strict=True))


def _loaded(
    scenario: str | Path | Scenario, changes: Sequence[str], changed_by: str = "--set"
) -> Scenario:
    if isinstance(scenario, Scenario):
        return scenario
    return load_scenario(scenario, changes, changed_by=changed_by)


def _names(scenarios: Sequence[str | Path | Scenario]) -> list[str]:
    """The shortest names that tell scenarios apart."""
    short = [one.name if isinstance(one, Scenario) else Path(one).stem for one in scenarios]
    if len(set(short)) == len(short):
        return short
    return [
        ", ".join((one.name, *one.changes)) if isinstance(one, Scenario) else str(one)
        for one in scenarios
    ]


def _settings(vary: str) -> list[str]:
    """The single settings that ``key=a,b`` stands for."""
    key, _, values = (part.strip() for part in vary.partition("="))
    if "{" in values:
        message = "takes values; give a range with --set, or in the files of two scenarios"
        raise bad("--vary", vary, message)
    words = [word.strip() for word in values.split(",") if word.strip()]
    if not 2 <= len(words) <= MOST:
        message = f"must read key=a,b with 2 to {MOST} values, such as vacuum_kpa=3,4"
        raise bad("--vary", vary, message)
    if section_of(key) == ("run", "turns"):
        raise bad("--vary", key, "all variants are watched equally long; set it with --set")
    return [f"{key}={word}" for word in words]
