"""Texts on a made lot: the answer, and the whole report."""

from __future__ import annotations

import math

from metersim.machine.seedlot import SeedLot
from metersim.questions.lot.study import SPOKEN, MadeLot
from metersim.questions.shared.answer import Answer, capital
from metersim.questions.shared.words import block, mass_text, number, quantity, set_quantity, shown

ROWS = (  # values of the table, each with the kind of its unit
    ("length", "small"),
    ("width", "small"),
    ("thickness", "small"),
    ("size_cv", "share"),
    ("bulk_density", "heap"),
    ("repose_angle", "angle"),
)
WAYS = {"measured": "measured", "borrowed": "borrowed", "assumed": "borrowed, only assumed there"}


def summary(made: MadeLot, path: str, units: str = "metric", details: bool = False) -> str:
    """The answer on a made lot; with details also the whole report.

    Parameters
    ----------
    made : MadeLot
        Lot with its notes.
    path : str
        File that holds it.
    units : str
        ``metric`` or ``us``.
    details : bool
        Whether to add the report.
    """
    lot = made.lot
    weight, unit = shown("mass", lot.seed_mass, units)
    measured, borrowed, *notes = made.notes
    if lot.illustrative:
        notes.append("this lot is illustrative: over half of its values are assumed")
    rows = [("", "value", "source")]
    heavy = ("seed mass", mass_text(lot.seed_mass))
    if units == "us":
        heavy = ("seeds a lb", f"{1 / weight:,.0f}")
    rows.append((*heavy, _way(lot, "seed_mass")))
    rows += [
        (SPOKEN.get(key, key.replace("_", " ")), _value(made, key, kind, units), _way(lot, key))
        for key, kind in ROWS
    ]
    return Answer(
        first=[
            f"The lot is written to {path}. It has {1 / weight:,.0f} seeds a {unit}.",
            f"{capital(measured)}.",
            f"{capital(borrowed)}.",
        ],
        notes=[f"{capital(note)}." if note[-1] not in ".?" else capital(note) for note in notes],
        table=rows,
        assumes="the shape and drag coefficient of the lot that the rest is borrowed from.",
        details=report(made, path, units).splitlines(),
        more="every value and all notes",
    ).text(details)


def _way(lot: SeedLot, key: str) -> str:
    """Whether a value was measured or borrowed."""
    origin = lot.origins.get(key)
    return WAYS.get(origin.mark, origin.mark) if origin else ""


def _value(made: MadeLot, key: str, kind: str, units: str) -> str:
    """A value of a made lot as printed."""
    value = getattr(made.lot, key)
    if kind == "angle":
        return f"{math.degrees(value):.3g} degrees"
    if key == "size_cv" and made.spread_low is not None and made.spread_high is not None:
        low, high = (f"{100 * end:.2g}" for end in (made.spread_low, made.spread_high))
        return f"{100 * value:.2g} % (95 % interval {low} to {high})"
    return quantity(kind, value, units)


def report(made: MadeLot, path: str, units: str = "metric") -> str:
    """Whole report of a made lot: its values, with the source of each.

    Parameters
    ----------
    made, path, units
        As for `summary`.
    """
    lot = made.lot
    sides = [shown("small", side, units) for side in (lot.length, lot.width, lot.thickness)]
    size = f"{' x '.join(number(side) for side, _ in sides)} {sides[0][1]}"
    weight, unit = shown("mass", lot.seed_mass, units)
    said = "" if units == "us" else f"{mass_text(lot.seed_mass)}, or "
    lines = [f"{lot.title}, written to {path}", ""]
    spread = f"{lot.size_cv * 100:.2f} %"
    if made.spread_low is not None and made.spread_high is not None:
        spread += f" (95 % interval {made.spread_low * 100:.2f} to {made.spread_high * 100:.2f} %)"
    elif not math.isnan(lot.size_cv):
        spread += " (not measured)"
    lines += block(
        "Seed",
        [
            f"{size}, {said}{1 / weight:,.0f} seeds a {unit}",
            f"spread of linear size {spread}",
            f"heap of {set_quantity('heap', lot.bulk_density, units)}, "
            f"{quantity('', math.degrees(lot.repose_angle))} degrees of repose",
        ],
    )
    lines += ["", *block("From", made.notes)]
    if lot.illustrative:
        lines.append("This lot is illustrative: over half of its values are assumed.")
    return "\n".join(lines)
