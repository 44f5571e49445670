"""Evidence of counts for and against each fault, and counts that no likely fault explains."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc

from metersim.questions.next.diagnosis import Diagnosis, Side
from metersim.questions.shared.looks import HALF, KINDS, log_chances

EVIDENCE_FACTOR = 2.0  # ratio of likelihoods from which a count is called evidence
NEVER = 1e-3  # tail chance of a count below which no likely state explains it


@dataclass(frozen=True)
class Clue:
    """Evidence of one or both kinds of cells in one count for or against a fault.

    Attributes
    ----------
    look : int
        Number of the count, from 0.
    kinds : tuple of str
        ``skip``, ``double`` or both.
    shares : tuple of float
        Shares of the counted cells. [1]
    factor : float
        Chance of the counted shares with the fault over that without it, for any other faults.
        [1]
    """

    look: int
    kinds: tuple[str, ...]
    shares: tuple[float, ...]
    factor: float


def clues(found: Diagnosis, side: Side) -> list[Clue]:
    """Evidence of all counts on a fault: each kind, strongest first, then both kinds together.

    Parameters
    ----------
    found : Diagnosis
        Weighed states.
    side : Side
        Fault to judge.

    Returns
    -------
    list of Clue
        One clue for each kind of cell of each count, and one for both kinds together.  The latter
        may be evidence where neither kind is evidence alone.
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
    """Share of one kind of cell in a count that likely states hardly ever have.

    Attributes
    ----------
    look : int
        Number of the count, from 0.
    kind : str
        ``skip`` or ``double``.
    share : float
        Share of the counted cells. [1]
    expected : float
        Expected share of likely states. [1]
    chance : float
        Chance that a likely state has that share, or one farther out. [1]
    """

    look: int
    kind: str
    share: float
    expected: float
    chance: float


def strange(found: Diagnosis) -> list[Strange]:
    """Counted shares that even the most likely states hardly ever have, strangest first.

    Parameters
    ----------
    found : Diagnosis
        Weighed states.

    Returns
    -------
    list of Strange
        Shares with a chance below `NEVER`; empty where likely states explain the counts.

    Notes
    -----
    assumption: a count has ``cells / effect`` independent cells, at most as many as the run of a
    state.  The error of a state's rate is part of the sampling error.
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
