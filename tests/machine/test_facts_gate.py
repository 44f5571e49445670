"""Gate and pool: flow of grain, arches counted in runs, and what a heap knocks off."""

import math

import numpy as np
import pytest

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine import losses
from metersim.machine.gate import excess_arc
from metersim.machine.moment import Moment
from metersim.machine.stations import stations_of
from tests.facts import AT, first_of, meter, off_chances, sown, tuned

AT_REST = Moment("gate")  # a usual gate asks nothing of it

LOT = meter().lot


def gate_of(coefficients=AT, **changes):
    """The gate of the bench with some changes."""
    return stations_of(meter(**changes), coefficients).gate


# ---------------------------------------------------------------- flow


@pytest.mark.parametrize("factor", [0.8, 1.2])
def test_what_a_station_passes_is_the_flow_law_at_its_own_coefficients(factor):
    """Flow goes with the side factor; a dead zone as wide as the gate stops it."""
    usual = gate_of().flow(AT_REST)
    assert gate_of(tuned(side_outlet=0.4)).flow(AT_REST) == pytest.approx(
        0.4 / AT.side_outlet * usual
    )
    dead = factor * 1.5
    free = [0.05 / LOT.gmd - k for k in (dead, AT.orifice_dead_zone)]
    wide = [0.18 / LOT.gmd - k for k in (dead, AT.orifice_dead_zone)]
    ratio = (free[0] / free[1]) ** 1.5 * wide[0] / wide[1]
    at, usual = (
        gate_of(k, pool__gate_opening=0.05).flow(AT_REST)
        for k in (tuned(orifice_dead_zone=dead), AT)
    )
    assert at / usual == pytest.approx(ratio)


# ---------------------------------------------------------------- arches

# A small disc, of which many turns are few cells; the gate is narrow enough to arch.
GATE = {
    "disc__cells": 6,
    "disc__circle_radius": 0.05,
    "pool__carry_line": 0.08,
    "pool__pool_depth": 0.006,
    "pool__hopper": 60.0,
    "run__turns": 3000,
    "run__tick": 0.25,
    "vacuum__vacuum": 0.0,  # no seed is taken: quick, and the gate does not mind
    "demand__speed": 2.0,
}
ARCHES = {"arch_rate": 3.0, "arch_steepness": 2.0, "orifice_dead_zone": 1.6}


def counted(coefficients, **changes):
    """Ticks with the gate open and arched, how many of each end so, and the time of a tick."""
    run = sown(coefficients, **GATE | changes)
    arched, step = run.ticks.arched, float(np.median(np.diff(run.ticks.time)))
    now, then = arched[1:-1], arched[2:]
    return (~now).sum(), (then & ~now).sum(), now.sum(), (now & ~then).sum(), step


def off_rate(trials, ends, rate, step):
    """Distance of the ends of waits from those of exponential waits, seen at ticks, in SE."""
    return off_chances(ends, np.full(trials, -math.expm1(-rate * step)))


@pytest.mark.parametrize("sizes", [1.7, 2.0])
def test_arches_form_as_often_as_their_rate_says(sizes):
    """Seen at ticks, a wait of that mean ends with the chance 1 - exp(-rate step)."""
    found = counted(tuned(**ARCHES), pool__gate_opening=sizes * LOT.gmd)
    rate = 3.0 * math.exp(-2.0 * (sizes - 1.6))
    free, formed, _, _, step = found
    assert abs(off_rate(free, formed, rate, step)) < 4
    # negative controls: a fifth more or fewer
    assert off_rate(free, formed, 0.8 * rate, step) > 4
    assert off_rate(free, formed, 1.2 * rate, step) < -4


def test_a_narrow_gate_arches_by_its_width():
    """The smaller side of the opening decides."""
    lone = gate_of(pool__gate_opening=3 * LOT.gmd).arch_rate(AT_REST)
    both = gate_of(pool__gate_opening=0.05, pool__gate_width=3 * LOT.gmd).arch_rate(AT_REST)
    assert both == pytest.approx(lone)
    sizes = 3 - AT.orifice_dead_zone
    assert lone == pytest.approx(AT.arch_rate * math.exp(-AT.arch_steepness * sizes))


FIELD = {"furrow__surface": "field", "row_unit__shock_per_speed": 0.4 * GRAVITY}


@pytest.mark.parametrize(("shaking", "shock"), [({}, 0.0), (FIELD, 0.4 * 2.0)])
def test_arches_clear_by_themselves_and_by_shocks(shaking, shock):
    """At the rate at rest, and at that and so much a g of vibration: 0.4 g per m/s at 2 m/s."""
    k = tuned(**ARCHES, arch_clearing=0.6, arch_clearing_by_shock=1.5)
    _, _, arched, cleared, step = counted(k, pool__gate_opening=1.8 * LOT.gmd, **shaking)
    rate = 0.6 + 1.5 * shock
    assert abs(off_rate(arched, cleared, rate, step)) < 4
    assert off_rate(arched, cleared, 0.8 * rate, step) > 4
    assert off_rate(arched, cleared, 1.2 * rate, step) < -4


def test_seeds_do_not_get_lost_between_hopper_and_row():
    """Hopper and pool at any tick, and what lies in the row at the end, are what was filled in."""
    run = sown(pool__hopper=0.3, run__turns=60)
    filled = int(0.3 / LOT.seed_mass)
    left = run.ticks.pool[-1] + run.ticks.hopper[-1]
    assert left + len(run.seeds) == filled
    gate = gate_of()
    corner = (
        gate.width
        * gate.depth
        * gate.seeds_per_volume
        * gate.depth
        * math.tan(LOT.repose_angle)
        / 2
    )
    assert left < corner + 10  # hardly a seed within reach stays in a pool that runs dry
    dry = run.cells.reason == losses.POOL_EMPTY
    assert dry[-500:].mean() > 0.99 and not dry[:500].any()  # but for blocked cells
    assert run.cells.released.sum() == len(run.seeds)


# ---------------------------------------------------------------- knocked


def heap_arc(level, line, radius):
    """Way of a hole through the heap above the carry line, on the rising side. [m]"""
    return radius * (math.acos(1 - level / radius) - math.acos(1 - line / radius))


HIGH = {"pool__gate_opening": 0.072, "singulator__notch": -5.0, "run__turns": 300}


@pytest.mark.parametrize("knock", [0.2, 0.6])
def test_a_heap_knocks_off_the_share_of_an_exponential_law(knock):
    """Of seeds passed, each with the chance knock at a vacuum that just holds: all are counted.

    What each seed needs is that of the same seeds where nothing knocks.
    """
    spared = sown(tuned(knock=0.0), **HIGH)
    run = sown(tuned(knock=knock), **HIGH)
    level = HIGH["pool__gate_opening"] - 0.025 * math.tan(LOT.repose_angle)
    passed = heap_arc(level, 0.05, 0.11) / LOT.gmd
    alone = (spared.cells.joined == 1) & (spared.cells.released == 1)
    needs = first_of(spared, "needed")[alone]
    knocks = knock * passed * needs / spared.scenario.vacuum.vacuum
    lost = (run.cells.reason == losses.KNOCKED)[alone].sum()
    assert lost > 100
    assert abs(off_chances(lost, -np.expm1(-knocks))) < 4
    # negative controls: a fifth more or less
    assert off_chances(lost, -np.expm1(-0.8 * knocks)) > 4
    assert off_chances(lost, -np.expm1(-1.2 * knocks)) < -4


def test_no_heap_knocks_below_the_carry_line():
    """The same gate below a line as high as its heap takes nothing."""
    run = sown(tuned(knock=2.0), **HIGH | {"pool__carry_line": 0.08})
    assert run.cells.knocked.sum() == 0
    assert excess_arc(0.07, 0.05, 0.18, 0.11) == pytest.approx(heap_arc(0.07, 0.05, 0.11))
