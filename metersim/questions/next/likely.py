"""Text of what is likely off with a meter, the evidence, and what to look at."""

from __future__ import annotations

from metersim.machine.scenario import Scenario
from metersim.questions.next.clues import TELLS, Clue, clues
from metersim.questions.next.diagnosis import CAUSES, Seen, Side
from metersim.questions.next.study import BRUSH, SAME, NextMove
from metersim.questions.next.target import KINDS
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import SENSOR
from metersim.questions.shared.settings import SETTINGS
from metersim.questions.shared.words import block, notch_text, quantity

FEW = 0.001

OFF = {  # by how much it is off, in words
    one.name: f"{one.sd:g} notch or more" if one.how == "notches" else f"{100 * one.sd:g} % or more"
    for one in HIDDEN.values()
    if one.name in CAUSES
}
TELL = {  # what to look at, to know a cause
    "seed size": "measure the width of twenty seeds, and hold it against the lot's",
    "vacuum": "hold a gauge to a hole, with all other holes covered, and against the usual gauge",
    "singulator": "measure from the holes' path to the edge, with the singulator at its centre",
    "pool": "look at the level of the pool while the meter turns",
    "sensor": "look at the disc at rest, or count on a belt, beside the sensor's count",
}
TOGETHER = 0.4  # correlation from which two causes are not told apart
WORTH = 0.0005  # expected gain by knowing a cause that is worth a line
MANY = 100  # times likelier that are not told more finely


def causes_lines(found: NextMove, units: str) -> list[str]:
    """What may be off, before and after, with what speaks for and against."""
    told = found.diagnosis
    rows = sorted(told.sides, key=lambda side: -told.after(side) / max(told.before(side), 0.01))
    head = "what is likely off, in 100 such meters"
    lines = [f"{'Off':11}{head:88}{'before':>8}{'after':>7}"]
    for side in rows:
        words = f"{side.words}, by {OFF[side.name]}"
        before, after = round(100 * told.before(side)), round(100 * told.after(side))
        lines.append(f"{'':11}{words:88}{before:>8}{after:>7}")
        lines += block("", [f"  {line}" for line in _evidence(found, side, units)])
    return lines


def _evidence(found: NextMove, side: Side, units: str) -> list[str]:
    """What speaks most for it in the counts, and what most against."""
    made = clues(found.diagnosis, side)
    parts = []
    for head, some in (
        ("for", [clue for clue in made if clue.factor >= TELLS]),
        ("against", [clue for clue in made if clue.factor <= 1 / TELLS]),
    ):
        if some:
            parts.append(f"{head}: {_clue(found, some[0], units)}")
    return ["; ".join(parts)] if parts else []


def _clue(found: NextMove, clue: Clue, units: str) -> str:
    seen = found.diagnosis.seen
    where = f"{_where(found.scenario, seen[clue.look], units)}, " if len(seen) > 1 else ""
    times = max(clue.factor, 1 / clue.factor)
    often = f"{times:.0f}" if times < MANY else f"over {MANY}"
    so = "likelier" if clue.factor > 1 else "less likely"
    parts = zip(clue.shares, clue.kinds, strict=True)
    what = " with ".join(f"{percent_text(share)} {KINDS[kind]}" for share, kind in parts)
    return f"{where}{what} ({often} times {so})"


def _where(now: Scenario, seen: Seen, units: str) -> str:
    """Which count, by how it was taken and what was set otherwise."""
    others = []
    for setting in SETTINGS.values():
        value = setting.of(seen.meter)
        if value == setting.of(now):
            continue
        if setting.name == "notch":
            others.append(f"at {notch_text(value)}")
        elif setting.name == "vacuum":
            others.append(f"at {quantity('pressure', value, units)}")
        else:
            others.append(f"with another {setting.name}")
    return ("sensor" if seen.look.way == SENSOR else seen.look.way) + (
        f" {' and '.join(others)}" if others else " now"
    )


def looks_lines(found: NextMove) -> list[str]:
    """What the counts cannot tell apart, and what to look at next."""
    told = found.diagnosis
    lines: list[str] = []
    if found.kind == BRUSH:
        return [TELL["sensor"]]
    if found.kind == SAME:
        return ["nothing, as long as the count is as wanted"]
    for k, one in enumerate(told.names):
        for j, other in enumerate(told.names[:k]):
            if abs(told.correlations[k, j]) >= TOGETHER:
                lines.append(
                    f"the counts cannot tell {HIDDEN[other].name} from {HIDDEN[one].name}: either "
                    "explains them"
                )
    worths = sorted(found.worths, key=lambda name: -found.worths[name])
    best = worths[0]
    if found.worths[best] >= WORTH:
        lines.append(
            f"{TELL[best]}: knowing it is expected to bring "
            f"{100 * found.worths[best]:.2f} points more"
        )
        return lines
    unsure = [name for name in told.names if _unsure(found, name)]
    if unsure:
        best = max(unsure, key=lambda name: _change(found, name))
        lines.append(f"{TELL[best]}: that tells why; the move stays")
    else:
        lines.append("nothing: no single look is expected to change what to do")
    return lines


def _unsure(found: NextMove, name: str) -> bool:
    """Whether a cause goes with another, so that a look at it tells them apart."""
    at = found.diagnosis.names.index(name)
    others = [abs(r) for k, r in enumerate(found.diagnosis.correlations[at]) if k != at]
    return bool(max(others) >= TOGETHER)


def _change(found: NextMove, name: str) -> float:
    told = found.diagnosis
    return sum(abs(told.after(s) - told.before(s)) for s in told.sides if s.name == name)


def percent_text(share: float) -> str:
    """A share in percent: tenths, and hundredths below one."""
    return f"{100 * share:.{1 if share >= 0.01 else 2}f} %"


def of_100(chance: float) -> str:
    """A chance as so many of a hundred."""
    if 0 < chance < FEW:
        return "fewer than 1 of 1,000"
    if 0 < chance < 10 * FEW:
        return f"{1000 * chance:.0f} of 1,000"
    return f"{100 * chance:.0f} of 100"
