"""Answer of a next move: whether to act, why, and what to expect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from metersim.files.units import UNITS, sentence_number
from metersim.questions.next.decide import (
    BRUSH,
    CHECK,
    EXCLUDED,
    KEEP,
    MOVE,
    SAME,
    STRANGE,
    missed_share,
)
from metersim.questions.next.gain import LEVEL, Gain
from metersim.questions.next.hypotheses import DRIVE, ELSE, FAULTS, FINE, LENS
from metersim.questions.next.likely import (
    alike,
    in_order_of_chance,
    percent_text,
    short_of,
    words_of,
)
from metersim.questions.next.rows import RowsFound
from metersim.questions.next.rowtext import rows_notes, rows_text
from metersim.questions.next.study import NextMove
from metersim.questions.next.target import KINDS
from metersim.questions.next.text import THIN, next_text
from metersim.questions.shared.answer import LINES, MOST_ROWS, Answer, capital, plus
from metersim.questions.shared.notes import RUNNING, STOPPED, asked, level_text

MOVING = {  # instruction for a step of each setting
    "notch": "Move the singulator {}",
    "vacuum": "Run the meter with {}",
    "gate": "Set the {}",
    "guide": "Have the {}",
    "hole": "Take a disc with {}",
}
THEN = {
    LENS: " Give --lens clean then.",
    DRIVE: " Seed used on a known area finds it, too: --seeds-used, --area.",
}
MORE = "a report"  # in place of one that nobody asked for; the answer says that there is one
ASKS = (
    "Does the monitor count empty cells, or measured spacings? See its manual. Give "
    "--monitor cells or --monitor spacing. This answer allows for both."
)


def next_answer(
    found: NextMove,
    units: str = "metric",
    notes: Sequence[str] = (),
    details: bool = False,
    rows: RowsFound | None = None,
) -> str:
    """Answer of a next move; with details the whole report.

    Parameters
    ----------
    found : NextMove
        Result of `metersim.questions.next.study.next_move`.
    units : str
        ``metric`` or ``us``.
    notes : sequence of str
        Notes on the counts.
    details : bool
        Whether to add the report.
    rows : RowsFound, optional
        What the latest counts of several rows have in common.
    """
    scenario = found.scenario
    machine = scenario.posterior
    assumes = [asked(scenario, units)[1], *([machine.title] if machine else [])]
    assumes += [one.text(units) for one in scenario.unknown]
    counting = found.kind in (SAME, KEEP) and not (rows and rows.swap)
    first = [_do(found), why(found), _expected(found)]
    clean = LENS not in found.diagnosis.points.names
    on_rows = rows_notes(rows, clean=clean, differs=found.differs)
    if rows and rows.apart and found.kind != STRANGE:  # a row that is bad alone goes first
        first, on_rows = [*on_rows, why(found)], []
    answer = Answer(
        caution=RUNNING if counting else STOPPED,
        first=first,
        notes=[*on_rows, *map(_sentence, notes), *_notes(found, units)],
        table=_table(found),
        assumes="; ".join(assumes),
        details=_report(found, units, notes, rows) if details else [MORE],
    )
    over = len(answer.text().splitlines()) - LINES
    return replace(answer, table=answer.table[: len(answer.table) - max(over, 0)]).text(details)


def _report(found: NextMove, units: str, notes: Sequence[str], rows: RowsFound | None) -> list[str]:
    """Lines of the whole report, for which parts are run, too."""
    lines = next_text(found, units, notes).splitlines()
    return [*lines, "", *rows_text(rows)] if rows else lines


def _sentence(words: str) -> str:
    return f"{capital(words)}{'' if words[-1] in '.?' else '.'}"


def _do(found: NextMove) -> str:
    """Instruction in one or two sentences."""
    if found.kind == MOVE and found.chosen:
        move = found.chosen.move
        (form,) = [MOVING[name] for name in move.steps]
        return _sentence(f"{form.format(move.words)}, then count again")
    if found.kind in (CHECK, BRUSH):
        then = THEN.get(found.advice.fault, "")
        if found.advice.fault == DRIVE and found.diagnosis.used:
            then = ""
        return f"{_sentence(found.words)}{then} Move no setting yet."
    if found.kind == STRANGE:
        return "Move nothing. Check the counts. Check that lot, disc and settings are those given."
    more = f"count {found.more:,} more cells." if found.more is not None else ""
    if found.kind == KEEP:
        return f"Move nothing yet, and {more or 'count again.'}"
    if found.kind == SAME and _is_open(found):
        counted = sum(one.look.cells for one in found.targets)
        return f"Move nothing yet, and count {found.more or counted:,} more cells."
    return f"Leave it, and {more}" if more else "Leave it; move nothing."


def _is_open(found: NextMove) -> bool:
    """Whether a fault is likelier than a meter in order although no excess is detected."""
    return found.diagnosis.after(FINE) < 0.5


def why(found: NextMove) -> str:
    """Reason of the advice in one or two sentences."""
    pairs = [
        (one.excess(kind), k, kind)
        for k, one in enumerate(found.targets)
        for kind in (one.differing if found.differs else one.counted)
    ]
    if not pairs and found.diagnosis.used_differs:
        return _why_used(found)
    if not pairs:
        return "Nothing was counted at these settings; earlier counts alone decide."
    excess, at, kind = max(pairs)
    one = found.targets[at]
    share = f"{percent_text(one.counted[kind] / one.look.cells)} {KINDS[kind]}"
    usual = percent_text(one.usual(kind))
    limit = kind in one.limits
    if found.kind == STRANGE and not found.differs:
        return f"No listed meter has {share} at these settings."
    if found.differs:
        said = (
            f"{share} is more than {'the acceptance limit' if limit else 'a meter in order has'} "
            f"({usual}); chance alone does not explain it."
        )
        if found.kind == KEEP:
            said += " Earlier and later counts ask for different moves."
        return said
    if excess <= 0:
        than = f"the acceptance limit ({usual}" if limit else f"a meter in order has ({usual}"
        said = f"{share} is no more than {than})."
    elif limit:
        said = f"Chance alone explains {share}; the acceptance limit is {usual}."
    else:
        said = (
            f"A meter in order may have {share}: half of such meters have {usual} or more, one in "
            f"twenty has {percent_text(one.most(kind))} or more."
        )
    if found.advice.stands:
        return f"{said} Earlier counts ask for the move, and later ones do not exclude it."
    return f"{said} The settings themselves can be improved." if found.kind == MOVE else said


def _why_used(found: NextMove) -> str:
    """Reason that lies in the seed used."""
    used = found.diagnosis.used
    ratio = 100 * used.ratio if used else 100.0
    side = "less" if ratio < 100 else "more"
    return (
        f"Seed used is {ratio:.0f} % of what the rate asks. Hardly any meter in order uses so much "
        f"{side}."
    )


def _expected(found: NextMove) -> str:
    """What to expect of the advice, with its interval."""
    if found.kind == MOVE and found.chosen:
        value, between = pp(found.chosen)
        return (
            f"Expect {value} percentage points of singulation ({between}). It gets worse in "
            f"{_in_100(found.chosen.worse)} of 100 such meters."
        )
    if found.kind == BRUSH:
        share = missed_share(found.targets, found.diagnosis)
        return (
            f"Of 100 extra skips, about {100 * share:.0f} are likely seeds that the sensor missed."
        )
    if found.kind == CHECK:
        fault = FAULTS[found.advice.fault]
        chance = found.diagnosis.after(fault.name)
        return (
            f"Such a count comes from this fault in {_in_100(chance)} of 100 cases: {fault.short}."
        )
    if found.kind == STRANGE:
        chance = found.diagnosis.after(ELSE)
        return (
            f"In {_in_100(chance)} of 100 such meters no listed fault explains the count. Two "
            "faults at once are possible."
        )
    if found.kind == KEEP:
        return (
            "Later counts alone neither prove nor exclude a move with "
            f"{100 * EXCLUDED:.0f} %. More cells will."
        )
    if found.kind == SAME and _is_open(found):
        return (
            f"Of 100 such meters, {_in_100(found.diagnosis.after(FINE))} are in order. A longer "
            "count will distinguish."
        )
    if found.more is not None:
        return f"With the same shares in {found.more:,} more cells, the excess is detected."
    return "Count again after a change of seed lot, speed or setting."


def pp(gain: Gain) -> tuple[str, str]:
    """A gain and its interval in percentage points, with digits that the interval bears."""
    low, high = gain.interval
    size = 100 * (high - low) / 2
    value, *ends = (plus(100 * one, size) for one in (gain.value, low, high))
    return value, " to ".join(ends)


def _in_100(chance: float) -> str:
    share = 100 * chance
    return "fewer than 1" if share < 1 else f"{share:.0f}"


def _notes(found: NextMove, units: str) -> list[str]:
    """Notes that change the answer: how a monitor counts, a second notch, and what is alike."""
    notes: list[str] = []
    if found.asks_how_it_counts:
        notes.append(ASKS)
    used = found.diagnosis.used
    if used and used.weighed:
        notes.append(f"The mass takes {_seeds_a_mass(found, units)}: compare that with the bag.")
    if found.kind in (SAME, KEEP, STRANGE):
        return notes
    if found.diagnosis.lens_contradicted:
        notes.append("The seed used makes a dirty lens unlikely.")
    if found.notches and found.notches.second:
        best = f"{found.notches.best:+g}"
        notes.append(f"The best notch would be {best}: compare hole size with seed size first.")
    if found.diagnosis.effective < THIN:
        many = f"{found.diagnosis.effective:.0f}"
        notes.append(f"The numbers are rough: only {many} simulated meters explain the counts.")
    names = alike(found)
    if names:
        named = ", ".join(short_of(name) for name in names)
        notes.append(f"The counts cannot distinguish these causes: {named}.")
    return notes


def _seeds_a_mass(found: NextMove, units: str) -> str:
    """Number of seeds in a mass of the lot."""
    unit = UNITS["lb" if units == "us" else "kg"]
    return (
        f"{sentence_number(unit.factor / found.scenario.seeds.seed_mass, 3)} seeds a {unit.symbol}"
    )


def _table(found: NextMove) -> list[tuple[str, ...]]:
    """Other moves, or what is likely off."""
    if found.kind != MOVE:
        rows = [
            (
                words_of(name),
                f"{100 * found.diagnosis.before(name):.0f}",
                f"{100 * found.diagnosis.after(name):.0f}",
            )
            for name in in_order_of_chance(found.diagnosis)[:MOST_ROWS]
        ]
        return [("in 100 such meters", "before", "after the count"), *rows]
    others = [(gain, "") for gain in found.gains if gain is not found.chosen]
    others += [
        (gain, f" (--also {next(iter(gain.move.steps))})")
        for gain in found.parts
        if gain.move.steps
    ]
    others.sort(key=lambda pair: -pair[0].value)
    moves = [
        (f"{gain.move.words}{said}", *pp(gain), _in_100(gain.worse))
        for gain, said in others[:MOST_ROWS]
    ]
    return [("other moves", "singulation, pp", level_text(LEVEL), "worse, of 100"), *moves]
