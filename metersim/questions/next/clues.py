"""Evidence for and against what may be off, and counts that nothing of it explains."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc

from metersim.questions.next.diagnosis import Diagnosis, Side
from metersim.questions.shared.looks import HALF, KINDS, log_chances

TELLS = 2.0  # factor between two explanations from which a count is called evidence
NEVER = 1e-3  # chance of a count, or one farther out, from which no likely state explains it


@dataclass(frozen=True)
class Clue:
    """What one kind of cell in one count, or both together, says of something that may be off.

    Attributes
    ----------
    look : int
        Which count.
    kinds : tuple of str
        ``skip``, ``double`` or both.
    shares : tuple of float
        Of the cells counted. [1]
    factor : float
        How many times likelier that is when it is off so than when it is not, whatever else
        may be off. [1]
    """

    look: int
    kinds: tuple[str, ...]
    shares: tuple[float, ...]
    factor: float


def clues(found: Diagnosis, side: Side) -> list[Clue]:
    """What the counts say of something that may be off: each kind, strongest first, then both.

    Parameters
    ----------
    found : Diagnosis
        Weighed states.
    side : Side
        What may be off.

    Returns
    -------
    list of Clue
        One for each kind of cell of each count, and one for both kinds together, which may speak
        for what neither of them tells alone.
    """
    off = side.holds(found.values(side.name))
    made: list[Clue] = []
    if not 0 < off.sum() < len(off):
        return made
    groups = [np.where(group, found.prior, 0.0) for group in (off, ~off)]
    for k, one in enumerate(found.seen):
        for kinds in (*((kind,) for kind in KINDS), KINDS):
            shares = tuple(getattr(one.look, f"{kind}_share") for kind in kinds)
            if any(map(math.isnan, shares)):
                continue
            chance = np.exp(log_chances(found.rates[k], [one.look], kinds)[0])
            so, otherwise = (max(float(chance @ group / group.sum()), 1e-300) for group in groups)
            factor = so / otherwise
            made.append(Clue(k, kinds, shares, factor))
    return sorted(made, key=lambda clue: (len(clue.kinds), -abs(math.log(clue.factor))))


@dataclass(frozen=True)
class Strange:
    """One kind of cell in a count of which likely states show quite another share.

    Attributes
    ----------
    look : int
        Which count.
    kind : str
        ``skip`` or ``double``.
    share : float
        Of the cells counted. [1]
    expected : float
        What likely states show. [1]
    chance : float
        Chance that one of them shows that share, or one farther out. [1]
    """

    look: int
    kind: str
    share: float
    expected: float
    chance: float


def strange(found: Diagnosis) -> list[Strange]:
    """What even the states that explain it best hardly ever show, strangest first.

    Parameters
    ----------
    found : Diagnosis
        Weighed states.

    Returns
    -------
    list of Strange
        Shares with a chance below `NEVER`; empty where the counts may well be of such a meter.

    Notes
    -----
    assumption: a count is that of ``cells / effect`` independent cells, and no more of them than
    the run of a state has: what is not known of a state's rate counts with the luck.
    """
    made = []
    for k, one in enumerate(found.seen):
        for kind in KINDS:
            share = getattr(one.look, f"{kind}_share")
            if math.isnan(share):
                continue
            effect, level, run = (
                np.array([getattr(rate, name) for rate in found.rates[k]])
                for name in (f"{kind}_effect", kind, "cells")
            )
            level = (level * run + HALF) / (run + 2 * HALF)
            many = 1 / (1 / one.look.cells + 1 / run) / effect.clip(min=1)
            tails = (
                betainc(np.maximum(share * many, 1e-9), (1 - share) * many + 1, level),
                1 - betainc(share * many + 1, np.maximum((1 - share) * many, 1e-9), level),
            )
            chance = min(float(found.weights @ tail) for tail in tails)
            if chance < NEVER:
                made.append(Strange(k, kind, share, float(found.weights @ level), chance))
    return sorted(made, key=lambda part: part.chance)
