"""Likely faults of a meter: hidden states drawn from the priors and weighed by counts.

Each state has its own machine: a draw of coefficients, uncertain inputs and discrepancy.  It is run
at the settings of every look and weighed by the chance of its count.  Where too
few states carry the weight, more are drawn around them.  These come from a normal distribution of
the normal deviates of the priors.  Each state is then weighed by its prior over the mixture of
all distributions that states were drawn from.  Machines are always drawn from the posterior.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import logsumexp, ndtr, ndtri

from metersim.files.faults import BadInput, bad
from metersim.machine.scenario import Scenario
from metersim.questions.next.possible import Machine, Possible, bent_rates, draw_machines
from metersim.questions.shared.hidden import HIDDEN, State, draw_places, meter_of, state_at
from metersim.questions.shared.looks import (
    SENSOR,
    Look,
    Rates,
    kept_full,
    loads_at,
    log_chances,
    rates_of,
)
from metersim.run.parallel import in_order
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

CAUSES = ("seed size", "vacuum", "singulator", "pool", "sensor")
"""Causes that change counts; cut-off edge and tube move seeds in the row, not their number."""
STATES = 400  # drawn from the priors
MORE = 0.5  # of these states are drawn in each further round
ENOUGH = 0.2  # of these states are enough as effective number
ROUNDS = 5  # at most, the first one included
WIDER = 1.5  # variance of further states over that of the weighted ones
FEWEST = 6  # effective states a cause for an estimate of middle and variance
HALVINGS = 10
FARTHEST = 5.0  # prior SDs; quantiles still have their digits there, and no state lies beyond
FLOOR = 0.05  # least variance of further states, in squared prior SDs
CELLS, MOST_CELLS = 2000, 4000  # of the run of a state; longer counts need more
FINER = 4  # cells of a run over those of a count
MOST_METERS = 5  # different settings that are run for each state
CHUNK = 20  # states of a job


@dataclass(frozen=True)
class Seen:
    """A count and the settings at which it was made.

    Attributes
    ----------
    meter : Scenario
        Settings.
    look : Look
        Count.
    """

    meter: Scenario
    look: Look


@dataclass(frozen=True)
class Side:
    """A fault: a cause that lies off to one side by more than is usual.

    Attributes
    ----------
    name : str
        Name of the cause in `HIDDEN`.
    sign : int
        1 for high, -1 for low.
    """

    name: str
    sign: int

    @property
    def words(self) -> str:
        """Meaning of the fault in words."""
        cause = HIDDEN[self.name]
        return cause.high_words if self.sign > 0 else cause.low_words

    @property
    def bound(self) -> float:
        """Value beyond which the cause is a fault: one SD of the prior from its middle."""
        return HIDDEN[self.name].middle + self.sign * HIDDEN[self.name].sd

    def holds(self, values: Floats) -> NDArray[np.bool_]:
        """Whether values of the cause lie beyond the bound."""
        return self.sign * (values - self.bound) > 0


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """Hidden states of a meter, weighed by how well they explain the counts.

    Attributes
    ----------
    seen : tuple of Seen
        Counts with their settings.
    names : tuple of str
        Names of the drawn causes.
    places : ndarray, shape (states, names)
        Quantile of each state in the prior of each cause. [1]
    drawn : int
        Number of states from the priors; these come first.
    weights : ndarray, shape (states,)
        Chance of each state after the counts; sums to 1. [1]
    rates : tuple of tuple of Rates
        Rates of every state on its machine, for each count.
    prior : ndarray, shape (states,)
        Chance of each state before the counts; sums to 1. [1]
    machines : tuple of Machine
        Machine of each state; empty where all states have that of the scenario.
    """

    seen: tuple[Seen, ...]
    names: tuple[str, ...]
    places: Floats
    drawn: int
    weights: Floats
    rates: tuple[tuple[Rates, ...], ...]
    prior: Floats
    machines: tuple[Machine, ...] = ()

    @property
    def effective(self) -> float:
        """Effective number of states: the number of equal weights with the same variance."""
        return float(1 / np.sum(self.weights**2))

    @cached_property
    def states(self) -> list[State]:
        """True values of every state, by name of the cause."""
        return [state_at(row, self.names) for row in self.places]

    def values(self, name: str) -> Floats:
        """True values of a cause, by state."""
        return np.array([state[name] for state in self.states])

    @property
    def sides(self) -> list[Side]:
        """All possible faults: each cause on each possible side."""
        both = [Side(name, sign) for name in self.names for sign in (-1, 1)]
        return [side for side in both if side.words]

    def before(self, side: Side) -> float:
        """Chance of a fault before all counts. [1]"""
        return float(np.mean(side.holds(self.values(side.name)[: self.drawn])))

    def after(self, side: Side) -> float:
        """Chance of a fault after all counts. [1]"""
        return float(self.weights @ side.holds(self.values(side.name)))

    def mean(self, name: str) -> float:
        """Mean value of a cause after all counts."""
        return float(self.weights @ self.values(name))

    def interval(self, name: str, level: float = 0.8) -> tuple[float, float]:
        """Interval of the value of a cause after all counts, with a chance of `level`."""
        values = self.values(name)
        order = np.argsort(values, kind="stable")
        below = np.cumsum(self.weights[order]) - self.weights[order] / 2
        low, high = np.interp([(1 - level) / 2, (1 + level) / 2], below, values[order])
        return float(low), float(high)

    @cached_property
    def correlations(self) -> Floats:
        """Correlations of causes after all counts, as normal deviates of the priors."""
        _, spread = _moments(ndtri(self.places), self.weights)
        scale = np.sqrt(np.diag(spread))
        return np.asarray(spread / np.outer(scale, scale))

    @cached_property
    def possible(self) -> list[Possible]:
        """All states, each on its machine."""
        machines = self.machines or (None,) * len(self.states)
        return [Possible(*pair) for pair in zip(self.states, machines, strict=True)]

    def resampled(self, count: int, seed: int) -> list[Possible]:
        """Meters drawn again in proportion to their weights, evenly spread."""
        return [self.possible[pick] for pick in self.picks(count, seed)]

    def picks(self, count: int, seed: int) -> list[int]:
        """Numbers of the states that `resampled` gives."""
        start = Streams(seed).generator("resampled").random()
        at = (np.arange(count) + start) / count
        # rounding must not give an index past the last state
        picks = np.searchsorted(np.cumsum(self.weights), at).clip(max=len(self.weights) - 1)
        return [int(pick) for pick in picks]


def causes_of(seen: Sequence[Seen]) -> tuple[str, ...]:
    """Causes that change the counts of these looks; the sensor only where it counted."""
    sensed = any(one.look.way == SENSOR for one in seen)
    return tuple(name for name in CAUSES if sensed or name != "sensor")


def diagnose(
    seen: Sequence[Seen],
    *,
    states: int = STATES,
    seed: int = 1,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Diagnosis:
    """Draw hidden states of a meter and weigh them by counts.

    Parameters
    ----------
    seen : sequence of Seen
        One or more counts of the same meter at the same or other settings.
    states : int
        Number of states from the priors; up to three times as many are run.
    seed : int
        Random seed of states and runs.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.  The result is the same.
    on_run : callable, optional
        Function that takes the number of finished states.

    Returns
    -------
    Diagnosis
        Weighed states.

    Raises
    ------
    BadInput
        When no state of the meter can be run.
    """
    names = causes_of(seen)
    places = draw_places(states, seed, names)
    prior = _Normal(np.zeros(len(names)), np.eye(len(names)))
    drawn_from: list[tuple[int, _Normal]] = []
    kept, rates, machines = np.empty((0, len(names))), [], []
    meters = meters_of(seen)
    log_weights = log_prior = weights = np.empty(0)
    drawn = done = 0
    for round_ in range(ROUNDS):
        if drawn_from:
            around = _around(ndtri(kept), log_weights)
            rng = Streams(seed).generator(f"refined {round_}")
            steps = rng.standard_normal((max(round(MORE * states), 1), len(names)))
            places = ndtr((around.middle + steps @ around.root.T).clip(-FARTHEST, FARTHEST))
        else:
            around, places = prior, draw_places(states, seed, names)
        own = draw_machines(meters, len(places), seed, round_=round_, first=done)
        found = list(_run(seen, names, places, own, seed, done, executor, on_run))
        done += len(places)
        right = [k for k, one in enumerate(found) if one is not None]
        drawn = drawn or len(right)
        if not drawn:
            raise bad(seen[0].meter.name, "", "no meter near these settings can be run")
        rates += [one for one in found if one is not None]
        machines += [own[k] for k in right]
        kept = np.concatenate([kept, places[right]])
        drawn_from.append((len(places), around))
        chances = _log_chances(seen, rates)
        log_prior = prior.log_density(ndtri(kept)) - _mixture(drawn_from, ndtri(kept))
        log_weights = chances + log_prior
        weights = np.exp(log_weights - logsumexp(log_weights))
        if 1 / np.sum(weights**2) >= ENOUGH * states:
            break
    by_look = tuple(zip(*rates, strict=True))
    before = np.exp(log_prior - logsumexp(log_prior))
    return Diagnosis(tuple(seen), names, kept, drawn, weights, by_look, before, tuple(machines))


@dataclass(frozen=True, eq=False)
class _Normal:
    """A normal distribution of normal deviates: its middle, and a root of its covariance."""

    middle: Floats
    root: Floats

    def log_density(self, deviates: Floats) -> Floats:
        """Logarithm of the density, up to a common constant."""
        steps = solve_triangular(self.root, (deviates - self.middle).T, lower=True)
        lost = -np.sum(steps**2, axis=0) / 2 - np.log(np.diag(self.root)).sum()
        return np.asarray(lost)


def _around(deviates: Floats, log_weights: Floats) -> _Normal:
    """Distribution of further states: around those that carry the weight, and wider."""
    many = deviates.shape[1]
    middle, spread = _moments(deviates, _flatter(log_weights, FEWEST * many))
    return _Normal(middle, np.asarray(np.linalg.cholesky(WIDER * spread + FLOOR * np.eye(many))))


def _mixture(drawn_from: Sequence[tuple[int, _Normal]], deviates: Floats) -> Floats:
    """Logarithm of the mixed density of all distributions, weighed by their numbers of states."""
    parts = [np.log(many) + one.log_density(deviates) for many, one in drawn_from]
    return np.asarray(logsumexp(parts, axis=0))


def _moments(deviates: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Weighted mean and covariance."""
    middle = weights @ deviates
    off = deviates - middle
    return middle, (weights[:, None] * off).T @ off


def _flatter(log_weights: Floats, least: float) -> Floats:
    """Weights that are levelled until the effective number of states is large enough."""
    power, weights = 1.0, np.empty(0)
    for _ in range(HALVINGS):
        weights = np.exp(power * log_weights - logsumexp(power * log_weights))
        if 1 / np.sum(weights**2) >= least:
            break
        power /= 2
    return weights


def _log_chances(seen: Sequence[Seen], rates: Sequence[Sequence[Rates]]) -> Floats:
    """Logarithm of the chance of all counts together, by state."""
    columns = zip(*rates, strict=True)
    parts = [log_chances(c, [one.look])[0] for one, c in zip(seen, columns, strict=True)]
    return np.asarray(np.sum(parts, axis=0))


def length_for(cells: int) -> int:
    """Cells of the run of a state that is compared with a count of so many cells."""
    return min(max(CELLS, FINER * cells), MOST_CELLS)


def _run(
    seen: Sequence[Seen],
    names: Sequence[str],
    places: Floats,
    machines: Sequence[Machine],
    seed: int,
    first: int,
    executor: Executor | None,
    on_run: Callable[[int], object] | None,
) -> Iterator[tuple[Rates, ...] | None]:
    """Rates of every state for every look; None where the meter is impossible."""
    jobs = [
        (tuple(seen), tuple(names), places[k : k + CHUNK], machines[k : k + CHUNK], seed, first + k)
        for k in range(0, len(places), CHUNK)
    ]
    done = first
    for part in in_order(_run_chunk, jobs, executor):
        yield from part
        done += len(part)
        if on_run:
            on_run(done)


def _run_chunk(
    job: tuple[tuple[Seen, ...], tuple[str, ...], Floats, Sequence[Machine], int, int],
) -> list[tuple[Rates, ...] | None]:
    seen, names, places, machines, seed, first = job
    meters = meters_of(seen)
    ways = [{one.look.way: None for one in seen if one.meter == meter} for meter in meters]
    at = [meters.index(one.meter) for one in seen]
    cells = length_for(max(one.look.cells for one in seen))
    found: list[tuple[Rates, ...] | None] = []
    for k, (row, machine) in enumerate(zip(places, machines, strict=True)):
        state = state_at(row, names)
        try:
            runs = [
                loads_at(
                    kept_full(meter_of(machine.of(meter), state), cells),
                    [*some],
                    seed=seed,
                    replicate=first + k,
                )
                for meter, some in zip(meters, ways, strict=True)
            ]
        except BadInput:
            found.append(None)
            continue
        rates = [rates_of(runs[place][one.look.way]) for place, one in zip(at, seen, strict=True)]
        by = [machine.shift(meter, place) for place, meter in enumerate(meters)]
        found.append(
            tuple(bent_rates(one, by[place]) for one, place in zip(rates, at, strict=True))
        )
    return found


def meters_of(seen: Sequence[Seen]) -> list[Scenario]:
    """The different settings of the looks, in order."""
    meters: list[Scenario] = []
    for one in seen:
        if one.meter not in meters:
            meters.append(one.meter)
    return meters
