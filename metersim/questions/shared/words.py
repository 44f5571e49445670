"""Text of numbers and lines: units, digits, signs, headings and columns."""

from __future__ import annotations

import math
import sys
import textwrap
from collections.abc import Iterable, Sequence

from metersim.files.units import UNITS, as_written
from metersim.measures.intervals import Estimate
from metersim.questions.shared.counts import MOST_PRACTICAL

_SHOWN_UNITS = {
    "metric": {
        "length": UNITS["cm"],
        "per_area": UNITS["per_ha"],
        "small": UNITS["mm"],
        "distance": UNITS["m"],
        "speed": UNITS["kmh"],
        "hole_speed": UNITS["m_s"],
        "pressure": UNITS["kpa"],
        "mass": UNITS["kg"],
        "heap": UNITS["kg_m3"],
        "yield": UNITS["t_ha"],
        "flow": UNITS["m3_h"],
    },
    "us": {
        "length": UNITS["in"],
        "per_area": UNITS["per_acre"],
        "small": UNITS["in"],
        "distance": UNITS["ft"],
        "speed": UNITS["mph"],
        "hole_speed": UNITS["ft_s"],
        "pressure": UNITS["inh2o"],
        "mass": UNITS["lb"],
        "heap": UNITS["lb_bu"],
        "yield": UNITS["bu_acre"],
        "flow": UNITS["cfm"],
    },
}

WIDE = 118  # letters in a line
TOO_SHORT = "the run is too short"  # in place of an interval
GROUP, LABEL = 12, 28  # letters of a group of measures, and of a measure, in tables


def shown(kind: str, value: float, units: str = "metric") -> tuple[float, str]:
    """Number and unit in which a value of some kind is printed.

    Parameters
    ----------
    kind : str
        Kind of a `metersim.measures.indices.Measure`, or ``small``, ``distance``, ``speed``,
        ``hole_speed``, ``pressure``, ``flow``, ``mass``, ``heap``, ``yield``, ``days``, or
        ``money`` on an area.
    value : float
        Value in SI.
    units : str
        ``metric`` or ``us``.
    """
    if kind in _SHOWN_UNITS[units]:
        unit = _SHOWN_UNITS[units][kind]
        return unit.from_si(value), unit.symbol
    factor, symbol = {
        "share": (100, "%"),
        "time": (1e3, "ms"),
        "frequency": (1, "/s"),
        "cells": (1, "cells"),
        "days": (1 / UNITS["days"].factor, "days"),
        "money": (1 / UNITS["per_acre" if units == "us" else "per_ha"].factor, ""),
    }.get(kind, (1, ""))
    return value * factor, symbol


def number(value: float) -> str:
    """A number with as many digits as a reader can use."""
    if math.isnan(value):
        return "-"
    size = abs(value)
    digits = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 1 else 3
    return f"{value:,.{digits}f}"


def quantity(kind: str, value: float, units: str = "metric") -> str:
    """A value with its unit, as printed."""
    amount, symbol = shown(kind, value, units)
    return f"{number(amount)} {symbol}".strip()


def about_quantity(kind: str, value: float, units: str = "metric", digits: int = 3) -> str:
    """A value with its unit and so many significant digits at most."""
    amount, symbol = shown(kind, value, units)
    return f"{float(f'{amount:.{digits}g}'):,.10g} {symbol}".strip()


def set_quantity(kind: str, value: float, units: str = "metric") -> str:
    """A setting with its unit and no more digits than a user would write."""
    amount, symbol = shown(kind, value, units)
    return f"{as_written(amount, 4 if kind == 'per_area' else 3)} {symbol}".strip()


def mass_text(mass: float) -> str:
    """Mass of one seed for readers of metric units; the others count seeds in a pound."""
    return f"{mass * 1e6:.4g} mg"


def seeds_a_pound(mass: float) -> float:
    """Seeds in a pound, from the mass of one. [kg]"""
    return UNITS["lb"].to_si(1) / mass


def notch_text(notch: float) -> str:
    """A notch of the singulator with its sign; 0 is the centre."""
    return f"notch {notch:+g}" if notch else "notch 0"


def seeds_text(seeds: float) -> str:
    """A number of seeds to count, rounded up to two digits; above `MOST_PRACTICAL` it is never."""
    if seeds > MOST_PRACTICAL:
        return f"never in {MOST_PRACTICAL:,}"
    if seeds <= 10:
        return "10 seeds"
    size = 10 ** (math.floor(math.log10(seeds)) - 1)
    return f"{math.ceil(seeds / size) * size:,} seeds"


def change_text(kind: str, estimate: Estimate, units: str = "metric") -> str:
    """A difference with its sign and interval; shares in percentage points (pp)."""
    value, low, high = (
        shown(kind, number, units)[0] for number in (estimate.value, estimate.low, estimate.high)
    )
    symbol = "pp" if kind == "share" else shown(kind, 0.0, units)[1]
    if math.isnan(value):
        return "nothing to compare"
    if value == low == high == 0:
        return "no difference in any cell"
    if math.isnan(low):
        return f"{signed(value)} {symbol} ({TOO_SHORT})"
    return f"{signed(value)} {symbol} ({signed(low)} to {signed(high)})"


def plural(many: int, word: str) -> str:
    """A word in the singular or plural form that a number needs."""
    return word if many == 1 else f"{word}s"


def signed(value: float) -> str:
    """A number with its sign."""
    if math.isnan(value):
        return "-"
    return ("+" if value > 0 else "-" if value < 0 else "") + number(abs(value))


def interval_text(kind: str, estimate: Estimate, units: str = "metric") -> str:
    """Interval of an estimate as ``low to high``."""
    low, high = (shown(kind, edge, units)[0] for edge in (estimate.low, estimate.high))
    if math.isnan(low):
        return TOO_SHORT
    return f"{number(low)} to {number(high)}"


def block(head: str, lines: Sequence[str]) -> list[str]:
    """Folded lines with a heading before the first one."""
    folded = [part for line in lines for part in wrapped(line, WIDE - 11)]
    return [f"{head if k == 0 else '':11}{line}" for k, line in enumerate(folded)]


def wrapped(line: str, wide: int = WIDE) -> list[str]:
    """A line of prose folded to a width; all lines after the first are indented."""
    return textwrap.wrap(
        line, wide, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    ) or [line]


def aligned(rows: Iterable[Sequence[str]], wide: int | None = None) -> str:
    """Rows in aligned columns; the last column is folded to a width if one is given."""
    table = [tuple(row) for row in rows]
    widths = [max(len(row[k]) for row in table) for k in range(len(table[0]) - 1)]
    room = max(wide - sum(widths) - 2 * len(widths), 20) if wide else sys.maxsize
    lines = []
    for row in table:
        first, *more = (textwrap.wrap(row[-1], room) if wide else [row[-1]]) or [""]
        cells = [f"{cell:{width}}" for cell, width in zip(row, widths, strict=False)]
        lines.append("  ".join([*cells, first]).rstrip())
        lines += ["  ".join([*(" " * width for width in widths), part]) for part in more]
    return "\n".join(lines)


SHOWN: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Cells",
        (
            ("cells.skip", "skips"),
            ("cells.single", "singulation"),
            ("cells.double", "doubles"),
            ("cells.triple", "triples"),
            ("cells.skip_run", "mean run of skips"),
        ),
    ),
    (
        "Spacings",
        (
            ("per_spacing.multiple", "multiple index D"),
            ("per_spacing.quality", "quality of feed A"),
            ("per_spacing.miss", "miss index M"),
            ("precision", "precision"),
            ("spacing.mean", "mean"),
            ("spacing.sd", "SD of all"),
            ("spacing.cp3", "CP3 about nominal"),
        ),
    ),
    (
        "Theoretical places",
        (
            ("per_place.multiple", "several seeds"),
            ("per_place.single", "one seed"),
            ("per_place.miss", "no seed"),
        ),
    ),
    (
        "On the way",
        (
            ("drop_time.mean", "drop time, mean"),
            ("drop_time.sd", "drop time, SD"),
            ("placed.frequency", "seeds released"),
            ("placed.per_area", "seeds placed"),
        ),
    ),
    (
        "Sensor",
        (
            ("sensor.seen", "seeds seen"),
            ("sensor.miss", "skips, by spacing"),
            ("sensor.multiple", "doubles, by spacing"),
            ("sensor.skip", "skips, by cells"),
            ("sensor.double", "doubles, by cells"),
        ),
    ),
)
LABELS = {key: label for _, rows in SHOWN for key, label in rows}
KIND_NAMES = {
    "per_spacing.quality": "quality of feed A",
    "per_spacing.multiple": "multiple index D",
    "per_spacing.miss": "miss index M",
    "per_place.multiple": "theoretical places with several seeds",
    "per_place.single": "theoretical places with one seed",
    "per_place.miss": "theoretical places with no seed",
    "spacing.mean": "mean spacing",
    "spacing.sd": "SD of all spacings",
    "spacing.cv": "CV of all spacings",
}
FIRST = (  # rows of a default table
    ("per_spacing.quality", "normal spacings"),
    ("per_spacing.multiple", "close spacings"),
    ("per_spacing.miss", "missed spacings"),
    ("cells.skip", "skips, of all cells"),
    ("cells.double", "doubles, of all cells"),
    ("precision", "spread of normal spacings"),
    ("placed.per_area", "seeds placed"),
)

PLAIN_NAMES = {
    "per_spacing.quality": "normal spacings",
    "per_spacing.multiple": "close spacings",
    "per_spacing.miss": "missed spacings",
    "cells.skip": "skips",
    "cells.single": "singulation",
    "cells.double": "doubles",
    "precision": "spread of normal spacings",
}


def plain_name(key: str) -> str:
    """Name of a measure in a default answer, without letters of a standard."""
    return PLAIN_NAMES.get(key) or measure_name(key)


def measure_name(key: str) -> str:
    """Name of a measure in a few words."""
    return KIND_NAMES.get(key) or LABELS.get(key, key)
