"""The way down of many seeds at once: how long each stretch between two happenings takes.

A stretch ends at a contact with the tube's wall, at the sensor's beam or on the ground.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from metersim.luck import CONTACTS, Array, Luck
from metersim.stations import Stations

STRETCHES = CONTACTS + 2


class Fall(NamedTuple):
    """The way down of one seed."""

    lasts: list[float]  # each stretch, s
    sensor: int  # which stretch ends at the beam
    contacts: int
    loss: list[float]  # share of speed lost at each contact
    time: float  # of the whole fall, s
    speed_at_beam: float  # m/s
    speed: float  # on the ground, m/s
    hop_time: float  # in the air after the landing, s
    hop_length: float  # along the row, m


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
        launch = luck.launch[cells] if first else luck.normal("launch", cells, place)
        gap = luck.contact[cells] if first else luck.exponential("contact", cells, place)
        to_ground = np.maximum(tube.length + start, 0.0)
        to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
        contacts = np.broadcast_to(np.asarray(tube.contacts(speed), dtype=float), seeds)
        apart = np.divide(to_ground, contacts, out=np.full(seeds, np.inf), where=contacts > 0)
        to_contact = gap * apart
        speed = speed * release.downward(launch)
        steady = tube.steady_speed(size)
        count, sensor, touched = np.zeros((3, seeds), dtype=np.int64)
        lasts, loss = np.zeros((seeds, STRETCHES)), np.zeros((seeds, CONTACTS))
        time, at_beam = np.zeros(seeds), np.zeros(seeds)
        falling: NDArray[Any] = np.arange(seeds)
        for stretch in range(STRETCHES):
            ahead = np.minimum(np.minimum(to_contact, to_beam), to_ground)[falling]
            lasts[falling, stretch], speed[falling] = tube.fall(
                ahead, speed[falling], steady[falling]
            )
            time[falling] += lasts[falling, stretch]
            count[falling] += 1
            for left in (to_ground, to_beam, to_contact):
                left[falling] -= ahead
            crossing = falling[to_beam[falling] == 0]
            sensor[crossing], at_beam[crossing] = stretch, speed[crossing]
            to_beam[crossing] = np.inf
            touching = falling[to_contact[falling] == 0]
            if touching.size:
                turn, cell = touched[touching], cells[touching]
                rank, gap = luck.pair("wall", cell, place, turn)
                share = tube.loss(rank)
                loss[touching, turn] = share
                speed[touching] *= 1 - share
                touched[touching] = turn = turn + 1
                gap = -np.log(gap) * apart[touching]
                to_contact[touching] = np.where(turn < CONTACTS, gap, np.inf)
            falling = falling[to_ground[falling] > 0]
            if not falling.size:
                break
        if stations.furrow.in_field:
            hop = luck.hop[cells] if first else luck.exponential("hop", cells, place)
            hop_time = stations.furrow.hop_time(hop, speed)
            hop_length = stations.furrow.hop_length(hop_time, speed)
        else:
            hop_time = hop_length = np.zeros(seeds)
        parts = [row[:n] for row, n in zip(lasts.tolist(), count.tolist(), strict=True)]
        columns = (sensor, touched, loss, time, at_beam, speed, hop_time, hop_length)
        self._made = list(map(Fall, parts, *(column.tolist() for column in columns)))

    def __getitem__(self, k: int) -> Fall:
        return self._made[k]
