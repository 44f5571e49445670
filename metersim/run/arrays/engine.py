"""A run in arrays: cells go from the pool to the furrow block by block."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.machine.losses import TAKING
from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, ENTERS, LEAVES, Stations
from metersim.run.arrays.descent import Levels, Unwatched, descend, watch
from metersim.run.arrays.fates import Fates
from metersim.run.arrays.picking import Block
from metersim.run.arrays.steps import Steps
from metersim.run.arrays.stretch import Shocks
from metersim.run.arrays.supply import History, Supply
from metersim.run.chamber import Vacuum
from metersim.run.course import Course
from metersim.run.draws import BLOCK, ArchDraws, Array, BlockDraws, HoleDraws, KnotDraws, SlipDraws
from metersim.run.records import Cells, Piece, Seeds, Ticks
from metersim.run.streams import Streams


def run_arrays(
    scenario: Scenario, stations: Stations, streams: Streams, vacuum: Vacuum, steps: Steps
) -> Iterator[Piece]:
    """Run a meter in arrays.

    Parameters
    ----------
    scenario : Scenario
        All settings.
    stations : Stations
        The stations.
    streams : Streams
        The random draws.
    vacuum : Vacuum
        Vacuum in the chamber.
    steps : Steps
        How a stretch or a block of cells is worked out.

    Yields
    ------
    Piece
        The records of one block of cells after the other.
    """
    parts = _finished(scenario, stations, streams, vacuum, steps)
    return watch(_unwatched(part, steps) for part in parts)


def cells_alone(
    scenario: Scenario, stations: Stations, streams: Streams, vacuum: Vacuum, steps: Steps
) -> Iterator[Cells]:
    """Run a meter in arrays, but do not follow seeds down the tube.

    Parameters
    ----------
    scenario, stations, streams, vacuum, steps
        As for `run_arrays`.

    Yields
    ------
    Cells
        The records of cells, one block after the other.
    """
    return (_cells(part.found) for part in _finished(scenario, stations, streams, vacuum, steps))


class Finished(NamedTuple):
    """A block of cells, with the fates of their seeds up to the cut-off."""

    block: Block
    found: Fates
    cut: Array  # time at which each cell passes the cut-off, s
    speed: Array  # speed of each hole there, m/s
    shocks: Shocks  # valid until the next block begins
    level: Levels  # of the pool when each cell entered it; valid until the next block begins
    first_tick: int
    ticks: Ticks


def _finished(
    scenario: Scenario, stations: Stations, streams: Streams, vacuum: Vacuum, steps: Steps
) -> Iterator[Finished]:
    """Block after block of cells, with the seeds that they took, lost and released."""
    course = Course(scenario, stations.drive, SlipDraws(streams))
    shocks = Shocks(stations.row_unit, KnotDraws(streams), course, steps.motion)
    total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
    supply = Supply(course, stations.gate, ArchDraws(streams), total, steps)
    holes = HoleDraws(streams, scenario.disc.cells)
    history = History(stations, course, supply, shocks, vacuum, holes, steps)

    def levels(cells: NDArray[np.int64]) -> Levels:
        def level() -> Array:
            ticks = course.ticks_before(cells, ENTERS) - supply.first
            return np.asarray(stations.gate.seen(supply.pool[ticks]))

        return level

    first_tick = 0
    for first in range(0, course.passages, BLOCK):
        cells = np.arange(first, min(first + BLOCK, course.passages))
        ends, cut = cells[[0, -1]], course.times(cells, CUT)
        is_last = cells[-1] + 1 == course.passages
        start, left, done = (
            int(course.ticks_before(ends[k : k + 1], station)[0])
            for k, station in ((0, ENTERS), (1, LEAVES), (1, CUT))
        )
        supply.look_ahead(start, course.ticks if is_last else left + 1, done + 2)
        shocks.look_at(first, float(course.times(ends[:1], LEAVES)[0]), float(cut[-1]))
        block = Block(stations, BlockDraws(streams, first // BLOCK, len(cells)))
        found = history.fates_of(block)
        last_tick = int(course.ticks_before(ends[1:] + 1, ENTERS)[0]) + 1
        if is_last:
            last_tick = course.ticks
            supply.finish()
        ticks = _ticks(supply, first_tick, last_tick)
        yield Finished(
            block, found, cut, course.hole_speeds(cells), shocks, levels(cells), first_tick, ticks
        )
        first_tick = last_tick


def _unwatched(part: Finished, steps: Steps) -> Unwatched:
    """The piece of a block whose seeds lie on the ground."""
    seeds, dark_until = _seeds(part, steps)
    cells = _cells(part.found)
    return Unwatched(
        Piece(part.block.draws.first, part.first_tick, seeds, cells, part.ticks), dark_until
    )


def _cells(found: Fates) -> Cells:
    """Records of the cells."""
    many = len(found.joined)
    counts = [np.bincount(cells, minlength=many).astype(np.int8) for cells in found.lost]
    released = found.joined - sum(counts)
    return Cells(
        joined=found.joined,
        **{loss.column: column for loss, column in zip(TAKING, counts, strict=True)},
        released=released,
        reason=found.reason,
    )


def _ticks(supply: Supply, first: int, last: int) -> Ticks:
    """Records of the ticks from `first` to before `last`."""
    part = slice(first - supply.first, last - supply.first)
    return Ticks(
        time=supply.times[part].copy(),
        pool=supply.pool[part].copy(),
        hopper=supply.hopper[part].copy(),
        arched=supply.arched[part].copy(),
        spilt=supply.spilt[part].copy(),
    )


def _seeds(part: Finished, steps: Steps) -> tuple[Seeds, Array]:
    """Records of the seeds, and the time at which the beam is free again behind each."""
    block, found, cut, speed = part.block, part.found, part.cut, part.speed
    seeds = found.released
    if speed.min() == speed.max():
        cut, speed = cut[seeds.cells], speed[:1]  # one for all
    else:
        cut, speed = cut[seeds.cells], speed[seeds.cells]
    landed = descend(block, seeds, cut, speed, part.shocks, part.level, steps.fall)
    made = Seeds(
        cell=seeds.cells + block.draws.first,
        nth=seeds.nth.astype(np.int8),
        size=seeds.size,
        needed=seeds.needed,
        release_time=landed.released,
        sensor_time=landed.crossed,
        landing_time=landed.rested,
        contacts=landed.contacts,
        seen=landed.dark_until > -np.inf,
        position=landed.position,
    )
    return made, landed.dark_until
