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


def test_a_seed_held_by_a_hair_bears_half_a_hole():
    """At the vacuum that just holds it, half a hole diameter unseats a seed."""
    assert singulator.unseating_push(4.5e-3, 1.0) == pytest.approx(2.25e-3)


def test_four_times_the_vacuum_bears_twice_the_push():
    """The push that a seat bears grows with the root of the vacuum and with the hole."""
    assert singulator.unseating_push(4.5e-3, 4.0) == pytest.approx(
        2 * singulator.unseating_push(4.5e-3, 1.0)
    )
    assert singulator.unseating_push(9e-3, 2.0) == pytest.approx(
        2 * singulator.unseating_push(4.5e-3, 2.0)
    )


def leaves(push, unseating=3e-3):
    """Chance that one tooth takes a seed."""
    return ndtr(singulator.unseating_deviate(push, unseating, USUAL.push_spread))


def test_the_unseating_push_takes_half_of_the_seeds():
    """Half leave at the unseating push; 84.13 % leave one spread above it."""
    assert leaves(3e-3) == pytest.approx(0.5)
    assert leaves(3e-3 * (1 + USUAL.push_spread)) == pytest.approx(0.841345, abs=1e-6)


def test_seeds_that_the_edge_does_not_touch_stay():
    """Without contact hardly one seed in 30,000 leaves, clear of the edge none."""
    assert leaves(0.0) < 1 / 30_000
    assert leaves(-3e-3) < 1e-12


def test_more_push_takes_more_seeds():
    """The chance to leave grows with the push and falls with what the seat bears."""
    assert np.all(np.diff(leaves(np.linspace(-1e-3, 6e-3, 50))) > 0)
    assert leaves(3e-3, 2e-3) > leaves(3e-3, 4e-3)


def test_a_drawn_tooth_takes_as_many_as_its_chance():
    """A standard normal draw below the deviate means leaving: the share is the chance."""
    push, unseating, trials = 2.7e-3, 3e-3, 200_000
    # every seat bears its own push, normal about the unseating one
    bears = np.random.default_rng(2).normal(unseating, USUAL.push_spread * unseating, trials)
    share, chance = np.mean(push > bears), leaves(push)
    error = np.sqrt(chance * (1 - chance) / trials)
    assert abs((share - chance) / error) < 4
    assert abs((share - leaves(1.02 * push)) / error) > 4  # control: 2 % more push is seen
