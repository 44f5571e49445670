"""Whole report of a comparison: tables of measures and differences, and one sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from metersim.files.fields import Spec, specs
from metersim.files.units import Unit, as_written, hole_text
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.plants import PLANTED
from metersim.measures.yields import Harvest
from metersim.questions.compare.study import COMPARED, Comparison, Pairing
from metersim.questions.shared.hedges import NONE
from metersim.questions.shared.notes import (
    asked,
    difference_lines,
    heading,
    interval_lines,
    level_text,
    notes,
    sign_lines,
)
from metersim.questions.shared.plantwords import NAMES, change_block
from metersim.questions.shared.words import (
    LABEL,
    LABELS,
    change_text,
    number,
    plain_name,
    quantity,
    shown,
    wrapped,
)

SUMMARIZED = ("cells.skip", "cells.double", "per_spacing.quality", "precision")
GAIN = "variance reduction"
GAIN_NOTE = (
    "Variance reduction: separate random numbers need so many times more cells for the same "
    "sampling error. It is known to about a quarter.",
    "At best: the largest possible number, if cells are independent of one another.",
)
SHARED = (
    "All share the machine and the random draws. So a difference is known better than the levels"
)
SPOKEN = {
    "cells.skip": "skips",
    "cells.double": "doubles",
    "per_spacing.quality": "quality of feed",
    "precision": "precision (spread of normal spacings; lower is better)",
}


def report(
    result: Comparison, units: str = "metric", harvest: Harvest = NONE, details: bool = False
) -> str:
    """Whole report of a comparison.

    Parameters
    ----------
    result, units, harvest
        As for `metersim.questions.compare.answer.summary`.
    details : bool
        Whether to show the parts of each interval.
    """
    lines = [heading(*result.measured)]
    requests = [asked(measured.scenario, units, at_middle=False) for measured in result.measured]
    scenarios = [measured.scenario for measured in result.measured]
    if len({one.name for one in scenarios}) == 1 and all(one.changes for one in scenarios):
        requests = requests[:1]  # labels of variants of one scenario state the rest
    for label, request in zip(result.labels, requests, strict=False):
        head = f"Asked, at {label}" if len(requests) == 1 else label
        lines += [f"{head}:", *(f"  {line}" for line in request)]
    if len(requests) > 1:
        lines += unlike(result, units)
    lines.append("")
    width = max(16, *(len(label) for label in result.labels)) + 2
    lines.append(f"{'':{LABEL}}" + "".join(f"{label:>{width}}" for label in result.labels))
    for key in COMPARED:
        kind = BY_KEY[key].kind
        values = (quantity(kind, part[key].value, units) for part in result.values)
        lines.append(f"{LABELS[key]:{LABEL}}" + "".join(f"{value:>{width}}" for value in values))
    if result.stands:
        lines += ["", "Plants"]
        for part in PLANTED:
            each = (stand.reach(part.key).value for stand in result.stands)
            values = (quantity(part.kind, value, units) for value in each)
            lines.append(
                f"{NAMES[part.key]:{LABEL}}" + "".join(f"{value:>{width}}" for value in values)
            )
    level = level_text(result.measured[0].level)
    heads = [f"{spread.about}, with common random numbers ({level})" for spread in result.spreads]
    width = max(68, *(len(head) + 3 for head in heads))  # so that no row is folded
    for head, differences, pairings in zip(heads, result.differences, result.pairings, strict=True):
        lines += ["", f"{head:{width}}{GAIN if details else ''}".rstrip()]
        for key in COMPARED:
            change = change_text(BY_KEY[key].kind, differences[key], units)
            line = f"{LABELS[key]:{LABEL}}{change}"
            saved = gain_text(pairings[key]) if details and key in pairings else ""
            lines.append(f"{line:{width}}{saved}".rstrip())
    lines += ["", *(GAIN_NOTE if details else ()), *([""] if details else ())]
    for k, stand_change in enumerate(result.stand_changes, start=1):
        title = f"{result.labels[k]} minus {result.labels[0]}"
        pair = (result.stands[0], result.stands[k])
        lines += [*change_block(title, stand_change, pair, units, harvest, details), ""]
    for spread in result.spreads if details else ():
        lines += [*difference_lines(spread, LABELS, units), ""]
    lines += [f"Intervals: {interval_lines(result.spreads[0], units=units)[0]}.", f"{SHARED}.", ""]
    for k, differences in enumerate(result.differences, start=1):
        lines.append(sentence(result.labels[0], result.labels[k], differences, units))
    for spread in result.spreads:
        lines += sign_lines(spread, SPOKEN)
    for label, cause in zip(result.labels, result.binding, strict=True):
        if cause:
            lines.append(
                f"Main cause of uneven spacing at {label}: {cause.name} "
                f"({cause.share * 100:.2f} % of spacings)."
            )
        else:
            lines.append(f"At {label} every spacing is normal.")
    all_notes = [notes(measured, units) for measured in result.measured]
    shared = [note for note in all_notes[0] if all(note in others for others in all_notes)]
    lines += [f"Note: {note}" for note in shared]
    lines += [
        f"Note, at {label}: {note}"
        for label, found in zip(result.labels, all_notes, strict=True)
        for note in found
        if note not in shared
    ]
    return "\n".join(part for line in lines for part in folded(line))


@dataclass(frozen=True)
class Apart:
    """A setting in which compared scenarios differ.

    Attributes
    ----------
    key : str
        Its key in a scenario file, in the reader's units.
    name : str
        Its name in words.
    values, words : tuple of str
        Its value in each scenario, in the unit of the key; and the same with its unit.
    """

    key: str
    name: str
    values: tuple[str, ...]
    words: tuple[str, ...]


def settings_apart(scenarios: Sequence[Scenario], units: str = "metric") -> list[Apart]:
    """Settings in which scenarios differ; uncertain settings are at their middle."""
    found = []
    for section, kind in SECTIONS.items():
        if section == "run":  # all scenarios run for equally many cells
            continue
        parts = [getattr(scenario, section) for scenario in scenarios]
        for name, spec in specs(kind).items():
            said = tuple(_setting(spec, getattr(part, name), units) for part in parts)
            if len(set(said)) > 1:
                key = next((key for key, _ in _keys(spec, units)), name)
                words = tuple(_in_words(spec, getattr(part, name), units) for part in parts)
                found.append(Apart(key, spec.name.replace("_", " "), said, words))
    return found


def unlike(result: Comparison, units: str = "metric") -> list[str]:
    """Lines with settings in which scenarios differ; uncertain settings are at their middle."""
    found = []
    for one in settings_apart([measured.scenario for measured in result.measured], units):
        pairs = zip(one.values, result.labels, strict=True)
        found.append(f"  {one.key}: {', '.join(f'{value} at {label}' for value, label in pairs)}")
    return ["They differ in:", *found] if found else ["They do not differ in any setting."]


def _in_words(spec: Spec, value: Any, units: str) -> str:
    """A value of a setting with its unit, with as many digits as a person would write."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return _setting(spec, value, units)
    if spec.name == "hole_diameter":
        return hole_text(value, units)
    unit = spec.unit_for(units)
    return f"{as_written(unit.from_si(value))} {unit.symbol}" if unit else as_written(value)


def _keys(spec: Spec, units: str) -> list[tuple[str, Unit]]:
    """Keys of a field with their units; those of the given family come first."""
    keys = [(key, unit) for key, unit in spec.keys.items() if unit is not None]
    return sorted(keys, key=lambda one: one[1].family != units)


def _setting(spec: Spec, value: object, units: str) -> str:
    """Value of a setting in the form of a scenario file."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        amount = next((unit.from_si(value) for _, unit in _keys(spec, units)), value)
        return f"{float(amount):.4g}" if abs(amount) < 1000 else f"{float(amount):,.0f}"
    return "as usual" if value is None else str(value)


def folded(line: str) -> list[str]:
    """Lines of a folded sentence; a row of a table is not folded."""
    return [line] if "   " in line else wrapped(line)


def gain_text(pairing: Pairing) -> str:
    """Number of cells that common random numbers saved, in words."""
    if math.isnan(pairing.gain):
        return "n/a"
    # no more digits than some 48 stretches support
    gain, best = (f"{times:,.{0 if times >= 10 else 1}f}" for times in (pairing.gain, pairing.best))
    saved = f"{gain} times fewer cells" if pairing.gain >= 1.05 else "no fewer cells"
    return f"{saved} (at best {best})"


def sentence(
    before: str, after: str, differences: Mapping[str, Estimate], units: str = "metric"
) -> str:
    """One sentence with the detected changes and their sizes."""
    parts = []
    for key in SUMMARIZED:
        estimate = differences[key]
        if estimate.low > 0 or estimate.high < 0:
            kind = BY_KEY[key].kind
            symbol = "percentage points" if kind == "share" else shown(kind, 0.0, units)[1]
            size, low, high = (
                number(abs(shown(kind, value, units)[0]))
                for value in (estimate.value, estimate.low, estimate.high)
            )
            low, high = (low, high) if estimate.value > 0 else (high, low)
            verb = "up" if estimate.value > 0 else "down"
            parts.append(f"{SPOKEN[key]} {verb} by {size} {symbol} ({low} to {high})")
    if not parts:
        return (
            f"From {before} to {after}, no change of skips, doubles, quality of feed or precision "
            "is detected."
        )
    return f"From {before} to {after}: " + ", ".join(parts) + "."


def rows(result: Comparison, names: Sequence[str]) -> list[tuple[str, float, float, float]]:
    """Differences of shares for a figure: label, value, low and high in percentage points.

    Labels have the name of the scenario where there are several.
    """
    several = len(names) > 2
    return [
        (
            f"{plain_name(key)}, {label}" if several else plain_name(key),
            100 * estimate.value,
            100 * estimate.low,
            100 * estimate.high,
        )
        for label, differences in zip(names[1:], result.differences, strict=True)
        for key, estimate in differences.items()
        if BY_KEY[key].kind == "share" and not math.isnan(estimate.value)
    ]
