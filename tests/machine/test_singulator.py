"""Singulator: where the edge stands, how far a seed reaches and when it leaves."""

import numpy as np
import pytest
from scipy.special import ndtr

from metersim.machine import singulator
from metersim.machine.coefficients import USUAL


def test_notches_move_the_edge_towards_the_holes():
    """The centre of the travel is the gap; each aggressive notch takes one step off it."""
    assert singulator.edge_offset(4.9e-3, 0.9e-3, 0) == 4.9e-3
    assert singulator.edge_offset(4.9e-3, 0.9e-3, 2) == pytest.approx(3.1e-3)
    assert singulator.edge_offset(4.9e-3, 0.9e-3, -1) == pytest.approx(5.8e-3)


@pytest.mark.parametrize("pose", [0.0, 0.2, 0.9, 1.5, -0.7, 3.0])
def test_reach_is_the_farthest_point_of_the_outline(pose):
    """No point of the turned ellipse reaches farther across the track, and one reaches as far."""
    length, width = 10.5e-3, 7.3e-3
    way = np.linspace(0, 2 * np.pi, 200_001)
    along, across = length / 2 * np.cos(way), width / 2 * np.sin(way)
    farthest = np.max(along * np.sin(pose) + across * np.cos(pose))
    assert singulator.reach_across(length, width, pose) == pytest.approx(farthest, rel=1e-9)


def test_a_round_seed_reaches_as_far_in_every_pose():
    """Pose matters to long seeds only."""
    reach = singulator.reach_across(6e-3, 6e-3, np.linspace(0, 3, 7))
    assert reach == pytest.approx(3e-3)


def bears(hole=4.5e-3, share=1.0, ratio=1.0, speed=0.3, seat=0.33, power=0.0):
    """Push that unseats a constructed seed in half of the cases."""
    return singulator.unseating_push(hole, share, ratio, speed, seat, power)


def test_a_seed_held_by_a_hair_bears_its_share_of_a_hole():
    """At the vacuum that just holds it and the usual speed, a part of a hole unseats a seed."""
    assert bears() == pytest.approx(0.33 * 4.5e-3)
    assert bears(power=0.7) == bears(power=-0.7) == bears()  # whatever the sign of speed


def test_four_times_the_vacuum_bears_twice_the_push():
    """The push that a seat bears grows with the root of the vacuum, the hole and its share."""
    assert bears(ratio=4.0) == pytest.approx(2 * bears())
    assert bears(hole=9e-3, ratio=2.0) == pytest.approx(2 * bears(ratio=2.0))
    assert bears(share=0.25) == pytest.approx(bears() / 4)


def test_speed_helps_or_hurts_a_seat_by_the_sign_of_its_power():
    """Twice the speed: twice the push at power 1, half of it at -1, the same at 0."""
    found = [bears(speed=0.6, power=power) / bears() for power in (1.0, 0.0, -1.0)]
    assert found == pytest.approx([2.0, 1.0, 0.5])


def leaves(push, unseating=3e-3):
    """Chance that one tooth takes a seed."""
    return ndtr(singulator.unseating_deviate(push, unseating, USUAL.push_spread))


def test_the_unseating_push_takes_half_of_the_seeds():
    """Half leave at the unseating push; 84.13 % leave one spread above it."""
    assert leaves(3e-3) == pytest.approx(0.5)
    assert leaves(3e-3 * np.exp(USUAL.push_spread)) == pytest.approx(0.841345, abs=1e-6)


def test_seeds_that_the_edge_does_not_touch_stay():
    """Without a push no seed leaves, however far from the edge it is; nor at a push of a hair."""
    assert leaves(0.0) == leaves(-1.5e-3) == leaves(-3e-3) < 1e-100
    assert leaves(3e-6) < 1e-60


def test_more_push_takes_more_seeds():
    """The chance to leave grows with the push and falls with what the seat bears."""
    chances = leaves(np.linspace(-1e-3, 6e-3, 50))
    assert np.all(np.diff(chances) >= 0)
    assert np.all(np.diff(leaves(np.linspace(1e-3, 6e-3, 50))) > 0)
    assert leaves(3e-3, 2e-3) > leaves(3e-3, 4e-3)


def test_a_drawn_tooth_takes_as_many_as_its_chance():
    """A standard normal draw below the deviate means leaving: the share is the chance."""
    push, unseating, trials = 2.7e-3, 3e-3, 200_000
    # every seat bears its own push, lognormal about the unseating one
    bears = np.random.default_rng(2).lognormal(np.log(unseating), USUAL.push_spread, trials)
    share, chance = np.mean(push > bears), leaves(push)
    error = np.sqrt(chance * (1 - chance) / trials)
    assert abs((share - chance) / error) < 4
    assert abs((share - leaves(1.02 * push)) / error) > 4  # control: 2 % more push is seen


# ---------------------------------------------------------------- directions

OUTER, INNER = 4.9e-3, 3.9e-3


def test_the_outer_edge_pushes_inwards_and_the_inner_one_outwards():
    """By what reaches past each of them; a seed in the middle is pushed by the nearer one."""
    push = singulator.push_of_edges
    assert push(4e-3, 2e-3, OUTER, np.inf) == pytest.approx(1.1e-3)
    assert push(4e-3, -2e-3, np.inf, INNER) == pytest.approx(2.1e-3)
    assert push(4e-3, 0.0, OUTER, INNER) == pytest.approx(0.1e-3)
    # both edges at once: the greater push; an edge that is not there pushes nothing
    assert push(4e-3, 2e-3, OUTER, INNER) == push(4e-3, 2e-3, OUTER, np.inf)
    assert push(4e-3, 0.0, np.inf, np.inf) == -np.inf


def test_an_outer_edge_never_touches_a_seed_that_sits_far_inside():
    """The further out a seed sits the more it is pushed; one far inside is out of reach."""
    outward = np.linspace(-8e-3, 8e-3, 33)
    push = singulator.push_of_edges(4e-3, outward, OUTER, np.inf)
    assert np.all(np.diff(push) > 0)
    assert np.all(push[outward < OUTER - 4e-3] < 0)
    # an inner edge alone is its mirror image
    mirrored = singulator.push_of_edges(4e-3, -outward, np.inf, OUTER)
    assert mirrored == pytest.approx(push)


def test_directions_of_second_seeds_have_their_shares():
    """Ahead 0.4, outside 0.42, behind 0.1 and inside 0.08, each evenly over its quarter."""
    ranks = (np.arange(100_000) + 0.5) / 100_000
    turn = singulator.direction_of_second(ranks)
    quarter = np.floor((turn + np.pi / 4) / (np.pi / 2)).astype(int)
    assert np.bincount(quarter) / len(ranks) == pytest.approx([0.4, 0.42, 0.1, 0.08], abs=1e-4)
    for k in range(4):
        assert turn[quarter == k].mean() == pytest.approx(k * np.pi / 2, abs=1e-3)
    assert np.all(np.diff(turn) > 0)


def test_the_two_seeds_of_a_pair_touch():
    """Their centres are the sum of both radii apart, whatever the second one covers."""
    part = np.linspace(0, 0.5, 6)
    first = singulator.first_offset(3.6e-3, part, 4.5e-3)
    second = singulator.second_offset(3.6e-3, part, 4.5e-3)
    assert first + second == pytest.approx(2 * 3.6e-3)
    # a second one that covers half of the hole has its rim at the middle, as has the first
    assert first[-1] == second[-1] == pytest.approx(3.6e-3)
    # one that covers nothing begins at the hole's rim
    assert second[0] - 3.6e-3 == pytest.approx(4.5e-3 / 2)


def test_an_inner_edge_is_measured_from_the_rims():
    assert singulator.inner_edge(4.5e-3, 1.6e-3) == pytest.approx(3.85e-3)
