"""Report of a next move: counts, likely faults, the move, and the other moves."""

from __future__ import annotations

from collections.abc import Sequence

from metersim import __version__
from metersim.files.units import hole_text
from metersim.machine.sources import GATE, HANDBOOK_HOLE, HOLES, NO_SOURCE, TOO_FAR
from metersim.questions.next.decide import (
    BRUSH,
    CHECK,
    EXCLUDED,
    FIRST,
    KEEP,
    MOVE,
    SAME,
    STRANGE,
    WORSE_MOST,
    chance_of_check,
    missed_share,
)
from metersim.questions.next.gain import LEAST, LEVEL, SURE, Gain
from metersim.questions.next.hypotheses import ELSE, FAULTS
from metersim.questions.next.likely import (
    FEW,
    causes_lines,
    looks_lines,
    of_100,
    percent_text,
    same_check,
)
from metersim.questions.next.study import NextMove
from metersim.questions.next.target import KINDS, Compared, Notches
from metersim.questions.shared.looks import BELT, DISC, SENSOR, SPACED
from metersim.questions.shared.notes import AT_A_METER, PROVE, WITH_THE_FAN, asked
from metersim.questions.shared.words import block, plural, quantity

HOW = {  # words for each way of looking
    BELT: "seen on a belt or in the row",
    SENSOR: "counted by the sensor as empty cells and cells with several pulses",
    SPACED: "counted by the sensor from the spacings that it measures",
    DISC: "of the disc at rest",
}
ALSO = 0.5  # chance of a fault of the singulator above which a second notch mentions it
THIN = 20.0  # effective meters below which numbers are rough
LEAST_VALUE = 0.0005  # least gain that is printed on a line of its own


def next_text(found: NextMove, units: str = "metric", notes: Sequence[str] = ()) -> str:
    """Report of a next move, with notes on the counts."""
    scenario = found.scenario
    version = f"metersim {__version__}"
    changes = "".join(f"{change}, " for change in scenario.changes)
    lines = [f"{scenario.title} ({scenario.name}, {changes}{version}): the next move", ""]
    said = asked(scenario, units)
    lines += block("Set", [said[1], *said[3:]])
    lines += block("Counted", [*counted_text(found), *notes])
    caution = WITH_THE_FAN if found.kind in (SAME, KEEP) else AT_A_METER
    lines += ["", *block("Caution", [caution]), *block("Do next", _move(found)), ""]
    if found.notches and found.notches.second:
        lines += [*block("Notch", _second(found, found.notches, units)), ""]
    lines += [*block("Practice", _practice(found)), ""]
    if found.kind != STRANGE:  # moves need meters that explain the counts
        lines += [*block("Others", _others(found)), ""]
    lines += [*causes_lines(found, units), ""]
    lines += block("Look at", looks_lines(found))
    lines.append(PROVE)
    return "\n".join(lines)


def counted_text(found: NextMove) -> list[str]:
    """Lines with counts and wanted shares."""
    lines = []
    for one in found.targets:
        shares = [
            f"{many:,} {plural(many, kind)} ({percent_text(many / one.look.cells)}, "
            f"wanted {percent_text(one.usual(kind))})"
            for kind, many in one.counted.items()
        ]
        cells = plural(one.look.cells, "cell")
        lines.append(f"{one.look.cells:,} {cells} {HOW[one.way]}: " + ", ".join(shares))
        lines += [_comparison(one, kind) for kind in one.counted]
    before = sum(one.meter != found.scenario for one in found.diagnosis.seen)
    if before:
        lines.append(f"{before} earlier {plural(before, 'count')} at other settings, weighed too")
    if found.left_out:
        many = f"{found.left_out} {plural(found.left_out, 'count')}"
        lines.append(f"{many} left out: made with other parts, or too long ago")
    used = found.diagnosis.used
    if used:
        lines.append(f"seed used on the known area: {100 * used.ratio:.1f} % of what the rate asks")
        if found.diagnosis.lens_contradicted:
            lines.append("the seed used is far less likely with a dirty lens than without")
    return lines


def _comparison(one: Compared, kind: str) -> str:
    """Line on whether the excess of a kind of cell is detected."""
    chance = one.chance(kind)
    differs = kind in one.differing
    said = "too many" if differs else "not too many"
    often = of_100(max(chance, FEW / 10))
    return f"a meter in order has as many {KINDS[kind]}, or more, in {often} counts: {said}"


def _move(found: NextMove) -> list[str]:
    """Lines with the move, or with the reason for none."""
    best = found.chosen
    if found.kind == MOVE and best:
        lines = [f"{best.move.words}: {_gain(best)}", _meaning(best)]
        if found.advice.stands:
            lines.append(
                "earlier counts at these settings ask for it. Later counts alone do not exclude it "
                f"with {100 * EXCLUDED:.0f} %"
            )
        elif not found.differs:
            lines.append("a meter in order may have this count. Better settings exist")
        return lines + _thin(found)
    if found.kind == BRUSH:
        share = missed_share(found.targets, found.diagnosis)
        return [
            found.words,
            f"of 100 extra skips, some {100 * share:.0f} are likely seeds that the sensor missed. "
            "These seeds are in the row. No setting makes the sensor count them",
        ]
    if found.kind == CHECK:
        fault = found.advice.fault
        named = " or ".join(FAULTS[name].words for name in same_check(found, fault))
        chance = chance_of_check(found.diagnosis, fault)
        lines = [f"{found.words}: {named}, in {of_100(chance)} such meters"]
        if found.gains:
            best = max(found.gains, key=lambda gain: gain.sure)
            lines.append(f"the surest move, {best.move.words}: {_gain(best)}")
        lines.append(
            f"a move is advised only if it surely gains {100 * LEAST:g} percentage points and gets "
            f"worse in at most {100 * WORSE_MOST:.0f} of 100 such meters. A part comes first where "
            f"it is at fault in {100 * FIRST:.0f} of 100"
        )
        return lines + _thin(found)
    if found.kind == KEEP:
        return [
            f"{found.words}: earlier and later counts ask for different moves. The later counts "
            f"alone neither prove nor exclude one with {100 * EXCLUDED:.0f} %",
            *_count_more(found),
        ]
    if found.kind == STRANGE:
        return [
            found.words,
            f"no listed fault explains these counts in {of_100(found.diagnosis.after(ELSE))} such "
            "meters",
            "check that seed and vacuum reach every hole. Check that lot, disc and settings are "
            "those given. Look for two faults at once",
        ]
    return [f"{found.words}: a meter in order may have this count", *_count_more(found)]


def _thin(found: NextMove) -> list[str]:
    """A warning where few possible meters explain the counts."""
    many = found.diagnosis.effective
    if many >= THIN:
        return []
    return [f"the numbers are rough: only some {many:.0f} simulated meters explain the counts"]


def _count_more(found: NextMove) -> list[str]:
    """Number of further cells that would make the advice clear, in words."""
    if found.more is not None:
        return [f"count some {found.more:,} cells more: such shares are then detected as too many"]
    return ["no excess is large enough for a further count to detect; count again after a change"]


def _gain(gain: Gain) -> str:
    low, high = gain.interval
    return (
        f"{_pp(gain.value)} percentage points of singulation "
        f"({_pp(low)} to {_pp(high)}), worse in {of_100(gain.worse)}"
    )


def _meaning(gain: Gain) -> str:
    return (
        f"the interval in brackets holds {100 * LEVEL:.0f} of 100 likely meters. The standard "
        f"error of the mean is {100 * gain.noise:.2f} percentage points (likely meters, run before "
        f"and after). In {of_100(gain.other)} meters the fault may not be listed: half of these "
        "are taken to get worse. Move this setting alone, and count again"
    )


def _practice(found: NextMove) -> list[str]:
    """Lines with the rule of the trade, and whether the simulation agrees."""
    steps = found.chosen.move.steps if found.chosen else {}
    same = dict(steps) == dict(found.rule.steps) and found.kind not in (BRUSH, CHECK, STRANGE)
    said = "the simulation agrees" if same else _instead(found)
    lines = [f"{found.rule.words} (common practice, no source):", said]
    if found.chosen is not None and "gate" in found.chosen.move.steps:
        lines.append(f"{GATE} ({NO_SOURCE})")
    return lines


def _instead(found: NextMove) -> str:
    """Simulated gain of the rule of the trade where it differs from the advice."""
    if found.kind == STRANGE:
        return "the simulation cannot judge this"
    if found.rule.words == TOO_FAR:
        if found.notches and found.notches.second:
            return "the simulation agrees, and takes the notch until then"
        return "the simulation does not ask for it yet"
    wanted = dict(found.rule.steps)
    gain = next((one for one in found.gains if wanted and dict(one.move.steps) == wanted), None)
    if gain is None:
        return "the simulation disagrees"
    best = found.chosen
    if best is not None and gain.value >= best.value - SURE * (best.noise + gain.noise):
        return f"the simulation finds it as good: {_short(gain)}"
    return f"the simulation disagrees: it brings {_short(gain)}"


def _others(found: NextMove) -> list[str]:
    """Lines with the gains of the other moves."""
    others = [gain for gain in found.gains if gain is not found.chosen]
    up = [gain for gain in others if gain.value >= LEAST_VALUE]
    idle = [gain for gain in others if abs(gain.value) < LEAST_VALUE]
    down = [gain for gain in others if gain.value <= -LEAST_VALUE]
    lines = [f"{gain.move.words}: {_short(gain)}" for gain in up]
    for head, some in (("no gain", idle), ("worse", down)):
        if some:
            named = [f"{gain.move.words} ({_pp(gain.value)})" for gain in some]
            lines.append(f"{head}: {', '.join(named)}")
    for gain in found.parts:
        (part,) = [*gain.move.steps] or [""]
        head = f"another part (--also {part})" if part else "if this is the fault"
        lines.append(f"{head}: {gain.move.words}, {_short(gain)}")
    return lines


def _short(gain: Gain) -> str:
    return f"{_pp(gain.value)} pp, worse in {of_100(gain.worse)}"


def _pp(share: float) -> str:
    return f"{100 * share:+.2f}"


def _second(found: NextMove, answer: Notches, units: str) -> list[str]:
    """Lines on a second notch, and on the hole compared with the seed."""
    middle, low, high = answer.width
    width = found.scenario.seeds.width
    fits = HANDBOOK_HOLE[0] <= answer.hole / middle <= HANDBOOK_HOLE[1]
    lines = [
        f"the best notch would be {answer.best:+g}, more than one from the centre: hole size "
        f"against seed size is the thing to check ({NO_SOURCE})",
        f"holes of {hole_text(answer.hole, units)} are {answer.hole / width:.2f} of the "
        f"seed's width as it is set, {quantity('small', width, units)}; of the seed as it probably "
        f"is, {quantity('small', middle, units)} ({quantity('small', low, units)} to "
        f"{quantity('small', high, units)}), they are {answer.hole / middle:.2f} "
        f"({answer.hole / high:.2f} to {answer.hole / low:.2f})",
        f"handbooks take holes of {HOLES} of that width (from memory): "
        + (
            "these fit, so check the singulator and its scale"
            if fits
            else f"{hole_text(HANDBOOK_HOLE[0] * middle, units)} to "
            f"{hole_text(HANDBOOK_HOLE[1] * middle, units)}"
        ),
    ]
    name = "edge far" if answer.best > 0 else "edge near"
    chance = found.diagnosis.after(name)
    if chance >= ALSO:
        lines.append(
            f"in {of_100(chance)} such meters the singulator is off as well: measure it before you "
            "take another disc"
        )
    return lines
