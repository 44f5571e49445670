"""A game with a hidden fault in a terminal: lines in, lines out."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from io import TextIOWrapper
from pathlib import Path
from typing import Any, TextIO

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.whole import write_all
from metersim.questions.lesson.hiddenplane import plane_lines
from metersim.questions.shared.game.causes import MOST_NUMBER
from metersim.questions.shared.game.counts import BY, FEWEST, MOST, place_of
from metersim.questions.shared.game.endwords import COUNTS, MOVES, TRUTH
from metersim.questions.shared.game.meter import State, act, start
from metersim.questions.shared.game.moves import MOVABLE, settings_text
from metersim.questions.shared.game.words import at_text
from metersim.questions.shared.words import aligned, wrapped

USUAL_CELLS = 300
MOST_LINE = 600  # letters of a typed line
SHOWN = 60  # letters of a line that is not understood
HELP = (
    ("causes", "list the causes to choose from"),
    ("plane", "draw all counts in the plane of skips against doubles"),
    ("settings", "say what is set now"),
    ("end", "the truth, and what one step at a time would have reached"),
    ("moves, counts", "after the end: settings moved at once, and what each count shows"),
    ("quit", "leave"),
)
AGAIN = "Type moves, counts, plane or truth for more; quit leaves."
ONE_MOVE = re.compile(r"([\w.]+)\s*=\s*(.*?)(?=[\s,;]+(?:and\s+)?[\w.]+\s*=|$)")
LEFT = ("quit", "exit", "q", "bye")


def play(
    number: int | None,
    level: int,
    units: str,
    lines: Iterable[str],
    out: str | None = None,
    echo: bool = False,
) -> Iterator[str]:
    """Play a game with a hidden fault.

    Parameters
    ----------
    number : int or None
        Number of the meter; None for any.
    level : int
        Difficulty, from 1 to 4.
    units : {'metric', 'us'}
        Units of settings.
    lines : iterable of str
        What is typed, line by line, such as ``sys.stdin``.
    out : str, optional
        File for a picture of the plane, written when the game is left.
    echo : bool
        Whether each typed line is said again, as where no terminal shows it.

    Yields
    ------
    str
        What is said, a text of a few lines at a time.

    Raises
    ------
    BadInput
        For a wrong number, level or units.
    """
    state = start(_of_this_moment() if number is None else number, level, units)
    yield _text(state.lines)
    yield f"Type {', '.join(typed for typed, _ in _examples(state))}, causes, plane, help or end."
    for line in lines:
        typed = " ".join(line.split())
        if echo and typed:
            yield f"> {typed if len(typed) <= MOST_LINE else typed[:SHOWN] + ' ...'}"
        if typed.lower() in LEFT:
            break
        if not typed:
            continue
        try:
            state, said = answered(state, typed)
        except BadInput as error:
            said = [str(fault) for fault in error.faults]
        yield _text(said)
    if not state.ended:
        yield "You left before the end, which would have said the truth."
    if out is not None:
        from metersim.questions.lesson.hiddenfigure import plane_figure
        from metersim.questions.shared.page import encoded

        write_all([(out, encoded(plane_figure(state), Path(out)))])
        yield f"The plane is in {out}."
    number, level = state.meter.number, state.meter.level
    yield f"Play this meter again with --number {number} --level {level}."


def lines_of(stream: TextIO) -> Iterator[str]:
    """Lines of a stream as they come; of a very long one its head alone, whatever follows."""
    if isinstance(stream, TextIOWrapper):
        stream.reconfigure(errors="replace")  # bytes that are no text
    while head := stream.readline(10 * MOST_LINE):
        rest = head
        while rest and not rest.endswith("\n"):
            rest = stream.readline(10 * MOST_LINE)
        yield head


def answered(state: State, typed: str) -> tuple[State, list[str]]:
    """The game after a typed line, and what is said.

    Raises
    ------
    BadInput
        For what is not understood, or cannot be done.
    """
    if len(typed) > MOST_LINE:
        raise bad("", f"{typed[:SHOWN]} ...", f"is too long; {MOST_LINE} letters are all there is")
    word, _, rest = typed.partition(" ")
    word = word.lower()
    if word in ACTS:
        after = act(state, ACTS[word](rest))
        return after, [*after.lines, *([AGAIN] if after.ended else [])]
    if word in (TRUTH, MOVES, COUNTS):
        if not state.ended:
            raise bad(word, "", "comes after the end; type end first")
        return state, state.parts[word].lines
    if word == "plane":
        counts = (state.before, *state.counts)
        return state, plane_lines(counts, [at_text(state.meter, k, state.units) for k in counts])
    if word == "causes":
        return state, aligned([(one.name, one.words) for one in state.meter.causes]).splitlines()
    if word == "settings":
        place = place_of(state.meter, state.changes)
        return state, [f"Now: {settings_text(place, state.units)}."]
    if word in ("help", "?"):
        return state, aligned((*_examples(state), *HELP)).splitlines()
    known = (*ACTS, TRUTH, MOVES, COUNTS, "plane", "causes", "settings", "help", "quit")
    raise bad("", typed[:SHOWN], f"is not understood; {hint(word, known)}")


def _examples(state: State) -> list[tuple[str, str]]:
    """Acts that this meter allows, as they are typed, and what each does."""
    notch = MOVABLE["notch"].of(place_of(state.meter, state.changes))
    return [
        (
            "count 300",
            f"count so many cells, {FEWEST} to {MOST:,}; 'count 300 sensor' or 'tape' too",
        ),
        (f"move notch={notch - 1:g}", f"move {', '.join(MOVABLE)}; several at once if you like"),
        (
            f"guess {state.meter.causes[0].name}",
            "say what you think is wrong; 'and' between two causes",
        ),
    ]


def _of_this_moment() -> int:
    """A number that nobody has chosen; it is said, so that the meter can be had again."""
    return time.time_ns() // 1_000_000 % (MOST_NUMBER + 1)


def _count(rest: str) -> dict[str, Any]:
    """``300``, ``300 cells by sensor`` or ``tape``."""
    words = [word for word in rest.lower().replace(",", "").split() if word not in FILLERS]
    ways = [word for word in words if word in BY]
    numbers = [word for word in words if word.isascii() and word.isdigit() and len(word) < 10]
    if len(words) > len(ways) + len(numbers) or len(ways) > 1 or len(numbers) > 1:
        raise bad("count", rest, "is not understood; type count 300, or count 300 sensor")
    asked: dict[str, Any] = {"count": int(numbers[0]) if numbers else USUAL_CELLS}
    return asked | ({"by": ways[0]} if ways else {})


def _move(rest: str) -> dict[str, Any]:
    """``notch=1 vacuum=3.5``, with commas or ``and`` between them if wanted."""
    moves = [f"{key}={value.strip(' ,;')}" for key, value in ONE_MOVE.findall(rest)]
    left = ONE_MOVE.sub("", rest).replace(",", " ").replace(";", " ").split()
    if not moves or [word for word in left if word != "and"]:
        raise BadInput([Fault("move", rest, "is not understood; type move notch=1 vacuum=3.5")])
    return {"move": moves}


def _guess(rest: str) -> dict[str, Any]:
    """One cause, or two with ``and`` or a comma between them."""
    return {"guess": [one.strip() for one in re.split(r",|\band\b", rest) if one.strip()]}


def _end(rest: str) -> dict[str, Any]:
    """The end, whatever stands behind it."""
    return {"end": True}


FILLERS = ("by", "on", "the", "with", "a", "cells", "seeds", "places")
ACTS: Mapping[str, Callable[[str], dict[str, Any]]] = {
    "count": _count,
    "move": _move,
    "guess": _guess,
    "end": _end,
}


def _text(lines: Iterable[str]) -> str:
    """Lines as a text; long ones are folded."""
    return "\n".join(part for line in lines for part in (wrapped(line) if line else [""]))
