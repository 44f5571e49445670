"""The way down of many seeds: off the hole, from wall to wall, through the beam, to rest."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from metersim.arrays.fates import Released
from metersim.arrays.picking import Block, Index
from metersim.arrays.shocks import Shocks
from metersim.luck import CONTACTS, Array


class Landed(NamedTuple):
    """Seeds that have come to rest; arrays have one entry a seed."""

    released: Array  # s
    crossed: Array  # s
    rested: Array  # s
    contacts: Index
    dark: Array  # time for which the beam stays dark behind a seed; -inf when it is not seen, s
    position: Array  # m


class Way(NamedTuple):
    """Falls of many seeds, by stretches that end at the wall, at the beam or on the ground."""

    stretches: list[tuple[Index | slice, Array, Index]]  # whose, how long, who crosses the beam
    time: Array  # of the whole fall, s
    speed: Array  # on the ground, m/s
    speed_at_beam: Array  # m/s
    contacts: Index


def fall(block: Block, seeds: Released, speed: Array) -> Way:
    """Falls of seeds of a block's cells from holes of this speed [m/s]."""
    stations, luck = block.stations, block.luck
    tube, cells, places, everyone = stations.tube, seeds.cells, seeds.places, len(speed)
    if seeds.first:
        launch, gap = luck.launch[cells], luck.contact[cells]
    else:
        launch = luck.normal("launch", cells, places)
        gap = luck.exponential("contact", cells, places)
    to_ground = np.maximum(tube.length + block.along[cells], 0.0)
    to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
    mean = tube.contacts(speed)
    apart = to_ground / mean if np.all(mean > 0) else _apart(to_ground, mean)
    to_wall = gap * apart
    now = speed * stations.release.downward(launch)
    steady = tube.steady_speed(seeds.size)
    whose: Index | slice = slice(None)
    ids = np.arange(everyone)
    time, end, at_beam = np.zeros((3, everyone))
    contacts = np.zeros(everyone, dtype=np.intp)
    stretches = []
    while len(ids):
        ahead = np.minimum(np.minimum(to_wall, to_beam), to_ground)
        lasts, now = tube.fall(ahead, now, steady)
        to_wall, to_beam, to_ground = to_wall - ahead, to_beam - ahead, to_ground - ahead
        time[whose] += lasts
        crossing = np.flatnonzero(to_beam == 0)
        at_beam[ids[crossing]] = now[crossing]
        to_beam[crossing] = np.inf
        stretches.append((whose, lasts, ids[crossing]))
        touching = np.flatnonzero(to_wall == 0)
        if touching.size:
            at = ids[touching]
            turn, cell, place = contacts[at], cells[at], places[at]
            now[touching] *= 1 - tube.loss(luck.uniform("contact loss", cell, place, turn))
            contacts[at] = turn = turn + 1
            gap = luck.exponential("contact", cell, place, turn)
            to_wall[touching] = np.where(turn < CONTACTS, gap * apart[at], np.inf)
        falling = to_ground > 0
        if not falling.all():
            done = np.flatnonzero(~falling)
            end[ids[done]] = now[done]
            kept = np.flatnonzero(falling)
            ids, now, steady = ids[kept], now[kept], steady[kept]
            to_wall, to_beam, to_ground = to_wall[kept], to_beam[kept], to_ground[kept]
            whose = ids
    return Way(stretches, time, end, at_beam, contacts)


def _apart(to_ground: Array, mean: Any) -> Any:
    """Mean way between contacts with the wall, endless where there are none. [m]"""
    mean = np.broadcast_to(np.asarray(mean, dtype=float), to_ground.shape)
    return np.divide(to_ground, mean, out=np.full(len(mean), np.inf), where=mean > 0)


def descend(block: Block, seeds: Released, cut: Array, speed: Array, shocks: Shocks) -> Landed:
    """Where and when seeds come to rest.

    Parameters
    ----------
    block : Block
        The block of their cells.
    seeds : Released
        The seeds, all of them first on their cells, or none.
    cut, speed : ndarray
        When the cell of each passes the cut-off [s], and speed of the hole there. [m/s]
    shocks : Shocks
        The row unit's shaking.
    """
    stations, luck, cells, places = block.stations, block.luck, seeds.cells, seeds.places
    way = fall(block, seeds, speed)
    released = cut + seeds.travel / speed
    later: Any = 0.0
    if not stations.row_unit.still:
        later = stations.tube.later_by(shocks.speed(released), way.time, way.speed)
    now, crossed = released.copy(), np.zeros(len(cells))
    for k, (whose, lasts, crossing) in enumerate(way.stretches):
        now[whose] += np.maximum(lasts + later, 0.0) if k == 0 else lasts
        crossed[crossing] = now[crossing]
    furrow = stations.furrow
    position = furrow.ground_speed * now
    if furrow.in_field:
        if seeds.first:
            hop, soil = luck.hop[cells], luck.soil[cells]
        else:
            hop = luck.exponential("hop", cells, places)
            soil = luck.normal("soil", cells, places)
        air = furrow.hop_time(hop, way.speed)
        position += furrow.hop_length(air, way.speed) + soil * furrow.scatter
        now += air
    dark = stations.sensor.pulse(seeds.size, way.speed_at_beam)
    if stations.sensor.detection < 1:
        missed = luck.uniform("detection", cells, places) >= stations.sensor.detection
        dark = np.where(missed, -np.inf, dark)
    return Landed(released, crossed, now, way.contacts, dark, position)
