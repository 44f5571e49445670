"""Answer of a start sheet: six settings, what to count, and what to expect."""

from __future__ import annotations

from metersim.measures.indices import BY_KEY
from metersim.measures.yields import Harvest
from metersim.questions.shared.answer import LINES, Answer, told
from metersim.questions.shared.hedges import NONE, fixed_words
from metersim.questions.shared.notes import STOPPED, decisive
from metersim.questions.shared.partwords import parted_words
from metersim.questions.shared.words import set_quantity
from metersim.questions.sheet.fits import disc_words, objection_words
from metersim.questions.sheet.ownwords import own_sentences
from metersim.questions.sheet.settings import card, vacuum_notes
from metersim.questions.sheet.start import SINGLE
from metersim.questions.sheet.study import Sheet
from metersim.questions.sheet.text import first_count, sheet_text, uncertain, usual_words

WRITTEN = 3  # lines of written files and of the command for the first count


def sheet_answer(
    sheet: Sheet, units: str = "metric", harvest: Harvest = NONE, details: bool = False
) -> str:
    """Answer of a sheet; with details the whole text.

    Parameters
    ----------
    sheet : Sheet
        Result of `metersim.questions.sheet.study.sheet`.
    units : str
        ``metric`` or ``us``.
    harvest : Harvest
        As for `metersim.questions.sheet.text.blocks`.
    details : bool
        Whether to add the whole text.
    """
    demand, posterior = sheet.scenario.demand, sheet.scenario.posterior
    asked = (
        f"{set_quantity('per_area', demand.rate, units)}, "
        f"{set_quantity('length', demand.row_spacing, units)} rows, "
        f"{set_quantity('speed', demand.speed, units)}"
    )
    usual = [usual_words(sheet)] if sheet.usual else []
    machine = posterior.title if posterior else "the usual machine"
    notes = _notes(sheet, units)
    if harvest.expected is not None and sheet.stand.losses:
        notes.insert(0, f"Yield taken off. {parted_words(sheet.stand, units, harvest)}")
    fixed = fixed_words(sheet.stand) if harvest.expected is not None else []
    first = [_start(sheet, units), first_count(sheet), _expected(sheet, units)]
    if sheet.own is not None:
        first.insert(0, " ".join(own_sentences(sheet.own, units)))
    more = sheet_text(sheet, units, harvest).splitlines() if details else [""]
    while True:
        answer = Answer(
            caution=STOPPED,
            first=first,
            notes=notes,
            table=[("", "start with", "what to know"), *card(sheet, units)],
            assumes="; ".join(
                [asked, *usual, sheet.scenario.lot.title, machine, *uncertain(sheet, units), *fixed]
            ),
            details=more,
        )
        if not notes or len(answer.text().splitlines()) <= LINES - WRITTEN:
            return answer.text(details)
        notes = notes[:-1]


def _start(sheet: Sheet, units: str) -> str:
    """The six settings in one line."""
    scenario = sheet.scenario
    notch = scenario.singulator.notch
    return (
        f"Start: {disc_words(sheet.chosen.disc, units)}, "
        f"{set_quantity('pressure', scenario.vacuum.vacuum, units)}, "
        f"notch {f'{notch:+g}' if notch else 0}, "
        f"gate {set_quantity('small', scenario.pool.gate_opening, units)}, "
        f"{'inner guide fitted' if scenario.guide.inner_guide else 'no inner guide'}, "
        "sharp cut-off edge."
    )


def _expected(sheet: Sheet, units: str) -> str:
    """Expected measures in the field with their total intervals."""
    keys = (sheet.leading, "cells.skip", "cells.double")
    (best, ends), (skips, _), (doubles, _) = (
        told(BY_KEY[key].kind, sheet.field_spread.total(key), units) for key in keys
    )
    name = "singulation" if sheet.leading == SINGLE else "normal spacings"
    return f"Expect {best} {name} in the field ({ends}), {skips} skips and {doubles} doubles."


def _notes(sheet: Sheet, units: str) -> list[str]:
    """Notes on the vacuum, the disc, and what no study supports, the gravest first."""
    found = vacuum_notes(sheet, units)
    against = [objection_words(one, units) for one in sheet.chosen.objections]
    if against and sheet.own is None:
        found.append(f"No disc of the list fits well. Against this one: {', '.join(against)}.")
    return found + decisive(sheet.field, units)
