"""Hidden state of a meter: how far its true values lie from its settings.

Each prior states what is believed before the meter is inspected.  All priors are assumptions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtr, ndtri
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.run.streams import Streams

Floats = NDArray[np.float64]
LEAST_EDGE = 1e-4  # m; the singulator never covers the path of the holes


@dataclass(frozen=True)
class Hidden:
    """One cause that cannot be seen, with its prior.

    Attributes
    ----------
    name : str
        Name of the cause.
    section, field : str
        Section and field of a scenario that the cause changes.
    low_words, high_words : str
        Meaning of a low and of a high value in words; empty where the value cannot lie there.
    middle, sd, low, high : float
        Prior: a normal distribution between two bounds.  At its middle nothing is wrong.
    how : str
        Effect on the set value: it is multiplied (``times``), increased (``plus``), or moved
        nearer to the holes (``notches``).
    """

    name: str
    section: str
    field: str
    low_words: str
    high_words: str
    middle: float
    sd: float
    low: float
    high: float
    how: str

    def at(self, place: float) -> float:
        """Value of the cause at a quantile of its prior, from 0 to 1."""
        below, above = ndtr([(end - self.middle) / self.sd for end in (self.low, self.high)])
        value = self.middle + self.sd * float(ndtri(below + (above - below) * place))
        return min(max(value, self.low), self.high)

    def change(self, scenario: Scenario, value: float) -> tuple[str, float]:
        """Field of a scenario that the cause changes, and the true value of that field."""
        field = f"{self.section}__{self.field}"
        now = getattr(getattr(scenario, self.section), self.field)
        if self.how == "notches":
            edge = scenario.singulator
            least = edge.notch_step * edge.notch + LEAST_EDGE
            to = max(now - value * edge.notch_step, least)
        else:
            to = now * value if self.how == "times" else now + value
        spec = all_fields()[self.section, self.field]
        return field, min(max(to, spec.low), spec.high)


HIDDEN = {
    one.name: one
    for one in (
        Hidden(
            "seed size",
            "seed",
            "size_factor",
            "seed smaller than the lot says",
            "seed larger than the lot says",
            1.0,
            0.04,
            0.88,
            1.12,
            "times",
        ),
        Hidden(
            "vacuum",
            "vacuum",
            "vacuum",
            "less vacuum at the hole than the gauge shows (leak, worn seal)",
            "",
            1.0,
            0.15,
            0.4,
            1.0,
            "times",
        ),
        Hidden(
            "singulator",
            "singulator",
            "gap",
            "singulator farther from the holes than its scale shows",
            "singulator nearer to the holes than its scale shows",
            0.0,
            0.8,
            -2.5,
            2.5,
            "notches",
        ),
        Hidden(
            "pool",
            "pool",
            "gate_opening",
            "pool lower than the gate's setting gives (gate blocked, seed bridging)",
            "pool higher than the gate's setting gives",
            1.0,
            0.12,
            0.5,
            1.3,
            "times",
        ),
        Hidden(
            "cut-off",
            "cutoff",
            "decay_arc",
            "",
            "cut-off edge worn, so that seeds leave late",
            0.0,
            math.radians(2.0),
            0.0,
            math.radians(8.0),
            "plus",
        ),
        Hidden("tube", "tube", "tube_wear", "", "seed tube worn", 0.0, 0.25, 0.0, 0.9, "plus"),
        Hidden(
            "sensor",
            "sensor",
            "detection",
            "seeds missed by the sensor (dust)",
            "",
            1.0,
            0.03,
            0.7,
            1.0,
            "times",
        ),
    )
}
"""Hidden causes by name.

assumption: no source states how far meters deviate from their settings.  The size of one lot
differs by a few percent from bag to bag.  A scale is mostly off by less than a notch.  A leak
takes some fifteen percent of the vacuum, seldom half.  A sensor misses a few seeds in a hundred:
kinds of sensor reach 57 to 99 %, and a good one is assumed.
"""

State = Mapping[str, float]
"""True values by name of `HIDDEN`; causes without a value are as set."""


def meter_of(scenario: Scenario, state: State) -> Scenario:
    """The true meter behind the settings of a scenario, for a hidden state.

    Parameters
    ----------
    scenario : Scenario
        Settings of the meter.
    state : mapping of str to float
        True values by name of `HIDDEN`.

    Returns
    -------
    Scenario
        Scenario with the true values in place of the settings, kept within the allowed ranges.
    """
    changes: dict[str, Any] = dict(
        HIDDEN[name].change(scenario, value) for name, value in state.items()
    )
    return scenario.replace(**changes)


def draw_states(count: int, seed: int, names: Sequence[str] = tuple(HIDDEN)) -> list[State]:
    """States drawn from the priors.

    The draws of each cause are stratified, as in a Latin hypercube (mckay1979).  Each cause has
    its own stream, so that its draws do not depend on the other causes.

    Parameters
    ----------
    count : int
        Number of states, 1 or more.
    seed : int
        Random seed of the draws.
    names : sequence of str
        Names of the hidden causes; all others are as set.

    Returns
    -------
    list of dict
        True values by name.
    """
    return [state_at(row, names) for row in draw_places(count, seed, names)]


def draw_places(count: int, seed: int, names: Sequence[str] = tuple(HIDDEN)) -> Floats:
    """Quantiles of the priors that belong to the states of `draw_states`.

    Parameters
    ----------
    count, seed, names
        As for `draw_states`.

    Returns
    -------
    ndarray, shape (count, names)
        Quantiles between 0 and 1, stratified in every column. [1]
    """
    streams = Streams(seed)
    return np.stack([streams.stratified(f"hidden {name}", count) for name in names], axis=1)


def state_at(places: Floats, names: Sequence[str] = tuple(HIDDEN)) -> State:
    """The state at one quantile of the prior of each cause.

    Parameters
    ----------
    places : ndarray, shape (names,)
        Quantiles between 0 and 1. [1]
    names : sequence of str
        Names of the causes.

    Returns
    -------
    dict of str to float
        True values by name.
    """
    return {name: HIDDEN[name].at(float(place)) for name, place in zip(names, places, strict=True)}
