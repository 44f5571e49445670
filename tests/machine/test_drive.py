"""Drive: angle against time, with a ramp from rest and a ripple of the shaft."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from metersim.machine.drive import duration, speed_at, time_at

OMEGA = 3.2  # rad/s, an ordinary disc speed, constructed
TURN = 2 * math.pi


def test_steady_disc():
    """Without ramp and ripple, time is angle over speed."""
    angle = np.linspace(0, 50, 11)
    assert time_at(angle, OMEGA, 0.0, 0.0, 1) == pytest.approx(angle / OMEGA)


@pytest.mark.parametrize(("ripple", "per_turn"), [(0.05, 1), (0.2, 17), (0.5, 3), (0.5, 40)])
def test_ripple_solves_its_equation_of_motion(ripple, per_turn):
    """The angle at which an ODE solver arrives was the one asked for.

    dangle/dt = angular_speed/(1 + ripple cos(k angle)).
    """
    angle = np.linspace(0, 1.3 * TURN, 40)
    time = time_at(angle, OMEGA, 0.0, ripple, per_turn)
    solved = solve_ivp(
        lambda _, a: OMEGA / (1 + ripple * np.cos(per_turn * a)),
        (0, time[-1]),
        [0.0],
        method="DOP853",
        t_eval=time,
        rtol=1e-11,
        atol=1e-12,
    )
    assert solved.y[0] == pytest.approx(angle, abs=1e-7)


def test_ramp_gains_speed_evenly():
    """From rest the angle grows with the square of time, then evenly; both pieces join."""
    ramp = 2.5
    time = np.linspace(0, 3 * ramp, 61)
    angle = np.where(time < ramp, OMEGA * time**2 / (2 * ramp), OMEGA * (time - ramp / 2))
    assert time_at(angle, OMEGA, ramp, 0.0, 1) == pytest.approx(time, abs=1e-12)


def test_mean_speed_of_the_ramp_is_half():
    """The disc turns through half of what it turns in as long a time at full speed."""
    ramp = 1.7
    assert time_at(OMEGA * ramp / 2, OMEGA, ramp, 0.0, 1) == pytest.approx(ramp)


@pytest.mark.parametrize("per_turn", [1, 7, 200])
def test_ripple_leaves_the_time_of_whole_turns(per_turn):
    """A whole number of ripples costs no time, so demand is met."""
    turns = TURN * np.arange(1, 6)
    assert time_at(turns, OMEGA, 0.0, 0.3, per_turn) == pytest.approx(turns / OMEGA)


@pytest.mark.parametrize("ramp", [0.0, 0.3, 5.0])
def test_time_grows_with_angle(ramp):
    """Time never stands still or runs back up to the largest ripple that may be set."""
    angle = np.linspace(0, 4 * TURN, 20_001)
    assert np.all(np.diff(time_at(angle, OMEGA, ramp, 0.5, 13)) > 0)


def test_a_ripple_beyond_its_range_runs_back():
    """Negative control: the check of growth sees a ripple above 1."""
    angle = np.linspace(0, 4 * TURN, 20_001)
    assert np.any(np.diff(time_at(angle, OMEGA, 0.0, 1.2, 13)) < 0)


def test_time_starts_at_zero():
    """Nothing is turned at the start."""
    assert time_at(0.0, OMEGA, 2.0, 0.3, 5) == 0


@pytest.mark.parametrize("ramp", [0.0, 1.3])
@pytest.mark.parametrize("ripple", [0.0, 0.4])
def test_duration_is_a_difference_of_times(ramp, ripple):
    """Steps before, across and after the end of the ramp take what the clock says."""
    angle, step = np.linspace(0, 10, 57), np.array([[0.0], [0.01], [1.0], [30.0]])
    clock = time_at(angle + step, OMEGA, ramp, ripple, 3) - time_at(angle, OMEGA, ramp, ripple, 3)
    took = duration(angle, step, OMEGA, ramp, ripple, 3)
    assert took == pytest.approx(clock, rel=1e-12, abs=1e-13)


def test_equal_steps_take_equal_times():
    """At steady speed far from the start, to the last bit, which clock readings do not give."""
    angle = 1e4 + 0.1 * np.arange(1000)
    assert np.ptp(duration(angle, 0.1, OMEGA, 1.3, 0.0, 1)) == 0
    assert np.ptp(np.diff(time_at(angle, OMEGA, 1.3, 0.0, 1))) > 0  # control


def test_speed_is_the_slope_of_the_turning():
    """On the ramp, at its end, at speed and on a ripple: the inverse of dt/dangle."""
    for ramp, ripple in ((0.0, 0.0), (4.0, 0.0), (0.0, 0.3), (4.0, 0.3)):
        machine = (2.1, ramp, ripple, 5)
        angle = np.linspace(0.3, 30, 500)
        step = 1e-5
        slope = (time_at(angle + step, *machine) - time_at(angle - step, *machine)) / (2 * step)
        assert speed_at(angle, *machine) == pytest.approx(1 / slope, rel=1e-5)


def test_a_duration_is_a_difference_of_times():
    """And equal steps at steady speed take equal times to the last bit."""
    machine = (2.1, 4.0, 0.3, 5)
    angle = np.linspace(0, 30, 200)
    times = time_at(angle, *machine)
    assert duration(angle[:-1], np.diff(angle), *machine) == pytest.approx(np.diff(times))
    steady = duration(1e3 * np.arange(1, 50), 0.25, 2.1, 0.0, 0.0, 1)
    assert len(set(steady.tolist())) == 1
