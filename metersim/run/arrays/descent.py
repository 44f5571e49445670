"""The way down of many seeds: release, wall contacts, beam of the sensor, ground."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.machine.moment import Moment
from metersim.run.arrays.picking import Block
from metersim.run.arrays.stretch import Released, Shocks
from metersim.run.draws import CONTACTS, Array
from metersim.run.records import Piece

Levels = Callable[[], Array]


class Landed(NamedTuple):
    """Seeds that have come to rest; each array has one entry per seed."""

    released: Array  # time of the release, s
    crossed: Array  # time at the beam, s
    rested: Array  # time of coming to rest, s
    contacts: NDArray[np.int8]
    dark_until: Array  # time when the beam is free again; -inf if the sensor misses the seed, s
    position: Array  # m


class Falls(NamedTuple):
    """Falls of many seeds, to the beam and to the ground."""

    time_to_beam: Array  # s
    time: Array  # to the ground, s
    speed_at_beam: Array  # m/s
    speed: Array  # at the ground, m/s
    contacts: NDArray[np.int8]
    aside: Array  # speed along the row at its end, m/s
    astray: Array  # distance along the row during the fall, m


FallsOf = Callable[[Block, Released, Array, Moment], Falls]


class FreeFall(NamedTuple):
    """Start of the last free fall of seeds before the beam or the ground."""

    height: Array  # below the release, m
    speed: Array  # m/s
    slowing: Array  # product over all contacts so far


def fall(block: Block, seeds: Released, speed: Array, at: Moment) -> Falls:
    """Falls of seeds from holes of this speed [m/s], at the moment of their release."""
    stations, draws = block.stations, block.draws
    tube, cells = stations.tube, seeds.cells
    to_ground = np.maximum(tube.length + block.along[cells], 0.0)
    to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
    apart = _apart(to_ground, np.asarray(tube.contacts(speed, at), dtype=float))
    to_wall = _draws_of(draws.contact, draws.exponential, "contact", seeds) * apart
    direction = _draws_of(draws.launch, draws.normal, "launch", seeds)
    launch = speed * stations.release.downward(direction)
    steady = tube.steady_speed(seeds.size)
    contacts, lost = np.zeros(len(cells), dtype=np.int8), np.zeros(len(cells))
    at_beam, at_ground = (
        FreeFall(np.zeros(len(cells)), launch.copy(), np.ones(len(cells))) for _ in range(2)
    )
    ids = (to_wall < to_ground).nonzero()[0]
    wall, apart = to_wall[ids], apart[ids]
    for contact in range(CONTACTS):
        if not ids.size:
            break
        cell, nth, limit = cells[ids], seeds.nth[ids], steady[ids]
        rank, gap = draws.pair("wall", cell, nth, contact)
        before = tube.speed(wall - at_ground.height[ids], at_ground.speed[ids], limit)
        loss = tube.loss(rank)
        after = before * (1 - loss)
        slowing = at_ground.slowing[ids] * tube.slowing(before, after, limit)
        high = (wall < to_beam[ids]).nonzero()[0]
        for column, both, new in zip(at_ground, at_beam, (wall, after, slowing), strict=True):
            column[ids] = new
            both[ids[high]] = new[high]
        contacts[ids] += 1
        lost[ids] = before * loss
        apart = tube.damped(apart)
        wall = wall - np.log(gap) * apart
        kept = (wall < to_ground[ids]).nonzero()[0]
        ids, wall, apart = ids[kept], wall[kept], apart[kept]
    times, speeds = {}, {}
    for where, height, last in (("beam", to_beam, at_beam), ("ground", to_ground, at_ground)):
        speeds[where] = end = tube.speed(height - last.height, last.speed, steady)
        times[where] = tube.time(height, launch, end, steady, last.slowing)
    time, end = times["ground"], speeds["ground"]
    aside = tube.aside(speed * stations.release.sideways(direction), direction, lost)
    astray = tube.strays(aside, time, end)
    return Falls(times["beam"], time, speeds["beam"], end, contacts, aside, astray)


def _draws_of(firsts: Array, draw: Any, cause: str, seeds: Released) -> Array:
    """Draws of a cause: those of the cell for first seeds, by index for later seeds."""
    drawn = firsts[seeds.cells]
    later = seeds.nth.nonzero()[0]
    if later.size:
        drawn[later] = draw(cause, seeds.cells[later], seeds.nth[later])
    return drawn


def _apart(to_ground: Array, mean: Array) -> Array:
    """Mean distance between contacts with the wall; infinite where there are no contacts. [m]"""
    if (mean > 0).all():
        return np.asarray(to_ground / mean)
    apart: Array = np.full(len(to_ground), np.inf)
    return np.divide(to_ground, mean, out=apart, where=mean > 0)


def descend(
    block: Block,
    seeds: Released,
    cut: Array,
    speed: Array,
    shocks: Shocks,
    level: Levels,
    falls: FallsOf,
) -> Landed:
    """Resting positions and times of seeds.

    Parameters
    ----------
    block : Block
        The block of their cells.
    seeds : Released
        The seeds.
    cut : ndarray
        Time at which the cell of each seed passes the cut-off. [s]
    speed : ndarray
        Speed of the hole there, one per seed or one for all. [m/s]
    shocks : Shocks
        The row unit's shaking.
    level : callable
        Gives the level of the pool when each cell of the block entered it. [m]
    falls : callable
        Gives the falls of seeds, as `fall` does.
    """

    def moment(station: str, time: Array) -> Moment:
        return Moment(
            station,
            time=time,
            speed=lambda: np.broadcast_to(speed, cells.shape),
            level=lambda: level()[cells],
        )

    stations, draws, cells, nth = block.stations, block.draws, seeds.cells, seeds.nth
    released = cut + seeds.travel / speed
    way = falls(block, seeds, speed, moment("tube", released))
    later: Any = 0.0
    if not stations.row_unit.still:
        later = stations.tube.later_by(shocks.speed(released), way.time, way.speed)
    crossed = released + np.maximum(way.time_to_beam + later, 0.0)
    now = released + np.maximum(way.time + later, 0.0)
    furrow = stations.furrow
    position = furrow.place_at(now) + way.astray
    if furrow.in_field:
        hop = _draws_of(draws.hop, draws.exponential, "hop", seeds)
        at_landing = moment("furrow", now)
        air = furrow.hop_time(hop, way.speed, at_landing)
        position = position + furrow.hop_length(air, way.speed, way.aside, at_landing)
        now = now + air
    if furrow.scatter > 0:
        soil = _draws_of(draws.soil, draws.normal, "soil", seeds)
        position = position + soil * furrow.scatter
    at_beam = moment("sensor", crossed)
    dark = stations.sensor.pulse(seeds.size, way.speed_at_beam, at_beam)
    chance = stations.sensor.detects(at_beam)
    if np.any(chance < 1):
        missed = draws.uniform("detection", cells, nth) >= chance
        dark = np.where(missed, -np.inf, dark)
    return Landed(released, crossed, now, way.contacts, crossed + dark, position)


NO_TIMES = np.empty(0), np.empty(0)


class Unwatched(NamedTuple):
    """A piece of a run before the sensor's pulses are known."""

    piece: Piece
    dark_until: Array  # time when the beam is free again; -inf if the sensor misses the seed, s


def watch(pieces: Iterable[Unwatched]) -> Iterator[Piece]:
    """Mark the seeds of each piece that give a pulse of their own.

    A seed that crosses a dark beam gives no pulse.  Seeds of neighbouring pieces may cross in any
    order.  So each piece waits until the next one is known.  No tube lets a seed fall behind a
    whole piece.
    """
    waiting: Unwatched | None = None
    earlier = NO_TIMES  # seeds that may cross among later ones: time, and end of their darkness
    dark = -np.inf  # time until which all other earlier seeds darken the beam
    for following in chain(pieces, [None]):
        new = NO_TIMES if following is None else _times(following)
        if waiting is not None:
            own = _times(waiting)
            known = [np.concatenate(pair) for pair in zip(earlier, own, strict=True)]
            soon = new[0] < known[0].max(initial=-np.inf)
            pairs = zip(known, new, strict=True)
            crossed, ends = (np.concatenate((these, those[soon])) for these, those in pairs)
            order = np.argsort(crossed, kind="stable")
            before = np.concatenate(([dark], ends[order[:-1]]))
            alone = np.empty(len(order), dtype=bool)
            alone[order] = crossed[order] >= np.maximum.accumulate(before)[: len(order)]
            mine = slice(len(earlier[0]), len(known[0]))
            seen = alone[mine] & (own[1] > -np.inf)
            yield replace(waiting.piece, seeds=replace(waiting.piece.seeds, seen=seen))
            late = known[0] >= new[0].min(initial=np.inf)
            if late[: mine.start].any():
                raise RuntimeError("a seed crosses the beam more than a piece of cells too late")
            dark = max(dark, float(known[1][~late].max(initial=-np.inf)))
            earlier = known[0][late], known[1][late]
        waiting = following


def _times(part: Unwatched) -> tuple[Array, Array]:
    return part.piece.seeds.sensor_time, part.dark_until
