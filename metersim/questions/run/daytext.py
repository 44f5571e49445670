"""Words of a day behind one lens: a sentence, the caution before it, and the hours."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from metersim.files.units import ACRE, HECTARE
from metersim.questions.run.day import Day, rows_of
from metersim.questions.shared.answer import told
from metersim.questions.shared.notes import STOPPED
from metersim.questions.shared.words import about_quantity, aligned, plural

CAUTION = STOPPED


def share(value: float) -> str:
    """A share in percent with two digits at most."""
    return f"{100 * value:.2g} %"


def sentences(day: Day, units: str = "metric") -> list[str]:
    """What the monitor shows at its worst, and what the seed used says of it."""
    worst = day.worst
    hour = f"{worst.time:g}"
    placed = about_quantity("per_area", worst.placed, units)
    said = [
        f"After {hour} {plural(int(worst.time), 'hour')} the monitor shows {share(worst.monitor)} "
        f"skips; the row has {share(worst.skips)}."
    ]
    planned = about_quantity("per_area", day.planned, units)
    if day.is_false_alarm:
        said.append(
            f"Seed used is {placed} of {planned} planned, so seeds are there: brush the lens."
        )
    elif day.is_as_planned:
        said.append(f"Seed used is {placed} of {planned} planned, and the monitor agrees.")
    else:
        said.append(f"Seed used is {placed} of {planned} planned: seeds are not as planned.")
    return said


def day_lines(day: Day, units: str = "metric") -> list[str]:
    """A line for each hour, and the seed used."""
    table: list[Sequence[str]] = [
        (
            "hours of work",
            "since brushing",
            "skips by the monitor",
            "skips of the row",
            "seeds counted",
            "seeds placed",
        )
    ]
    for one in day.hours:
        table.append(
            (
                f"{one.time:g}",
                f"{one.since:g}",
                told("share", one.measured["sensor.skip"])[0],
                told("share", one.measured["cells.skip"])[0],
                about_quantity("per_area", one.counted, units),
                about_quantity("per_area", one.placed, units),
            )
        )
    mass = about_quantity("mass", day.used * AREA[units][0], units)
    lines = [
        *aligned(table).splitlines(),
        f"Seed used: {mass} {AREA[units][1]} at every hour. Weigh it on a known area: the lens "
        "does not change it.",
        "Just before a brushing; the same seeds at all hours. Skips are cells without a seed.",
    ]
    return lines


AREA = {"metric": (HECTARE, "a hectare"), "us": (ACRE, "an acre")}
"""Area of which the seed used is told, and its name. [m2]"""


def day_json(day: Day) -> dict[str, Any]:
    """The day in SI."""
    return {
        "hours": rows_of(day),
        "planned_per_m2": day.planned,
        "used_kg_per_m2": day.used,
        "used_as_planned": day.is_as_planned,
        "false_alarm": day.is_false_alarm,
    }
