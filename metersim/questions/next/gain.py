"""Gains of moves over likely meters, with all that is not known of them.

A gain is the change of the share of cells with one seed as they leave the meter.  Effects of the
tube and the soil on spacings are the same before and after a move.  A meter has the same machine
before and after a move, so most of the model's error cancels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.questions.next.bank import ALL, NONE, SHARED, shares_with
from metersim.questions.next.diagnosis import Diagnosis
from metersim.questions.next.hypotheses import Points
from metersim.questions.next.moves import Move, moves_of
from metersim.questions.next.possible import Machines
from metersim.questions.next.surface import placed, where
from metersim.questions.shared.looks import BELT, HALF, kept_full, loads_at
from metersim.run.parallel import in_order

Floats = NDArray[np.float64]

PICKED = 400  # likely meters on which moves are tried
CHECK_CELLS = 1500  # cells of a run of some of them
LEVEL = LEVEL_TOTAL  # coverage of the interval of a gain
LEAST = 0.002  # least gain that justifies a move, as a share of cells
SEVERAL = (6, 16)  # of them that are run before and after a move, while one may be advised
MOST_OFF = 0.01
"""What runs of the likely meters seldom add to a gain that the surface predicts. [1]"""
HOPED = 3.0  # standard errors of a few runs that more of them seldom add to a gain
SURE = 2.0  # standard errors below the expected gain


@dataclass(frozen=True, eq=False)
class Gain:
    """Gain of a move over likely meters.

    Attributes
    ----------
    move : Move
        The move.
    changes : ndarray, shape (meters,)
        Change of the share of cells with one seed of equally likely meters. [1]
    errors : ndarray, shape (meters,), or float
        What the discrepancy of the two settings adds to each change. [1]
    effective : float
        Effective number of likely meters.
    apart : float
        Standard error of the changes against runs of some of the meters. [1]
    other : float
        Chance that something is wrong that is not listed; nothing is known of the move then. [1]
    """

    move: Move
    changes: Floats
    errors: Floats | float = 0.0
    effective: float = math.inf
    apart: float = 0.0
    other: float = 0.0

    @property
    def value(self) -> float:
        """Expected gain. [1]"""
        return float(self.changes.mean())

    @property
    def noise(self) -> float:
        """Standard error of the expected gain, from finite numbers of meters and cells. [1]"""
        many = 1 / len(self.changes) + 1 / self.effective
        return math.hypot(float(self.changes.std(ddof=1)) * math.sqrt(many), self.apart)

    @property
    def sure(self) -> float:
        """Lower bound of the expected gain against the noise of the simulation. [1]"""
        return self.value - SURE * self.noise

    @property
    def likely(self) -> Floats:
        """Likely gains of this meter: faults, machine, inputs and discrepancy together. [1]"""
        return self.changes + self.errors

    @property
    def interval(self) -> tuple[float, float]:
        """Total interval: it holds `LEVEL` of the likely gains, and the error of their mean. [1]"""
        ends, reach = _between(self.likely), self._reach
        apart = [
            max(sign * (end - self.value), 0.0) for sign, end in zip((-1, 1), ends, strict=True)
        ]
        return self.value - math.hypot(apart[0], reach), self.value + math.hypot(apart[1], reach)

    @property
    def parts(self) -> dict[str, tuple[float, float]]:
        """Intervals of the gain by name: the total, and what it is made of. [1]

        ``sampling`` is the error of the mean, from finite numbers of meters and cells.  ``meters``
        is what faults, machines and inputs leave open after the counts.  ``discrepancy`` is the
        error of the model.
        """
        value, reach = self.value, self._reach
        errors = value + self.errors + np.zeros_like(self.changes)
        return {
            "total": self.interval,
            "sampling": (value - reach, value + reach),
            "meters": _between(self.changes),
            "discrepancy": _between(errors),
        }

    @property
    def _reach(self) -> float:
        """Distance of the ends of the sampling interval from the mean. [1]"""
        return float(ndtri((1 + LEVEL) / 2)) * self.noise

    @property
    def worse(self) -> float:
        """Chance that fewer cells have one seed than before. [1]

        Where something is wrong that is not listed, both are equally likely.
        """
        return (1 - self.other) * self.worse_listed + self.other / 2

    @property
    def helps(self) -> float:
        """Chance of a gain above `LEAST` where nothing is wrong but what is listed. [1]"""
        many = min(self.effective, len(self.changes))
        return float((np.mean(self.likely > LEAST) * many + HALF) / (many + 2 * HALF))

    @property
    def worse_listed(self) -> float:
        """The same where nothing is wrong but what is listed. [1]

        Half a meter is added to each side, as no number of meters proves that it is impossible.
        """
        many = min(self.effective, len(self.changes))
        return float((np.mean(self.likely < 0) * many + HALF) / (many + 2 * HALF))


def _between(values: Floats) -> tuple[float, float]:
    low, high = np.quantile(values, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(low), float(high)


def gains(
    found: Diagnosis,
    moves: Sequence[Move],
    *,
    weights: Floats | None = None,
    units: str = "metric",
    seed: int = 1,
) -> list[Gain]:
    """Expected gains of moves over no move, best first.

    Parameters
    ----------
    found : Diagnosis
        Weighed meters.
    moves : sequence of Move
        Moves whose settings the diagnosis covers.
    weights : ndarray, optional
        Chances of its points; by default those after all counts. [1]
    units : {'metric', 'us'}
        Family of units of the steps of settings.
    seed : int
        Random seed of the picks.
    """
    weights = found.weights if weights is None else weights
    picks = found.picks(PICKED, seed, weights)
    points, machines = found.points.of(picks), found.bank.machines.at(picks)
    effective = float(weights.sum() ** 2 / np.sum(weights**2))
    places = [(found.base, points), *(_made(found, points, move, units) for move in moves)]
    singles = [_singles(found, *place, machines, [SHARED, ALL]) for place in places]
    shared, every = np.array(singles).swapaxes(0, 1)
    changes = shared[1:] - shared[0]
    errors = every[1:] - every[0] - changes
    other = found.unlisted(weights)
    made = [
        Gain(move, change, error, effective, other=other)
        for move, change, error in zip(moves, changes, errors, strict=True)
    ]
    return sorted(made, key=lambda gain: -gain.value)


def better(gain: Gain) -> Gain:
    """A gain that is as much better as further runs seldom find it.

    Notes
    -----
    assumption: `MOST_OFF` where nothing was run, and `HOPED` standard errors of the runs otherwise.
    """
    more = HOPED * gain.apart if gain.apart else MOST_OFF
    return replace(gain, changes=gain.changes + more)


def _made(found: Diagnosis, points: Points, move: Move, units: str) -> tuple[Scenario, Points]:
    """Settings and meters after a move."""
    return move.made(found.base, units), points.mended(move.mends) if move.mends else points


def _singles(
    found: Diagnosis, meter: Scenario, points: Points, machines: Machines, errors: Sequence[str]
) -> list[Floats]:
    """Share of cells with one seed of meters, for each choice of errors."""
    made = shares_with(found.bank.surface, meter, BELT, points, machines, errors)
    return [np.asarray(1 - skip - double) for skip, double in made]


def checked(
    found: Diagnosis,
    some: Sequence[Gain],
    *,
    alone: bool = False,
    go_on: Callable[[Sequence[Gain]], Sequence[Gain]] | None = None,
    units: str = "metric",
    seed: int = 1,
    executor: Executor | None = None,
) -> list[Gain]:
    """Gains after runs of some likely meters, before and after each move.

    Parameters
    ----------
    found : Diagnosis
        Weighed meters.
    some : sequence of Gain
        Gains that the surface predicts, of `PICKED` meters each.
    alone : bool
        Whether only the runs count, as for parts that the surface does not know.
    go_on : callable, optional
        Function that takes the gains after runs of a few meters, and gives those of them for which
        more are run; by default all.
    units : {'metric', 'us'}
        Family of units of the steps of settings.
    seed : int
        Random seed of the runs; before and after a move they have common random numbers.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.

    Returns
    -------
    list of Gain
        The same gains, corrected by the mean difference of the runs from what was predicted, best
        first.  The standard error of that difference is part of the noise.
    """
    if not some:
        return []
    few, many = SEVERAL
    picks = found.picks(PICKED, seed)[:: PICKED // many]
    first = np.arange(few) * many // few  # spread as all of them are
    picks = picks[np.concatenate([first, np.setdiff1d(np.arange(many), first)])]
    points, machines = found.points.of(picks), found.bank.machines.at(picks)
    sound = 1 - np.minimum(points.failing / found.base.disc.cells, 1.0)
    places = [(found.base, points), *(_made(found, points, one.move, units) for one in some)]
    rows = [(setting, where(setting, there, machines).table) for setting, there in places]
    said = np.array([_singles(found, *place, machines, [NONE])[0] for place in places])

    def ran(which: Sequence[int], meters: Sequence[int]) -> Floats:
        """Shares at some of the places, shape (places, meters)."""
        jobs = [
            ([(rows[j][0], rows[j][1][k]) for j in which], machines.at(np.array([k])), seed, k)
            for k in meters
        ]
        return np.asarray(np.array([*in_order(_run, jobs, executor)]).T * sound[meters])

    every = range(len(places))
    shares = ran(every, range(few))
    made = _corrected(some, shares, said[:, :few], alone)
    wanted = made if go_on is None else go_on(made)
    few_can = {one.move.words for one in some} - {one.move.words for one in made}
    words = few_can | {one.move.words for one in wanted}
    more = [k for k, one in enumerate(some) if one.move.words in words]
    if more:
        which = [0, *(k + 1 for k in more)]
        shares = np.concatenate([shares[which], ran(which, range(few, many))], axis=1)
        better_known = _corrected([some[k] for k in more], shares, said[which], alone)
        made = [*better_known, *(one for one in made if one.move.words not in words)]
    return sorted(made, key=lambda gain: -gain.value)


def _corrected(some: Sequence[Gain], ran: Floats, said: Floats, alone: bool) -> list[Gain]:
    """Gains with the mean difference of runs from what was said, by setting and meter."""
    off = (ran[1:] - ran[0]) - (0.0 if alone else said[1:] - said[0])
    made = []
    for gain, apart in zip(some, off, strict=True):
        known = apart[np.isfinite(apart)]
        if len(known) < 2:
            continue
        error = float(known.std(ddof=1)) / math.sqrt(len(known))
        changes = np.resize(known, PICKED) if alone else gain.changes + known.mean()
        made.append(replace(gain, changes=changes, apart=error))
    return made


def _run(
    job: tuple[Sequence[tuple[Scenario, Floats]], Machines, int, int],
) -> list[float]:
    """Share of cells with one seed of a meter at several settings; nan where it is impossible."""
    places, machine, seed, replicate = job
    shares = []
    for setting, row in places:
        try:
            meter = kept_full(placed(machine.of(0, setting), row), CHECK_CELLS)
            loads = loads_at(meter, seed=seed, replicate=replicate)[BELT]
            shares.append(float(np.mean(loads == 1)))
        except BadInput:
            shares.append(math.nan)
    return shares


def of_guide(found: Diagnosis, units: str, seed: int, executor: Executor | None) -> list[Gain]:
    """Gain of another guide, by runs alone: the surface does not know it."""
    moves = [move for move in moves_of(found.base, ("guide",), units) if "guide" in move.steps]
    quick = gains(found, moves, units=units, seed=seed)
    return checked(found, quick, alone=True, units=units, seed=seed, executor=executor)
