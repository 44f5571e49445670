"""Text of what luck does and of what not knowing does, side by side."""

from __future__ import annotations

import math
from collections.abc import Mapping

from metersim.reports.words import change_text, interval_text, quantity
from metersim.studies.unknowns import Spread

WIDE = 22  # letters of an interval
UNTOLD = "not told from luck"
ENOUGH = 39  # draws, of which 95 % leave out the least and the greatest


def head(level: str) -> str:
    """Heads of the columns of `apart`."""
    return f"{'luck: ' + level:{WIDE}}{'not knowing':{WIDE}}both"


def apart(spread: Spread, key: str, units: str = "metric") -> str:
    """Intervals of a measure: luck, not knowing, both."""
    kind, unknown = spread.measures[key].kind, spread.unknown(key)
    luck, told, both = (
        interval_text(kind, one, units) for one in (spread.luck(key), unknown, spread.both(key))
    )
    told = told if _is_told(spread, key) else UNTOLD
    return f"{luck:{WIDE}}{told:{WIDE}}{both}"


def meanings(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines that say what the intervals are, and what not knowing moves.

    Parameters
    ----------
    spread : Spread
        Of a run.
    names : mapping of str to str
        What the measures that are shown are called, by key.
    units : str
        ``metric`` or ``us``.
    """
    lines = [*how(spread), "estimate and luck: at the middle of what is not known"]
    moved = [
        f"{names[key]} ({quantity(spread.measures[key].kind, both.value, units)})"
        for key in names
        for luck, both in [(spread.luck(key), spread.both(key))]
        if both.value < luck.low or both.value > luck.high
    ]
    if moved:
        lines.append("over the draws the median is outside luck's interval:")
        lines += [f"  {', '.join(moved[k : k + 4])}" for k in range(0, len(moved), 4)]
    return lines


def how(spread: Spread) -> list[str]:
    """Lines that say how luck and not knowing are told apart."""
    lines = [
        f"{spread.size:,} draws of what is not known, each run once on luck of its own",
        "both: 95 % of the draws; not knowing: the same without what luck has in it",
    ]
    if spread.size < ENOUGH:
        held = (spread.size - 1) / (spread.size + 1)
        lines.append(f"so few draws show no 95 %: both is all of them, {100 * held:.0f} %")
    return lines


def changes(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines of differences in which not knowing stands apart from luck.

    Parameters
    ----------
    spread : Spread
        Of differences.
    names : mapping of str to str
        What measures are called, by key.
    units : str
        ``metric`` or ``us``.
    """
    head = f"{spread.about}: not knowing"
    wide = max(60, len(head) + 2)
    lines = [f"{head:{wide}}both"]
    for key in spread.estimates:
        kind, unknown = spread.measures[key].kind, spread.unknown(key)
        told, both = (change_text(kind, one, units) for one in (unknown, spread.both(key)))
        told = told if _is_told(spread, key) else UNTOLD
        lines.append(f"{f'{names[key]:20}{told}':{wide}}{both}")
    return lines


def _is_told(spread: Spread, key: str) -> bool:
    """Whether not knowing can be told from luck, or is too short to tell anything."""
    return spread.is_told(key) or math.isnan(spread.unknown(key).low)


def either_way(spread: Spread, names: Mapping[str, str]) -> list[str]:
    """A line that names the differences whose sign hangs on what is not known."""
    found = [
        names[key]
        for key in names
        for unknown in [spread.unknown(key)]
        if spread.is_told(key) and unknown.low < 0 < unknown.high
    ]
    said = f"{', '.join(found)}: up or down, as what is not known turns out ({spread.about})."
    return [said[0].upper() + said[1:]] if found else []
