"""A look at a meter: a count of its cells, and the same count of a simulated run.

Neighbouring cells depend on one another.  A count of n cells has the variance of a count of
``n / effect`` independent cells.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault
from metersim.machine import losses
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.measures.places import shown_spacings
from metersim.measures.spacing import classes_of
from metersim.questions.shared.counts import effect_by_windows
from metersim.run.records import Cells, Run
from metersim.run.simulation import simulate, simulate_cells

BELT, SENSOR, SPACED, DISC = WAYS = ("belt", "sensor", "sensor by spacing", "disc")
"""Ways of looking: seeds on a belt or a bench; pulses of the sensor, by cells or by the spacings
that they measure; or a disc at rest."""
BY_SENSOR = (SENSOR, SPACED)
COUNTED_BY = {"belt": BELT, "sensor": SENSOR, "row": BELT, "disc": DISC}
"""Way of looking by how a count was made; a belt and the row show the same cells."""
KINDS = ("skip", "double")
STRETCH = 50  # cells; much longer than the dependence of cells, unless the pool is starved
MOST_EFFECT = 20.0
LEAST_EFFECT = 0.25
ROOM = 1.25  # seed that the largest hopper must hold, over one seed a cell
MOST_SEEDS = 3  # mean seeds of a cell for which a hopper is filled
KNOWN = 1e6  # cells of a run whose rates have no sampling error
HALF = 0.5  # events added to each kind of cell, as no run proves that an event is impossible


@dataclass(frozen=True, kw_only=True)
class Look:
    """A count of cells.

    Attributes
    ----------
    cells : int
        Cells that passed, or that were inspected.
    skips : int
        Cells with no seed.
    doubles : int or None
        Cells with two seeds or more; None when these were not counted.
    way : str
        One of `WAYS`.
    """

    cells: int
    skips: int
    doubles: int | None
    way: str = BELT

    def __post_init__(self) -> None:
        faults = []
        if self.way not in WAYS:
            faults.append(Fault("look", "way", f"'{self.way}'; allowed: {', '.join(WAYS)}"))
        if self.cells < 1:
            faults.append(Fault("look", "cells", f"{self.cells}; give 1 or more"))
        several = self.doubles or 0
        if min(self.skips, several) < 0 or self.skips + several > self.cells:
            counted = f"{self.skips} skips and {several} doubles"
            faults.append(Fault("look", "cells", f"{self.cells} cells cannot have {counted}"))
        if faults:
            raise BadInput(faults)

    @property
    def skip_share(self) -> float:
        """Skips per cell."""
        return self.skips / self.cells

    @property
    def double_share(self) -> float:
        """Doubles per cell; nan when they were not counted."""
        return math.nan if self.doubles is None else self.doubles / self.cells


def look_of_seeds(seeds: int, skips: int, doubles: int, triples: int = 0, way: str = BELT) -> Look:
    """The look that follows from a count of seeds, skips, doubles and triples.

    Parameters
    ----------
    seeds : int
        All seeds; a double has two.
    skips, doubles, triples : int
        Cells without a seed, with two and with three or more, 0 or more each.
    way : str
        One of `WAYS`.

    Raises
    ------
    BadInput
        When doubles and triples have more seeds than were counted, or a number is below 0.

    Examples
    --------
    >>> import metersim as m
    >>> m.look_of_seeds(500, skips=2, doubles=21)
    Look(cells=481, skips=2, doubles=21, way='belt')
    """
    named = {"seeds": seeds, "skips": skips, "doubles": doubles, "triples": triples}
    faults = [
        Fault("count", name, f"{value} is below 0") for name, value in named.items() if value < 0
    ]
    if not faults and 2 * doubles + 3 * triples > seeds:
        several = f"{doubles} doubles" + (f" and {triples} triples" if triples else "")
        message = (
            f"{several} alone have {2 * doubles + 3 * triples} seeds, more than the {seeds} "
            "counted; give all seeds, those of doubles included"
        )
        faults.append(Fault("count", "doubles", message))
    if not faults and not seeds + skips:
        faults.append(Fault("count", "seeds", "nothing was counted; give 1 or more"))
    if faults:
        raise BadInput(faults)
    cells = seeds - doubles - 2 * triples + skips
    return Look(cells=cells, skips=skips, doubles=doubles + triples, way=way)


def summed(looks: Sequence[Look]) -> Look:
    """Sum of counts that were made in one way; doubles only where all counted them."""
    blind = any(look.doubles is None for look in looks)
    return Look(
        cells=sum(look.cells for look in looks),
        skips=sum(look.skips for look in looks),
        doubles=None if blind else sum(look.doubles or 0 for look in looks),
        way=looks[0].way,
    )


@dataclass(frozen=True)
class Rates:
    """Rates of skips and doubles that a way of looking shows of a meter.

    Attributes
    ----------
    skip, double : float
        Chance that a cell shows no seed, and two or more. [1]
    skip_effect, double_effect : float
        Variance of a count of many cells over that of independent cells. [1]
    cells : int
        Cells of the run from which the rates were estimated.
    """

    skip: float
    double: float
    skip_effect: float
    double_effect: float
    cells: int


@dataclass(frozen=True, eq=False)
class Levels:
    """Rates of many meters in one way of looking.

    Attributes
    ----------
    skip, double : ndarray, shape (meters,)
        Chance that a cell shows no seed, and two or more. [1]
    skip_effect, double_effect : float or ndarray, shape (meters,)
        Variance of a count of many cells over that of independent cells. [1]
    cells : float or ndarray, shape (meters,)
        Cells of the runs from which the rates were estimated; many where they are known.
    """

    skip: NDArray[np.float64]
    double: NDArray[np.float64]
    skip_effect: float | NDArray[np.float64] = 1.0
    double_effect: float | NDArray[np.float64] = 1.0
    cells: float | NDArray[np.float64] = KNOWN


def levels_of(rates: Sequence[Rates]) -> Levels:
    """The rates of several meters as arrays."""
    names = ("skip", "double", "skip_effect", "double_effect", "cells")
    return Levels(*(np.array([getattr(one, name) for one in rates], dtype=float) for name in names))


def log_chances(
    levels: Levels, looks: Sequence[Look], kinds: Sequence[str] = KINDS
) -> NDArray[np.float64]:
    """Logarithm of the chance of many looks under many rates at once.

    Parameters
    ----------
    levels : Levels
        Rates of each possible meter.
    looks : sequence of Look
        Counts; doubles were counted in all of them, or in none.
    kinds : sequence of str
        Kinds of cells to judge by, ``skip``, ``double`` or both; all other cells are one kind.

    Returns
    -------
    ndarray, shape (looks, meters)
        Logarithms. [1]

    Raises
    ------
    ValueError
        When doubles were counted only in some looks, or when `kinds` asks for doubles alone and
        they were not counted.

    Notes
    -----
    assumption: a count has the distribution of ``cells / effect`` independent cells.  The chances
    of all counts sum to 1, so that the effect alone does not favour a meter.  The chance is a mean
    over all rates that fit the run (Dirichlet-multinomial).  Half an event is added to each kind
    of cell, as no run proves that an event is impossible.
    """
    from scipy.special import gammaln  # slow to load, and no count is usual

    judged = _judged(looks, kinds)
    effect = np.array([getattr(levels, f"{kind}_effect") + 0 * levels.skip for kind in judged])
    effect = effect.max(axis=0).clip(min=1.0)
    chance = np.array([getattr(levels, kind) for kind in judged])
    chance = np.vstack([chance, 1 - chance.sum(axis=0)]).clip(min=0.0)
    seen = (chance * (levels.cells / effect) + HALF)[:, None, :]
    held = _held(looks, judged)[:, :, None] / effect
    every, known = held.sum(axis=0), seen.sum(axis=0)
    found: NDArray[np.float64] = np.sum(gammaln(held + seen) - gammaln(seen) - gammaln(held + 1), 0)
    found += gammaln(every + 1) + gammaln(known) - gammaln(every + known)
    found -= len(judged) * np.log(effect)
    return found


def _judged(looks: Sequence[Look], kinds: Sequence[str]) -> list[str]:
    """Kinds of cells of some looks that were counted."""
    counted = [look.doubles is not None for look in looks]
    if any(counted) and not all(counted):
        raise ValueError("looks with doubles and looks without; allowed: one or the other")
    judged = [kind for kind in kinds if kind != "double" or any(counted)]
    if not judged:
        raise ValueError("doubles were not counted")
    return judged


def _held(looks: Sequence[Look], judged: Sequence[str]) -> NDArray[np.float64]:
    """Counts of each judged kind, and of all other cells, shape (kinds + 1, looks)."""
    count = np.array(
        [[getattr(look, f"{kind}s") for look in looks] for kind in judged], dtype=float
    )
    return np.vstack([count, [look.cells for look in looks] - count.sum(axis=0)])


def flat_chance(look: Look, effect: float) -> float:
    """Logarithm of the chance of a look where all shares of its kinds are equally likely.

    Parameters
    ----------
    look : Look
        Count.
    effect : float
        Variance of a count over that of independent cells, 1 or more. [1]

    Notes
    -----
    ``log(k!/((n + 1) ... (n + k))) - k log(effect)`` of ``n = cells/effect`` and k judged kinds.
    It is the Dirichlet-multinomial chance with one event of each kind.
    """
    judged = _judged([look], KINDS)
    steps = np.arange(1, len(judged) + 1)
    return float(np.sum(np.log(steps) - np.log(look.cells / effect + steps) - np.log(effect)))


def loads(run: Run, way: str = BELT) -> NDArray[np.int64]:
    """Number of seeds that a way of looking shows in each cell of a run.

    Parameters
    ----------
    run : Run
        Run with its records.
    way : str
        One of `WAYS`.  They show seeds that landed, seeds that gave a pulse of the sensor, or seeds
        on a disc at rest behind the singulator.

    Returns
    -------
    ndarray of int, shape (cells,)
        Seeds by cell; by theoretical place where the sensor measures spacings. [1]
    """
    if way == SPACED:
        return loads_of_spacings(shown_spacings(run))
    if way == SENSOR:
        return np.bincount(run.seeds.cell[run.seeds.seen], minlength=len(run.cells))
    return carried(run.cells, way)


def loads_of_spacings(ratios: NDArray[np.float64]) -> NDArray[np.int64]:
    """Number of seeds in each theoretical place, from spacings in order.

    Parameters
    ----------
    ratios : ndarray, shape (n,)
        Spacings over the theoretical one. [1]

    Returns
    -------
    ndarray of int, shape (places,)
        Seeds by place, from the second seed on: a seed closer than 0.5 shares the place of the one
        before it, and a spacing from 1.5 on leaves one to three places empty.  [1]

    Notes
    -----
    Source: iso7256 (from memory), as iso11783 (read) asks of a monitor.  The standard takes every
    close spacing for a pair; three seeds in a place count as one double here.
    """
    at = np.cumsum(classes_of(ratios), dtype=np.int64)  # class 0 stays, class 2 skips a place
    return np.bincount(at, minlength=int(at[-1]) + 1 if len(at) else 0)[1:]


def carried(cells: Cells, way: str = BELT) -> NDArray[np.int64]:
    """Number of seeds in each cell, by a way of looking that needs the cells alone."""
    seeds = cells.released.astype(np.int64)
    if way == DISC:
        for loss in losses.TAKING:
            if loss.at_rest:
                seeds += getattr(cells, loss.column)
    return seeds


def loads_at(
    scenario: Scenario, ways: Sequence[str] = (BELT,), *, seed: int = 1, replicate: int = 0
) -> Mapping[str, NDArray[np.int64]]:
    """Number of seeds in each cell of a scenario's run, by way of looking.

    Only the sensor needs the fall of each seed; other ways simulate the cells alone.

    Parameters
    ----------
    scenario : Scenario
        Scenario to run.
    ways : sequence of str
        Some of `WAYS`.
    seed, replicate : int
        Random seed and replicate, which choose the random draws.

    Returns
    -------
    mapping of str to ndarray of int, shape (cells,)
        Seeds by cell, as `loads` gives them. [1]
    """
    if not {*BY_SENSOR}.isdisjoint(ways):
        run = simulate(scenario, seed=seed, replicate=replicate)
        return {way: loads(run, way) for way in ways}
    cells = simulate_cells(scenario, seed=seed, replicate=replicate)
    return {way: carried(cells, way) for way in ways}


def rates_of(loads: NDArray[np.int64]) -> Rates:
    """Rates of skips and doubles with their design effects, from the seeds of successive cells."""
    skip, double = loads == 0, loads > 1
    return Rates(
        float(skip.mean()), float(double.mean()), _effect(skip), _effect(double), len(loads)
    )


def kept_full(scenario: Scenario, cells: int) -> Scenario:
    """A scenario of about so many cells, with enough seed in its hopper.

    The amount of seed in the hopper has no other effect, and a user refills it before it is empty.
    The scenario has fewer cells where even the largest hopper holds too little seed.
    """
    most = all_fields()["pool", "hopper"].high
    each = scenario.seeds.seed_mass
    longer = scenario.lasting(min(cells, int((most - scenario.pool_fill) / (ROOM * each))))
    wanted = longer.pool_fill + MOST_SEEDS * each * longer.passages
    if longer.pool.hopper >= wanted:
        return longer
    return longer.replace(pool__hopper=min(wanted, most))


def rates(
    scenario: Scenario, cells: int, *, way: str = BELT, seed: int = 1, replicate: int = 0
) -> Rates:
    """Rates of a scenario over about so many cells, with the hopper kept full."""
    shown = loads_at(kept_full(scenario, cells), [way], seed=seed, replicate=replicate)
    return rates_of(shown[way])


def _effect(events: NDArray[np.bool_]) -> float:
    """Design effect, kept within the range that a short run can estimate."""
    return min(max(effect_by_windows(events, STRETCH), LEAST_EFFECT), MOST_EFFECT)
