"""A game: a meter with a hidden fault, which a class finds by counting, moving and guessing.

Everything follows from a number, a level and the acts of the class.  So a state can be worked out
again from these at any time, to the last byte.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from metersim.files.faults import bad, hint
from metersim.questions.shared.countregion import LEVEL
from metersim.questions.shared.hiddencauses import (
    LEVELS,
    MOST_NUMBER,
    HiddenMeter,
    cause_named,
    hidden_meter,
)
from metersim.questions.shared.hiddencounts import (
    BY,
    FEWEST,
    MOST,
    Count,
    counted,
    meter_at,
    place_of,
    reference,
)
from metersim.questions.shared.hiddenend import Ending, ending_of
from metersim.questions.shared.hiddenendwords import TRUTH, Part, ending_parts
from metersim.questions.shared.hiddenmoves import (
    LABELS,
    MOVABLE,
    Changes,
    key_of,
    limits_of,
    moved_names,
    moved_to,
    settings_text,
)
from metersim.questions.shared.hiddenwords import (
    CELLS,
    at_text,
    count_lines,
    guess_lines,
    move_lines,
    opening,
)
from metersim.questions.shared.notes import RUNNING

MOST_ACTS = 40
ACTS = ("count", "move", "guess", "end")
UNITS = ("metric", "us")
MOST_LETTERS = 200  # of a typed word
MOST_MOVED = 8  # settings in one move


@dataclass(frozen=True)
class State:
    """A game after some acts.

    Attributes
    ----------
    meter : HiddenMeter
        The meter; who plays must not see it.
    units : str
        Units of settings, ``metric`` or ``us``.
    acts : tuple of str
        Acts so far, as JSON.
    said : tuple of tuple of str
        Lines that were said at the start and after each act.
    before : Count
        A count from the time when the meter was in order.
    counts : tuple of Count
        Counts so far.
    changes : tuple of str
        Settings that were moved, with their present values.
    guesses : tuple of tuple of str
        Causes that were named, the last guess last.
    ending : Ending or None
        The end, when the game has ended.
    parts : mapping of str to Part
        Words and tables of the end by part: ``truth``, ``moves`` and ``counts``.
    """

    meter: HiddenMeter
    units: str
    acts: tuple[str, ...]
    said: tuple[tuple[str, ...], ...]
    before: Count
    counts: tuple[Count, ...] = ()
    changes: Changes = ()
    guesses: tuple[tuple[str, ...], ...] = ()
    ending: Ending | None = None
    parts: Mapping[str, Part] = field(default_factory=dict)

    @property
    def ended(self) -> bool:
        """Whether the game has ended."""
        return self.ending is not None

    @property
    def lines(self) -> tuple[str, ...]:
        """Lines that the last act said."""
        return self.said[-1]

    def to_dict(self) -> dict[str, Any]:
        """All that whoever plays may see, for JSON; shares in SI, settings in the chosen units."""
        meter, shown = self.meter, self.meter.shown
        return {
            "number": meter.number,
            "level": meter.level,
            "levels": [{"level": key, "words": words} for key, words in LEVELS.items()],
            "units": self.units,
            "scenario": shown.name,
            "title": shown.title,
            "shows": shown.shows,
            "caution": RUNNING,
            "acts": [json.loads(one) for one in self.acts],
            "acts_left": 0 if self.ended else MOST_ACTS - len(self.acts),
            "said": [list(lines) for lines in self.said],
            "lines": list(self.lines),
            "ended": self.ended,
            "settings": self._settings(),
            "now": settings_text(place_of(meter, self.changes), self.units),
            "causes": [{"name": one.name, "words": one.words} for one in meter.causes],
            "ways": [{"by": by, "counts": CELLS[by]} for by in BY],
            "cells": {"low": FEWEST, "high": MOST},
            "guesses": [list(one) for one in self.guesses],
            "plane": self._plane(),
            "end": {name: part.to_dict() for name, part in self.parts.items()},
            "truth": self._truth(),
        }

    def _settings(self) -> list[dict[str, Any]]:
        place, found = place_of(self.meter, self.changes), []
        for name, one in MOVABLE.items():
            ends = limits_of(one, self.meter.shown, self.units)
            unit = one.spec.unit_for(self.units)
            switch = one.spec.kind == "switch"

            def read(value: Any, unit: Any = unit) -> Any:
                return float(f"{unit.from_si(value) if unit else value:.6g}")

            now, start = one.of(place), one.of(self.meter.shown)
            found.append(
                {
                    "name": name,
                    "key": key_of(one, self.units),
                    "label": LABELS[name],
                    "kind": "flag" if switch else "number",
                    "unit": unit.symbol if unit else "",
                    "value": now if switch else read(now),
                    "start": start if switch else read(start),
                    "low": read(ends.low),
                    "high": read(ends.high),
                    "step": read(ends.step),
                }
            )
        return found

    def _plane(self) -> dict[str, Any]:
        """Numbers of the plane of skips against doubles."""
        return {
            "x": "doubles",
            "y": "skips",
            "coverage": LEVEL,
            "points": [
                {
                    "number": one.number,
                    "by": one.by,
                    "cells": one.cells,
                    "skips": one.skips,
                    "doubles": one.doubles,
                    "skip": one.shares[0],
                    "double": one.shares[1],
                    "region": [list(corner) for corner in one.region],
                    "at": at_text(self.meter, one, self.units),
                }
                for one in (self.before, *self.counts)
            ],
            "true": [
                {
                    "who": one.who,
                    "skip": round(one.truth.skip, 6),
                    "double": round(one.truth.double, 6),
                }
                for one in (self.ending.reached if self.ending else ())
            ],
        }

    def _truth(self) -> dict[str, Any] | None:
        """Numbers of the end; None before it."""
        if self.ending is None:
            return None
        return {
            "causes": [
                {"name": one.cause.name, "words": one.cause.words, "severity": one.severity}
                for one in self.ending.wrong
            ],
            "alike": self.ending.alike.cause.name if self.ending.alike else None,
            "counts": [
                {
                    "number": one.count.number,
                    "skip": one.truth.skip,
                    "double": one.truth.double,
                    "shows_fault": one.from_order,
                    "not_alike": one.from_alike,
                }
                for one in self.ending.shown
            ],
            "together": [
                {
                    "names": list(one.names),
                    "counts": list(one.numbers),
                    "before": list(one.before.shares),
                    "alone": [list(there.shares) for there in one.alone],
                    "both": list(one.after.shares),
                    "chances": list(one.chances),
                    "chance": one.chance,
                    "hidden": one.hidden,
                }
                for one in self.ending.together
            ],
            "reached": [
                {
                    "who": one.who,
                    "cells": one.cells,
                    "counts": one.counts,
                    "skip": one.truth.skip,
                    "double": one.truth.double,
                    "changes": list(one.changes),
                }
                for one in self.ending.reached
            ],
        }


def start(number: int, level: int = 1, units: str = "metric") -> State:
    """A game before its first act.

    Parameters
    ----------
    number : int
        Number of the meter, from 0 to `MOST_NUMBER`.
    level : int
        Difficulty, one of `LEVELS`.
    units : {'metric', 'us'}
        Units of settings.

    Raises
    ------
    BadInput
        For another number, level or units.

    Examples
    --------
    >>> from metersim.questions.shared.hiddenmeter import act, start
    >>> state = act(start(7), {"count": 300})
    >>> state.counts[0].cells, state.ended
    (300, False)
    """
    if not _is_whole(number) or not 0 <= number <= MOST_NUMBER:
        raise bad("number", str(number), f"must be a whole number from 0 to {MOST_NUMBER:,}")
    if not _is_whole(level) or level not in LEVELS:
        raise bad("level", str(level), f"must be a whole number from 1 to {len(LEVELS)}")
    if units not in UNITS:
        raise bad("units", str(units), f"must be {' or '.join(UNITS)}")
    meter = hidden_meter(number, level)
    before = reference(meter)
    return State(meter, units, (), (tuple(opening(meter, before, units)),), before)


def act(state: State, asked: Mapping[str, Any]) -> State:
    """The game after one more act.

    Parameters
    ----------
    state : State
        The game before.
    asked : mapping
        One of: ``{"count": 300}``, with ``"by": "belt"``, ``"sensor"`` or ``"tape"`` if wanted;
        ``{"move": ["notch=1", ...]}``; ``{"guess": "edge worn"}`` or a list of guesses;
        ``{"end": True}``.

    Raises
    ------
    BadInput
        For what cannot be done; the game is as it was.
    """
    given: Any = asked
    if not isinstance(given, Mapping) or len(named := [key for key in ACTS if key in given]) != 1:
        raise bad("act", "", f"must be one of {', '.join(ACTS)}")
    name = named[0]
    allowed = {name, "by"} if name == "count" else {name}
    if unknown := [str(key) for key in given if key not in allowed]:
        raise bad(name, unknown[0], f"unknown; {hint(unknown[0], allowed)}")
    if state.ended:
        raise bad(name, "", "the game has ended; start another number")
    if len(state.acts) >= MOST_ACTS - 1 and name != "end":
        raise bad(name, "", f"{MOST_ACTS} acts are all there is; end the game")
    made = _ACTS[name](state, given)
    said = json.dumps({key: given[key] for key in (*ACTS, "by") if key in given})
    return replace(made, acts=(*state.acts, said))


def replayed(
    number: int, level: int = 1, units: str = "metric", acts: Sequence[Mapping[str, Any]] = ()
) -> State:
    """A game after a list of acts; what was worked out lately is kept.

    Parameters
    ----------
    number, level, units
        As for `start`.
    acts : sequence of mapping
        As for `act`, `MOST_ACTS` at most.

    Raises
    ------
    BadInput
        For the first act that cannot be done.
    """
    given: Any = acts
    if not isinstance(given, list | tuple) or len(given) > MOST_ACTS:
        raise bad("acts", "", f"must be a list of {MOST_ACTS} acts at most")
    state = start(number, level, units)
    for one in given:
        try:
            text = json.dumps(one)
        except (TypeError, ValueError):
            raise bad("act", "", f"must be one of {', '.join(ACTS)}") from None
        state = _after(number, level, units, state.acts, text) if len(text) < 4_000 else state
    return state


@lru_cache(maxsize=256)
def _after(number: int, level: int, units: str, acts: tuple[str, ...], text: str) -> State:
    """A game after some acts and a further one."""
    if acts:
        before = _after(number, level, units, acts[:-1], acts[-1])
    else:
        before = start(number, level, units)
    return act(before, json.loads(text))


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _count(state: State, given: Mapping[str, Any]) -> State:
    cells, by = given["count"], given.get("by", "belt")
    if not _is_whole(cells) or not FEWEST <= cells <= MOST:
        raise bad("count", str(cells), f"must be a whole number from {FEWEST} to {MOST:,}")
    if by not in tuple(BY):  # what JSON can hold may have no hash
        raise bad("count", str(by), f"must be by {', '.join(BY)}")
    count = counted(
        state.meter, state.changes, state.meter.hidden, cells, by, len(state.counts) + 1
    )
    lines = count_lines(count, state.meter, (state.before, *state.counts), state.units)
    return _said(replace(state, counts=(*state.counts, count)), lines)


def _move(state: State, given: Mapping[str, Any]) -> State:
    typed = given["move"]
    texts = [typed] if isinstance(typed, str) else typed
    if not _are_texts(texts, MOST_MOVED):
        raise bad("move", "", "must be a list of settings, such as notch=1")
    changes = moved_to(state.meter.shown, state.changes, texts, state.units)
    meter_at(state.meter, changes, state.meter.hidden)  # raises where the meter cannot run so
    names = moved_names(*(place_of(state.meter, one) for one in (state.changes, changes)))
    lines = move_lines(state.meter, changes, names, state.units)
    return _said(replace(state, changes=changes), lines)


def _guess(state: State, given: Mapping[str, Any]) -> State:
    typed = given["guess"]
    texts = [typed] if isinstance(typed, str) else typed
    if not _are_texts(texts, 2):
        raise bad("guess", "", "must be one cause or two, such as edge worn")
    names = tuple(dict.fromkeys(cause_named(one, state.meter.causes).name for one in texts))
    return _said(replace(state, guesses=(*state.guesses, names)), guess_lines(names))


def _end(state: State, given: Mapping[str, Any]) -> State:
    if given["end"] is not True:
        raise bad("end", str(given["end"]), "must be true")
    ending = ending_of(state.meter, state.counts, state.changes, state.units)
    parts = ending_parts(state.meter, ending, state.guesses, state.units)
    return _said(replace(state, ending=ending, parts=parts), parts[TRUTH].lines)


_ACTS = {"count": _count, "move": _move, "guess": _guess, "end": _end}


def _are_texts(texts: Any, most: int) -> bool:
    return (
        isinstance(texts, list | tuple)
        and 0 < len(texts) <= most
        and all(isinstance(one, str) and 0 < len(one.strip()) <= MOST_LETTERS for one in texts)
    )


def _said(state: State, lines: Sequence[str]) -> State:
    return replace(state, said=(*state.said, tuple(lines)))
