"""Text of a start sheet: suitable discs, and rules of the trade with their verdicts."""

from __future__ import annotations

import math
from collections.abc import Iterable

from metersim.files.units import hole_text, sentence_number
from metersim.machine.discs import GenericDisc
from metersim.machine.scenario import CLOSE_PITCH
from metersim.machine.sources import (
    AGGRESSIVE,
    CENTRE,
    CHECK_HOLE,
    FASTER,
    GATE,
    HANDBOOK_HOLE,
    HOLE,
    HOLES,
    MOST_NOTCHES,
    TRAVEL,
)
from metersim.measures.indices import FLAT
from metersim.measures.intervals import Estimate
from metersim.measures.limits import DOUBLES, SCATTER, SPEED_CEILING
from metersim.questions.shared.answer import capital, plus
from metersim.questions.shared.words import (
    notch_text,
    number,
    quantity,
    set_quantity,
    shown,
    signed,
)
from metersim.questions.sheet.choice import Fit, Found
from metersim.questions.sheet.discfit import (
    IMPOSSIBLE,
    LARGE_HOLE,
    NO_HOLE,
    PITCH,
    SMALL_HOLE,
    SPEED,
    TOUCHING,
    TRIED_HOLE,
    Objection,
)
from metersim.questions.sheet.rules import Rule
from metersim.questions.sheet.start import QUALITY, SINGLE
from metersim.questions.sheet.study import Sheet

LEADS = {QUALITY: "normal spacings", SINGLE: "singulation"}
"""Words of the measure that decides."""
MOST_DISCS = 7  # discs with a line of their own
PARTS = {"cells.skip": "skips", "cells.double": "doubles", "precision": "precision"}
CLASS_OFF = 0.05  # relative difference of seed width above which the class is mentioned


def pp(change: Estimate, unit: str = " pp") -> str:
    """A change of a share in percentage points, with digits that its interval bears."""
    if math.isnan(change.value):
        return "nothing to compare"
    if change.value == change.low == change.high == 0:
        return "no difference in any cell"
    size = 100 * (change.high - change.low) / 2
    if math.isnan(size):
        return f"{signed(100 * change.value)}{unit} (the run is too short)"
    value, low, high = (plus(100 * one, size) for one in (change.value, change.low, change.high))
    return f"{value}{unit} ({low} to {high})"


def disc_words(disc: GenericDisc, units: str = "metric") -> str:
    """Description of a disc by its holes, such as '30 holes of 4.5 mm (0.177 in)'."""
    return f"{disc.cells} holes of {hole_text(disc.hole_diameter, units)}"


def disc_rows(sheet: Sheet, units: str = "metric") -> tuple[tuple[str, ...], ...]:
    """Table of the chosen disc and the best others, with reasons, below a head."""
    head = (
        "disc",
        "start at",
        LEADS[sheet.leading],
        "against the first, pp",
        "why it fits less",
    )
    rows = [head]
    for k, one in enumerate(sheet.fits[:MOST_DISCS]):
        setup = one.start.scenario
        lead = pp(one.lead[one.leading], "") if k else "-"
        rows.append(
            (
                disc_words(one.disc, units),
                f"{set_quantity('pressure', setup.vacuum.vacuum, units)}, "
                f"{notch_text(setup.singulator.notch)}",
                quantity("share", one.quality),
                lead,
                why_less(one, sheet.chosen, units) if k else why_first(one, sheet, units),
            )
        )
    return tuple(rows)


def why_first(one: Fit, sheet: Sheet, units: str = "metric") -> str:
    """Reason for the chosen disc."""
    if sheet.own is not None and sheet.own.fit is one:
        return f"your disc: {_against(one, units)}" if one.objections else "your disc"
    if one.objections:
        why = "chosen: each has something against it, none fewer things than this"
        return f"{why}: {_against(one, units)}"
    free = [other for other in sheet.fits[1:] if not other.objections]
    best = max(free, key=lambda other: other.lead[other.leading].value, default=one)
    lead, made = best.lead[best.leading].value, _made_for(one, sheet)
    if lead <= 0:
        return f"chosen: best of the discs without an objection; {made}"
    if best.is_distinguished:
        return f"chosen: {number(lead * 100)} pp below the best; {made}"
    return f"chosen: cannot be distinguished from the best; {made}"


def _made_for(one: Fit, sheet: Sheet) -> str:
    """Words for the class of seed of a disc: the crop, or else what it is made for."""
    crop = sheet.scenario.lot.crop
    return f"made for {crop if one.disc.suits(crop) else one.disc.meant_for}"


def why_less(one: Fit, chosen: Found, units: str = "metric") -> str:
    """Reason why a disc suits less than the chosen one: measured differences and their cause."""
    lead = one.lead[one.leading]
    said = []
    if not one.is_distinguished:
        said.append("cannot be distinguished")
    elif lead.value > 0:
        said.append("better in the simulation")
    else:
        said.append(_worse(one, chosen, units))
    if one.objections:
        said.append(_against(one, units))
    else:
        width = one.start.scenario.seeds.width
        if chosen.disc.suits(crop := chosen.start.scenario.lot.crop) and not one.disc.suits(crop):
            said.append(f"made for {one.disc.meant_for}")
        elif abs(one.disc.seed_width / width - 1) > CLASS_OFF:
            made = quantity("small", one.disc.seed_width, units)
            said.append(f"made for seed {made} wide, this is {quantity('small', width, units)}")
        elif not one.is_distinguished and one.disc.cells < chosen.disc.cells:
            said.append("turns faster")
    return "; ".join(said)


def _worse(one: Fit, chosen: Found, units: str) -> str:
    """Measures that are detected to be worse, and a higher speed of the holes."""
    parts = [
        f"{name} {signed(one.lead[key].value * 100)}"
        for key, name in PARTS.items()
        if one.lead[key].low > 0
    ]
    speed = one.start.scenario.peripheral_speed
    too_fast = any(against.kind == SPEED for against in one.objections)  # mentioned there
    if not too_fast and speed > 1.05 * chosen.start.scenario.peripheral_speed:
        parts.append(f"holes faster, {quantity('hole_speed', speed, units)}")
    binding = one.binding
    if not parts and binding is not None:
        parts.append({DOUBLES: "doubles", SCATTER: "scatter"}.get(binding.name, binding.name))
    return ", ".join(parts)


def _against(one: Fit, units: str) -> str:
    return ", ".join(objection_words(against, units) for against in one.objections)


def objection_words(against: Objection, units: str = "metric") -> str:
    """Objection against a disc in words."""
    if against.kind in (SMALL_HOLE, LARGE_HOLE, NO_HOLE):
        digits = 2 if round(against.value, 2) not in HANDBOOK_HOLE else 3
        return f"holes {against.value:.{digits}f} of the seed's width"
    if against.kind in (PITCH, TOUCHING):
        meets = "meet" if against.kind == PITCH else "touch"
        return f"pitch {against.value:.2f} seed lengths, neighbours {meets}"
    if against.kind == SPEED:
        return f"holes too fast, {quantity('hole_speed', against.value, units)}"
    return against.why


def not_run(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """Lines on discs that are not in the table, by reason."""
    lines = []
    if rest := sheet.fits[MOST_DISCS:]:
        names = ", ".join(
            f"{_short(one.disc, units)} ({signed(one.lead[one.leading].value * 100)})"
            for one in rest
        )
        word = LEADS[sheet.leading]
        lines.append(f"fits less still ({word}, pp): {names}")
    reasons = {one.disc: one.objections[-1].kind for one in sheet.unfit}
    ends = " to ".join(f"{end:g}" for end in TRIED_HOLE)
    for kind, said in (
        (NO_HOLE, f"not run, holes not {ends} of the seed's width"),
        (TOUCHING, "not run, neighbours would touch"),
    ):
        found = _list((disc for disc, why in reasons.items() if why == kind), units)
        if found:
            lines.append(f"{said}: {found}")
    lines += [
        f"not run, {_short(one.disc, units)}: {one.objections[-1].why}"
        for one in sheet.unfit
        if one.objections[-1].kind == IMPOSSIBLE
    ]
    fast = quantity("hole_speed", SPEED_CEILING, units)
    lines.append(
        f"bounds: holes {HOLES} of the width (handbooks, from memory); pitch "
        f"{CLOSE_PITCH:g} seed lengths (assumed); maize and cotton, holes at {fast} (onal2012, "
        "from memory)"
    )
    return tuple(lines)


def _list(discs: Iterable[GenericDisc], units: str) -> str:
    return ", ".join(_short(disc, units) for disc in discs)


def _short(disc: GenericDisc, units: str) -> str:
    return f"{disc.cells} of {hole_text(disc.hole_diameter, units)}"


SAID = {
    "centre": CENTRE,
    "travel": f"{TRAVEL}; if more is needed, {CHECK_HOLE}",
    "aggressive": AGGRESSIVE,
    "gate": GATE,
    "hole": HOLE,
    "vacuum": "{crop} starts at {low} to {high}",
    "published": "Published, not trade: {published} was best for {crop} (karayel2004, on a bench, "
    "hole and form of seed not stated)",
    "speed": f"Published, not trade: {FASTER}",
}
ASSUMED_HOLE = "how strongly doubles grow with the hole is an assumption"


def rule_lines(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """One line for each rule of the trade with the verdict of the simulation."""
    return tuple(_line(rule, sheet, units) for rule in sheet.rules)


def _line(rule: Rule, sheet: Sheet, units: str) -> str:
    scenario = sheet.scenario
    verdict = "agrees" if rule.agrees else "disagrees"
    said = SAID[rule.key]
    if rule.key in ("published", "vacuum"):
        named = {key: set_quantity("pressure", one, units) for key, one in rule.values.items()}
        said = said.format(crop=scenario.lot.crop, **named)
    found = _found(rule, LEADS[sheet.leading], units)
    return f"{capital(said)}. The simulation {verdict}: {found}."


def _found(rule: Rule, word: str, units: str) -> str:
    """Finding of the simulation; `word` names the measure that decides."""
    changes = {key: pp(one) for key, one in rule.changes.items()}
    at = rule.values
    if rule.key == "centre":
        if at["notch"] == 0:
            return "it starts there too"
        return f"it starts {_at(at['notch'])}; at the centre {word} {changes['centre']}"
    if rule.key == "travel":
        if abs(at["notch"]) <= MOST_NOTCHES:
            return f"it starts {_at(at['notch'])}"
        return (
            f"it starts {_at(at['notch'])}; {_at(at['nearest'])} {word} {changes['nearest']}; "
            f"the hole is {at['hole']:.2f} of the seed's width"
        )
    if rule.key == "aggressive":
        return f"it starts {_at(at['notch'])}; at the most aggressive {word} {changes['most']}"
    if rule.key == "gate":
        low, high = (
            f"at {_opening(at[f'{end} opening'], units)} {word} {changes[end]}"
            for end in ("lowest", "highest")
        )
        return f"{low}, {high}"
    if rule.key == "hole":
        others = ", ".join(f"at {at[key]:.2f} {word} {said}" for key, said in changes.items())
        return (
            f"here {at['chosen']:.2f}; with as many holes, vacuum and notch set anew, {others}; "
            f"up to {FLAT * 100:g} pp do not count; {ASSUMED_HOLE}"
        )
    if rule.key == "speed":
        amount, symbol = shown("speed", at["faster"], units)
        return f"at {sentence_number(amount, 2)} {symbol} {word} {changes['faster']}"
    if rule.key == "vacuum":
        start = set_quantity("pressure", at["chosen"], units)
        if at["low"] <= at["chosen"] <= at["high"]:
            return f"it starts at {start}"
        nearest = set_quantity("pressure", at["nearest"], units)
        return f"it starts at {start}; at {nearest} {word} {changes['nearest']}"
    if rule.changes["published"].low == rule.changes["published"].high == 0:
        return "it starts there"
    return f"there, with this setup in the field, {word} {changes['published']}"


def _opening(value: float, units: str) -> str:
    amount, symbol = shown("small", value, units)
    return f"{sentence_number(amount, 2)} {symbol}"


def _at(notch: float) -> str:
    return f"at notch {notch:+g}" if notch else "at the centre"
