"""Worn and wrong parts: closed forms, limits, and new parts that change nothing."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.sensor import seen_through
from metersim.machine.stations import classes_off, stations_of
from metersim.machine.wear import (
    leak_flow,
    seed_class,
    thin_share,
    vacuum_left,
    whole_decay_arc,
)
from metersim.run.simulation import simulate
from metersim.run.snapshot import snapshot
from tests.strategies import BENCH, LOTS

WORN = BENCH.replace(
    singulator__edge_wear=0.5,
    guide__inner_gap=1.5e-3,
    guide__inner_wear=1.0,
    cutoff__cutoff_wear=0.25,
    cutoff__made_for="small",
)


def test_edges_recede_and_their_teeth_push_less_evenly():
    worn, new = stations_of(WORN).singulator, stations_of(BENCH).singulator
    assert worn.offset - new.offset == pytest.approx(USUAL.edge_recession / 2)
    rim = BENCH.disc.hole_diameter / 2
    assert worn.inner == pytest.approx(rim + 1.5e-3 + USUAL.edge_recession)
    assert worn.push_spread / new.push_spread == pytest.approx(1 + USUAL.uneven_teeth / 2)
    assert new.push_spread == USUAL.push_spread


def test_an_inner_edge_that_is_not_there_does_not_wear():
    assert stations_of(BENCH.replace(guide__inner_wear=1.0)).singulator.inner == math.inf


def test_a_worn_and_wrong_cut_off_adds_arcs():
    """Maize is large: a part for small seed is wrong by two classes."""
    arc = stations_of(WORN).release.whole_arc
    assert arc == pytest.approx(USUAL.worn_arc / 4 + 2 * USUAL.wrong_arc)
    assert stations_of(BENCH).release.whole_arc == 0.0
    # no seed is held until its hole enters the pool again
    assert whole_decay_arc(0.5, 1.0, 2, USUAL.worn_arc, USUAL.wrong_arc) == math.pi / 6


@pytest.mark.parametrize(
    ("lot", "suited"),
    [("canola", 0), ("sorghum", 0), ("sugar_beet_pelleted", 0), ("wheat", 0), ("soybean", 1),
     ("sunflower", 1), ("cotton", 1), ("maize_large_flat", 2), ("maize_small_round", 2)],
)  # fmt: skip
def test_classes_of_seed(lot, suited):
    assert seed_class(LOTS[lot].gmd) == suited


@pytest.mark.parametrize(("part", "off"), [("any", 0), ("small", 2), ("medium", 1), ("large", 0)])
def test_how_wrong_a_cut_off_is(part, off):
    assert classes_off(BENCH.replace(cutoff__made_for=part)) == off


def test_vacuum_that_leaks_leave():
    k = USUAL.worn_seal, USUAL.open_chamber
    assert vacuum_left(0.0, False, *k) == 1.0
    assert vacuum_left(1.0, False, *k) == pytest.approx(1 - USUAL.worn_seal)
    assert vacuum_left(0.0, True, *k) == pytest.approx(USUAL.open_chamber)
    leaky = BENCH.replace(vacuum__seal_wear=0.5, vacuum__chamber_open=True)
    left = (1 - USUAL.worn_seal / 2) * USUAL.open_chamber
    assert stations_of(leaky).pickup.vacuum_share == pytest.approx(left)
    # where a fan is described, the air says what leaks take
    assert stations_of(leaky.replace(fan__shut_off=9e3)).pickup.vacuum_share == 1.0


def test_rims_act_like_less_vacuum_at_their_holes():
    bad = BENCH.replace(disc__worn_holes="2", disc__chipped_holes="every 10")
    turns = np.arange(30) / 30
    usual, worn = (
        stations_of(one).pickup.at_hole(4e3, 0.0, turns, np.arange(30)) for one in (BENCH, bad)
    )
    part = np.ones(30)
    part[1], part[[9, 19, 29]] = USUAL.worn_rim, USUAL.chipped_rim
    assert worn / usual == pytest.approx(part)
    alone = stations_of(bad).pickup.at_hole(4e3, 0.0, float(turns[9]), 9)
    assert float(alone) == pytest.approx(worn[9], rel=1e-14)


def test_a_disc_back_to_front_seals_worse_and_does_not_stir():
    right, wrong = (
        stations_of(BENCH.replace(disc__wrong_way_round=way, disc__agitation=1.0)).pickup
        for way in (False, True)
    )
    at = Moment(speed=0.3, level=0.03)
    one, other = (pickup.chances(4e3, at) for pickup in (right, wrong))
    assert one.needed / other.needed == pytest.approx(USUAL.wrong_side_seal)
    assert wrong.slowness / right.slowness == pytest.approx(USUAL.agitation_gain)
    assert other.rate < one.rate


def test_dust_hides_the_same_share_every_hour():
    chances = seen_through(0.9, 0.1, np.array([0.0, 1.0, 2.0]))
    assert chances == pytest.approx([0.9, 0.81, 0.729])
    sensor = BENCH.replace(sensor__dust_per_hour=0.1, sensor__hours_since_brushing=2.0)
    assert stations_of(sensor).sensor.detects(None) == pytest.approx(0.81 * BENCH.sensor.detection)


@pytest.mark.parametrize(
    "coefficient",
    ["worn_rim", "chipped_rim", "wrong_side_seal", "worn_seal", "open_chamber", "edge_recession",
     "uneven_teeth", "worn_arc", "wrong_arc"],
)  # fmt: skip
def test_new_parts_do_not_depend_on_what_wear_does(coefficient):
    """Every number of every station is as it was; with worn parts some number moves (control)."""
    other = dataclasses.replace(USUAL, **{coefficient: 1.1 * getattr(USUAL, coefficient)})

    def numbers(scenario, k):
        made = stations_of(scenario, k)
        pickup, edge = made.pickup, made.singulator
        return (*pickup.rims, pickup.vacuum_share, pickup.seal, edge.offset, edge.inner,
                edge.push_spread, made.release.whole_arc)  # fmt: skip

    worn = WORN.replace(disc__worn_holes="2", disc__chipped_holes="3", disc__wrong_way_round=True,
                        vacuum__seal_wear=1.0, vacuum__chamber_open=True)  # fmt: skip
    assert numbers(BENCH, other) == numbers(BENCH, USUAL)
    assert numbers(worn, other) != numbers(worn, USUAL)


# ---------------------------------------------------------------- leaking seed

CLEARANCE = 4.4e-3


def leak_of(clearance, **changes):
    """Seeds a second that leak out of the bench's pool."""
    return float(stations_of(BENCH.replace(pool__clearance=clearance, **changes)).gate.leak(None))


def test_the_seeds_that_leak_are_those_thinner_than_the_slot():
    """By hand: the trickle of half the seeds at a slot as high as the mean seed is thick."""
    lot = BENCH.lot
    full = USUAL.side_outlet * 1.03 * lot.bulk_density * math.sqrt(GRAVITY)
    full *= BENCH.pool.gate_width * lot.thickness**1.5 / lot.seed_mass
    assert leak_of(lot.thickness) == pytest.approx(USUAL.trickle * full / 2)
    # a slot that no seed closes passes what a gate of its height does
    wide = 4 * lot.gmd
    gate = stations_of(BENCH.replace(pool__gate_opening=wide)).gate
    assert float(leak_flow(1.0, 0.0, 3.0, USUAL.trickle)) == 3.0
    alone = dataclasses.replace(gate, clearance=wide)
    assert float(alone.leak(None)) == pytest.approx(float(gate.flow(Moment())))


def test_thin_share_is_the_distribution_of_thickness():
    sizes = np.random.default_rng(1).lognormal(0.0, math.hypot(0.06, 0.02), 200_000)
    for slot in (4.2e-3, 4.57e-3, 4.8e-3):
        share = float(thin_share(slot, 4.57e-3, 0.06))
        found = (4.57e-3 * sizes < slot).mean()
        assert abs(found - share) < 4 * math.sqrt(share * (1 - share) / sizes.size)
    assert thin_share(0.0, 4.57e-3, 0.4) == 0.0
    assert thin_share(4.1e-3, 4.57e-3, 0.0) < 1e-6 < 1 - 1e-6 < thin_share(5.1e-3, 4.57e-3, 0.0)


def test_signs_of_a_leak():
    """A higher slot, smaller seed and a wider spread of small ones leak more; no slot nothing."""
    assert leak_of(0.0) == 0.0
    assert leak_of(4.2e-3) < leak_of(CLEARANCE) < leak_of(4.8e-3)
    assert leak_of(CLEARANCE, seed__size_factor=0.97) > leak_of(CLEARANCE)
    assert leak_of(4e-3, seed__size_cv=0.12) > leak_of(4e-3, seed__size_cv=0.04)


@pytest.mark.parametrize("engine", ["arrays", "events"])
def test_what_leaks_is_counted_and_nothing_else_is_lost(engine):
    """Whole seeds of a steady flow; all seeds are somewhere at every moment."""
    scenario = BENCH.replace(pool__clearance=CLEARANCE, run__turns=20)
    run = simulate(scenario, engine=engine)
    wanted = np.floor(leak_of(CLEARANCE) * run.ticks.time)
    assert np.abs(run.ticks.spilt - wanted).max() <= 1 and run.ticks.spilt[-1] > 100
    total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
    moments = [snapshot(run, time) for time in (0.0, 3.3, 17.0, 40.0, 1e3)]
    assert {moment.total for moment in moments} == {total}
    assert moments[-1].spilt == run.ticks.spilt[-1]
    # negative control: without what leaked, seeds are missing
    assert moments[-1].total - moments[-1].spilt < total


def test_a_wide_slot_empties_the_hopper():
    """The row ends sooner, and the last seeds leak too."""
    setting = {"pool__hopper": 0.6, "run__turns": 60}
    usual, leaky = (
        simulate(BENCH.replace(**setting, pool__clearance=slot)) for slot in (0.0, 5e-3)
    )
    assert len(leaky.seeds) < len(usual.seeds)
    total = int(0.6 / BENCH.seeds.seed_mass)
    left = leaky.ticks.pool[-1] + leaky.ticks.hopper[-1]
    assert leaky.ticks.pool[-1] == 0 and len(leaky.seeds) + leaky.ticks.spilt[-1] + left == total
