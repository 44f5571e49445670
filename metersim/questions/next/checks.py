"""Next checks of a machine: what each is expected to say about causes, and its time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.questions.next.causes import Causes, answer_chances
from metersim.questions.next.hypotheses import ELSE
from metersim.questions.next.signs import answers_of
from metersim.questions.next.simulated import chances_of
from metersim.questions.next.weighing import COUNT
from metersim.questions.shared.faults.fault import CAUTIONS, LOCKED, RUNNING
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.notes import MANUAL

Floats = NDArray[np.float64]

FINDS, FALSE = 0.9, 0.03
"""Chances that an inspection finds its fault where it is, and where it is not (assumption)."""
LEAST_BITS = 0.02
"""Least expected information of a check that is advised. [bit]"""
REPEATED = ("vacuum low", "vacuum high", "slope")
"""Faults whose inspection is a sign as well; it is listed once, as the sign."""
FOUND, NOTHING = "found", "nothing found"
STILL = "Machine lowered or blocked, fan off, nobody at the wheel; gloves against treated seed."
AT_WHEEL = "From the seat only, all guards on; speed and ground as the manual allows."
NOBODY = "Nobody needs to go near the machine for this."
BENCH = "Take the meter off while all is locked out. On the bench guards stay on, hands stay away."


@dataclass(frozen=True, kw_only=True)
class Look:
    """Something to look at, whose answers are known.

    Attributes
    ----------
    words : str
        Instruction, with a small first letter.
    minutes : int
        Time that it takes (assumption). [min]
    state : str
        ``running`` with all guards on, or ``locked out``.
    caution : str
        Caution that stands before the instruction.
    signs : tuple of str
        Signs that it answers.
    """

    words: str
    minutes: int
    state: str
    caution: str
    signs: tuple[str, ...]


LOOKS: Mapping[str, Look] = {
    COUNT: Look(
        words="count skips and doubles of 500 seeds on the display, and compare with the usual",
        minutes=4,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("skips", "doubles"),
    ),
    "pattern": Look(
        words="measure from skip to skip along the row, five times: is it always whole turns?",
        minutes=15,
        state=LOCKED,
        caution=STILL,
        signs=("pattern",),
    ),
    "rows": Look(
        words="compare the counts of all rows on the display: does one row have it, or all?",
        minutes=2,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("rows",),
    ),
    "onset": Look(
        words="look into earlier counts: did it come slowly, or from one pass to the next?",
        minutes=2,
        state=LOCKED,
        caution=NOBODY,
        signs=("onset",),
    ),
    "speed": Look(
        words="drive 200 m slower, then 200 m as fast as now, and compare the counts",
        minutes=6,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("speed",),
    ),
    "slope": Look(
        words="compare counts on the level with counts on the slope",
        minutes=6,
        state=RUNNING,
        caution=f"{AT_WHEEL} No slope beyond the manual's limit.",
        signs=("slope",),
    ),
    "hour": Look(
        words="count again after some hours of work, before anybody brushes the lens",
        minutes=4,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("hour",),
    ),
    "turn": Look(
        words="compare the first 30 m behind a headland turn with the rest of the pass",
        minutes=4,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("turn",),
    ),
    "bench": Look(
        words="run this meter on a bench with the same seed, and count there",
        minutes=40,
        state=LOCKED,
        caution=BENCH,
        signs=("bench",),
    ),
    "current": Look(
        words="read current or torque of this row's drive on the display, and compare the rows",
        minutes=2,
        state=RUNNING,
        caution=AT_WHEEL,
        signs=("current",),
    ),
    "used": Look(
        words="compare the seed used on a known area with the plan",
        minutes=20,
        state=LOCKED,
        caution=STILL,
        signs=("used",),
    ),
    "gauge": Look(
        words="read the vacuum gauge while all discs carry seed, and compare it with the sheet",
        minutes=3,
        state=RUNNING,
        caution=f"Guards stay on; read it from the seat or at a port, clear of the fan. {MANUAL}.",
        signs=("gauge",),
    ),
    "stand": Look(
        words="dig in ten places in which the display showed skips: is there a seed?",
        minutes=15,
        state=LOCKED,
        caution=STILL,
        signs=("stand",),
    ),
    "scatter": Look(
        words="dig up 60 seeds, and compare their spacings with those of a good row",
        minutes=20,
        state=LOCKED,
        caution=STILL,
        signs=("scatter",),
    ),
}
"""What can be looked at without opening anything, by name.  Times are assumptions."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """A next check.

    Attributes
    ----------
    name : str
        Name of the sign, or of the fault for which it looks.
    words : str
        Instruction.
    minutes : int
        Time that it takes. [min]
    bits : float
        Information on the causes that is expected of it. [bit]
    state : str
        ``running`` with all guards on, or ``locked out``.
    opens : bool
        Whether a cover comes off or a hand goes in.
    caution : str
        Caution that stands before the instruction.
    finds : tuple of str
        Faults that an inspection finds; empty for a sign.
    outcomes : tuple of (str, float, str, float)
        For each answer: words, its chance, the cause that is then likeliest, and its chance.
    """

    name: str
    words: str
    minutes: int
    bits: float
    state: str
    opens: bool
    caution: str
    finds: tuple[str, ...]
    outcomes: tuple[tuple[str, float, str, float], ...]

    @property
    def rate(self) -> float:
        """Expected information for its time. [bit/min]"""
        return self.bits / self.minutes


def information(chances: Floats, answers: Floats) -> float:
    """Information on causes that is expected of an answer.

    Parameters
    ----------
    chances : ndarray, shape (causes,)
        Chance of each cause. [1]
    answers : ndarray, shape (answers, causes)
        Chance of each answer given each cause. [1]

    Returns
    -------
    float
        Mutual information. [bit]
    """
    joint = answers * chances
    ratio = answers / joint.sum(axis=1, keepdims=True).clip(min=1e-300)
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(joint > 0, joint * np.log2(ratio), 0.0)
    return max(float(parts.sum()), 0.0)


def next_checks(causes: Causes) -> tuple[Check, ...]:
    """All checks that are left, those first that say most for their time."""
    names = [*causes.listed, ELSE]
    chances = np.array([causes.chances[name] for name in names])
    made = []
    seen = set(causes.signs.given)
    for name, look in LOOKS.items():
        if set(look.signs) & seen:
            continue
        table, words = _answers(causes, look.signs)
        made.append(
            Check(
                name=name,
                words=look.words,
                minutes=look.minutes,
                bits=information(chances, table),
                state=look.state,
                opens=False,
                caution=look.caution,
                finds=(),
                outcomes=_outcomes(chances, table, words, names),
            )
        )
    made += _inspections(causes, chances, names)
    return tuple(sorted(made, key=lambda one: (-min(one.bits, LEAST_BITS), -one.rate)))


def _answers(causes: Causes, signs: tuple[str, ...]) -> tuple[Floats, list[str]]:
    """Chances of all joint answers of signs, shape (answers, causes), and their words."""
    if len(signs) == 1:
        return answer_chances(causes, chances_of(causes.found, signs[0])), list(
            answers_of(signs[0])
        )
    first, second = (chances_of(causes.found, sign) for sign in signs)
    both = (first[:, None] * second[None, :]).reshape(-1, *first.shape[1:])
    words = [
        f"{signs[0]} {one}, {signs[1]} {two}"
        for one in answers_of(signs[0])
        for two in answers_of(signs[1])
    ]
    return answer_chances(causes, both), words


def _inspections(causes: Causes, chances: Floats, names: list[str]) -> list[Check]:
    """Inspections of the library; one may find several faults."""
    groups: dict[str, list[str]] = {}
    for name in causes.found.faults:
        if causes.prior[name] > 0 and name not in REPEATED:
            groups.setdefault(LIBRARY[name].check, []).append(name)
    made = []
    for words, finds in groups.items():
        fault = LIBRARY[finds[0]]
        hit = np.where([name in finds for name in causes.listed], FINDS, FALSE)
        known = chances[:-1]
        hit = np.append(hit, hit @ known / known.sum())
        table = np.stack([hit, 1 - hit])
        made.append(
            Check(
                name=finds[0],
                words=words,
                minutes=fault.minutes,
                bits=information(chances, table),
                state=fault.state,
                opens=fault.opens,
                caution=fault.caution or CAUTIONS[fault.state],
                finds=tuple(finds),
                outcomes=_outcomes(chances, table, [FOUND, NOTHING], names),
            )
        )
    return made


def _outcomes(
    chances: Floats, table: Floats, words: list[str], names: list[str]
) -> tuple[tuple[str, float, str, float], ...]:
    """Each answer with its chance, and the likeliest cause behind it."""
    joint = table * chances
    total = joint.sum(axis=1)
    first = joint.argmax(axis=1)
    return tuple(
        (word, float(total[k]), names[first[k]], float(joint[k, first[k]] / max(total[k], 1e-300)))
        for k, word in enumerate(words)
    )
