"""The way down of many seeds at once: how long after the release each happening comes.

A seed touches the tube's wall, or does not, crosses the sensor's beam and meets the ground.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.luck import CONTACTS, Array, Luck
from metersim.stations import Stations

HAPPENINGS = CONTACTS + 2


class Fall(NamedTuple):
    """The way down of one seed."""

    times: list[float]  # of each happening since the release, s
    loss: Array  # share of speed lost at each contact
    sensor: int  # which happening is the crossing of the beam
    contacts: int
    speed_at_beam: float  # m/s
    speed: float  # on the ground, m/s
    hop_time: float  # in the air after the landing, s
    hop_length: float  # along the row, m
    astray: float  # along the row before the landing, m


class Falls:
    """Ways down of seeds on one place of their cells.

    Parameters
    ----------
    stations : Stations
        Release, tube, sensor and furrow.
    luck : Luck
        Luck of the block.
    cells : ndarray of int
        The seeds' cells, by their place in the block.
    place : int
        Which seed of its cell each is.
    size : ndarray
        Linear size over the mean. [1]
    start : ndarray
        Height of the seat over the hole's centre at the release. [m]
    speed : ndarray
        Speed of the hole at the release. [m/s]
    """

    def __init__(
        self,
        stations: Stations,
        luck: Luck,
        cells: NDArray[np.intp],
        place: int,
        size: Array,
        start: Array,
        speed: Array,
    ) -> None:
        tube, release, seeds = stations.tube, stations.release, len(cells)
        first = place == 0
        draw = luck.launch[cells] if first else luck.normal("launch", cells, place)
        gap = luck.contact[cells] if first else luck.exponential("contact", cells, place)
        ground = np.maximum(tube.length + start, 0.0)
        beam = np.maximum(ground - stations.sensor.height, 0.0)
        mean = np.broadcast_to(np.asarray(tube.contacts(speed), dtype=float), seeds)
        apart = np.divide(ground, mean, out=np.full(seeds, np.inf), where=mean > 0)
        wall = gap * apart
        launch, sideways = speed * release.downward(draw), speed * release.sideways(draw)
        steady = tube.steady_speed(size)
        count, sensor, contacts = np.zeros((3, seeds), dtype=np.int64)
        times, loss = np.zeros((seeds, HAPPENINGS)), np.zeros((seeds, CONTACTS))
        # below the release and on the way since the last contact, or since the release
        height, speed, slowing = np.zeros(seeds), launch.copy(), np.ones(seeds)
        at_beam, at_ground, fallen = np.zeros((3, seeds))
        falling: NDArray[Any] = np.arange(seeds)
        while falling.size:
            turn, limit = count[falling], steady[falling]
            now = np.minimum(np.minimum(wall, beam), ground)[falling]
            here = tube.speed(now - height[falling], speed[falling], limit)
            since = tube.time(now, launch[falling], here, limit, slowing[falling])
            times[falling, turn] = since
            count[falling] += 1
            crosses, lands = beam[falling] == now, ground[falling] == now
            crossing = falling[crosses]
            sensor[crossing], at_beam[crossing] = turn[crosses], here[crosses]
            beam[crossing] = np.inf
            at_ground[falling[lands]], fallen[falling[lands]] = here[lands], since[lands]
            touches = wall[falling] == now
            touching = falling[touches]
            if touching.size:
                turn, before, limit = contacts[touching], here[touches], limit[touches]
                rank, gap = luck.pair("wall", cells[touching], place, turn)
                loss[touching, turn] = share = tube.loss(rank)
                speed[touching] = after = before * (1 - share)
                slowing[touching] *= tube.slowing(before, after, limit)
                height[touching] = wall[touching]
                contacts[touching] = turn = turn + 1
                further = wall[touching] - np.log(gap) * apart[touching]
                wall[touching] = np.where(turn < CONTACTS, further, np.inf)
            falling = falling[~lands]
        hop_time = hop_length = np.zeros(seeds)
        if stations.furrow.in_field:
            hop = luck.hop[cells] if first else luck.exponential("hop", cells, place)
            hop_time = stations.furrow.hop_time(hop, at_ground)
            hop_length = stations.furrow.hop_length(hop_time, at_ground)
        happenings = times[np.arange(HAPPENINGS) < count[:, None]].tolist()
        ends = np.cumsum(count).tolist()
        parts = [happenings[a:b] for a, b in zip([0, *ends[:-1]], ends, strict=True)]
        astray = tube.strays(sideways, fallen)
        columns = (sensor, contacts, at_beam, at_ground, hop_time, hop_length, astray)
        rows = zip(parts, loss, *(column.tolist() for column in columns), strict=True)
        self._made = [Fall(*row) for row in rows]

    def __getitem__(self, k: int) -> Fall:
        return self._made[k]
