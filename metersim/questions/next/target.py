"""Comparison of counts with wanted rates, the rule of the trade, and the best notch."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import betainc

from metersim.files.faults import BadInput, Parameter, bad
from metersim.machine.scenario import Scenario
from metersim.machine.sources import (
    DOUBLES,
    HANDBOOK_HOLE,
    LEAVE,
    MOST_NOTCHES,
    SKIPS,
    TOO_FAR,
    is_small_round,
)
from metersim.questions.next.diagnosis import Diagnosis
from metersim.questions.next.gain import SURE, tried
from metersim.questions.next.moves import Move
from metersim.questions.next.possible import (
    Possible,
    bent_shares,
    draw_machines,
    without_sampling,
)
from metersim.questions.shared.hidden import HIDDEN, State
from metersim.questions.shared.looks import HALF, Look, Rates, rates
from metersim.questions.shared.settings import Steps, can_move

KINDS = {"skip": "skips", "double": "doubles"}
"""Kinds of cells with their names in counts."""
CELLS, MACHINES = 2500, 32  # cells of each run of a meter in order; number of their machines
RATES = ("skip", "double", "skip_effect", "double_effect")
LEVEL = 0.05  # chance of a false alarm for a meter in order, over all counted kinds
MOST_CELLS = 5_000  # largest number of further cells that is advised
ROUND = 50  # step of the advised number of cells
FEWEST = 2  # cells of a kind that a detection needs; a single one may be chance


@dataclass(frozen=True)
class Compared:
    """Counts of one way of looking at one setting, with the wanted rates.

    Attributes
    ----------
    look : Look
        Sum of all counts.
    wanted : Rates
        Mean rates of meters in order, or the given limits.
    level : float
        Tail chance of a kind of cell below which its excess is detected. [1]
    machines : tuple of Rates
        Rates of each equally likely meter in order; empty where all have those of `wanted`.
    """

    look: Look
    wanted: Rates
    level: float
    machines: tuple[Rates, ...] = ()

    @property
    def counted(self) -> dict[str, int]:
        """Number of cells of each counted kind."""
        both = {"skip": self.look.skips, "double": self.look.doubles}
        return {kind: count for kind, count in both.items() if count is not None}

    def excess(self, kind: str) -> float:
        """Counted share less the wanted share. [1]"""
        return self.counted[kind] / self.look.cells - float(getattr(self.wanted, kind))

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
        effect = getattr(self.wanted, f"{kind}_effect")
        many = self.wanted.cells
        rate = np.array([getattr(one, kind) for one in self.machines or (self.wanted,)])
        rest = self.look.cells * times - count
        rate = (rate * many + HALF) / (many + 2 * HALF)
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


def compared(
    scenario: Scenario,
    looks: Sequence[Look],
    *,
    skips_most: float | None = None,
    doubles_most: float | None = None,
    seed: int = 1,
) -> list[Compared]:
    """Compare counts with the wanted rates.

    Parameters
    ----------
    scenario : Scenario
        Meter in order whose rates are wanted.
    looks : sequence of Look
        Counts; those of one way of looking are summed.
    skips_most, doubles_most : float, optional
        Largest wanted shares, in place of those of a meter in order. [1]
    seed : int
        Random seed of the run of a meter in order.

    Returns
    -------
    list of Compared
        One comparison for each way of looking.

    Raises
    ------
    BadInput
        When the limits leave no cell for single seeds.
    """
    if (skips_most or 0) + (doubles_most or 0) >= 1:
        raise bad(
            Parameter("skips_most"), "", "with `doubles_most` it leaves no cell with a single seed"
        )
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
        given = {"skip": skips_most, "double": doubles_most}
        limits: dict[str, Any] = {kind: most for kind, most in given.items() if most is not None}
        wanted, *machines = (replace(one, **limits) for one in _in_order(scenario, way, seed))
        made.append(Compared(total, wanted, LEVEL / tests, tuple(machines)))
    return made


def _in_order(scenario: Scenario, way: str, seed: int) -> list[Rates]:
    """Mean rates of meters in order, and the rates of each, over machines.

    Rates of the machines have the spread of long runs, and the discrepancy of the model.
    """
    runs, shifts = [], []
    for k, machine in enumerate(draw_machines([scenario], MACHINES, seed)):
        try:
            meter = machine.of(scenario)
        except BadInput:  # inputs that contradict one another
            continue
        runs.append(rates(meter, CELLS, way=way, seed=seed, replicate=k))
        shifts.append(machine.shift(scenario, 0))
    if not runs:
        raise bad(scenario.name, "", "no meter at these settings can be run")
    of = {name: np.array([getattr(one, name) for one in runs]) for name in RATES}
    cells = sum(one.cells for one in runs)
    skips, doubles = (
        without_sampling(of[kind], of[f"{kind}_effect"].mean() * len(runs) / cells)
        for kind in KINDS
    )
    skip, double = bent_shares(skips, doubles, np.array(shifts))
    effects = {name: float(of[name].mean()) for name in RATES[2:]}
    pairs = zip(skip.tolist(), double.tolist(), strict=True)
    machines = [Rates(*pair, **effects, cells=cells) for pair in pairs]
    return [Rates(float(skip.mean()), float(double.mean()), **effects, cells=cells), *machines]


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
NOTCH_CELLS, LONG = 2000, 5000  # cells of a run over states; of the run of a single state
FINER = 0.02  # step of tried holes


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
    better_hole : float or None
        Nearest hole within the handbooks' range that has its best notch within one of the centre.
        None without such a hole, or when it is not needed. [m]
    """

    singles: Mapping[float, float]
    best: float
    second: bool
    width: tuple[float, float, float]
    hole: float
    better_hole: float | None


def notches(
    scenario: Scenario,
    found: Diagnosis,
    *,
    towards: int,
    states: int,
    least: float,
    seed: int = 1,
    executor: Executor | None = None,
) -> Notches:
    """Best notch of a meter over its likely states, on the side to which it is moved.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    found : Diagnosis
        Likely states.
    towards : int
        1 for more aggressive notches, -1 for less aggressive ones.
    states : int
        Number of states to try.
    least : float
        Least gain that justifies a step. [1]
    seed : int
        Random seed of states and runs.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.

    Returns
    -------
    Notches
        Answer of the meter.
    """
    likely = found.resampled(states, seed)
    now = scenario.singulator.notch
    moves = {
        notch: move for notch, move in _moves(scenario).items() if towards * (notch - now) >= 0
    }
    at = list(moves)
    table = tried(
        scenario, likely, list(moves.values()), seed=seed, cells=NOTCH_CELLS, executor=executor
    ).singles
    means = np.nanmean(table, axis=0)
    best = int(np.argmax(means))
    near = [k for k, notch in enumerate(at) if abs(notch) <= MOST_NOTCHES]
    second = False
    usual = is_small_round(scenario.seeds.length, scenario.seeds.sphericity)
    if near and best not in near and not usual:
        over = table[:, best] - table[:, near[int(np.argmax(means[near]))]]
        over = over[~np.isnan(over)]  # states in which both notches are possible
        noise = float(np.std(over, ddof=1)) / np.sqrt(len(over))
        second = len(over) > 1 and bool(over.mean() - SURE * noise > least)
    lot = scenario.lot.width * np.array(
        [found.mean("seed size"), *found.interval("seed size")]
    ) * scenario.seed.size_factor  # fmt: skip
    middle, low, high = lot.tolist()
    hole = scenario.disc.hole_diameter
    better = _better_hole(scenario, found, middle, seed) if second else None
    curve = dict(zip(at, means.tolist(), strict=True))
    return Notches(curve, at[best], second, (middle, low, high), hole, better)


def _moves(scenario: Scenario) -> dict[float, Move]:
    """Moves to all possible notches, by notch."""
    now = scenario.singulator.notch
    reach = range(-int(FARTHEST + abs(now)), int(FARTHEST + abs(now)) + 1)
    steps = {now + k: {"notch": k} for k in reach if abs(now + k) <= FARTHEST}
    return {
        notch: Move(f"notch {notch:g}", step)
        for notch, step in steps.items()
        if notch == now or can_move(scenario, step)
    }


def _better_hole(scenario: Scenario, found: Diagnosis, width: float, seed: int) -> float | None:
    """Nearest hole with which the mean state has its best notch within one of the centre."""
    state: State = {name: found.mean(name) for name in found.names if name in HIDDEN}
    low, high = HANDBOOK_HOLE
    ratios = np.linspace(low, high, round((high - low) / FINER) + 1)
    for hole in sorted(ratios * width, key=lambda hole: abs(hole - scenario.disc.hole_diameter)):
        try:
            other = scenario.replace(disc__hole_diameter=float(hole))
        except BadInput:
            continue
        moves = _moves(other)
        row = tried(other, [Possible(state)], list(moves.values()), seed=seed, cells=LONG)
        row = row.singles[0]
        best = list(moves)[int(np.nanargmax(row))]
        if abs(best) <= MOST_NOTCHES:
            return float(hole)
    return None
