"""Words of the chapters on speed and on a dusty lens."""

from __future__ import annotations

import math

from metersim.measures.intervals import Estimate
from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.meter import USUAL_SIZE
from metersim.questions.lesson.phrases import (
    by_points,
    hours,
    sentence,
    share,
    span,
    value_text,
    went,
)
from metersim.questions.lesson.row import DustyLens, SpeedCost
from metersim.questions.shared.answer import is_distinct
from metersim.questions.shared.words import about_quantity

SHARED = 2.0
"""Normal spacings that a cell without exactly one seed spoils, about: those on both sides of it."""
NAMES = {"normal": "normal spacings", "close": "close spacings", "missed": "missed spacings"}


def speed_chapter(speed: SpeedCost, units: str) -> Chapter:
    """What speed costs."""
    first, last = speed.speeds[0], speed.speeds[-1]
    levels = {
        name: (getattr(first.row, key), getattr(last.row, key), getattr(speed.change, key))
        for key, name in NAMES.items()
    }
    ends = span("speed", first.speed, last.speed, units)
    even = went({"normal spacings": levels.pop("normal spacings")})
    cells = {"cells without exactly one seed": (first.row.odd, last.row.odd, speed.change.odd)}
    if len(speed.speeds) == 1:
        said = [
            f"No other speed than {value_text('speed', first.speed, units)} can be tried here.",
            f"Normal spacings: {share(first.row.normal)}.",
        ]
    elif math.isnan(speed.change.normal.low):
        said = [
            f"From {ends}, too few seeds fall to compare spacings.",
            f"At the disc, {went(cells)}.",
        ]
    else:
        said = [
            f"From {ends}, {even}.",
            sentence(went(levels)),
            f"At the disc, {went(cells)}.",
            _cost(speed.change.normal),
        ]
    return Chapter(
        "speed",
        "What speed costs",
        said[0],
        tuple(said),
        "On the left, how spacings lie at the slowest and at the fastest speed; 1 is the planned "
        "spacing. On the right, do close and missed spacings rise, and do the cells?",
        "Where does speed act here: at the disc, or after it, on the way to the ground?",
        tuple(_where(speed)),
    )


def _cost(change: Estimate) -> str:
    if not is_distinct(change):
        return "So no cost of speed is detected here."
    if change.value > 0:
        return "So spacing gets more even with speed here. That is unusual: prove it on a bench."
    return "So speed costs even spacing here."


def _where(speed: SpeedCost) -> list[str]:
    """Whether cells or spacings change with speed."""
    normal, odd = speed.change.normal, speed.change.odd
    spacings = by_points("normal spacings", normal) if is_distinct(normal) else ""
    cells = by_points("cells without exactly one seed", odd) if is_distinct(odd) else ""
    if not spacings and not cells:
        return ["No effect of speed is detected, neither at the disc nor after it."]
    if not cells:
        return [
            f"After the disc: {spacings}, and no change of cells is detected.",
            "So no setting of the disc undoes it: look at tube or belt, row unit and furrow.",
        ]
    if not spacings:
        return [f"At the disc: {cells}.", "No change of normal spacings is detected."]
    ratio = abs(normal.value) / abs(odd.value)
    lead = "Mostly after the disc" if ratio > 2 * SHARED else "At both"
    if ratio < SHARED:
        lead = "Mostly at the disc"
    return [f"{lead}. At the disc, {cells}.", f"In the row, {spacings}."]


def lens_chapter(lens: DustyLens, units: str) -> Chapter:
    """What a dusty lens shows against the truth."""
    clean, dusty = lens.lenses[0], lens.lenses[-1]
    hidden = f"{100 * dusty.hidden:.0f} of 100 seeds"
    row, first, last = (share(one) for one in (lens.skips, clean.skips, dusty.skips))
    said = [
        f"The row has {row} skips and {share(lens.doubles)} doubles, whatever the lens shows.",
        f"Through a clean lens the monitor shows {first} skips and {share(clean.doubles)} doubles.",
    ]
    if is_distinct(lens.change):
        verb = "shows" if lens.change.value > 0 else "shows only"
        said.append(f"Where dust hides {hidden}, it {verb} {last} skips and "
                    f"{share(dusty.doubles)} doubles.")  # fmt: skip
        fact = f"A lens that hides {hidden} {verb} {last} skips; the row has {row}."
    else:
        said.append(f"Where dust hides {hidden}, no change of the skips shown is detected.")
        fact = (
            f"A lens that hides {hidden} changes nothing that is detected; the row has {row} skips."
        )
    if math.isfinite(lens.hours):
        said.append(f"With the dust of this scenario that takes {hours(lens.hours)} of work.")
    placed = about_quantity("per_area", lens.placed.value, units)
    planned = about_quantity("per_area", lens.planned, units)
    used = f"Weigh the seed used on a known area: here it is {placed} of {planned} planned"
    if lens.is_as_planned:
        answer = (
            f"{used}.",
            "So the seeds are in the ground, and the lens hides them. Brush it, machine locked "
            "out; move no setting.",
        )
    else:
        answer = (
            f"{used}.",
            "So seeds are missing or too many in the row, too. Brush the lens, machine locked "
            "out, then look at the meter.",
        )
    return Chapter(
        "lens",
        "What a dusty lens shows",
        fact,
        tuple(said),
        "The level lines are the row: dust does not change it. The other lines are what the "
        "monitor shows. Where do they part?",
        f"The monitor shows {last} skips, {round(USUAL_SIZE * dusty.skips.value)} in "
        f"{USUAL_SIZE:,} cells. How do you find out whether seeds are missing, before you touch "
        "a setting?",
        answer,
    )
