"""What a page can ask, and what it gets: a function of a JSON object for each route."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import chain
from threading import Lock
from typing import Any, TypeVar

from metersim.files.faults import BadInput, Parameter, bad
from metersim.machine.given import scenario_toml
from metersim.machine.losses import LOSSES
from metersim.machine.reading import UNIT_SYSTEMS, is_text, load_scenario, shipped_scenarios
from metersim.machine.scenario import Scenario
from metersim.questions.explore.controls import values_of
from metersim.questions.explore.result import UPDATING, Redrawn
from metersim.questions.explore.sessions import Gone, Session, Sessions
from metersim.questions.explore.study import Cancelled, Request
from metersim.questions.explore.words import words_of
from metersim.questions.shared.motion.followed import MOST_CELLS, motion_of
from metersim.questions.shared.rowcsv import as_csv, cells_csv

T = TypeVar("T")

MOST_BODY = 256 * 1024  # bytes of a request
MOST_TEXT = 200_000  # letters of a scenario that is opened
MOST_SHOWN = 200  # cells of a strip, and letters of a word
MOST_NUMBER = 10**18 - 1  # of a seed or a cell
MOST_FAULTS = 20  # lines
JSON, LINES = "application/json", "application/x-ndjson"
FIGURES = {"png": "image/png", "svg": "image/svg+xml", "pdf": "application/pdf"}
CSV: Mapping[str, Callable[..., str]] = {"seeds": as_csv, "cells": cells_csv}
_DRAWING = Lock()  # matplotlib keeps its style for the whole process


@dataclass(frozen=True)
class Reply:
    """What goes back to a page: status, type, and content, whole or piece by piece."""

    status: int
    kind: str
    content: bytes | Iterator[bytes]


class Asked:
    """The object that a page sent, whose values are checked as they are taken."""

    def __init__(self, given: Any) -> None:
        if not isinstance(given, dict):
            raise bad("", "", "the body must be a JSON object")
        self._given: dict[str, Any] = given

    def has(self, key: str) -> bool:
        """Whether a key is there with a value."""
        return self._given.get(key) is not None

    def text(self, key: str, usual: str | None = None, most: int = MOST_SHOWN) -> str:
        """A text with at most so many letters."""
        value = self._given.get(key, usual)
        if not isinstance(value, str) or len(value) > most or not is_text(value):
            raise bad("", key, f"must be a text of {most:,} letters at most")
        return value

    def one_of(self, key: str, words: Iterable[str], usual: str | None = None) -> str:
        """One of some words."""
        value, known = self._given.get(key, usual), tuple(words)
        if value not in known:
            raise bad("", key, f"must be {' or '.join(known)}")
        return str(value)

    def whole(self, key: str, low: int, high: int, usual: int | None = None) -> int:
        """A whole number of a range."""
        value = self._given.get(key, usual)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise bad("", key, f"must be a whole number from {low:,} to {high:,}")
        return value

    def whole_or_none(self, key: str, low: int, high: int) -> int | None:
        """A whole number of a range, or None."""
        return self.whole(key, low, high) if self.has(key) else None

    def flag(self, key: str, usual: bool) -> bool:
        """True or false."""
        value = self._given.get(key, usual)
        if not isinstance(value, bool):
            raise bad("", key, "must be true or false")
        return value

    def listed(self, key: str, kind: type[T], most: int) -> list[T]:
        """A list of texts or of objects."""
        value = self._given.get(key, [])
        right = isinstance(value, list) and all(isinstance(one, kind) for one in value)
        if not right or not all(is_text(one) for one in value if isinstance(one, str)):
            raise bad("", key, f"must be a list of {'texts' if kind is str else 'objects'}")
        if len(value) > most:
            raise bad("", key, f"has {len(value):,} entries; {most:,} at most")
        return list(value)

    def changes(self) -> list[str]:
        """Changes of single keys."""
        return self.listed("changes", str, 1_000)

    def seed(self) -> int:
        """The random seed."""
        return self.whole("seed", 0, MOST_NUMBER, 1)

    def units(self) -> str:
        """The reader's units."""
        return self.one_of("units", UNIT_SYSTEMS, "metric")


def parsed(body: bytes) -> Asked:
    """The JSON object of a body; raises `BadInput`.

    JSON has no NaN and no infinite numbers, so that none are taken.
    """

    def refused(word: str) -> float:
        raise ValueError(f"{word} is no number of JSON")

    try:
        return Asked(json.loads(body.decode(), parse_constant=refused))
    except RecursionError:
        raise bad("", "", "the body is nested too deep") from None
    except BadInput:
        raise
    except ValueError as error:
        raise bad("", "", f"the body is not valid JSON: {error}") from None


def reply_to(sessions: Sessions, units: str, route: str, body: bytes) -> Reply:
    """The reply to a request.

    Parameters
    ----------
    sessions : Sessions
        What is open, and can be opened.
    units : str
        Units in which a page begins.
    route : str
        One of `ROUTES`.
    body : bytes
        JSON of the request.
    """
    try:
        return ROUTES[route](sessions, parsed(body), units)
    except BadInput as error:
        return faulty(400, lines_of(error))
    except Gone:
        return faulty(404, ["This page is no longer open here. Load it anew."])


def faulty(status: int, lines: list[str]) -> Reply:
    """A reply that says what is wrong."""
    return Reply(status, JSON, _encoded({"faults": lines}))


def lines_of(error: BadInput) -> list[str]:
    """Lines of faults, as a command prints them; the place of a change goes without saying."""
    lines = [
        str(replace(one, where="") if isinstance(one.where, Parameter) else one)
        for one in error.faults
    ]
    more = len(lines) - MOST_FAULTS
    return [*lines[:MOST_FAULTS], *([f"and {more:,} faults more"] if more > 0 else [])]


def _open(sessions: Sessions, asked: Asked, units: str) -> Reply:
    """Open a scenario by name or as a text."""
    if asked.has("text"):
        session = sessions.read(
            asked.text("text", most=MOST_TEXT), asked.text("name", "opened.toml")
        )
    else:
        session = sessions.named(asked.text("scenario") if asked.has("scenario") else None)
    given = session.scenario
    return _said(
        {
            "session": session.number,
            "name": given.name,
            "title": given.title,
            "shows": given.shows,
            "scenarios": _shipped(),
            "units": given.units or units,
            "changes": [],
            "settings": [one.to_dict() for one in session.controls],
            "losses": {loss.name: loss.words for loss in LOSSES},
        }
    )


@cache
def _shipped() -> list[dict[str, str]]:
    """Names of shipped scenarios, and what they show."""
    return [
        {"name": name, "shows": load_scenario(path).shows}
        for name, path in shipped_scenarios().items()
    ]


def _redraw(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """All that the page shows of a setting, line by line."""
    session, units = _session(sessions, asked), asked.units()
    total, changes = asked.flag("total", True), asked.changes()
    request = Request(
        changes,
        seed=asked.seed(),
        start=asked.whole_or_none("first", 0, MOST_NUMBER),
        cells=asked.whole("cells", 1, MOST_SHOWN, 24),
    )
    session.setting(changes)
    each = session.explorer.redraw(request)
    shown = partial(_shown, session, units)
    try:
        first = shown(next(each))
    except Cancelled:
        return Reply(200, LINES, iter([_line({"state": "cancelled"})]))
    return Reply(200, LINES, chain([first], _later(each, shown)) if total else iter([first]))


def _later(each: Iterator[Redrawn], shown: Callable[[Redrawn], bytes]) -> Iterator[bytes]:
    """Lines of the results after the first."""
    try:
        for one in each:
            if one.state == UPDATING:
                yield _line({"state": one.state, "done": one.done, "draws": one.draws})
            else:
                yield shown(one)
    except Cancelled:
        yield _line({"state": "cancelled"})
    except BadInput as error:  # a draw that contradicts another setting
        yield _line({"state": "faults", "faults": lines_of(error)})


def _shown(session: Session, units: str, result: Redrawn) -> bytes:
    return _line(
        {
            "state": result.state,
            "data": result.to_dict(),
            "words": words_of(result, units),
            "settings": values_of(session.controls, result.scenario),
        }
    )


def _pin(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """Pin a setting."""
    session, changes = _session(sessions, asked), asked.changes()
    session.setting(changes)
    session.explorer.pin(changes)
    return _said({"pinned": changes})


def _unpin(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """Give no more differences."""
    _session(sessions, asked).explorer.unpin()
    return _said({"pinned": None})


def _motion(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """Numbers of the disc in motion."""
    cells = asked.whole("cells", 1, MOST_CELLS, 60)
    first = asked.whole("first", 0, MOST_NUMBER, 0)
    run = _run(sessions, asked)
    first = max(min(first, len(run.cells) - cells), 0)
    return _said(motion_of(run, first, cells).to_dict())


def _save(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """The scenario as a file."""
    scenario = _session(sessions, asked).setting(asked.changes())
    return Reply(200, "application/toml; charset=utf-8", saved(scenario, asked.units()).encode())


def saved(scenario: Scenario, units: str) -> str:
    """Text of a scenario file in the reader's units; it states them where the scenario does."""
    if units == "us" or scenario.units:
        scenario = replace(scenario, units=units)
    return scenario_toml(scenario)


def _figure(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """The page of pictures of a run, as a file."""
    kind, units = asked.one_of("kind", FIGURES, "png"), asked.units()
    run = _run(sessions, asked)
    from metersim.questions.shared.page import encoded

    draw = importlib.import_module("metersim").draw  # as a notebook: questions import no other
    with _DRAWING:
        return Reply(200, FIGURES[kind], encoded(draw(run, units), f"page.{kind}"))


def _csv(sessions: Sessions, asked: Asked, _: str) -> Reply:
    """Records of a run as CSV."""
    write = CSV[asked.one_of("what", CSV, "seeds")]
    return Reply(200, "text/csv; charset=utf-8", write([_run(sessions, asked)]).encode())


def _hidden(_: Sessions, asked: Asked, units: str) -> Reply:
    """A game with a hidden fault, replayed from its number and acts."""
    from metersim.questions.explore.hiddenjson import state_json
    from metersim.questions.shared.game.causes import MOST_NUMBER as MOST_METERS
    from metersim.questions.shared.game.meter import MOST_ACTS, replayed

    state = replayed(
        asked.whole("number", 0, MOST_METERS, 1),
        asked.whole("level", 1, 9, 1),
        asked.one_of("units", UNIT_SYSTEMS, units),
        asked.listed("acts", dict, MOST_ACTS),
    )
    return _said(state_json(state))


def _session(sessions: Sessions, asked: Asked) -> Session:
    return sessions.get(asked.text("session"))


def _run(sessions: Sessions, asked: Asked) -> Any:
    """The records of the setting that is asked for."""
    session, changes = _session(sessions, asked), asked.changes()
    session.setting(changes)
    return session.explorer.run(changes, asked.seed())


def _said(made: Mapping[str, Any]) -> Reply:
    return Reply(200, JSON, _encoded(made))


def _line(made: Mapping[str, Any]) -> bytes:
    return _encoded(made) + b"\n"


def _encoded(made: Mapping[str, Any]) -> bytes:
    return json.dumps(made, allow_nan=False, separators=(",", ":")).encode()


ROUTES: Mapping[str, Callable[[Sessions, Asked, str], Reply]] = {
    "open": _open,
    "redraw": _redraw,
    "pin": _pin,
    "unpin": _unpin,
    "motion": _motion,
    "save": _save,
    "figure": _figure,
    "csv": _csv,
    "hidden": _hidden,
}
"""What answers each route below ``/api/``."""
