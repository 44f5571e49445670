"""Gate and pool: flow through a slot, levels and the arc that cells sweep."""

import math

import numpy as np
import pytest

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import USUAL
from metersim.machine.gate import (
    arc_within,
    arch_rate,
    excess_arc,
    knock_chance_scale,
    slot_flow,
    swept_arc,
)
from metersim.machine.heap import (
    heap_volume,
    level_at_disc,
    level_seen,
    slope,
    static_level,
    volume_at_level,
)
from metersim.machine.seedlot import load_lot

K, SIDE = USUAL.orifice_dead_zone, USUAL.side_outlet
GMD, BULK = 7e-3, 750.0  # maize-like, constructed
RADIUS = 0.11


def flow(opening, width=0.1, gravity=GRAVITY, side=SIDE):
    """Mass flow of the constructed seed."""
    return slot_flow(opening, width, BULK, gravity, GMD, K, side)


# flow (beverloo1961, slot form of myers, side factor of chang1991)


def test_flow_by_hand():
    """A slot whose free height is 40 mm and free width 90 mm, worked out by hand (derived)."""
    opening, width = 0.04 + K * GMD, 0.09 + K * GMD
    assert flow(opening, width, 9.81, 0.5) == pytest.approx(
        0.5 * 1.03 * 750 * 3.132092 * 0.09 * 0.008, rel=1e-6
    )


@pytest.mark.parametrize("share", [0.0, 0.5, 0.999, 1.0])
def test_nothing_flows_below_the_dead_zone(share):
    """Openings or widths up to k seed sizes pass nothing."""
    assert flow(share * K * GMD) == 0
    assert flow(0.05, width=share * K * GMD) == 0


def test_flow_starts_at_the_dead_zone():
    """Just above k seed sizes something flows."""
    assert flow(1.01 * K * GMD) > 0


def test_exponent_far_above_the_dead_zone():
    """A large opening passes with the power 1.5 of its height; the exponent falls to it."""
    openings = 10.0 ** np.arange(-1, 4)
    exponents = np.log(flow(1.001 * openings) / flow(openings)) / np.log(1.001)
    assert np.all(np.diff(exponents) < 0)
    assert exponents[-1] == pytest.approx(1.5, abs=1e-4)
    assert np.all(exponents > 1.5)


def test_exponent_of_the_free_opening():
    """In what is left of the opening the power is 1.5 exactly, in the width 1."""
    dead = K * GMD
    assert flow(dead + 0.04) == pytest.approx(8 * flow(dead + 0.01))
    assert flow(0.05, dead + 0.06) == pytest.approx(3 * flow(0.05, dead + 0.02))


def test_flow_goes_with_the_root_of_gravity():
    """Four times the gravity, twice the flow."""
    assert flow(0.05, gravity=4 * GRAVITY) == pytest.approx(2 * flow(0.05))


def test_a_side_opening_passes_its_share():
    """A vertical outlet passes 0.37 to 0.50 of a horizontal one (chang1991, read)."""
    assert 0.37 <= SIDE <= 0.50
    assert flow(0.05) / flow(0.05, side=1.0) == pytest.approx(SIDE)


def test_a_usual_gate_passes_far_more_than_a_disc_takes():
    """An ordinary gate passes over a hundred times the 5 g/s that maize asks for."""
    lot = load_lot("maize_large_flat")
    passed = slot_flow(0.052, 0.1, lot.bulk_density, GRAVITY, lot.gmd, K, SIDE)
    assert passed > 100 * 5e-3


# arches


def test_arch_rate_falls_by_its_steepness():
    """At k seed sizes it is the given rate; each further seed size lowers ln by the steepness."""
    opening = GMD * (K + np.arange(4))
    rate = arch_rate(opening, GMD, K, 1.7, 3.0)
    assert rate[0] == pytest.approx(1.7)
    assert np.diff(np.log(rate)) == pytest.approx(-3.0)


def test_arch_rate_knows_no_unit():
    """Only the ratio of opening to seed matters."""
    assert arch_rate(0.02, GMD, K, 1.0, 3.0) == pytest.approx(arch_rate(0.04, 2 * GMD, K, 1.0, 3.0))


# levels


def test_level_lies_a_slope_below_the_lip():
    """At 45 degrees the level lies as far below the lip as the disc is away; flat seed fills up."""
    assert static_level(0.05, 0.02, 1.0) == pytest.approx(0.03)
    assert static_level(0.05, 0.02, 0.0) == 0.05


def test_a_low_gate_gives_no_level():
    """A lip below the run of the slope keeps the disc dry."""
    assert static_level(0.01, 0.02, 1.0) == 0


def test_steeper_seed_stands_lower():
    """The level falls with the angle of repose and rises with the gate."""
    slopes = np.tan(np.radians([15, 20, 30, 40]))
    assert np.all(np.diff(static_level(0.05, 0.02, slopes)) < 0)
    assert np.all(np.diff(static_level(np.array([0.03, 0.04, 0.05]), 0.02, 0.4)) > 0)


def test_the_heap_is_a_wedge():
    """Its mean height lies half way from the level at the disc to the lip."""
    level = static_level(0.05, 0.02, 0.5)
    assert heap_volume(0.05, 0.02, 0.5, 0.1) == pytest.approx(0.02 * 0.1 * (level + 0.05) / 2)
    # a low lip: a triangle that ends before the disc
    assert heap_volume(0.004, 0.02, 0.5, 0.1) == pytest.approx(0.1 * 0.004 * 0.008 / 2)


@pytest.mark.parametrize("opening", [0.01, 0.02, 0.05])
def test_level_and_volume_are_of_one_heap(opening):
    """The volume up to the lip gives the level below the lip, and back."""
    volume = heap_volume(opening, 0.02, 0.5, 0.1)
    level = static_level(opening, 0.02, 0.5)
    assert level_at_disc(volume, 0.02, 0.5, 0.1) == pytest.approx(level, abs=1e-15)
    assert volume_at_level(level, 0.02, 0.5, 0.1) == pytest.approx(volume)


def test_the_corner_is_out_of_reach():
    """A heap of no more than the corner has no level at the disc."""
    corner = volume_at_level(0.0, 0.02, 0.5, 0.1)
    assert np.all(level_at_disc(corner * np.array([0.0, 0.5, 1.0]), 0.02, 0.5, 0.1) == 0)
    assert level_at_disc(1.1 * corner, 0.02, 0.5, 0.1) > 0


def test_vibration_lowers_a_slope():
    """At rest it is the tangent; with shocks less, and never nothing."""
    assert slope(math.radians(30), 0.0, 0.5) == pytest.approx(1 / math.sqrt(3))
    shaken = slope(0.4, np.array([0.0, 0.5, 2.0, 50.0]), 0.5)
    assert np.all(np.diff(shaken) < 0) and shaken[-1] > 0


# arcs


@pytest.mark.parametrize(
    ("level", "arc"),
    [(0.0, 0.0), (RADIUS, math.pi * RADIUS), (2 * RADIUS, 2 * math.pi * RADIUS)],
)
def test_arc_at_known_levels(level, arc):
    """Nothing, half of the circle, all of it."""
    assert swept_arc(level, RADIUS) == pytest.approx(arc)


def test_arc_ends_with_the_circle():
    """A level below the circle covers nothing, one above it everything."""
    assert swept_arc(-0.01, RADIUS) == 0
    assert swept_arc(3 * RADIUS, RADIUS) == pytest.approx(2 * math.pi * RADIUS)


@pytest.mark.parametrize("level", [0.003, 0.04, 0.1, 0.15, 0.21])
def test_arc_is_the_part_of_the_circle_below_the_level(level):
    """Of many points evenly on the circle, that share lies below the level."""
    way = 2 * np.pi * (np.arange(1_000_000) + 0.5) / 1_000_000
    below = np.mean(RADIUS * (1 - np.cos(way)) < level)
    assert swept_arc(level, RADIUS) == pytest.approx(2 * np.pi * RADIUS * below, rel=1e-4)


def test_excess_is_one_side_of_what_the_carry_line_leaves_out():
    """Both sides of the excess and the arc up to the carry line make the whole arc."""
    level, carry_line = 0.07, 0.05
    excess = excess_arc(level, carry_line, 1.0, RADIUS)
    assert 2 * excess + swept_arc(carry_line, RADIUS) == pytest.approx(swept_arc(level, RADIUS))


def test_no_excess_up_to_the_carry_line():
    """Nothing up to the line, and no jump at it."""
    assert np.all(excess_arc(np.array([0.0, 0.03, 0.05]), 0.05, 1.0, RADIUS) == 0)
    assert 0 < excess_arc(0.05 + 1e-9, 0.05, 1.0, RADIUS) < 1e-7


def test_a_heap_above_the_line_is_no_longer_than_half_of_the_pool():
    """However high it stands; a narrow pool has a short one."""
    long = excess_arc(np.array([0.1, 0.15, 0.22, 0.3]), 0.01, 0.05, RADIUS)
    assert long == pytest.approx(arc_within(0.05, RADIUS) / 2)


def test_knocks_go_with_the_seeds_passed():
    """Twice the heap, or seeds half as large, knock twice as often."""
    once = knock_chance_scale(0.02, GMD, 0.15)
    assert knock_chance_scale(0.04, GMD, 0.15) == pytest.approx(2 * once)
    assert knock_chance_scale(0.02, GMD / 2, 0.15) == pytest.approx(2 * once)
    assert knock_chance_scale(0.0, GMD, 0.15) == 0


def test_a_pool_covers_no_more_of_the_circle_than_it_is_wide():
    """The arc's chord is the width; a pool wider than the circle covers half of it."""
    arc = arc_within(np.array([0.0, 0.1, 0.22, 1.0]), 0.11)
    assert 2 * 0.11 * np.sin(arc / (2 * 0.11)) == pytest.approx([0.0, 0.1, 0.22, 0.22])
    assert arc[-1] == pytest.approx(np.pi * 0.11)


# the level that the disc sees


@pytest.mark.parametrize("full", [0.0005, 0.003, 0.0137, 0.05])
def test_the_disc_sees_halves_of_a_seed_from_the_full_level(full):
    """A full pool is seen as it is; another one at most a quarter of a seed off, in half seeds."""
    levels = np.linspace(1e-4, 1.4, 1000) * full
    seen = level_seen(levels, full, GMD)
    assert level_seen(full, full, GMD) == full
    assert np.all(np.diff(seen) >= 0) and np.all(seen > 0)
    whole = seen > GMD / 4  # below, the least level that is seen is the level itself
    steps = (full - seen[whole]) / (GMD / 2)
    assert steps == pytest.approx(np.round(steps), abs=1e-9)
    assert np.abs(seen - levels).max() <= GMD / 4 * (1 + 1e-9)


def test_a_pool_without_seed_at_the_disc_is_seen_as_none():
    """However low a full pool is: also one that gives no level at all."""
    for full in (1e-6, 0.001, 0.002, 0.05):
        assert level_seen(0.0, full, GMD) == level_seen(-0.01, full, GMD) == 0
        assert level_seen(1e-9, full, GMD) > 0
