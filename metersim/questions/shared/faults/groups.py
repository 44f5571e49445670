"""Faults that look alike: groups of faults that a day of observations hardly distinguishes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, leaves_list, linkage
from scipy.spatial.distance import squareform

from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.faults.signatures import Signatures
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

DAYS = 240  # days of observations that are drawn of each fault
ALIKE = 0.8
"""Two faults look alike below this mean chance of the right one after a day (assumption).

It is 0.5 where nothing distinguishes them, and 1 where any day does.
"""


@dataclass(frozen=True, eq=False, kw_only=True)
class Groups:
    """Groups of faults that look alike.

    Attributes
    ----------
    faults : tuple of str
        Names of the faults, as in the signatures.
    right : ndarray, shape (faults, faults)
        Mean chance of the right one of two equally likely faults after a day.  It is symmetric,
        and 0.5 on the diagonal. [1]
    groups : tuple of tuple of str
        Names by group; faults that look alike stand beside one another.
    """

    faults: tuple[str, ...]
    right: Floats
    groups: tuple[tuple[str, ...], ...]

    def of(self, name: str) -> tuple[str, ...]:
        """The group of a fault, itself included; raises `KeyError` for an unknown one."""
        for group in self.groups:
            if name in group:
                return group
        raise KeyError(name)

    def pair(self, first: str, second: str) -> float:
        """Mean chance of the right one of two equally likely faults after a day. [1]"""
        at = [self.faults.index(name) for name in (first, second)]
        return float(self.right[at[0], at[1]])


def groups_of(
    found: Signatures,
    *,
    signs: Sequence[str] = tuple(SIGNS),
    alike: float = ALIKE,
    seed: int = 1,
    days: int = DAYS,
) -> Groups:
    """Groups of faults that a day of observations hardly distinguishes.

    Parameters
    ----------
    found : Signatures
        Signatures of the faults.
    signs : sequence of str
        Signs that people look at in a day.
    alike : float
        Chance of the right one of two faults below which they look alike. [1]
    seed : int
        Random seed of the days.
    days : int
        Days that are drawn of each fault.

    Notes
    -----
    A day of a fault has one of its machines and one answer to each sign.  The chance of the right
    one of two faults is a mean over days of both.  Groups come from complete linkage, so all pairs
    of a group look alike.
    """
    right = distinguished(found, signs, seed, days)
    names = found.faults
    if len(names) < 2:
        return Groups(faults=names, right=right, groups=(names,) if names else ())
    apart = 2 * right - 1
    np.fill_diagonal(apart, 0.0)
    tree = linkage(squareform(apart, checks=False), method="complete", optimal_ordering=True)
    member = fcluster(tree, 2 * alike - 1, criterion="distance")
    order: dict[int, list[str]] = {}
    for k in leaves_list(tree):
        order.setdefault(int(member[k]), []).append(names[k])
    return Groups(faults=names, right=right, groups=tuple(tuple(one) for one in order.values()))


def distinguished(found: Signatures, signs: Sequence[str], seed: int, days: int) -> Floats:
    """Mean chance of the right one of each two equally likely faults after a day.

    Parameters
    ----------
    found, signs, seed, days
        As for `groups_of`.

    Returns
    -------
    ndarray, shape (faults, faults)
        Chances, symmetric. [1]
    """
    many = len(found.faults)
    machine = np.arange(days) % found.samples  # of each day
    logs = np.zeros((many, days, many, found.samples))  # of a day of a fault, under each fault
    for sign in signs:
        chances = found.chances(sign)
        drawn = Streams(seed).generator(f"days: {sign}").random(days)
        below = np.cumsum(chances, axis=0)[:-1, :, machine]  # (answers - 1, faults, days)
        answer = np.sum(drawn > below, axis=0)  # (faults, days)
        logs += np.log(chances)[answer]
    top = logs.max(axis=3, keepdims=True)
    log_chance = top[..., 0] + np.log(np.exp(logs - top).mean(axis=3))  # (fault, day, under)
    own = np.einsum("fdf->fd", log_chance)
    right = (1 / (1 + np.exp((log_chance - own[..., None]).clip(-700, 700)))).mean(axis=1)
    return np.asarray((right + right.T) / 2)
