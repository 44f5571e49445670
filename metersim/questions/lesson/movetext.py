"""Words of the chapters on settings: the trade, one step, and two at once."""

from __future__ import annotations

from metersim.questions.lesson.chapter import Chapter
from metersim.questions.lesson.meter import PAIR_SIZE
from metersim.questions.lesson.moves import Curve, SingleSteps, Step, Together, TradeOff
from metersim.questions.lesson.phrases import (
    cells_text,
    hundred,
    joined,
    moved,
    of_hundred,
    points,
    sentence,
    share,
    span,
    value_text,
)
from metersim.questions.shared.answer import capital, is_distinct
from metersim.questions.shared.counts import MOST_PRACTICAL, POWER
from metersim.questions.shared.settings import steps_text

OF = {"vacuum": " of vacuum", "notch": ""}  # after a value
MORE = {"vacuum": "more vacuum", "notch": "a higher notch"}
OTHER = {"skips": "doubles", "doubles": "skips"}


def trade_chapter(trade: TradeOff, units: str) -> Chapter:
    """How skips and doubles trade off."""
    vacuum = trade.curves[0]
    now = vacuum.points[vacuum.present]
    at = joined([_at(curve, units) for curve in trade.curves], "and")
    said = [
        f"At {at}, {share(now.rates.skips)} of the cells are skips and "
        f"{share(now.rates.doubles)} are doubles."
    ]
    for curve in trade.curves:
        if len(curve.points) > 1:
            said += [_along(curve, units), _verdict(curve)]
        else:
            said.append(f"No other {curve.setting} can be tried on this machine.")
    return Chapter(
        "trade",
        "Skips against doubles",
        _along(vacuum, units) if len(vacuum.points) > 1 else said[0],
        tuple(said),
        "Follow the two lines from left to right. Does one fall while the other rises? "
        "The thin upright line is the present setting.",
        "At which vacuum in the figure are fewest cells empty or doubled? Is the present vacuum "
        "worse than that?",
        tuple(_best(vacuum, units)),
    )


def _at(curve: Curve, units: str) -> str:
    return value_text(curve.setting, curve.points[curve.present].value, units) + OF[curve.setting]


def _along(curve: Curve, units: str) -> str:
    first, last = curve.points[0], curve.points[-1]
    ends = span(curve.setting, first.value, last.value, units)
    return f"From {ends}{OF[curve.setting]}, {moved(first.rates, last.rates, curve.change)}."


def _verdict(curve: Curve) -> str:
    """Whether one kind of cell falls while the other rises."""
    more = MORE[curve.setting]
    ways = {
        kind: (one.value > 0) - (one.value < 0) if is_distinct(one) else 0
        for kind, one in curve.change.kinds.items()
    }
    skips, doubles = ways.values()
    if skips * doubles < 0:
        fewer = "skips" if skips < 0 else "doubles"
        return f"So {more} gives fewer {fewer}, and {OTHER[fewer]} are the price."
    if skips * doubles > 0:
        return f"Here {more} {'lowers' if skips < 0 else 'raises'} both: there is no trade."
    if skips or doubles:
        return f"Here {more} changes {'skips' if skips else 'doubles'} alone: there is no trade."
    return f"Here {more} has no effect that these runs detect."


def _best(curve: Curve, units: str) -> list[str]:
    best, now = curve.points[curve.best], curve.points[curve.present]
    texts = [share(one.rates.odd) for one in (best, now)]
    said = [
        f"Fewest at {value_text(curve.setting, best.value, units)}: {texts[0]} of the cells have "
        "no seed, or more than one."
    ]
    if best == now:
        said.append("That is the present vacuum.")
    else:
        there = f"At the present {value_text(curve.setting, now.value, units)} it is {texts[1]}"
        if is_distinct(curve.from_best.odd):
            said.append(f"{there}: more by {points(curve.from_best.odd)}.")
        else:
            said.append(f"{there}: no difference is detected.")
    low, high = curve.alike[0], curve.alike[-1]
    if low < high and len(curve.alike) == high - low + 1:
        ends = span(curve.setting, curve.points[low].value, curve.points[high].value, units)
        said.append(f"From {ends} no difference is detected, so the exact value matters little.")
    return said


def steps_chapter(steps: SingleSteps, units: str) -> Chapter:
    """What one step of each setting does."""
    strongest = steps.strongest
    detected = [one for one in steps.steps if one.seen.kind]
    still = [one for one in steps.steps if not one.seen.kind]
    cells = f"runs of {steps.cells:,} cells"
    if strongest:
        does = _does(strongest, steps, units)
        said = [
            f"Counts see this step best. {capital(does)}.",
            f"Count {cells_text(strongest.seen.cells)} before and as many after. "
            f"Then {hundred(POWER)} such pairs of counts detect it.",
        ]
        weakest = max((one for one in detected if not one.is_part), key=lambda one: one.seen.cells)
        if weakest is not strongest:
            words = steps_text(weakest.steps, units)
            said.append(
                f"No practical count detects this one: {words}."
                if weakest.seen.cells > MOST_PRACTICAL
                else f"Hardest to see is {words}: it takes {cells_text(weakest.seen.cells)}."
            )
        fact = sentence(does)
    else:
        fact = f"No single step changes skips or doubles detectably in {cells}."
        said = [fact, "So a class would count in vain here: no count detects what is not there."]
    if still and strongest:
        named = joined([steps_text(one.steps, units) for one in still], "or")
        said.append(f"No effect is detected in {cells} of: {named}.")
    kind = "doubles" if steps.present.doubles.value > steps.present.skips.value else "skips"
    return Chapter(
        "steps",
        "One step of each setting",
        fact,
        tuple(said),
        "Each line is one step. A mark to the left of 0 is less, one to the right is more. "
        "Which step moves both marks away from 0, and which moves none?",
        f"You want fewer {kind}. Which one step helps most, and what does it do to {OTHER[kind]}?",
        tuple(_cure(steps, kind, units)),
    )


def _does(step: Step, steps: SingleSteps, units: str) -> str:
    words = steps_text(step.steps, units)
    return f"{words}: {moved(steps.present, step.rates, step.change)}"


def _cure(steps: SingleSteps, kind: str, units: str) -> list[str]:
    helping = [
        one
        for one in steps.steps
        if is_distinct(one.change.kinds[kind]) and one.change.kinds[kind].value < 0
    ]
    if not helping:
        return [f"No single step here lowers {kind} detectably."]
    helping.sort(key=lambda one: one.change.kinds[kind].value)
    best = helping[0]
    said = [sentence(_does(best, steps, units))]
    other = best.change.kinds[OTHER[kind]]
    if not is_distinct(other):
        said.append(f"No price in {OTHER[kind]} is detected.")
    elif other.value > 0:
        said.append(f"The price is more {OTHER[kind]}. Decide which of both costs you more.")
    else:
        said.append(f"It lowers {OTHER[kind]}, too: a step to take first.")
    if best.is_part:
        said.append("It needs another disc.")
        knob = next((one for one in helping if not one.is_part), None)
        if knob:
            said.append(sentence(f"without one, {_does(knob, steps, units)}"))
    return said


def together_chapter(together: Together, units: str) -> Chapter:
    """Why two settings that are moved together confuse."""
    title = "Two settings moved at once"
    see = (
        "The cross is the present meter. Counts inside the ring are usual when nothing was moved. "
        "Where does each step alone end, and where do both together end?"
    )
    words = [steps_text(one.steps, units) for one in together.alone]
    question = (
        f"A student makes two moves at once{': ' if words else ''}{' and '.join(words)}. Counts of "
        f"{PAIR_SIZE:,} cells before and after cannot be distinguished. What may the student say "
        "of the two settings?"
    )
    if together.both is None:
        fact = "No two settings here have an effect that these runs detect, so none hides another."
        said = [fact, "Move one setting at a time all the same: then a change has one cause."]
        answer = ["Nothing. Here not even long runs detect what either does alone."]
        return Chapter("together", title, fact, tuple(said), see, question, tuple(answer))
    alone = [one.seen.chance(PAIR_SIZE) for one in together.alone]
    both = together.both.seen.chance(PAIR_SIZE)
    said = [f"Alone, {_moved(together, one, units)}." for one in together.alone]
    effect = moved(together.present, together.both.rates, together.both.change)
    said.append(f"Both at once: {effect}.")
    chances = (
        f"Two counts of {PAIR_SIZE:,} cells detect the first in {hundred(alone[0])} cases, the "
        f"second in {of_hundred(alone[1])}, and both at once in {of_hundred(both)}."
    )
    said.append(chances)
    if together.hides:
        said.append("So each move hides the other.")
        fact = f"{capital(words[0])} hides {words[1]}: {of_hundred(both)} of 100 counts see both."
        answer = [
            "Nothing. Each step alone changes the meter, and together they cancel in the count.",
            "Move one, count, then move the other and count again.",
        ]
    else:
        clear = both > max(alone)
        said.append(
            "So the two add up, and a count sees both better than one."
            if clear
            else "So the two neither cancel nor add up in full."
        )
        fact = f"No two steps hide each other here: {hundred(both)} counts see both at once."
        answer = [
            f"Little. Only {hundred(1 - both)} such pairs of counts would miss both at once."
            if both >= POWER
            else f"Nothing. {capital(hundred(1 - both))} such pairs of counts miss both at once.",
            "A difference, if there were one, would not say which of the two made it.",
            "Move one, count, then move the other and count again.",
        ]
    return Chapter("together", title, fact, tuple(said), see, question, tuple(answer))


def _moved(together: Together, step: Step, units: str) -> str:
    return f"{steps_text(step.steps, units)}: {moved(together.present, step.rates, step.change)}"
