"""Answer of likely causes: what is likely wrong, the next check, and the evidence for both."""

from __future__ import annotations

from collections.abc import Sequence

from metersim.files.units import UNITS
from metersim.questions.next.causes import Causes
from metersim.questions.next.checks import LEAST_BITS, LOOKS, Check, next_checks
from metersim.questions.next.decide import LIKELY, MOVE
from metersim.questions.next.hypotheses import ELSE
from metersim.questions.next.likely import EVIDENCE_FACTOR, MANY
from metersim.questions.next.signoptions import OPTIONS, sign_words
from metersim.questions.next.study import NextMove
from metersim.questions.shared.answer import MOST_ROWS, Answer, capital
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.faults.signatures import IN_ORDER
from metersim.questions.shared.notes import STOPPED, asked
from metersim.questions.shared.words import WIDE, aligned, wrapped

SETTINGS = (
    "small seed",
    "large seed",
    "edge far",
    "edge near",
    "vacuum low",
    "vacuum high",
    "low pool",
    "high pool",
)
"""Faults that a setting causes, or makes up for."""
NAMED = 3  # causes of one line that are named
POOR = 0.05  # fit below which the answer says that nothing listed explains the signs well
FEWEST = 0.005  # chance of a line below which it is left out of the table
EVERY_SIGN = "every cause, the evidence for and against each, and all checks with their cautions"
TWO = "Check the signs again. Two faults at once are possible."


def words_of_cause(name: str) -> str:
    """A cause in words."""
    if name == IN_ORDER:
        return "in order: nothing is off by more than usual"
    if name == ELSE:
        return "something else, or several things at once"
    return LIBRARY[name].words


def of_100(chance: float) -> str:
    """A chance as a number of 100 machines."""
    share = 100 * chance
    if share < 1:
        return "fewer than 1"
    return "more than 99" if share > 99 else f"{share:.0f}"


def line_words(names: Sequence[str]) -> str:
    """Causes of one line: a single one in words, several by their names."""
    if len(names) == 1:
        return words_of_cause(names[0])
    named = ", ".join(names[:NAMED])
    more = len(names) - NAMED
    return f"{named}, {more} more" if more > 0 else named


def causes_answer(
    causes: Causes,
    units: str = "metric",
    notes: Sequence[str] = (),
    details: bool = False,
    move: NextMove | None = None,
) -> str:
    """Answer of likely causes and the next check; with details the whole report.

    Parameters
    ----------
    causes : Causes
        Result of `metersim.questions.next.causes.find_causes`.
    units : {'metric', 'us'}
        Units of the answer.
    notes : sequence of str
        Notes on the counts.
    details : bool
        Whether to add the report.
    move : NextMove, optional
        Move of a setting that the counts alone ask for, where a setting is the likeliest cause.
    """
    checks = next_checks(causes)
    first = first_check(causes, checks)
    scenario = causes.scenario
    title = scenario.posterior.title
    assumes = [
        "one fault at a time",
        f"{causes.found.samples} simulated machines of each fault",
        asked(scenario, units)[1],
        *([title] if title else []),
    ]
    return Answer(
        caution=first.caution if first else STOPPED,
        first=[likely_text(causes), *next_text(causes, first)],
        notes=[*_notes(causes, move, units), *(f"{capital(one)}." for one in notes)],
        table=table_of(causes),
        assumes="; ".join(assumes),
        details=[*cause_lines(causes), "", *check_lines(checks)],
        more=EVERY_SIGN,
    ).text(details)


def first_check(causes: Causes, checks: Sequence[Check]) -> Check | None:
    """The next check: the one that says most for its time, or else that of the likeliest fault.

    None where neither says anything.
    """
    if checks and checks[0].bits >= LEAST_BITS:
        return checks[0]
    return next((one for one in checks if causes.ranked[0] in one.finds), None)


def likely_text(causes: Causes) -> str:
    """What is likely wrong, in a sentence or two."""
    unlisted = causes.chances[ELSE]
    if unlisted >= LIKELY:
        chance = of_100(unlisted)
        return f"In {chance} of 100 such machines no listed cause explains all of this. {TWO}"
    names = next(line for line in causes.lines if ELSE not in line)
    chance = of_100(causes.chance_of(names))
    if names == (IN_ORDER,):
        return f"Most likely nothing is wrong: {chance} of 100 such machines are in order."
    if len(names) == 1:
        return f"Most likely: {words_of_cause(names[0])}, in {chance} of 100 such machines."
    return (
        f"Most likely one of {len(names)} causes, in {chance} of 100 such machines: "
        f"{line_words(names)}. Nothing seen so far separates them."
    )


def next_text(causes: Causes, check: Check | None) -> list[str]:
    """The next check, and what it is worth."""
    if check is None:
        return ["No check separates the causes that are left by much."]
    said = f"Next, {check.minutes} min: {check.words}"
    said += "" if said.endswith("?") else "."
    if not check.finds:
        asks = f"Then ask again with {_asks(check)}."
        return [said, f"It separates the causes best for its time. {asks}"]
    found, nothing = check.outcomes
    worth = f"It finds its fault in {of_100(found[1])} of 100 such machines."
    if nothing[2] in check.finds:
        return [said, worth]
    left = (
        f"Otherwise the likeliest is: {words_of_cause(nothing[2])} ({of_100(nothing[3])} of 100)."
    )
    return [said, f"{worth} {left}"]


def _asks(check: Check) -> str:
    """Options that take the answer of a check."""
    if check.name in LOOKS and len(LOOKS[check.name].signs) > 1:
        return "--counted, --skips and --doubles"
    named = [name for name, option in OPTIONS.items() if option.sign == check.name]
    return f"--{named[0]}" if named else f"--{check.name}"


def _notes(causes: Causes, move: NextMove | None, units: str) -> list[str]:
    """Notes that change the answer."""
    made = []
    if causes.fit < POOR and causes.chances[ELSE] < LIKELY:
        days = "fewer than 1" if causes.fit < 0.01 else f"{100 * causes.fit:.0f}"
        made.append(
            f"The signs fit badly: {days} of 100 days of the likeliest cause are as unusual. {TWO}"
        )
    period = causes.signs.period
    holes = causes.scenario.disc.cells
    if period and holes % period:
        made.append(
            f"The disc has {holes} holes, so no hole comes back every {period} cells. Look at what "
            "turns at that rate: gears, chain, sprockets."
        )
    used = causes.signs.seed_used
    if used is not None and used.weighed:
        unit = UNITS["lb" if units == "us" else "kg"]
        many = unit.factor / causes.scenario.seeds.seed_mass
        made.append(f"The mass takes {many:,.0f} seeds a {unit.symbol}: compare that with the bag.")
    if move is not None:
        if move.kind == MOVE and move.chosen is not None:
            gain = 100 * move.chosen.value
            made.append(
                f"By the counts alone, the best move of a setting is: {move.words} "
                f"({gain:+.1f} percentage points of singulation)."
            )
        else:
            made.append("By the counts alone, no move of a setting is advised.")
    return made


def table_of(causes: Causes) -> list[tuple[str, ...]]:
    """Causes with their chances, and the sign that speaks most for and against each."""
    rows: list[tuple[str, ...]] = [
        ("in 100 such machines", "before", "now", "degree", "for it", "against it")
    ]
    for names in causes.lines[:MOST_ROWS]:
        chance = causes.chance_of(names)
        if chance < FEWEST and len(rows) > 1:
            break
        before = sum(causes.prior[name] for name in names)
        degree = causes.severity_word(names[0]) if len(names) == 1 else ""
        rows.append(
            (
                line_words(names),
                f"{100 * before:.0f}",
                f"{100 * chance:.0f}",
                degree,
                *strongest(causes, names[0]),
            )
        )
    return rows


def strongest(causes: Causes, name: str) -> tuple[str, str]:
    """Signs that speak most for and against a cause, with how often; ``-`` where none does."""
    factors = causes.factors[name]
    best = max(factors, key=lambda sign: factors[sign])
    worst = min(factors, key=lambda sign: factors[sign])
    return (
        _times(best, factors[best]),
        _times(worst, 1 / max(factors[worst], 1e-300)),
    )


def _times(sign: str, times: float) -> str:
    if times < EVIDENCE_FACTOR:
        return "-"
    return f"{_short(sign)} x{times:.0f}" if times < MANY else f"{_short(sign)} x{MANY}+"


def _short(sign: str) -> str:
    """Name of a sign as its option has it."""
    named = [name for name, option in OPTIONS.items() if option.sign == sign]
    return named[0] if named else sign.split(" by ")[0]


def cause_lines(causes: Causes) -> list[str]:
    """Lines of the report: every cause with its chances, and each sign for and against it."""
    seen = [
        sign_words(one.name, one.said) if one.name in SIGNS else f"{one.name} with {one.said}"
        for one in causes.evidence
    ]
    rows: list[tuple[str, ...]] = [("cause", "what it is", "before", "now", "degree")]
    rows += [
        (
            name,
            words_of_cause(name),
            f"{100 * causes.prior[name]:.1f}",
            f"{100 * causes.chances[name]:.1f}",
            causes.severity_word(name),
        )
        for name in causes.ranked
    ]
    fit = f"{100 * causes.fit:.0f} of 100 days of '{causes.likeliest}' are as unusual or more"
    lines = [*wrapped(f"Seen: {'; '.join(seen)}", WIDE), f"Fit: {fit}", ""]
    lines += [*aligned(rows).splitlines(), ""]
    lines.append("Signs by cause: chance of what was seen with the cause, over that without it")
    for name in causes.ranked:
        signs = [f"{_short(sign)} {_ratio(one)}" for sign, one in causes.factors[name].items()]
        lines += wrapped(f"  {name}: {', '.join(signs)}", WIDE)
    return lines


def _ratio(factor: float) -> str:
    """A ratio of chances with the digits that a reader can use."""
    if factor < 1 / MANY:
        return f"under {1 / MANY:g}"
    return f"over {MANY}" if factor > MANY else f"{factor:.2g}"


def check_lines(checks: Sequence[Check]) -> list[str]:
    """Lines of the report on all checks, each behind its caution."""
    lines = ["Checks, those first that say most for their time:"]
    caution = ""
    for one in checks:
        if one.caution != caution:
            caution = one.caution
            lines += wrapped(f"  Caution: {caution}", WIDE)
        said = f"    {one.words} ({one.minutes} min, {one.bits:.2f} bit, machine {one.state})"
        lines += wrapped(said, WIDE)
    if not checks:
        return []
    first = checks[0]
    lines += ["", f"After the first of these ({first.words}):"]
    for answer, chance, name, after in first.outcomes:
        lines.append(
            f"  {answer}: in {of_100(chance)} of 100 such machines; then '{name}' is likeliest "
            f"({of_100(after)} of 100)"
        )
    return lines
