"""The form of every printed answer: the answer first, then a table, then what it assumes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from metersim.measures.intervals import Estimate
from metersim.questions.shared.words import WIDE, aligned, shown, wrapped

LINES = 24  # of a terminal, which holds a whole answer
MOST_ROWS = 8  # lines of a table below its heads
MORE = "More: --details"


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
    """

    first: Sequence[str]
    notes: Sequence[str] = ()
    table: Sequence[Sequence[str]] = ()
    assumes: str = ""
    caution: str = ""
    details: Sequence[str] = ()

    def text(self, details: bool = False) -> str:
        """The printed answer, and the whole report below it if details are asked for."""
        lines = [f"Caution: {self.caution}"] if self.caution else []
        lines += [part for sentence in self.first for part in wrapped(sentence, WIDE)]
        lines += [part for note in self.notes for part in wrapped(f"Note: {note}", WIDE)]
        if self.table:
            lines += ["", *aligned(self.table).splitlines()]
        if self.assumes:
            lines += ["", *wrapped(f"Assumes: {self.assumes}", WIDE)]
        if details:
            lines += ["", *self.details]
        elif self.details:
            lines.append(f"{MORE} shows every measure, the parts of each interval and all notes.")
        return "\n".join(lines)


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
