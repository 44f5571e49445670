"""Changes of single keys as people type them: units with the value, fractions of an inch."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from metersim.files.faults import Fault
from metersim.files.fields import Spec, keys_of, meant, shown, specs
from metersim.files.typed import typed_quantity
from metersim.files.units import Unit
from metersim.machine.sections import SECTIONS

KEYS = {section: keys_of(specs(kind)) for section, kind in SECTIONS.items()}
ROWS = "rows"  # the section with changes of single rows
ROW = re.compile(r"[1-9]\d?", re.ASCII)
SHARED: Mapping[str, tuple[str, ...] | None] = {
    **dict.fromkeys(("toolbar", "fan", "hoses", "run")),
    "demand": ("speed", "row_spacing"),
    "vacuum": ("vacuum",),
    "conditions": ("slope_along", "slope_across", "temperature", "altitude"),
    "sensor": ("day", "brushed_every"),
    "travel": ("speeds", "start", "air_tick"),
}
"""Fields by section that all rows of a machine share; None for all fields of a section."""
BETWEEN = re.compile(r"([,:])")  # values of a list or of a range


def plain_change(change: str) -> str:
    """A change as a file states it: ``speed=5 mph`` is ``speed_mph=5``.

    A value with a unit may stand behind the key of any unit, or behind the name of the field
    alone, also in a list or a range.  What cannot be read so is given back as it is; whoever reads
    it says what is wrong.

    Examples
    --------
    >>> from metersim.machine.changes import plain_change
    >>> plain_change("hole_diameter=3/16in"), plain_change("vacuum_kpa=16 inH2O")
    ('hole_diameter_in=0.1875', 'vacuum_kpa=3.98542256')
    >>> plain_change("speed=4mph:8mph:5"), plain_change("notch=1/2")
    ('speed_mph=4:8:5', 'notch=0.5')
    >>> plain_change("plugged_holes=7")
    'plugged_holes="7"'
    """
    key, equals, value = (part.strip() for part in change.partition("="))
    section, dot, bare = key.rpartition(".")
    if value.isdecimal() and _is_text(section, bare):
        return f'{key}="{value}"'
    for spec, unit, named in _meant(section, bare):
        *words, last = BETWEEN.split(value)
        steps = [last] if len(words) == 4 and words[1] == words[3] == ":" else []
        words = words[:-1] if steps else [*words, last]
        read = [typed_quantity(word) for word in words[::2]]
        stated = [one[1] for one in read if one and one[1]]
        unit = unit or next((_unit(spec, one) for one in stated), None)
        if not all(read) or (unit is None and (stated or spec.units)):
            continue
        if any(unit and one.si != unit.si for one in stated):
            continue
        if named and not stated and not any("/" in word for word in words):
            continue
        words[::2] = [_number(*one, unit) for one in read if one]
        name = f"{spec.name}_{unit.suffix}" if unit else spec.name
        values = "".join([*words, *([":", *steps] if steps else [])])
        return f"{section}{dot}{name}{equals}{values}"
    return change


def _meant(section: str, bare: str) -> Iterator[tuple[Spec, Unit | None, bool]]:
    """Fields of numbers that a key or a name may mean, the unit of the key, whether it is a key."""
    for name, kind in SECTIONS.items():
        for spec in specs(kind).values() if section in ("", name) else ():
            if spec.kind in ("number", "count") and bare in (spec.name, *spec.keys):
                yield spec, spec.keys.get(bare), bare in spec.keys


def _is_text(section: str, bare: str) -> bool:
    """Whether a name means a text that may be left out, such as a list of holes."""
    kinds = [specs(kind) for name, kind in SECTIONS.items() if section in ("", name)]
    found = [kind[bare] for kind in kinds if bare in kind]
    return any(spec.kind == "text" and not spec.required for spec in found)


def _unit(spec: Spec, typed: Unit) -> Unit | None:
    """The typed unit if keys of the field have it, else one of theirs of its family."""
    return typed if typed in spec.units else spec.unit_for(typed.family)


def _number(number: float, typed: Unit | None, unit: Unit | None) -> str:
    """A number in `unit`, as typed in its own."""
    if typed and unit and typed != unit:
        number = unit.from_si(typed.to_si(number))
    return f"{number:.12g}"


def listed(texts: str | Iterable[str]) -> list[str]:
    """A list of changes as a file states them, from several typed ones or from a single one."""
    return [plain_change(one) for one in ([texts] if isinstance(texts, str) else texts)]


def split(said: str) -> list[str]:
    """Changes of a row, which semicolons part, as a file states them."""
    return listed(one.strip() for one in said.split(";") if one.strip())


def fault_of_row(row: str, said: Any, most: Any) -> str:
    """What is wrong with the changes of a row, apart from their values; empty if nothing is.

    Parameters
    ----------
    row : str
        Number of the row, as it is typed.
    said : Any
        Its changes, as they are stated.
    most : Any
        Number of rows of the machine, as it is stated.

    Examples
    --------
    >>> fault_of_row("3", "notch=2; tube_wear=0.6", 8), fault_of_row("9", "notch=2", 8)
    ('', 'names no row; the machine has rows 1 to 8')
    >>> fault_of_row("3", "vacuum_kpa=2", 8)
    'vacuum.vacuum_kpa is the same for all rows; set it for the whole machine'
    """
    if not ROW.fullmatch(row) or not isinstance(most, int) or not int(row) <= most:
        return f"names no row; the machine has rows 1 to {most}"
    if not isinstance(said, str) or not split(said):
        return 'give changes in quotes, such as "notch=2; tube_wear=1"'
    fields: set[tuple[str, str]] = set()
    for change in split(said):
        typed, _, value = (part.strip() for part in change.partition("="))
        if row_of_key(typed):
            return "a row has no rows; give each row its own changes"
        if found := section_of(typed):
            section, key = found
            names = SHARED.get(section, ())
            field = section, KEYS[section][key].name
            if value.startswith("{"):
                return f"{section}.{key} takes no range in a single row; give one value"
            if field in fields:
                return "changes the same key twice; give it once"
            fields.add(field)
            if names is None or KEYS[section][key].name in names:
                return f"{section}.{key} is the same for all rows; set it for the whole machine"
    return ""


def section_of(key: str) -> tuple[str, str] | None:
    """Section and key for ``key`` or ``section.key``; None if there is no such key."""
    section, _, bare = key.rpartition(".")
    for name, known in KEYS.items():
        if section in ("", name) and bare in known:
            return name, bare
    return None


def row_of_key(key: str) -> tuple[str, str] | None:
    """Section and key for ``rows.3``; None if the key names no row."""
    section, _, row = key.rpartition(".")
    return (ROWS, row) if section == ROWS else None


def all_keys() -> list[str]:
    """Every key of a scenario file, without its section."""
    return [key for keys in KEYS.values() for key in keys]


def parse_value(word: str) -> Any:
    """A value as a TOML file would hold it; a bare word is a text."""
    if word in ("true", "false"):
        return word == "true"
    for kind in (int, float):
        try:
            return kind(word)
        except ValueError:
            continue
    return word.strip("\"'")


def parse_table(word: str) -> Any:
    """A table in braces, as a TOML file would hold it; raises `ValueError`."""
    read = tomllib.loads(f"table = {word}")
    if len(read) > 1:  # a line end in the word would begin another key
        raise ValueError("more than one table")
    return read["table"]


def read_changes(
    changes: Iterable[str], changed_by: str
) -> tuple[dict[str, dict[str, Any]], list[Fault]]:
    """Changes of single keys in the form of a file, by section and key, and all faults."""
    table: dict[str, dict[str, Any]] = {}
    faults = []
    for change in changes:
        key, equals, value = (part.strip() for part in change.partition("="))
        found = row_of_key(key) or section_of(key)
        if not equals or not value:
            message = "must read key=value, such as vacuum_kpa=4"
            faults.append(Fault(changed_by, change, message))
        elif found is None:
            every = {name: spec for keys in KEYS.values() for name, spec in keys.items()}
            message = f"unknown key; {meant(key.rpartition('.')[2], every)}"
            faults.append(Fault(changed_by, key, message))
        else:
            section, bare = found
            try:
                if section == ROWS or KEYS[section][bare].kind == "text":
                    parsed = value.strip("\"'")
                else:
                    parsed = parse_table(value) if value.startswith("{") else parse_value(value)
            except (ValueError, RecursionError) as error:
                said = f"{shown(value)} cannot be read: {error}"
                message = f"{said}; write it as {{low = 3, high = 4}}"
                faults.append(Fault(changed_by, f"{section}.{bare}", message))
                continue
            table.setdefault(section, {})[bare] = parsed
    return table, faults
