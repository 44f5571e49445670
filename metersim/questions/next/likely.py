"""Text of likely faults of a meter, their evidence, and the next inspection."""

from __future__ import annotations

from metersim.machine.scenario import Scenario
from metersim.questions.next.clues import EVIDENCE_FACTOR, Clue, clues
from metersim.questions.next.diagnosis import CAUSES, Diagnosis, Seen, Side
from metersim.questions.next.study import BRUSH, SAME, NextMove
from metersim.questions.next.target import KINDS
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import SENSOR
from metersim.questions.shared.settings import SETTINGS
from metersim.questions.shared.words import block, notch_text, quantity

FEW = 0.001

OFF = {  # least size of a fault in words
    one.name: f"{one.sd:g} notch or more" if one.how == "notches" else f"{100 * one.sd:g} % or more"
    for one in HIDDEN.values()
    if one.name in CAUSES
}
INSPECTIONS = {  # inspection that identifies the state of a cause
    "seed size": "measure the width of twenty seeds, and compare it with the lot's",
    "vacuum": "measure the vacuum at a port, guards on, and compare it with the usual gauge",
    "singulator": "stop the meter, and measure from the holes to the edge at notch 0",
    "pool": "stop the meter, and measure the level of its pool",
    "sensor": "count on a belt, or on the disc at rest, and compare it with the sensor's count",
}
TOGETHER = 0.4  # correlation from which two causes cannot be distinguished
LEAST_VALUE = 0.0005  # least gain that is printed on a line of its own
MANY = 100  # ratio of likelihoods above which no number is printed


def causes_lines(found: NextMove, units: str) -> list[str]:
    """Lines on possible faults: chances before and after the counts, and evidence."""
    diagnosis = found.diagnosis
    rows = by_change(found)
    head = "what is likely off, in 100 such meters"
    lines = [f"{'Off':11}{head:88}{'before':>8}{'after':>7}"]
    for side in rows:
        words = f"{side.words}, by {OFF[side.name]}"
        before, after = round(100 * diagnosis.before(side)), round(100 * diagnosis.after(side))
        lines.append(f"{'':11}{words:88}{before:>8}{after:>7}")
        lines += block("", [f"  {line}" for line in _evidence(found, side, units)])
    return lines


def by_change(found: NextMove) -> list[Side]:
    """Possible faults, first those whose chance the counts raise most."""
    diagnosis = found.diagnosis
    return sorted(
        diagnosis.sides, key=lambda side: -diagnosis.after(side) / max(diagnosis.before(side), 0.01)
    )


def _evidence(found: NextMove, side: Side, units: str) -> list[str]:
    """Lines with the strongest evidence of the counts for and against a fault."""
    made = clues(found.diagnosis, side)
    parts = []
    for head, some in (
        ("for", [clue for clue in made if clue.factor >= EVIDENCE_FACTOR]),
        ("against", [clue for clue in made if clue.factor <= 1 / EVIDENCE_FACTOR]),
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
    """Description of a count by its way of looking and its changed settings."""
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
    """Lines on causes that counts cannot distinguish, and on the next inspection."""
    lines: list[str] = []
    if found.kind == BRUSH:
        return [INSPECTIONS["sensor"]]
    if found.kind == SAME:
        return ["nothing, as long as the count is as wanted"]
    lines += [
        f"the counts cannot distinguish {HIDDEN[other].name} from {HIDDEN[one].name}: either "
        "explains them"
        for other, one in inseparable(found.diagnosis)
    ]
    name = best_look(found)
    if not name:
        lines.append("nothing: no single look is expected to change what to do")
    elif found.values_of_knowing[name] >= LEAST_VALUE:
        lines.append(
            f"{INSPECTIONS[name]}: knowing it is expected to bring "
            f"{100 * found.values_of_knowing[name]:.2f} percentage points more"
        )
    else:
        lines.append(f"{INSPECTIONS[name]}: this identifies the cause; the move stays")
    return lines


def inseparable(diagnosis: Diagnosis) -> list[tuple[str, str]]:
    """Pairs of causes that the counts cannot distinguish."""
    return [
        (other, one)
        for k, one in enumerate(diagnosis.names)
        for j, other in enumerate(diagnosis.names[:k])
        if abs(diagnosis.correlations[k, j]) >= TOGETHER
    ]


def best_look(found: NextMove) -> str:
    """Cause whose inspection brings most, or best separates causes; empty where none does."""
    names = found.diagnosis.names
    best = max(names, key=lambda name: found.values_of_knowing[name])
    if found.values_of_knowing[best] >= LEAST_VALUE:
        return best
    unclear = [name for name in names if _is_unclear(found, name)]
    return max(unclear, key=lambda name: _change(found, name), default="")


def _is_unclear(found: NextMove, name: str) -> bool:
    """Whether a cause is correlated with another, so that its inspection distinguishes them."""
    at = found.diagnosis.names.index(name)
    others = [abs(r) for k, r in enumerate(found.diagnosis.correlations[at]) if k != at]
    return bool(max(others) >= TOGETHER)


def _change(found: NextMove, name: str) -> float:
    diagnosis = found.diagnosis
    return sum(
        abs(diagnosis.after(s) - diagnosis.before(s)) for s in diagnosis.sides if s.name == name
    )


def percent_text(share: float) -> str:
    """A share in percent: tenths, and hundredths below one."""
    return f"{100 * share:.{1 if share >= 0.01 else 2}f} %"


def of_100(chance: float) -> str:
    """A chance as a number out of a hundred."""
    if 0 < chance < FEW:
        return "fewer than 1 of 1,000"
    if 0 < chance < 10 * FEW:
        return f"{1000 * chance:.0f} of 1,000"
    return f"{100 * chance:.0f} of 100"
