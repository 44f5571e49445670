"""Runs with a running gap and a drive under load: both engines, vacuum, pattern, spacings."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.load import turning_of
from metersim.machine.stations import CUT, stations_of
from metersim.machine.turning import vacuum_past_gap
from metersim.run.course import Course
from metersim.run.draws import HoleDraws, SlipDraws
from metersim.run.simulation import simulate
from metersim.run.streams import Streams
from tests.strategies import BENCH, bytes_of, measured, ran, unlike, z_between

LEAKING = {"gap__running_gap": 7.8e-4, "vacuum__vacuum": 3e3}
SLOWED = {"drive__kind": "oil", "drive__oil_droop": 0.3, "gap__running_gap": 2.5e-4}
WEAK = {"gap__running_gap": 1e-4, "gap__rated_torque": 1.0}


@pytest.mark.parametrize("changes", [LEAKING, SLOWED, WEAK, {"drive__kind": "oil"}])
def test_both_engines_leave_the_same_records(changes):
    scenario = BENCH.replace(**changes, run__turns=8, furrow__surface="field")
    events, arrays = (simulate(scenario, engine=name) for name in ("events", "arrays"))
    assert unlike(events, arrays) == []
    assert unlike(events, simulate(scenario.replace(gap__running_gap=None, drive__kind="electric")))


def test_without_a_running_gap_nothing_changes():
    """Whatever else the section says, to the last bit; nor with a gap in order."""
    usual = bytes_of(ran(run__turns=20))
    other = {"gap__disc_run_out": 2e-3, "gap__stiffness": 1e3, "gap__rated_torque": 0.05}
    assert bytes_of(ran(run__turns=20, **other)) == usual
    assert bytes_of(ran(run__turns=20, gap__running_gap=5e-4)) == usual
    assert bytes_of(ran(run__turns=20, **LEAKING)) != usual


def test_a_leak_acts_as_the_vacuum_that_it_leaves():
    """Without run-out it is the same as a lower vacuum."""
    leaking = {**LEAKING, "gap__disc_run_out": 0.0}
    left = vacuum_past_gap(BENCH.replace(**leaking))
    assert left < 0.9 * 3e3
    lower = ran(run__turns=40, vacuum__vacuum=left)
    assert unlike(ran(run__turns=40, **leaking), lower) == []


def test_a_leaking_gap_costs_skips():
    tight, control = (
        measured(run__turns=100, vacuum__vacuum=3e3, gap__running_gap=gap) for gap in (9e-4, 5e-4)
    )
    assert z_between(control, tight, "cells.skip") > 4


def test_a_disc_that_runs_out_skips_on_one_side():
    """On the half away from the seal, of the same leak; not where nothing leaks (control)."""

    def z_of_halves(scenario):
        still = dataclasses.replace(scenario.coefficients, hole_spread=0.0, run_out=0.0)
        run = simulate(dataclasses.replace(scenario, coefficients=still))
        skipped = run.cells.released == 0
        cell = np.arange(len(skipped)) % scenario.disc.cells
        turn = HoleDraws(Streams(1, 0), scenario.disc.cells).turns[cell]
        far = np.cos(2 * math.pi * turn) < 0
        shares = [skipped[far].mean(), skipped[~far].mean()]
        error = math.sqrt(
            sum(p * (1 - p) / n for p, n in zip(shares, (far.sum(), (~far).sum()), strict=True))
        )
        return (shares[0] - shares[1]) / error

    both = {"run__turns": 200, "vacuum__vacuum": 2e3, "gap__disc_run_out": 3e-4}
    assert z_of_halves(BENCH.replace(**both, gap__running_gap=6e-4)) > 4
    assert abs(z_of_halves(BENCH.replace(**both, gap__running_gap=3.5e-4))) < 4


@pytest.mark.parametrize("changes", [SLOWED, WEAK])
def test_a_slower_disc_widens_the_mean_spacing_by_what_it_loses(changes):
    """Cells pass the cut-off later in exactly that proportion; the seeds lie apart so."""
    scenario = BENCH.replace(**changes)
    speed = turning_of(scenario).speed
    assert speed < 0.95
    cells = np.arange(1800)
    before, after = (
        Course(one, stations_of(one).drive, SlipDraws(Streams(1, 0))).times(cells, CUT)
        for one in (BENCH, scenario)
    )
    assert after * speed == pytest.approx(before, rel=1e-12)
    usual, slow = (run.seeds for run in (ran(run__turns=60), ran(run__turns=60, **changes)))
    first, last = (function(np.intersect1d(usual.cell, slow.cell)) for function in (np.min, np.max))
    apart = [
        (one.position[one.cell == last][0] - one.position[one.cell == first][0])
        for one in (usual, slow)
    ]
    scatter = 4 * 2 * 0.05  # m, of the ends of both rows: 4 SD of no more than 5 cm
    assert apart[1] * speed == pytest.approx(apart[0], abs=scatter)
    assert abs(apart[1] - apart[0]) > 4 * scatter  # control
