"""Texts of needed counts, ranges of a count, and lengths of row to dig or walk."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict

from metersim.files.units import UNITS
from metersim.measures.indices import BY_KEY
from metersim.measures.limits import cautions
from metersim.questions.howmany.standards import LEVEL, NEARLY, WORSE, Side, Standing, Stretch
from metersim.questions.howmany.study import COUNTED, HowMany, Needed
from metersim.questions.shared.answer import MOST_ROWS, Answer, capital, finite
from metersim.questions.shared.counts import KINDS, MOST_PRACTICAL, SAID
from metersim.questions.shared.looks import BELT, DISC, SENSOR, Look
from metersim.questions.shared.notes import IN_THE_ROW, PROVE, asked, heading_of
from metersim.questions.shared.words import block, plural, quantity, seeds_text
from metersim.run.records import provenance

OF_AREA = {"metric": "a thousandth of a hectare", "us": "a thousandth of an acre"}
OUT_OF = 100
AS_IT_IS = "as it is"
COUNTS_OF = {
    BELT: "seeds on a belt or in the row",
    SENSOR: "pulses of the sensor",
    DISC: "cells of a disc at rest",
}
NAMES = {
    "cells.skip": "skips",
    "cells.single": "singulation",
    "cells.double": "doubles",
    "cells.triple": "triples",
    "per_spacing.multiple": "close spacings",
    "per_spacing.quality": "normal spacings",
    "per_spacing.miss": "missed spacings",
}
"""Name of each measure that may have an acceptance limit."""
STOPPED_ROW = (
    "Dig or count only behind a machine at rest, lowered or blocked, with fan off and guards on; "
    "manual first."
)
SHARES_GIVEN = "these shares differ between machines, and the needed count differs with them"
PLACES = (
    "counts hold no positions of seeds: effects of speed or tube on positions need measured "
    "spacings ('metersim measured')"
)


def howmany_answer(result: HowMany, units: str = "metric", details: bool = False) -> str:
    """The answer on needed counts; with details the whole report."""
    scenario = result.origin.scenario
    first, table = (
        _of_difference(result) if len(result.states) == 2 else _of_limits(result.sides, result)
    )
    if len(result.states) == 2 and result.sides:
        first = [*first, *_of_limits(result.sides, result)[0]][:2]
    found = result.stretches[units]
    length = f"{OF_AREA[units]} is {length_text(found.length, units)} of one row".capitalize()
    if found.seeds:
        inside = f"{found.seeds.low} to {found.seeds.high} seeds in 95 of 100 such stretches"
        length = f"{length}: {inside}"
    _, settings, *_ = asked(scenario, units)
    every = f"one seed every {quantity('length', scenario.spacing, units)}"
    way = f"counts of {COUNTS_OF[result.way]}"
    return Answer(
        caution=STOPPED_ROW,
        first=[*first, f"{length}."],
        notes=[
            f"{capital(line)}." for line in (*cautions(scenario, units), *scenario.warnings(units))
        ],
        table=table,
        assumes="; ".join([every, settings, way, *(one.text(units) for one in scenario.unknown)]),
        details=howmany_text(result, units).splitlines(),
    ).text(details)


def _cases(result: HowMany) -> str:
    """Chance of detection and of a false alarm, in words."""
    found, alarms = (round(OUT_OF * chance, 2) for chance in (result.power, 1 - result.certainty))
    return f"{found:g} of {OUT_OF} cases, with {alarms:g} false alarms in {OUT_OF}"


def _of_difference(result: HowMany) -> tuple[list[str], list[tuple[str, ...]]]:
    """First sentences and table on two states."""
    here, there = result.states
    kind = result.soonest
    needed = result.needed(kind).seeds
    first = [f"No practical count distinguishes these two: {here.label}, {there.label}."]
    if needed <= MOST_PRACTICAL:
        many = seeds_text(needed)
        number = many.removesuffix(" seeds")
        after = "before and {} after" if here.label == AS_IT_IS else f"at {here.label} and {{}} at "
        after = after.format(number) + ("" if here.label == AS_IT_IS else there.label)
        change = "the difference" if here.label != AS_IT_IS else f"the step '{there.label}'"
        first = [
            f"Count {many} {after}. Compare {SAID.get(kind, f'the {kind}')}.",
            f"Then {change} is detected in {_cases(result)}.",
        ]
    heads = ("cells", here.label, there.label, "needed in each count", _range_head(result))
    rows = [
        (
            SAID.get(name, name),
            *(_percent(state.shares[name].value) for state in result.states),
            seeds_text(result.needed(name).seeds),
            _range_text(result, name),
        )
        for name in KINDS
    ]
    return first, [heads, *rows]


def _range_head(result: HowMany) -> str:
    sure = round(OUT_OF * result.certainty, 2)
    return f"counted in {result.seeds:,} seeds ({sure:g} of {OUT_OF} counts)"


def _range_text(result: HowMany, kind: str) -> str:
    if kind not in COUNTED:
        return "-"
    found = result.range_of(kind)
    return f"{found.low} to {found.high}"


def _of_limits(sides: Sequence[Side], result: HowMany) -> tuple[list[str], list[tuple[str, ...]]]:
    """First sentences and table on acceptance limits."""
    met = sum(side.kept for side in sides)
    most = max(result.to_show(side).seeds for side in sides)
    limits = f"{met} of {len(sides)} acceptance limits" if len(sides) > 1 else "the limit"
    verb = "meets" if met or len(sides) > 1 else "does not meet"
    each = "each limit" if len(sides) > 1 else "the limit"
    first = [f"By simulation this meter {verb} {limits}."]
    if most <= MOST_PRACTICAL:
        power = round(OUT_OF * result.power, 2)
        first.append(
            f"Count {seeds_text(most)}. In {power:g} of {OUT_OF} cases the count then detects "
            f"whether the meter meets {each}."
        )
    else:
        first.append(f"No practical count detects whether the meter meets {each}.")
    heads = (
        "acceptance limit",
        "expected",
        "meets it",
        "seeds needed",
        "accepted with twice too many",
    )
    rows = [
        (
            f"{NAMES[side.limit.key]} {_at(side)} {_percent(side.limit.value)}",
            _percent(side.share.value),
            "yes" if side.kept else "no",
            seeds_text(result.to_show(side).seeds),
            f"{round(OUT_OF * side.passes(_counted(result, side), 2.0))} of {OUT_OF} counts of "
            f"{result.seeds:,}",
        )
        for side in sides[:MOST_ROWS]
    ]
    return first, [heads, *rows]


def _counted(result: HowMany, side: Side) -> float:
    """Spacings or cells in the requested count."""
    return result.seeds if side.limit.key.startswith("per_spacing") else result.cells


def howmany_json(result: HowMany) -> str:
    """JSON of needed counts, ranges and stretches of row, in SI."""
    made = {
        "provenance": provenance(result.origin),
        "states": [state.label for state in result.states],
        "certainty": result.certainty,
        "power": result.power,
        "counted_by": result.way,
        "counted_seeds": result.seeds,
        "counted_cells": result.cells,
        "kinds": [*map(finite, result.rows())],
        "limits": [
            finite(
                {
                    "limit": str(side.limit),
                    "share": side.share.value,
                    "effect": side.share.effect,
                    "meets": side.kept,
                    "needed": result.to_show(side).seeds,
                    "needed_plain": result.to_show(side).independent,
                }
            )
            for side in result.sides
        ],
        "stretches": {
            "thousandth_of_hectare" if family == "metric" else "thousandth_of_acre": asdict(found)
            for family, found in result.stretches.items()
        },
    }
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


def howmany_text(result: HowMany, units: str = "metric") -> str:
    """Whole report of the needed counts."""
    scenario = result.origin.scenario
    lines = [heading_of(result.origin), "", *block("Asked", asked(scenario, units)), ""]
    lines += [*block("Certainty", _certainty(result)), ""]
    if len(result.states) == 2:
        lines += [*block("Difference", _difference_lines(result)), ""]
    if result.sides:
        lines += [*block("Accept", _limits(result)), ""]
    lines += [*block("A count", _count(result)), ""]
    lines += [*block("Row", _row(result, units)), ""]
    if found := [*cautions(scenario, units), *scenario.warnings(units)]:
        lines += [*block("Note", found), ""]
    lines += block("Caution", [IN_THE_ROW])
    lines.append(PROVE)
    return "\n".join(lines)


def _certainty(result: HowMany) -> list[str]:
    way = COUNTS_OF[result.way]
    cells = result.states[0].seeds.size
    return [
        f"a difference is detected in {_cases(result)}",
        f"counts of {way}, from {cells:,} simulated cells",
        SHARES_GIVEN,
    ]


def _difference_lines(result: HowMany) -> list[str]:
    """Lines on the kinds of cells that distinguish two states, and the seeds needed."""
    here, there = result.states
    lines = [f"{here.label}, and {there.label}:"]
    for kind in KINDS:
        a, b = here.shares[kind], there.shares[kind]
        needed = result.needed(kind)
        shares = f"{_percent(a.value)} and {_percent(b.value)}"
        words = (
            f"{SAID.get(kind, kind):11} {shares:21} {seeds_text(needed.seeds):>22} in each count"
        )
        lines.append(f"{words}   plain binomial: {seeds_text(needed.independent)}")
    kind = result.soonest
    needed = result.needed(kind)
    if needed.seeds > MOST_PRACTICAL:
        return [*lines, "no practical count distinguishes them", PLACES]
    lines.append(
        f"so count {seeds_text(needed.seeds)} as it is, and as many after. Compare "
        f"{SAID.get(kind, kind)}{dependence(needed)}"
    )
    missed = round(OUT_OF * result.undetected(kind))
    lines.append(
        f"counts of {result.seeds:,} seeds do not detect the difference in {missed} of {OUT_OF} "
        "cases"
    )
    return [*lines, PLACES]


def dependence(needed: Needed) -> str:
    """Effect of the dependence of cells on the needed count, in words."""
    ratio = needed.seeds / needed.independent
    if 0.8 < ratio < 1.25:
        return "; cells hardly depend on one another here"
    if ratio > 1:
        return (
            f"; {ratio:.1f} times the seeds for independent cells, as neighbouring cells are alike"
        )
    return f"; {ratio:.1f} times the seeds for independent cells, as neighbouring cells differ"


def _limits(result: HowMany) -> list[str]:
    """Lines on the side of each limit, the seeds needed, and the risk of a wrong verdict."""
    lines = []
    for side in result.sides:
        needed = result.to_show(side)
        kept = "meets" if side.kept else "does not meet"
        known = f"with {_percent(side.share.value)} this meter {kept} it"
        plain = f"plain binomial: {seeds_text(needed.independent)}"
        lines.append(f"{_limit(side)}: {known}; {_shown(needed.seeds)} ({plain})")
        lines.append(_misled(result, side))
    if all(side.kept for side in result.sides) and len(result.sides) > 1:
        most = max(result.to_show(side).seeds for side in result.sides)
        lines.append(
            f"each limit by itself: {_shown(most)}; all limits together: detected in fewer cases"
        )
    return lines


def _shown(seeds: float) -> str:
    """Number of seeds in a count, in words."""
    if seeds > MOST_PRACTICAL:
        return f"a count of {MOST_PRACTICAL:,} seeds does not detect that"
    return f"a count of {seeds_text(seeds)} detects that"


def _limit(side: Side) -> str:
    """A limit in words."""
    key = side.limit.key
    name = {"cells": "cells, ", "per_spacing": ""}[key.partition(".")[0]]
    meaning = BY_KEY[key].meaning.rpartition(", ")[2]
    return f"{name}{meaning} {_at(side)} {_percent(side.limit.value)}"


def _at(side: Side) -> str:
    return "at least" if side.limit.sign == ">=" else "at most"


def _misled(result: HowMany, side: Side) -> str:
    """Chance that a count meets a limit although the meter does not, in words."""
    counted = _counted(result, side)
    chances = (
        f"{round(OUT_OF * side.passes(counted, worse))} with {worse:g} times" for worse in WORSE
    )
    return (
        f"  accepted by error, of {OUT_OF} counts of {result.seeds:,} on a meter that is not in "
        f"order: {', '.join(chances)} the allowed number"
    )


def _count(result: HowMany) -> list[str]:
    """Lines on the range and the conclusions of the requested count."""
    sure = round(OUT_OF * result.certainty)
    lines = [f"{result.seeds:,} seeds, {round(result.cells):,} cells, of the meter as it is:"]
    for kind in COUNTED:
        share, found = result.states[0].shares[kind], result.range_of(kind)
        met = round(found.expected)
        lines.append(
            f"{kind}: {found.low} to {found.high} in {sure} of {OUT_OF} counts (true share "
            f"{_percent(share.value)}); {met} {plural(met, kind[:-1])} counted: a true share of "
            f"{_percent(found.share_low)} to {_percent(found.share_high)}"
        )
        change = _visible(found.below, found.above)
        lines.append(f"  two such counts detect a change to {change}")
    return lines


def _visible(below: float, above: float) -> str:
    """The nearest shares that are distinguished from the true share, in words."""
    ends = []
    if not math.isnan(above):
        ends.append(f"{_percent(above)} or more")
    ends.append("to no lower share" if math.isnan(below) else f"to {_percent(below)} or less")
    return ", and ".join(ends).removeprefix("to ")


def seen_lines(result: HowMany, look: Look) -> list[str]:
    """Lines that compare a count with the range of random counts."""
    lines = []
    for kind, met in zip(COUNTED, (look.skips, look.doubles or 0), strict=True):
        found = result.range_of(kind)
        where = "within sampling error"
        if not found.low <= met <= found.high:
            where = f"{'fewer' if met < found.low else 'more'} than sampling error explains"
        said = f"{met} {plural(met, kind[:-1])}: {where}"
        lines.append(f"{said} ({found.low} to {found.high} expected with this scenario)")
    return lines


def _row(result: HowMany, units: str) -> list[str]:
    """Lines on row lengths of a thousandth of a hectare or acre, and numbers there."""
    stretch = result.stretches[units]
    said = f"{OF_AREA[units]} is {length_text(stretch.length, units)} of one row"
    return [said, *_standing(result, stretch)]


def _standing(result: HowMany, stretch: Stretch) -> list[str]:
    lines = [f"  seeds: {stretch.asked:.1f} asked for; {_numbers(stretch.seeds)}"]
    scenario = result.origin.scenario
    if not scenario.in_field:
        lines.append("  plants: none on a bench; ask with a scenario of a field")
    else:
        up = f"{_percent(scenario.stand.emergence)} come up"
        lines.append(f"  plants, when {up}: {_numbers(stretch.plants)}")
    return lines


def _numbers(found: Standing | None) -> str:
    """Expected number in a stretch, its range, and the needed repetitions, in words."""
    if found is None:
        return "the run is too short"
    sure = round(OUT_OF * LEVEL)
    repeats = found.repeats()
    many = "one such stretch" if repeats == 1 else f"the mean of {repeats} such stretches"
    return (
        f"{found.mean:.1f} expected, {found.low} to {found.high} in {sure} of {OUT_OF} stretches "
        f"by sampling error; {many} gives it to {_percent(NEARLY)}"
    )


def length_text(length: float, units: str) -> str:
    """A length along a row: in metres, or in feet and whole inches."""
    if units == "metric":
        return f"{length:.2f} m"
    inches = round(UNITS["in"].from_si(length))
    return f"{inches // 12} ft {inches % 12} in"


def _percent(share: float) -> str:
    """A share in percent, with no more digits than it needs."""
    value = 100 * share
    digits = 2 if value < 10 else 1
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") + " %"
