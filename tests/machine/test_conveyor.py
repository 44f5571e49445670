"""Conveyor: seeds go down with the belt, lie where their compartments leave them, hardly hop."""

import math

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.coefficients import USUAL
from metersim.machine.conveyor import ConveyorStation, belt_speed, carried_time
from metersim.machine.moment import Moment
from metersim.machine.stations import departures_of, stations_of
from metersim.run.simulation import simulate
from tests.strategies import BENCH, ran

BELT = {"tube__delivery": "conveyor"}


def test_a_conveyor_is_the_usual_tube_of_its_scenario():
    scenario = BENCH.replace(**BELT)
    assert type(stations_of(scenario).tube) is ConveyorStation
    assert departures_of(scenario) == {} == simulate(scenario.replace(run__turns=1)).replaced
    assert type(stations_of(BENCH).tube) is not ConveyorStation


def test_the_way_down_takes_the_time_of_the_belt():
    """Length over speed of the belt, to the ground and to the beam, whatever the seed."""
    run = ran(**BELT)
    seeds, belt = run.seeds, USUAL.belt_ratio * BENCH.demand.speed
    along = seeds.landing_time - seeds.release_time
    lengths = along * belt - BENCH.tube.tube_length  # a seat that lies aside adds to the way
    hole = BENCH.disc.hole_diameter
    assert np.abs(lengths).max() < 3 * hole
    assert abs(lengths.mean()) < 4 * lengths.std() / math.sqrt(len(lengths))
    below = (seeds.landing_time - seeds.sensor_time) * belt
    assert below == pytest.approx(np.full(len(below), BENCH.sensor.sensor_height))
    assert not seeds.contacts.any() and ran().seeds.contacts.any()


@pytest.mark.parametrize("speed", [1.5, 4.0])
def test_the_belt_goes_with_the_speed_of_travel(speed):
    tube = stations_of(BENCH.replace(**BELT, demand__speed=speed)).tube
    assert tube.belt == belt_speed(speed, USUAL.belt_ratio) == USUAL.belt_ratio * speed
    heights = np.array([0.1, 0.4])
    assert tube.time(heights, 0.2, 3.0, 9.0, 1.0) == pytest.approx(heights / tube.belt)
    assert np.all(tube.speed(heights, 0.2, 9.0) == tube.belt)
    assert np.all(tube.contacts(heights, Moment()) == 0)
    assert np.all(tube.later_by(heights, 0.3, 2.0) == 0)


def test_seeds_scatter_by_their_compartments():
    """The distance along the row has the SD of the coefficient, at any speed."""
    draws = np.random.default_rng(1).standard_normal(100_000)
    for speed in (1.0, 5.0):
        tube = stations_of(BENCH.replace(**BELT, demand__speed=speed)).tube
        way = tube.strays(tube.aside(0.3, draws, 1.0), carried_time(0.3, tube.belt), 2.0)
        off = math.log(way.std() / USUAL.compartment_scatter) * math.sqrt(2 * draws.size)
        assert abs(off) < 4
        wrong = math.log(way.std() / (1.02 * USUAL.compartment_scatter))
        assert abs(wrong * math.sqrt(2 * draws.size)) > 4  # negative control


def test_seeds_hardly_hop_behind_a_conveyor():
    field = BENCH.replace(**BELT, furrow__surface="field")
    tube = field.replace(tube__delivery="tube")
    assert stations_of(field).furrow.hop == pytest.approx(
        USUAL.conveyor_hop * stations_of(tube).furrow.hop
    )
    assert stations_of(field).furrow.curvature == 0.0


def test_a_conveyor_takes_no_speed_effect_of_the_tube():
    """Wear and curve of a tube that is not there change nothing."""
    one, other = (
        ran(**BELT, run__turns=10, tube__tube_wear=wear, tube__tube_curvature=curve).seeds
        for wear, curve in ((0.0, 0.0), (1.0, 0.5))
    )
    assert np.array_equal(one.position, other.position)


def test_a_conveyor_needs_its_housing():
    with pytest.raises(BadInput, match="a conveyor is a tube of its own"):
        BENCH.replace(**BELT, tube__tube_fitted=False)
