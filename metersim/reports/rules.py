"""Text of the trade's rules, each with what the simulation says beside it."""

from __future__ import annotations

from metersim import practice
from metersim.reports.words import change_text, set_quantity, shown
from metersim.studies.published.plateaus import FLAT
from metersim.studies.starting.rules import Rule
from metersim.studies.starting.sheet import Sheet
from metersim.units import sentence_number

SAID = {
    "centre": practice.CENTRE,
    "travel": f"{practice.TRAVEL}; if more is needed, {practice.CHECK_HOLE}",
    "aggressive": practice.AGGRESSIVE,
    "gate": practice.GATE,
    "hole": practice.HOLE,
    "published": "Published, not trade: {published} was best for {crop} (karayel2004, on a bench, "
    "hole and form of seed not stated)",
}


def rule_lines(sheet: Sheet, units: str = "metric") -> tuple[str, ...]:
    """A line for each rule: what the trade says, and whether the simulation agrees."""
    return tuple(_line(rule, sheet, units) for rule in sheet.rules)


def _line(rule: Rule, sheet: Sheet, units: str) -> str:
    scenario = sheet.scenario
    verdict = "agrees" if rule.agrees else "disagrees"
    said = SAID[rule.key]
    if rule.key == "published":
        vacuum = set_quantity("pressure", rule.values["published"], units)
        said = said.format(published=vacuum, crop=scenario.lot.crop)
    return f"{said[0].upper()}{said[1:]}. The simulation {verdict}: {_found(rule, units)}."


def _found(rule: Rule, units: str) -> str:
    changes = {key: change_text("share", one) for key, one in rule.changes.items()}
    at = rule.values
    if rule.key == "centre":
        if at["notch"] == 0:
            return "it starts there too"
        return f"it starts {_at(at['notch'])}; at the centre quality {changes['centre']}"
    if rule.key == "travel":
        if abs(at["notch"]) <= practice.MOST_NOTCHES:
            return f"it starts {_at(at['notch'])}"
        return (
            f"it starts {_at(at['notch'])}; {_at(at['nearest'])} quality {changes['nearest']}; "
            f"the hole is {at['hole']:.2f} of the seed's width"
        )
    if rule.key == "aggressive":
        return f"it starts {_at(at['notch'])}; at the most aggressive quality {changes['most']}"
    if rule.key == "gate":
        low, high = (
            f"at {_opening(at[f'{end} opening'], units)} quality {changes[end]}"
            for end in ("lowest", "highest")
        )
        return f"{low}, {high}"
    if rule.key == "hole":
        others = ", ".join(f"at {at[key]:.2f} quality {said}" for key, said in changes.items())
        return (
            f"here {at['chosen']:.2f}; with as many holes, vacuum and notch set anew, {others}; "
            f"up to {FLAT * 100:g} points count for nothing"
        )
    return f"there, with this setup in the field, quality {changes['published']}"


def _opening(value: float, units: str) -> str:
    amount, symbol = shown("small", value, units)
    return f"{sentence_number(amount, 2)} {symbol}"


def _at(notch: float) -> str:
    return f"at notch {notch:+g}" if notch else "at the centre"
