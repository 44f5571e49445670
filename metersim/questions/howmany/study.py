"""How many seeds to count, and what a count can say: from the simulated dependence of cells."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv

from metersim.files.tables import dataframe
from metersim.machine.scenario import Scenario
from metersim.questions.howmany.beside import AREAS, Side, Stretch, side_of, stretch_of
from metersim.questions.shared.counts import (
    CERTAINTY,
    KINDS,
    POWER,
    Share,
    cells_to_tell,
    deviations,
    least_difference,
    power_of,
    shares_of,
)
from metersim.questions.shared.limits import Limit
from metersim.questions.shared.looks import BELT, SENSOR, kept_full, loads
from metersim.questions.shared.settings import Steps, can_move, moved, said
from metersim.run.records import Origin, Run
from metersim.run.simulation import simulate

if TYPE_CHECKING:
    import pandas as pd

WATCHED = 120_000  # cells
SEEDS = 300  # of a count
COUNTED = ("skips", "doubles")
FEWEST = 20  # counts that a run must hold for their range to be taken as it is


class Needed(NamedTuple):
    """Seeds in each of two counts.

    Attributes
    ----------
    seeds : float
        From the dependence of the cells; infinite when never.
    plain : float
        If cells were independent of one another.
    """

    seeds: float
    plain: float


class Range(NamedTuple):
    """What a count of a known size shows.

    Attributes
    ----------
    low, high : int
        Between which it lies, by luck alone, as often as it is certain. [1]
    expected : float
        Mean. [1]
    share_low, share_high : float
        What somebody who met the mean can say of the true share. [1]
    below, above : float
        The nearest shares that two such counts tell from the true one; nan when none. [1]
    """

    low: int
    high: int
    expected: float
    share_low: float
    share_high: float
    below: float
    above: float


@dataclass(frozen=True)
class State:
    """A meter that was watched for long.

    Attributes
    ----------
    label : str
        What tells it from the other.
    origin : Origin
        Where it comes from.
    seeds : ndarray of int, shape (cells,)
        Seeds by cell, as the way of looking shows them.
    """

    label: str
    origin: Origin
    seeds: NDArray[np.int64]

    @cached_property
    def shares(self) -> Mapping[str, Share]:
        """Skips, doubles and singles."""
        return shares_of(self.seeds)

    @property
    def seeds_per_cell(self) -> float:
        """Mean number of seeds of a cell that are seen; 1 where none is."""
        return float(self.seeds.mean()) or 1.0


@dataclass(frozen=True)
class HowMany:
    """What it takes to tell two states of a meter, or a limit, and what a count can say.

    Attributes
    ----------
    states : tuple of State
        The meter as it is, and the one to tell it from, if there is one.
    sides : tuple of Side
        Shares beside limits, if any was given.
    seeds : int
        Of a count that is asked about.
    certainty, power : float
        Chances that what is alike is not taken for different, and that what differs is found.
    way : str
        ``belt`` or ``sensor``.
    stretches : mapping of str to Stretch
        A thousandth of a hectare (``metric``) and of an acre (``us``).
    """

    states: tuple[State, ...]
    sides: tuple[Side, ...]
    seeds: int
    certainty: float
    power: float
    way: str
    stretches: Mapping[str, Stretch]

    def __repr__(self) -> str:
        return f"<HowMany of {self.origin.scenario.name}; to_dataframe() shows it>"

    @property
    def origin(self) -> Origin:
        """Where the meter as it is comes from."""
        return self.states[0].origin

    @property
    def cells(self) -> float:
        """Cells of a count of `seeds` with the meter as it is."""
        return self.seeds / self.states[0].seeds_per_cell

    def needed(self, kind: str) -> Needed:
        """Seeds in each of two counts, one of either state, that tell them apart by a kind."""
        here, there = self.states
        a, b = here.shares[kind], there.shares[kind]
        each = (
            cells_to_tell(*pair, self.certainty, self.power) * here.seeds_per_cell
            for pair in ((a, b), (Share(a.value), Share(b.value)))
        )
        return Needed(*each)

    @property
    def soonest(self) -> str:
        """The kind of cell that tells the two states apart soonest."""
        return min(KINDS, key=lambda kind: self.needed(kind).seeds)

    def mistaken(self, kind: str) -> float:
        """Chance that two counts of `seeds` do not tell the other state from the meter as it is."""
        here, there = (state.shares[kind] for state in self.states)
        return 1 - power_of(here, there, self.cells, self.certainty)

    def to_show(self, side: Side) -> Needed:
        """Seeds in a count that shows on which side of a limit the meter is."""
        plain = Side(side.limit, Share(side.share.value))
        per = 1.0 if side.limit.key.startswith("per_spacing") else self.states[0].seeds_per_cell
        return Needed(*(one.to_show(self.certainty, self.power) * per for one in (side, plain)))

    def range_of(self, kind: str) -> Range:
        """What a count of `seeds` shows of a kind of cell, and what it leaves open."""
        share, cells = self.states[0].shares[kind], self.cells
        events = self.states[0].seeds == 0 if kind == "skips" else self.states[0].seeds > 1
        low, high = _range(events, share, cells, self.certainty)
        met, worth = round(share.value * cells), cells / max(share.effect, 1.0)
        bounds = _bounds(met * worth / cells, worth, self.certainty)
        near = least_difference(share, cells, self.certainty, self.power)
        return Range(low, high, share.value * cells, *bounds, *near)

    def to_dataframe(self) -> pd.DataFrame:
        """One row a kind of cell, for pandas (extra ``notebook``).

        Share and effect of the meter as it is and of the other, seeds that tell them apart by the
        simulation and by the plain binomial, and what a count of `seeds` shows; nan where there is
        nothing to tell.
        """
        rows = []
        for kind in COUNTED:
            here = self.states[0].shares[kind]
            row = {"kind": kind, "share": here.value, "effect": here.effect}
            if len(self.states) == 2:
                there, needed = self.states[1].shares[kind], self.needed(kind)
                row |= {"other_share": there.value, "other_effect": there.effect}
                row |= {"needed": needed.seeds, "needed_plain": needed.plain}
                row["mistaken"] = self.mistaken(kind)
            rows.append(row | self.range_of(kind)._asdict())
        return dataframe(rows)


def howmany(
    scenario: Scenario,
    other: Scenario | None = None,
    *,
    limits: Sequence[Limit] = (),
    labels: tuple[str, str] | None = None,
    seeds: int = SEEDS,
    certainty: float = CERTAINTY,
    power: float = POWER,
    way: str = BELT,
    units: str = "metric",
    seed: int = 1,
    cells: int = WATCHED,
) -> HowMany:
    """How many seeds tell two states of a meter apart, and what a count can say.

    Parameters
    ----------
    scenario : Scenario
        The meter as it is.  What is not known is taken at its middle.
    other : Scenario, optional
        What to tell it from; one notch off without it, unless limits are given.
    limits : sequence of Limit
        Limits to tell the side of, as of `metersim.questions.howmany.beside.limits_of`.
    labels : pair of str, optional
        What the two states are called.
    seeds : int
        Seeds of a count that is asked about, 1 or more.
    certainty, power : float
        Chances that what is alike is not taken for different, and that what differs is found,
        between 0.5 and 1.
    way : {'belt', 'sensor'}
        What is counted.
    units : {'metric', 'us'}
        In which the notch is said.
    seed : int
        Chooses the luck, common to both states.
    cells : int
        Cells that each state is watched for, about; the hopper is kept filled.

    Returns
    -------
    HowMany

    Raises
    ------
    BadInput
        When a limit cannot be judged, or no notch can be moved.
    ValueError
        For chances, numbers or ways out of bounds.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.howmany(m.load_scenario("maize_bench"), seed=3)
    >>> found.states[1].label, found.soonest, f"{found.needed('skips').seeds:.1g}"
    ('one notch more aggressive', 'skips', '8e+02')
    >>> stretch = found.stretches["us"]
    >>> f"{stretch.length:.2f} m, {stretch.seeds.low} to {stretch.seeds.high} seeds"
    '5.40 m, 31 to 35 seeds'
    """
    if min(seeds, cells) < 1 or way not in (BELT, SENSOR):
        raise ValueError(
            f"seeds {seeds}, cells {cells}, way {way!r}; allowed: 1 or more, belt, sensor"
        )
    if not (0.5 <= certainty < 1 and 0.5 <= power < 1):
        raise ValueError(f"certainty {certainty}, power {power}; allowed: 0.5 to below 1")
    label = labels[1] if labels else ""
    if other is None and not limits:
        steps: Steps = {"notch": 1 if can_move(scenario, {"notch": 1}, units) else -1}
        other, label = moved(scenario, steps, units), label or said(steps, units)
    run = simulate(kept_full(scenario, cells), seed=seed)
    here = _state(labels[0] if labels else "as it is", run, way)
    states = [here]
    if other is not None:
        again = simulate(kept_full(other, run.scenario.passages), seed=seed)
        states.append(_state(label or other.name, again, way))
    return HowMany(
        tuple(states),
        tuple(side_of(run, here.seeds, limit) for limit in limits),
        seeds,
        certainty,
        power,
        way,
        {family: stretch_of(run, area) for family, area in AREAS.items()},
    )


def _state(label: str, run: Run, way: str) -> State:
    return State(label, run.origin, loads(run, way))


def _range(events: NDArray[np.bool_], share: Share, cells: float, level: float) -> tuple[int, int]:
    """Between which numbers counts of so many cells lie: those in the run, or, of counts that
    are too long for that, of the normal law."""
    window, tail = max(round(cells), 1), (1 - level) / 2
    if events.size >= FEWEST * window:
        sums = np.concatenate([[0], np.cumsum(events)])
        counts = sums[window:] - sums[:-window]
        low, high = np.quantile(counts, [tail, 1 - tail], method="inverted_cdf")
        return int(low), int(high)
    reach = deviations(level) * share.error(cells)
    low, high = ((share.value + sign * reach) * cells for sign in (-1, 1))
    return max(math.floor(low), 0), min(math.ceil(high), math.ceil(cells))


def _bounds(events: float, cells: float, level: float) -> tuple[float, float]:
    """Clopper and Pearson's bounds of a share."""
    tail, rest = (1 - level) / 2, max(cells - events, 0.0)
    low = float(betaincinv(events, rest + 1, tail)) if events > 0 else 0.0
    high = float(betaincinv(events + 1, rest, 1 - tail)) if rest > 0 else 1.0
    return low, high
