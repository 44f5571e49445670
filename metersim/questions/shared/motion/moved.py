"""What a moving picture of a run holds: cells, seeds, pool and course, and what sits where when."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
COUNTED = ("skip", "single", "double", "more")  # by seeds released; the last are three or more


@dataclass(frozen=True)
class Lost:
    """The way in which a seed came off its hole before the cut-off.

    Attributes
    ----------
    at : str
        Where: ``pool``, ``edge`` or ``carry``.
    time : float
        When, by the trace: as its hole passes that point. [s]
    why : str
        Words of the loss.
    """

    at: str
    time: float
    why: str


@dataclass(frozen=True)
class MovedCell:
    """One passage of a cell round the disc.

    Attributes
    ----------
    cell, hole : int
        Number of the passage in the run, and of its hole: 0 enters the pool first.
    enters, leaves, edge, cut : float
        When it enters the pool, leaves it, meets the edge and passes the cut-off. [s]
    joined, released : int
        Seeds that left the pool on it, and that fell from it at the cut-off.
    kind : str
        One of `COUNTED`.
    why : str
        Why it released so many seeds.
    """

    cell: int
    hole: int
    enters: float
    leaves: float
    edge: float
    cut: float
    joined: int
    released: int
    kind: str
    why: str

    def to_dict(self) -> dict[str, Any]:
        """All of it for JSON; the times stand together."""
        made = asdict(self)
        made["times"] = {name: made.pop(name) for name in ("enters", "leaves", "edge", "cut")}
        return made


@dataclass(frozen=True)
class MovedSeed:
    """One seed that joined a cell.

    Attributes
    ----------
    cell, nth : int
        Its cell, and its number in it: 0 joined first.
    drawn : float
        When it is shown to come to the hole.  Assumption: the seeds of a cell come evenly over its
        way through the pool, as the records have no such time. [s]
    joined : float
        When it has joined by the trace: as its hole leaves the pool. [s]
    lost : Lost, optional
        How it came off, if it did.
    leaves_hole, beam, lands : float, optional
        When it fell from the hole, crossed the beam and came to rest, unless it was lost. [s]
    seen : bool, optional
        Whether the sensor gave a pulse of its own for it.
    x : float, optional
        Place at rest along the row. [m]
    size : float
        Size over the mean of the lot; 1 for lost seeds, whose size is not recorded (assumption).
    """

    cell: int
    nth: int
    drawn: float
    joined: float
    lost: Lost | None
    leaves_hole: float | None = None
    beam: float | None = None
    lands: float | None = None
    seen: bool | None = None
    x: float | None = None
    size: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """Sizes of the meter, in m and rad; angles count from where a cell enters the pool."""

    holes: int
    circle_radius_m: float
    hole_diameter_m: float
    pool_exit_rad: float
    edge_rad: float
    cut_off_rad: float
    edge_gap_m: float  # from the circle of the holes' centres outwards
    carry_line_m: float  # above the lowest hole
    tube_m: float  # from the cut-off to the ground
    beam_m: float  # of the sensor above the ground
    delivery: str  # "tube", "conveyor" or "none"
    seed_length_m: float
    seed_width_m: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Way:
    """The turning of the disc and the way of the machine at some times, straight in between.

    Attributes
    ----------
    time : ndarray
        Times, rising. [s]
    angle : ndarray
        Angle through which the disc has turned. [rad]
    place : ndarray
        Place of the tube's end along the row. [m]
    """

    time: Array
    angle: Array
    place: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class PoolTicks:
    """The pool after each tick of the gate.

    Attributes
    ----------
    time, level : ndarray
        Times [s], and level above the lowest hole [m].
    seeds : ndarray of int
        Seeds in the pool.
    arched : ndarray of bool
        Whether an arch stops the gate.
    inflow : ndarray of int
        Seeds that slid in through the gate since the tick before.
    """

    time: Array
    level: Array
    seeds: NDArray[np.int64]
    arched: NDArray[np.bool_]
    inflow: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Motion:
    """The disc in motion while some cells go round it and their seeds fall.

    Attributes
    ----------
    title : str
        Title of the scenario.
    first, many : int
        The first of the cells that it is about, and how many they are.
    start, end : float
        From when the first one enters the pool to when the seeds of the last have landed. [s]
    cells : tuple of MovedCell
        These cells and all others on the disc meanwhile, in order.
    seeds : tuple of MovedSeed
        All seeds that joined these cells, by cell and by seed in cell.
    way : Way
        The turning disc and the machine.
    pool : PoolTicks
        The pool.
    geometry : Geometry
        Sizes.
    speed, spacing : float
        Usual speed of the machine [m/s], and nominal spacing [m].
    count_before : mapping of str to int
        Cells of the run before `cells` by kind.
    """

    title: str
    first: int
    many: int
    start: float
    end: float
    cells: tuple[MovedCell, ...]
    seeds: tuple[MovedSeed, ...]
    way: Way
    pool: PoolTicks
    geometry: Geometry
    speed: float
    spacing: float
    count_before: Mapping[str, int]

    @cached_property
    def seeds_of(self) -> Mapping[int, tuple[MovedSeed, ...]]:
        """The seeds that joined each cell."""
        found: dict[int, tuple[MovedSeed, ...]] = {one.cell: () for one in self.cells}
        for seed in self.seeds:
            found[seed.cell] += (seed,)
        return found

    def on_hole(self, cell: MovedCell, time: float) -> tuple[MovedSeed, ...]:
        """Seeds that have joined a cell and are on its hole at a time [s], as the trace has it."""
        return tuple(
            seed for seed in self.seeds_of[cell.cell] if seed.joined <= time and time < _off(seed)
        )

    def in_pool(self, time: float) -> int:
        """Seeds in the pool at a time [s] between start and end."""
        tick = max(int(np.searchsorted(self.pool.time, time, side="right")) - 1, 0)
        since, seeds = float(self.pool.time[tick]), int(self.pool.seeds[tick])
        for seed in self.seeds:
            seeds -= since < seed.joined <= time
            seeds += seed.lost is not None and since < seed.lost.time <= time
        return seeds

    def counted(self, time: float, since: float | None = None) -> dict[str, int]:
        """Cells that have passed the cut-off since the start, or another time, by kind. [s]"""
        since = self.start if since is None else since
        passed = Counter(one.kind for one in self.cells if since < one.cut <= time)
        return {kind: passed[kind] for kind in COUNTED}

    def to_dict(self) -> dict[str, Any]:
        """All numbers for JSON, in SI; what `motion.js` draws.

        The cells that it is about stand apart from the others on the disc.
        """
        from metersim.questions.shared.motion.words import events_of

        own = [self.first <= one.cell < self.first + self.many for one in self.cells]
        told = [one.to_dict() for one in self.cells]
        return {
            "title": self.title,
            "first": self.first,
            "many": self.many,
            "start": self.start,
            "end": self.end,
            "cells": [one for one, inside in zip(told, own, strict=True) if inside],
            "around": [one for one, inside in zip(told, own, strict=True) if not inside],
            "seeds": [asdict(one) for one in self.seeds],
            "way": {name: values.tolist() for name, values in vars(self.way).items()},
            "pool": {name: values.tolist() for name, values in vars(self.pool).items()},
            "events": [one._asdict() for one in events_of(self)],
            "geometry": asdict(self.geometry),
            "speed_m_s": self.speed,
            "spacing_m": self.spacing,
            "count_before": dict(self.count_before),
        }


def _off(seed: MovedSeed) -> float:
    """When a seed that has joined leaves its hole. [s]"""
    if seed.lost:
        return seed.lost.time
    assert seed.leaves_hole is not None
    return seed.leaves_hole


def kind_of_cell(released: int) -> str:
    """Kind of a cell that released so many seeds, one of `COUNTED`."""
    return COUNTED[min(released, len(COUNTED) - 1)]
