"""The way down of many seeds at once: how long each stretch between two happenings takes.

A stretch ends at a contact with the tube's wall, at the sensor's beam or on the ground.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.luck import CONTACTS, Array
from metersim.stations import Stations

STRETCHES = CONTACTS + 2


class Falls:
    """Ways down of some seeds; all arrays have one entry, or one row, a seed.

    Parameters
    ----------
    stations : Stations
        Tube, sensor and furrow.
    launch : ndarray
        Downward speed at the release. [m/s]
    mean_contacts : ndarray
        Mean number of wall contacts. [1]
    size : ndarray
        Linear size over the mean. [1]
    start : ndarray
        Height of the seat over the hole's centre at the release. [m]
    gaps, ranks, hop : ndarray, shapes (n, CONTACTS), (n, CONTACTS) and (n,)
        Luck of the wall contacts and of the hop.

    Attributes
    ----------
    count, sensor : ndarray of int
        Stretches, and which of them ends at the beam.
    duration : ndarray, shape (n, STRETCHES)
        How long each takes. [s]
    time, speed_at_beam, speed : ndarray
        Time of the whole fall [s], and speed at the beam and on the ground. [m/s]
    contacts : ndarray of int
        Contacts with the wall.
    loss : ndarray, shape (n, CONTACTS)
        Share of speed lost at each. [1]
    hop_time, hop_length : ndarray
        Time in the air after the landing [s], and distance along the row. [m]
    """

    def __init__(
        self,
        stations: Stations,
        launch: Array,
        mean_contacts: Array,
        size: Array,
        start: Array,
        gaps: Array,
        ranks: Array,
        hop: Array,
    ) -> None:
        tube, furrow, seeds = stations.tube, stations.furrow, len(launch)
        steady = tube.steady_speed(size)
        loss = tube.loss(ranks)
        to_ground = np.maximum(tube.length + start, 0.0)
        to_beam = np.maximum(to_ground - stations.sensor.height, 0.0)
        scale = np.divide(
            to_ground, mean_contacts, out=np.full(seeds, np.inf), where=mean_contacts > 0
        )
        to_contact = gaps[:, 0] * scale
        speed = launch.copy()
        count, sensor, contacts = np.zeros((3, seeds), dtype=np.int64)
        duration, at_beam = np.zeros((seeds, STRETCHES)), np.zeros(seeds)
        falling: NDArray[Any] = np.arange(seeds)
        for stretch in range(STRETCHES):
            ahead = np.minimum(np.minimum(to_contact, to_beam), to_ground)[falling]
            lasts, end = tube.fall(ahead, speed[falling], steady[falling])
            duration[falling, stretch] = lasts
            count[falling] += 1
            speed[falling] = end
            for left in (to_ground, to_beam, to_contact):
                left[falling] -= ahead
            crossing = falling[to_beam[falling] == 0]
            sensor[crossing], at_beam[crossing] = stretch, speed[crossing]
            to_beam[crossing] = np.inf
            touching = falling[to_contact[falling] == 0]
            speed[touching] *= 1 - loss[touching, contacts[touching]]
            contacts[touching] += 1
            following = np.minimum(contacts[touching], CONTACTS - 1)
            more = np.where(contacts[touching] < CONTACTS, scale[touching], np.inf)
            to_contact[touching] = gaps[touching, following] * more
            falling = falling[to_ground[falling] > 0]
            if not falling.size:
                break
        self.count, self.sensor, self.contacts, self.loss = count, sensor, contacts, loss
        self.duration, self.time = duration, duration.sum(axis=1)
        self.speed_at_beam, self.speed = at_beam, speed
        self.hop_time = furrow.hop_time(hop, speed)
        self.hop_length = furrow.hop_length(self.hop_time, speed)
