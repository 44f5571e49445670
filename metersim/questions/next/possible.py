"""Possible meters: a hidden state on a machine of its own, and what the model gets wrong there.

A machine is a draw of the coefficients, of the uncertain inputs, and of the model's discrepancy.
The discrepancy of skips and that of doubles are independent.  Each has a part that all settings of
a meter share, and a part of each setting.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from metersim.machine.scenario import Scenario
from metersim.machine.stations import drawn_about
from metersim.measures.scales import ANGLE
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.hidden import State
from metersim.questions.shared.looks import KINDS, Rates
from metersim.questions.shared.spread import ALIKE
from metersim.questions.shared.unknowns import draw_places
from metersim.run.streams import Streams

Floats = NDArray[np.float64]
Pair = tuple[float, float]
"""A number for skips and one for doubles."""
NONE: Pair = (0.0, 0.0)


@dataclass(frozen=True)
class Machine:
    """A machine that the settings of a scenario may stand for.

    Attributes
    ----------
    number : int
        Number of the draw of the coefficients in the posterior of a scenario.
    inputs : mapping of str to float
        Quantile of each uncertain input, by its field. [1]
    common : tuple of float
        Normal deviates of the discrepancy that all settings share. [1]
    apart : tuple of tuple of float
        Normal deviates of the discrepancy of each counted setting. [1]
    """

    number: int
    inputs: Mapping[str, float] = field(default_factory=dict)
    common: Pair = NONE
    apart: tuple[Pair, ...] = ()

    def of(self, scenario: Scenario) -> Scenario:
        """The scenario with the inputs and coefficients of this machine."""
        places = [self.inputs[one.field] for one in scenario.unknown]
        drawn = drawn_about(scenario, scenario.drawn(places)) if places else scenario
        return replace(drawn, coefficients=scenario.posterior.draw(self.number))

    def shift(self, scenario: Scenario, at: int | None = None) -> Pair:
        """What the discrepancy adds to the angles of the shares of skips and doubles. [rad]

        Parameters
        ----------
        scenario : Scenario
            A setting of the meter, with the draws of the machine and their discrepancy.
        at : int, optional
            Number of the counted setting.  Without it, only the part of all settings is given.
        """
        alike, other = discrepancy(scenario)
        own, apart = scenario.posterior.shift(self.number), NONE if at is None else self.apart[at]
        return (
            own.skip + alike * self.common[0] + other * apart[0],
            own.double + alike * self.common[1] + other * apart[1],
        )


@dataclass(frozen=True)
class Possible:
    """A meter that may be behind the settings.

    Attributes
    ----------
    state : mapping of str to float
        True values of hidden causes.
    machine : Machine, optional
        Its machine; None for the coefficients and the middle of the inputs of the scenario.
    """

    state: State
    machine: Machine | None = None

    def of(self, scenario: Scenario) -> Scenario:
        """The scenario with the machine of this meter, and nothing wrong."""
        return self.machine.of(scenario) if self.machine else scenario

    def shift(self, scenario: Scenario) -> Pair:
        """Discrepancy that all settings of the meter share, as for `Machine.shift`. [rad]"""
        return self.machine.shift(scenario) if self.machine else NONE


def discrepancy(scenario: Scenario) -> Pair:
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


def draw_machines(
    meters: Sequence[Scenario], count: int, seed: int, *, round_: int = 0, first: int = 0
) -> list[Machine]:
    """Machines that some settings may stand for, evenly spread.

    Parameters
    ----------
    meters : sequence of Scenario
        Settings of one meter, with the uncertain inputs of all of them.
    count : int
        Number of machines, 1 or more.
    seed : int
        Random seed of the draws.
    round_ : int
        Number of the round; each has its own random numbers.
    first : int
        Number of the first draw of the coefficients.
    """
    streams = Streams(seed, round_)
    unknown = list({one.field: one for meter in meters for one in meter.unknown}.values())
    if round_:
        columns = [streams.stratified(f"unknown {one.field}", count) for one in unknown]
        places = np.array(columns).reshape(len(unknown), count).T
    else:
        places = draw_places(unknown, count, seed)
    deviates = np.stack(
        [
            _deviates(streams, f"discrepancy {kind} {at}", count)
            for at in ("all", *range(len(meters)))
            for kind in KINDS
        ],
        axis=1,
    ).reshape(count, -1, 2)
    return [
        Machine(
            first + k,
            dict(zip([one.field for one in unknown], row, strict=True)),
            common,
            tuple(apart),
        )
        for k, (row, (common, *apart)) in enumerate(
            zip(
                places.clip(1e-9, 1 - 1e-9).tolist(),
                [[(a, b) for a, b in one] for one in deviates.tolist()],
                strict=True,
            )
        )
    ]


def setting_errors(scenario: Scenario, name: str, count: int, seed: int) -> Floats:
    """Discrepancy of one setting for several meters, shape (count, 2). [rad]"""
    streams, sd = Streams(seed), discrepancy(scenario)[1]
    columns = [_deviates(streams, f"discrepancy {kind} {name}", count) for kind in KINDS]
    return sd * np.stack(columns, axis=1)


def _deviates(streams: Streams, cause: str, count: int) -> Floats:
    return np.asarray(ndtri(streams.stratified(cause, count).clip(1e-9, 1 - 1e-9)))


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


def bent_rates(rates: Rates, by: Pair) -> Rates:
    """Rates of a meter with a discrepancy, as for `bent_shares`."""
    if by == NONE:
        return rates
    skip, double = bent_shares(np.array(rates.skip), np.array(rates.double), np.array(by))
    return replace(rates, skip=float(skip), double=float(double))


def without_sampling(shares: Floats, each: float) -> Floats:
    """Shares of several machines in long runs, on the scale of shares.

    Parameters
    ----------
    shares : ndarray
        Shares of short runs. [1]
    each : float
        Design effect over the cells of a run: four times the sampling variance of an angle.
    """
    return ANGLE.back(shrunk(ANGLE.to(shares), each / 4))


def shrunk(values: Floats, sampled: float) -> Floats:
    """Values with their distances from the mean reduced by what a sampling variance adds."""
    spread = float(values.var(ddof=1)) if len(values) > 1 else 0.0
    part = math.sqrt(max(1 - sampled / spread, 0.0)) if spread > 0 else 0.0
    middle = float(values.mean())
    return middle + part * (values - middle)
