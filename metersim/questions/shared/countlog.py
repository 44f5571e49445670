"""The log of counts: a CSV file with one line a count, or an event between counts.

Columns, in any order: `date`, `row`, `seeds`, `skips`, `doubles`, `triples`, `way`, `lot`,
`meter`, `surface`, `event`, and a column for each of the settings, named as in a scenario file in
either family of units, such as ``vacuum_kpa`` or ``vacuum_inh2o``.  So the header states the units
of a log.  The column `cells` holds the cells of the disc.  A line with an event has no count.
Logs without the columns `date`, `lot`, `meter`, `surface` and `event` are read too.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, Parameter, hint
from metersim.files.fields import Spec, shown
from metersim.files.tables import NUMBER, Rows, csv_rows, each_row, first_of, read_text
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.counts import MOST_COUNTED
from metersim.questions.shared.history import PLACES, Entry, Event, Line, event_of, held
from metersim.questions.shared.looks import BELT
from metersim.questions.shared.settings import SETTINGS

COUNTS = ("seeds", "skips", "doubles", "triples")
FIELDS: dict[str, Spec] = {
    f"{section}__{field}": all_fields()[section, field]
    for section, field in (
        *((setting.section, setting.field) for setting in SETTINGS.values()),
        ("disc", "cells"),
    )
}
"""Fields of a scenario in a line of the log: all hand settings, and the cells of the disc."""
KEYS = {key: field for field, spec in FIELDS.items() for key in spec.keys}
NEEDED = ("row", *COUNTS, "way")
LATER = ("date", *PLACES, "event")
"""Columns that a log may lack."""
EXAMPLE = "2027-05-01,3,300,4,2,0,belt,0,4,52,false,6,4.5,30,,,,"


def header_of(units: str = "metric") -> tuple[str, ...]:
    """Columns of a new log in a family of units, ``metric`` or ``us``."""
    keys = []
    for spec in FIELDS.values():
        of_family = [key for key, unit in spec.keys.items() if unit and unit.family == units]
        keys.append([*of_family, *spec.keys][0])
    return ("date", *NEEDED, *keys, *PLACES, "event")


HEADER = header_of()


def entry_of(
    scenario: Scenario,
    row: str,
    seeds: int,
    skips: int,
    doubles: int,
    triples: int = 0,
    way: str = BELT,
    **more: str,
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
        As for `Entry`.
    **more : str
        Date, lot, meter and surface, as for `Entry`.

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
    settings = {field: held(scenario, field) for field in FIELDS}
    return Entry(
        row=row,
        seeds=seeds,
        skips=skips,
        doubles=doubles,
        triples=triples,
        way=way,
        settings=settings,
        **more,
    )


def read_history(path: Path) -> list[Line]:
    """All counts and events of a log, in the order of its lines.

    Parameters
    ----------
    path : Path
        File in the form that `with_entry` writes.

    Raises
    ------
    BadInput
        With every fault found, each with its line.
    """
    return parse_history(read_text(path), str(path))


def read_log(path: Path) -> list[Entry]:
    """The counts of a log, in the order of its lines; see `read_history`."""
    return parse_log(read_text(path), str(path))


def parse_log(content: str, where: str) -> list[Entry]:
    """The counts in the text of a log; see `read_history`."""
    return [line for line in parse_history(content, where) if isinstance(line, Entry)]


def parse_history(content: str, where: str) -> list[Line]:
    """The counts and events in the text of a log; see `read_history`."""
    rows = _rows(content, where)
    rows = [rows[0], *(row for row in rows[1:] if any(row[1]))]  # empty lines are allowed
    header = rows[0][1]
    lines: list[Line] = []
    if faults := _header_faults(header, where):
        raise BadInput(faults)

    def read(cells: list[str]) -> list[tuple[str, str]]:
        try:
            lines.append(_line_of(header, cells))
        except BadInput as error:
            places = (": ".join(filter(None, (one.where, one.key))) for one in error.faults)
            said = (one.message for one in error.faults)
            return list(zip(places, said, strict=True))
        return []

    faults = [Fault(where, *fault) for fault in each_row(rows, len(header), read)]
    if faults:
        raise BadInput(first_of(faults, where))
    return lines


def with_entry(path: Path, line: Line, units: str = "metric") -> bytes:
    """Content of a log with one more line at its end.

    Parameters
    ----------
    path : Path
        File of the log; a missing or empty file gets a header.
    line : Entry or Event
        Count or event to add.  It is written in the columns and units of the file.
    units : {'metric', 'us'}
        Units of a new log.

    Returns
    -------
    bytes
        New content of the file.  It begins with its old bytes, unless the log lacks a column that
        this line needs.

    Raises
    ------
    BadInput
        When the file exists and is no log.
    """
    if not path.exists() or (path.is_file() and not path.stat().st_size):
        header = header_of(units)
        return (_text(header) + "\n" + _text(_cells(line, header)) + "\n").encode()
    content = read_text(path)
    parse_history(content, str(path))
    header = tuple(_rows(content, str(path))[0][1])
    old = path.read_bytes()
    end = b"\r\n" if b"\r\n" in old else b"\n"
    lacking = [name for name in LATER if name not in header and _cell(line, name)]
    if lacking:
        header = (*header, *lacking)
        old = _widened(content, lacking, old, end.decode())
    gap = b"" if old.endswith((b"\n", b"\r")) else end
    return old + gap + _text(_cells(line, header)).encode() + end


def _widened(content: str, columns: Sequence[str], old: bytes, end: str) -> bytes:
    """The log with more columns, which are empty in its old lines."""
    made = io.StringIO()
    writer = csv.writer(made, lineterminator=end)
    named = False
    for cells in csv.reader(io.StringIO(content, newline="")):
        if any(cell.strip() for cell in cells):
            cells += [""] * len(columns) if named else columns
            named = True
        writer.writerow(cells)
    mark = b"\xef\xbb\xbf"
    return (mark if old.startswith(mark) else b"") + made.getvalue().encode()


def _rows(content: str, where: str) -> Rows:
    return csv_rows(content, where, columns=", ".join(HEADER), example=EXAMPLE)


def _header_faults(header: Sequence[str], where: str) -> list[Fault]:
    """Faults of the header of a log."""
    known = dict.fromkeys((*NEEDED, *LATER), "") | KEYS
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
    wanted = {name: name for name in NEEDED}
    wanted |= {field: " or ".join(spec.keys) for field, spec in FIELDS.items()}
    lacking = [words for name, words in wanted.items() if name not in seen]
    if lacking:
        message = f"is no log of counts: it has no column {', '.join(lacking)}"
        faults.append(Fault(where, "row 1", message))
    return faults


def _line_of(header: Sequence[str], cells: Sequence[str]) -> Line:
    """Count or event of one line; raises `BadInput` with faults by column."""
    named = dict(zip(header, cells, strict=True))
    if not named.get("event"):
        return _entry(named)
    more = [name for name, cell in named.items() if cell and name not in ("date", "row", "event")]
    if more:
        message = f"has a line of its own; leave {', '.join(more)} empty"
        raise BadInput([Fault("", "event", message)])
    return event_of(named["event"], named["row"], named.get("date", ""))


def _entry(named: Mapping[str, str]) -> Entry:
    """Count of one line from its cells by column."""
    faults: list[Fault] = []
    settings: dict[str, Any] = {}
    given: dict[str, Any] = {name: named.get(name, "") for name in ("date", *PLACES)}
    for column in COUNTS:
        word = named[column]
        if word.isascii() and word.isdigit() and len(word) < 19 and int(word) <= MOST_COUNTED:
            given[column] = int(word)
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
    return Entry(row=named["row"], way=named["way"], settings=settings, **given)


def _value(spec: Spec, word: str) -> Any:
    """Value of a cell in the type of its field; unreadable text is returned unchanged."""
    if spec.kind == "switch":  # spreadsheets write TRUE
        return {"true": True, "false": False}.get(word.lower(), word)
    if spec.kind == "count":
        return int(word) if word.isascii() and word.isdigit() and len(word) < 19 else word
    return float(word) if NUMBER.fullmatch(word) else word


def _cells(line: Line, header: Sequence[str]) -> list[str]:
    """Cells of a line, in the order of the columns of a log."""
    return [_cell(line, column) for column in header]


def _cell(line: Line, column: str) -> str:
    """Cell of a line in a column; empty where it has none."""
    if isinstance(line, Event):
        return {"row": line.row, "date": line.date, "event": line.text}.get(column, "")
    if column not in KEYS:
        return str(getattr(line, column, ""))
    spec, unit = FIELDS[KEYS[column]], FIELDS[KEYS[column]].keys[column]
    value = line.settings[KEYS[column]]
    if spec.kind == "switch":
        return str(value).lower()
    return f"{value if unit is None else unit.from_si(value):.10g}"


def _text(cells: Sequence[str]) -> str:
    """One line of CSV, without its end."""
    made = io.StringIO()
    csv.writer(made, lineterminator="").writerow(cells)
    return made.getvalue()
