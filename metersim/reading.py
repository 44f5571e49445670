"""Scenario files in: strict TOML, every fault at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from metersim.faults import BadInput, Fault, bad, hint
from metersim.fields import keys_of, read_section, specs
from metersim.scenario import SECTIONS, Scenario
from metersim.seedlot import load_lot, read_toml

_HERE = Path(__file__).parent
SHIPPED = _HERE / "scenarios" if (_HERE / "scenarios").is_dir() else _HERE.parent / "scenarios"
TEXTS = ("title", "shows")
MAX_EXTENDS = 10


def shipped_scenarios() -> dict[str, Path]:
    """Files of the shipped scenarios by name."""
    return {path.stem: path for path in sorted(SHIPPED.glob("*.toml"))}


def find_scenario(name: str, beside: Path | None = None) -> Path:
    """The file of a scenario given by path, or by name when it is a shipped one.

    Raises
    ------
    BadInput
        When there is no such file or name.
    """
    shipped = shipped_scenarios()
    if name in shipped:
        return shipped[name]
    path = (beside or Path()) / name
    if not path.is_file():
        raise bad(name, "", f"no such file or shipped scenario; {hint(Path(name).stem, shipped)}")
    return path


def load_scenario(name: str | Path, changes: Iterable[str] = ()) -> Scenario:
    """Read a scenario file or a shipped scenario.

    Parameters
    ----------
    name : str or Path
        Path of a file, or name of a shipped scenario.
    changes : iterable of str
        Changes of single keys, as ``key=value`` or ``section.key=value``, with the value as in
        the file.

    Raises
    ------
    BadInput
        With every fault found.
    """
    path = find_scenario(str(name))
    table, beside, faults = _merged(path, MAX_EXTENDS)
    return parse_scenario(table, beside, path, changes, faults)


def parse_scenario(
    table: Mapping[str, Any],
    beside: Path,
    path: Path,
    changes: Iterable[str] = (),
    faults: Iterable[Fault] = (),
) -> Scenario:
    """Make a scenario of a parsed file.

    Parameters
    ----------
    table : mapping
        The parsed file.
    beside : Path
        Folder that a lot file's path starts from.
    path : Path
        The file, for faults and the scenario's name.
    changes : iterable of str
        See `load_scenario`.
    faults : iterable of Fault
        What is known to be wrong already.

    Raises
    ------
    BadInput
        With every fault found.
    """
    where, found = str(path), list(faults)
    origin: dict[tuple[str, str], str] = {}
    table = _with_changes(table, changes, origin, found)
    for key in table:
        if key not in SECTIONS and key not in TEXTS:
            found.append(Fault(where, key, f"unknown key; {hint(key, (*SECTIONS, *TEXTS))}"))
    texts: dict[str, Any] = {}
    for key in TEXTS:
        value = table.get(key, "")
        if not isinstance(value, str) or (key == "title" and not value):
            found.append(Fault(where, key, "missing or not a text; give a text in quotes"))
        else:
            texts[key] = value
    sections: dict[str, Any] = {}
    for section, kind in SECTIONS.items():
        part = table.get(section, {})
        if not isinstance(part, Mapping):
            found.append(Fault(where, section, f"must be a table, [{section}]"))
            continue
        values, wrong = read_section(specs(kind), part, where, section)
        found += [_renamed(fault, origin) for fault in wrong]
        if not wrong:
            sections[section] = kind(**values)
    lot = None
    if "seed" in sections:
        try:
            lot = load_lot(sections["seed"].lot, beside)
        except BadInput as error:
            found += error.faults
    if found or lot is None:
        raise BadInput(found)
    try:
        return Scenario(**texts, **sections, lot=lot, name=path.stem)
    except BadInput as error:
        raise BadInput(
            _renamed(Fault(where, f.key, f.message), origin) for f in error.faults
        ) from None


def section_of(key: str) -> tuple[str, str] | None:
    """Section and key that ``key`` or ``section.key`` names, or None when there is none."""
    section, _, bare = key.rpartition(".")
    for name, kind in SECTIONS.items():
        if section in ("", name) and bare in keys_of(specs(kind)):
            return name, bare
    return None


def all_keys() -> list[str]:
    """Every key of a scenario file, without its section."""
    return [key for kind in SECTIONS.values() for key in keys_of(specs(kind))]


def _renamed(fault: Fault, origin: Mapping[tuple[str, str], str]) -> Fault:
    section, _, key = fault.key.partition(".")
    return Fault(origin.get((section, key), fault.where), fault.key, fault.message)


def _merged(path: Path, depth: int) -> tuple[dict[str, Any], Path, list[Fault]]:
    """A file over the files it extends; the folder of the file that names the lot; faults."""
    table = read_toml(path)
    if "extends" not in table:
        return table, path.parent, []
    parent = table.pop("extends")
    if not isinstance(parent, str) or depth == 0:
        message = (
            "must be the path or name of a scenario, in quotes"
            if depth
            else "files extend one another in a circle, or more than ten deep"
        )
        return table, path.parent, [Fault(str(path), "extends", message)]
    try:
        below, beside, faults = _merged(find_scenario(parent, path.parent), depth - 1)
    except BadInput as error:
        return table, path.parent, [Fault(str(path), "extends", str(f)) for f in error.faults]
    seed = table.get("seed")
    if isinstance(seed, dict) and "lot" in seed:
        beside = path.parent
    return _over(below, table), beside, faults


def _over(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for key, value in above.items():
        old = merged.get(key)
        if key in SECTIONS and isinstance(value, dict) and isinstance(old, dict):
            declared = keys_of(specs(SECTIONS[key]))
            stated = {declared[name].name for name in value if name in declared}
            kept = {
                name: number
                for name, number in old.items()
                if name not in declared or declared[name].name not in stated
            }
            merged[key] = kept | value
        else:
            merged[key] = value
    return merged


def _with_changes(
    table: Mapping[str, Any],
    changes: Iterable[str],
    origin: dict[tuple[str, str], str],
    faults: list[Fault],
) -> dict[str, Any]:
    above: dict[str, dict[str, Any]] = {}
    for change in changes:
        key, equals, value = change.partition("=")
        key = key.strip()
        place = section_of(key)
        if not equals or not value.strip():
            faults.append(Fault("--set", change, "must read key=value, such as vacuum_kpa=4"))
        elif place is None:
            faults.append(Fault("--set", key, f"unknown key; {hint(key, all_keys())}"))
        else:
            section, bare = place
            above.setdefault(section, {})[bare] = parse_value(value.strip())
            origin[place] = "--set"
    return _over(table, above) if above else dict(table)


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
