"""Words of a game with a hidden fault."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.machine.sections import all_fields
from metersim.questions.shared.answer import capital
from metersim.questions.shared.countregion import apart
from metersim.questions.shared.hiddencauses import CAUSES, LEVELS, Hidden, HiddenMeter
from metersim.questions.shared.hiddencounts import Count, place_of
from metersim.questions.shared.hiddenend import Ending, Reached, Shown, Together, Wrong
from metersim.questions.shared.hiddenmoves import Changes, moved_names, settings_text
from metersim.questions.shared.notes import IN_THE_ROW, RUNNING, STOPPED
from metersim.questions.shared.words import aligned, plural, wrapped

PLACES = {"belt": "on the belt", "sensor": "by the sensor", "tape": "with a tape"}
CELLS = {"belt": "cells", "sensor": "cells", "tape": "theoretical places"}
WHO = {
    "in order": "in order, not moved",
    "found": "as you found it",
    "class": "as you left it",
    "one step": "one step at a time",
}
MOST_SHOWN = 16  # rows of a table of counts, the last ones
TRUTH, MOVES, COUNTS = PARTS = ("truth", "moves", "counts")
"""Parts of the end."""


def percent(share: float) -> str:
    """A share in percent with one digit behind the point."""
    return f"{100 * share:.1f} %"


def of_hundred(chance: float) -> str:
    """A chance as so many cases of a hundred."""
    return f"{round(100 * chance)} of 100"


def points(difference: float) -> str:
    """A difference of shares in percentage points."""
    return f"{100 * difference:+.1f}"


def listed(names: Sequence[str]) -> str:
    """Names in a sentence: one, two and three."""
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def at_text(meter: HiddenMeter, count: Count, units: str) -> str:
    """Settings that were moved before a count, in words."""
    if not count.number:
        return "in order, before"
    place = place_of(meter, count.changes)
    names = moved_names(meter.shown, place)
    return settings_text(place, units, names) or "as found"


def opening(meter: HiddenMeter, before: Count, units: str) -> list[str]:
    """Lines with which a game begins."""
    shown = meter.shown
    return [
        f"Caution: {RUNNING}",
        f"Meter {meter.number}, level {meter.level}: {LEVELS[meter.level]}.",
        f"{shown.title}: {shown.disc.cells} holes, {settings_text(shown, units)}.",
        f"In order, {before.cells:,} cells had {_numbers(before)}: count 0. "
        "Since then something went wrong. No scale shows it.",
    ]


def _numbers(count: Count) -> str:
    """Skips and doubles of a count with their shares."""
    return (
        f"{count.skips} {plural(count.skips, 'skip')} ({percent(count.shares[0])}) and "
        f"{count.doubles} {plural(count.doubles, 'double')} ({percent(count.shares[1])})"
    )


def count_lines(count: Count, meter: HiddenMeter, before: Sequence[Count], units: str) -> list[str]:
    """Lines on a count, and on whether it differs from the one before."""
    ends = [
        f"{100 * min(one):.1f} to {100 * max(one):.1f} %" for one in zip(*count.region, strict=True)
    ]
    lines = [
        f"Count {count.number} {PLACES[count.by]}, {at_text(meter, count, units)}: "
        f"{count.cells:,} {CELLS[count.by]} had {_numbers(count)}, {count.seeds:,} seeds.",
        f"With sampling error alone: skips {ends[0]}, doubles {ends[1]} (joint 90 % region).",
    ]
    if count.by == "tape":
        lines.insert(0, f"Caution: {IN_THE_ROW}")
    earlier = [one for one in before if one.by == count.by]
    for last in dict.fromkeys((*earlier[:1], *earlier[-1:])):
        differs = bool(apart(last.independent, count.independent))
        verb = "differ by more than sampling error" if differs else "cannot be distinguished"
        lines.append(f"Counts {last.number} and {count.number} {verb}.")
    return lines


def move_lines(meter: HiddenMeter, now: Changes, names: Sequence[str], units: str) -> list[str]:
    """Lines on a move."""
    at = settings_text(place_of(meter, now), units)
    return [
        f"Caution: {STOPPED}",
        f"Moved {listed(names)}. Now: {at}.",
    ]


def guess_lines(names: Sequence[str]) -> list[str]:
    """Lines on a guess, which is judged at the end alone."""
    each = " and ".join(f"{name} ({CAUSES[name].words})" for name in names)
    return [f"Guess: {each}. The end will tell whether it is right."]


def ending_parts(
    meter: HiddenMeter, ending: Ending, guesses: Sequence[Sequence[str]], units: str
) -> dict[str, list[str]]:
    """Lines of the end by part: the truth, what was moved at once, and what each count shows."""
    truth = [wrong_text(one, units) for one in ending.wrong]
    truth.append(judged(ending, guesses))
    if ending.alike:
        truth.append(alike_text(ending.alike))
    truth += [together_text(one) for one in ending.together]
    truth += ["", *reached_table(meter, ending.reached, units)]
    parts = {
        TRUTH: truth,
        MOVES: [part for one in ending.together for part in together_table(one)]
        or ["Between no two counts of one kind were several settings moved."],
        COUNTS: counts_table(ending.shown, ending.alike),
    }
    return {
        name: [part for line in lines for part in (wrapped(line) if line else [""])]
        for name, lines in parts.items()
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
        return str(value)
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


def alike_text(alike: Hidden) -> str:
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


def together_table(one: Together) -> list[str]:
    """Lines on several things that changed at once: each alone, and all together."""
    first, second = (f"{many:,}" for many in one.cells)
    cells = f"two counts of {first}" if first == second else f"counts of {first} and {second}"
    rows = [["changed", "skips", "doubles", f"{cells} detect it"]]
    whole = ("both" if len(one.names) == 2 else "all", one.after, one.chance)
    for name, there, chance in (*zip(one.names, one.alone, one.chances, strict=True), whole):
        skips, doubles = there.skip - one.before.skip, there.double - one.before.double
        rows.append([name, f"{points(skips)} pp", f"{points(doubles)} pp", of_hundred(chance)])
    said = "The same seeds, dropped again, with each change alone and with all (percentage points):"
    return [together_text(one), said, *aligned(rows).splitlines(), ""]


def counts_table(shown: Sequence[Shown], alike: Hidden | None) -> list[str]:
    """Lines on what each count could have shown."""
    if not shown:
        return ["You made no count."]
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
    for one in shown[-MOST_SHOWN:]:
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
    left = len(shown) - MOST_SHOWN
    more = f" (the last {MOST_SHOWN} of {len(shown)} counts)" if left > 0 else ""
    return [
        f"What such a count shows, in so many of 100 counts{more}. Chance alone gives 10 of 100.",
        *aligned(rows).splitlines(),
    ]


def reached_table(meter: HiddenMeter, reached: Sequence[Reached], units: str) -> list[str]:
    """Lines on where the class ended, and where one step at a time ends."""
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
    return aligned(rows).splitlines()
