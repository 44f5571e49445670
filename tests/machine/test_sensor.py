"""Sensor: how long a seed darkens the beam."""

import numpy as np
import pytest

from metersim.machine.moment import Moment
from metersim.machine.reading import load_scenario
from metersim.machine.sensor import pulse_length
from metersim.machine.stations import stations_of


@pytest.mark.parametrize(
    ("length", "beam", "speed"), [(10.5e-3, 3e-3, 2.7), (2e-3, 3e-3, 3.0), (8e-3, 0.1e-3, 1.0)]
)
def test_pulse_is_the_time_in_which_seed_and_beam_meet(length, beam, speed):
    """A seed moved past the beam in small steps covers some of it for as long."""
    step = 1e-6
    time = np.arange(0, 0.05, step)
    nose = -1e-3 + speed * time  # the beam reaches from 0 to its height
    dark = (nose >= 0) & (nose - length <= beam)
    assert pulse_length(length, beam, speed) == pytest.approx(dark.sum() * step, abs=2 * step)


def test_twice_the_speed_halves_the_pulse():
    """A pulse is a length over a speed."""
    assert pulse_length(9e-3, 3e-3, 5.0) == pytest.approx(pulse_length(9e-3, 3e-3, 2.5) / 2)


def test_a_beam_without_height_sees_the_seed_alone():
    """With a thin beam the pulse is the time in which the seed falls its own length."""
    assert pulse_length(9e-3, 0.0, 3.0) == pytest.approx(3e-3)


@pytest.mark.parametrize("size", [0.8, 1.0, 1.25])
def test_a_larger_seed_darkens_the_beam_by_as_much_longer(size):
    """The mean seed and the beam meet for (length + beam) / speed; a larger seed adds its more."""
    scenario = load_scenario("maize_bench")
    sensor = stations_of(scenario).sensor
    at, speed = Moment("sensor"), 2.5
    mean, other = (sensor.pulse(one, speed, at) for one in (1.0, size))
    assert mean == pytest.approx((scenario.lot.length + scenario.sensor.beam_height) / speed)
    assert other - mean == pytest.approx((size - 1) * scenario.lot.length / speed)
