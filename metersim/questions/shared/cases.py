"""Published cases and the reading of their files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, all_of, bad, hint
from metersim.files.fields import Checked, number, read_section, shown, specs
from metersim.files.unknown import Unknown, read_unknown
from metersim.machine.reading import is_text
from metersim.machine.seedlot import MARKS, read_toml
from metersim.machine.sources import SOURCES
from metersim.measures.limits import PUBLISHED, covers_of
from metersim.questions.shared.conditions import (
    A_NAME,
    Condition,
    a_count,
    hint_of,
    is_name,
    is_one_of,
    read_conditions,
)
from metersim.questions.shared.statements import Row, read_rows

KEYS = (
    "source",
    "mark",
    "laboratory",
    "held_back",
    "machines",
    "metering",
    "read",
    "assumed",
    "discussion",
    "covers",
    "plants",
    "scenario",
)
METERING = {  # how a tested meter takes seeds: why it is refused, empty for what is allowed
    "disc": "",
    "drum": "a drum is not in the model; say disc, and compare shapes alone, as the shipped qi2013",
    "hills": "seeds dropped in hills are not in the model; leave out the rows about hills",
}
MOST_MACHINES = 100  # over which a published mean is taken
TABLES = ("conditions", "rows")
MOST_ROWS = 1000  # in a file; each row is compared with all others


@dataclass(frozen=True, kw_only=True)
class Plants(Checked):
    """Emergence and shift that turn seeds into the plants of a source."""

    emergence: float = number("percent", 1, 100, "share of the seeds that come up")
    shift: float = number("mm in", 0, 100, "SD of a plant's distance from its seed")


@dataclass(frozen=True)
class Case:
    """A published table with everything that its prediction needs; see `read_case`.

    Attributes
    ----------
    path : Path
        Its file.
    source, mark : str
        Keys of `metersim.machine.sources.SOURCES` and `metersim.machine.seedlot.MARKS`.  A user's
        own source is given in words.
    read, assumed : tuple of str
        Statements of the source, and assumptions that are not given as ranges.
    discussion : str
        Reasons for agreement or disagreement, as prose.
    laboratory : str
        Name of the laboratory and stand.  Cases that share it are one source of information.
    held_back : bool
        Whether the case is kept from fits, to test them.
    machines : int
        Number of machines over which the published numbers are means.
    conditions : mapping of str to Condition
        Tested conditions by name, in the order of the file.
    rows : tuple of Row
        Published statements.
    plants : Plants, optional
        Emergence and shift, with unknown values at their middle; None where seeds were measured.
    unknown : tuple of Unknown
        Unknown values of `plants`.
    """

    path: Path
    source: str
    mark: str
    read: tuple[str, ...]
    assumed: tuple[str, ...]
    discussion: str
    conditions: Mapping[str, Condition]
    rows: tuple[Row, ...]
    laboratory: str
    held_back: bool = False
    machines: int = 1
    plants: Plants | None = None
    unknown: tuple[Unknown, ...] = ()

    @property
    def name(self) -> str:
        """Name of the case: that of its file without the ending."""
        return self.path.stem

    @property
    def reference(self) -> str:
        """Full reference of the source."""
        return SOURCES.get(self.source, self.source)

    def along(self, name: str) -> list[tuple[float, Condition]]:
        """Values of the varied key of a condition, each with its own condition."""
        return [(c.value, c) for c in self.conditions.values() if c.key and c.of == name]


def shipped_cases() -> dict[str, Path]:
    """Files of the shipped cases, by name of the case."""
    return {path.stem: path for path in sorted(PUBLISHED.glob("*.toml"))}


def load_case(name: str) -> Case:
    """Read a shipped case by name, or a case file by path.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    shipped = shipped_cases()
    if not is_text(name):  # a name that cannot be printed in a table
        raise bad(name, "", "holds letters that are not UTF-8; rename that file")
    if name not in shipped and not name.lower().endswith(".toml"):
        raise bad(name, "", f"no such case; {hint(name, shipped)}")
    return read_case(shipped.get(name, Path(name)))


def read_case(path: Path) -> Case:
    """Read a case file; raises `BadInput` with every fault found."""
    table, where = read_toml(path), str(path)
    faults = [
        Fault(where, key, f"unknown key; {hint(key, (*KEYS, *TABLES))}")
        for key in table
        if key not in (*KEYS, *TABLES)
    ]
    faults += _wrong_head(table, where)
    if faults:
        raise BadInput(faults)
    (plants, unknown), conditions, _ = all_of(
        lambda: _plants(table.get("plants"), where),
        lambda: read_conditions(table, path),
        lambda: covers_of(table.get("covers", {}), where),
    )
    return Case(
        path=path,
        source=table["source"],
        mark=table["mark"],
        read=tuple(table["read"]),
        assumed=tuple(table.get("assumed", ())),
        discussion=table.get("discussion", ""),
        conditions=conditions,
        rows=read_rows(table["rows"], conditions, where),
        laboratory=table.get("laboratory", table["source"]),
        held_back=table.get("held_back", False),
        machines=table.get("machines", 1),
        plants=plants,
        unknown=unknown,
    )


def _wrong_head(table: Mapping[str, Any], where: str) -> Iterator[Fault]:
    """Faults of all keys except the contents of conditions and rows."""
    source, mark = table.get("source"), table.get("mark")
    if not (is_one_of(source, SOURCES) or (is_name(source) and " " in source)):
        message = "missing or unknown; say in two words or more where your own table is from"
        yield Fault(where, "source", f"{message}, or give a key; {hint_of(source, SOURCES)}")
    if not is_one_of(mark, MARKS):
        yield Fault(where, "mark", f"missing or unknown; {hint_of(mark, MARKS)}")
    if not is_name(table.get("laboratory", "-")):
        yield Fault(where, "laboratory", f"must be {A_NAME}")
    if not isinstance(held_back := table.get("held_back", False), bool):
        yield Fault(where, "held_back", f"{shown(held_back)} is not allowed; give true or false")
    try:
        a_count(table.get("machines", 1), where, "machines", MOST_MACHINES)
    except BadInput as error:
        yield from error.faults
    if not is_one_of(metering := table.get("metering", "disc"), METERING):
        yield Fault(where, "metering", f"unknown; {hint_of(metering, METERING)}")
    elif METERING[metering]:
        yield Fault(where, "metering", METERING[metering])
    for key in ("read", "assumed"):
        texts = table.get(key, [] if key == "assumed" else None)
        if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
            yield Fault(where, key, 'missing or no list; give texts, ["...", "..."]')
    if not isinstance(table.get("discussion", ""), str):
        yield Fault(where, "discussion", "must be a text in quotes")
    for key in ("scenario", "conditions"):
        if not isinstance(table.get(key), dict) or not table[key]:
            yield Fault(where, key, f"missing or no table; give [{key}]")
    rows = table.get("rows")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        yield Fault(where, "rows", "missing or no tables; give [[rows]] for every statement")
    elif len(rows) > MOST_ROWS:
        yield Fault(where, "rows", f"has more than {MOST_ROWS:,}; give several case files")


def _plants(table: Any, where: str) -> tuple[Plants | None, tuple[Unknown, ...]]:
    if table is None:
        return None, ()
    if not isinstance(table, dict):
        raise bad(where, "plants", "must be a table, [plants]")
    read_table = partial(read_unknown, "plants")
    values, faults = read_section(specs(Plants), table, where, "plants", read_table)
    if faults:
        raise BadInput(faults)
    unknown = tuple(value for value in values.values() if isinstance(value, Unknown))
    return Plants(**values | {one.name: one.middle for one in unknown}), unknown
