"""Falls of many seeds at once are those of each seed alone."""

import math
from dataclasses import replace

import numpy as np
import pytest

from metersim.events.falls import STRETCHES, Falls
from metersim.luck import CONTACTS, Luck
from metersim.stations import TubeStation, like, stations_of
from metersim.streams import Streams
from tests.strategies import BENCH

STATIONS = stations_of(BENCH.replace(tube__tube_wear=1.0, furrow__surface="field"))
SEEDS = 400


@pytest.fixture(scope="module")
def dealt():
    """Luck, cells, place, sizes, starts and speeds of some seeds."""
    rng = np.random.default_rng(11)
    return (
        Luck(Streams(3), 0, SEEDS),
        np.arange(SEEDS),
        0,
        rng.lognormal(0, 0.1, SEEDS),
        rng.normal(0, 0.002, SEEDS),
        rng.uniform(0.05, 0.6, SEEDS),
    )


def walked(luck, cell, place, size, start, speed):
    """One seed's fall, happening by happening: times, contacts, time and speed at the beam."""
    tube, now, contacts = STATIONS.tube, 0.0, 0
    mean = tube.contacts(speed)
    speed = speed * STATIONS.release.downward(luck.launch[cell])
    steady, to_ground = tube.steady_speed(size), tube.length + start
    to_beam = to_ground - STATIONS.sensor.height
    scale = to_ground / mean
    to_contact, beam, times = luck.contact[cell] * scale, None, []
    while to_ground > 0:
        step = min(to_contact, to_beam, to_ground)
        time, speed = tube.fall(step, speed, steady)
        now += time
        times.append(time)
        to_ground, to_beam, to_contact = to_ground - step, to_beam - step, to_contact - step
        if to_beam == 0:
            beam, to_beam = (now, speed), math.inf
        if to_contact == 0:
            rank, gap = luck.pair("wall", np.array([cell]), place, contacts)
            speed *= 1 - tube.loss(rank[0])
            contacts += 1
            to_contact = -np.log(gap[0]) * scale if contacts < CONTACTS else math.inf
    return times, contacts, beam, speed


def test_falls_at_once_are_the_falls_of_each_seed(dealt):
    falls = Falls(STATIONS, *dealt)
    most = 0
    for k in range(SEEDS):
        luck, cells, place, *rest = dealt
        one = (float(part[k]) for part in rest)
        times, contacts, (beam_time, beam_speed), speed = walked(luck, cells[k], place, *one)
        fall = falls[k]
        assert fall.lasts == [float(t) for t in times]
        assert len(times) <= STRETCHES
        assert fall.contacts == contacts
        assert sum(fall.lasts[: fall.sensor + 1]) == pytest.approx(beam_time)
        assert fall.speed_at_beam == beam_speed
        assert fall.speed == speed
        assert fall.time == pytest.approx(sum(times))
        most = max(most, contacts)
    assert most > 5


class Smooth(TubeStation):
    """A tube that no seed touches."""

    def contacts(self, speed):
        """None."""
        return 0.0 * speed


def smooth_falls(dealt):
    """Falls through a tube that no seed touches."""

    return Falls(replace(STATIONS, tube=like(Smooth, STATIONS.tube)), *dealt)


def test_without_contacts_a_fall_is_the_closed_form(dealt):
    luck, cells, _, size, start, speed = dealt
    falls, tube = smooth_falls(dealt), STATIONS.tube
    launch = speed * STATIONS.release.downward(luck.launch)
    time, end = tube.fall(tube.length + start, launch, tube.steady_speed(size))
    for k in cells:
        assert falls[k].time == pytest.approx(time[k])
        assert falls[k].speed == pytest.approx(end[k])
        assert falls[k].contacts == 0 and len(falls[k].lasts) == 2


def test_contacts_only_delay(dealt):
    free, touched = smooth_falls(dealt), Falls(STATIONS, *dealt)
    for k in range(SEEDS):
        if touched[k].contacts:
            assert touched[k].time > free[k].time
        else:
            assert touched[k].time == free[k].time


def test_contacts_are_as_many_as_asked():
    """Mean number of a Poisson process cut off by the tube's end: |z| < 4."""
    seeds, speed = 20_000, 0.3
    ones = np.ones(seeds)
    mean = float(STATIONS.tube.contacts(speed))
    falls = Falls(
        STATIONS, Luck(Streams(5), 0, seeds), np.arange(seeds), 0, ones, 0 * ones, speed * ones
    )
    found = np.mean([falls[k].contacts for k in range(seeds)])
    assert 1 < mean < 5
    assert abs((found - mean) / math.sqrt(mean / seeds)) < 4
    assert abs((found - 1.1 * mean) / math.sqrt(mean / seeds)) > 4  # control
