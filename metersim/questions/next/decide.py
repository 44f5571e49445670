"""The advice: whether to act, and the one thing to do next."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from metersim.machine.scenario import Scenario
from metersim.questions.next.bank import setting_name
from metersim.questions.next.diagnosis import Diagnosis, Floats
from metersim.questions.next.gain import LEAST, Gain, gains
from metersim.questions.next.hypotheses import ELSE, FAULTS, FINE, LENS
from metersim.questions.next.moves import Move
from metersim.questions.next.target import Compared

PLAIN = 0.01  # least gain that justifies a move although the count is as wanted
SURE_ENOUGH = 0.15  # accepted chance of a worse result where the count is as wanted
WORSE_MOST = 0.3  # accepted chance of a worse result where it is not
LIKELY = 0.5  # chance from which something that is not listed is the answer
FIRST = 0.25  # chance from which a part is looked at before a setting is moved
EXCLUDED = 0.95  # chance, by later counts alone, that a move helps nothing, or that one back helps
PART_OF_EXCESS = 0.2  # least gain over the excess: a smaller one hides a fault
SIMILAR = 3.0  # ratio of evidence below which counts cannot distinguish two hypotheses
WORTH = 0.05  # least chance of a hypothesis that is named

SAME, MOVE, CHECK, BRUSH, KEEP, STRANGE = "same", "move", "check", "brush", "keep", "strange"
SET = ("small seed", "large seed", "edge far", "edge near")
"""Faults for which a setting can make up, so that a move may come before the inspection."""


@dataclass(frozen=True, eq=False)
class Advice:
    """One thing to do next.

    Attributes
    ----------
    kind : str
        ``move`` a setting, ``check`` a part, or ``brush`` the sensor's lens.  No move is advised
        where the count is the ``same`` as wanted.  ``keep`` moves nothing, as counts disagree: the
        later ones neither prove nor exclude a move by themselves.  ``strange``: no listed fault has
        such counts.
    fault : str
        Fault to look for, or an empty text.
    gain : Gain or None
        Gain of the move.
    stands : bool
        Whether earlier counts at these settings ask for the move, and later ones do not exclude it.
    """

    kind: str
    fault: str = ""
    gain: Gain | None = None
    stands: bool = False


def most_likely(found: Diagnosis, weights: Floats | None = None) -> list[str]:
    """Faults in falling order of their chance; a lens only where nothing contradicts it."""
    names = [
        name
        for name in found.points.names
        if name != FINE and not (name == LENS and found.lens_contradicted)
    ]
    return sorted(names, key=lambda name: -found.after(name, weights))


def chance_of_check(found: Diagnosis, fault: str, weights: Floats | None = None) -> float:
    """Chance that the inspection for a fault finds that fault, or another one. [1]"""
    check = FAULTS[fault].check
    return sum(
        found.after(name, weights)
        for name in most_likely(found, weights)
        if FAULTS[name].check == check
    )


def decide(
    excess: float, found: Diagnosis, known: Sequence[Gain], weights: Floats | None = None
) -> Advice:
    """Advice after counts; the surest gain is taken, so that noise does not decide.

    Parameters
    ----------
    excess : float
        Detected share of skips or doubles above what is wanted, above 0 also where another use of
        seed is detected; 0 where nothing is. [1]
    found : Diagnosis
        Weighed hypotheses.
    known : sequence of Gain
        Gains of steps of settings.
    weights : ndarray, optional
        Chances of the points; by default those after all counts. [1]
    """
    if found.after(ELSE, weights) >= LIKELY:
        return Advice(STRANGE)
    best = max(known, key=lambda gain: gain.sure, default=None)
    if not excess:
        if best is None or best.sure <= PLAIN or best.worse > SURE_ENOUGH:
            return Advice(SAME)
        return Advice(MOVE, gain=best)
    faults = sorted(
        most_likely(found, weights), key=lambda name: -chance_of_check(found, name, weights)
    )
    part = next((name for name in faults if name not in SET), "")
    if part and chance_of_check(found, part, weights) >= FIRST:
        return Advice(BRUSH if part == LENS else CHECK, part)
    enough = max(LEAST, PART_OF_EXCESS * excess)
    if best is not None and best.sure > enough and best.worse <= WORSE_MOST:
        return Advice(MOVE, gain=best)
    return Advice(CHECK, faults[0])


def standing(
    found: Diagnosis,
    moves: Sequence[Move],
    excess: Callable[[Sequence[int]], float],
    *,
    units: str = "metric",
    seed: int = 1,
) -> Move | None:
    """A move that earlier counts at the present settings ask for, and later ones do not exclude.

    Parameters
    ----------
    found : Diagnosis
        Weighed hypotheses.
    moves : sequence of Move
        Steps of settings that may be advised.
    excess : callable
        Detected excess of counts, by their numbers, as for `decide`. [1]
    units : {'metric', 'us'}
        Family of units of the steps.
    seed : int
        Random seed of the likely meters.

    Notes
    -----
    A move that some of the counts at the present settings ask for stands, unless the counts after
    those exclude it by themselves with 95 %, among meters with a listed fault or none.
    """
    here = found.here
    before = [k for k in range(len(found.seen)) if k not in here]

    def excluded(move: Move, looks: Sequence[int]) -> bool:
        weights = found.weighed(looks)
        (gain,) = gains(found, [move], weights=weights, units=units, seed=seed)
        return gain.helps <= 1 - EXCLUDED

    stands: tuple[Move, int] | None = None
    for many in range(1, len(here)):
        looks = [*before, *here[:many]]
        weights = found.weighed(looks)
        made = gains(found, moves, weights=weights, units=units, seed=seed)
        early = decide(excess(here[:many]), found, made, weights)
        if stands and not excluded(stands[0], here[stands[1] : many]):
            continue
        stands = (early.gain.move, many) if early.kind == MOVE and early.gain else None
    return stands[0] if stands and not excluded(stands[0], here[stands[1] :]) else None


def advise(
    found: Diagnosis,
    excess: float,
    known: Sequence[Gain],
    stands: Move | None,
    *,
    units: str = "metric",
    seed: int = 1,
) -> Advice:
    """Advice after all counts, which takes an earlier one back only for a good reason.

    Parameters
    ----------
    found : Diagnosis
        Weighed hypotheses.
    excess : float
        Detected excess of the counts at the present settings, as for `decide`. [1]
    known : sequence of Gain
        Gains of the moves after all counts.
    stands : Move or None
        Move that earlier counts ask for, as `standing` gives it.
    units : {'metric', 'us'}
        Family of units of the steps.
    seed : int
        Random seed of the likely meters.

    Notes
    -----
    A move back to the settings before the last change needs proof by the counts since: it gets
    worse with less than 5 % among meters with a listed fault or none.
    """
    last = decide(excess, found, known)
    if last.kind == STRANGE:
        return last
    gain = next((one for one in known if stands and one.move.words == stands.words), None)
    if gain:
        return Advice(MOVE, gain=gain, stands=True) if gain.value > 0 else Advice(KEEP)
    here = found.here
    before = [k for k in range(len(found.seen)) if k not in here]
    if last.gain and before and _goes_back(found, last.gain.move, before, units):
        weights = found.weighed(here)
        (alone,) = gains(found, [last.gain.move], weights=weights, units=units, seed=seed)
        if 1 - alone.worse_listed < EXCLUDED:
            return Advice(KEEP)
    return last


def _goes_back(found: Diagnosis, move: Move, before: Sequence[int], units: str) -> bool:
    """Whether a move leads back to the settings before the last change."""
    last: Scenario = found.seen[before[-1]].meter
    return setting_name(move.made(found.base, units)) == setting_name(last)


def not_distinguished(found: Diagnosis) -> list[str]:
    """Faults that the counts cannot distinguish from the most likely one, itself first."""
    first, *others = most_likely(found)
    evidence = found.after(first) / found.before(first)
    return [
        first,
        *(
            name
            for name in others
            if found.after(name) >= WORTH
            and found.after(name) / found.before(name) * SIMILAR >= evidence
        ),
    ]


def bits(chance: float) -> float:
    """Expected information of an inspection that finds a fault or excludes it. [bit]"""
    if not 0 < chance < 1:
        return 0.0
    return -sum(p * math.log2(p) for p in (chance, 1 - chance))


def missed_share(targets: Sequence[Compared], found: Diagnosis) -> float:
    """Part of the excess skips of a sensor that its lens likely makes. [1]"""
    lens = found.points.which == found.points.names.index(LENS)
    weights = found.weights * lens
    lost = float(weights @ found.points.lost / max(weights.sum(), 1e-300))
    excess = max((one.excess("skip") for one in targets if "skip" in one.differing), default=0.0)
    return min(lost / excess, 1.0) if excess > 0 else 0.0


CHECKS = {one.check: None for one in FAULTS.values()}
"""All inspections, each once."""


def checks(found: Diagnosis) -> list[tuple[str, float, float]]:
    """Inspections: words, chance that one finds its fault, and expected information in bits."""
    chance = {check: 0.0 for check in CHECKS}
    for name in most_likely(found):
        chance[FAULTS[name].check] += found.after(name)
    rows = [(check, one, bits(one)) for check, one in chance.items() if one > 0]
    return sorted(rows, key=lambda row: -row[2])
