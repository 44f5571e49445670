"""Tube: fall with drag against an ODE solver and published times, and contacts."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import tube
from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of
from tests.strategies import BENCH


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


K = (USUAL.contacts, USUAL.curvature_contacts)
LENGTH, SPEED = tube.REFERENCE_LENGTH, tube.REFERENCE_SPEED


def test_contacts_are_linear_in_roughness_and_in_length():
    """Twice as rough, or twice as long, a tube touches seeds twice as often."""
    aside = np.array([0.0, 0.01, 0.03, 0.1])
    once = tube.contact_mean(aside, LENGTH, 0.2, 1.0, *K)
    for many in (0.0, 0.7, 2.0, 2.6):
        assert tube.contact_mean(aside, LENGTH, 0.2, many, *K) == pytest.approx(many * once)
        assert tube.contact_mean(aside, many * LENGTH, 0.2, 1.0, *K) == pytest.approx(many * once)


def test_a_seed_dropped_straight_down_a_straight_tube_touches_nothing():
    """Neither wear nor length makes contacts without sideways speed or a curve."""
    assert tube.contact_mean(0.0, 3 * LENGTH, 0.0, 4.0, *K) == 0
    assert tube.contact_mean(0.0, LENGTH, 0.5, 1.0, *K) == 0.5 * USUAL.curvature_contacts
    assert tube.contact_mean(SPEED, LENGTH, 0.0, 1.0, *K) == pytest.approx(USUAL.contacts)


def test_a_late_seed_flies_aside():
    """At a right angle it crosses the tube at full speed; in time it has the spread alone."""
    assert tube.turned_aside(0.03, 0.25, 0.0) == 0.03
    assert tube.turned_aside(0.0, 0.25, math.pi / 2) == pytest.approx(0.25)
    assert tube.turned_aside(0.03, 0.08, math.radians(30)) == pytest.approx(0.05)


@pytest.mark.parametrize(
    "late", [{"cutoff__decay_arc": USUAL.worn_arc}, {"cutoff__cutoff_wear": 1.0}]
)
def test_a_worn_cut_off_makes_contacts(late):
    """By sin^2 of its arc over the variance of the launch, in a straight tube."""
    usual, worn = stations_of(BENCH), stations_of(BENCH.replace(**late))
    speed, at = np.array([0.1, 0.3]), Moment()
    ratio = (math.sin(USUAL.worn_arc) / USUAL.launch_spread) ** 2
    none = usual.tube.contacts(0.0, at)  # those of the curve
    more = worn.tube.contacts(speed, at) - none
    assert more == pytest.approx((1 + ratio) * (usual.tube.contacts(speed, at) - none))


def test_contacts_go_with_sideways_energy():
    """Twice the sideways speed makes four times the contacts, on top of those of the curve."""
    none, slow, fast = tube.contact_mean(np.array([0.0, 0.01, 0.02]), LENGTH, 0.3, 1.0, *K)
    assert fast - none == pytest.approx(4 * (slow - none))


def test_each_contact_moves_the_next_one_away():
    """By the share of the motion that it leaves; 1 damps nothing."""
    assert tube.damped_distance(0.3, 0.5) == pytest.approx(0.6)
    assert tube.damped_distance(0.3, 1.0) == 0.3
    assert tube.damped_distance(math.inf, 0.5) == math.inf


def test_wear_roughens():
    """A new tube has a factor of 1, a worn-out one the share more that wear adds."""
    assert tube.roughness(0.0, 2.7) == 1
    assert tube.roughness(1.0, 2.7) == pytest.approx(3.7)
    assert tube.roughness(0.5, 2.7) == pytest.approx((1 + 3.7) / 2)


RANK = (np.arange(100_000) + 0.5) / 100_000


@pytest.mark.slow
def test_loss_at_a_contact_has_exponential_tails_on_both_sides():
    """Half of all losses lie below the median; beyond it each half as large leaves 1/e of them."""
    loss = tube.contact_loss(RANK, 1.0, 0.2, 10.0)
    assert np.median(loss) == pytest.approx(0.2, rel=1e-4)
    for further in (0.1, 0.2, 0.3):
        share = math.exp(-further / 0.1) / 2
        assert (loss > 0.2 + further).mean() == pytest.approx(share, abs=1e-4)
    assert (loss < 0.1).mean() == pytest.approx(math.exp(-1) / 2, abs=1e-4)
    assert (loss == 0).mean() == pytest.approx(math.exp(-2) / 2, abs=1e-4)
    assert tube.contact_loss(RANK, 2.25, 0.2, 10.0) == pytest.approx(1.5 * loss)


def test_no_contact_takes_more_than_the_hardest_and_none_gives_speed():
    """However rough the tube, what the hardest contact leaves of the speed stays."""
    loss = tube.contact_loss(RANK, 100.0, 0.45, 0.9)
    assert (loss.min(), loss.max()) == (0.0, 0.9)
    assert USUAL.hardest_contact < 1  # so that every seed comes down


def test_a_seed_leaves_as_launched_or_thrown_back_by_what_it_lost():
    """Without a contact nothing is lost, and a seed on the line stays on it."""
    assert tube.exit_speed(0.03, 1.4, 0.0, 0.5) == 0.03
    assert tube.exit_speed(0.03, 1.0, 0.4, 0.5) == pytest.approx(0.03 - 0.2)
    assert tube.exit_speed(0.0, 0.0, 0.4, 0.5) == 0


def test_a_small_change_of_launch_is_felt_to_first_order():
    """Against the difference of two falls; drag makes it a little weaker."""
    for height, launch in ((0.45, 0.2), (0.8, 0.0), (0.3, 0.4)):
        time, end = fall(height, launch, 11.0)
        faster, _ = fall(height, launch + 0.012, 11.0)
        assert tube.later_by(0.012, time, end) == pytest.approx(faster - time, rel=0.1)
