"""Words of a game with a hidden fault."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.questions.shared.game.causes import CAUSES, LEVELS, HiddenMeter
from metersim.questions.shared.game.counts import Count, place_of
from metersim.questions.shared.game.moves import Changes, moved_names, settings_text
from metersim.questions.shared.game.region import apart
from metersim.questions.shared.notes import IN_THE_ROW, RUNNING, STOPPED
from metersim.questions.shared.words import plural

PLACES = {"belt": "on the belt", "sensor": "by the sensor", "tape": "with a tape"}
CELLS = {"belt": "cells", "sensor": "cells", "tape": "theoretical places"}


def percent(share: float) -> str:
    """A share in percent with one digit behind the point."""
    return f"{100 * share:.1f} %"


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
    return [f"Guess: {each}. The end says whether it is right."]
