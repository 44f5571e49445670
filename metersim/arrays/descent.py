"""The way down of many seeds: off the hole, from wall to wall, through the beam, to rest."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.arrays.fates import Released
from metersim.arrays.picking import Block
from metersim.arrays.shocks import Shocks
from metersim.luck import CONTACTS, Array


class Landed(NamedTuple):
    """Seeds that have come to rest; arrays have one entry a seed."""

    released: Array  # s
    crossed: Array  # s
    rested: Array  # s
    contacts: NDArray[np.int8]
    dark_until: Array  # when the beam is free again; -inf when it does not see the seed, s
    position: Array  # m


class Way(NamedTuple):
    """Falls of many seeds, to the beam and to the ground."""

    time_to_beam: Array  # s
    time: Array  # s
    speed_at_beam: Array  # m/s
    speed: Array  # on the ground, m/s
    contacts: NDArray[np.int8]
    astray: Array  # along the row, m


class Since(NamedTuple):
    """Where seeds fall freely from, before they come to the beam or to the ground."""

    height: Array  # below the release, m
    speed: Array  # m/s
    slowing: Array  # of all contacts so far


def fall(block: Block, seeds: Released, speed: Array) -> Way:
    """Falls of seeds of a block's cells from holes of this speed [m/s]."""
    stations, luck = block.stations, block.luck
    tube, cells = stations.tube, seeds.cells
    to_ground = np.maximum(tube.length + block.along[cells], 0.0)
    to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
    apart = _apart(to_ground, np.asarray(tube.contacts(speed), dtype=float))
    to_wall = _dealt(luck.contact, luck.exponential, "contact", seeds) * apart
    direction = _dealt(luck.launch, luck.normal, "launch", seeds)
    launch = speed * stations.release.downward(direction)
    steady = tube.steady_speed(seeds.size)
    contacts = np.zeros(len(cells), dtype=np.int8)
    at_beam, at_ground = (
        Since(np.zeros(len(cells)), launch.copy(), np.ones(len(cells))) for _ in range(2)
    )
    ids = (to_wall < to_ground).nonzero()[0]
    wall = to_wall[ids]
    for turn in range(CONTACTS):
        if not ids.size:
            break
        cell, place, limit = cells[ids], seeds.places[ids], steady[ids]
        loss, gap = luck.pair("wall", cell, place, turn)
        before = tube.speed(wall - at_ground.height[ids], at_ground.speed[ids], limit)
        after = before * (1 - tube.loss(loss))
        slowing = at_ground.slowing[ids] * tube.slowing(before, after, limit)
        high = (wall < to_beam[ids]).nonzero()[0]
        for column, both, new in zip(at_ground, at_beam, (wall, after, slowing), strict=True):
            column[ids] = new
            both[ids[high]] = new[high]
        contacts[ids] += 1
        wall = wall - np.log(gap) * apart[ids]
        kept = (wall < to_ground[ids]).nonzero()[0]
        ids, wall = ids[kept], wall[kept]
    times, speeds = {}, {}
    for where, height, since in (("beam", to_beam, at_beam), ("ground", to_ground, at_ground)):
        speeds[where] = end = tube.speed(height - since.height, since.speed, steady)
        times[where] = tube.time(height, launch, end, steady, since.slowing)
    time = times["ground"]
    astray = tube.strays(speed * stations.release.sideways(direction), time)
    return Way(times["beam"], time, speeds["beam"], speeds["ground"], contacts, astray)


def _dealt(firsts: Array, draw: Any, cause: str, seeds: Released) -> Array:
    """Draws of a cause: of the cells for first seeds, by index for later ones."""
    dealt = firsts[seeds.cells]
    later = seeds.places.nonzero()[0]
    if later.size:
        dealt[later] = draw(cause, seeds.cells[later], seeds.places[later])
    return dealt


def _apart(to_ground: Array, mean: Array) -> Array:
    """Mean way between contacts with the wall, endless where there are none. [m]"""
    if (mean > 0).all():
        return np.asarray(to_ground / mean)
    apart: Array = np.full(len(to_ground), np.inf)
    return np.divide(to_ground, mean, out=apart, where=mean > 0)


def descend(block: Block, seeds: Released, cut: Array, speed: Array, shocks: Shocks) -> Landed:
    """Where and when seeds come to rest.

    Parameters
    ----------
    block : Block
        The block of their cells.
    seeds : Released
        The seeds.
    cut : ndarray
        When the cell of each passes the cut-off. [s]
    speed : ndarray
        Speed of the hole there, one each or one for all. [m/s]
    shocks : Shocks
        The row unit's shaking.
    """
    stations, luck, cells, places = block.stations, block.luck, seeds.cells, seeds.places
    way = fall(block, seeds, speed)
    released = cut + seeds.travel / speed
    later: Any = 0.0
    if not stations.row_unit.still:
        later = stations.tube.later_by(shocks.speed(released), way.time, way.speed)
    crossed = released + np.maximum(way.time_to_beam + later, 0.0)
    now = released + np.maximum(way.time + later, 0.0)
    furrow = stations.furrow
    position = furrow.ground_speed * now + way.astray
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
