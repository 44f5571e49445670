"""Text of a next move: counts, likely faults, the move, and the other moves."""

from __future__ import annotations

from collections.abc import Sequence

from metersim import __version__
from metersim.machine.sources import GATE, HOLES, NO_SOURCE, TOO_FAR
from metersim.questions.next.diagnosis import Side
from metersim.questions.next.gain import LEVEL, SURE, Gain
from metersim.questions.next.likely import (
    FEW,
    LEAST_VALUE,
    causes_lines,
    looks_lines,
    of_100,
    percent_text,
)
from metersim.questions.next.study import (
    BRUSH,
    LEAST,
    MEND,
    NO_GAIN,
    SAME,
    STRANGE,
    SURE_ENOUGH,
    NextMove,
    missed_share,
)
from metersim.questions.next.target import KINDS, Compared, Notches
from metersim.questions.shared.looks import DISC, SENSOR, WAYS
from metersim.questions.shared.notes import AT_A_METER, PROVE, WITH_THE_FAN, asked
from metersim.questions.shared.settings import Steps
from metersim.questions.shared.words import block, plural, quantity

HOW = {  # words for each way of looking
    WAYS[0]: "seen on a belt or in the row",
    SENSOR: "counted by the sensor",
    DISC: "of the disc at rest",
}
ALSO = 0.5  # chance of a fault of the singulator above which a second notch mentions it
THIN = 20.0  # effective states below which numbers are rough


def next_text(found: NextMove, units: str = "metric", notes: Sequence[str] = ()) -> str:
    """Report of a next move, with notes on the counts."""
    scenario = found.scenario
    version = f"metersim {__version__}"
    changes = "".join(f"{change}, " for change in scenario.changes)
    lines = [f"{scenario.title} ({scenario.name}, {changes}{version}): the next move", ""]
    said = asked(scenario, units)
    lines += block("Set", [said[1], *said[3:]])
    lines += block("Counted", [*counted_text(found), *notes])
    caution = WITH_THE_FAN if found.kind == SAME else AT_A_METER
    lines += ["", *block("Caution", [caution]), *block("Do next", _move(found)), ""]
    if found.notches and found.notches.second:
        lines += [*block("Notch", _second(found, found.notches, units)), ""]
    lines += [*block("Practice", _practice(found)), ""]
    if found.kind != STRANGE:  # other parts need states that explain the counts
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
            f"wanted {percent_text(getattr(one.wanted, kind))})"
            for kind, many in one.counted.items()
        ]
        cells = plural(one.look.cells, "cell")
        lines.append(f"{one.look.cells:,} {cells} {HOW[one.look.way]}: " + ", ".join(shares))
        lines += [_comparison(one, kind) for kind in one.counted]
    before = sum(one.meter != found.scenario for one in found.diagnosis.seen)
    if before:
        lines.append(f"{before} earlier {plural(before, 'count')} at other settings, weighed too")
    if found.left_out:
        lines.append(f"{found.left_out} older {plural(found.left_out, 'count')} left out")
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
    if found.kind == BRUSH:
        share = missed_share(found.targets, found.diagnosis)
        return [
            found.words,
            f"some {100 * share:.0f} in 100 of the skips too many are likely seeds that it missed: "
            "they are in the row, and no setting brings them into the count",
        ]
    if found.kind == STRANGE:
        return _strange(found)
    best = found.chosen
    if best is not None:
        lines = [f"{best.move.words}: {_gain(best)}", _meaning(best)]
        if not found.differs:
            lines.append(
                "a meter in order may have this count, but the settings themselves fall short"
            )
        return lines + _thin(found)
    lines = [found.words]
    if found.kind == SAME:
        lines[0] += ": chance alone explains the count"
    elif found.gains:
        lines[0] += ": the count differs, but no single step surely improves it"
        lines.append(f"the best of them, {found.gains[0].move.words}: {_gain(found.gains[0])}")
        lines.append(
            f"a move must bring {100 * LEAST:g} percentage points more than the simulation's noise"
        )
    return [*lines, _count_more(found)]


def _thin(found: NextMove) -> list[str]:
    """A warning where few states explain the counts."""
    many = found.diagnosis.effective
    if many >= THIN:
        return []
    return [f"only some {many:.0f} of the meters tried explain the counts: the numbers are rough"]


def _strange(found: NextMove) -> list[str]:
    """Lines on counts that no likely meter shows, and on the remedy."""
    diagnosis = found.diagnosis
    made = []
    for one in found.strange[:2]:
        far = "or fewer" if one.share < one.expected else "or more"
        where = (
            "" if len(diagnosis.seen) == 1 else f"count {one.look + 1} of {len(diagnosis.seen)}: "
        )
        made.append(
            f"{where}hardly any meter at its settings has {percent_text(one.share)} "
            f"{KINDS[one.kind]} {far} (those that fit best: {percent_text(one.expected)})"
        )
    check = "check that lot, disc and settings are those of this meter, and count again"
    if any(one.kind == "skip" and one.share > one.expected for one in found.strange):
        check = f"check that seed and vacuum reach every hole; {check}"
    return [found.words, *made, check]


def _count_more(found: NextMove) -> str:
    """Number of further cells that would make the advice clear, in words."""
    if found.more is not None:
        if found.kind == SAME:
            return (
                f"count some {found.more:,} cells more: such shares are then detected as too many"
            )
        sure = round(100 * SURE_ENOUGH)
        return (
            f"some {found.more:,} cells more would bring its chance of making things worse to "
            f"about {sure} in 100"
        )
    if found.kind == NO_GAIN:
        return "a longer count is unlikely to change this: look further, as below"
    return "nothing lies above what is wanted far enough to count for; count again after a change"


def _gain(gain: Gain) -> str:
    low, high = gain.interval
    return (
        f"{_points(gain.value)} percentage points of singulation "
        f"({_points(low)} to {_points(high)}), worse in {of_100(gain.worse)}"
    )


def _meaning(gain: Gain) -> str:
    return (
        f"in brackets, {100 * LEVEL:.0f} of 100 likely meters; the mean is known to "
        f"{100 * gain.noise:.2f} percentage points; move this alone, and count again"
    )


def _practice(found: NextMove) -> list[str]:
    """Lines with the rule of the trade, and whether the simulation agrees."""
    steps = found.chosen.move.steps if found.chosen else {}
    same = dict(steps) == dict(found.rule.steps) and found.kind not in (BRUSH, MEND)
    if found.kind == NO_GAIN and not found.rule.steps:
        same = True
    said = "the simulation agrees" if same else _instead(found)
    lines = [f"{found.rule.words} (common practice, no source):", said]
    if _touches(found, "pool", "gate"):
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
    gain = _gain_of(found, found.rule.steps)
    if gain is None:
        return "the simulation disagrees"
    best = found.chosen
    if best is not None and gain.value >= best.value - SURE * (best.noise + gain.noise):
        return f"the simulation finds it as good: {_short(gain)}"
    return f"the simulation disagrees: it brings {_short(gain)}"


def _gain_of(found: NextMove, steps: Steps) -> Gain | None:
    wanted = [gain for gain in found.gains if steps and dict(gain.move.steps) == dict(steps)]
    return next(iter(wanted), None)


def _touches(found: NextMove, *names: str) -> bool:
    if found.chosen is None:
        return False
    return found.chosen.move.mends in names or any(n in found.chosen.move.steps for n in names)


def _others(found: NextMove) -> list[str]:
    """Lines with the gains of the other moves."""
    others = [gain for gain in found.gains if gain is not found.chosen]
    up = [gain for gain in others if gain.value >= LEAST_VALUE]
    idle = [gain for gain in others if abs(gain.value) < LEAST_VALUE]
    down = [gain for gain in others if gain.value <= -LEAST_VALUE]
    lines = [f"{gain.move.words}: {_short(gain)}" for gain in up]
    for head, some in (("no gain", idle), ("worse", down)):
        if some:
            named = [f"{gain.move.words} ({_points(gain.value)})" for gain in some]
            lines.append(f"{head}: {', '.join(named)}")
    lines += [
        f"not requested, with --also {next(iter(gain.move.steps))}: {gain.move.words}, "
        f"{_short(gain)}"
        for gain in found.parts
    ]
    return lines


def _short(gain: Gain) -> str:
    return f"{_points(gain.value)} pp, worse in {of_100(gain.worse)}"


def _points(share: float) -> str:
    return f"{100 * share:+.2f}"


def _second(found: NextMove, answer: Notches, units: str) -> list[str]:
    """Lines on a second notch, and on the hole compared with the seed."""
    middle, low, high = answer.width
    width = found.scenario.seeds.width
    lines = [
        f"the best notch would be {answer.best:+g}, more than one from the centre: hole size "
        f"against seed size is the thing to check ({NO_SOURCE})",
        f"holes of {quantity('small', answer.hole, units)} are {answer.hole / width:.2f} of the "
        f"seed's width as it is set, {quantity('small', width, units)}; of the seed as it probably "
        f"is, {quantity('small', middle, units)} ({quantity('small', low, units)} to "
        f"{quantity('small', high, units)}), they are {answer.hole / middle:.2f} "
        f"({answer.hole / high:.2f} to {answer.hole / low:.2f})",
    ]
    side = Side("singulator", -1 if answer.best > 0 else 1)
    if found.diagnosis.after(side) >= ALSO:
        lines.append(
            f"in {of_100(found.diagnosis.after(side))} such meters the singulator is off as well: "
            "measure it before you take another disc"
        )
    if answer.better_hole:
        lines.append(
            f"a disc with holes of {quantity('small', answer.better_hole, units)}, "
            f"{answer.better_hole / middle:.2f} of that width, brings the best notch back within "
            f"one of the centre (handbooks: {HOLES}, from memory)"
        )
    else:
        lines.append(
            f"no hole of {HOLES} of that width (handbooks, from memory) "
            "brings it back: check the singulator and its scale"
        )
    return lines
