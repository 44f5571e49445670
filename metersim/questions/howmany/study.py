"""Sizes and ranges of counts, from the simulated dependence of cells."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.quantiles import betaincinv
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.measures.indices import Limit
from metersim.questions.howmany.standards import AREAS, Side, Stretch, side_of, stretch_of
from metersim.questions.shared.counts import (
    CERTAINTY,
    KINDS,
    POWER,
    Share,
    cells_to_detect,
    deviations,
    least_difference,
    power_of,
    shares_of,
)
from metersim.questions.shared.looks import BELT, WAYS, kept_full, loads, loads_at
from metersim.questions.shared.settings import Steps, can_move, moved, steps_text
from metersim.run.records import Origin
from metersim.run.simulation import pieces, simulate

if TYPE_CHECKING:
    import pandas as pd

WATCHED = 60_000
"""Cells of the run of each state.

The seeds needed to see a notch on maize then have an SE of 8 to 12 %; of 120,000 cells, 7 to 8 %.
"""
SEEDS = 300  # of a count
COUNTED = ("skips", "doubles")
FEWEST = 20  # counts in a run from which their range is taken directly


class Needed(NamedTuple):
    """Seeds needed in each of two counts.

    Attributes
    ----------
    seeds : float
        Number with the simulated dependence of cells; infinite when no count is enough.
    independent : float
        Number if cells were independent of one another.
    """

    seeds: float
    independent: float


class Range(NamedTuple):
    """Range and conclusions of a count of a known size.

    Attributes
    ----------
    low, high : int
        Ends of the range that holds such counts with the requested certainty. [1]
    expected : float
        Expected number of events. [1]
    share_low, share_high : float
        Interval of the true share after a count of the expected number. [1]
    below, above : float
        The nearest shares that two such counts distinguish from the true share; nan without
        any. [1]
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
    """A meter in a long run.

    Attributes
    ----------
    label : str
        Name that distinguishes it from the other state.
    origin : Origin
        Origin of the run.
    seeds : ndarray of int, shape (cells,)
        Seeds by cell that the way of looking shows.
    """

    label: str
    origin: Origin
    seeds: NDArray[np.int64]

    @cached_property
    def shares(self) -> Mapping[str, Share]:
        """Shares of skips, doubles and singles."""
        return shares_of(self.seeds)

    @property
    def seeds_per_cell(self) -> float:
        """Mean number of seen seeds of a cell; 1 where no seed is seen."""
        return float(self.seeds.mean()) or 1.0


@dataclass(frozen=True)
class HowMany:
    """Counts that distinguish two states of a meter or the side of a limit.

    Attributes
    ----------
    states : tuple of State
        Present state of the meter, and the other state if there is one.
    sides : tuple of Side
        Shares with their limits, if limits were given.
    seeds : int
        Seeds of the requested count.
    certainty, power : float
        Chance that equal states give no alarm, and chance that a difference is detected.
    way : str
        ``belt``, ``sensor`` or ``disc``.
    stretches : mapping of str to Stretch
        Stretches of a thousandth of a hectare (``metric``) and of an acre (``us``).
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
        """Origin of the run of the present state."""
        return self.states[0].origin

    @property
    def cells(self) -> float:
        """Cells in a count of `seeds` of the present state."""
        return self.seeds / self.states[0].seeds_per_cell

    def needed(self, kind: str) -> Needed:
        """Seeds in a count of each state that distinguish the states by a kind of cell."""
        here, there = self.states
        a, b = here.shares[kind], there.shares[kind]
        each = (
            cells_to_detect(*pair, self.certainty, self.power) * here.seeds_per_cell
            for pair in ((a, b), (Share(a.value), Share(b.value)))
        )
        return Needed(*each)

    @property
    def soonest(self) -> str:
        """Kind of cell that distinguishes the two states with fewest seeds."""
        return min(KINDS, key=lambda kind: self.needed(kind).seeds)

    def undetected(self, kind: str) -> float:
        """Chance that two counts of `seeds` do not detect the difference of the two states."""
        here, there = (state.shares[kind] for state in self.states)
        return 1 - power_of(here, there, self.cells, self.certainty)

    def to_show(self, side: Side) -> Needed:
        """Seeds in a count that detects the side of a limit."""
        plain = Side(side.limit, Share(side.share.value))
        per = 1.0 if side.limit.key.startswith("per_spacing") else self.states[0].seeds_per_cell
        return Needed(*(one.to_show(self.certainty, self.power) * per for one in (side, plain)))

    def range_of(self, kind: str) -> Range:
        """Range and conclusions of a count of `seeds` for a kind of cell."""
        share, cells = self.states[0].shares[kind], self.cells
        events = self.states[0].seeds == 0 if kind == "skips" else self.states[0].seeds > 1
        low, high = _range(events, share, cells, self.certainty)
        met, effective = round(share.value * cells), cells / max(share.effect, 1.0)
        bounds = _bounds(met * effective / cells, effective, self.certainty)
        near = least_difference(share, cells, self.certainty, self.power)
        return Range(low, high, share.value * cells, *bounds, *near)

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a kind of cell (extra ``notebook``).

        Columns give shares and design effects of both states, the seeds that distinguish them with
        dependent and with independent cells, and the range of a count of `seeds`.  Missing values
        are nan.
        """
        return dataframe(self.rows())

    def rows(self) -> list[dict[str, Any]]:
        """Rows of `to_dataframe`."""
        rows = []
        for kind in COUNTED:
            here = self.states[0].shares[kind]
            row: dict[str, Any] = {"kind": kind, "share": here.value, "effect": here.effect}
            if len(self.states) == 2:
                there, needed = self.states[1].shares[kind], self.needed(kind)
                row |= {"other_share": there.value, "other_effect": there.effect}
                row |= {"needed": needed.seeds, "needed_plain": needed.independent}
                row["mistaken"] = self.undetected(kind)
            rows.append(row | self.range_of(kind)._asdict())
        return rows


def howmany(
    scenario: AnyScenario,
    other: AnyScenario | None = None,
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
    stations: OwnGiven | None = None,
) -> HowMany:
    """Number of seeds to count to distinguish two states of a meter, or to judge a limit.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Present state: scenario, name or file; uncertain inputs are taken at their middle.
    other : Scenario, str or Path, optional
        Other state.  By default it is one notch off, unless limits are given.
    limits : sequence of Limit
        Limits to judge, as `metersim.questions.howmany.standards.limits_of` gives them.
    labels : pair of str, optional
        Names of the two states.
    seeds : int
        Seeds of the requested count, 1 or more.
    certainty, power : float
        Chance that equal states give no alarm, and chance that a difference is detected, between
        0.5 and 1.
    way : {'belt', 'sensor', 'disc'}
        How the count is made.
    units : {'metric', 'us'}
        Family of units of the words for the step.
    seed : int
        Random seed, common to both states.
    cells : int
        Approximate cells of the run of each state; the hopper is kept filled.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Returns
    -------
    HowMany

    Raises
    ------
    BadInput
        When a limit cannot be judged, or no notch can be moved.
    ValueError
        For chances, numbers or ways out of range.

    Examples
    --------
    >>> import metersim as m
    >>> found = m.howmany("maize_bench", seed=3)
    >>> found.states[1].label, found.soonest in ("skips", "doubles")
    ('one notch more aggressive', True)
    >>> found.needed(found.soonest).seeds > 300
    True
    >>> stretch = found.stretches["us"]
    >>> f"{stretch.length:.2f} m", stretch.seeds.low <= 33 <= stretch.seeds.high
    ('5.40 m', True)
    """
    if min(seeds, cells) < 1 or way not in WAYS:
        raise ValueError(
            f"seeds {seeds}, cells {cells}, way {way!r}; allowed: 1 or more, {', '.join(WAYS)}"
        )
    if not (0.5 <= certainty < 1 and 0.5 <= power < 1):
        raise ValueError(f"certainty {certainty}, power {power}; allowed: 0.5 to below 1")
    label = labels[1] if labels else ""
    scenario, *others = fitted_alike([scenario, *([] if other is None else [other])], stations)
    there = others[0] if others else None
    if there is None and not limits:
        steps: Steps = {"notch": 1 if can_move(scenario, {"notch": 1}, units) else -1}
        there, label = moved(scenario, steps, units), label or steps_text(steps, units)
    run = simulate(kept_full(scenario, cells), seed=seed)
    here = State(labels[0] if labels else "as it is", run.origin, loads(run, way))
    states = [here]
    if there is not None:
        there = kept_full(there, run.scenario.passages)
        origin, _ = pieces(there, seed=seed)  # none is computed
        states.append(State(label or there.name, origin, loads_at(there, [way], seed=seed)[way]))
    return HowMany(
        tuple(states),
        tuple(side_of(run, here.seeds, limit) for limit in limits),
        seeds,
        certainty,
        power,
        way,
        {family: stretch_of(run, area) for family, area in AREAS.items()},
    )


def _range(events: NDArray[np.bool_], share: Share, cells: float, level: float) -> tuple[int, int]:
    """Range of counts of so many cells: from the run, or from a normal law for long counts."""
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
    """Bounds of a share after Clopper and Pearson."""
    tail, rest = (1 - level) / 2, max(cells - events, 0.0)
    low = float(betaincinv(events, rest + 1, tail)) if events > 0 else 0.0
    high = float(betaincinv(events + 1, rest, 1 - tail)) if rest > 0 else 1.0
    return low, high
