"""A scenario however it is given: made already, by name or as a file; and a file of it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault
from metersim.files.fields import Spec, read_section, specs
from metersim.files.unknown import FORMS, Unknown, read_unknown
from metersim.machine.changes import ROWS, fault_of_row, listed, read_changes, split
from metersim.machine.reading import CHANGES, load_scenario
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import load_lot, with_sizes

AnyScenario = Scenario | str | Path
"""A scenario, the name of a shipped one, or a file."""


def scenario_of(
    scenario: AnyScenario, changes: str | Iterable[str] = (), *, changed_by: str = CHANGES
) -> Scenario:
    """A scenario as it is given, or the one of a name or file, with single keys changed.

    Parameters
    ----------
    scenario : Scenario, str or Path
        What is set, or the name or file of it.
    changes, changed_by
        As for `load_scenario`.

    Raises
    ------
    BadInput
        With every fault found.
    TypeError
        For what is neither a scenario nor a name.

    Examples
    --------
    >>> from metersim.machine.given import scenario_of
    >>> mine = scenario_of("maize_bench").replace(tube__tube_wear=0.8)
    >>> scenario_of(mine) is mine, scenario_of(mine, "notch=1").singulator.notch
    (True, 1.0)
    """
    if isinstance(scenario, Scenario):
        return _departing(scenario, tuple(listed(changes)), changed_by)
    name: Any = scenario
    if not isinstance(name, str | Path):
        kind = type(name).__name__
        raise TypeError(f"a scenario is a Scenario, a name or a file; given is a {kind}")
    return load_scenario(name, changes, changed_by=changed_by)


def _departing(scenario: Scenario, changes: tuple[str, ...], changed_by: str) -> Scenario:
    """A scenario that is made already, with keys changed as in its file."""
    if not changes:
        return scenario
    changes = tuple(change.strip() for change in changes)
    table, faults = read_changes(changes, changed_by)
    are_moved = ROWS in table or "toolbar" in table
    rows = dict(scenario.rows) | {
        int(row): tuple(split(said)) for row, said in table.pop(ROWS, {}).items()
    }
    made, ranges = {}, []
    moved = set()
    for section, part in table.items():
        optional = {k: replace(one, required=False) for k, one in specs(SECTIONS[section]).items()}
        read_table = partial(read_unknown, section)
        values, wrong = read_section(optional, part, changed_by, section, read_table)
        faults += wrong
        moved |= {(section, name) for name in values}
        declared = specs(SECTIONS[section])
        found = [
            replace(value, spec=declared[value.name])
            for value in values.values()
            if isinstance(value, Unknown)
        ]
        ranges += found
        known = values | {one.name: one.middle for one in found}
        made[section] = replace(getattr(scenario, section), **known)
    lot = scenario.lot
    if not faults and ("seed", "lot") in moved:
        lot = load_lot(made["seed"].lot, Path())
    if faults:
        raise BadInput(faults)
    rest = [one for one in scenario.unknown if (one.section, one.name) not in moved]
    if lot is not scenario.lot:
        rest = [one for one in rest if one != scenario.lot.size_cvs]
    order = list(SECTIONS)
    unknown = sorted([*rest, *ranges], key=lambda one: order.index(one.section))
    if lot is not scenario.lot:
        unknown = with_sizes(unknown, made["seed"], lot)
    said = (*scenario.changes, *changes)
    changed = replace(
        scenario,
        **made,
        lot=lot,
        unknown=tuple(unknown),
        rows=tuple(sorted(rows.items())),
        changes=said,
    )
    if are_moved and (faults := _faults_of_rows(changed, changed_by)):
        raise BadInput(faults)
    return changed


def _faults_of_rows(scenario: Scenario, changed_by: str) -> list[Fault]:
    """What is wrong with the changes of single rows of a scenario that is made already."""
    found = []
    for row, said in scenario.rows:
        key = f"{ROWS}.{row}"
        if wrong := fault_of_row(str(row), "; ".join(said), scenario.toolbar.rows):
            found.append(Fault(changed_by, key, wrong))
            continue
        try:
            _departing(replace(scenario, rows=()), said, changed_by)
        except BadInput as error:
            found += [Fault(changed_by, key, f"{one.key}: {one.message}") for one in error.faults]
    return found


def scenario_toml(
    scenario: Scenario,
    notes: Sequence[str] = (),
    lot: str | None = None,
    meter: str | None = None,
) -> str:
    """The text of a scenario file that extends no other.

    Parameters
    ----------
    scenario : Scenario
        All settings.  A field with input uncertainty is written as its range.
    notes : sequence of str
        Lines of comment at the top.
    lot : str, optional
        Name or path of the lot, as seen from the file's folder; by default the scenario's own.
    meter : str, optional
        Path of the meter file, likewise.

    Returns
    -------
    str
        TOML with every key in its preferred unit, or in a US one if the scenario's units are those,
        to twelve digits.
    """
    stated = [one for one in scenario.unknown if one != scenario.lot.size_cvs]  # the lot has it
    ranges = {(one.section, one.name): one for one in stated}
    lines = [f"# {line}" for note in notes for line in note.splitlines()]
    lines += [f"title = {quoted(scenario.title)}"]
    if scenario.shows:
        lines.append(f"shows = {quoted(scenario.shows)}")
    if scenario.units:
        lines.append(f"units = {quoted(scenario.units)}")
    if scenario.meter:
        lines.append(f"meter = {quoted(meter or scenario.meter.file)}")
    for section, kind in SECTIONS.items():
        lines += ["", f"[{section}]"]
        part = getattr(scenario, section)
        for name, spec in specs(kind).items():
            value = getattr(part, name)
            if (section, name) == ("seed", "lot"):
                value = lot or value
            if unknown := ranges.get((section, name)):
                here = unknown.restated(scenario.units)
                lines.append(f"{here.key} = {range_text(here)}")
            elif value is not None:
                lines.append(_line(spec, value, scenario.units))
    if scenario.rows:
        lines += ["", f"[{ROWS}]"]
        lines += [f"{row} = {quoted('; '.join(said))}" for row, said in scenario.rows]
    return "\n".join(lines) + "\n"


def _line(spec: Spec, value: Any, units: str) -> str:
    if spec.kind == "number" and spec.units:
        unit = spec.unit_for(units) if units == "us" else spec.units[0]
        assert unit is not None
        return f"{spec.name}_{unit.suffix} = {_value(unit.from_si(value))}"
    return f"{spec.name} = {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(float(f"{value:.12g}"))
    return quoted(value) if isinstance(value, str) else str(value)


def range_text(unknown: Unknown) -> str:
    """A range, a distribution or a list as a TOML file holds it."""
    if unknown.form == "among":
        return f"{{ among = [{', '.join(map(_value, unknown.stated))}] }}"
    pairs = zip(FORMS[unknown.form], unknown.stated, strict=True)
    return f"{{ {', '.join(f'{word} = {_value(value)}' for word, value in pairs)} }}"


def quoted(text: str) -> str:
    """A TOML basic string; its escapes are those of JSON, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
