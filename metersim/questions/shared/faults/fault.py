"""A fault of a machine: what it changes in a scenario, where, when, and how it is found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from metersim.files.faults import BadInput
from metersim.machine.airline import chamber_vacuum
from metersim.machine.given import scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.hidden import HIDDEN

Change = Callable[[Scenario, float], tuple[str, ...]]
"""Changes of a scenario by a fault of a severity from 0 to 1, in typed form."""

ONE, SEVERAL, ALL = SCOPES = ("one", "several", "all")
"""Rows of a machine that have a fault."""
SLOW, SUDDEN = ONSETS = ("slow", "sudden")
"""Onset of a fault: wear over days and weeks, or from one moment to the next."""
ALWAYS, TURN, LATE, SLOPES, FIELD = WHEN = (
    "always",
    "after a turn",
    "late in the day",
    "on slopes",
    "in the field",
)
"""Times and places at which a fault is seen best."""
RUNNING, LOCKED = STATES = ("running", "locked out")
"""States of the machine for an inspection: it runs with all guards on, or nothing can start."""
MANUAL = "The manual comes first."
CAUTIONS = {
    RUNNING: f"Guards stay on, and hands, sleeves and hair stay away from fan and drive. {MANUAL}",
    LOCKED: f"Stop, let fan and disc come to rest, lock out, block what is raised. {MANUAL}",
}
"""Caution before an inspection, by the state of the machine."""
DUST = "Treated seed: gloves, no bare hands, no dust in the air."
MILDER = (1.0, 0.5, 0.25, 0.1, 0.0)
"""Shares of a severity that are tried in turn where a scenario cannot have the whole of it."""


def anywhere(scenario: Scenario) -> bool:
    """Every scenario can have such a fault."""
    return True


@dataclass(frozen=True, kw_only=True)
class MeterFault:
    """One fault of a machine.

    Attributes
    ----------
    name : str
        Name of the fault.
    words : str
        What is wrong, in a short sentence.
    change : callable
        Function of the scenario of a healthy machine and of a severity from 0, just noticeable, to
        1, bad.  It gives changes in typed form, such as ``vacuum.vacuum_kpa=3.2``.
    scope : str
        One of `SCOPES`: rows that have it.
    onset : str
        One of `ONSETS`.
    when : str
        One of `WHEN`.
    check : str
        Inspection that finds it.
    minutes : int
        Time of the inspection of one row (assumption). [min]
    state : str
        One of `STATES`: state of the machine during the inspection.
    opens : bool
        Whether a cover comes off or a hand goes in.  The machine is locked out then.
    prior : float
        Weight before anything is seen, over that of a usual fault (assumption). [1]
    caution : str
        Caution before the inspection; by default that of its state.
    fits : callable
        Function of a scenario that says whether its machine can have the fault.
    travels : bool
        Whether the fault goes along when the meter is put on a bench.
    """

    name: str
    words: str
    change: Change
    scope: str
    onset: str
    check: str
    minutes: int
    state: str
    opens: bool
    prior: float = 1.0
    when: str = ALWAYS
    caution: str = ""
    fits: Callable[[Scenario], bool] = anywhere
    travels: bool = True

    def __post_init__(self) -> None:
        for value, known in (
            (self.scope, SCOPES),
            (self.onset, ONSETS),
            (self.when, WHEN),
            (self.state, STATES),
        ):
            if value not in known:
                raise ValueError(f"{self.name}: {value!r}; allowed: {', '.join(known)}")
        if self.state == RUNNING and self.opens:
            raise ValueError(f"{self.name}: no check opens a machine that runs")
        if not self.caution:
            object.__setattr__(self, "caution", CAUTIONS[self.state])

    def put(self, scenario: Scenario, severity: float) -> Scenario:
        """The scenario with the fault.

        Parameters
        ----------
        scenario : Scenario
            Scenario of a healthy machine.
        severity : float
            From 0, just noticeable, to 1, bad.  A milder fault is put where the scenario cannot
            have this one, as where a seed would be drawn through the hole, or where the fan is too
            small. [1]

        Raises
        ------
        BadInput
            If the scenario cannot have the fault at all.
        """
        for part in MILDER:
            try:
                made = scenario_of(scenario, self.change(scenario, part * severity))
                chamber_vacuum(made)  # raises where the fan cannot give the vacuum
                return made
            except BadInput:
                if part == MILDER[-1]:
                    raise
        raise AssertionError("the last share gives a scenario or raises")


def between(severity: float, mild: float, bad: float) -> float:
    """Value of a fault at a severity: straight from the mild to the bad one."""
    return mild + (bad - mild) * severity


def stated(section: str, field: str, value: Any) -> str:
    """A change of one field in typed form, kept within the allowed range.

    Parameters
    ----------
    section, field : str
        Section and field of a scenario.
    value : float, bool or str
        New value, in SI.

    Examples
    --------
    >>> from metersim.questions.shared.faults.fault import stated
    >>> stated("vacuum", "vacuum", 3200.0), stated("vacuum", "chamber_open", True)
    ('vacuum.vacuum_kpa=3.2', 'vacuum.chamber_open=true')
    """
    spec = all_fields()[section, field]
    if spec.kind == "text":  # in quotes, as a text may look like a number
        return f'{section}.{field}="{value}"'
    if spec.kind not in ("number", "count"):
        return f"{section}.{field}={str(value).lower() if spec.kind == 'switch' else value}"
    number = min(max(value, spec.low), spec.high)
    if spec.kind == "count":
        return f"{section}.{field}={round(number)}"
    unit = spec.unit_for("metric")
    key = f"{field}_{unit.suffix}" if unit else field
    return f"{section}.{key}={unit.from_si(number) if unit else number:.6g}"


def times(section: str, field: str, mild: float, bad: float) -> Change:
    """A change that multiplies a setting by a factor, mild at severity 0 and bad at 1."""

    def change(scenario: Scenario, severity: float) -> tuple[str, ...]:
        now = getattr(getattr(scenario, section), field)
        return (stated(section, field, now * between(severity, mild, bad)),)

    return change


def at(section: str, field: str, mild: float, bad: float) -> Change:
    """A change that sets a field to a value in SI, mild at severity 0 and bad at 1.

    What is further off already stays as it is.
    """

    def change(scenario: Scenario, severity: float) -> tuple[str, ...]:
        now = getattr(getattr(scenario, section), field)
        value = between(severity, mild, bad)
        if now is not None:
            value = max(value, now) if bad > mild else min(value, now)
        return (stated(section, field, value),)

    return change


def always_so(section: str, field: str, value: Any) -> Change:
    """A change without degrees: the field has this value at every severity."""

    def change(scenario: Scenario, severity: float) -> tuple[str, ...]:
        return (stated(section, field, value),)

    return change


def hidden(cause: str, mild: float, bad: float) -> Change:
    """A change of a cause of `HIDDEN` to a value, mild at severity 0 and bad at 1."""

    def change(scenario: Scenario, severity: float) -> tuple[str, ...]:
        field, value = HIDDEN[cause].change(scenario, between(severity, mild, bad))
        section, _, name = field.partition("__")
        return (stated(section, name, value),)

    return change
