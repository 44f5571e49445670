"""The form of every printed answer: the answer first, then a table, then what it assumes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from metersim.measures.intervals import Estimate
from metersim.questions.shared.words import WIDE, aligned, shown, wrapped

LINES = 24  # of a terminal, which holds a whole answer
MOST_ROWS = 8  # lines of a table below its heads
MORE = "More: --details shows"
EVERYTHING = "every measure, the parts of each interval and all notes"
UNDETECTED = "no difference is detected"


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What a command says.

    Attributes
    ----------
    first : sequence of str
        One to three short sentences: what to do, or what happens.
    notes : sequence of str
        Notes that change the answer.
    table : sequence of sequences of str
        Heads, then at most `MOST_ROWS` rows.
    assumes : str
        What the answer rests on, in one sentence.
    caution : str
        Caution in one line, before anything else; empty where no hand comes near a machine.
    details : sequence of str
        Lines of the whole report.
    more : str
        What the report holds beyond the answer.
    """

    first: Sequence[str]
    notes: Sequence[str] = ()
    table: Sequence[Sequence[str]] = ()
    assumes: str = ""
    caution: str = ""
    details: Sequence[str] = ()
    more: str = EVERYTHING

    def with_note(self, note: str) -> Answer:
        """This answer with one more note if all of it fits into `LINES` lines; otherwise as it is.

        For a note that the report under ``--details`` holds as well.
        """
        more = replace(self, notes=[*self.notes, note])
        return more if note and len(more._lines(len(more.notes), False)) <= LINES else self

    def text(self, details: bool = False) -> str:
        """The printed answer, and the whole report below it if details are asked for.

        Without details, notes that would not fit into `LINES` lines are counted only.
        """
        kept = len(self.notes)
        lines = self._lines(kept, details)
        while not details and self.details and kept and len(lines) > LINES:
            kept -= 1
            lines = self._lines(kept, details)
        return "\n".join(lines)

    def _lines(self, kept: int, details: bool) -> list[str]:
        """Lines of the answer with its first few notes."""
        left = len(self.notes) - kept
        notes = [*self.notes[:kept], *([f"{left} more under --details."] if left else [])]
        lines = wrapped(f"Caution: {self.caution}", WIDE) if self.caution else []
        lines += [part for sentence in self.first for part in wrapped(sentence, WIDE)]
        lines += [part for note in notes for part in wrapped(f"Note: {note}", WIDE)]
        if self.table:
            lines += ["", *aligned(self.table).splitlines()]
        if self.assumes:
            lines += ["", *wrapped(f"Assumes: {self.assumes}", WIDE)]
        if details:
            lines += ["", *self.details]
        elif self.details:
            lines.append(f"{MORE} {self.more}.")
        return lines


def alike(kind: str, estimates: Sequence[Estimate], units: str = "metric") -> list[str]:
    """Values of one measure, all with the digits that the narrowest interval bears.

    Parameters
    ----------
    kind, units
        As for `told`.
    estimates : sequence of Estimate
        Values and intervals in SI.
    """
    values = [shown(kind, one.value, units) for one in estimates]
    sizes = [(shown(kind, one.high - one.low, units)[0]) / 2 for one in estimates]
    known = [size for size in sizes if size > 0]
    if not known:
        return [told(kind, one, units)[0] for one in estimates]
    least = min(known)
    return [
        "none" if math.isnan(value) else f"{plain(value, least)} {symbol}".strip()
        for value, symbol in values
    ]


def told(kind: str, estimate: Estimate, units: str = "metric") -> tuple[str, str]:
    """A value and its interval with no more digits than the interval bears.

    Parameters
    ----------
    kind : str
        Kind of the measure, as for `metersim.questions.shared.words.shown`.
    estimate : Estimate
        Value and interval in SI.
    units : str
        ``metric`` or ``us``.

    Returns
    -------
    tuple of str
        The value with its unit, and the interval as ``low to high``.
    """
    (value, symbol), (low, _), (high, _) = (
        shown(kind, one, units) for one in (estimate.value, estimate.low, estimate.high)
    )
    if math.isnan(value):
        return "none", "the run is too short"
    if math.isnan(low) or math.isnan(high):
        return f"{plain(value, value)} {symbol}".strip(), "the run is too short"
    size = (high - low) / 2
    texts = [plain(one, size) for one in (value, low, high)]
    return f"{texts[0]} {symbol}".strip(), f"{texts[1]} to {texts[2]}"


def change_told(kind: str, estimate: Estimate, units: str = "metric") -> str:
    """A difference with its sign and interval for a table; shares in percentage points (pp).

    Parameters
    ----------
    kind, estimate, units
        As for `told`.
    """
    if math.isnan(estimate.value):
        return "nothing to compare"
    if estimate.value == estimate.low == estimate.high == 0:
        return "none in any cell"
    if math.isnan(estimate.low) or math.isnan(estimate.high):
        return "the run is too short"
    value, low, high = _sized(kind, estimate, units)
    ends = f"({with_sign(low)} to {with_sign(high)})"
    if not is_distinct(estimate):
        return f"none detected {ends}"
    return f"{with_sign(value)}{' pp' if kind == 'share' else ''} {ends}"


def movement(name: str, kind: str, estimate: Estimate, units: str = "metric") -> str:
    """A sentence on a difference: what rises or falls, by how much, with its interval.

    Parameters
    ----------
    name : str
        Name of the measure, in the plural.
    kind, estimate, units
        As for `told`.
    """
    if math.isnan(estimate.low) or math.isnan(estimate.high):
        return f"{name}: the run is too short to compare."
    if not is_distinct(estimate):
        return f"{name}: {UNDETECTED}."
    value, low, high = (text.lstrip("-") for text in _sized(kind, estimate, units))
    low, high = (low, high) if estimate.value > 0 else (high, low)
    unit = "percentage points" if kind == "share" else shown(kind, 0.0, units)[1]
    verb = "rise" if estimate.value > 0 else "fall"
    return f"{name} {verb} by {f'{value} {unit}'.strip()} ({low} to {high})."


def capital(sentence: str) -> str:
    """A sentence with a capital first letter."""
    return sentence[:1].upper() + sentence[1:]


def small(sentence: str) -> str:
    """A sentence with a small first letter, to follow a colon."""
    return sentence[:1].lower() + sentence[1:]


def is_distinct(estimate: Estimate) -> bool:
    """Whether the interval of a difference leaves out 0."""
    return estimate.low > 0 or estimate.high < 0


def with_sign(text: str) -> str:
    """A printed number with its sign; 0 has none."""
    return text if text.startswith("-") or not text.strip("0.,") else f"+{text}"


def _sized(kind: str, estimate: Estimate, units: str) -> list[str]:
    """Value, low and high as numbers with the digits that the interval bears."""
    ends = (estimate.value, estimate.low, estimate.high)
    value, low, high = (shown(kind, one, units)[0] for one in ends)
    size = (high - low) / 2
    made = [plain(one, size) for one in (value, low, high)]
    if is_distinct(estimate) and size > 0:  # then no end is printed as 0
        while not all(text.strip("-0.,") for text in made):
            size /= 10
            made = [plain(one, size) for one in (value, low, high)]
    return made


def plain(value: float, size: float) -> str:
    """A number whose last digit is worth at most half of an error of a size."""
    if size <= 0 or not math.isfinite(size):
        return f"{value:,.6g}"
    digits = math.ceil(-math.log10(size / 2))
    return f"{round(value, digits) + 0.0:,.{max(digits, 0)}f}"


def finite(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row for JSON: numbers that are not finite become None."""
    return {
        key: None if isinstance(value, float) and not math.isfinite(value) else value
        for key, value in row.items()
    }


def plus(value: float, size: float) -> str:
    """A number with its sign and no more digits than an error of a size bears."""
    return with_sign(plain(value, size))
