"""Text of the results of habits: the answer, tables, and findings in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from metersim.measures.intervals import Estimate
from metersim.questions.habits.study import Habits
from metersim.questions.habits.trials import LEAST_CHANGE, LONG, MOST_LOOKS, OFFSETS
from metersim.questions.shared.answer import LINES, MORE, MOST_ROWS, Answer, told
from metersim.questions.shared.notes import STOPPED, level_text
from metersim.questions.shared.settings import steps_text
from metersim.questions.shared.words import number, wrapped

ALONE, STEADY = "leave alone", "one notch"
"""Habits that all others are compared with, where they were tried."""
LEAST_LEAD = 0.001  # least reported lead, as a share of cells
REACHED = 24  # letters of a column
SPENT = (20, 24, 20, 21, 13)
MOSTLY = 0.5  # share of meters above which a habit is said to move two settings at once
COSTS = ("seeds counted", "cause named", "two moved at once", "ended worse")


def summary(result: Habits, units: str = "metric", details: bool = False) -> str:
    """The answer of habits: the best of them, its cost, and a row for each.

    Parameters
    ----------
    result : Habits
        Results to report.
    units : {'metric', 'us'}
        Family of units of the step of vacuum.
    details : bool
        Whether to add the whole report.
    """
    first, *others = winners(result)
    names = list(result.habits)
    start = told("share", bad(result, names[0], "start_single"))[0]
    end = told("share", bad(result, first))[0]
    alike = ", ".join(others)
    said = [
        f"Best habit: {first}. Skips and doubles at the end: {end} of the cells. "
        f"As found: {start}.",
        f"Its cost: {cost(result, first)}.",
        f"No better habit is detected. As good, or not distinguished: {alike}."
        if alike
        else "Every other habit ends with more.",
    ]
    notes = [
        f"{name} moves two settings at once in {100 * mixed(result, name):.0f} of 100 meters. "
        f"Its cost: {cost(result, name)}."
        for name in (first, *others)
        if mixed(result, name) > MOSTLY
    ]
    found = Answer(
        caution=STOPPED,
        first=said,
        notes=notes,
        table=_table(result),
        assumes=f"habits and start errors of {result.meters:,} meters in a model, not people; "
        f"the same meters and random draws for every habit; {result.scenario.title}.",
        details=report(result, units).splitlines() if details else [MORE],
    )
    while len(found.text().splitlines()) > LINES and len(found.table) > 2:
        found = replace(found, table=found.table[:-1])  # habits of a user may have long names
    return found.text(details)


def winners(result: Habits) -> list[str]:
    """Habits that lead, those first that seldom move two settings at once."""
    best = result.leaders
    return sorted(best, key=lambda name: (mixed(result, name) > MOSTLY, best.index(name)))


def mixed(result: Habits, name: str) -> float:
    """Share of meters on which a habit moves two settings between two counts. [1]"""
    return result.share("mixed", name).value


def bad(result: Habits, name: str, outcome: str = "single") -> Estimate:
    """Skips and doubles of a habit, as a share of cells. [1]"""
    single = result.mean(outcome, name)
    ends = (single.value, single.high, single.low)
    return Estimate(*(round(1 - end, 6) for end in ends))  # a difference leaves no rounding error


def cost(result: Habits, name: str) -> str:
    """What a habit takes: seeds to count, and how often its counts name the cause."""
    named = 100 * result.mean("named", name).value
    return (
        f"{result.mean('seeds', name).value:,.0f} seeds counted, "
        f"the cause named on {named:.0f} of 100 meters"
    )


def _table(result: Habits) -> list[tuple[str, ...]]:
    """Heads and a row for each habit, at most eight."""
    heads = ("", "skips and doubles", level_text(result.level), *COSTS)
    names = list(result.habits)[: MOST_ROWS - 1]
    start = told("share", bad(result, names[0], "start_single"))
    rows = [heads, ("(as found)", *start, *("" for _ in COSTS))]
    for name in names:
        shares = (
            f"{100 * share:.0f} %"
            for share in (
                result.mean("named", name).value,
                mixed(result, name),
                result.share("worse", name).value,
            )
        )
        seeds = f"{result.mean('seeds', name).value:,.0f}"
        rows.append((name, *told("share", bad(result, name)), seeds, *shares))
    return rows


def report(result: Habits, units: str = "metric") -> str:
    """Report of the results of habits.

    Parameters
    ----------
    result : Habits
        Results to report.
    units : {'metric', 'us'}
        Family of units of the step of vacuum.
    """
    lines = [
        *_heading(result, units),
        "",
        *_reached(result),
        "",
        *_spent(result),
        "",
        *_by_start(result),
        "",
        *(part for line in _legend(result) for part in wrapped(line)),
        "",
        *(part for line in findings(result) for part in wrapped(line)),
    ]
    return "\n".join(line.rstrip() for line in lines)


def _reached(result: Habits) -> list[str]:
    """Table of singulation and quality of feed, with differences between habits."""
    first, references = next(iter(result.habits)), references_of(result)
    heads = ["singulation", *(f"over {one}" for one in references), "quality of feed"]
    units = ["at the end, %", *("pp" for _ in references), "at the end, %"]
    single, quality = (
        percent(result.mean(outcome, first), 2) for outcome in ("start_single", "start_quality")
    )
    rows = [
        ("", heads),
        ("", units),
        ("(as found)", [single, *("" for _ in references), quality]),
    ]
    for name in result.habits:
        lead = [points(result, "single", name, other) for other in references]
        single, quality = (percent(result.mean(w, name), 2) for w in ("single", "quality"))
        rows.append((name, [single, *lead, quality]))
    return [_row(result, name, cells, [REACHED] * len(cells)) for name, cells in rows]


def _spent(result: Habits) -> list[str]:
    """Table of effort, worse results, and named causes."""
    heads = ["looks", "seeds counted", "ended worse, %", "cause named, %", "two moved, %"]
    rows = [("", heads)]
    for name in result.habits:
        cells = [
            plain(result.mean("looks", name), 1),
            plain(result.mean("seeds", name), 0),
            percent(result.share("worse", name), 1) if result.moves(name) else "0, never moves",
            percent(result.share("named", name), 1),
            f"{100 * result.share('mixed', name).value:.1f}",
        ]
        rows.append((name, cells))
    return [_row(result, name, cells, SPENT) for name, cells in rows]


def references_of(result: Habits) -> list[str]:
    """Names of habits that all others are compared with."""
    return [name for name in (ALONE, STEADY) if name in result.habits]


def percent(estimate: Estimate, digits: int) -> str:
    """A share with its interval, in percent without the sign."""
    edges = (estimate.value, estimate.low, estimate.high)
    return plain(Estimate(*(100 * edge for edge in edges)), digits)


def plain(estimate: Estimate, digits: int) -> str:
    """A number with its interval."""
    value, low, high = (
        f"{edge:,.{digits}f}" for edge in (estimate.value, estimate.low, estimate.high)
    )
    return value if math.isnan(estimate.low) else f"{value} ({low} to {high})"


def points(result: Habits, outcome: str, name: str, other: str, off: int | None = None) -> str:
    """Lead of a habit over another, in percentage points with its interval."""
    if name == other:
        return "-"
    lead = result.lead(outcome, name, other, off)
    value, low, high = (f"{100 * edge:+.2f}" for edge in (lead.value, lead.low, lead.high))
    return value if math.isnan(lead.low) else f"{value} ({low} to {high})"


def _row(result: Habits, name: str, cells: Sequence[str], widths: Sequence[int]) -> str:
    each = zip(cells, widths, strict=True)
    return _named(result, name) + "".join(f"{cell:>{wide}}" for cell, wide in each)


def _named(result: Habits, name: str) -> str:
    """A name, padded to the width of the longest."""
    return name.ljust(max(16, *(len(one) for one in result.habits)) + 1)


def _heading(result: Habits, units: str) -> list[str]:
    scenario, wanted = result.scenario, result.wanted
    step = steps_text({"vacuum": 1}, units).removesuffix(" more vacuum")
    furthest = max(OFFSETS)
    lines = [
        f"{scenario.title} ({', '.join([scenario.name, *scenario.changes])}): {result.meters:,} "
        f"meters, all given to each of {len(result.habits)} habits; random seed {result.seed}",
        "Hidden: the size of the seed, leaks that take vacuum, wear of cut-off edge and tube. The "
        f"notch starts up to {furthest} steps off, in either direction.",
        f"Wanted: skips of at most {number(100 * wanted.skips)} %, doubles of at most "
        f"{number(100 * wanted.doubles)} % of the cells. A look is {result.count} cells; after "
        f"{MOST_LOOKS} looks every operator stops. A step of vacuum is {step}.",
    ]
    if scenario.unknown:
        lines.append(f"At the middle of {scenario.ranges(units)}.")
    for name, habit in result.habits.items():
        many = f"; {habit.count} cells a look" if habit.count else ""
        lines.append(f"  {name}: {habit.says}{many}.")
    return [part for line in lines for part in wrapped(line)]


def _by_start(result: Habits) -> list[str]:
    """Singulation after the first move and at the end, by how far off the notch began."""
    starts = sorted(set(result.offsets.tolist()))
    heads = "".join(f"{f'{off} off':>13}" for off in starts)
    whole = len(heads)
    many = ", ".join(f"{off} off: {(result.offsets == off).sum():,}" for off in starts)
    lines = [
        f"Singulation in %, by notches off at the start (meters {many})",
        _row(result, "", ["after the first move", "at the end"], [whole, whole + 4]),
        _row(result, "", [heads, heads], [whole, whole + 4]),
    ]
    for name in result.habits:
        first, end = (
            "".join(f"{100 * result.mean(outcome, name, off).value:13.2f}" for off in starts)
            for outcome in ("first_single", "single")
        )
        lines.append(_row(result, name, [first, end], [whole, whole + 4]))
    return lines


def _legend(result: Habits) -> list[str]:
    half = f"{100 * LEAST_CHANGE:g}"
    return [
        f"Each {level_text(result.level)} covers other meters and machines of the same kind. All "
        "habits have the same meters and, look by look, the same random draws.",
        f"Singulation: share of cells with exactly one seed, on {LONG:,} cells that no operator "
        f"sees. Ended worse: by more than {half} percentage points of it. Two moved: several "
        "settings were moved between two counts, so that their effects cannot be distinguished.",
        "Cause: the one of notch, seed size and vacuum whose correction removes most skips and "
        f"doubles; nothing where none removes {half} percentage points. Named: rightly, by "
        "an observer who knows this model and has the counts of that habit alone. A guess of the "
        f"commonest cause without a look names {100 * result.blind_share:.1f} %. Wear changes "
        "spacings, not counts, and cannot be named.",
        "Habits, and how far meters are off, are assumptions: this ranks habits in a model, not "
        "people.",
    ]


def findings(result: Habits) -> list[str]:
    """Findings of this result in sentences."""
    names = list(result.habits)
    lines = [_most(result), _cost(result, names), _naming(result, names)]
    if STEADY in names:
        lines += _faster(result, [name for name in names if name not in (STEADY, ALONE)])
    if ALONE in names:
        lines += _leaving(result, [name for name in names if name != ALONE])
    return lines


def _most(result: Habits) -> str:
    best, *others = winners(result)
    alike = f" Cannot be distinguished from it: {', '.join(others)}." if others else ""
    reached = percent(result.mean("single", best), 2)
    return f"Best singulation: {best}, {reached} % ({cost(result, best)}).{alike}"


def _cost(result: Habits, names: Sequence[str]) -> str:
    seeds = {name: result.mean("seeds", name).value for name in names}
    worse = {name: 100 * result.share("worse", name).value for name in names}
    dear, wrong = (max(names, key=lambda name: held[name]) for held in (seeds, worse))
    said = f"Most seeds were counted by {dear}, {seeds[dear]:,.0f} a meter."
    if worse[wrong]:
        said += f" A meter ended worse than it began most often with {wrong}, {worse[wrong]:.1f} %."
    return said


def _naming(result: Habits, names: Sequence[str]) -> str:
    """Habits whose counts name the cause best, and habits that name it less often."""
    best = max(names, key=lambda name: result.mean("named", name).value)
    less = [name for name in names if result.lead("named", name, best).high < 0]
    tail = f"; less often by those of {', '.join(less)}" if less else ". No difference is detected"
    share = 100 * result.mean("named", best).value
    return f"The cause is named most often by the counts of {best}, {share:.1f} %{tail}."


def _faster(result: Habits, names: Sequence[str]) -> list[str]:
    """Cost of fewer looks than one notch at a time takes, and cases where others lead."""
    lines = []
    for name in names:
        looks = result.lead("looks", name, STEADY)
        if looks.high < 0:
            lead = points(result, "single", name, STEADY)
            lines.append(
                f"Faster than {STEADY}: {name}, with {-looks.value:.1f} looks fewer a meter and "
                f"{lead} percentage points of singulation."
            )
    for when, outcome in (("After the first move", "first_single"), ("At the end", "single")):
        ahead = [
            f"{name} from {off} off by {points(result, outcome, name, STEADY, off)} pp"
            for name in names
            for off in sorted(set(result.offsets.tolist()))
            if leads(result.lead(outcome, name, STEADY, off))
        ]
        lines.append(
            f"{when}, ahead of {STEADY}: {'; '.join(ahead) or 'no habit, from any start'}."
        )
    return lines


def leads(lead: Estimate) -> bool:
    """Whether a lead is detected and large enough to report."""
    return lead.low > 0 and lead.value >= LEAST_LEAD


def _leaving(result: Habits, names: Sequence[str]) -> list[str]:
    """Habits that did better than leaving alone a meter with the right notch."""
    if not (names and (result.offsets == 0).any()):
        return []
    lead = {name: result.lead("single", name, ALONE, 0) for name in names}
    won = [name for name, one in lead.items() if leads(one)]
    lost = [n for n, one in lead.items() if leads(Estimate(-one.value, -one.high, -one.low))]
    return [
        f"Meters with the right notch at the start: better than {ALONE}: "
        f"{', '.join(won) or 'no habit'}; worse: {', '.join(lost) or 'no habit'}."
    ]
