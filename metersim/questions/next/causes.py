"""Likely causes of what was seen at a machine, from simulated signatures of faults."""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.scenario import Scenario
from metersim.questions.next.decide import SIMILAR
from metersim.questions.next.evidence import Evidence, fit_of, together
from metersim.questions.next.hypotheses import ELSE, ELSE_PRIOR
from metersim.questions.next.signs import Signs, left_out
from metersim.questions.next.simulated import (
    DEGREES,
    Simulated,
    causes_of,
    column_of,
    simulated,
)
from metersim.questions.next.weighing import evidence_of
from metersim.questions.shared.faults.groups import ALIKE, DAYS, distinguished
from metersim.questions.shared.faults.signatures import (
    FURTHER,
    IN_ORDER,
    SAMPLES,
    Signatures,
    completed,
)
from metersim.run.parallel import check_sent

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]

ORDER_PRIOR = 0.15
"""assumption: whoever asks for a cause has seen trouble, so fewer of these machines are in order
than of those on which somebody merely counts."""
TEMPER = 0.8
"""Part of the evidence that counts (assumption).

Few machines stand for all of a fault, and people's answers depend on one another.
"""
TINY = 1e-100
LEFT_OUT = 0.05  # chance of all faults together whose further signs are not simulated
MILD, BAD = 1 / 3, 2 / 3  # severities between which a fault is called medium


@dataclass(frozen=True, eq=False, kw_only=True)
class Causes:
    """Causes of what was seen, with their chances.

    Attributes
    ----------
    scenario : Scenario
        The machine in order.
    signs : Signs
        What was seen.
    found : Signatures
        Signatures of the faults.
    prior : mapping of str to float
        Chance of each cause before anything was seen. [1]
    chances : mapping of str to float
        Chance of each cause: faults by name, ``in order`` and ``something else``.  They sum to 1.
    fit : float
        Share of the days of the likeliest listed cause that are no likelier than what was seen. [1]
    weights : ndarray, shape (causes, machines)
        Chance of each machine of the listed causes; `chances` without ``something
        else`` are its sums. [1]
    evidence : tuple
        All that was seen, with its chances.
    seed : int
        Random seed of signatures and days.
    """

    scenario: Scenario
    signs: Signs
    found: Signatures
    prior: Mapping[str, float]
    chances: Mapping[str, float]
    fit: float
    weights: Floats
    evidence: tuple[Evidence, ...]
    seed: int

    def __repr__(self) -> str:
        first = self.ranked[0]
        return f"<Causes: {first} {self.chances[first]:.0%}; to_dataframe() lists them all>"

    @property
    def ranked(self) -> list[str]:
        """Causes, likeliest first."""
        return sorted(self.chances, key=lambda name: -self.chances[name])

    @property
    def listed(self) -> tuple[str, ...]:
        """Causes with a signature: faults, and a machine in order."""
        return causes_of(self.found)

    @property
    def likeliest(self) -> str:
        """The likeliest cause with a signature."""
        return next(name for name in self.ranked if name != ELSE)

    @cached_property
    def lines(self) -> tuple[tuple[str, ...], ...]:
        """Causes in groups that nothing seen so far separates, likeliest group first.

        Notes
        -----
        A fault joins the likeliest one that is left if days with the same signs hardly distinguish
        the two, and if this day is at most `SIMILAR` times likelier with one than with the other.
        """
        faults = self.found.faults
        right = distinguished(self.found, self.signs.given, self.seed, DAYS)
        left = [name for name in self.ranked if name in faults]
        made: list[tuple[str, ...]] = [(IN_ORDER,), (ELSE,)]
        while left:
            apart = right[faults.index(left[0])]
            most = self._ratio(left[0])
            near = [
                name
                for name in left[1:]
                if apart[faults.index(name)] < ALIKE
                and max(most, self._ratio(name)) <= SIMILAR * min(most, self._ratio(name))
            ]
            made.append((left[0], *near))
            left = [name for name in left[1:] if name not in near]
        return tuple(sorted(made, key=lambda names: -self.chance_of(names)))

    def _ratio(self, name: str) -> float:
        """Chance of a cause over that before anything was seen."""
        return self.chances[name] / self.prior[name] if self.prior[name] > 0 else 0.0

    def chance_of(self, names: tuple[str, ...]) -> float:
        """Chance of one of several causes. [1]"""
        return sum(self.chances[name] for name in names)

    def severity(self, name: str) -> float:
        """Expected severity of a fault, from 0, just noticeable, to 1, bad. [1]"""
        k = self.found.faults.index(name)
        own = self.weights[k]
        total = own.sum()
        return float(own @ column_of(self.found, "severity")[k] / total) if total > 0 else math.nan

    def severity_word(self, name: str) -> str:
        """Severity of a fault in a word; empty for a cause without one."""
        if name not in self.found.faults:
            return ""
        size = self.severity(name)
        if math.isnan(size):
            return ""
        return "mild" if size < MILD else "bad" if size > BAD else "medium"

    @cached_property
    def factors(self) -> Mapping[str, Mapping[str, float]]:
        """For each cause and sign: chance of what was seen with the cause over that without it."""
        prior = np.array([self.prior[name] for name in self.listed])
        made: dict[str, dict[str, float]] = {name: {} for name in self.chances}
        for one in self.evidence:
            logs = one.logs
            chance = np.exp(logsumexp(logs, axis=1) - np.log(logs.shape[1]))
            flat = math.exp(one.log_flat)
            total = float(prior @ chance) + ELSE_PRIOR * flat
            for k, name in enumerate(self.listed):
                rest = max(total - prior[k] * chance[k], TINY) / (1 - prior[k])
                made[name][one.name] = float(max(chance[k], TINY) / rest)
            rest = max(total - ELSE_PRIOR * flat, TINY) / (1 - ELSE_PRIOR)
            made[ELSE][one.name] = flat / rest
        return made

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a cause, likeliest first (extra ``notebook``)."""
        return dataframe(
            [
                {
                    "cause": name,
                    "before": self.prior[name],
                    "chance": self.chances[name],
                    "severity": self.severity(name) if name in self.found.faults else math.nan,
                }
                for name in self.ranked
            ]
        )


def find_causes(
    scenario: AnyScenario,
    observations: Signs,
    *,
    seed: int = 1,
    samples: int = SAMPLES,
    known: Simulated | None = None,
    executor: Executor | None = None,
) -> Causes:
    """Find the likely causes of what was seen at a machine.

    Parameters
    ----------
    scenario : Scenario, str or Path
        The machine in order, at its present settings.
    observations : Signs
        What was seen and counted.
    seed : int
        Random seed of signatures and days.
    samples : int
        Simulated machines of each fault.
    known : Simulated, optional
        What was simulated of this scenario before.
    executor : Executor, optional
        Executor of the simulations; by default they run in this process.  The result is the same.

    Returns
    -------
    Causes
        Chances of all listed faults, of a machine in order, and of something else.

    Raises
    ------
    BadInput
        If nothing was seen, or signs contradict one another.

    Examples
    --------
    >>> from metersim.questions.next.causes import find_causes
    >>> from metersim.questions.next.signs import Signs
    >>> seen = Signs(pattern="every 30", rows="one", used="less")
    >>> found = find_causes("maize_field", seen, seed=1, samples=2)
    >>> found.ranked[0]
    'plugged holes'

    Notes
    -----
    The chance of a cause goes with its prior times a mean, over its simulated machines, of the
    product of the chances of all signs.  One fault at a time is assumed.  Something else finds
    all answers equally likely, and gets at least what a bad fit asks for (`unlisted_chance`).

    Signs that nobody gave serve the next check alone.  Where they take further runs, these are made
    for the likely faults.  The rest, `LEFT_OUT` together, are taken to show what a machine in order
    shows.  Chances of causes do not depend on that; the expected information of a check moves by
    less than 0.05 bit.
    """
    base = scenario_of(scenario)
    observations.check(base)
    check_sent(base, executor)
    if known is not None:
        return _weighed(base, observations, known, seed)
    given = [sign for sign in FURTHER if sign in observations.given]
    known = simulated(base, seed=seed, samples=samples, further=given, executor=executor)
    causes = _weighed(base, observations, known, seed)
    left = [sign for sign in FURTHER if sign not in given]
    likely = _likely(causes)
    found = completed(causes.found, base, likely, left, seed=seed, executor=executor)
    return replace(causes, found=found)


def _likely(causes: Causes) -> list[str]:
    """Faults of which signs that nobody has seen yet are simulated: all but `LEFT_OUT`."""
    faults = [name for name in causes.ranked if name in causes.found.faults]
    rest = np.cumsum([causes.chances[name] for name in reversed(faults)])[::-1]
    return [name for name, chance in zip(faults, rest, strict=True) if chance > LEFT_OUT]


def _weighed(base: Scenario, observations: Signs, known: Simulated, seed: int) -> Causes:
    """Causes of what was seen, from what was simulated."""
    found = known.found
    names = causes_of(found)
    prior = _priors(found, observations)
    evidence = evidence_of(observations, base, known, seed)
    machines = evidence[0].logs.shape[1]
    each = together(evidence, (len(names), machines)) - np.log(machines)
    own = logsumexp(each, axis=1, keepdims=True)
    before = np.log(np.maximum([prior[name] for name in names], TINY))[:, None]
    logs = each - own + TEMPER * own + before
    listed = float(logsumexp(logs))
    other = TEMPER * sum(one.log_flat for one in evidence) + math.log(ELSE_PRIOR)
    weights = np.exp(logs - listed).reshape(len(names), DEGREES, -1).sum(axis=2)
    best = int(np.argmax(weights.sum(axis=1)))
    fit = fit_of(evidence, best, machines, seed)
    unlisted = max(math.exp(other - np.logaddexp(listed, other)), unlisted_chance(fit))
    weights = weights * (1 - unlisted)
    chances = dict(zip(names, weights.sum(axis=1).tolist(), strict=True))
    return Causes(
        scenario=base,
        signs=observations,
        found=found,
        prior=prior,
        chances={**chances, ELSE: unlisted},
        fit=fit,
        weights=weights,
        evidence=evidence,
        seed=seed,
    )


def unlisted_chance(fit: float) -> float:
    """Least chance of something else for a fit of the best listed cause.

    Parameters
    ----------
    fit : float
        Share of the days of that cause that are no likelier than what was seen. [1]

    Returns
    -------
    float
        Chance; 0 for a good fit. [1]

    Notes
    -----
    A p value of p speaks for a cause against all others by no less than ``-e p log(p)``, where p
    is below 1/e (Sellke, Bayarri and Berger 2001, from memory).  This least ratio is taken.
    """
    if fit >= math.exp(-1):
        return 0.0
    ratio = -math.e * fit * math.log(fit)
    return ELSE_PRIOR / (ELSE_PRIOR + (1 - ELSE_PRIOR) * ratio)


def _priors(found: Signatures, signs: Signs) -> dict[str, float]:
    """Chance of each cause before anything was seen. [1]"""
    out = left_out(signs)
    share = np.where([name in out for name in found.faults], 0.0, found.prior)
    share = share / share.sum() * (1 - ORDER_PRIOR - ELSE_PRIOR)
    return {
        **dict(zip(found.faults, share.tolist(), strict=True)),
        IN_ORDER: ORDER_PRIOR,
        ELSE: ELSE_PRIOR,
    }


def answer_chances(causes: Causes, table: Floats) -> Floats:
    """Chance of each answer given each cause and all that was seen.

    Parameters
    ----------
    causes : Causes
        Causes of what was seen.
    table : ndarray, shape (answers, causes, machines)
        Chances of answers, such as `chances_of` gives. [1]

    Returns
    -------
    ndarray, shape (answers, causes + 1)
        Means over the machines that explain what was seen. [1]

    Notes
    -----
    Nobody knows what something else shows.  It has the mean answers of the listed causes, so that
    no check is credited with finding it.
    """
    weights = causes.weights.clip(min=TINY)
    each = weights.sum(axis=1)
    mean = (table * weights).sum(axis=2) / each
    return np.column_stack([mean, mean @ (each / each.sum())])
