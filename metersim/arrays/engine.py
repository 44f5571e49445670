"""A run in arrays: block after block of cells, from the pool to the furrow."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from metersim.arrays.beam import Unwatched, watch
from metersim.arrays.descent import descend
from metersim.arrays.fates import Fates
from metersim.arrays.picking import Block
from metersim.arrays.settling import Settling
from metersim.arrays.shocks import Shocks
from metersim.arrays.supply import Supply
from metersim.course import Course
from metersim.luck import BLOCK, ArchLuck, Array, KnotLuck, Luck
from metersim.records import Cells, Piece, Seeds, Ticks
from metersim.scenario import Scenario
from metersim.stations import CUT, ENTERS, LEAVES, Stations
from metersim.streams import Streams


def run_arrays(scenario: Scenario, stations: Stations, streams: Streams) -> Iterator[Piece]:
    """Run a meter in arrays.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    stations : Stations
        The stations.
    streams : Streams
        The luck.

    Yields
    ------
    Piece
        The records, a block of cells after the other.
    """
    return watch(_unwatched(scenario, stations, streams))


def _unwatched(scenario: Scenario, stations: Stations, streams: Streams) -> Iterator[Unwatched]:
    course = Course(scenario, stations.drive)
    shocks = Shocks(stations.row_unit, KnotLuck(streams), course)
    total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
    supply = Supply(course, stations.gate, ArchLuck(streams), total)
    settling = Settling(stations, course, supply, shocks, scenario.vacuum.vacuum)
    first_tick = 0
    for first in range(0, course.passages, BLOCK):
        cells = np.arange(first, min(first + BLOCK, course.passages))
        ends, cut = cells[[0, -1]], course.times(cells, CUT)
        finished = cells[-1] + 1 == course.passages
        start, left, done = (
            int(course.ticks_before(ends[k : k + 1], station)[0])
            for k, station in ((0, ENTERS), (1, LEAVES), (1, CUT))
        )
        supply.look_ahead(start, course.ticks if finished else left + 1, done + 2)
        shocks.look_at(first, float(course.times(ends[:1], LEAVES)[0]), float(cut[-1]))
        block = Block(stations, Luck(streams, first // BLOCK, len(cells)))
        found = settling.settle(block)
        last_tick = int(course.ticks_before(ends[1:] + 1, ENTERS)[0]) + 1
        if finished:
            last_tick = course.ticks
            supply.finish()
        seeds, dark_until = _seeds(block, found, cut, course.hole_speeds(cells), shocks)
        ticks = _ticks(supply, first_tick, last_tick)
        yield Unwatched(Piece(first, first_tick, seeds, _cells(found), ticks), dark_until)
        first_tick = last_tick


def _cells(found: Fates) -> Cells:
    """Records of the cells."""
    counts = np.zeros((3, len(found.joined)), dtype=np.int8)
    for column, cells in zip(counts, (found.knocked, found.swept, found.shaken), strict=True):
        np.add.at(column, cells, 1)
    knocked, swept, shaken = counts
    released = found.joined - knocked - swept - shaken
    return Cells(found.joined, knocked, swept, shaken, released, found.reason)


def _ticks(supply: Supply, first: int, last: int) -> Ticks:
    """Records of the ticks from one to before another."""
    part = slice(first - supply.first, last - supply.first)
    return Ticks(
        time=supply.times[part].copy(),
        pool=supply.pool[part].copy(),
        hopper=supply.hopper[part].copy(),
        arched=supply.arched[part].copy(),
    )


def _seeds(
    block: Block, found: Fates, cut: Array, speed: Array, shocks: Shocks
) -> tuple[Seeds, Array]:
    """Records of the seeds, and when the beam is free again behind each."""
    seeds = found.firsts.with_later(found.later)
    if speed.min() == speed.max():
        cut, speed = cut[seeds.cells], speed[:1]  # one for all
    else:
        cut, speed = cut[seeds.cells], speed[seeds.cells]
    landed = descend(block, seeds, cut, speed, shocks)
    made = Seeds(
        cell=seeds.cells + block.luck.first,
        place=seeds.places.astype(np.int8),
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
