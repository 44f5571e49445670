"""Plants from the seeds of a run: emergence, positions, delays and measures."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtr, ndtri
from metersim.files.units import UNITS
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured
from metersim.measures.indices import BY_KEY, Measure
from metersim.measures.observed import as_it_lies, come_up, index_of
from metersim.measures.parts import PARTS, Rows
from metersim.measures.tally import Tally, tally
from metersim.run.records import Origin, Piece, Run, Seeds
from metersim.run.simulation import pieces
from metersim.run.streams import Streams

Floats = NDArray[np.float64]


def emerged(run: Run, chance: float, shift: float) -> Run:
    """A run with plants in place of its seeds; its spacings are those a tape in the row shows.

    Parameters
    ----------
    run : Run
        Records of seeds.
    chance : float
        Chance that a seed comes up, from 0 to 1. [1]
    shift : float
        SD of the distance along the row from a seed to its plant. [m]

    Returns
    -------
    Run
        The same cells and ticks, with the seeds that came up, at the positions of their plants.

    Notes
    -----
    assumption: as for `metersim.measures.observed.come_up`.
    """
    plants = come_up(run.seeds, Streams(run.seed, run.replicate), chance, shift)
    return dataclasses.replace(as_it_lies(run), seeds=plants)


def delays(
    seeds: Seeds, streams: Streams, spread: float, late_share: float, late_by: float
) -> Floats:
    """Delay of each seed's emergence after the mean day of timely seeds.

    Parameters
    ----------
    seeds : Seeds
        Seeds or plants of a run.
    streams : Streams
        The random draws of the run.
    spread : float
        SD of the time of emergence. [s]
    late_share : float
        Chance that a seed is held up, as by a crust or a cold patch. [1]
    late_by : float
        Delay of a seed that is held up. [s]

    Returns
    -------
    ndarray, shape (seeds,)
        Delays, negative for early seeds. [s]

    Notes
    -----
    assumption: times are normal. A seed is held up independently of its neighbours and of whether
    it comes up, although crusts and cold soil lie in patches.
    There is one draw per seed and cause, as in `emerged`.  The draws do not depend on settings.
    """
    index = index_of(seeds)
    held = streams.uniform("late emergence", index) < late_share
    early = spread * ndtri(streams.uniform("emergence delay", index))
    times: Floats = early + late_by * held
    return times


def median_delay(spread: float, late_share: float, late_by: float) -> float:
    """Median of `delays` over all possible plants.

    Parameters
    ----------
    spread, late_share, late_by : float
        As for `delays`; a share below a half.

    Returns
    -------
    float
        Median, from 0 to `late_by`. [s]
    """
    if spread == 0 or late_share == 0 or late_by == 0:
        return 0.0
    from scipy.optimize import brentq  # slow to load, seldom needed

    def above(time: float) -> float:
        timely, late = ndtr(time / spread), ndtr((time - late_by) / spread)
        return float((1 - late_share) * timely + late_share * late - 0.5)

    return float(brentq(above, 0.0, late_by))


def even_seeds_sd(spacing: float, chance: float, shift: float) -> float:
    """SD of plant spacings from perfectly even seeds, the least that a meter can reach.

    Parameters
    ----------
    spacing : float
        Distance of the seeds. [m]
    chance, shift : float
        As for `emerged`.

    Returns
    -------
    float
        sqrt(spacing^2 (1 - chance)/chance^2 + 2 shift^2); nan if nothing comes up. [m]

    Notes
    -----
    derived: a gap spans a geometric number of places, and both of its plants are shifted.
    """
    if chance == 0:
        return float("nan")
    return float(np.sqrt(spacing**2 * (1 - chance) / chance**2 + 2 * shift**2))


DAY = UNITS["days"].factor
# days behind the median; assumption: a plant counts as late from half of the ten days studied, and
# for the nearer of the two delays that were studied
LATE = {"late_ten": (5 * DAY, 15.5 * DAY), "late_weeks": (15.5 * DAY, math.inf)}


def _of_plants(key: str, seeds: str, meaning: str) -> Measure:
    """A measure of seeds, applied to plants."""
    return dataclasses.replace(BY_KEY[seeds], key=key, meaning=meaning)


PLANTED: tuple[Measure, ...] = (
    _of_plants("plants.per_area", "placed.per_area", "plants on an area"),
    _of_plants("plants.mean", "spacing.mean", "mean of all plant spacings"),
    _of_plants("plants.sd", "spacing.sd", "SD of all plant spacings, nothing removed"),
    _of_plants("plants.cv", "spacing.cv", "SD of all plant spacings over their mean"),
    _of_plants(
        "places.none",
        "per_place.miss",
        "theoretical places without a plant, at most three in a gap",
    ),
    _of_plants("places.several", "per_place.multiple", "theoretical places with several plants"),
    Measure(
        "hills.none",
        "share",
        "cells that left no plant, wherever those of their neighbours stand",
        top=("hills_none",),
        bottom="cells",
    ),
    Measure(
        "plants.in_doubles",
        "share",
        "plants of cells that left several",
        top=("in_doubles",),
        bottom="seeds",
    ),
    Measure(
        "late.ten_days",
        "share",
        "plants more than 5 and up to 15.5 days behind the median",
        top=("late_ten",),
        bottom="seeds",
    ),
    Measure(
        "late.three_weeks",
        "share",
        "plants more than 15.5 days behind the median",
        top=("late_weeks",),
        bottom="seeds",
    ),
)
COUNTED = (*PLANTED, *PARTS)
"""Measures of plants, and the parts of their losses."""
BY_NAME = {measure.key: measure for measure in COUNTED}


def planted(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stretches: int,
    on_cells: Callable[[int], object] | None = None,
) -> Measured:
    """Measures of the plants of one run; arguments as for `metersim.measures.tally.tallied`."""
    origin, parts = pieces(scenario, seed=seed, replicate=replicate)
    made = plants_tally(origin, scenario.passages, parts, stretches, on_cells)
    return Measured((made,), measures=COUNTED)


def plants_tally(
    origin: Origin,
    cells: int,
    parts: Iterable[Piece],
    stretches: int,
    on_cells: Callable[[int], object] | None = None,
) -> Tally:
    """Sums as of `metersim.measures.tally.tally`, for plants in place of seeds."""
    stand, streams = origin.scenario.stand, Streams(origin.seed, origin.replicate)
    times = (stand.emergence_spread, stand.late_share, stand.late_by)
    median = median_delay(*times)
    late = {name: np.zeros(stretches) for name in LATE}
    rows = Rows(origin.scenario, streams, cells, stretches)
    hills = {name: np.zeros(stretches) for name in ("hills_none", "in_doubles")}

    def grown() -> Iterator[Piece]:
        for piece in parts:
            rows.add(piece)
            up = come_up(piece.seeds, streams, stand.emergence, stand.plant_shift)
            behind = delays(up, streams, *times) - median
            stretch = up.cell * stretches // cells
            for name, (low, high) in LATE.items():
                found = stretch[(behind > low) & (behind <= high)]
                late[name] += np.bincount(found, minlength=stretches)
            left = np.bincount(up.cell - piece.first_cell, minlength=len(piece.cells))
            stretch = (piece.first_cell + np.arange(len(left))) * stretches // cells
            hills["hills_none"] += np.bincount(stretch, left == 0, stretches)
            hills["in_doubles"] += np.bincount(stretch, left * (left > 1), stretches)
            yield dataclasses.replace(piece, seeds=up)
            if on_cells:
                on_cells(len(piece.cells))

    made = tally(as_it_lies(origin), cells, stretches, grown())
    made = dataclasses.replace(made, origin=origin)
    return dataclasses.replace(made, sums={**made.sums, **late, **hills, **rows.columns()})
