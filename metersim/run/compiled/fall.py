"""Falls of many seeds to the beam and to the ground, one seed after the other."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from metersim.machine.release import ReleaseStation
from metersim.machine.tube import TubeStation
from metersim.run.arrays.stretch import motion_at
from metersim.run.compiled.draws import exponential, index_of, normal, pair
from metersim.run.draws import CONTACTS


class FallColumns(NamedTuple):
    """What is drawn for the first seeds of a block."""

    along: Any
    contact: Any
    launch: Any


def fall_seeds(
    tube: TubeStation,
    release: ReleaseStation,
    block: FallColumns,
    seeds: Any,
    given: Any,
    keys: Any,
    made: Any,
) -> None:
    """Let seeds fall.

    Parameters
    ----------
    tube, release : record
        The stations.
    block : FallColumns
        Columns of the block.
    seeds : tuple of ndarray
        Cell of the block, seed in cell, size, speed of the hole, and mean number of contacts.
    given : tuple
        First cell of the block, and height of the beam.
    keys : record
        Keys of the causes of draws.
    made : tuple of ndarray
        Columns of `metersim.run.arrays.descent.Falls`, to be filled in.
    """
    cells, nths, sizes, speeds, means = seeds
    first, sensor_height = given
    alongs, to_walls, directions = block.along, block.contact, block.launch
    times_to_beam, times, speeds_at_beam, ends, all_contacts, asides, astrays = made
    for k in range(len(cells)):
        cell, nth, speed = cells[k], nths[k], speeds[k]
        ground = max(tube.length + alongs[cell], 0.0)
        beam = max(ground - sensor_height, 0.0)
        if nth:
            index = index_of(first, cell, nth, 0)
            to_wall, direction = exponential(keys.contact, index), normal(keys.launch, index)
        else:
            to_wall, direction = to_walls[cell], directions[cell]
        apart = ground / means[k] if means[k] > 0 else math.inf
        wall = to_wall * apart
        launch = speed * release.downward(direction)
        steady = tube.steady_speed(sizes[k])
        height, start, slowing = 0.0, launch, 1.0  # where the last free fall began
        high, fast, slow = height, start, slowing  # the same for that to the beam
        contacts, lost = 0, 0.0
        while contacts < CONTACTS and wall < ground:
            before = tube.speed(wall - height, start, steady)
            rank, gap = pair(keys.wall, index_of(first, cell, nth, contacts))
            loss = tube.loss(rank)
            height, start = wall, before * (1 - loss)
            slowing *= tube.slowing(before, start, steady)
            lost = before * loss
            if wall < beam:
                high, fast, slow = height, start, slowing
            apart = tube.damped(apart)
            wall -= math.log(gap) * apart
            contacts += 1
        fast = tube.speed(beam - high, fast, steady)
        end = tube.speed(ground - height, start, steady)
        time = tube.time(ground, launch, end, steady, slowing)
        aside = tube.aside(speed * release.sideways(direction), direction, lost)
        times_to_beam[k], times[k] = tube.time(beam, launch, fast, steady, slow), time
        speeds_at_beam[k], ends[k], all_contacts[k] = fast, end, contacts
        asides[k], astrays[k] = aside, tube.strays(aside, time, end)


def move(times: Any, first_knot: Any, sizes: Any, phases: Any, made: Any) -> None:
    """Fill in the motion of the row unit at times, as `metersim.run.arrays.stretch.motion_at`."""
    for k in range(len(times)):
        made[k] = motion_at(times[k], first_knot, sizes, phases)
