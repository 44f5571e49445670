"""A meter learned from counts, looks and spacings, as draws for a meter file."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import all_of
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.posterior import Posterior
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.questions.learn.ahead import Ahead, candidates, look_ahead
from metersim.questions.learn.emulate import FEW, SEVERAL, SPACINGS, SPREAD, Emulator
from metersim.questions.learn.machines import Machines, machines_of, rest_of, spread_out
from metersim.questions.learn.seen import Seen, check_taken, of_look, of_spacings, pooled, read_seen
from metersim.questions.learn.weigh import CELLS, MACHINES, Weighed, bits, effective, weigh
from metersim.questions.shared.looks import BELT, Look
from metersim.questions.shared.spacings import MeasuredSpacings
from metersim.run.parallel import check_sent
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

KEPT_DRAWS = 128  # draws of a meter file
MEASURES = {"skips": (BELT, FEW), "doubles": (BELT, SEVERAL), "precision": (SPACINGS, SPREAD)}
"""What is predicted at the scenario's settings, by way and part."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Taught:
    """Information of one part of what was seen, by itself.

    Attributes
    ----------
    seen : Seen
        The part: all that was seen at the same settings in the same way.
    bits : float
        Information about the machine, in bits.
    narrows : mapping of str to float
        Part by which it narrows each prediction, by name of `MEASURES`: by how much the SD falls on
        the scale of the measure; below 0 where it grows. [1]
    """

    seen: Seen
    bits: float
    narrows: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Learned:
    """What was learned of one meter.

    Attributes
    ----------
    scenario : Scenario
        The meter at the settings of the predictions, with its new draws.
    posterior : Posterior
        The new draws, for a meter file.
    taught : tuple of Taught
        Information of each part of what was seen, by itself.
    before, after : mapping of str to Estimate
        Skips, doubles and precision at the scenario's settings: median and 90 % interval of the
        true value for a machine. [1]
    bits : float
        Information of all that was seen, in bits.
    effective : float
        Number of equally weighted machines that explain what was seen.
    rounds : int
        Rounds of runs.
    ahead : tuple of Ahead
        What could be counted next, the most instructive first; empty if that was not asked.
    seed : int
        Random seed.
    """

    scenario: Scenario
    posterior: Posterior
    taught: tuple[Taught, ...]
    before: Mapping[str, Estimate]
    after: Mapping[str, Estimate]
    bits: float
    effective: float
    rounds: int
    ahead: tuple[Ahead, ...]
    seed: int

    def __repr__(self) -> str:
        many = sum(one.seen.parts for one in self.taught)
        return f"<Learned of {self.scenario.name} from {many} counts: {self.bits:.1f} bits>"

    def to_toml(self) -> str:
        """The meter file."""
        return self.posterior.to_toml()

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a prediction, in SI (extra ``notebook``)."""
        return dataframe(
            [
                {"measure": name}
                | {
                    f"{when}_{end}": getattr(getattr(self, when)[name], end)
                    for when in ("before", "after")
                    for end in ("value", "low", "high")
                }
                for name in self.before
            ]
        )


def learn(
    scenario: AnyScenario,
    looks: Look | Sequence[Look] = (),
    *,
    files: Sequence[str | Path] = (),
    row: str | None = None,
    spacings: Sequence[MeasuredSpacings] = (),
    elsewhere: Sequence[tuple[AnyScenario, Look | MeasuredSpacings]] = (),
    title: str | None = None,
    seed: int = 1,
    draws: int = KEPT_DRAWS,
    machines: int = MACHINES,
    cells: int = CELLS,
    ahead: bool = True,
    stations: OwnGiven | None = None,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Learned:
    """Learn the coefficients of one meter from what was seen of it.

    Parameters
    ----------
    scenario : Scenario, str or Path
        The meter, as scenario, name or file, at the settings to predict.  If it names a meter
        file, the draws of this file are refined.
    looks : Look or sequence of Look
        Counts at these settings, such as `look_of_seeds` gives.
    files : sequence of str or Path
        Logs of counts, each count at its own settings, and files of spacings at these settings.
    row : str, optional
        Row of the logs, if they hold several.
    spacings : sequence of MeasuredSpacings
        Spacings at these settings.
    elsewhere : sequence of (Scenario, Look or MeasuredSpacings)
        Counts and spacings of the same meter at other settings, with the same disc and crop.
    title : str, optional
        Name of the machine; by default that of the scenario.
    seed, draws : int
        Random seed, and number of draws for the meter file.
    machines, cells : int
        Machines that are run, in each round and at each setting, and cells of each run.
    ahead : bool
        Whether to work out what to count next.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    executor : Executor, optional
        Executor of the runs; the result is the same.
    on_run : callable, optional
        Called with 1 for each finished run.

    Returns
    -------
    Learned
        Draws for a meter file, predictions before and after, and what to count next.

    Raises
    ------
    BadInput
        For files with faults, and when no machine of the model explains what was seen.

    Examples
    --------
    >>> import metersim as m
    >>> count = m.look_of_seeds(2000, skips=20, doubles=12)
    >>> found = m.learn("maize_bench", count, machines=40, cells=1500, ahead=False)
    >>> found.after["skips"].high < found.before["skips"].high
    True
    >>> mine = found.scenario  # its predictions are those of this meter
    >>> len(mine.posterior.draws)
    128
    """
    scenario, *others = fitted_alike([scenario, *(one for one, _ in elsewhere)], stations)
    check_sent(scenario, executor)
    given = (looks,) if isinstance(looks, Look) else tuple(looks)
    seen = [of_look(scenario, look) for look in given]
    seen += [of_spacings(scenario, one) for one in spacings]
    for other, (_, one) in zip(others, elsewhere, strict=True):
        seen.append(of_look(other, one) if isinstance(one, Look) else of_spacings(other, one))
    check_taken(scenario, seen)
    read = all_of(*(lambda file=file: read_seen(scenario, Path(file), row) for file in files))
    seen = pooled([*seen, *(one for part in read for one in part)])
    return learn_from(
        scenario,
        seen,
        title=title,
        seed=seed,
        draws=draws,
        machines=machines,
        cells=cells,
        ahead=ahead,
        executor=executor,
        on_run=on_run,
    )


def learn_from(
    scenario: Scenario,
    seen: Sequence[Seen],
    *,
    title: str | None = None,
    seed: int = 1,
    draws: int = KEPT_DRAWS,
    machines: int = MACHINES,
    cells: int = CELLS,
    ahead: bool = True,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Learned:
    """Learn from what was seen, in sums of `pooled`; see `learn`."""
    believed = machines_of(scenario, seed)
    each: Any = {"seed": seed, "runs": machines, "cells": cells}
    each |= {"executor": executor, "on_run": on_run}
    found = weigh(believed, seen, **each)
    values, weights = predicted(found, seed), found.weights
    before = {name: interval(name, values[name], found.priors) for name in values}
    after = {name: interval(name, values[name], weights) for name in values}
    points = found.points[chosen(found, draws, seed)]
    points = points[spread_out(points)]
    kept = scenario.meter.title if scenario.meter else f"the meter of {scenario.name}"
    posterior = believed.posterior(points, _made(scenario, seen, found, seed), title or kept)
    posterior = replace(posterior, file="my_meter.toml")
    taught = tuple(
        Taught(one, bits(own, found.priors), narrowing(values, found.priors, own))
        for k, one in enumerate(seen)
        for own in [found.after([k])]
    )
    further: tuple[Ahead, ...] = ()
    if ahead:
        trials = candidates(scenario)
        further = look_ahead(found, trials, values, **each)
    mine = replace(scenario, meter=posterior, coefficients=posterior.middle)
    return Learned(
        scenario=mine,
        posterior=posterior,
        taught=taught,
        before=before,
        after=after,
        bits=bits(weights, found.priors),
        effective=effective(weights),
        rounds=found.rounds,
        ahead=further,
        seed=seed,
    )


def predicted(found: Weighed, seed: int) -> dict[str, Floats]:
    """What each machine shows at the scenario's settings, on the scales of shares and spreads.

    The rest of the discrepancy is drawn: a setting has its own.
    """
    believed = found.machines
    return predictions(believed, found.emulator(believed.scenario), found.points, seed)


def predictions(
    believed: Machines, emulator: Emulator, points: Floats, seed: int
) -> dict[str, Floats]:
    """What machines show at the setting of an emulator, by name of `MEASURES`."""
    shifts = believed.shifts(points)
    moved = dict(zip(MEASURES, ("skip", "double", "spread"), strict=True))
    made = {}
    for name, (way, part) in MEASURES.items():
        rng = Streams(seed).generator(f"learn rest {name}")
        own = believed.own_spread if part == SPREAD else believed.own_share
        rest = rest_of(own, emulator.alike)
        level = emulator(way, part, points) + emulator.alike * shifts[moved[name]]
        made[name] = level + rest * rng.standard_normal(len(points))
    return {name: part for name, part in made.items() if np.isfinite(part).all()}


def interval(name: str, values: Floats, weights: Floats) -> Estimate:
    """Median and interval of weighted values of a measure, back on the measure's own scale."""
    order = np.argsort(values, kind="stable")
    heights = np.cumsum(weights[order]) - weights[order] / 2
    places = [0.5, (1 - LEVEL_TOTAL) / 2, (1 + LEVEL_TOTAL) / 2]
    found = np.interp(places, heights, values[order])
    back = np.exp(found) if name == "precision" else np.sin(found.clip(0, np.pi / 2)) ** 2
    value, low, high = back.tolist()
    return Estimate(value, low, high)


def narrowing(values: Mapping[str, Floats], before: Floats, after: Floats) -> dict[str, float]:
    """Part by which weights lower the SD of each prediction, on its scale. [1]"""

    def sd(part: Floats, weights: Floats) -> float:
        middle = weights @ part
        return math.sqrt(float(weights @ (part - middle) ** 2))

    return {
        name: 1 - sd(part, after) / old
        for name, part in values.items()
        if (old := sd(part, before)) > 0
    }


def chosen(found: Weighed, draws: int, seed: int) -> NDArray[np.int64]:
    """Machines for a meter file, by number: equally likely, in steps of their weights.

    They are taken in the order of the predicted skips, so that those are represented best.
    """
    values = predicted(found, seed).get("skips", found.points[:, 0])
    order = np.argsort(values, kind="stable")
    edges = np.cumsum(found.weights[order])
    start = Streams(seed).generator("learn draws").random()
    places = (np.arange(draws) + start) / draws * edges[-1]
    taken: NDArray[np.int64] = order[np.searchsorted(edges, places).clip(max=len(order) - 1)]
    return taken


def _made(scenario: Scenario, seen: Sequence[Seen], found: Weighed, seed: int) -> str:
    old = f"the draws of {scenario.meter.title}" if scenario.meter else "an unknown machine"
    cells = sum(one.cells for one in seen if one.way != SPACINGS)
    spacings = sum(one.cells for one in seen if one.way == SPACINGS)
    parts = [f"{cells:,} cells"] * bool(cells) + [f"{spacings:,} spacings"] * bool(spacings)
    return (
        f"learned from {' and '.join(parts) or 'nothing'} of {scenario.name}, starting from {old}; "
        f"{effective(found.weights):.0f} effective machines of {len(found.points):,}, "
        f"random seed {seed}"
    )
