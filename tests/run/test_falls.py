"""Falls of seeds: stretch by stretch, in one closed form, and of many seeds at once."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.own import like
from metersim.machine.stations import stations_of
from metersim.machine.tube import TubeStation
from metersim.run.arrays.descent import fall
from metersim.run.arrays.picking import Block
from metersim.run.arrays.stretch import Released
from metersim.run.draws import CONTACTS, BlockDraws, CellDraws
from metersim.run.events import BEAM, GROUND, WALL, way_down
from metersim.run.meter import Cell, Held
from metersim.run.streams import Streams
from tests.strategies import BENCH

SEEDS = 400
AT = Moment()
STATIONS = stations_of(BENCH.replace(tube__tube_wear=1.0, furrow__surface="field"))
RNG = np.random.default_rng(11)
SIZES = RNG.lognormal(0, 0.1, SEEDS).tolist()
SPEEDS = RNG.uniform(0.05, 0.6, SEEDS).tolist()
DRAWS = BlockDraws(Streams(3), 0, SEEDS)
ALONG = (DRAWS.along * STATIONS.pickup.seat_scale).tolist()


def stops_of(stations, cell):
    """The stops of the first seed of a cell on its way down."""
    meter = SimpleNamespace(draws=CellDraws(Streams(3), SEEDS), stations=stations)
    launch = SPEEDS[cell] * float(stations.release.downward(DRAWS.launch[cell]))
    mean = float(stations.tube.contacts(SPEEDS[cell], AT))
    seed = Held(0, SIZES[cell], 1e3, 1.0, 1e-2, 7e-3)
    return way_down(meter, Cell(cell, 0.03, None, ALONG[cell], 0.0, [seed]), seed, launch, mean)


def walked(cell):
    """One seed's fall: times of its stops, contacts, speeds at the beam and at the end.

    Each stretch is a fall of its own, from the speed that the contact before left.
    """
    tube, now, contacts, speed = STATIONS.tube, 0.0, 0, SPEEDS[cell]
    mean = tube.contacts(speed, AT)
    speed = speed * STATIONS.release.downward(DRAWS.launch[cell])
    steady, to_ground = tube.steady_speed(SIZES[cell]), tube.length + ALONG[cell]
    to_beam = to_ground - STATIONS.sensor.height
    scale = to_ground / mean
    to_contact, beam, times = DRAWS.contact[cell] * scale, None, []
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
            rank, gap = DRAWS.pair("wall", cell, 0, contacts)
            speed *= 1 - tube.loss(rank)
            contacts += 1
            scale /= USUAL.contact_damping
            to_contact = -np.log(gap) * scale if contacts < CONTACTS else math.inf
    return times, contacts, beam, speed


def test_a_fall_is_the_sum_of_its_free_stretches():
    most = 0
    for cell in range(SEEDS):
        times, contacts, at_beam, speed = walked(cell)
        stops = stops_of(STATIONS, cell)
        (beam,) = (stop for stop in stops if stop.what == BEAM)
        assert [stop.time for stop in stops] == pytest.approx(times, rel=1e-11)
        assert sum(stop.what == WALL for stop in stops) == contacts
        assert beam.speed == pytest.approx(at_beam, rel=1e-9)
        assert stops[-1].what == GROUND
        assert stops[-1].speed == pytest.approx(speed, rel=1e-9)
        most = max(most, contacts)
    assert most > 3


class Smooth(TubeStation):
    """A tube that no seed touches."""

    def contacts(self, speed, at):
        """None."""
        return 0.0 * speed


SMOOTH = replace(STATIONS, tube=like(Smooth, STATIONS.tube))


def test_without_contacts_a_fall_is_the_closed_form():
    tube = STATIONS.tube
    for cell in range(SEEDS):
        beam, ground = stops_of(SMOOTH, cell)
        launch = SPEEDS[cell] * STATIONS.release.downward(DRAWS.launch[cell])
        steady, height = tube.steady_speed(SIZES[cell]), tube.length + ALONG[cell]
        end = tube.speed(height, launch, steady)
        assert (beam.what, ground.what) == (BEAM, GROUND)
        assert ground.time == pytest.approx(tube.time(height, launch, end, steady, 1.0))
        assert ground.speed == pytest.approx(end)


def test_contacts_only_delay():
    for cell in range(SEEDS):
        free, touched = stops_of(SMOOTH, cell), stops_of(STATIONS, cell)
        if sum(stop.loss for stop in touched) > 1e-6:  # a contact may take nothing
            assert touched[-1].time > free[-1].time
        elif len(touched) > 2:
            assert touched[-1].time == pytest.approx(free[-1].time, abs=1e-6)
        else:
            assert touched == free


def test_contacts_are_as_many_as_asked():
    """Mean number of the first contacts of a Poisson process cut off by the tube's end: |z| < 4.

    Without damping all contacts are first ones.
    """
    seeds, speed = 20_000, 0.3
    ones, zeros = np.ones(seeds), np.zeros(seeds)
    k = replace(USUAL, contact_damping=1.0)
    stations = replace(STATIONS, tube=replace(STATIONS.tube, coefficients=k))
    mean = float(stations.tube.contacts(speed, AT))
    block = Block(stations, BlockDraws(Streams(5), 0, seeds))
    released = Released(np.arange(seeds), zeros.astype(int), ones, ones, zeros)
    way = fall(block, released, speed * ones, AT)
    found = np.mean(way.contacts)
    assert 1 < mean < 5
    assert abs((found - mean) / math.sqrt(mean / seeds)) < 4
    assert abs((found - 1.1 * mean) / math.sqrt(mean / seeds)) > 4  # control
