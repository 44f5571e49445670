"""What nobody sees of a meter: how far its true state lies from what is set.

Priors are what somebody would say who has not looked yet; all are assumptions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.run.draws import Streams

Floats = NDArray[np.float64]
LEAST_EDGE = 1e-4  # m; the singulator never stands over the holes' path


@dataclass(frozen=True)
class Hidden:
    """One thing that is not seen.

    Attributes
    ----------
    name : str
        What it is called.
    section, field : str
        What it moves in a scenario.
    low_words, high_words : str
        What it means when it lies low and when it lies high; empty where it cannot.
    middle, sd, low, high : float
        Prior: a normal distribution between two bounds, in the middle of which nothing is wrong.
    how : str
        ``times`` the value set, ``plus`` it, or ``notches`` nearer to the holes.
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
        """The value at a place of the prior, between 0 and 1."""
        below, above = ndtr([(end - self.middle) / self.sd for end in (self.low, self.high)])
        value = self.middle + self.sd * float(ndtri(below + (above - below) * place))
        return min(max(value, self.low), self.high)

    def change(self, scenario: Scenario, value: float) -> tuple[str, float]:
        """The field that it changes in a scenario, and the true value there."""
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
"""By name.

assumption: how far things are off was found in no source.  Seed of one lot differs by a few
percent in size from bag to bag; a scale is off by less than a notch, mostly; a leak takes some
fifteen percent of the vacuum, seldom half; a sensor misses a few seeds in a hundred (kinds of
sensor reach 57 to 99 %, of which these are the good ones).
"""

State = Mapping[str, float]
"""True values by name of `HIDDEN`; what is not named is as it is set."""


def meter_of(scenario: Scenario, state: State) -> Scenario:
    """The meter that runs in truth when a scenario is set on one with a hidden state.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    state : mapping of str to float
        True values by name of `HIDDEN`.

    Returns
    -------
    Scenario
        With what cannot be seen in place of what is set, inside what is allowed.
    """
    changes: dict[str, Any] = dict(
        HIDDEN[name].change(scenario, value) for name, value in state.items()
    )
    return scenario.replace(**changes)


def draw_states(count: int, seed: int, names: Sequence[str] = tuple(HIDDEN)) -> list[State]:
    """States drawn from the priors.

    Each cause is spread evenly, as in a Latin hypercube (mckay1979), and has a stream of its own
    name, so that it stays as it is when others are hidden or not.

    Parameters
    ----------
    count : int
        How many, 1 or more.
    seed : int
        Chooses them.
    names : sequence of str
        What is hidden; the rest is as it is set.

    Returns
    -------
    list of dict
        True values by name.
    """
    return [state_at(row, names) for row in draw_places(count, seed, names)]


def draw_places(count: int, seed: int, names: Sequence[str] = tuple(HIDDEN)) -> Floats:
    """Places of the priors, as of the states of `draw_states`.

    Parameters
    ----------
    count, seed, names
        As for `draw_states`.

    Returns
    -------
    ndarray, shape (count, names)
        Each between 0 and 1, spread evenly in every column. [1]
    """
    columns = []
    for name in names:
        rng = Streams(seed).generator(f"hidden {name}")
        columns.append((rng.permutation(count) + rng.random(count)) / count)
    return np.stack(columns, axis=1)


def state_at(places: Floats, names: Sequence[str] = tuple(HIDDEN)) -> State:
    """The state at a place of the prior of each cause.

    Parameters
    ----------
    places : ndarray, shape (names,)
        Between 0 and 1. [1]
    names : sequence of str
        Whose they are.

    Returns
    -------
    dict of str to float
        True values by name.
    """
    return {name: HIDDEN[name].at(float(place)) for name, place in zip(names, places, strict=True)}
