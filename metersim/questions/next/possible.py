"""Machines that the settings may stand for, and what the model gets wrong on them.

A machine is a draw of the coefficients, of the uncertain inputs, and of the model's discrepancy.
The discrepancy of skips and that of doubles are independent.  Each has a part that all settings of
a meter share, and a part of each setting.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.machine.posterior import Posterior
from metersim.machine.scenario import Scenario
from metersim.machine.stations import drawn_about
from metersim.measures.scales import ANGLE
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.looks import KINDS
from metersim.questions.shared.spread import ALIKE
from metersim.questions.shared.unknowns import draw_places
from metersim.run.streams import Streams

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Machines:
    """Machines of possible meters, one for each.

    Attributes
    ----------
    base : Scenario
        Scenario with the draws of its machine, and with all uncertain inputs.
    seed : int
        Random seed of the draws.
    number : ndarray of int, shape (machines,)
        Number of the draw of the coefficients.
    inputs : ndarray, shape (machines, inputs)
        Quantile of each uncertain input. [1]
    traits : ndarray, shape (machines, traits)
        Coefficients that vary, and normal deviates of the inputs; of mean 0 and SD 1. [1]
    place : ndarray of int, shape (machines,)
        Number of each machine among all that were drawn, from which its other draws follow.
    drawn : int
        Number of machines that were drawn.
    """

    base: Scenario
    seed: int
    number: NDArray[np.int64]
    inputs: Floats
    traits: Floats
    place: NDArray[np.int64]
    drawn: int

    def __len__(self) -> int:
        return len(self.number)

    def at(self, picks: NDArray[np.int64]) -> Machines:
        """Some of the machines, by their places in these; one may come several times."""
        return replace(
            self,
            number=self.number[picks],
            inputs=self.inputs[picks],
            traits=self.traits[picks],
            place=self.place[picks],
        )

    def of(self, k: int, scenario: Scenario) -> Scenario:
        """A scenario of this meter with the inputs and coefficients of one machine."""
        inputs = dict(zip(self.fields, self.inputs[k].tolist(), strict=True))
        places = [inputs[one.field] for one in scenario.unknown]  # a moved setting has no range
        drawn = drawn_about(scenario, scenario.drawn(places)) if places else scenario
        return replace(drawn, coefficients=scenario.posterior.draw(int(self.number[k])))

    @property
    def fields(self) -> list[str]:
        """Fields of the uncertain inputs."""
        return [one.field for one in self.base.unknown]

    def offset(self, field: str) -> Floats | float:
        """What an uncertain input adds to the middle of its field, by machine, in SI."""
        if field not in self.fields:
            return 0.0
        k = self.fields.index(field)
        one = self.base.unknown[k]
        values = np.array([one.at(place) for place in self.inputs[:, k].tolist()], dtype=float)
        return np.asarray(values - one.middle)

    def deviates(self, cause: str) -> Floats:
        """Normal deviates of a cause for skips and for doubles, shape (machines, 2)."""
        return _deviates(cause, self.seed, self.drawn)[self.place]

    @property
    def shift(self) -> Floats:
        """Discrepancy of the angles of skips and doubles at all settings, (machines, 2). [rad]"""
        shifts = self.base.posterior.shifts
        common = discrepancy(self.base)[0] * self.deviates("discrepancy of all settings")
        if not shifts:
            return common
        own = np.array([[one.skip, one.double] for one in shifts])
        return np.asarray(common + own[self.number % len(own)])

    def apart(self, setting: str) -> Floats:
        """Further discrepancy of the angles at one setting, shape (machines, 2). [rad]"""
        return discrepancy(self.base)[1] * self.deviates(f"discrepancy {setting}")


@lru_cache(maxsize=32)
def _deviates(cause: str, seed: int, drawn: int) -> Floats:
    """Normal deviates of a cause for all machines, shape (drawn, 2); many picks share them."""
    streams = Streams(seed)
    columns = [streams.stratified(f"{cause} {kind}", drawn) for kind in KINDS]
    return np.asarray(ndtri(np.stack(columns, axis=1).clip(1e-9, 1 - 1e-9)))


def discrepancy(scenario: Scenario) -> tuple[float, float]:
    """SD of the discrepancy that all settings share, and of that of each setting. [rad]

    Notes
    -----
    Two settings of an unknown machine have the correlation `ALIKE`.  Where the shifts of a machine
    hold the common part, the rest differs between settings.
    """
    error = share_error(scenario.posterior, scenario.lot.crop)
    if scenario.posterior.shifts:
        return 0.0, error
    return math.sqrt(ALIKE) * error, math.sqrt(1 - ALIKE) * error


def draw_machines(base: Scenario, count: int, seed: int) -> Machines:
    """Machines that some settings may stand for, evenly spread.

    Parameters
    ----------
    base : Scenario
        Settings of the meter, with its uncertain inputs.
    count : int
        Number of machines, 1 or more.
    seed : int
        Random seed of the draws.
    """
    numbers, many = np.arange(count), len(base.posterior.draws)
    places = draw_places(base.unknown, count, seed).clip(1e-9, 1 - 1e-9)
    # neighbours in a list have the same fault, so the draws of the machines are dealt out
    dealt = Streams(seed).generator("machines of meters").permutation(count)
    traits = np.column_stack([_coefficients(base.posterior)[dealt % many], ndtri(places)])
    return Machines(base, seed, dealt, places, traits, numbers, count)


def _coefficients(posterior: Posterior) -> Floats:
    """Coefficients that vary, by draw, as columns of mean 0 and SD 1."""
    names = posterior.varied
    rows = [[getattr(draw, name) for name in names] for draw in posterior.draws]
    table = np.array(rows).reshape(len(rows), len(names))
    scale = table.std(axis=0)
    return np.asarray((table - table.mean(axis=0)) / np.where(scale > 0, scale, 1.0))


def bent_shares(skip: Floats, double: Floats, by: Floats) -> tuple[Floats, Floats]:
    """Shares of skips and doubles with a discrepancy on their angles.

    Parameters
    ----------
    skip, double : ndarray
        Shares of the model. [1]
    by : ndarray, shape (..., 2)
        Added to the angle ``asin sqrt(share)`` of each. [rad]

    Returns
    -------
    tuple of ndarray
        Shares that sum to 1 at most. [1]
    """
    made = [ANGLE.back(ANGLE.to(one) + by[..., k]) for k, one in enumerate((skip, double))]
    over = np.maximum(made[0] + made[1], 1.0)
    return made[0] / over, made[1] / over
