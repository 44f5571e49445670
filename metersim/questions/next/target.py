"""Comparison of counts with wanted rates, the rule of the trade, and the best notch."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import betainc

from metersim.files.faults import Parameter, bad
from metersim.machine.scenario import Scenario
from metersim.machine.sources import (
    DOUBLES,
    LEAVE,
    MOST_NOTCHES,
    SKIPS,
    TOO_FAR,
    is_small_round,
)
from metersim.questions.next.bank import SHARED, in_order, shares_of
from metersim.questions.next.diagnosis import Diagnosis, Seen
from metersim.questions.next.gain import gains
from metersim.questions.next.moves import Move
from metersim.questions.shared.looks import BELT, Levels, Look, summed
from metersim.questions.shared.settings import Steps, can_move

KINDS = {"skip": "skips", "double": "doubles"}
"""Kinds of cells with their names in counts."""
LEVEL = 0.05  # chance of a false alarm for a meter in order, over all counted kinds
MOST_CELLS = 5_000  # largest number of further cells that is advised
ROUND = 50  # step of the advised number of cells
FEWEST = 2  # cells of a kind that a detection needs; a single one may be chance


@dataclass(frozen=True, eq=False)
class Compared:
    """Counts of one way of looking at one setting, with the wanted rates.

    Attributes
    ----------
    look : Look
        Sum of all counts.
    way : str
        Way of looking of the wanted rates.
    wanted : Levels
        Rates of each equally likely meter in order; limits that were given are in their place.
    level : float
        Tail chance of a kind of cell below which its excess is detected. [1]
    limits : tuple of str
        Kinds of cells whose wanted rate was given.
    """

    look: Look
    way: str
    wanted: Levels
    level: float
    limits: tuple[str, ...] = ()

    @property
    def counted(self) -> dict[str, int]:
        """Number of cells of each counted kind."""
        both = {"skip": self.look.skips, "double": self.look.doubles}
        return {kind: count for kind, count in both.items() if count is not None}

    def usual(self, kind: str) -> float:
        """Wanted share of a kind: the median of meters in order, or the limit. [1]"""
        return float(np.median(getattr(self.wanted, kind)))

    def most(self, kind: str) -> float:
        """Share that 19 of 20 meters in order do not exceed. [1]"""
        return float(np.quantile(getattr(self.wanted, kind), 1 - LEVEL))

    def excess(self, kind: str) -> float:
        """Counted share less the wanted share. [1]"""
        return self.counted[kind] / self.look.cells - self.usual(kind)

    def chance(self, kind: str, times: float = 1.0) -> float:
        """Chance that a meter in order has as many cells of a kind, or more.

        It is the mean over the machines that the meter may be.

        Parameters
        ----------
        kind : str
            Counted kind, one of `KINDS`.
        times : float
            Factor on the counted cells, with the same shares. [1]

        Returns
        -------
        float
            Chance. [1]

        Notes
        -----
        assumption: a count has ``cells / effect`` independent cells; its binomial distribution is
        interpolated between whole numbers.
        """
        count = self.counted[kind] * times
        if not count:
            return 1.0
        effect = np.maximum(getattr(self.wanted, f"{kind}_effect"), 1.0)
        rest = self.look.cells * times - count
        rate = getattr(self.wanted, kind)
        return float(betainc(count / effect, rest / effect + 1, rate).mean())

    @property
    def differing(self) -> list[str]:
        """Kinds of cells with a detected excess over the wanted rates."""
        return [kind for kind in self.counted if self._differs(kind)]

    @property
    def needed(self) -> int | None:
        """Further cells until the excess of the counted shares is detected; None without any."""
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


def check_limits(skips_most: float | None, doubles_most: float | None) -> None:
    """Refuse limits that leave no cell for single seeds."""
    if (skips_most or 0) + (doubles_most or 0) >= 1:
        raise bad(
            Parameter("skips_most"), "", "with `doubles_most` it leaves no cell with a single seed"
        )


def compared(
    found: Diagnosis,
    seen: Sequence[Seen],
    wanted: Scenario,
    *,
    skips_most: float | None = None,
    doubles_most: float | None = None,
) -> list[Compared]:
    """Compare counts with the wanted rates.

    Parameters
    ----------
    found : Diagnosis
        Possible meters, with those in order.
    seen : sequence of Seen
        Counts at the present settings; those of one way of looking are summed.
    wanted : Scenario
        Meter in order whose rates are wanted, at settings that the diagnosis covers.
    skips_most, doubles_most : float, optional
        Largest wanted shares, in place of those of a meter in order. [1]

    Returns
    -------
    list of Compared
        One comparison for each way of looking.  Where nobody knows how a monitor counts, it is
        that way of counting in which less differs.
    """
    pooled: dict[tuple[tuple[str, ...], bool], list[Look]] = {}
    for one in seen:
        pooled.setdefault((one.ways, one.look.doubles is None), []).append(one.look)
    tests = sum(1 if blind else 2 for _, blind in pooled)
    given = {"skip": skips_most, "double": doubles_most}
    limits = {kind: most for kind, most in given.items() if most is not None}

    def against(ways: tuple[str, ...], looks: Sequence[Look], variant: int) -> Compared:
        way = ways[min(variant, len(ways) - 1)]
        rates = in_order(found.bank, wanted, way)
        most = {kind: np.full_like(rates.skip, share) for kind, share in limits.items()}
        return Compared(summed(looks), way, replace(rates, **most), LEVEL / tests, tuple(limits))

    variants = [
        [against(ways, looks, variant) for (ways, _), looks in pooled.items()]
        for variant in range(max((len(one.ways) for one in seen), default=1))
    ]
    return min(variants, key=lambda some: sum(len(one.differing) for one in some))


@dataclass(frozen=True)
class Rule:
    """Advice of a rule of the trade.

    Attributes
    ----------
    words : str
        Rule in words.
    steps : mapping of str to int
        Steps that the rule advises; empty for none.
    """

    words: str
    steps: Steps


def trade_rule(scenario: Scenario, found: Sequence[Compared], *, differing: bool = True) -> Rule:
    """Rule of the trade for the counts.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    found : sequence of Compared
        Counts at these settings.
    differing : bool
        Whether only a detected excess counts; otherwise every excess counts.

    Returns
    -------
    Rule
        Rule for the kind with the greatest excess.

    Notes
    -----
    Common practice, no source.
    """
    above = [
        (one.excess(kind), kind)
        for one in found
        for kind in (one.differing if differing else one.counted)
        if one.excess(kind) > 0
    ]
    if not above:
        return Rule(LEAVE, {})
    step, words = (1, DOUBLES) if max(above)[1] == "double" else (-1, SKIPS)
    notch = scenario.singulator.notch
    small_round = is_small_round(scenario.seeds.length, scenario.seeds.sphericity)
    if not small_round and abs(notch + step) > max(MOST_NOTCHES, abs(notch)):
        return Rule(TOO_FAR, {})
    return Rule(words, {"notch": step})


FARTHEST = 3.0  # notches from the centre that are tried


@dataclass(frozen=True)
class Notches:
    """Answer of a meter to its notches, over its likely states.

    Attributes
    ----------
    singles : mapping of float to float
        Expected share of cells with one seed by notch, 0 the centre. [1]
    best : float
        Notch with the greatest share.
    second : bool
        Whether the best notch lies more than one from the centre.  The gain must exceed the noise
        of the simulation and the least gain of a step.  False for small round seed, which usually
        starts there.
    width : tuple of float
        Likely width of the seed: mean, and ends of its 80 % interval. [m]
    hole : float
        Set diameter of the hole. [m]
    """

    singles: Mapping[float, float]
    best: float
    second: bool
    width: tuple[float, float, float]
    hole: float


def notch_moves(scenario: Scenario) -> dict[float, Move]:
    """Moves to all possible notches, by notch."""
    now = scenario.singulator.notch
    reach = range(-int(FARTHEST + abs(now)), int(FARTHEST + abs(now)) + 1)
    steps = {now + k: {"notch": k} for k in reach if abs(now + k) <= FARTHEST}
    return {
        notch: Move(f"notch {notch:g}", step)
        for notch, step in steps.items()
        if notch == now or can_move(scenario, step)
    }


def notches(
    scenario: Scenario, found: Diagnosis, *, towards: int, least: float, seed: int = 1
) -> Notches:
    """Best notch of a meter over its likely states, on the side to which it is moved.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    found : Diagnosis
        Likely meters.
    towards : int
        1 for more aggressive notches, -1 for less aggressive ones.
    least : float
        Least gain that justifies a step. [1]
    seed : int
        Random seed of the likely meters.

    Returns
    -------
    Notches
        Answer of the meter.
    """
    now = scenario.singulator.notch
    moves = {
        notch: move for notch, move in notch_moves(scenario).items() if towards * (notch - now) >= 0
    }
    made = {gain.move.words: gain for gain in gains(found, [*moves.values()], seed=seed)}
    by_notch = {notch: made[move.words] for notch, move in moves.items()}
    best = max(by_notch, key=lambda notch: by_notch[notch].value)
    near = [notch for notch in by_notch if abs(notch) <= MOST_NOTCHES]
    second = False
    if (
        near
        and best not in near
        and not is_small_round(scenario.seeds.length, scenario.seeds.sphericity)
    ):
        other = max(near, key=lambda notch: by_notch[notch].value)
        over = replace(by_notch[best], changes=by_notch[best].changes - by_notch[other].changes)
        second = over.sure > least
    now_at = shares_of(
        found.bank.surface, scenario, BELT, found.points, found.bank.machines, errors=SHARED
    )
    level = float(found.weights @ (1 - now_at[0] - now_at[1]) / found.weights.sum())
    lot = scenario.lot.width * scenario.seed.size_factor
    width = [lot * one for one in (found.mean("size"), *found.interval("size"))]
    return Notches(
        {notch: level + gain.value for notch, gain in by_notch.items()},
        best,
        second,
        (width[0], width[1], width[2]),
        scenario.disc.hole_diameter,
    )
