"""Phrases of a lesson that follow the numbers, whichever way these fall."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from metersim.measures.intervals import Estimate
from metersim.questions.lesson.meter import Rates
from metersim.questions.shared.answer import capital, is_distinct, plain
from metersim.questions.shared.counts import MOST_PRACTICAL
from metersim.questions.shared.words import notch_text, number, set_quantity

Levels = Mapping[str, tuple[Estimate, Estimate, Estimate]]
"""Before, after and change, by the name of what is measured, in the plural."""
KINDS = {"vacuum": "pressure", "speed": "speed", "gate": "small"}  # of quantities, by setting


def share(estimate: Estimate) -> str:
    """A share in percent with the digits that its interval bears, and two at most."""
    value, size = 100 * estimate.value, 50 * (estimate.high - estimate.low)
    if math.isnan(value):
        return "none"
    most = 1 if abs(value) >= 1 else 2
    borne = math.ceil(-math.log10(size / 2)) if size > 0 else most
    text = f"{value:.{min(max(borne, 0), most)}f}"
    if not text.strip("-0."):
        return "0 %"
    return "100 %" if text == "100.0" else f"{text} %"


def found(low: float, high: float, size: int) -> str:
    """A range of shares that counts of a size find, with the digits that they can have."""
    digits = max(math.ceil(math.log10(size)) - 2, 0)
    ends = [f"{100 * one:.{digits}f}" for one in (low, high)]
    return f"{ends[0]} %" if ends[0] == ends[1] else f"{ends[0]} to {ends[1]} %"


def hundred(chance: float) -> str:
    """A chance as a number of 100 cases."""
    return f"{of_hundred(chance)} of 100"


def of_hundred(chance: float) -> str:
    """The number of `hundred`."""
    many = round(100 * chance)
    if many < 1:
        return "fewer than 1"
    return "more than 99" if many > 99 and chance < 1 else f"{many}"


def cells_text(cells: float) -> str:
    """A number of cells to count, rounded up to two digits."""
    if cells > MOST_PRACTICAL:
        return f"more than {MOST_PRACTICAL:,} cells"
    size = 10 ** max(math.floor(math.log10(max(cells, 1))) - 1, 0)
    return f"{math.ceil(cells / size) * size:,} cells"


def points(change: Estimate) -> str:
    """Size of a change of a share in percentage points, with its interval."""
    ends = sorted(abs(100 * one) for one in (change.low, change.high))
    size = (ends[1] - ends[0]) / 2
    value, low, high = (plain(one, size) for one in (abs(100 * change.value), *ends))
    return f"{value} percentage points ({low} to {high})"


def _clause(name: str, before: Estimate, after: Estimate, change: Estimate) -> str:
    """What a measure does: it rises or falls; empty where no change is detected."""
    if not is_distinct(change):
        return ""
    verb = "rise" if change.value > 0 else "fall"
    texts = share(before), share(after)
    if texts[0] == texts[1]:
        return f"{name} {verb} by {points(change)}"
    return f"{name} {verb} from {texts[0]} to {texts[1]}"


def by_points(name: str, change: Estimate) -> str:
    """What a measure does, in percentage points; the change is detected."""
    return f"{name} {'rise' if change.value > 0 else 'fall'} by {points(change)}"


def went(levels: Levels) -> str:
    """One sentence on what some measures do, without its full stop and capital.

    A change is told only where it is detected; otherwise the sentence says that it is not.
    """
    short = [name for name, (_, _, change) in levels.items() if math.isnan(change.low)]
    if short:
        return f"the runs are too short to compare {joined(short, 'and')}"
    clauses = [clause for name, parts in levels.items() if (clause := _clause(name, *parts))]
    still = [name for name, (_, _, change) in levels.items() if not is_distinct(change)]
    if not still:
        return ", and ".join([", ".join(clauses[:-1]), clauses[-1]]) if clauses[1:] else clauses[0]
    nothing = f"no change of {joined(still, 'or')} is detected"
    return "; ".join([", ".join(clauses), nothing]) if clauses else nothing


def moved(before: Rates, after: Rates, change: Rates) -> str:
    """One sentence on what skips and doubles do, as `went`."""
    names = ("skips", "doubles")
    return went({name: tuple(one.kinds[name] for one in (before, after, change)) for name in names})  # type: ignore[misc]


def sentence(text: str) -> str:
    """A text with a capital and a full stop."""
    return f"{capital(text)}."


def joined(words: Sequence[str], last: str) -> str:
    """Words with commas, and one word before the last of them."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def value_text(setting: str, value: float, units: str) -> str:
    """A value of a setting with its unit."""
    return notch_text(value) if setting == "notch" else set_quantity(KINDS[setting], value, units)


def span(setting: str, low: float, high: float, units: str) -> str:
    """Two values of a setting, with their unit once."""
    texts = [value_text(setting, one, units) for one in (low, high)]
    if setting == "notch":
        return f"{texts[0]} to {texts[1].removeprefix('notch ')}"
    return f"{texts[0].rpartition(' ')[0]} to {texts[1]}"


def hours(many: float) -> str:
    """A number of hours in words."""
    return f"{number(round(many, 1)).rstrip('0').rstrip('.')} hours"
