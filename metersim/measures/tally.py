"""Sums over the pieces of a run, so that records need not be kept.

A run is cut into stretches of cells.  Measures are made of sums over each stretch, which grow while
the run goes on.  Whole runs are summed piece by piece as well.  So the sums agree to the last bit,
whether the records were kept or not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.given import AnyScenario
from metersim.machine.losses import REASONS
from metersim.machine.scenario import Scenario
from metersim.machine.stations import POINTS, OwnGiven, fitted
from metersim.measures.observed import observed_seeds
from metersim.measures.spacing import CLASS_NAMES, ROUNDING, classes_of, place_sums
from metersim.run.draws import MOST_SEEDS
from metersim.run.records import Cells, Origin, Piece, Run, Ticks
from metersim.run.simulation import EVENTS, check_engine, pieces, simulate

STRETCHES = 48  # number of stretches over all replicates
SHORTEST = 25  # fewest cells in a stretch
CP3_WINDOW = 0.03  # m

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    """

    origin: Origin
    cells: int
    stretches: int
    sums: Mapping[str, Floats]
    reasons: Ints
    gaps: Ints
    longest_skip_run: int

    def __repr__(self) -> str:
        draws = f"random seed {self.origin.seed}, replicate {self.origin.replicate}"
        return f"<Tally of {self.origin.scenario.name}: {self.cells:,} cells, {draws}>"


def stretches_for(cells: int, replicates: int = 1) -> int:
    """Number of stretches for each of some replicates, from the number of cells."""
    return max(1, min(round(STRETCHES / replicates), cells // SHORTEST))


def tallied(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stretches: int | None = None,
    stations: OwnGiven | None = None,
    engine: str | None = None,
    on_cells: Callable[[int], object] | None = None,
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
    stretches = stretches or stretches_for(scenario.passages)
    if engine == EVENTS:
        run = simulate(scenario, seed=seed, replicate=replicate, engine=engine)
        return tally_of(run, stretches)
    origin, parts = pieces(scenario, seed=seed, replicate=replicate)
    if on_cells:
        parts = _reporting(parts, on_cells)
    return tally(origin, scenario.passages, stretches, parts)


def _reporting(pieces: Iterable[Piece], on_cells: Callable[[int], object]) -> Iterator[Piece]:
    for piece in pieces:
        yield piece
        on_cells(len(piece.cells))


def tally_of(run: Run, stretches: int) -> Tally:
    """Sums over equal stretches of a whole run."""
    return tally(run.origin, len(run.cells), stretches, run.pieces())


def tally(origin: Origin, cells: int, stretches: int, pieces: Iterable[Piece]) -> Tally:
    """Sums over equal stretches of a run that comes in pieces.

    Parameters
    ----------
    origin : Origin
        Origin of the pieces.
    cells : int
        Number of cells in all pieces together.
    stretches : int
        Number of stretches, 1 or more.
    pieces : iterable of Piece
        The pieces in order.  A piece is not kept when the next one is taken.

    Raises
    ------
    ValueError
        If a piece is missing, repeated or out of order.
    RuntimeError
        If a seed lies a whole piece or more behind its cell, which no meter can do.
    """
    sums = _Sums(origin, cells, stretches)
    for piece in pieces:
        sums.add(piece)
    columns, loads = sums.columns(), sums.loads
    return Tally(origin, cells, stretches, columns, loads.reasons, loads.gaps, loads.longest)


class _Table:
    """Counts, and sums of some values, by stretch and class."""

    def __init__(self, cells: int, stretches: int, classes: int, values: int = 0) -> None:
        self._cells = cells
        self.tables = np.zeros((1 + values, stretches, classes))

    def add(self, cells: Ints, classes: NDArray[Any], *values: Floats) -> None:
        """Add items by their cell, their class and their values."""
        if not len(cells):
            return
        _, stretches, width = self.tables.shape
        first, last = (int(cell) * stretches // self._cells for cell in (cells.min(), cells.max()))
        code = classes
        if first != last:  # otherwise all belong to one stretch, as mostly in long runs
            code = (cells * stretches // self._cells - first) * width + classes
        for table, value in zip(self.tables, (None, *values), strict=True):
            part = np.bincount(code, value, minlength=(last - first + 1) * width)
            table[first : last + 1] += part.reshape(-1, width)


class _Loads:
    """Seeds that cells released, and runs of cells that released none."""

    RUN_STARTS = MOST_SEEDS + 1  # class of an empty cell after a cell that was not empty

    def __init__(self, cells: int, stretches: int) -> None:
        self.table = _Table(cells, stretches, MOST_SEEDS + 2)
        self.reasons = np.zeros(len(REASONS), dtype=np.int64)
        self.gaps = np.zeros(len(REASONS), dtype=np.int64)
        self.passed = 0
        self._reason: NDArray[np.int8] = np.zeros(1, dtype=np.int8)  # of the last cell
        self._filled = -1  # the last cell that released a seed
        self._longest = 0

    def add(self, cells: Cells) -> None:
        """Add the next cells."""
        first, released = self.passed, cells.released
        self.passed += len(cells)
        some = released > 0
        starts = ~some
        starts[1:] &= some[:-1]
        starts[:1] &= self._filled == first - 1
        classes = released + self.RUN_STARTS * starts.view(np.int8)
        self.table.add(np.arange(first, self.passed), classes)
        self.reasons += np.bincount(cells.reason, minlength=len(REASONS))
        before = np.concatenate((self._reason, cells.reason))
        self._reason = before[-1:]
        filled = np.flatnonzero(some)
        if len(filled):
            behind = filled if self._filled >= 0 else filled[1:]
            self.gaps += np.bincount(before[behind], minlength=len(REASONS))
            filled += first
            run = max(filled[0] - self._filled, (filled[1:] - filled[:-1]).max(initial=0)) - 1
            self._longest = max(self._longest, int(run))
            self._filled = int(filled[-1])

    @property
    def longest(self) -> int:
        """Longest run of cells that released nothing, so far."""
        return max(self._longest, self.passed - 1 - self._filled)


class _Neighbours:
    """Distances between neighbours in a row, from seeds that come piece by piece, nearly in order.

    No seed gets ahead of another by a whole piece.  So a seed is final once the first position of a
    later piece lies beyond it.  The other seeds wait.
    """

    def __init__(self) -> None:
        self._low = -math.inf
        self.positions: Floats = np.empty(0)
        self.cells: Ints = np.empty(0, dtype=np.int64)

    def add(self, positions: Floats, cells: Ints) -> tuple[Floats, Ints]:
        """Add seeds; return the distances that have become final, and the cell before each."""
        if not len(positions):
            return positions, cells
        low = float(positions.min())
        if not low >= self._low:
            raise RuntimeError(
                f"a seed of cells {cells[0]} to {cells[-1]} lies at {low:g}, "
                f"before the whole piece before it, which starts at {self._low:g}"
            )
        final = int(np.searchsorted(self.positions, low))
        if final:  # otherwise no distance is final, and later positions may be lower
            self._low = low
        ends = np.concatenate((self.positions[:final], [low]))
        gaps, left = ends[1:] - ends[:-1], self.cells[:final]
        positions = np.concatenate((self.positions[final:], positions))
        order = np.argsort(positions, kind="stable")  # cheap, as nearly in order
        self.positions = positions[order]
        self.cells = np.concatenate((self.cells[final:], cells))[order]
        return gaps, left

    def rest(self) -> tuple[Floats, Ints]:
        """The distances between the waiting seeds, when no more seeds come."""
        return np.diff(self.positions), self.cells[:-1]


class _Clock:
    """Times at which the ends of stretches pass the cut-off, interpolated between ticks."""

    def __init__(self, scenario: Scenario, cells: int, stretches: int) -> None:
        ends = np.ceil(np.arange(stretches + 1) * cells / stretches)
        self._scenario = scenario
        self._angles = ends * 2 * math.pi / scenario.disc.cells + POINTS[-1]
        self._times: Floats = np.empty(stretches + 1)
        self._done = 0
        self._last: Floats = np.empty(0)  # the last tick so far

    def add(self, first: int, ticks: Ticks) -> None:
        """Add the next ticks."""
        if not len(ticks):
            return
        end = first + len(ticks)
        (angle,) = self._scenario.tick_angles(end, end - 1)
        due = int(np.searchsorted(self._angles, angle, side="right"))
        if due > self._done:
            times = np.concatenate((self._last, ticks.time))
            angles = self._scenario.tick_angles(end, first - len(self._last))
            self._times[self._done : due] = np.interp(self._angles[self._done : due], angles, times)
            self._done = due
        self._last = ticks.time[-1:].copy()  # a copy, so that the piece can be freed

    def passed(self) -> Floats:
        """Duration of each stretch, when no more ticks come. [s]"""
        self._times[self._done :] = self._last
        return np.diff(self._times)


class _Sums:
    """All sums of a run while it goes on."""

    def __init__(self, origin: Origin, cells: int, stretches: int) -> None:
        scenario = origin.scenario
        self._origin, self._cells = origin, cells
        self._nominal, self._demand = scenario.spacing, scenario.demand
        self._close = CP3_WINDOW / 2 * (1 + ROUNDING) / self._nominal
        self.loads = _Loads(cells, stretches)
        self._row, self._shown = _Neighbours(), _Neighbours()
        self._clock = _Clock(scenario, cells, stretches)
        self._classes = len(CLASS_NAMES)
        self._spacings = _Table(cells, stretches, 2 * self._classes, values=2)
        self._signals = _Table(cells, stretches, self._classes)
        self._seeds = _Table(cells, stretches, 2, values=2)
        self._pulses = _Table(cells, stretches, 3)

    def add(self, piece: Piece) -> None:
        """Add the next piece."""
        if piece.first_cell != self.loads.passed:
            raise ValueError(
                f"a piece begins at cell {piece.first_cell}; allowed: {self.loads.passed}, the next"
            )
        self.loads.add(piece.cells)
        self._clock.add(piece.first_tick, piece.ticks)
        seeds = piece.seeds
        fall = seeds.landing_time - seeds.release_time
        self._seeds.add(seeds.cell, seeds.seen.view(np.int8), fall, fall * fall)
        first, many = piece.first_cell, len(piece.cells)
        pulses = np.bincount(seeds.cell[seeds.seen] - first, minlength=many)
        self._pulses.add(np.arange(first, first + many), np.minimum(pulses, 2))
        found = observed_seeds(self._origin, seeds)
        self._add_spacings(*self._row.add(found.position, found.cell))
        self._add_signals(*self._shown.add(seeds.sensor_time[seeds.seen], seeds.cell[seeds.seen]))

    def _add_spacings(self, gaps: Floats, left: Ints) -> None:
        ratio = gaps / self._nominal
        excess = ratio - 1
        close = np.abs(excess) <= self._close  # cuts every class in two
        classes = classes_of(ratio) + self._classes * close.view(np.int8)
        self._spacings.add(left, classes, excess, excess * excess)

    def _add_signals(self, gaps: Floats, left: Ints) -> None:
        self._signals.add(left, classes_of(gaps * (self._demand.speed / self._nominal)))

    def columns(self) -> dict[str, Floats]:
        """The sums by column, when no more pieces come."""
        if self.loads.passed != self._cells:
            raise ValueError(f"the pieces hold {self.loads.passed} cells; allowed: {self._cells}")
        self._add_spacings(*self._row.rest())
        self._add_signals(*self._shown.rest())
        (loads,) = self.loads.table.tables
        spacings = self._spacings.tables
        count, excess, excess2 = spacings[..., : self._classes] + spacings[..., self._classes :]
        seeds, fall, fall2 = self._seeds.tables
        (shown,) = self._signals.tables
        (pulses,) = self._pulses.tables
        several, alone, vacant = place_sums(count).T.astype(float)
        time = self._clock.passed()
        return {
            "cells": loads.sum(axis=1),
            "skip_runs": loads[:, _Loads.RUN_STARTS],
            "none": loads[:, 0] + loads[:, _Loads.RUN_STARTS],
            "one": loads[:, 1],
            "two": loads[:, 2],
            "three": loads[:, 3 : _Loads.RUN_STARTS].sum(axis=1),
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
            "area": time * self._demand.speed * self._demand.row_spacing,
            **{f"shown{k}": column for k, column in enumerate(shown.T, start=1)},
            "shown": shown.sum(axis=1),
            "dark": pulses[:, 0],
            "flickering": pulses[:, 2],
        }
