"""Runs whose seeds have become plants -> sums and measures, as those of seeds are made."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np

from metersim.indices import BY_KEY, Measure
from metersim.measures import Measured
from metersim.records import Origin, Piece
from metersim.scenario import Scenario
from metersim.simulation import pieces
from metersim.stand import come_up, delays, median_delay
from metersim.streams import Streams
from metersim.tally import Tally, tally
from metersim.units import UNITS

DAY = UNITS["days"].factor
# days behind the median; assumption: a plant counts as late from half of the ten days studied, and
# for the nearer of the two delays that were studied
LATE = {"late_ten": (5 * DAY, 15.5 * DAY), "late_weeks": (15.5 * DAY, math.inf)}


def _of_plants(key: str, seeds: str, meaning: str) -> Measure:
    """A measure of seeds, taken of plants."""
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
BY_NAME = {measure.key: measure for measure in PLANTED}


def planted(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stretches: int,
    on_cells: Callable[[int], object] | None = None,
) -> Measured:
    """One run's plants, measured; arguments as for `metersim.tally.tallied`."""
    origin, parts = pieces(scenario, seed=seed, replicate=replicate)
    made = plants_tally(origin, scenario.passages, parts, stretches, on_cells)
    return Measured((made,), measures=PLANTED)


def plants_tally(
    origin: Origin,
    cells: int,
    parts: Iterable[Piece],
    stretches: int,
    on_cells: Callable[[int], object] | None = None,
) -> Tally:
    """Sums over stretches of a run whose seeds have become plants, as `metersim.tally.tally`."""
    stand, streams = origin.scenario.stand, Streams(origin.seed, origin.replicate)
    times = (stand.emergence_spread, stand.late_share, stand.late_by)
    median = median_delay(*times)
    late = {name: np.zeros(stretches) for name in LATE}
    hills = {name: np.zeros(stretches) for name in ("hills_none", "in_doubles")}

    def grown() -> Iterator[Piece]:
        for piece in parts:
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

    made = tally(origin, cells, stretches, grown())
    return dataclasses.replace(made, sums={**made.sums, **late, **hills})
