"""The history of a planter's counts: counts, events, and which counts may be pooled."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

from metersim.files.faults import bad
from metersim.machine.scenario import Scenario
from metersim.questions.shared.looks import COUNTED_BY, SENSOR, Look, look_of_seeds, summed

REPAIRED, BRUSHED, NEW_LOT = EVENTS = ("repaired", "brushed", "new lot")
"""What may happen between counts: anything mended, the sensor's lens brushed, other seed."""
EVENT = re.compile(rf"({'|'.join(EVENTS)})(?:$|[\s:,;.-]+(.*))", re.IGNORECASE)
PLACES = ("lot", "meter", "surface")
"""What a count may state beside its settings; an empty one is as in the count before."""
NAME = re.compile(r"[\w][\w .-]{0,39}")
WORDS = re.compile(r"[\w][^\"\r\n]{0,79}")
SAME = 1e-9  # relative difference of equal values; a log holds ten digits


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
        How it was counted, a key of `metersim.questions.shared.looks.COUNTED_BY`.
    settings : mapping of str to value
        Fields of a scenario as `Scenario.replace` takes them, in SI.
    date : str
        Day as ``2027-05-01``; empty where it is not known.
    lot, meter, surface : str
        Seed lot, meter that was in the row, and where it ran, such as ``bench``, ``road`` or
        ``field``; empty where they are not stated.
    """

    row: str
    seeds: int
    skips: int
    doubles: int
    triples: int
    way: str
    settings: Mapping[str, Any]
    date: str = ""
    lot: str = ""
    meter: str = ""
    surface: str = ""

    def __post_init__(self) -> None:
        if not NAME.fullmatch(self.row):
            message = "must be 1 to 40 letters, digits, blanks, points or dashes, such as 3"
            raise bad("row", self.row, message)
        if self.way not in COUNTED_BY:
            raise bad("way", self.way, f"unknown; known: {', '.join(COUNTED_BY)}")
        for name in PLACES:
            _check_words(name, getattr(self, name))
        check_date(self.date)
        _ = self.look

    @cached_property
    def look(self) -> Look:
        """The same count as numbers of cells."""
        way = COUNTED_BY[self.way]
        return look_of_seeds(self.seeds, self.skips, self.doubles, self.triples, way)

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
        now = {name: held(scenario, name) for name in self.settings}
        kept = {
            name: now[name] if math.isclose(now[name], value, rel_tol=SAME) else value
            for name, value in self.settings.items()
        }
        return scenario.replace(**kept)


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happened between counts.

    Attributes
    ----------
    kind : str
        One of `EVENTS`.
    note : str
        Free text.
    row : str
        Name of the row; empty for all rows.
    date : str
        Day as ``2027-05-01``; empty where it is not known.
    """

    kind: str
    note: str = ""
    row: str = ""
    date: str = ""

    def __post_init__(self) -> None:
        if self.kind not in EVENTS:
            raise bad("event", self.kind, f"unknown; known: {', '.join(EVENTS)}")
        if self.row and not NAME.fullmatch(self.row):
            message = "must be 1 to 40 letters, digits, blanks, points or dashes, such as 3"
            raise bad("row", self.row, message)
        if self.note:
            _check_words("event", self.note)
        check_date(self.date)

    @property
    def text(self) -> str:
        """Kind and note, as `event_of` reads them."""
        return f"{self.kind}: {self.note}" if self.note else self.kind


Line = Entry | Event
"""A line of a history."""


def event_of(text: str, row: str = "", date: str = "") -> Event:
    """An event from its kind and a note behind it, such as ``repaired: new edge``.

    Raises
    ------
    BadInput
        When the text begins with none of `EVENTS`.
    """
    found = EVENT.fullmatch(text.strip())
    if not found:
        raise bad("event", text, f"must begin with {', '.join(EVENTS[:-1])} or {EVENTS[-1]}")
    return Event(kind=found[1].lower(), note=(found[2] or "").strip(), row=row, date=date)


def check_date(word: str, where: str = "date") -> None:
    """Refuse a day that is not written as ``2027-05-01``; an empty one is allowed."""
    try:
        right = not word or date.fromisoformat(word).isoformat() == word
    except ValueError:
        right = False
    if not right:
        raise bad(where, word, "must be a day such as 2027-05-01")


def _check_words(name: str, text: str) -> None:
    if text and not (WORDS.fullmatch(text) and text.isprintable()):
        message = "must be 1 to 80 letters in one line, the first a letter or a digit, no quotes"
        raise bad(name, text, message)


def held(scenario: Scenario, name: str) -> Any:
    """Value of a scenario's field, which has the name that `Scenario.replace` takes."""
    section, _, bare = name.partition("__")
    return getattr(getattr(scenario, section), bare)


def in_time(history: Iterable[Line]) -> list[Line]:
    """Lines by day; those of one day, and those without a day, stay where they were."""
    dated, day = [], ""
    for line in history:
        day = line.date or day
        dated.append((day, line))
    return [line for _, line in sorted(dated, key=lambda pair: pair[0])]


def rows_in(history: Iterable[Line]) -> list[str]:
    """Names of rows with a count, in the order of their first counts."""
    return list(dict.fromkeys(line.row for line in history if isinstance(line, Entry)))


@dataclass(frozen=True)
class Stretch:
    """Counts of one row that may be summed: nothing changed between them.

    Attributes
    ----------
    entries : tuple of Entry
        Counts, oldest first.
    lot, meter, surface : str
        As stated last; empty where they never were.
    """

    entries: tuple[Entry, ...]
    lot: str = ""
    meter: str = ""
    surface: str = ""

    @property
    def row(self) -> str:
        """Name of the row."""
        return self.entries[0].row

    @property
    def way(self) -> str:
        """How it was counted."""
        return self.entries[0].way

    @property
    def look(self) -> Look:
        """Sum of all counts."""
        return summed([entry.look for entry in self.entries])


@dataclass
class _Row:
    """What is known of a row at one moment of its history."""

    era: int = 0  # changes of lot, meter and surface, and repairs
    since: str = ""  # what began this era
    moved: int = 0  # changes of settings
    brushed: int = 0
    settings: Mapping[str, Any] = field(default_factory=dict)
    stated: dict[str, str] = field(default_factory=lambda: dict.fromkeys(PLACES, ""))

    def happens(self, event: Event) -> None:
        if event.kind == BRUSHED:
            self.brushed += 1
        else:
            self.era += 1
            self.since = f"{event.kind}, {event.date}" if event.date else event.kind

    def counts(self, entry: Entry) -> None:
        stated = {name: getattr(entry, name) for name in PLACES if getattr(entry, name)}
        changed = [name for name, word in stated.items() if self.stated[name] not in ("", word)]
        if changed:
            self.era += 1
            self.since = self.changes(changed, stated)
        self.stated |= stated
        if self.settings and not same_settings(self.settings, entry.settings):
            self.moved += 1
        self.settings = entry.settings

    def changes(self, names: Iterable[str], now: Mapping[str, str]) -> str:
        """Changes of lot, meter and surface in words."""
        return ", ".join(f"{name} {now[name]} in place of {self.stated[name]}" for name in names)

    def key(self, entry: Entry) -> tuple[Any, ...]:
        brushed = self.brushed if entry.look.way == SENSOR else 0
        return self.era, self.moved, entry.way, brushed


def same_settings(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two counts were made at the same settings, to ten digits."""
    return one.keys() == other.keys() and all(
        math.isclose(value, other[name], rel_tol=SAME) for name, value in one.items()
    )


def _walk(history: Iterable[Line]) -> tuple[list[tuple[Entry, tuple[Any, ...]]], dict[str, _Row]]:
    """Each count with its key among those of its row, and what is known of rows in the end."""
    rows: dict[str, _Row] = {}
    found = []
    for line in in_time(history):
        if isinstance(line, Event):
            for name in [line.row] if line.row else list(rows):
                rows.setdefault(name, _Row()).happens(line)
            continue
        row = rows.setdefault(line.row, _Row())
        row.counts(line)
        found.append((line, (*row.key(line), *row.stated.values())))
    return found, rows


def stretches(history: Iterable[Line]) -> list[Stretch]:
    """Split a history into stretches of comparable counts.

    Parameters
    ----------
    history : iterable of Entry and Event
        Lines of a log.

    Returns
    -------
    list of Stretch
        By their first counts.  Each count is in one of them.

    Notes
    -----
    A stretch has one row, lot, meter, surface, way of counting and setting, and no repair and no
    new lot within it.  A setting that was moved and moved back begins another stretch, as nobody
    sets it twice the same.  Brushing separates counts by a sensor only.  A lot, meter or surface
    that is not stated is as before.
    """
    found: dict[tuple[Any, ...], tuple[list[Entry], list[str]]] = {}
    for entry, key in _walk(history)[0]:
        *same, lot, meter, surface = key
        made = found.setdefault((entry.row, *same), ([], []))
        made[0].append(entry)
        made[1][:] = [lot, meter, surface]
    return [Stretch(tuple(entries), *places) for entries, places in found.values()]


def current(
    history: Sequence[Line], row: str, *, lot: str = "", surface: str = ""
) -> tuple[list[Entry], int, str]:
    """Counts of a row that are of its present meter and seed, at any settings.

    Parameters
    ----------
    history : sequence of Entry and Event
        Lines of a log.
    row : str
        Name of the row.
    lot, surface : str, optional
        Present seed lot and surface, if they are known.

    Returns
    -------
    entries : list of Entry
        Counts since the last repair and the last change of lot, meter or surface, oldest first;
        those by the sensor only since it was brushed.
    dropped : int
        Number of older counts of this row.
    since : str
        What happened since those; empty where nothing did.
    """
    counted, rows = _walk(history)
    mine = [(entry, key) for entry, key in counted if entry.row == row]
    state = rows.get(row, _Row())
    now = {"lot": lot, "surface": surface}
    changed = [name for name, word in now.items() if word and state.stated[name] not in ("", word)]
    if changed:
        return [], len(mine), state.changes(changed, now)
    kept = [
        entry
        for entry, (era, _, _, brushed, *_) in mine
        if era == state.era and (entry.look.way != SENSOR or brushed == state.brushed)
    ]
    dropped = len(mine) - len(kept)
    held = {id(entry) for entry in kept}
    sensed = any(key[0] == state.era for entry, key in mine if id(entry) not in held)
    since = ", ".join(filter(None, (state.since, BRUSHED if sensed else "")))
    return kept, dropped, since if dropped else ""
