"""Text of likely faults of a meter, their evidence, and what counts cannot distinguish."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import logsumexp

from metersim.questions.next.decide import WORTH, checks, not_distinguished
from metersim.questions.next.diagnosis import Diagnosis, Seen
from metersim.questions.next.hypotheses import ELSE, FAULTS, FINE
from metersim.questions.next.study import NextMove
from metersim.questions.next.target import KINDS
from metersim.questions.shared.looks import BY_SENSOR
from metersim.questions.shared.settings import SETTINGS
from metersim.questions.shared.words import block, notch_text, quantity

FEW = 0.001
MANY = 100  # ratio of likelihoods above which no number is printed
EVIDENCE_FACTOR = 2.0  # ratio of likelihoods from which a count is called evidence


def words_of(name: str) -> str:
    """A hypothesis in words, with its bound."""
    if name == FINE:
        return "in order: nothing is off by more than usual"
    if name == ELSE:
        return "something else, or several things at once"
    fault = FAULTS[name]
    return f"{fault.words}, {fault.off}" if fault.off.startswith("by") else fault.words


def short_of(name: str) -> str:
    """A hypothesis in a few words."""
    return FAULTS[name].short if name in FAULTS else name


def in_order_of_chance(diagnosis: Diagnosis) -> list[str]:
    """Hypotheses, first those that are likeliest after the counts."""
    return sorted(diagnosis.names, key=lambda name: -diagnosis.after(name))


def factor(diagnosis: Diagnosis, name: str, look: int) -> float:
    """Chance of a count with a hypothesis over that without it."""
    log_prior = np.log(diagnosis.points.prior)
    chances = diagnosis.log_chances([look]) + log_prior
    if name == ELSE:
        so = diagnosis.log_flat([look])
        otherwise = float(logsumexp(chances) - logsumexp(log_prior))
    else:
        mine = diagnosis.points.which == diagnosis.points.names.index(name)
        so, otherwise = (
            float(logsumexp(chances[some]) - logsumexp(log_prior[some])) for some in (mine, ~mine)
        )
    return math.exp(min(max(so - otherwise, -700.0), 700.0))


def causes_lines(found: NextMove, units: str) -> list[str]:
    """Lines on hypotheses: chances before and after the counts, and evidence."""
    diagnosis = found.diagnosis
    lines = [f"{'Off':11}{'what is likely, in 100 such meters':88}{'before':>8}{'after':>7}"]
    for name in in_order_of_chance(diagnosis):
        before, after = round(100 * diagnosis.before(name)), round(100 * diagnosis.after(name))
        lines.append(f"{'':11}{words_of(name):88}{before:>8}{after:>7}")
        lines += block("", [f"  {line}" for line in _evidence(found, name, units)])
    return lines


def _evidence(found: NextMove, name: str, units: str) -> list[str]:
    """A line with the strongest evidence of the counts for and against a hypothesis."""
    factors = [factor(found.diagnosis, name, k) for k in range(len(found.diagnosis.seen))]
    parts = []
    for head, k in (("for", int(np.argmax(factors))), ("against", int(np.argmin(factors)))):
        is_for = head == "for"
        times = factors[k] if is_for else 1 / max(factors[k], 1e-300)
        if times >= EVIDENCE_FACTOR:
            often = f"{times:.0f}" if times < MANY else f"over {MANY}"
            so = "likelier" if is_for else "less likely"
            parts.append(f"{head}: {_count(found, k, units)} ({often} times {so})")
    return ["; ".join(parts)] if parts else []


def _count(found: NextMove, look: int, units: str) -> str:
    """A count in words, and where it was made if there are several."""
    seen = found.diagnosis.seen
    where = f"{_where(found, seen[look], units)}, " if len(seen) > 1 else ""
    shares = {"skip": seen[look].look.skip_share, "double": seen[look].look.double_share}
    named = [
        f"{percent_text(share)} {KINDS[kind]}"
        for kind, share in shares.items()
        if not math.isnan(share)
    ]
    return where + " with ".join(named)


def _where(found: NextMove, seen: Seen, units: str) -> str:
    """Description of a count by its way of looking and its changed settings."""
    others = []
    for setting in SETTINGS.values():
        value = setting.of(seen.meter)
        if value == setting.of(found.scenario):
            continue
        if setting.name == "notch":
            others.append(f"at {notch_text(value)}")
        elif setting.name == "vacuum":
            others.append(f"at {quantity('pressure', value, units)}")
        else:
            others.append(f"with another {setting.name}")
    way = "sensor" if seen.look.way in BY_SENSOR else seen.look.way
    return way + (f" {' and '.join(others)}" if others else " now")


def same_check(found: NextMove, fault: str) -> list[str]:
    """Faults that one inspection finds, likeliest first; those that are hardly likely left out."""
    check, diagnosis = FAULTS[fault].check, found.diagnosis
    names = [name for name in diagnosis.points.names if name in FAULTS]
    mine = [name for name in names if FAULTS[name].check == check]
    mine.sort(key=lambda name: -diagnosis.after(name))
    return [mine[0], *(name for name in mine[1:] if diagnosis.after(name) >= WORTH)]


def alike(found: NextMove) -> list[str]:
    """What the counts cannot distinguish from the likeliest fault, itself first, if anything."""
    names = not_distinguished(found.diagnosis)
    return names if len(names) > 1 and found.diagnosis.after(names[0]) >= WORTH else []


def looks_lines(found: NextMove) -> list[str]:
    """Lines on causes that counts cannot distinguish, and on inspections."""
    names = alike(found)
    lines = []
    if names:
        named = ", ".join(short_of(name) for name in names)
        lines.append(f"the counts cannot distinguish these causes: {named}")
    lines += [
        f"{check}: finds its fault in {100 * chance:.0f} of 100 such meters ({bit:.2f} bit)"
        for check, chance, bit in checks(found.diagnosis)
        if chance >= WORTH
    ]
    return lines or ["nothing: no inspection is likely to find a fault"]


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
