"""Chances of what was seen: under each simulated machine, and in days that are drawn of a cause.

Each sign is a small class that knows its chance under all simulated machines, its chance where
nothing listed is wrong, and what it would have been on other days of one cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp, ndtri

from metersim.machine.scenario import Scenario
from metersim.questions.next.diagnosis import MOST_USED, by_cells_or_spacing
from metersim.questions.next.possible import bent_shares
from metersim.questions.next.signs import CURRENT, MOST_READING, Signs, answers_of
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.faults.observe import (
    CURRENT_BY,
    CURRENT_SD,
    GAUGE_SD,
    SIGNS,
    SLIP,
    USED_SD,
    read,
)
from metersim.questions.shared.faults.signatures import IN_ORDER, Signatures
from metersim.questions.shared.looks import (
    BELT,
    DISC,
    SENSOR,
    SPACED,
    Levels,
    Look,
    flat_chance,
    log_chances,
    summed,
)
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

COLUMNS = {
    BELT: ("true_skips", "true_doubles"),
    SENSOR: ("cell_skips", "cell_doubles"),
    SPACED: ("skips", "doubles"),
    DISC: ("true_skips", "true_doubles"),
}
"""Simulated shares of skips and doubles by way of looking.  A disc at rest is taken for the seeds
that leave it."""
SHARED_PART = 0.25
"""Part of a machine's answers that all machines of a fault share (assumption).

A few machines stand for all of a fault.  Without this part, a sign that none of them shows would
exclude the fault.
"""
UNSEEN = ("rows", "onset")
"""Signs that a machine in order has none of: all answers are equally likely."""
SPREAD = 48  # shares that are drawn about each simulated share
DEGREES = 12  # severities of a fault between those that were simulated
USED_ERROR = 0.015  # model's error of the seed used, over the planned amount (assumption)
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
        """All shares are equally likely where something that is not listed is wrong."""
        return flat_chance(self.look, 1.0)

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


def chances_of(found: Signatures, sign: str) -> Floats:
    """Chances of all answers of a sign, shape (answers, causes, machines).

    The last cause is a machine in order.  A part of each chance is shared by all machines of a
    cause (`SHARED_PART`).
    """
    if sign == CURRENT:
        ratio = found.values[sign] / found.usual[sign]
        made, order = _three(ratio), _three(np.ones((1, found.samples)))
    else:
        made, order = found.chances(sign), found.in_order().chances(sign)
    if sign in UNSEEN:
        order = np.full_like(order, 1 / len(order))
    every = np.concatenate([made, order], axis=1)
    every = np.where(np.isfinite(every), every, 1 / len(every))
    every = np.einsum("acs,cms->acm", every, degrees(found))
    mean = every.mean(axis=2, keepdims=True)
    return np.asarray((1 - SHARED_PART) * every + SHARED_PART * mean)


def degrees(found: Signatures) -> Floats:
    """Parts of the simulated machines in machines of evenly spread severities.

    Few severities of each fault are simulated.  Numbers in between are interpolated.

    Returns
    -------
    ndarray, shape (causes, machines, samples)
        Parts, which sum to 1 over samples. [1]
    """
    wanted = (np.arange(DEGREES) + 0.5) / DEGREES
    even = (np.arange(found.samples) + 0.5) / found.samples  # machines in order have none
    rows = np.vstack([found.values["severity"], even])
    made = np.empty((len(rows), DEGREES, found.samples))
    for k, row in enumerate(rows):
        order = np.argsort(row, kind="stable")
        for j, one in enumerate(np.eye(found.samples)):
            made[k, :, j] = np.interp(wanted, row[order], one[order])
    return made


def _three(ratio: Floats) -> Floats:
    """Chances that a current is called high, normal and low; each may be said by mistake."""
    high, low = read(ratio, CURRENT_SD, CURRENT_BY)
    sure = np.stack([high, (1 - high - low).clip(min=0.0), low])
    return np.asarray((1 - 3 * SLIP) * sure + SLIP)


def causes_of(found: Signatures) -> tuple[str, ...]:
    """Names of the causes with signatures: the faults, and a machine in order."""
    return (*found.faults, IN_ORDER)


def column_of(found: Signatures, name: str) -> Floats:
    """A simulated number of all causes, shape (causes, machines)."""
    if name == "severity":
        return np.broadcast_to(
            (np.arange(DEGREES) + 0.5) / DEGREES, (len(found.faults) + 1, DEGREES)
        )
    return _between(found, np.vstack([found.values[name], found.usual[name][None, :]]))


def _between(found: Signatures, column: Floats) -> Floats:
    """A number of all causes between the severities that were simulated."""
    return np.asarray(np.einsum("cs,cms->cm", column, degrees(found)))


def evidence_of(
    signs: Signs, scenario: Scenario, found: Signatures, seed: int
) -> tuple[Evidence, ...]:
    """All that was seen, with its chances under the simulated machines.

    Parameters
    ----------
    signs : Signs
        What was seen.
    scenario : Scenario
        The machine in order.
    found : Signatures
        Signatures of its faults.
    seed : int
        Random seed of the spread of shares about the simulated ones.

    Returns
    -------
    tuple
        Evidence with one axis of machines: `DEGREES` of each cause, and where something was
        counted, `SPREAD` for each of these.
    """
    times = SPREAD if signs.counts else 1
    made: list[Evidence] = []
    for sign, answer in signs.answers.items():
        table = np.repeat(chances_of(found, sign), times, axis=2)
        at = answers_of(sign).index(answer)
        if sign == "pattern" and signs.period and scenario.disc.cells % signs.period:
            table = np.full_like(table, SLIP)  # no hole comes back after so many cells
            table[0] = 1 - SLIP
        made.append(Answered(sign, signs.words[sign], table, at))
    if signs.seed_used is not None:
        middle = column_of(found, "used")
        if signs.seed_used.weighed:
            middle = middle * _masses(scenario, found)
        sd = float(np.hypot(USED_SD, USED_ERROR))
        ratio = signs.seed_used.ratio
        said = f"{100 * ratio:.0f} % of the planned seed"
        made.append(Measured("used", said, ratio, np.repeat(middle, times, 1), sd, MOST_USED))
    if signs.reading is not None:
        ratio = signs.reading / scenario.vacuum.vacuum
        middle = np.repeat(column_of(found, "gauge"), times, axis=1)
        said = f"{100 * ratio:.0f} % of the set vacuum"
        made.append(Measured("gauge", said, ratio, middle, GAUGE_SD, MOST_READING))
    made += _counts(signs, scenario, found, seed)
    return tuple(made)


def _counts(signs: Signs, scenario: Scenario, found: Signatures, seed: int) -> list[Evidence]:
    """Counts, summed by way of looking, with the spread of machines about the simulated shares."""
    groups: dict[tuple[str, bool], list[Look]] = {}
    for look in signs.counts:
        groups.setdefault((look.way, look.doubles is None), []).append(look)
    streams = Streams(seed)
    error = share_error(scenario.posterior, scenario.lot.crop)
    wide = np.stack(
        [ndtri(streams.stratified(f"spread of {kind}", SPREAD)) for kind in ("skips", "doubles")], 1
    )
    made: list[Evidence] = []
    for (way, _), looks in groups.items():
        look = summed(looks)
        pairs = [
            _spread(*(column_of(found, name) for name in COLUMNS[one]), error * wide)
            for one in by_cells_or_spacing(look, signs.monitor)
        ]
        skips, doubles = zip(*pairs, strict=True)
        made.append(Counted(f"count by {way}", _said(look), look, skips, doubles))
    return made


def _spread(skip: Floats, double: Floats, by: Floats) -> tuple[Floats, Floats]:
    """Shares about the simulated ones, shape (causes, samples * spread)."""
    made = bent_shares(skip[..., None], double[..., None], by)
    return made[0].reshape(len(skip), -1), made[1].reshape(len(skip), -1)


def _said(look: Look) -> str:
    said = f"{100 * look.skip_share:.1f} % skips"
    return said if look.doubles is None else f"{said}, {100 * look.double_share:.1f} % doubles"


def _masses(scenario: Scenario, found: Signatures) -> Floats:
    """Mass of a seed over the lot's, shape (causes, samples); a fault may change the seed."""
    rows = [
        [
            LIBRARY[name].put(scenario, float(one)).seeds.seed_mass / scenario.seeds.seed_mass
            for one in found.values["severity"][k]
        ]
        for k, name in enumerate(found.faults)
    ]
    both = [np.array(rows).reshape(-1, found.samples), np.ones((1, found.samples))]
    return _between(found, np.vstack(both))


def together(evidence: Sequence[Evidence], shape: tuple[int, int]) -> Floats:
    """Logarithm of the chance of all that was seen, shape (causes, machines)."""
    return np.asarray(sum((one.logs() for one in evidence), np.zeros(shape)))


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
    seen = logsumexp(sum(one.logs()[cause] for one in evidence))
    no_likelier = np.sum(logsumexp(days, axis=1) <= seen + 1e-9)
    return float((no_likelier + 1) / (DAYS + 1))
