"""Settings of a start sheet in words, each with its reason."""

from __future__ import annotations

import textwrap

from metersim.files.units import hole_texts, sentence_number
from metersim.machine.sources import HARD_TO_HOLD, NO_SOURCE
from metersim.questions.shared.words import set_quantity, shown
from metersim.questions.sheet.fits import LEADS, disc_words, pp
from metersim.questions.sheet.moves import MOVES, moved_by
from metersim.questions.sheet.owndisc import OWN
from metersim.questions.sheet.rules import vacuum_rule
from metersim.questions.sheet.start import QUALITY, TRAVEL, published_vacuums
from metersim.questions.sheet.study import Sheet

MOST_LETTERS = 50  # of what a disc is made for
FAN_LIMITS = 0.9  # low end of the plateau over what the fan gives, above which the fan limits
ASSUMED = "the size of this effect is an assumption"


def settings(sheet: Sheet, units: str = "metric") -> tuple[tuple[str, ...], ...]:
    """Rows of settings: name, value, and reason."""
    scenario, disc = sheet.scenario, sheet.chosen.disc
    edge = scenario.singulator.gap - scenario.singulator.notch_step * scenario.singulator.notch
    share = scenario.disc.hole_diameter / scenario.seeds.width
    made = OWN if disc.meant_for == OWN else f"made for {disc.meant_for}"
    return (
        (
            "Disc",
            disc_words(disc, units),
            f"{made}; the hole is {share:.2f} of the seed's width",
        ),
        (
            "Vacuum at the hole",
            set_quantity("pressure", scenario.vacuum.vacuum, units),
            _vacuum(sheet, units),
        ),
        (
            "Singulator",
            _notch(scenario.singulator.notch),
            f"edge {rough('small', edge, units)} from the holes' path; a notch is "
            f"{rough('small', scenario.singulator.notch_step, units)}, taken to have "
            f"{TRAVEL} to either side{_beyond_trade(sheet)}",
        ),
        (
            "Gate opening",
            set_quantity("small", scenario.pool.gate_opening, units),
            f"good {_gate(sheet, units)}, from floor to lip",
        ),
        ("Inner guide", *_guide(sheet)),
        ("Cut-off", "clean, sharp edge", _cutoff(sheet)),
    )


def card(sheet: Sheet, units: str = "metric") -> tuple[tuple[str, ...], ...]:
    """Rows of the six settings: name, value, and what to know in a few words."""
    scenario = sheet.scenario
    edge = scenario.singulator.gap - scenario.singulator.notch_step * scenario.singulator.notch
    notch = scenario.singulator.notch
    away = f"edge {rough('small', edge, units)} from the holes' path"
    aggressive = f"{_notch(notch)}; {away}" if notch else away
    disc = sheet.chosen.disc
    hole, other = hole_texts(disc.hole_diameter, units)
    meant_for = textwrap.shorten(disc.meant_for, MOST_LETTERS, placeholder=" ...")
    made = OWN if disc.meant_for == OWN else f"made for {meant_for}"
    return (
        ("Disc", f"{disc.cells} holes of {hole}", f"holes of {other}; {made}"),
        (
            "Vacuum at the hole",
            set_quantity("pressure", scenario.vacuum.vacuum, units),
            vacuum_range(sheet, units),
        ),
        ("Singulator", f"notch {notch:+g}" if notch else "centre, notch 0", aggressive),
        (
            "Gate opening",
            set_quantity("small", scenario.pool.gate_opening, units),
            f"good {_gate(sheet, units)}",
        ),
        ("Inner guide", _guide(sheet)[0], _guide_short(sheet)),
        ("Cut-off", "clean, sharp edge", _cutoff_short(sheet)),
    )


def vacuum_range(sheet: Sheet, units: str = "metric") -> str:
    """What too low and too high a vacuum does, and where each begins."""
    span = sheet.plateau
    low, high = (rough("pressure", one, units) for one in (span.low, span.high))
    below = f"good down to {low} or less" if span.low_open else f"too low below {low}: skips"
    above = "good up to all that the fan gives"
    return f"{below}; {above if span.high_open else f'too high above {high}: doubles'}"


def vacuum_notes(sheet: Sheet, units: str = "metric") -> list[str]:
    """Statements on a vacuum that is high or low for the fan, the gauge or the trade."""
    vacuum, notes = sheet.scenario.vacuum.vacuum, []
    said, fan = (set_quantity("pressure", one, units) for one in (vacuum, sheet.vacuum_most))
    if _fan_limits(sheet):
        notes.append(f"{said} is too low for this lot, but the fan gives no more than {fan}.")
    if vacuum < HARD_TO_HOLD:
        bound = rough("pressure", HARD_TO_HOLD, units)
        notes.append(f"{said} is low: a vacuum below about {bound} is hard to hold.")
    rule = vacuum_rule(sheet.start)
    if rule is not None and not rule.agrees:
        low, high = (set_quantity("pressure", rule.values[e], units) for e in ("low", "high"))
        side = "less" if vacuum < rule.values["low"] else "more"
        notes.append(f"{said} is {side} than common practice ({low} to {high}): prove it.")
    return notes


def _fan_limits(sheet: Sheet) -> bool:
    return sheet.plateau.high_open and sheet.plateau.low > FAN_LIMITS * sheet.vacuum_most


def _guide_short(sheet: Sheet) -> str:
    if sheet.guide is None:
        return "as you stated"
    if sheet.guide.low <= 0 <= sheet.guide.high:
        return "with one: no difference is detected"
    return f"one brings {pp(sheet.guide)} of normal spacings"


def _cutoff_short(sheet: Sheet) -> str:
    worn = moved_by(sheet.start, "worn cut-off")
    if worn is None:
        return "as you stated"
    change = worn.changes[QUALITY]
    if change.low <= 0 <= change.high:
        return "a worn one: no difference is detected"
    return f"a worn one brings {pp(change)} of normal spacings"


def _vacuum(sheet: Sheet, units: str) -> str:
    """Reason of the start vacuum: published or middle of the plateau, and what is hard to hold."""
    said = [f"good {_plateau(sheet, units)} ({vacuum_range(sheet, units)})"]
    crop = sheet.scenario.lot.crop
    published = published_vacuums().get(crop)
    best = f"published best for {crop} (karayel2004)"
    if sheet.chosen.start.published is not None:
        said.append(f"the {best} lies in that range: start there")
    else:
        said.append("this is its middle")
        if published is not None:
            said.append(f"the {best} is {set_quantity('pressure', published, units)}, outside it")
            said += [
                f"{LEADS[sheet.leading]} there {pp(rule.changes['published'])}"
                for rule in sheet.rules
                if rule.key == "published"
            ]
    if _fan_limits(sheet):
        said.append("the fan is the limit here")
    if sheet.scenario.vacuum.vacuum < HARD_TO_HOLD:
        bound = rough("pressure", HARD_TO_HOLD, units)
        said.append(f"a vacuum below about {bound} is hard to hold ({NO_SOURCE})")
    return "; ".join(said)


TRADE = {
    "travel": ("nearest", "ends at most one from the centre"),
    "aggressive": ("most", "starts at the most aggressive end"),
}
"""Rules of the trade on the notch: the key of the change, and what the trade does."""


def _beyond_trade(sheet: Sheet) -> str:
    """What the trade does where the start is another, and what it costs in the simulation."""
    for rule in sheet.rules:
        if rule.key in TRADE and not rule.agrees:
            key, does = TRADE[rule.key]
            change = pp(rule.changes[key])
            return f"; the trade {does}, there {LEADS[sheet.leading]} {change}: prove it first"
    return ""


def _notch(notch: float) -> str:
    if notch == 0:
        return "centre"
    many = "1 notch" if abs(notch) == 1 else f"{abs(notch):g} notches"
    return f"{many} {'more' if notch > 0 else 'less'} aggressive"


def _plateau(sheet: Sheet, units: str) -> str:
    span = sheet.plateau
    low, high = (rough("pressure", one, units) for one in (span.low, span.high))
    below = " or less" if span.low_open else ""
    return f"from {low}{below} to {'all that the fan gives' if span.high_open else high}"


def _gate(sheet: Sheet, units: str) -> str:
    span = sheet.gate.plateau
    low, high = (rough("small", one, units) for one in (span.low, span.high))
    return f"from {low} to {high}"


def rough(kind: str, value: float, units: str) -> str:
    """A value rounded to two digits."""
    amount, symbol = shown(kind, value, units)
    return f"{sentence_number(amount, 2)} {symbol}"


def _guide(sheet: Sheet) -> tuple[str, str]:
    fitted = "fitted" if sheet.scenario.guide.inner_guide else "none"
    if sheet.guide is None:
        return fitted, "as you stated"
    change = pp(sheet.guide)
    return fitted, f"with one against without: normal spacings {change}; {ASSUMED}"


def _cutoff(sheet: Sheet) -> str:
    worn = moved_by(sheet.start, "worn cut-off")
    if worn is None:
        return "here with the edge that you stated"
    change = pp(worn.changes[QUALITY])
    over = MOVES[worn.key].words.rpartition(" over ")[2]
    return f"a worn one, where vacuum fades over {over}: quality {change}; {ASSUMED}"
