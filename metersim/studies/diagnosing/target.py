"""Whether a count differs from what is wanted at all, by the dependence that a run shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import betainc

from metersim.faults import bad
from metersim.scenario import Scenario
from metersim.studies.counting.looks import HALF, Look, Rates, rates

KINDS = {"skip": "skips", "double": "doubles"}
"""Kinds of cells, and what they are called in counts."""
CELLS, RUNS = 20_000, 4  # of each run of a meter in order, which a hopper has seed for; and runs
LEVEL = 0.05  # chance to take a meter in order for one that is not, over all that was counted
MOST_CELLS = 5_000  # that are still called for; nobody counts more
ROUND = 50  # that they are given in
FEWEST = 2  # cells of a kind; a single one may always be luck


@dataclass(frozen=True)
class Compared:
    """Counts of one kind at one setting, and what is wanted there.

    Attributes
    ----------
    look : Look
        All counts, added up.
    wanted : Rates
        Of a meter in order, or at the limits that were asked for.
    level : float
        Chance of a kind of cell below which it is told from luck. [1]
    """

    look: Look
    wanted: Rates
    level: float

    @property
    def counted(self) -> dict[str, int]:
        """Cells by kind that was counted."""
        both = {"skip": self.look.skips, "double": self.look.doubles}
        return {kind: count for kind, count in both.items() if count is not None}

    def excess(self, kind: str) -> float:
        """How far a share lies above what is wanted. [1]"""
        return self.counted[kind] / self.look.cells - float(getattr(self.wanted, kind))

    def chance(self, kind: str, times: float = 1.0) -> float:
        """Chance that a meter as wanted shows as many of a kind of cell, or more.

        Parameters
        ----------
        kind : str
            Of `KINDS`, and counted.
        times : float
            As if so many times the cells had been counted, with the same shares. [1]

        Returns
        -------
        float
            Chance. [1]

        Notes
        -----
        assumption: a count is that of ``cells / effect`` independent cells; binomial, continued
        between whole numbers.
        """
        count = self.counted[kind] * times
        if not count:
            return 1.0
        effect = getattr(self.wanted, f"{kind}_effect")
        many = self.wanted.cells
        rate = (getattr(self.wanted, kind) * many + HALF) / (many + 2 * HALF)
        rest = self.look.cells * times - count
        return float(betainc(count / effect, rest / effect + 1, rate))

    @property
    def differing(self) -> list[str]:
        """Kinds of cells that are more than luck gives a meter as wanted."""
        return [kind for kind in self.counted if self._differs(kind)]

    @property
    def needed(self) -> int | None:
        """Cells still to count until shares as seen are told from luck; None when they are not."""
        above = [kind for kind in self.counted if self.excess(kind) > 0]
        for times in (1.25, 1.5, 2, 2.5, 3, 4, 5, 7, 10, 15, 20, 30, 40):
            if (times - 1) * self.look.cells > MOST_CELLS:
                break
            if any(self._differs(kind, times) for kind in above):
                return math.ceil((times - 1) * self.look.cells / ROUND) * ROUND
        return None

    def _differs(self, kind: str, times: float = 1.0) -> bool:
        enough = self.counted[kind] * times >= FEWEST
        return enough and self.chance(kind, times) < self.level


def compared(
    scenario: Scenario,
    looks: Sequence[Look],
    *,
    skips_most: float | None = None,
    doubles_most: float | None = None,
    seed: int = 1,
) -> list[Compared]:
    """Hold counts against what is wanted.

    Parameters
    ----------
    scenario : Scenario
        The meter in order whose rates are wanted.
    looks : sequence of Look
        Counts; those of one way are added up.
    skips_most, doubles_most : float, optional
        Most shares that are wanted, in place of those of a meter in order. [1]
    seed : int
        Chooses the luck of the run of a meter in order.

    Returns
    -------
    list of Compared
        One a way of looking.

    Raises
    ------
    BadInput
        When no cell is left for single seeds.
    """
    if (skips_most or 0) + (doubles_most or 0) >= 1:
        raise bad("--skips-most", "", "with --doubles-most it leaves no cell with a single seed")
    pooled: dict[tuple[str, bool], list[Look]] = {}
    for look in looks:
        pooled.setdefault((look.way, look.doubles is None), []).append(look)
    tests = sum(1 if blind else 2 for _, blind in pooled)
    made = []
    for (way, blind), some in pooled.items():
        total = Look(
            cells=sum(look.cells for look in some),
            skips=sum(look.skips for look in some),
            doubles=None if blind else sum(look.doubles or 0 for look in some),
            way=way,
        )
        wanted = _in_order(scenario, way, seed)
        if skips_most is not None:
            wanted = replace(wanted, skip=skips_most)
        if doubles_most is not None:
            wanted = replace(wanted, double=doubles_most)
        made.append(Compared(total, wanted, LEVEL / tests))
    return made


def _in_order(scenario: Scenario, way: str, seed: int) -> Rates:
    """Rates of a meter in order, over several runs."""
    runs = [rates(scenario, CELLS, way=way, seed=seed, replicate=k) for k in range(RUNS)]
    names = ("skip", "double", "skip_effect", "double_effect")
    means = {name: float(np.mean([getattr(one, name) for one in runs])) for name in names}
    return Rates(**means, cells=sum(one.cells for one in runs))
