"""Measures of a pass: all rows are the sum of rows, and the start shows turn by turn."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.reading import load_scenario
from metersim.machine.stations import CUT
from metersim.measures.estimates import measure
from metersim.measures.places import mean_fall
from metersim.measures.rows import (
    OF_PLAN,
    ROW_KEYS,
    Start,
    measure_pass,
    passing_times,
    tallied_pass,
)
from metersim.run.toolbar import simulate_pass

FAN = ["shut_off_kpa=6", "free_flow_m3_h=700"]
EMPTY = ["rows=12", "shut_off_kpa=6", "free_flow_m3_h=450", "vacuum_kpa=3", "start=empty"]


def run_of(*changes, seed=1, replicate=0, name="maize_field"):
    return simulate_pass(load_scenario(name, [*FAN, *changes]), seed=seed, replicate=replicate)


@pytest.fixture(scope="module")
def passes():
    """Two replicates of three working rows out of four."""
    return [run_of("rows=4", "working=1 2 4", "turns=40", replicate=k) for k in (0, 1)]


def test_all_rows_are_the_sum_of_the_rows_and_of_the_replicates(passes):
    found = measure_pass(passes)
    assert list(found.rows) == [1, 2, 4] and list(found.vacuum) == [1, 2, 3, 4]
    for column, sums in found.whole.sums.items():
        parts = sum(one.sums[column].sum() for one in found.rows.values())
        assert sums.sum() == pytest.approx(parts, rel=1e-12), column
    seeds = sum(len(row.run.seeds) for one in passes for row in one.rows)
    cells = sum(len(row.run.cells) for one in passes for row in one.rows)
    assert (found.whole.total("seeds"), found.whole.total("cells")) == (seeds, cells)
    start = found.start
    assert start.missed.sum() == found.whole.total("none")
    assert start.doubled.sum() == found.whole.total("two") + found.whole.total("three")
    assert start.cells.sum() == cells


def test_a_row_is_measured_as_its_run_is(passes):
    """A row of a pass by itself has the values of the same run measured alone."""
    one, *_ = passes
    found, alone = measure_pass(one), measure(one.rows[1].run)
    for key in ROW_KEYS:
        assert found.rows[2][key].value == pytest.approx(alone[key].value, rel=1e-12), key


def test_passes_may_be_summed_one_by_one(passes):
    many = len(measure_pass(passes).tallies[0].rows[0].tally.sums["cells"])
    each = measure_pass([tallied_pass(one, many) for one in passes])
    assert each.whole.estimates == measure_pass(passes).whole.estimates


def test_the_vacuum_is_that_of_the_history(passes):
    found = measure_pass(passes)
    values = np.concatenate([one.air.vacuum[3] for one in passes])
    kept = found.vacuum[4]
    assert (kept.least, kept.most) == (values.min(), values.max())
    assert kept.least <= kept.middle <= kept.most
    assert found.air("flow").most == max(one.air.flow.max() for one in passes)


def test_cells_pass_the_cut_off_when_their_seeds_leave(passes):
    """A seed leaves its hole within a cell's time of the passage of its cell."""
    run = passes[0].rows[0].run
    apart = run.seeds.release_time - passing_times(run, run.seeds.cell, CUT)
    assert np.abs(apart).max() < 2 / run.scenario.cell_rate


# ---------------------------------------------------------------- the plan


@pytest.mark.slow
def test_a_disc_that_does_not_follow_the_curve_misses_the_plan_of_its_row():
    """Rows turn alike, so that an outer row gets fewer seeds on its longer way."""
    curve = ["rows=6", "turns=40", "curve_radius_m=12"]
    straight, plain, follows = (
        measure_pass(run_of(*changes))
        for changes in (
            ["rows=6", "turns=40"],
            [*curve, "follows_curve=false"],
            curve,
        )
    )
    for row in (1, 6):
        aside = (row - 3.5) * straight.scenario.demand.row_spacing
        ratio = plain.rows[row][OF_PLAN.key].value / straight.rows[row][OF_PLAN.key].value
        assert ratio == pytest.approx(1 / (1 + aside / 12), rel=0.02)
        kept = follows.rows[row][OF_PLAN.key].value / straight.rows[row][OF_PLAN.key].value
        assert kept == pytest.approx(1, abs=0.02)  # negative control


def test_a_rate_that_changes_is_planned():
    found = measure_pass(run_of("rows=2", "turns=60", "rates=50 m 60000/ha"))
    for one in found.rows.values():
        assert one[OF_PLAN.key].value == pytest.approx(1, abs=0.03)
        assert one["placed.per_area"].value < 0.95 * found.scenario.demand.rate


# ---------------------------------------------------------------- the start


def start_of(missed, cells=300):
    many = len(missed)
    return Start(
        missed=np.array(missed),
        doubled=np.zeros(many, dtype=int),
        cells=np.full(many, cells),
        vacuum=np.full(many, 4e3),
        ends=np.arange(1.0, many + 1),
        first=0.0,
    )


@pytest.mark.parametrize(
    ("missed", "turns"),
    [
        ([60, 20, 3, 2, 4, 3, 2, 3], 2),
        ([3, 60, 3, 2, 4, 3, 2, 3], 0),  # not from the start
        ([3, 4, 3, 2, 4, 3, 2, 3], 0),
        ([60, 3, 3], 0),  # too short
    ],
)
def test_turns_that_miss_more_are_counted_from_the_start(missed, turns):
    assert start_of(missed).turns == turns


def test_settled_rows_rarely_seem_to_have_a_start():
    """The first turn of a settled row is taken for a start in one of 100 cases at most."""
    rng = np.random.default_rng(5)
    alarms = sum(start_of(rng.binomial(360, 0.02, 24), 360).turns > 0 for _ in range(2000))
    assert alarms / 2000 < 0.01 + 4 * math.sqrt(0.01 * 0.99 / 2000)
    found = sum(
        start_of(np.concatenate(([30], rng.binomial(360, 0.02, 23))), 360).turns > 0
        for _ in range(100)
    )
    assert found == 100  # negative control


@pytest.mark.slow
def test_empty_discs_miss_seeds_at_first_and_filled_ones_do_not():
    empty = measure_pass(
        simulate_pass(load_scenario("maize_field", [*EMPTY, "turns=12"]), seed=1)
    ).start
    filled = measure_pass(
        simulate_pass(
            load_scenario("maize_field", [*EMPTY[:-1], "start=filled", "turns=12"]), seed=1
        )
    ).start
    assert empty.turns > 0 == filled.turns
    assert empty.vacuum[0] < 0.7 * empty.vacuum[-1]
    assert filled.vacuum[0] > 0.9 * filled.vacuum[-1]


# ---------------------------------------------------------------- stops and rates of a pass


def z_of(one, other, column):
    """Difference of two shares of spacings over its error, from the spread between stretches."""
    shares, variance = [], 0.0
    for found in (one, other):
        top, bottom = found.sums[column], found.sums["spacings"]
        share, many = top.sum() / bottom.sum(), len(top)
        shares.append(share)
        rest = top - share * bottom
        variance += many / (many - 1) * (rest**2).sum() / bottom.sum() ** 2
    return (shares[1] - shares[0]) / math.sqrt(variance)


def in_metres(done):
    """The same pass, judged as if nothing changed along it."""
    rows = []
    for row in done.rows:
        scenario = row.run.scenario.replace(travel__off="none", travel__rates="steady")
        rows.append(dataclasses.replace(row, run=dataclasses.replace(row.run, scenario=scenario)))
    return dataclasses.replace(done, rows=tuple(rows))


@pytest.mark.slow
def test_a_pass_with_stops_and_rates_has_the_indices_of_a_steady_one():
    """The rate falls and rises about the usual one, so that the mean index stays nearly the same.

    Judged in metres, the same seeds fail.
    """
    steady = measure_pass(run_of("rows=6", "turns=60", seed=1))
    rates = "40 m 82000/ha, 80 m 78000/ha, 120 m 80000/ha"
    done = run_of(
        "rows=6", "turns=60", f"rates={rates}", "off=60 m to 64 m, 140 m to 150 m", seed=2
    )
    planned, metres = measure_pass(done), measure_pass(in_metres(done))
    for column in ("class1", "class2", "class3", "class4"):
        assert abs(z_of(steady.whole, planned.whole, column)) < 4, column
    gaps = [found.whole.sums["class5"].sum() for found in (steady, planned, metres)]
    assert gaps[2] >= gaps[1] + 12  # negative control: two gaps in each of six rows
    assert mean_fall(done.rows[0].run.seeds) > 0
