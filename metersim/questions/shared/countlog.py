"""The log of counts: a CSV file with one line a count and the settings of that count.

Columns, in any order: `row`, `seeds`, `skips`, `doubles`, `triples`, `way`, and a column for
each of the settings, named as in a scenario file in either family of units, such as
``vacuum_kpa`` or ``vacuum_inh2o``.  The column `cells` holds the cells of the disc.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, Parameter, bad, hint
from metersim.files.fields import Spec, shown
from metersim.files.tables import NUMBER, Rows, csv_rows, each_row, first_of, read_text
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.counts import MOST_COUNTED
from metersim.questions.shared.looks import BELT, SENSOR, Look, look_of_seeds
from metersim.questions.shared.settings import SETTINGS

COUNTS = ("seeds", "skips", "doubles", "triples")
LOG_WAYS = (BELT, SENSOR)
FIELDS: dict[str, Spec] = {
    f"{section}__{field}": all_fields()[section, field]
    for section, field in (
        *((setting.section, setting.field) for setting in SETTINGS.values()),
        ("disc", "cells"),
    )
}
"""Fields of a scenario in a line of the log: all hand settings, and the cells of the disc."""
KEYS = {key: field for field, spec in FIELDS.items() for key in spec.keys}
HEADER = ("row", *COUNTS, "way", *(next(iter(spec.keys)) for spec in FIELDS.values()))
SAME = 1e-9  # relative difference of equal values; a log holds ten digits
EXAMPLE = "3,300,4,2,0,belt,0,4,52,false,6,4.5,30"
NAME = re.compile(r"[\w][\w .-]{0,39}")


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One count with the settings at which it was made.

    Attributes
    ----------
    row : str
        Name of the row of the machine, or of the meter.
    seeds, skips, doubles, triples : int
        Counted numbers.
    way : str
        ``belt`` or ``sensor``.
    settings : mapping of str to value
        Fields of a scenario as `Scenario.replace` takes them, in SI.
    """

    row: str
    seeds: int
    skips: int
    doubles: int
    triples: int
    way: str
    settings: Mapping[str, Any]

    def __post_init__(self) -> None:
        if not NAME.fullmatch(self.row):
            message = "must be 1 to 40 letters, digits, blanks, points or dashes, such as 3"
            raise bad("row", self.row, message)
        if self.way not in LOG_WAYS:
            raise bad("way", self.way, f"unknown; known: {', '.join(LOG_WAYS)}")
        _ = self.look

    @cached_property
    def look(self) -> Look:
        """The same count as numbers of cells."""
        return look_of_seeds(self.seeds, self.skips, self.doubles, self.triples, self.way)

    def on(self, scenario: Scenario) -> Scenario:
        """A scenario with the settings of this count.

        Raises
        ------
        BadInput
            When the settings contradict the rest of the scenario.

        Notes
        -----
        A log holds ten digits.  A setting that equals the scenario's to ten digits is taken from
        the scenario.  Thus settings that were typed in other units count as the same settings.
        """
        now = {name: _held(scenario, name) for name in self.settings}
        kept = {
            name: now[name] if math.isclose(now[name], value, rel_tol=SAME) else value
            for name, value in self.settings.items()
        }
        return scenario.replace(**kept)


def entry_of(
    scenario: Scenario,
    row: str,
    seeds: int,
    skips: int,
    doubles: int,
    triples: int = 0,
    way: str = BELT,
) -> Entry:
    """A count that was made with a scenario's settings.

    Parameters
    ----------
    scenario : Scenario
        Settings of the count.
    row : str
        Name of the row of the machine, or of the meter.
    seeds, skips, doubles, triples : int
        As for `look_of_seeds`.
    way : str
        ``belt`` or ``sensor``.

    Raises
    ------
    BadInput
        When the counts contradict one another, or when a setting is given as a range.
    """
    ranges = [one for one in scenario.unknown if one.field in FIELDS]
    if ranges:
        raise BadInput(
            Fault(Parameter("add"), str(one), "is a range; give the value that was set")
            for one in ranges
        )
    settings = {field: _held(scenario, field) for field in FIELDS}
    return Entry(
        row=row,
        seeds=seeds,
        skips=skips,
        doubles=doubles,
        triples=triples,
        way=way,
        settings=settings,
    )


def _held(scenario: Scenario, field: str) -> Any:
    """Value of a scenario's field, which has the name that `Scenario.replace` takes."""
    section, _, name = field.partition("__")
    return getattr(getattr(scenario, section), name)


def read_log(path: Path) -> list[Entry]:
    """All counts of a log, in the order of its lines.

    Parameters
    ----------
    path : Path
        File in the form that `with_entry` writes.

    Raises
    ------
    BadInput
        With every fault found, each with its line.
    """
    return parse_log(read_text(path), str(path))


def parse_log(content: str, where: str) -> list[Entry]:
    """The counts in the text of a log; see `read_log`."""
    rows = _rows(content, where)
    rows = [rows[0], *(row for row in rows[1:] if any(row[1]))]  # empty lines are allowed
    header, entries = rows[0][1], []
    if faults := _header_faults(header, where):
        raise BadInput(faults)

    def read(cells: list[str]) -> list[tuple[str, str]]:
        try:
            entries.append(_entry(header, cells))
        except BadInput as error:
            places = (": ".join(filter(None, (one.where, one.key))) for one in error.faults)
            said = (one.message for one in error.faults)
            return list(zip(places, said, strict=True))
        return []

    faults = [Fault(where, *fault) for fault in each_row(rows, len(header), read)]
    if faults:
        raise BadInput(first_of(faults, where))
    return entries


def with_entry(path: Path, entry: Entry) -> bytes:
    """Content of a log with one more line at its end.

    Parameters
    ----------
    path : Path
        File of the log; a missing or empty file gets a header.
    entry : Entry
        Count to add.  It is written in the columns and units of the file.

    Returns
    -------
    bytes
        New content of the file, which begins with its old bytes.

    Raises
    ------
    BadInput
        When the file exists and is no log.
    """
    if not path.exists() or (path.is_file() and not path.stat().st_size):
        return (_line(HEADER) + "\n" + _line(_cells(entry, HEADER)) + "\n").encode()
    content = read_text(path)
    parse_log(content, str(path))
    header = _rows(content, str(path))[0][1]
    old = path.read_bytes()
    end = b"\r\n" if b"\r\n" in old else b"\n"
    gap = b"" if old.endswith((b"\n", b"\r")) else end
    return old + gap + _line(_cells(entry, header)).encode() + end


def _rows(content: str, where: str) -> Rows:
    return csv_rows(content, where, columns=", ".join(HEADER), example=EXAMPLE)


def _header_faults(header: Sequence[str], where: str) -> list[Fault]:
    """Faults of the header of a log."""
    known = dict.fromkeys(("row", *COUNTS, "way"), "") | KEYS
    faults: list[Fault] = []
    seen: dict[str, str] = {}
    for column in header:
        key = f"row 1, {column or '(no name)'}"
        if column not in known:
            faults.append(Fault(where, key, f"unknown column of a log; {hint(column, known)}"))
            continue
        name = known[column] or column
        if name in seen:
            faults.append(Fault(where, key, f"states the same as {seen[name]}; keep one of them"))
        seen.setdefault(name, column)
    wanted = {name: name for name in ("row", *COUNTS, "way")}
    wanted |= {field: " or ".join(spec.keys) for field, spec in FIELDS.items()}
    lacking = [words for name, words in wanted.items() if name not in seen]
    if lacking:
        message = f"is no log of counts: it has no column {', '.join(lacking)}"
        faults.append(Fault(where, "row 1", message))
    return faults


def _entry(header: Sequence[str], cells: Sequence[str]) -> Entry:
    """Count of one line; raises `BadInput` with faults by column."""
    named = dict(zip(header, cells, strict=True))
    faults, settings, counts = [], {}, {}
    for column in COUNTS:
        word = named[column]
        if word.isascii() and word.isdigit() and len(word) < 19 and int(word) <= MOST_COUNTED:
            counts[column] = int(word)
        else:
            message = (
                f"{shown(word)} is not allowed; give a whole number from 0 to {MOST_COUNTED:,}"
            )
            faults.append(Fault("", column, message))
    for column, field in KEYS.items():
        if column not in named:
            continue
        spec, unit = FIELDS[field], FIELDS[field].keys[column]
        value = _value(spec, named[column])
        if complaint := spec.complaint(value, unit):
            faults.append(Fault("", column, complaint))
        else:
            settings[field] = spec.to_si(value, unit)
    if faults:
        raise BadInput(faults)
    return Entry(row=named["row"], way=named["way"], settings=settings, **counts)


def _value(spec: Spec, word: str) -> Any:
    """Value of a cell in the type of its field; unreadable text is returned unchanged."""
    if spec.kind == "switch":  # spreadsheets write TRUE
        return {"true": True, "false": False}.get(word.lower(), word)
    if spec.kind == "count":
        return int(word) if word.isascii() and word.isdigit() and len(word) < 19 else word
    return float(word) if NUMBER.fullmatch(word) else word


def _cells(entry: Entry, header: Sequence[str]) -> list[str]:
    """Cells of an entry, in the order of the columns of a log."""
    cells = []
    for column in header:
        if column not in KEYS:
            cells.append(str(getattr(entry, column)))
            continue
        field = KEYS[column]
        spec, unit = FIELDS[field], FIELDS[field].keys[column]
        value = entry.settings[field]
        if spec.kind == "switch":
            cells.append(str(value).lower())
        elif unit is None:
            cells.append(f"{value:.10g}")
        else:
            cells.append(f"{unit.from_si(value):.10g}")
    return cells


def _line(cells: Sequence[str]) -> str:
    """One line of CSV, without its end."""
    made = io.StringIO()
    csv.writer(made, lineterminator="").writerow(cells)
    return made.getvalue()
