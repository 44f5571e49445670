"""Reading of scenario files: strict TOML, with all faults at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial, reduce
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, Parameter, bad, hint
from metersim.files.fields import read_section, specs
from metersim.files.unknown import Unknown, read_unknown
from metersim.machine.changes import (
    KEYS,
    ROWS,
    fault_of_row,
    listed,
    read_changes,
    split,
)
from metersim.machine.coefficients import USUAL
from metersim.machine.posterior import Posterior, read_meter
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import SeedLot, load_lot, read_toml, with_sizes

_HERE = Path(__file__).parents[1]
SHIPPED = _HERE / "scenarios" if (_HERE / "scenarios").is_dir() else _HERE.parent / "scenarios"
TEXTS, UNIT_SYSTEMS = ("title", "shows"), ("metric", "us")
METER, UNITS_KEY = "meter", "units"
MAX_EXTENDS = 10
CHANGES = Parameter("changes")


@dataclass(frozen=True)
class Stated:
    """Statements of files and options before they are checked.

    Attributes
    ----------
    table : mapping
        The statements in the form of a file.
    origin : mapping
        The file or option that states a key, by section and key.  The key is empty for a whole
        section or a text.
    beside : Path
        Folder from which the path of a lot file starts.
    faults : tuple of Fault
        Faults found so far.
    """

    table: Mapping[str, Any]
    origin: Mapping[tuple[str, str], str]
    beside: Path
    faults: tuple[Fault, ...] = ()


def shipped_scenarios() -> dict[str, Path]:
    """Files of the shipped scenarios by name."""
    return {path.stem: path for path in sorted(SHIPPED.glob("*.toml"))}


def find_scenario(name: str, beside: Path | None = None) -> Path:
    """The file of a scenario given by path, or by name when it is a shipped one.

    Raises
    ------
    BadInput
        If there is no such file or name.
    """
    shipped = shipped_scenarios()
    if name in shipped:
        return shipped[name]
    path = (beside or Path()) / name
    try:
        there = path.is_file()
    except (OSError, ValueError):  # a name that no file can have
        there = False
    if not there:
        raise bad(name, "", f"no such file or shipped scenario; {hint(Path(name).stem, shipped)}")
    return path


def load_scenario(
    name: str | Path, changes: str | Iterable[str] = (), *, changed_by: str = CHANGES
) -> Scenario:
    """Read a scenario file or a shipped scenario.

    Parameters
    ----------
    name : str or Path
        Path of a file, or name of a shipped scenario.
    changes : str or iterable of str
        Changes of single keys, as ``key=value`` or ``section.key=value``.  The value is written
        as in the file.  For input uncertainty it is a range, ``key={low = 3, high = 4}``.
    changed_by : str
        Source of the changes, as faults name it.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> scenario = m.load_scenario("maize_bench", ["vacuum_kpa=3.5", "notch=1"])
    >>> scenario.vacuum.vacuum, scenario.singulator.notch
    (3500.0, 1.0)
    >>> m.load_scenario("maize_bench", ["vacum_kpa=3.5"])
    Traceback (most recent call last):
    metersim.files.faults.BadInput: changes: vacum_kpa: unknown key; did you mean 'vacuum_kpa'?
    """
    changes = tuple(change.strip() for change in listed(changes))
    changed = _stated_by(changes, changed_by)
    said = (("", str(name)), *((changed_by, change) for change in changes))
    if strange := [one for one in said if not is_text(one[1])]:  # no file can hold such a fault
        message = "holds letters that are not UTF-8; rename that file"
        raise BadInput(Fault(*one, message) for one in strange)
    try:
        path = find_scenario(str(name))
        stated = _read(path, MAX_EXTENDS)
    except BadInput as error:
        raise BadInput((*error.faults, *changed.faults)) from None
    return _scenario(_over(stated, changed), path, changes)


def is_text(text: str) -> bool:
    """Whether a text can be written in UTF-8; the name of a file may have other letters."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def parse_scenario(table: Mapping[str, Any], beside: Path, path: Path) -> Scenario:
    """Make a scenario from a parsed file that extends no other.

    Parameters
    ----------
    table : mapping
        The parsed file.
    beside : Path
        Folder from which the path of a lot file starts.
    path : Path
        The file, for faults and the scenario's name.

    Raises
    ------
    BadInput
        With every fault found.
    """
    return _scenario(Stated(table, {}, beside), path, ())


def layered(tables: Iterable[Mapping[str, Any]], path: Path, name: str) -> Scenario:
    """Make a scenario from tables of another file, each laid over the one before it.

    Parameters
    ----------
    tables : iterable of mapping
        Tables in the form of a scenario file, the lowest first.  Any may extend a file.
    path : Path
        The file that holds the tables, for faults and for relative paths.
    name : str
        Name of the scenario.

    Raises
    ------
    BadInput
        With every fault found.
    """
    laid = [_extended(dict(table), path, MAX_EXTENDS) for table in tables]
    return replace(_scenario(reduce(_over, laid), path, ()), name=name)


def _read(path: Path, depth: int) -> Stated:
    """Statements of a file, laid over those of the files that it extends."""
    table = read_toml(path)
    if {"values", "origin"} <= table.keys():
        message = (
            "is a seed lot, not a scenario; name it in one, as lot of [seed] or by `changes` lot="
        )
        raise bad(str(path), "", f"{message}{path}")
    return _extended(table, path, depth)


def _extended(table: dict[str, Any], path: Path, depth: int) -> Stated:
    """Statements of a parsed file, laid over those of the files that it extends."""
    origin = {(key, ""): str(path) for key in table}
    for section, part in table.items():
        if isinstance(part, dict):
            origin |= {(section, key): str(path) for key in part}
    parent = table.pop("extends", None)
    stated = Stated(table, origin, path.parent)
    if parent is None:
        return stated
    if not isinstance(parent, str) or depth == 0:
        wrong = "must be the path or name of a scenario, in quotes"
        if depth == 0:
            wrong = "files extend one another in a circle, or more than ten deep"
        raise bad(str(path), "extends", wrong)
    try:
        below = find_scenario(parent, path.parent)
    except BadInput as error:
        raise BadInput(Fault(str(path), "extends", str(f)) for f in error.faults) from None
    base = _read(below, depth - 1)
    inherited = {key: value for key, value in base.table.items() if key != "shows"}
    return _over(replace(base, table=inherited), stated)


def _stated_by(changes: Iterable[str], changed_by: str) -> Stated:
    """Statements of changes of single keys."""
    table, faults = read_changes(changes, changed_by)
    origin = {(section, key): changed_by for section, part in table.items() for key in part}
    return Stated(table, origin, Path(), tuple(faults))


def _over(below: Stated, above: Stated) -> Stated:
    """Lay statements over others: a new statement of a field, in any unit, replaces the old."""
    merged = dict(below.table)
    for section, part in above.table.items():
        old = merged.get(section)
        if section in (*SECTIONS, ROWS) and isinstance(part, dict) and isinstance(old, dict):
            known = KEYS.get(section, {})
            stated = {known[key].name for key in part if key in known}
            kept = {
                key: value
                for key, value in old.items()
                if key not in known or known[key].name not in stated
            }
            merged[section] = kept | part
        else:
            merged[section] = part
    seed = above.table.get("seed")
    names_lot = isinstance(seed, dict) and "lot" in seed
    return Stated(
        merged,
        {**below.origin, **above.origin},
        above.beside if names_lot else below.beside,
        below.faults + above.faults,
    )


def _scenario(stated: Stated, path: Path, changes: tuple[str, ...]) -> Scenario:
    """Make the scenario that is stated; raises `BadInput` with every fault."""
    where, found = str(path), list(stated.faults)

    def at(section: str, key: str = "") -> str:
        return stated.origin.get((section, key), where)

    for key in stated.table:
        if key not in (known := (*SECTIONS, *TEXTS, METER, UNITS_KEY, ROWS)):
            found.append(Fault(at(key), key, f"unknown key; {hint(key, known)}"))
    texts: dict[str, Any] = {key: stated.table.get(key, "") for key in TEXTS}
    for key, value in texts.items():
        if not isinstance(value, str) or (key == "title" and not value):
            found.append(Fault(at(key), key, "missing or not a text; give a text in quotes"))
    units = stated.table.get(UNITS_KEY, "")
    if units and units not in UNIT_SYSTEMS:
        allowed = " or ".join(f'"{one}"' for one in UNIT_SYSTEMS)
        found.append(Fault(at(UNITS_KEY), UNITS_KEY, f"is not allowed; give {allowed}"))
    sections: dict[str, Any] = {}
    unknown: list[Unknown] = []
    for section, kind in SECTIONS.items():
        part = stated.table.get(section, {})
        if not isinstance(part, Mapping):
            found.append(Fault(at(section), section, f"must be a table, [{section}]"))
            continue
        read_table = partial(read_unknown, section)
        values, wrong = read_section(specs(kind), part, where, section, read_table, str(units))
        found += [Fault(at(section, f.key.partition(".")[2]), f.key, f.message) for f in wrong]
        if not wrong:
            ranges = [value for value in values.values() if isinstance(value, Unknown)]
            unknown += ranges
            sections[section] = kind(**values | {one.name: one.middle for one in ranges})
    lot: SeedLot | None = None
    if "seed" in sections:
        try:
            lot = load_lot(sections["seed"].lot, stated.beside)
        except BadInput as error:
            name = sections["seed"].lot
            found += [
                fault
                if fault.where != "seed lot" and not fault.message.startswith("cannot be read")
                else Fault(at("seed", "lot"), "seed.lot", f"'{name}': {fault.message}")
                for fault in error.faults
            ]
    rows = stated.table.get(ROWS, {})
    if ROWS in stated.table:
        found += _faults_of_rows(stated, path, at)
    meter = None
    if METER in stated.table:
        try:
            meter = _meter(stated.table[METER], stated, where)
        except BadInput as error:
            found += error.faults
    if found or lot is None:
        raise BadInput(found)
    unknown = with_sizes(unknown, sections["seed"], lot)
    try:
        return Scenario(
            **texts,
            **sections,
            units=units,
            lot=lot,
            name=path.stem,
            changes=changes,
            unknown=tuple(unknown),
            rows=tuple(sorted((int(row), tuple(split(said))) for row, said in rows.items())),
            meter=meter,
            coefficients=meter.middle if meter else USUAL,
        )
    except BadInput as error:
        keys = [_as_stated(fault.key, stated.table) for fault in error.faults]
        raise BadInput(
            Fault(at(section, key), f"{section}.{key}", fault.message)
            for (section, key), fault in zip(keys, error.faults, strict=True)
        ) from None


def _faults_of_rows(stated: Stated, path: Path, at: Callable[..., str]) -> list[Fault]:
    """What is wrong with the changes of single rows."""
    rows, found = stated.table[ROWS], []
    if not isinstance(rows, Mapping):
        return [Fault(at(ROWS), ROWS, "must be a table, [rows]")]
    toolbar = stated.table.get("toolbar", {})
    most = toolbar.get("rows", 1) if isinstance(toolbar, Mapping) else 1
    others = {key: value for key, value in stated.table.items() if key != ROWS}
    for row, said in rows.items():
        where, key = at(ROWS, row), f"{ROWS}.{row}"
        if wrong := fault_of_row(row, said, most):
            found.append(Fault(where, key, wrong))
        else:
            try:
                changed = _over(replace(stated, table=others), _stated_by(split(said), where))
                _scenario(changed, path, ())
            except BadInput as error:
                found += [Fault(where, key, f"{f.key}: {f.message}") for f in error.faults]
    return found


def _meter(name: Any, stated: Stated, where: str) -> Posterior:
    """The meter that is named; a relative path starts at the file that names it."""
    origin = stated.origin.get((METER, ""))
    if not isinstance(name, str) or not name:
        message = "must be the path of a meter file, in quotes"
        raise bad(origin or where, METER, message)
    try:
        return read_meter(name, Path(origin).parent if origin else stated.beside)
    except BadInput as error:
        message = f"'{name}': "
        raise BadInput(
            Fault(origin or where, METER, f"{message}{fault.message}")
            if fault.message.startswith("cannot be read")
            else fault
            for fault in error.faults
        ) from None


def _as_stated(key: str, table: Mapping[str, Any]) -> tuple[str, str]:
    """Section and key by which `table` states the field of `key`; the unit may differ."""
    section, _, bare = key.partition(".")
    known = KEYS.get(section, {})
    for stated in table.get(section, {}):
        if stated in known and known[stated].name == known[bare].name:
            return section, stated
    return section, bare
