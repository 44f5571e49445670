"""The vacuum at which a share of the cells leaves the pool empty: closed form, and runs at it."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.stations import stations_of
from metersim.questions.evidence.predictions import HIGHEST, LOWEST, critical_vacuum
from metersim.run.simulation import simulate
from tests.byhand import left_empty
from tests.strategies import BENCH, LOTS, pool_of

CLEAR = dataclasses.replace(
    USUAL, blocked=0.0, hole_spread=0.0, run_out=0.0, avalanche_angle=0.0
)  # every cell meets the pool that the closed form has
SHARES = [0.9, 0.3, 0.05, 0.01]
METERS = {
    "bench": {},
    "shaken": {"furrow__surface": "field", "row_unit__shock_per_speed": 2.0},
    "small holes": {"disc__hole_diameter": 3.2e-3},
    "fast": {"demand__speed": 4.0},
    "low pool": pool_of(0.5),
}


def empty_at(scenario, vacuum, stations=None):
    """By hand: the hole lost its last seed, or gained none."""
    stations = stations or stations_of(scenario)
    level = stations.gate.level(stations.gate.full(Moment()))
    chances = stations.pickup.chances(vacuum, Moment(speed=scenario.peripheral_speed, level=level))
    return left_empty(chances.gain, chances.loss, chances.zone)


@pytest.mark.parametrize("changes", METERS.values(), ids=METERS)
@pytest.mark.parametrize("share", SHARES)
def test_it_leaves_the_share_that_was_asked_for(changes, share):
    scenario = BENCH.replace(**changes)
    vacuum = critical_vacuum(scenario, share)
    assert LOWEST < vacuum < HIGHEST
    assert empty_at(scenario, vacuum) == pytest.approx(share, rel=1e-4)
    # negative control
    assert empty_at(scenario, 1.01 * vacuum) != pytest.approx(share, rel=1e-4)


@pytest.mark.parametrize("changes", METERS.values(), ids=METERS)
@pytest.mark.parametrize("share", [0.5, 0.05])
def test_a_run_at_it_leaves_that_share_empty(changes, share):
    scenario = BENCH.replace(run__turns=100, **changes)
    stations = stations_of(scenario, CLEAR)

    def off(factor):
        """Distance of the share of empty cells at a multiple of the vacuum, in SE."""
        vacuum = factor * critical_vacuum(scenario, share, stations)
        run = simulate(scenario.replace(vacuum__vacuum=vacuum), seed=3, stations=stations)
        empty = run.cells.joined == 0
        return (empty.mean() - share) / math.sqrt(share * (1 - share) / len(empty))

    assert abs(off(1.0)) < 4
    # negative controls: a quarter less or more
    assert off(0.75) > 4
    assert off(1.25) < -4


def test_what_is_set_for_the_vacuum_does_not_matter():
    found = {critical_vacuum(BENCH.replace(vacuum__vacuum=v), 0.02) for v in (0.0, 1e3, 12e3)}
    assert len(found) == 1


def test_fewer_empty_cells_take_more_vacuum():
    found = [critical_vacuum(BENCH, share) for share in (0.9, 0.5, 0.1, 0.02, 1e-4)]
    assert np.all(np.diff(found) > 0)


@pytest.mark.parametrize(
    "changes",
    [
        {"demand__speed": 3.0},
        {"seed__size_factor": 1.2},
        {"disc__hole_diameter": 3.6e-3},
        {"disc__agitation": 0.0},
        {"disc__cells": 24},
        pool_of(0.5),
    ],
)
def test_what_makes_picking_harder_takes_more_vacuum(changes):
    """Faster, heavier seed, smaller holes, a smooth disc, fewer cells, a pool below the zone."""
    assert critical_vacuum(BENCH.replace(**changes), 0.02) > 1.01 * critical_vacuum(BENCH, 0.02)


def test_heavier_seed_takes_vacuum_in_proportion():
    """At one size of seed and hole, all that mass enters is the vacuum needed."""
    heavy = dataclasses.replace(LOTS["maize_large_flat"], seed_mass=1.1 * BENCH.lot.seed_mass)
    scenario = dataclasses.replace(BENCH, lot=heavy)
    ratio = critical_vacuum(scenario, 0.02) / critical_vacuum(BENCH, 0.02)
    assert ratio == pytest.approx(1.1, rel=1e-3)  # but for the level of a pool of whole seeds


def test_a_pool_that_cannot_give_so_many_seeds_takes_all_there_is():
    """An empty pool: the highest vacuum; hardly a cell to be filled: the lowest."""
    dry = BENCH.replace(pool__gate_opening=5e-3)
    gate = stations_of(dry).gate
    assert gate.level(gate.full(Moment())) == 0
    assert critical_vacuum(dry, 0.5) == HIGHEST
    usual = stations_of(BENCH)
    wide = dataclasses.replace(usual.pickup, hole_diameter=0.1)  # whatever lies there holds
    stations = dataclasses.replace(usual, pickup=wide)
    assert critical_vacuum(BENCH, 1 - 1e-15, stations) == LOWEST
