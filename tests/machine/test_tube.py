"""Tube: fall with drag against an ODE solver and published times, and contacts."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import tube
from metersim.machine.coefficients import USUAL
from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of


def fall(height, launch, steady):
    """Time and end speed of a fall."""
    end = tube.fall_speed(height, launch, steady, GRAVITY)
    return tube.fall_time(height, launch, end, steady, GRAVITY), end


def solved_fall(height, launch, steady):
    """Time and end speed of a fall by an ODE solver."""

    def landed(_, state):
        return state[0] - height

    landed.terminal = True
    solved = solve_ivp(
        lambda _, s: [s[1], GRAVITY * (1 - (s[1] / steady) ** 2)],
        (0, 10),
        [0.0, launch],
        method="DOP853",
        events=landed,
        rtol=1e-11,
        atol=1e-13,
    )
    return solved.t_events[0][0], solved.y_events[0][0][1]


@pytest.mark.parametrize("size", [0.7, 1.0, 1.3])
def test_a_seed_of_another_size_falls_as_a_lot_of_that_size(size):
    """Weight goes with the cube of size, drag with its square and that of the speed."""
    scenario = load_scenario("maize_bench")
    steady = stations_of(scenario).tube.steady_speed(size)
    lot = scenario.lot.scaled(size)
    assert lot.drag_coefficient == pytest.approx(scenario.lot.drag_coefficient)
    assert steady == pytest.approx(lot.terminal_velocity)
    assert steady**2 / size == pytest.approx(scenario.lot.terminal_velocity**2)


@pytest.mark.parametrize("size", [0.85, 1.0, 1.2])  # steady speed goes with the root of size
@pytest.mark.parametrize("steady", [4.07, 5.56, 11.0])  # isik2007, coskun2006, memory (maize)
@pytest.mark.parametrize("launch", [0.0, 0.09, 0.5, 3.0, 15.0])
@pytest.mark.parametrize("height", [0.02, 0.45, 1.5])
def test_fall_agrees_with_an_ode_solver(height, launch, steady, size):
    """Time and speed are those of quadratic drag, below and above the steady speed."""
    steady *= math.sqrt(size)
    assert fall(height, launch, steady) == pytest.approx(
        solved_fall(height, launch, steady), rel=1e-8
    )


def test_linear_drag_is_told_apart():
    """Negative control: a fall with drag as the speed itself differs by far more than 1e-8."""
    steady, height = 5.56, 0.45
    times = np.linspace(0, 1, 100_001)
    decay = steady / GRAVITY
    fallen = steady * (times - decay * (1 - np.exp(-times / decay)))
    linear = np.interp(height, fallen, times)
    assert fall(height, 0.0, steady)[0] != pytest.approx(linear, rel=1e-2)


@pytest.mark.parametrize(
    ("height", "steady", "time", "speed"),
    # derived from S = (vt^2/g) ln cosh(g t/vt) (lecture notes, read), g 9.80665
    [
        (0.45, 1e6, 0.302944, 2.9709),  # vacuum
        (0.45, 5.56, 0.31020, 2.7709),  # coskun2006, sweet corn
        (0.60, 8.54, 0.35453, 3.2966),  # sorghum2014
    ],
)
def test_fall_from_rest(height, steady, time, speed):
    """Times and speeds of three falls from rest."""
    got_time, got_speed = fall(height, 0.0, steady)
    assert got_time == pytest.approx(time, abs=1e-5)
    assert got_speed == pytest.approx(speed, abs=1e-4)
    assert steady**2 / GRAVITY * math.log(math.cosh(GRAVITY * got_time / steady)) == pytest.approx(
        height, rel=1e-4
    )


@pytest.mark.parametrize("launch", [0.0, 0.3, 2.0])
def test_without_air_the_fall_is_that_of_a_stone(launch):
    """As the steady speed grows the fall becomes free."""
    height = 0.45
    free = math.sqrt(launch**2 + 2 * GRAVITY * height)
    time, speed = fall(height, launch, 1e4)
    assert speed == pytest.approx(free, rel=1e-6)
    assert time == pytest.approx((free - launch) / GRAVITY, rel=1e-6)


def test_a_fall_in_two_parts_is_the_same_fall():
    """Speed and time do not depend on where a fall is cut."""
    upper = fall(0.17, 0.2, 7.0)
    lower = fall(0.28, upper[1], 7.0)
    assert fall(0.45, 0.2, 7.0) == pytest.approx((upper[0] + lower[0], lower[1]))


def test_no_height_takes_no_time():
    """Nothing happens over no height."""
    assert fall(0.0, 0.3, 7.0) == (0.0, pytest.approx(0.3))


def test_a_long_fall_ends_at_the_steady_speed():
    """Far down the seed neither gains nor loses, whichever side it came from."""
    for launch in (0.0, 3.0):
        assert tube.fall_speed(5.0, launch, 1.0, GRAVITY) == pytest.approx(1.0)


@pytest.mark.parametrize("height", [0.45, 1.5])  # up to the longest tube that may be set
@pytest.mark.parametrize("steady", [0.5, 1.0, 2.0])  # from the lowest that a lot may state
def test_time_of_a_light_seed(height, steady):
    """From rest, cosh(g t/vt) = exp(g h/vt^2), however light the seed."""
    expected = steady / GRAVITY * math.acosh(math.exp(GRAVITY * height / steady**2))
    assert fall(height, 0.0, steady)[0] == pytest.approx(expected, rel=1e-8)


def test_a_seed_launched_at_its_steady_speed_keeps_it():
    """At the steady speed the fall is even, and no case of its own."""
    assert fall(0.45, 7.0, 7.0) == pytest.approx((0.45 / 7.0, 7.0))


# contacts


K = (USUAL.contact_base, USUAL.contact_by_speed, USUAL.contact_knee)
LENGTH = tube.REFERENCE_LENGTH


def test_contacts_are_linear_in_roughness_and_in_length():
    """Twice as rough, or twice as long, a tube touches seeds twice as often."""
    speed = np.array([0.0, 0.09, 0.22, 0.5])
    once = tube.contact_mean(speed, LENGTH, 1.0, *K)
    for many in (0.0, 0.7, 2.0, 2.6):
        assert tube.contact_mean(speed, LENGTH, many, *K) == pytest.approx(many * once)
        assert tube.contact_mean(speed, many * LENGTH, 1.0, *K) == pytest.approx(many * once)


def test_contacts_grow_with_the_energy_of_a_slow_launch():
    """Far below the knee, what speed adds goes with its square, on top of those at no speed."""
    base, slow, fast = tube.contact_mean(np.array([0.0, 0.001, 0.002]), LENGTH, 1.0, *K)
    assert base == pytest.approx(USUAL.contact_base)
    assert fast - base == pytest.approx(4 * (slow - base), rel=1e-3)


def test_contacts_level_off_above_the_knee():
    """At the knee half of that law is left, and far above it the number stands still."""
    at_knee = tube.contact_mean(USUAL.contact_knee, LENGTH, 1.0, *K) - USUAL.contact_base
    law = USUAL.contact_by_speed * USUAL.contact_knee**2
    assert at_knee == pytest.approx(law / 2)
    assert tube.contact_mean(1e3, LENGTH, 1.0, *K) - USUAL.contact_base == pytest.approx(law)


def rough(curvature, wear, good=0.7, by_curve=0.4, by_wear=2.7):
    """Roughness of a constructed tube."""
    return tube.roughness(curvature, wear, good, by_curve, by_wear)


def test_roughness_of_a_good_and_a_bad_tube():
    """A new straight tube has its own, a worn-out one the share more that wear adds."""
    assert rough(0.0, 0.0) == 0.7
    assert rough(0.0, 1.0) == pytest.approx(0.7 * 3.7)
    assert rough(1.0, 0.0) == pytest.approx(0.7 * 1.4)
    assert rough(1.0, 1.0, by_curve=0.0, by_wear=0.0) == 0.7


def test_curve_and_wear_roughen():
    """Either alone makes a tube rougher, evenly, and both together more than either."""
    curve, wear = rough(0.5, 0.0), rough(0.0, 0.5)
    good = rough(0.0, 0.0)
    assert good < curve < rough(0.5, 0.5)
    assert good < wear < rough(0.5, 0.5)
    assert rough(1.0, 0.0) - good == pytest.approx(2 * (curve - good))
    assert rough(0.0, 1.0) - good == pytest.approx(2 * (wear - good))
    assert rough(0.5, 0.5, good=1.4) == pytest.approx(2 * rough(0.5, 0.5))


def test_loss_at_a_contact_is_even_up_to_its_largest():
    """Ranks spread evenly give shares spread evenly, growing with the root of roughness."""
    rank = (np.arange(1000) + 0.5) / 1000
    reference = tube.contact_loss(rank, 1.0, 0.45, 0.9)
    assert reference == pytest.approx(0.45 * rank)
    assert tube.contact_loss(rank, 2.25, 0.45, 0.9) == pytest.approx(1.5 * reference)


def test_no_contact_takes_more_than_the_hardest():
    """However rough the tube, what the hardest contact leaves of the speed stays."""
    assert tube.contact_loss(1.0, 100.0, 0.45, 0.9) == 0.9
    assert tube.contact_loss(1.0, 1.0, 0.45, 0.9) == 0.45
    assert USUAL.hardest_contact < 1  # so that every seed comes down


def test_a_small_change_of_launch_is_felt_to_first_order():
    """Against the difference of two falls; drag makes it a little weaker."""
    for height, launch in ((0.45, 0.2), (0.8, 0.0), (0.3, 0.4)):
        time, end = fall(height, launch, 11.0)
        faster, _ = fall(height, launch + 0.012, 11.0)
        assert tube.later_by(0.012, time, end) == pytest.approx(faster - time, rel=0.1)
