"""Words and tables of the end of a game with a hidden fault."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from metersim.machine.sections import all_fields
from metersim.questions.shared.answer import LINES, capital
from metersim.questions.shared.game.causes import HiddenMeter, Present
from metersim.questions.shared.game.counts import place_of
from metersim.questions.shared.game.end import Ending, Reached, Shown, Together, Wrong
from metersim.questions.shared.game.moves import moved_names, settings_text
from metersim.questions.shared.game.words import listed, percent
from metersim.questions.shared.words import aligned, wrapped

WHO = {
    "in order": "in order, not moved",
    "found": "as you found it",
    "class": "as you left it",
    "one step": "one step at a time",
}
MOST_ROWS = 16  # of a table in a terminal: the last ones
TRUTH, MOVES, COUNTS = PARTS = ("truth", "moves", "counts")
"""Parts of the end."""


@dataclass(frozen=True)
class Table:
    """A table of the end.

    Attributes
    ----------
    caption : str
        What it shows, in a sentence.
    rows : sequence of sequences of str
        Heads, then rows.
    """

    caption: str
    rows: Sequence[Sequence[str]]

    @property
    def lines(self) -> list[str]:
        """Lines for a terminal; of a long table, the last rows."""
        kept = [self.rows[0], *self.rows[1:][-MOST_ROWS:]]
        left = len(self.rows) - len(kept)
        more = f" The first {left} are left out." if left else ""
        return [*wrapped(f"{self.caption}{more}"), *aligned(kept).splitlines()]


@dataclass(frozen=True)
class Part:
    """A part of the end: sentences, and tables below them."""

    sentences: Sequence[str]
    tables: Sequence[Table] = ()

    @property
    def lines(self) -> list[str]:
        """Lines for a terminal; the first tables are left out where they are too many."""
        made = [line for sentence in self.sentences for line in wrapped(sentence)]
        for left in range(len(self.tables) + 1):
            lines = list(made)
            for table in self.tables[left:]:
                lines += [*([""] if lines else []), *table.lines]
            if len(lines) < LINES:
                break
        return lines

    def to_dict(self) -> dict[str, Any]:
        """Sentences and tables for JSON."""
        tables = [{"caption": one.caption, "rows": [*map(list, one.rows)]} for one in self.tables]
        return {"sentences": list(self.sentences), "tables": tables}


def of_hundred(chance: float) -> str:
    """A chance as so many cases of a hundred."""
    return f"{round(100 * chance)} of 100"


def points(difference: float) -> str:
    """A difference of shares in percentage points."""
    return f"{100 * difference:+.1f} pp"


def ending_parts(
    meter: HiddenMeter, ending: Ending, guesses: Sequence[Sequence[str]], units: str
) -> Mapping[str, Part]:
    """The end by part: the truth, what was moved at once, and what each count shows."""
    truth = [wrong_text(one, units) for one in ending.wrong]
    truth.append(judged(ending, guesses))
    if ending.alike:
        truth.append(alike_text(ending.alike))
    truth += [together_text(one) for one in ending.together]
    nothing = ["Between no two counts of one kind did you move several settings."]
    return {
        TRUTH: Part(truth, [reached_table(meter, ending.reached, units)]),
        MOVES: Part([] if ending.together else nothing, [*map(together_table, ending.together)]),
        COUNTS: counts_part(ending.shown, ending.alike),
    }


def wrong_text(wrong: Wrong, units: str) -> str:
    """A sentence on one cause, with what differs from the scales."""
    values = [
        f"{field.replace('_', ' ')} {_value(section, field, true, units)}"
        + ("" if said is None else f" instead of {_value(section, field, said, units)}")
        for section, field, said, true in wrong.values
    ]
    degree = "mild" if wrong.severity < 0.34 else "middling" if wrong.severity < 0.67 else "bad"
    return f"{capital(wrong.cause.name)}, {degree}: {wrong.cause.words} ({'; '.join(values)})."


def _value(section: str, field: str, value: object, units: str) -> str:
    """A value of a scenario's field with its unit."""
    spec = all_fields()[section, field]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, int | float):
        first, _, many = str(value).partition(" ")
        if first != "every":  # of holes, such as every 3
            return str(value)
        return "all" if many == "1" else f"one in {many}"
    unit = spec.unit_for(units)
    return f"{unit.from_si(value) if unit else value:.3g} {unit.symbol if unit else ''}".rstrip()


def judged(ending: Ending, guesses: Sequence[Sequence[str]]) -> str:
    """A sentence on whether the last guess is right."""
    if not guesses:
        return "You made no guess."
    true = {one.cause.name for one in ending.wrong}
    last = set(guesses[-1])
    if last == true:
        return "Your last guess is right."
    if last & true:
        return f"Your last guess is right in part: {' and '.join(sorted(last & true))}."
    return f"Your last guess is wrong: {' and '.join(sorted(last))}."


def alike_text(alike: Present) -> str:
    """A sentence on the cause that looks most alike."""
    return f"The other cause that looks most like it: {alike.cause.name} ({alike.cause.words})."


def together_text(one: Together) -> str:
    """A sentence on several things that changed at once."""
    names = listed(one.names)
    verb = "hid" if one.hidden else "did not hide"
    if not one.numbers:
        return f"The causes {names} {verb} each other."
    first, second = one.numbers
    return f"Between counts {first} and {second} you moved {names} at once. They {verb} each other."


def together_table(one: Together) -> Table:
    """Several things that changed at once: each alone, and all together."""
    first, second = (f"{many:,}" for many in one.cells)
    cells = f"two counts of {first}" if first == second else f"counts of {first} and {second}"
    rows = [["changed", "skips", "doubles", f"{cells} detect it"]]
    whole = ("both" if len(one.names) == 2 else "all", one.after, one.chance)
    for name, there, chance in (*zip(one.names, one.alone, one.chances, strict=True), whole):
        skips, doubles = there.skip - one.before.skip, there.double - one.before.double
        rows.append([name, points(skips), points(doubles), of_hundred(chance)])
    return Table(f"{together_text(one)} The same seeds, dropped again, with each change:", rows)


def counts_part(shown: Sequence[Shown], alike: Present | None) -> Part:
    """What each count could have shown."""
    if not shown:
        return Part(["You made no count."])
    heads = [
        "count",
        "cells",
        "by",
        "counted skips, doubles",
        "true skips, doubles",
        "shows a fault",
    ]
    if alike:
        heads.append(f"rules out {alike.cause.name}")
    rows = [heads]
    for one in shown:
        count, truth = one.count, one.truth
        row = [
            str(count.number),
            f"{count.cells:,}",
            count.by,
            f"{percent(count.shares[0])}, {percent(count.shares[1])}",
            f"{percent(truth.skip)}, {percent(truth.double)}",
            of_hundred(one.from_order),
        ]
        if alike:
            row.append("-" if one.from_alike is None else of_hundred(one.from_alike))
        rows.append(row)
    said = "What such a count shows, in so many of 100 counts. Chance alone gives 10 of 100."
    return Part([], [Table(said, rows)])


def reached_table(meter: HiddenMeter, reached: Sequence[Reached], units: str) -> Table:
    """Where the class ended, and where one step at a time ends."""
    rows = [["meter", "cells counted", "skips", "doubles", "settings moved"]]
    for one in reached:
        place = place_of(meter, one.changes)
        names = moved_names(meter.shown, place)
        rows.append(
            [
                WHO[one.who],
                f"{one.cells:,} in {one.counts}" if one.counts else "-",
                percent(one.truth.skip),
                percent(one.truth.double),
                settings_text(place, units, names) or "none",
            ]
        )
    said = "What the meter truly does, and the cells that it took to come there."
    return Table(said, rows)
