"""Evidence: things that were seen at a machine, each with its chances.

Each is a small class that knows its chance under all simulated machines, its chance where nothing
listed is wrong, and what it would have been on other days of one cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from metersim.questions.shared.looks import Levels, Look, flat_chance, log_chances
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

DAYS = 400  # days of a cause that are drawn


class Evidence(Protocol):
    """Something that was seen."""

    @property
    def name(self) -> str:
        """Name of the sign."""
        ...

    @property
    def said(self) -> str:
        """What was seen, in words."""
        ...

    @property
    def log_flat(self) -> float:
        """Logarithm of its chance where something that is not listed is wrong."""
        ...

    @property
    def logs(self) -> Floats:
        """Logarithm of its chance, shape (causes, machines)."""
        ...

    def drawn(self, cause: int, machine: NDArray[np.int64], seed: int) -> Floats:
        """The same of other days of a cause under the cause itself, shape (days, machines)."""
        ...


@dataclass(frozen=True, eq=False)
class Answered:
    """A sign that was given in words.

    Attributes
    ----------
    name, said : str
        Name of the sign, and the answer.
    table : ndarray, shape (answers, causes, machines)
        Chance of each possible answer. [1]
    at : int
        Number of the answer.
    """

    name: str
    said: str
    table: Floats
    at: int

    @property
    def log_flat(self) -> float:
        """All answers are equally likely where something that is not listed is wrong."""
        return -float(np.log(len(self.table)))

    @property
    def logs(self) -> Floats:
        """Logarithm of the chance of the answer, shape (causes, machines)."""
        return np.asarray(np.log(self.table[self.at]))

    def drawn(self, cause: int, machine: NDArray[np.int64], seed: int) -> Floats:
        """Logarithms of the chances of drawn answers, shape (days, machines)."""
        own = self.table[:, cause]
        chance = Streams(seed).generator(f"days: {self.name}").random(len(machine))
        answer = np.sum(chance > np.cumsum(own, axis=0)[:-1, machine], axis=0)
        return np.asarray(np.log(own[answer]))


@dataclass(frozen=True, eq=False)
class Measured:
    """A sign that was given as a number with a normal error.

    Attributes
    ----------
    name, said : str
        Name of the sign, and the number in words.
    value : float
        The number, over the planned one. [1]
    middle : ndarray, shape (causes, machines)
        The same of each machine. [1]
    sd : float
        SD of the number. [1]
    wide : float
        Width of the range in which all numbers are equally likely where something that is not
        listed is wrong. [1]
    """

    name: str
    said: str
    value: float
    middle: Floats
    sd: float
    wide: float

    @property
    def log_flat(self) -> float:
        """Logarithm of an even density over the whole range."""
        return -float(np.log(self.wide))

    @property
    def logs(self) -> Floats:
        """Logarithm of the density of the number, shape (causes, machines)."""
        return self._log(self.value - self.middle)

    def drawn(self, cause: int, machine: NDArray[np.int64], seed: int) -> Floats:
        """Logarithms of the densities of drawn numbers, shape (days, machines)."""
        error = Streams(seed).generator(f"days: {self.name}").standard_normal(len(machine))
        made = self.middle[cause, machine] + self.sd * error
        return self._log(made[:, None] - self.middle[cause])

    def _log(self, apart: Floats) -> Floats:
        return np.asarray(-((apart / self.sd) ** 2) / 2 - np.log(self.sd * np.sqrt(2 * np.pi)))


@dataclass(frozen=True, eq=False)
class Counted:
    """Counts of one way of looking.

    Attributes
    ----------
    name, said : str
        Name of the sign, and the count in words.
    look : Look
        Sum of the counts.
    skips, doubles : tuple of ndarray, shape (causes, machines)
        Shares of each machine, for each way in which the count may have been made. [1]
    """

    name: str
    said: str
    look: Look
    skips: tuple[Floats, ...]
    doubles: tuple[Floats, ...]

    @property
    def log_flat(self) -> float:
        """Logarithm of the chance where something that is not listed is wrong.

        assumption: half of such things make counts like those of one of the listed causes, and
        under the other half all shares are equally likely.
        """
        logs = self.logs
        halves = (flat_chance(self.look, 1.0), float(logsumexp(logs) - np.log(logs.size)))
        return float(logsumexp(halves) - np.log(2))

    @cached_property
    def logs(self) -> Floats:
        """Logarithm of the chance of the count, shape (causes, machines); a mean over its ways."""
        found = [
            log_chances(Levels(skip.ravel(), double.ravel()), [self.look])[0].reshape(skip.shape)
            for skip, double in zip(self.skips, self.doubles, strict=True)
        ]
        return np.asarray(logsumexp(found, axis=0) - np.log(len(found)))

    def drawn(self, cause: int, machine: NDArray[np.int64], seed: int) -> Floats:
        """Logarithms of the chances of drawn counts, shape (days, machines)."""
        rng = Streams(seed).generator(f"days: {self.name}")
        way = rng.integers(len(self.skips), size=len(machine))
        shares = np.stack([self.skips, self.doubles], axis=-1)[way, cause, machine]
        rest = (1 - shares.sum(axis=1)).clip(min=0.0)
        chances = np.column_stack([shares, rest])
        counts = rng.multinomial(self.look.cells, chances / chances.sum(axis=1, keepdims=True))
        blind = self.look.doubles is None
        looks = [
            Look(
                cells=self.look.cells,
                skips=int(skips),
                doubles=None if blind else int(doubles),
                way=self.look.way,
            )
            for skips, doubles, _ in counts
        ]
        found = [
            log_chances(Levels(skip[cause], double[cause]), looks)
            for skip, double in zip(self.skips, self.doubles, strict=True)
        ]
        return np.asarray(logsumexp(found, axis=0) - np.log(len(found)))


def together(evidence: Sequence[Evidence], shape: tuple[int, int]) -> Floats:
    """Logarithm of the chance of all that was seen, shape (causes, machines)."""
    return np.asarray(sum((one.logs for one in evidence), np.zeros(shape)))


def fit_of(evidence: Sequence[Evidence], cause: int, machines: int, seed: int) -> float:
    """Share of the days of a cause that are no likelier than what was seen. [1]

    Parameters
    ----------
    evidence : sequence of Evidence
        All that was seen.
    cause : int
        Number of the cause.
    machines : int
        Machines of each cause.
    seed : int
        Random seed of the days.

    Notes
    -----
    A machine is drawn for each day, then all signs of it.  A tie counts as no likelier.
    """
    if not evidence:
        return 1.0
    machine = Streams(seed).generator("days: machine").integers(machines, size=DAYS)
    days = sum((one.drawn(cause, machine, seed) for one in evidence), np.zeros((1, 1)))
    seen = logsumexp(sum(one.logs[cause] for one in evidence))
    no_likelier = np.sum(logsumexp(days, axis=1) <= seen + 1e-9)
    return float((no_likelier + 1) / (DAYS + 1))
