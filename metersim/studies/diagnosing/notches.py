"""Whether a meter calls for a second notch, and what that says of its holes and seeds."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from metersim.faults import BadInput
from metersim.practice import HANDBOOK_HOLE, MOST_NOTCHES, is_small_round
from metersim.scenario import Scenario
from metersim.studies.counting.hidden import HIDDEN, State
from metersim.studies.counting.settings import can_move
from metersim.studies.diagnosing.diagnosis import Diagnosis
from metersim.studies.diagnosing.moves import SURE, Move, singles

FARTHEST = 3.0  # notches from the centre that are looked at
CELLS, LONG = 2000, 5000  # of a run; of one that stands alone
FINER = 0.02  # steps of that


@dataclass(frozen=True)
class Notches:
    """How a meter answers to its notches, over its likely states.

    Attributes
    ----------
    singles : mapping of float to float
        Expected share of cells with one seed by notch, 0 the centre. [1]
    best : float
        The notch with the most.
    second : bool
        Whether that lies more than one notch from the centre, by more than the simulation's noise
        and than is worth a step; never of small round seed, which usually starts there.
    width : tuple of float
        Width of the seed as it probably is: mean, and where it lies with 80 %. [m]
    hole : float
        What is set. [m]
    better_hole : float or None
        Nearest hole inside the handbooks' range with which the best notch lies within one of the
        centre; None when there is none, or it is not called for. [m]
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
    """Find the best notch of a meter over its likely states, on the side that it is moved to.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    found : Diagnosis
        Likely states.
    towards : int
        1 for notches more aggressive than now, -1 for less.
    states : int
        How many of them to try.
    least : float
        Gain that is worth a step. [1]
    seed : int
        Chooses states and luck.
    executor : Executor, optional
        Where to run; here, when not given.

    Returns
    -------
    Notches
        How it answers.
    """
    likely = found.resampled(states, seed)
    now = scenario.singulator.notch
    moves = {
        notch: move for notch, move in _moves(scenario).items() if towards * (notch - now) >= 0
    }
    at = list(moves)
    table = singles(
        scenario, likely, list(moves.values()), seed=seed, cells=CELLS, executor=executor
    )
    means = np.nanmean(table, axis=0)
    best = int(np.argmax(means))
    near = [k for k, notch in enumerate(at) if abs(notch) <= MOST_NOTCHES]
    second = False
    usual = is_small_round(scenario.seeds.length, scenario.seeds.sphericity)
    if near and best not in near and not usual:
        over = table[:, best] - table[:, near[int(np.argmax(means[near]))]]
        over = over[~np.isnan(over)]  # of meters that can have both
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
    """Moves to every notch that can be reached, by notch."""
    now = scenario.singulator.notch
    reach = range(-int(FARTHEST + abs(now)), int(FARTHEST + abs(now)) + 1)
    steps = {now + k: {"notch": k} for k in reach if abs(now + k) <= FARTHEST}
    return {
        notch: Move(f"notch {notch:g}", step)
        for notch, step in steps.items()
        if notch == now or can_move(scenario, step)
    }


def _better_hole(scenario: Scenario, found: Diagnosis, width: float, seed: int) -> float | None:
    """The nearest hole with which the mean state has its best notch within one of the centre."""
    state: State = {name: found.mean(name) for name in found.names if name in HIDDEN}
    low, high = HANDBOOK_HOLE
    ratios = np.linspace(low, high, round((high - low) / FINER) + 1)
    for hole in sorted(ratios * width, key=lambda hole: abs(hole - scenario.disc.hole_diameter)):
        try:
            other = scenario.replace(disc__hole_diameter=float(hole))
        except BadInput:
            continue
        moves = _moves(other)
        row = singles(other, [state], list(moves.values()), seed=seed, cells=LONG)[0]
        best = list(moves)[int(np.nanargmax(row))]
        if abs(best) <= MOST_NOTCHES:
            return float(hole)
    return None
