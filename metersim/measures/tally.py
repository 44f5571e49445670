"""Sums over the pieces of a run, so that records need not be kept.

A run is cut into stretches of cells.  Measures are made of sums over each stretch, which grow while
the run goes on.  Whole runs are summed piece by piece as well.  So the sums agree to the last bit,
whether the records were kept or not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.observed import observed_seeds
from metersim.measures.places import Plan, planned_at, sown_distance
from metersim.measures.pool import SHORTEST, Emptied, Hopper, Spilt, stops_of
from metersim.measures.spacing import CLASS_NAMES, ROUNDING, classes_of, place_sums
from metersim.measures.stretches import Clock, Floats, Ints, Loads, Neighbours, Table
from metersim.run.records import Cells, Origin, Piece, Run
from metersim.run.simulation import EVENTS, check_engine, pieces, simulate

STRETCHES = 48  # number of stretches over all replicates
CP3_WINDOW = 0.03  # m


@dataclass(frozen=True, eq=False)
class Tally:
    """Sums over a run; their size does not depend on its length.

    Attributes
    ----------
    origin : Origin
        Origin of the records.
    cells, stretches : int
        Number of cells of the run, and number of stretches.
    sums : mapping of str to ndarray, shape (stretches,)
        Sums by column; lengths are in nominal spacings, times in s, areas in m2.
    reasons : ndarray of int
        Number of cells by reason, see `metersim.machine.losses.REASONS`.
    gaps : ndarray of int
        Pairs of successive cells that released seeds, by the reason of the cell before the second
        one.  The first entry counts neighbours.  Every other entry counts runs of skips.
    longest_skip_run : int
        Most cells in a row that released nothing.
    emptied : Emptied, optional
        Moment at which an empty hopper left the pool below its level, if it did.
    spilt : int
        Seeds that leaked out of the pool since the last tick before the first cell that counts.
    """

    origin: Origin
    cells: int
    stretches: int
    sums: Mapping[str, Floats]
    reasons: Ints
    gaps: Ints
    longest_skip_run: int
    emptied: Emptied | None = None
    spilt: int = 0

    def __repr__(self) -> str:
        draws = f"random seed {self.origin.seed}, replicate {self.origin.replicate}"
        return f"<Tally of {self.origin.scenario.name}: {self.cells:,} cells, {draws}>"


def stretches_for(cells: int, replicates: int = 1, shortest: int = SHORTEST) -> int:
    """Number of stretches for each of some replicates, from the number of cells."""
    return max(1, min(round(STRETCHES / replicates), cells // shortest))


def stretches_of(*scenarios: Scenario, replicates: int = 1, cells: int | None = None) -> int:
    """Number of stretches for each of some replicates of scenarios that are measured alike.

    Parameters
    ----------
    *scenarios : Scenario
        Scenarios; where the pool of one starves, stretches are longer than its memory.
    replicates : int
        Number of replicates of each.
    cells : int, optional
        Number of cells; by default that of the shortest scenario.
    """
    fewest = cells or min(one.passages for one in scenarios)
    shortest = max(stops_of(one).shortest for one in scenarios)
    return stretches_for(fewest, replicates, shortest)


def tallied(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stretches: int | None = None,
    stations: OwnGiven | None = None,
    engine: str | None = None,
    on_cells: Callable[[int], object] | None = None,
    first: int = 0,
) -> Tally:
    """Run a scenario and keep its sums alone, in memory that does not grow with its length.

    Parameters
    ----------
    scenario, seed, replicate, stations, engine
        As for `metersim.run.simulation.simulate`.
    stretches : int, optional
        Number of stretches; by default as many as the cells allow.
    on_cells : callable, optional
        Called with each further number of cells that are done, to show progress.
    first : int
        First cell that counts; those before it run, but are left out.

    Returns
    -------
    Tally
        Sums that `metersim.measures.estimates.measure` takes in place of a run.

    Examples
    --------
    >>> import metersim as m
    >>> scenario = m.load_scenario("maize_bench", ["turns=100"])
    >>> tally = m.tallied(scenario, seed=3)
    >>> tally.cells, bool(0 < tally.sums["none"].sum() < 100)
    (3000, True)
    >>> m.measure(tally)["cells.skip"] == m.measure(m.simulate(scenario, seed=3))["cells.skip"]
    True
    """
    check_engine(engine)
    scenario = fitted(scenario, stations)
    cells = scenario.passages - first
    stretches = stretches or stretches_of(scenario, cells=cells)
    if engine == EVENTS:
        run = simulate(scenario, seed=seed, replicate=replicate, engine=engine)
        return tally(run.origin, cells, stretches, run.pieces(), first)
    origin, parts = pieces(scenario, seed=seed, replicate=replicate, engine=engine)
    if on_cells:
        parts = _reporting(parts, on_cells)
    return tally(origin, cells, stretches, parts, first)


def _reporting(pieces: Iterable[Piece], on_cells: Callable[[int], object]) -> Iterator[Piece]:
    for piece in pieces:
        yield piece
        on_cells(len(piece.cells))


def tally_of(run: Run, stretches: int) -> Tally:
    """Sums over equal stretches of a whole run."""
    return tally(run.origin, len(run.cells), stretches, run.pieces())


def tally(
    origin: Origin, cells: int, stretches: int, pieces: Iterable[Piece], first: int = 0
) -> Tally:
    """Sums over equal stretches of a run that comes in pieces.

    Parameters
    ----------
    origin : Origin
        Origin of the pieces.
    cells : int
        Number of cells in all pieces together, from `first` on.
    stretches : int
        Number of stretches, 1 or more.
    pieces : iterable of Piece
        The pieces in order.  A piece is not kept when the next one is taken.
    first : int
        First cell that counts.

    Raises
    ------
    ValueError
        If a piece is missing, repeated or out of order.
    RuntimeError
        If a seed lies a whole piece or more behind its cell, which no meter can do.
    """
    sums = _Sums(origin, cells, stretches, first)
    for piece in pieces:
        sums.add(piece)
    columns, loads = sums.columns(), sums.loads
    return Tally(
        origin,
        cells,
        stretches,
        columns,
        loads.reasons,
        loads.gaps,
        loads.longest,
        sums.emptied,
        sums.spilt.seeds,
    )


def tally_of_cells(origin: Origin, cells: Cells, stretches: int) -> Tally:
    """Sums over equal stretches of the cells of a run whose seeds were not followed.

    They are those of `tally` from cells and the seeds that these release.
    """
    loads = Loads(len(cells), stretches)
    loads.add(cells)
    seeds = loads.table.tables[0, :, : Loads.RUN_STARTS] * np.arange(Loads.RUN_STARTS)
    return Tally(
        origin,
        len(cells),
        stretches,
        _cell_columns(loads) | {"seeds": seeds.sum(axis=1)},
        loads.reasons,
        loads.gaps,
        loads.longest,
    )


def _cell_columns(loads: Loads) -> dict[str, Floats]:
    """Sums of cells by column."""
    (table,) = loads.table.tables
    return {
        "cells": table.sum(axis=1),
        "skip_runs": table[:, Loads.RUN_STARTS],
        "none": table[:, 0] + table[:, Loads.RUN_STARTS],
        "one": table[:, 1],
        "two": table[:, 2],
        "three": table[:, 3 : Loads.RUN_STARTS].sum(axis=1),
    }


class _Sums:
    """All sums of a run while it goes on."""

    def __init__(self, origin: Origin, cells: int, stretches: int, first: int = 0) -> None:
        scenario = origin.scenario
        self._origin, self._cells, self._first = origin, cells, first
        self._next = 0
        self._hopper = Hopper(scenario)
        self.spilt = Spilt(scenario, first)
        self._nominal, self._demand = scenario.spacing, scenario.demand
        self._close = CP3_WINDOW / 2 * (1 + ROUNDING) / self._nominal
        self.loads = Loads(cells, stretches)
        self._row, self._shown = Neighbours(), Neighbours()
        self._clock = Clock(scenario, cells, stretches, first)
        self._classes = len(CLASS_NAMES)
        self._spacings = Table(cells, stretches, 2 * self._classes, values=2)
        self._signals = Table(cells, stretches, self._classes)
        self._seeds = Table(cells, stretches, 2, values=2)
        self._pulses = Table(cells, stretches, 3)
        self._way = scenario.way
        self._plan = Plan(scenario.way) if scenario.way else None

    def add(self, piece: Piece) -> None:
        """Add the next piece."""
        if piece.first_cell != self._next:
            raise ValueError(
                f"a piece begins at cell {piece.first_cell}; allowed: {self._next}, the next"
            )
        self._next += len(piece.cells)
        self._clock.add(piece.first_tick, piece.ticks)
        self._hopper.add(piece.first_tick, piece.ticks)
        self.spilt.add(piece.first_tick, piece.ticks)
        cells, seeds = piece.cells, piece.seeds
        if piece.first_cell < self._first:
            cells = cells.part(slice(self._first - piece.first_cell, None))
            seeds = seeds.part(slice(int(np.searchsorted(seeds.cell, self._first)), None))
        found = self._hopper.emptied
        self.loads.add(cells, found.cell - self._first if found else math.inf)
        fall = seeds.landing_time - seeds.release_time
        passage = seeds.cell - self._first
        self._seeds.add(passage, seeds.seen.view(np.int8), fall, fall * fall)
        start = max(piece.first_cell - self._first, 0)
        pulses = np.bincount(passage[seeds.seen] - start, minlength=len(cells))
        self._pulses.add(np.arange(start, start + len(cells)), np.minimum(pulses, 2))
        seen = observed_seeds(self._origin, seeds)
        places, signals = seen.position, seeds.sensor_time[seeds.seen]
        if self._plan:
            by_pulse = self._origin.scenario.observed == "pulses"
            places = self._plan.places(seeds, places, by_pulse=by_pulse)
            signals = self._plan.signals(seeds, signals)
        self._add_spacings(*self._row.add(places, seen.cell - self._first))
        self._add_signals(*self._shown.add(signals, passage[seeds.seen]))

    def _add_spacings(self, gaps: Floats, left: Ints) -> None:
        ratio = gaps / self._nominal
        excess = ratio - 1
        close = np.abs(excess) <= self._close  # cuts every class in two
        classes = classes_of(ratio) + self._classes * close.view(np.int8)
        self._spacings.add(left, classes, excess, excess * excess)

    def _add_signals(self, gaps: Floats, left: Ints) -> None:
        scale = 1 / self._nominal if self._way else self._demand.speed / self._nominal
        self._signals.add(left, classes_of(gaps * scale))

    @property
    def emptied(self) -> Emptied | None:
        """Moment at which an empty hopper left the pool below its level, if it did."""
        found = self._hopper.emptied
        if not found or found.cell >= self._first + self._cells:
            return None
        return replace(found, gaps=tuple(self.loads.late.tolist()), tail=self.loads.tail)

    def columns(self) -> dict[str, Floats]:
        """The sums by column, when no more pieces come."""
        if self.loads.passed != self._cells:
            raise ValueError(f"the pieces hold {self.loads.passed} cells; allowed: {self._cells}")
        self._add_spacings(*self._row.rest())
        self._add_signals(*self._shown.rest())
        spacings = self._spacings.tables
        count, excess, excess2 = spacings[..., : self._classes] + spacings[..., self._classes :]
        seeds, fall, fall2 = self._seeds.tables
        (shown,) = self._signals.tables
        (pulses,) = self._pulses.tables
        several, alone, vacant = place_sums(count).T.astype(float)
        ends, way = self._clock.ends(), self._way
        time = np.diff(ends)
        sown = np.diff(sown_distance(way, ends)) if way else time * self._demand.speed
        planned = np.diff(planned_at(way, ends)) if way else sown
        return {
            **_cell_columns(self.loads),
            **{f"class{k}": column for k, column in enumerate(count.T, start=1)},
            "spacings": count.sum(axis=1),
            "excess": excess.sum(axis=1),
            "excess2": excess2.sum(axis=1),
            "normal": excess[:, 1],
            "normal2": excess2[:, 1],
            "close": spacings[0, :, self._classes :].sum(axis=1),
            "several": several,
            "alone": alone,
            "vacant": vacant,
            "places": several + alone + vacant,
            "seeds": seeds.sum(axis=1),
            "fall": fall.sum(axis=1),
            "fall2": fall2.sum(axis=1),
            "pulses": seeds[:, 1],
            "time": time,
            "area": sown * self._demand.row_spacing,
            "planned": planned / self._nominal,
            **{f"shown{k}": column for k, column in enumerate(shown.T, start=1)},
            "shown": shown.sum(axis=1),
            "dark": pulses[:, 0],
            "flickering": pulses[:, 2],
        }
