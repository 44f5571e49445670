"""Scenario files out: text that reads back as the same scenario."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from metersim.files.fields import Spec, specs
from metersim.files.unknown import FORMS, Unknown
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS


def scenario_toml(scenario: Scenario, notes: Sequence[str] = (), lot: str | None = None) -> str:
    """The text of a scenario file that extends no other.

    Parameters
    ----------
    scenario : Scenario
        What is set; ranges of what is not known are written as such.
    notes : sequence of str
        Lines of comment at the top.
    lot : str, optional
        Name or path of the lot, in place of the scenario's own, as seen from the file's folder.

    Returns
    -------
    str
        TOML, with every key in its preferred unit, to twelve digits.
    """
    ranges = {(one.section, one.name): one for one in scenario.unknown}
    lines = [f"# {line}" for note in notes for line in note.splitlines()]
    lines += [f"title = {quoted(scenario.title)}"]
    if scenario.shows:
        lines.append(f"shows = {quoted(scenario.shows)}")
    for section, kind in SECTIONS.items():
        lines += ["", f"[{section}]"]
        part = getattr(scenario, section)
        for name, spec in specs(kind).items():
            value = getattr(part, name)
            if (section, name) == ("seed", "lot"):
                value = lot or value
            if unknown := ranges.get((section, name)):
                lines.append(f"{unknown.key} = {_range(unknown)}")
            elif value is not None:
                lines.append(_line(spec, value))
    return "\n".join(lines) + "\n"


def _line(spec: Spec, value: Any) -> str:
    if spec.kind == "number" and spec.units:
        unit = spec.units[0]
        return f"{spec.name}_{unit.suffix} = {_value(unit.from_si(value))}"
    return f"{spec.name} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(float(f"{value:.12g}"))
    return quoted(value) if isinstance(value, str) else str(value)


def _range(unknown: Unknown) -> str:
    if unknown.form == "among":
        return f"{{ among = [{', '.join(map(_value, unknown.stated))}] }}"
    pairs = zip(FORMS[unknown.form], unknown.stated, strict=True)
    return f"{{ {', '.join(f'{word} = {_value(value)}' for word, value in pairs)} }}"


def quoted(text: str) -> str:
    """A TOML basic string; its escapes are those of JSON, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
