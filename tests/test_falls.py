"""Falls of many seeds at once are those of each seed alone."""

import math
from dataclasses import replace

import numpy as np
import pytest

from None import HAPPENINGS, Falls
from metersim.run.draws import CONTACTS, Luck
from metersim.machine.tube import TubeStation
from metersim.machine.stations import like, stations_of
from metersim.run.draws import Streams
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
    """One seed's fall, stretch by stretch: happenings' times, contacts, speeds at beam and end.

    Each stretch is a fall of its own, from the speed that the contact before left.
    """
    tube, now, contacts = STATIONS.tube, 0.0, 0
    mean = tube.contacts(speed)
    speed = speed * STATIONS.release.downward(luck.launch[cell])
    steady, to_ground = tube.steady_speed(size), tube.length + start
    to_beam = to_ground - STATIONS.sensor.height
    scale = to_ground / mean
    to_contact, beam, times = luck.contact[cell] * scale, None, []
    while to_ground > 0:
        step = min(to_contact, to_beam, to_ground)
        end = tube.speed(step, speed, steady)
        now += tube.time(step, speed, end, steady, 1.0)
        speed = end
        times.append(now)
        to_ground, to_beam, to_contact = to_ground - step, to_beam - step, to_contact - step
        if to_beam == 0:
            beam, to_beam = speed, math.inf
        if to_contact == 0:
            rank, gap = luck.pair("wall", np.array([cell]), place, contacts)
            speed *= 1 - tube.loss(rank[0])
            contacts += 1
            to_contact = -np.log(gap[0]) * scale if contacts < CONTACTS else math.inf
    return times, contacts, beam, speed


def test_falls_at_once_are_the_falls_of_each_seed(dealt):
    """What one closed form says of a fall with contacts is the sum of its free stretches."""
    falls = Falls(STATIONS, *dealt)
    most = 0
    for k in range(SEEDS):
        luck, cells, place, *rest = dealt
        one = (float(part[k]) for part in rest)
        times, contacts, at_beam, speed = walked(luck, cells[k], place, *one)
        fall = falls[k]
        assert len(times) == len(fall.times) <= HAPPENINGS
        assert fall.times == pytest.approx(times, rel=1e-11)
        assert fall.contacts == contacts
        assert fall.speed_at_beam == pytest.approx(at_beam, rel=1e-9)
        assert fall.speed == pytest.approx(speed, rel=1e-9)
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
    steady, height = tube.steady_speed(size), tube.length + start
    end = tube.speed(height, launch, steady)
    time = tube.time(height, launch, end, steady, 1.0)
    for k in cells:
        assert falls[k].times[-1] == pytest.approx(time[k])
        assert falls[k].speed == pytest.approx(end[k])
        assert falls[k].contacts == 0 and len(falls[k].times) == 2


def test_contacts_only_delay(dealt):
    free, touched = smooth_falls(dealt), Falls(STATIONS, *dealt)
    for k in range(SEEDS):
        if touched[k].contacts:
            assert touched[k].times[-1] > free[k].times[-1]
        else:
            assert touched[k].times == free[k].times


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
