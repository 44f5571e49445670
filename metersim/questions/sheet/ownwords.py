"""The grower's own disc in words: how it is typed, whether it suits, and what to do."""

from __future__ import annotations

import math

from metersim.files.faults import bad
from metersim.files.fields import specs
from metersim.files.typed import plain_fractions, typed_for
from metersim.files.units import UNITS, hole_text
from metersim.machine.discs import GenericDisc
from metersim.machine.scenario import CLOSE_PITCH
from metersim.machine.sources import HANDBOOK_HOLE, HOLES
from metersim.measures.limits import SPEED_CEILING, STUDIED_CROPS
from metersim.questions.shared.words import plural, quantity, set_quantity
from metersim.questions.sheet.choice import Fit
from metersim.questions.sheet.fits import LEADS, disc_words, pp
from metersim.questions.sheet.owndisc import CLOSE, FEW, LARGE, SMALL, Own


def hole_of(word: str, units: str) -> float:
    """Diameter of a hole as people write it. [m]

    Parameters
    ----------
    word : str
        Such as ``4.5mm``, ``0.177 in``, ``11/64"`` or ``3/16``; a number without a unit is in mm,
        or in inches for us units.
    units : str
        ``metric`` or ``us``.

    Raises
    ------
    BadInput
        For anything else, and for a hole that no disc has.
    """
    spec = specs(GenericDisc)["hole_diameter"]
    usual = "us" if units == "us" or "/" in plain_fractions(word) else "metric"
    read = typed_for(word, spec, usual)
    if read is None or read[1] is None:
        comma = "; the decimal mark is a point" if "," in word else ""
        raise bad("--hole", word, f"is no diameter; write it as 4.5mm, 0.177in or 11/64in{comma}")
    diameter = read[1].to_si(read[0])
    if not spec.low <= diameter <= spec.high:
        low, high, said = (hole_text(one, units) for one in (spec.low, spec.high, diameter))
        raise bad("--hole", word, f"{said} is not allowed; give a diameter from {low} to {high}")
    return float(diameter)


def own_sentences(own: Own, units: str = "metric") -> tuple[str, ...]:
    """The verdict in words, and what to do."""
    crop = own.scenario.lot.crop
    name = f"Your {disc_words(own.disc, units)}"
    if own.suits:
        said = [f"{name} suit this {crop}: no fault is detected."]
        if own.best:
            said.append(_better(own.best, units))
        return tuple(said)
    said = []
    for verdict in own.verdicts:
        said += [f"{name}: {_wrong(own, verdict, units)}.", _cure(own, verdict, units)]
    if own.fit is None and own.best is not None:
        said.append(f"This sheet is for {disc_words(own.best.disc, units)} instead.")
    elif own.best is not None:
        said.append(_better(own.best, units))
    elif own.fit is not None:
        said.append("In the simulation no other disc is better beyond doubt: prove it on a bench.")
    return tuple(said)


def _better(best: Fit, units: str) -> str:
    """How much better another disc is."""
    lead = pp(best.lead[best.leading], " percentage points")
    return f"{disc_words(best.disc, units)} bring {lead} of {LEADS[best.leading]}."


def _wrong(own: Own, verdict: str, units: str) -> str:
    """What is wrong with the disc."""
    scenario = own.scenario
    crop = scenario.lot.crop
    if verdict in (SMALL, LARGE):
        share = own.disc.hole_diameter / scenario.seeds.width
        size = "small" if verdict == SMALL else "large"
        return (
            f"the hole is too {size} for this {crop} ({share:.2f} of the seed's width; handbooks "
            f"give {HOLES}, from memory)"
        )
    if verdict == FEW:
        speed = set_quantity("speed", scenario.demand.speed, units)
        holes = quantity("hole_speed", _hole_speed(own), units)
        return f"too few cells for {speed}: the holes move at {holes}"
    if verdict == CLOSE:
        return f"too many cells for this {crop}: neighbouring seeds disturb each other"
    return own.objections[0].why


def _hole_speed(own: Own) -> float:
    """Speed of the holes of the own disc. [m/s]"""
    radius = own.scenario.disc.circle_radius
    return own.scenario.cell_rate / own.disc.cells * 2 * math.pi * radius


def _cure(own: Own, verdict: str, units: str) -> str:
    """What to do."""
    scenario, disc = own.scenario, own.disc
    if verdict in (SMALL, LARGE):
        low, high = (hole_text(one * scenario.seeds.width, units) for one in HANDBOOK_HOLE)
        fails = "skips" if verdict == SMALL else "doubles, and seed drawn into the hole"
        return f"Expect {fails}. Take a disc with holes of {low} to {high}."
    if verdict == FEW:
        if scenario.lot.crop in STUDIED_CROPS and _hole_speed(own) > SPEED_CEILING:
            part = SPEED_CEILING / _hole_speed(own)
            most = _down(scenario.demand.speed * part, units)
            return f"Go {most} at most, or take a disc with {math.ceil(disc.cells / part)} holes."
        return "Go slower, or take a disc with more holes."
    if verdict == CLOSE:
        around = 2 * math.pi * scenario.disc.circle_radius
        most_cells = math.floor(around / (CLOSE_PITCH * scenario.seeds.length))
        return f"Take a disc with {most_cells} {plural(most_cells, 'hole')} at most."
    return "Take another disc."


def _down(speed: float, units: str) -> str:
    """A speed, rounded down to a tenth."""
    unit = UNITS["mph" if units == "us" else "kmh"]
    return f"{math.floor(10 * unit.from_si(speed)) / 10:g} {unit.symbol}"
