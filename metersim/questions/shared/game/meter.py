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
from metersim.questions.shared.game.causes import (
    LEVELS,
    MOST_NUMBER,
    HiddenMeter,
    cause_named,
    hidden_meter,
)
from metersim.questions.shared.game.counts import (
    BY,
    FEWEST,
    MOST,
    Count,
    counted,
    meter_at,
    place_of,
    reference,
)
from metersim.questions.shared.game.end import Ending, ending_of
from metersim.questions.shared.game.endwords import TRUTH, Part, ending_parts
from metersim.questions.shared.game.moves import (
    Changes,
    moved_names,
    moved_to,
)
from metersim.questions.shared.game.words import (
    count_lines,
    guess_lines,
    move_lines,
    opening,
)

MOST_ACTS = 40
ACTS = ("count", "move", "guess", "end")
UNITS = ("metric", "us")
MOST_LETTERS = 200  # of a typed word
MOST_TEXT = 4_000  # letters of an act
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
    >>> from metersim.questions.shared.game.meter import act, start
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
        if len(text) > MOST_TEXT:
            raise bad("act", "", f"must be {MOST_TEXT:,} letters at most")
        state = _after(number, level, units, state.acts, text)
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
