"""Answer of a next move: whether to act, why, and what to expect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from metersim.questions.next.gain import LEVEL, Gain
from metersim.questions.next.likely import (
    INSPECTIONS,
    OFF,
    best_look,
    by_change,
    inseparable,
    percent_text,
)
from metersim.questions.next.study import (
    BRUSH,
    MEND,
    MOVE,
    NO_GAIN,
    SAME,
    STRANGE,
    SURE_ENOUGH,
    NextMove,
    missed_share,
)
from metersim.questions.next.target import KINDS, Compared
from metersim.questions.next.text import THIN, next_text
from metersim.questions.shared.answer import LINES, MOST_ROWS, Answer, capital, plus
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.notes import RUNNING, STOPPED, asked, level_text

MOVING = {  # instruction for a step of each setting
    "notch": "Move the singulator {}",
    "vacuum": "Run the meter with {}",
    "gate": "Set the {}",
    "guide": "Have the {}",
    "hole": "Take a disc with {}",
}
LIKELIER = 1.5  # chance of a fault after the counts over that before, above which it is named


def next_answer(
    found: NextMove, units: str = "metric", notes: Sequence[str] = (), details: bool = False
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
    """
    scenario = found.scenario
    machine = scenario.posterior
    assumes = [asked(scenario, units)[1], *([machine.title] if machine else [])]
    assumes += [f"{one}, at the middle" for one in scenario.unknown]
    answer = Answer(
        caution=RUNNING if found.kind == SAME else STOPPED,
        first=[_do(found), why(found), _expected(found)],
        notes=[*map(_sentence, notes), *_notes(found)],
        table=_table(found),
        assumes="; ".join(assumes),
        details=next_text(found, units, notes).splitlines(),
    )
    over = len(answer.text().splitlines()) - LINES
    return replace(answer, table=answer.table[: len(answer.table) - max(over, 0)]).text(details)


def _sentence(words: str) -> str:
    return f"{capital(words)}{'' if words[-1] in '.?' else '.'}"


def _do(found: NextMove) -> str:
    """Instruction in one sentence."""
    if found.kind == BRUSH:
        return "Brush the sensor's lens, and count again. Move no setting."
    if found.kind == STRANGE:
        return "Move nothing. Check the counts, and that lot, disc and settings are those given."
    if found.chosen:
        move = found.chosen.move
        (form,) = [MOVING[name] for name in move.steps] or ["{}"]
        return _sentence(f"{form.format(move.words)}, then count again")
    if found.more is not None:
        return f"Leave it, and count {found.more:,} more cells."
    return "Leave it; move nothing." if found.kind == SAME else "Leave it, and look for the cause."


def why(found: NextMove) -> str:
    """Reason of the advice in one or two sentences."""
    if found.kind == STRANGE:
        odd = found.strange[0]
        side = "less" if odd.share < odd.expected else "more"
        return (
            f"{percent_text(odd.share)} {KINDS[odd.kind]} is far {side} than any likely meter has "
            f"at these settings ({percent_text(odd.expected)})."
        )
    pairs = [
        (one.excess(kind), k, kind)
        for k, one in enumerate(found.targets)
        for kind in (one.differing if found.differs else one.counted)
    ]
    if not pairs:
        return "Nothing was counted at these settings; earlier counts alone decide."
    excess, at, kind = max(pairs)
    one = found.targets[at]
    share = f"{percent_text(one.counted[kind] / one.look.cells)} {KINDS[kind]}"
    usual = percent_text(getattr(one.wanted, kind))
    if found.differs:
        than = "the acceptance limit" if _is_limit(one, kind) else "a meter in order has"
        return f"{share} is more than {than} ({usual}); chance alone does not explain it."
    named = " and ".join(KINDS[kind] for kind in one.counted)
    of = "the acceptance limit" if _is_limit(one, kind) else "a meter in order"
    if excess <= 0:
        said = f"There are no more {named} than in {of} ({usual} {KINDS[kind]})."
    else:
        said = f"Chance alone explains {share}; {of} has {usual}."
    return said if found.kind == SAME else f"{said} The settings themselves can be improved."


def _is_limit(one: Compared, kind: str) -> bool:
    """Whether the wanted rate of a kind is given, as no machine differs from it."""
    return bool(one.machines) and all(
        getattr(each, kind) == getattr(one.wanted, kind) for each in one.machines
    )


def _expected(found: NextMove) -> str:
    """What to expect of the advice, with its interval."""
    if found.kind in (MOVE, MEND) and found.chosen:
        value, between = pp(found.chosen)
        return (
            f"Expect {value} percentage points of singulation ({between}). It gets worse in "
            f"{_in_100(found.chosen.worse)} of 100 such meters."
        )
    if found.kind == BRUSH:
        share = missed_share(found.targets, found.diagnosis)
        return f"Of 100 skips too many, about {100 * share:.0f} are likely seeds that it missed."
    if found.kind == STRANGE:
        return "No move can be judged before such a meter is found."
    if found.kind == NO_GAIN and found.gains:
        value, between = pp(found.gains[0])
        said = (
            f"No single step surely improves it. The best, {found.gains[0].move.words}, brings "
            f"{value} percentage points ({between})."
        )
        if found.more is not None:
            return f"{said} After the count it is worse in {100 * SURE_ENOUGH:.0f} of 100 at most."
        return said
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


def _notes(found: NextMove) -> list[str]:
    """Notes that change the answer: few states, a second notch, the cause, and the next look."""
    notes: list[str] = []
    if found.kind in (SAME, STRANGE):
        return notes
    if found.notches and found.notches.second:
        best = f"{found.notches.best:+g}"
        notes.append(f"The best notch would be {best}: compare hole size with seed size first.")
    if found.diagnosis.effective < THIN:
        many = f"{found.diagnosis.effective:.0f}"
        notes.append(f"The numbers are rough: only {many} of the meters tried explain the counts.")
    side = by_change(found)[0]
    before, after = found.diagnosis.before(side), found.diagnosis.after(side)
    if after > LIKELIER * before and found.kind != BRUSH:
        notes.append(
            f"Likely off: {side.words}, in {100 * after:.0f} of 100 such meters "
            f"(before: {100 * before:.0f})."
        )
    pairs = inseparable(found.diagnosis)
    name = "sensor" if found.kind == BRUSH else best_look(found)
    if name:
        either = next((pair for pair in pairs if name in pair), None)
        purpose = "To find the cause"
        if either:
            purpose = f"To distinguish {HIDDEN[either[0]].name} from {HIDDEN[either[1]].name}"
        notes.append(f"{purpose}, {INSPECTIONS[name]}.")
    return notes


def _table(found: NextMove) -> list[tuple[str, ...]]:
    """Other moves, what is likely off, or shares that no likely meter has."""
    if found.kind == STRANGE:
        strange = [
            (KINDS[one.kind], percent_text(one.share), percent_text(one.expected))
            for one in found.strange[:MOST_ROWS]
        ]
        return [("", "counted", "likely meters have"), *strange]
    if found.kind in (SAME, BRUSH):
        rows = [
            (
                f"{side.words}, by {OFF[side.name]}",
                f"{100 * found.diagnosis.before(side):.0f}",
                f"{100 * found.diagnosis.after(side):.0f}",
            )
            for side in by_change(found)[:MOST_ROWS]
        ]
        return [("in 100 such meters", "before", "after the count"), *rows]
    others = [(gain, "") for gain in found.gains if gain is not found.chosen]
    others += [(gain, f" (--also {next(iter(gain.move.steps))})") for gain in found.parts]
    others.sort(key=lambda pair: -pair[0].value)
    moves = [
        (f"{gain.move.words}{said}", *pp(gain), _in_100(gain.worse))
        for gain, said in others[:MOST_ROWS]
    ]
    head = "other moves" if found.chosen else "moves"
    return [(head, "singulation, pp", level_text(LEVEL), "worse, of 100"), *moves]
