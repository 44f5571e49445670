"""Text of needed counts, ranges of a count, and lengths of row to dig or walk."""

from __future__ import annotations

import math

from metersim.files.units import UNITS
from metersim.measures.indices import BY_KEY
from metersim.measures.limits import cautions
from metersim.questions.howmany.standards import LEVEL, NEARLY, WORSE, Side, Standing, Stretch
from metersim.questions.howmany.study import COUNTED, HowMany, Needed
from metersim.questions.shared.counts import KINDS, MOST_PRACTICAL
from metersim.questions.shared.looks import SENSOR, Look
from metersim.questions.shared.notes import IN_THE_ROW, PROVE, asked, heading_of
from metersim.questions.shared.words import block, plural, seeds_text

OF_AREA = {"metric": "a thousandth of a hectare", "us": "a thousandth of an acre"}
OUT_OF = 100
SHARES_GIVEN = (
    "machines differ in these shares: it changes which count is needed, not what a count of given "
    "shares detects"
)
PLACES = (
    "counts tell of cells, not of where seeds lie: what moves them along the row, such as speed or "
    "the tube, shows in measured spacings ('metersim measured')"
)


def howmany_text(result: HowMany, units: str = "metric") -> str:
    """Report of the needed counts."""
    scenario = result.origin.scenario
    lines = [heading_of(result.origin), "", *block("Asked", asked(scenario, units)), ""]
    lines += [*block("Certainty", _certainty(result)), ""]
    if len(result.states) == 2:
        lines += [*block("Tell apart", _difference_lines(result)), ""]
    if result.sides:
        lines += [*block("Limit", _limits(result)), ""]
    lines += [*block("A count", _count(result)), ""]
    lines += [*block("Row", _row(result, units)), ""]
    if found := [*cautions(scenario, units), *scenario.warnings]:
        lines += [*block("Note", found), ""]
    lines += block("Caution", [IN_THE_ROW])
    lines.append(PROVE)
    return "\n".join(lines)


def _certainty(result: HowMany) -> list[str]:
    way = "pulses of the sensor" if result.way == SENSOR else "seeds on a belt or in the row"
    cells = result.states[0].seeds.size
    return [
        f"where nothing differs, {round(OUT_OF * (1 - result.certainty), 1):g} of {OUT_OF} counts "
        f"say that something does; what differs is found by {round(OUT_OF * result.power, 1):g} of "
        f"{OUT_OF}; counts of {way}, as {cells:,} simulated cells show them",
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
        words = f"{kind:8} {shares:21} {seeds_text(needed.seeds):>22} in each count"
        lines.append(f"{words}   plain binomial: {seeds_text(needed.independent)}")
    kind = result.soonest
    needed = result.needed(kind)
    if needed.seeds > MOST_PRACTICAL:
        return [*lines, "no count that anybody makes tells them apart", PLACES]
    lines.append(
        f"so count {seeds_text(needed.seeds)} as it is, and as many after, and look at {kind}"
        + dependence(needed)
    )
    missed = round(OUT_OF * result.undetected(kind))
    lines.append(
        f"with counts of {result.seeds:,} seeds, {missed} of {OUT_OF} times the other would be "
        "taken for no different"
    )
    return [*lines, PLACES]


def dependence(needed: Needed) -> str:
    """Effect of the dependence of cells on the needed count, in words."""
    ratio = needed.seeds / needed.independent
    if 0.8 < ratio < 1.25:
        return "; cells hardly depend on one another here"
    if ratio > 1:
        return f"; {ratio:.1f} times what independent cells would take, as they go together"
    return f"; {ratio:.1f} times what independent cells would take, as they keep apart"


def _limits(result: HowMany) -> list[str]:
    """Lines on the side of each limit, the seeds needed, and the risk of a wrong verdict."""
    lines = []
    for side in result.sides:
        needed = result.to_show(side)
        kept = "keeps to" if side.kept else "does not keep to"
        known = f"with {_percent(side.share.value)} this meter {kept} it"
        plain = f"plain binomial: {seeds_text(needed.independent)}"
        lines.append(f"{_limit(side)}: {known}; {_shown(needed.seeds)} ({plain})")
        lines.append(_misled(result, side))
    if all(side.kept for side in result.sides) and len(result.sides) > 1:
        most = max(result.to_show(side).seeds for side in result.sides)
        lines.append(f"that it keeps to each of them: {_shown(most)}; to all at once, less often")
    return lines


def _shown(seeds: float) -> str:
    """Number of seeds in a count, in words."""
    if seeds > MOST_PRACTICAL:
        return f"no count of {MOST_PRACTICAL:,} seeds shows that"
    return f"a count of {seeds_text(seeds)} shows that"


def _limit(side: Side) -> str:
    """A limit in words."""
    key, sign = side.limit.key, "at least" if side.limit.sign == ">=" else "at most"
    name = {"cells": "cells, ", "per_spacing": ""}[key.partition(".")[0]]
    meaning = BY_KEY[key].meaning.rpartition(", ")[2]
    return f"{name}{meaning} {sign} {_percent(side.limit.value)}"


def _misled(result: HowMany, side: Side) -> str:
    """Chance that a count keeps to a limit although the meter does not, in words."""
    counted = result.seeds if side.limit.key.startswith("per_spacing") else result.cells
    chances = (
        f"{round(OUT_OF * side.passes(counted, worse))} with {worse:g} times" for worse in WORSE
    )
    return (
        f"  a meter that is not in order keeps to it in so many of {OUT_OF} counts of "
        f"{result.seeds:,}: {', '.join(chances)} what is allowed"
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
        lines.append(f"  between two such counts, a change shows when it leads to {change}")
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
        where = "as luck gives them"
        if not found.low <= met <= found.high:
            where = f"{'fewer' if met < found.low else 'more'} than luck alone gives"
        said = f"{met} {plural(met, kind[:-1])}: {where} with this scenario"
        lines.append(f"{said}, {found.low} to {found.high}")
    return lines


def _row(result: HowMany, units: str) -> list[str]:
    """Lines on row lengths of a thousandth of a hectare or acre, and numbers there."""
    lines = []
    for family in sorted(result.stretches, key=lambda family: family != units):
        stretch = result.stretches[family]
        lines.append(f"{OF_AREA[family]} is {length_text(stretch.length, units)} of one row")
        if family == units:
            lines += _standing(result, stretch)
    return lines


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
        return "no run is long enough to tell"
    sure = round(OUT_OF * LEVEL)
    repeats = found.repeats()
    many = "one such stretch" if repeats == 1 else f"the mean of {repeats} such stretches"
    return (
        f"{found.mean:.1f} expected, {found.low} to {found.high} in {sure} of {OUT_OF} stretches "
        f"by luck alone; {many} tells it to {_percent(NEARLY)}"
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
