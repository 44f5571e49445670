"""Furrow: the hop of a seed against integrated ballistics."""

import math

import pytest
from scipy.integrate import solve_ivp

from metersim.files.units import STANDARD_GRAVITY
from metersim.machine import furrow


@pytest.mark.parametrize("restitution", [0.012, 0.1, 0.3])
@pytest.mark.parametrize(("impact", "ground", "rearward"), [(2.8, 1.9, 0.0), (3.5, 2.8, 0.3)])
def test_hop_agrees_with_an_ode_solver(restitution, impact, ground, rearward):
    """Time and length are those of a ball thrown up from the furrow until it is back."""

    def back(_, state):
        return state[1]

    back.terminal, back.direction = True, -1
    start = [0.0, 0.0, ground - rearward, restitution * impact]
    solved = solve_ivp(
        lambda _, s: [s[2], s[3], 0.0, -STANDARD_GRAVITY],
        (0, 2),
        start,
        events=back,
        rtol=1e-10,
        atol=1e-12,
    )
    time = furrow.hop_time(restitution, impact, STANDARD_GRAVITY)
    assert time == pytest.approx(solved.t_events[0][0], rel=1e-6)
    length = furrow.hop_length(time, ground, rearward, 0.0)
    assert length == pytest.approx(solved.y_events[0][0][0], rel=1e-6)


def test_a_seed_thrown_back_at_ground_speed_stays():
    """No speed over the ground, no hop along the row."""
    assert furrow.hop_length(0.2, 2.2, 2.2, 0.0) == 0


def test_a_seed_thrown_back_faster_hops_back():
    """The hop has the sign of the seed's speed over the ground."""
    assert furrow.hop_length(0.2, 1.0, 1.5, 0.0) == pytest.approx(-0.1)
    assert furrow.hop_length(0.2, 1.0, 1.5, 0.1) == pytest.approx(-0.08)


def test_dead_soil_stops_the_seed():
    """Without restitution there is no hop."""
    assert furrow.hop_time(0.0, 3.0, STANDARD_GRAVITY) == 0


def test_hop_is_linear_in_restitution_and_impact():
    """Doubling either doubles the time in the air."""
    once = furrow.hop_time(0.01, 2.5, STANDARD_GRAVITY)
    assert furrow.hop_time(0.02, 2.5, STANDARD_GRAVITY) == pytest.approx(2 * once)
    assert furrow.hop_time(0.01, 5.0, STANDARD_GRAVITY) == pytest.approx(2 * once)


@pytest.mark.parametrize("degrees", [0, 20, 30, 45, 60])
def test_a_curve_makes_no_speed_and_takes_none(degrees):
    """Squares of the downward and the rearward part add up; at 60 degrees half is downward."""
    down, back = (
        part(3.0, math.radians(degrees)) for part in (furrow.downward_speed, furrow.rearward_speed)
    )
    assert down**2 + back**2 == pytest.approx(9.0)
    assert degrees != 60 or down == pytest.approx(1.5)
    assert degrees == 0 or down < 3.0


def test_a_curved_tube_keeps_the_speed_and_turns_it():
    """A straight tube throws nothing back, one that ends level throws back at full speed."""
    assert furrow.rearward_speed(3.0, 0.0) == 0
    assert furrow.rearward_speed(3.0, math.pi / 2) == pytest.approx(3.0)
    assert furrow.rearward_speed(3.0, math.radians(30)) == pytest.approx(1.5)
