"""The way down of many seeds: off the hole, from wall to wall, through the beam, to rest."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from metersim.arrays.fates import Released
from metersim.arrays.picking import Block, Flags, Index
from metersim.arrays.shocks import Shocks
from metersim.luck import CONTACTS, Array


class Landed(NamedTuple):
    """Seeds that have come to rest; arrays have one entry a seed."""

    released: Array  # s
    crossed: Array  # s
    rested: Array  # s
    contacts: Index
    dark_until: Array  # when the beam is free again; -inf when it does not see the seed, s
    position: Array  # m


class Stretch(NamedTuple):
    """What comes next on the way down: the wall, the beam or the ground."""

    whose: Index | slice  # seeds
    lasts: Array  # how long, s
    crosses: Flags  # whether it ends at the beam


class Way(NamedTuple):
    """Falls of many seeds."""

    stretches: list[Stretch]
    time: Array  # of the whole fall, s
    speed: Array  # on the ground, m/s
    speed_at_beam: Array  # m/s
    contacts: Index


def fall(block: Block, seeds: Released, speed: Array) -> Way:
    """Falls of seeds of a block's cells from holes of this speed [m/s]."""
    stations, luck = block.stations, block.luck
    tube, cells, places = stations.tube, seeds.cells, seeds.places
    launch = _dealt(luck.launch, luck.normal, "launch", seeds)
    to_ground = np.maximum(tube.length + block.along[cells], 0.0)
    to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
    apart = _apart(to_ground, tube.contacts(speed))
    to_wall = _dealt(luck.contact, luck.exponential, "contact", seeds) * apart
    now = speed * stations.release.downward(launch)
    steady = tube.steady_speed(seeds.size)
    time, end, at_beam = np.zeros((3, len(cells)))
    contacts = np.zeros(len(cells), dtype=np.intp)
    stretches: list[Stretch] = []
    ids, whose = np.arange(len(cells)), slice(None)
    while len(ids):
        ahead = np.minimum(np.minimum(to_wall, to_beam), to_ground)
        lasts, now = tube.fall(ahead, now, steady)
        time[whose] += lasts
        crosses = to_beam == ahead
        stretches.append(Stretch(whose, lasts, crosses))
        if isinstance(whose, slice):
            np.copyto(at_beam, now, where=crosses)
        else:
            at_beam[ids[crosses]] = now[crosses]
        touches = (to_wall == ahead).nonzero()[0]
        to_wall, to_beam, to_ground = to_wall - ahead, to_beam - ahead, to_ground - ahead
        np.putmask(to_beam, crosses, np.inf)
        if touches.size:
            at = ids[touches]
            turn = contacts[at]
            contacts[at] += 1
            loss, gap = luck.pair("wall", cells[at], places[at], turn)
            now[touches] *= 1 - tube.loss(loss)
            to_wall[touches] = np.where(turn + 1 < CONTACTS, -np.log(gap) * apart[at], np.inf)
        falling = to_ground > 0
        kept = falling.nonzero()[0]
        if len(kept) < len(ids):
            done = (~falling).nonzero()[0]
            end[ids[done]] = now[done]
            ids, now, steady = ids[kept], now[kept], steady[kept]
            to_wall, to_beam, to_ground = to_wall[kept], to_beam[kept], to_ground[kept]
            whose = ids
    return Way(stretches, time, end, at_beam, contacts)


def _dealt(firsts: Array, draw: Any, cause: str, seeds: Released) -> Array:
    """Draws of a cause: of the cells for first seeds, by index for later ones, which follow."""
    later = seeds.later
    first = firsts[seeds.cells[:later]]
    if later == len(seeds.cells):
        return first
    return np.concatenate((first, draw(cause, seeds.cells[later:], seeds.places[later:])))


def _apart(to_ground: Array, mean: Any) -> Array:
    """Mean way between contacts with the wall, endless where there are none. [m]"""
    if np.all(mean > 0):
        return np.asarray(to_ground / mean)
    mean = np.broadcast_to(np.asarray(mean, dtype=float), to_ground.shape)
    return np.divide(to_ground, mean, out=np.full(len(mean), np.inf), where=mean > 0)


def descend(block: Block, seeds: Released, cut: Array, speed: Array, shocks: Shocks) -> Landed:
    """Where and when seeds come to rest.

    Parameters
    ----------
    block : Block
        The block of their cells.
    seeds : Released
        The seeds: all that joined their cells first, and then all others.
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
    now, crossed = released, np.zeros(len(cells))
    for k, (whose, lasts, crosses) in enumerate(way.stretches):
        if isinstance(whose, slice):
            now = now + (lasts if k else np.maximum(lasts + later, 0.0))
            crossed = np.where(crosses, now, crossed)
        else:
            now[whose] += lasts
            through = whose[crosses]
            crossed[through] = now[through]
    furrow = stations.furrow
    position = furrow.ground_speed * now
    if furrow.in_field:
        hop = _dealt(luck.hop, luck.exponential, "hop", seeds)
        soil = _dealt(luck.soil, luck.normal, "soil", seeds)
        air = furrow.hop_time(hop, way.speed)
        position = position + (furrow.hop_length(air, way.speed) + soil * furrow.scatter)
        now = now + air
    dark = stations.sensor.pulse(seeds.size, way.speed_at_beam)
    if stations.sensor.detection < 1:
        missed = luck.uniform("detection", cells, places) >= stations.sensor.detection
        dark = np.where(missed, -np.inf, dark)
    return Landed(released, crossed, now, way.contacts, crossed + dark, position)
