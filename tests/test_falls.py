"""Falls of many seeds at once are those of each seed alone."""

import math

import numpy as np
import pytest

from metersim.falls import STRETCHES, Falls
from metersim.luck import CONTACTS
from metersim.stations import stations_of
from tests.strategies import BENCH

STATIONS = stations_of(BENCH.replace(tube__tube_wear=1.0, furrow__surface="field"))
SEEDS = 400


@pytest.fixture(scope="module")
def dealt():
    """Launch speeds, mean contacts, sizes, starts, gaps, ranks and hops of some seeds."""
    rng = np.random.default_rng(11)
    return (
        rng.uniform(0.0, 0.6, SEEDS),
        np.where(rng.random(SEEDS) < 0.2, 0.0, rng.uniform(0.2, 5, SEEDS)),
        rng.lognormal(0, 0.1, SEEDS),
        rng.normal(0, 0.002, SEEDS),
        rng.exponential(size=(SEEDS, CONTACTS)),
        rng.random((SEEDS, CONTACTS)),
        rng.exponential(size=SEEDS),
    )


def walked(launch, mean, size, start, gaps, ranks):
    """One seed's fall, happening by happening: times, contacts, time and speed at the beam."""
    tube, speed, now, contacts = STATIONS.tube, launch, 0.0, 0
    steady, to_ground = tube.steady_speed(size), tube.length + start
    to_beam = to_ground - STATIONS.sensor.height
    scale = to_ground / mean if mean > 0 else math.inf
    to_contact, beam, times = gaps[0] * scale, None, []
    while to_ground > 0:
        step = min(to_contact, to_beam, to_ground)
        time, speed = tube.fall(step, speed, steady)
        now += time
        times.append(time)
        to_ground, to_beam, to_contact = to_ground - step, to_beam - step, to_contact - step
        if to_beam == 0:
            beam, to_beam = (now, speed), math.inf
        if to_contact == 0:
            speed *= 1 - tube.loss(ranks[contacts])
            contacts += 1
            to_contact = gaps[contacts] * scale if contacts < CONTACTS else math.inf
    return times, contacts, beam, speed


def test_falls_at_once_are_the_falls_of_each_seed(dealt):
    falls = Falls(STATIONS, *dealt)
    assert falls.contacts.max() > 5 and (falls.contacts == 0).any()
    for k in range(SEEDS):
        times, contacts, (beam_time, beam_speed), speed = walked(*(part[k] for part in dealt[:6]))
        assert falls.count[k] == len(times) <= STRETCHES
        assert falls.duration[k, : len(times)].tolist() == [float(t) for t in times]
        assert falls.contacts[k] == contacts
        assert falls.duration[k, : falls.sensor[k] + 1].sum() == pytest.approx(beam_time)
        assert falls.speed_at_beam[k] == beam_speed
        assert falls.speed[k] == speed


def test_without_contacts_a_fall_is_the_closed_form(dealt):
    launch, mean, size, start, *rest = dealt
    falls = Falls(STATIONS, launch, 0 * mean, size, start, *rest)
    steady = STATIONS.tube.steady_speed(size)
    time, speed = STATIONS.tube.fall(STATIONS.tube.length + start, launch, steady)
    assert falls.time == pytest.approx(time)
    assert falls.speed == pytest.approx(speed)
    assert (falls.contacts == 0).all() and (falls.count == 2).all()


def test_contacts_only_delay(dealt):
    launch, mean, size, start, *rest = dealt
    free = Falls(STATIONS, launch, 0 * mean, size, start, *rest)
    touched = Falls(STATIONS, *dealt)
    hit = touched.contacts > 0
    assert (touched.time[hit] > free.time[hit]).all()
    assert (touched.time[~hit] == free.time[~hit]).all()


def test_contacts_are_as_many_as_asked():
    """Mean number of a Poisson process cut off by the tube's end: |z| < 4."""
    rng, seeds, mean = np.random.default_rng(3), 20_000, 1.5
    ones = np.ones(seeds)
    gaps, ranks = rng.exponential(size=(seeds, CONTACTS)), rng.random((seeds, CONTACTS))
    falls = Falls(STATIONS, 0.2 * ones, mean * ones, ones, 0 * ones, gaps, ranks, ones)
    z = (falls.contacts.mean() - mean) / math.sqrt(mean / seeds)
    assert abs(z) < 4
    assert abs((falls.contacts.mean() - 1.1 * mean) / math.sqrt(mean / seeds)) > 4  # control
