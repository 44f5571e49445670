"""Signatures of faults: their signs by simulation, the chances of answers, and conservation."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, norm

import metersim as m
from metersim.machine.airline import chamber_vacuum, middle_row
from metersim.machine.load import turning_of
from metersim.machine.turning import gap_leak
from metersim.questions.shared.faults import signatures as module
from metersim.questions.shared.faults.breathing import air_of, alone, machine_around
from metersim.questions.shared.faults.fault import ALL, ONE
from metersim.questions.shared.faults.library import LIBRARY, possible_faults
from metersim.questions.shared.faults.looked import looked, monitored, pattern_of, run_of
from metersim.questions.shared.faults.observe import COUNTED, SIGNS, called, read
from metersim.questions.shared.faults.shows import SAID, gained, shown_most
from metersim.questions.shared.faults.signatures import COLUMNS, IN_ORDER, signatures
from metersim.questions.shared.looks import SENSOR, SPACED, loads, rates_of

FIELD, BENCH = (m.load_scenario(name) for name in ("maize_field", "maize_bench"))
SHARES = st.floats(0, 1)
CELLS = 600


def only(monkeypatch, *names):
    """Leave these faults alone in the library."""
    chosen = tuple(LIBRARY[name] for name in names)
    monkeypatch.setattr(module, "possible_faults", lambda scenario: chosen)


@cache
def of(*names):
    """Signatures of a few faults of the machine in the field."""
    with pytest.MonkeyPatch.context() as patch:
        only(patch, *names)
        return signatures(FIELD, seed=5, samples=2, cells=CELLS)


FEW = ("vacuum low", "vacuum high", "edge near", "edge far", "tube worn", "drive")


def mean(found, sign, name):
    return float(found.values[sign][found.faults.index(name)].mean())


# what a fault shows


@pytest.mark.slow
def test_faults_show_what_mechanics_says_and_others_do_not():
    """Signs of the model, each with the healthy machine as its control."""
    found = of(*FEW)
    usual = {sign: float(column.mean()) for sign, column in found.usual.items()}
    assert mean(found, "skips", "vacuum low") > usual["skips"]
    assert mean(found, "doubles", "vacuum low") < usual["doubles"]
    assert mean(found, "doubles", "vacuum high") > usual["doubles"]
    assert mean(found, "true_skips", "edge near") > usual["true_skips"] + 0.02
    assert mean(found, "true_doubles", "edge far") > usual["true_doubles"] + 0.02
    assert mean(found, "scatter", "tube worn") > usual["scatter"] * 1.05
    assert mean(found, "true_skips", "tube worn") == usual["true_skips"]  # the disc is sound
    assert mean(found, "gauge", "vacuum low") < 0.9 < 1.1 < mean(found, "gauge", "vacuum high")
    assert mean(found, "speed", "tube worn") > usual["speed"]
    assert mean(found, "skips", "drive") > usual["skips"] + 0.02
    assert mean(found, "true_skips", "drive") == pytest.approx(usual["true_skips"], abs=0.01)
    assert mean(found, "used", "edge near") < usual["used"] < mean(found, "used", "edge far")


def test_seed_used_is_what_skips_and_doubles_leave():
    """Conservation: 1 less skips plus the second seeds of doubles, within 2.5 % of a short run.

    Where doubles are many, some of them have a third seed.  The control is a drive that slips: its
    disc passes fewer cells than planned.
    """
    found = of(*FEW)
    used, slips = found.values["used"], FEW.index("drive")
    skips, doubles = (found.values[f"true_{kind}"] for kind in ("skips", "doubles"))
    left = 1 - skips + doubles
    few = doubles < 0.05
    few[slips] = False
    assert few.sum() > 4
    assert used[few] == pytest.approx(left[few], abs=0.025)
    assert (used > left - 0.025)[:slips].all()
    slip = 0.03 + (0.2 - 0.03) * found.values["severity"][slips]
    assert used[slips] == pytest.approx(left[slips] * (1 - slip), abs=0.05)
    assert (used[slips] < left[slips] - 0.025).any()


def test_what_stays_on_the_machine_is_not_on_the_bench():
    found = of(*FEW)
    bench = dict(zip(FEW, found.values["bench"], strict=True))
    assert (bench["drive"] == found.usual["bench"]).all()
    assert (bench["vacuum high"] > found.usual["bench"]).all()


def test_a_bench_cannot_show_slope_or_field():
    with pytest.MonkeyPatch.context() as patch:
        only(patch, "edge far")
        found = signatures(BENCH, samples=1, cells=CELLS)
    for sign in ("slope", "bench"):
        assert np.isnan(found.values[sign]).all()
        assert (found.chances(sign) == 1 / len(SIGNS[sign].answers)).all()
        assert all(not (gained(found)[sign, one]).any() for one in SIGNS[sign].answers)
    assert np.isfinite(found.values["skips"]).all()


def test_machines_and_draws_are_shared_so_that_a_fault_without_effect_shows_nothing():
    """Common random numbers: a fault of no degree leaves all numbers as they were."""

    def same(scenario, severity):
        return (f"tube.tube_wear={scenario.tube.tube_wear}",)

    none = replace(LIBRARY["tube worn"], change=same, name="none")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "possible_faults", lambda scenario: (none,))
        patch.setattr(module, "LIBRARY", {"none": none})
        found = signatures(FIELD, samples=1, cells=CELLS)
    for sign in {*COLUMNS} - {"rows", "onset", "severity"}:
        assert found.values[sign][0] == pytest.approx(found.usual[sign], nan_ok=True), sign


@pytest.mark.slow
def test_the_same_seed_gives_the_same_numbers_on_any_executor_and_another_seed_others():
    names = ("seal worn",)
    first = of(*names)
    with pytest.MonkeyPatch.context() as patch, ThreadPoolExecutor(2) as pool:
        only(patch, *names)
        again = signatures(FIELD, seed=5, samples=2, cells=CELLS, executor=pool)
        other = signatures(FIELD, seed=6, samples=1, cells=CELLS)
    for sign in COLUMNS:
        assert np.array_equal(first.values[sign], again.values[sign], equal_nan=True)
    assert first.values["used"][0, 0] != other.values["used"][0, 0]


def test_every_fault_of_a_machine_has_a_row_and_a_chance():
    faults = possible_faults(machine_around(FIELD))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_columns", lambda *given, **more: dict.fromkeys(COLUMNS, np.ones(2)))
        found = signatures(FIELD, samples=2)
    assert found.faults == tuple(one.name for one in faults)
    assert found.prior.sum() == pytest.approx(1)
    assert "idle rows" in found.faults and found.samples == 2


# what people see


def test_chances_of_all_answers_sum_to_one():
    found = of(*FEW)
    for one in (found, found.in_order()):
        for name, sign in SIGNS.items():
            chances = one.chances(name)
            assert chances.shape == (len(sign.answers), len(one.faults), 2)
            assert chances.sum(axis=0) == pytest.approx(1)
            assert (chances > 0).all() and (chances < 1).all()
            assert (one.chance(name, sign.answers[0]) == chances[0]).all()


def test_answers_that_fit_a_fault_make_it_likelier_than_a_machine_in_order():
    found = of(*FEW)
    seen = {"gauge": "low", "doubles": "low"}
    chance = dict(zip(found.faults, found.likelihood(seen), strict=True))
    (fine,) = found.in_order().likelihood(seen)
    assert chance["vacuum low"] > 10 * fine
    assert chance["vacuum low"] > chance["edge near"] > chance["vacuum high"]
    assert found.likelihood({}) == pytest.approx(1)
    assert found.in_order().faults == (IN_ORDER,)


def test_a_machine_in_order_mostly_shows_a_machine_in_order():
    fine = of(*FEW).in_order()
    for sign, answer in (
        ("skips", "normal"), ("doubles", "normal"), ("pattern", "random"), ("bench", "fine"),
        ("gauge", "normal"), ("used", "as planned"), ("stand", "right"), ("scatter", "same"),
        ("hour", "same"), ("current", "normal"),
    ):  # fmt: skip
        assert fine.chance(sign, answer).min() > 0.85, sign


@given(SHARES, SHARES)
def test_a_second_count_is_called_worse_as_two_binomial_counts_are(first, second):
    """Limit: with very many seeds, the least difference decides; no seed is called both."""
    worse, better = called(np.array(first), np.array(second), counted=10**9)
    least = 0.01 + 0.3 * min(first, second)
    if abs(abs(second - first) - least) > 1e-3:
        assert worse == pytest.approx(float(second - first > least), abs=1e-6)
        assert better == pytest.approx(float(first - second > least), abs=1e-6)
    worse, better = called(np.array(first), np.array(second))
    assert worse + better <= 1 and called(np.array(second), np.array(first))[0] == better


def test_a_count_is_called_worse_as_often_as_drawn_counts_are():
    """10,000 pairs of binomial counts, |z| < 4; a count of a tenth of the seeds is the control."""
    rng, many = np.random.default_rng(2), 10_000
    first, second = (rng.binomial(COUNTED, share, many) / COUNTED for share in (0.02, 0.05))
    share = float(np.mean(second - first > 0.01 + 0.3 * 0.02))

    def z(counted):
        chance = float(called(np.array(0.02), np.array(0.05), counted)[0])
        return (share - chance) / np.sqrt(chance * (1 - chance) / many)

    error = 0.02  # of the normal approximation, in shares
    assert abs(share - float(called(np.array(0.02), np.array(0.05))[0])) < error
    assert abs(z(COUNTED // 10)) > 4


def test_a_reading_is_called_by_its_own_error():
    """Closed form: a departure as large as the least one is named in half of the cases."""
    high, low = read(np.array([1.06, 1.0, 0.94, 1.12]), 0.03, 0.06)
    assert high[0] == low[2] == pytest.approx(0.5)
    assert high[1] == low[1] == pytest.approx(norm.sf(2))
    assert high[3] == pytest.approx(norm.cdf(2))


def test_a_pattern_is_seen_as_the_binomial_says():
    found = of(*FEW)
    for share in (0.0, 0.3, 0.9):
        seen = replace(found, values={**found.values, "pattern": np.full((len(FEW), 2), share)})
        told = seen.chance("pattern", "every N")[0, 0]
        assert told == pytest.approx(0.03 + 0.94 * binom.sf(4, 10, share))


# looks at a run


def test_a_hole_that_always_fails_is_a_pattern_and_random_failures_are_none():
    holes, turns = 30, 40
    cells = np.ones(holes * turns, dtype=np.int64)
    assert pattern_of(cells, holes) == 0.0
    cells[4::holes] = 0
    assert pattern_of(cells, holes) == pytest.approx(1 - 1 / holes)
    doubled = np.ones(holes * turns, dtype=np.int64)
    doubled[4::holes] = 2
    assert pattern_of(doubled, holes) == pytest.approx(1 - 1 / holes)
    rng = np.random.default_rng(1)
    for _ in range(50):
        assert pattern_of((rng.random(holes * turns) > 0.1).astype(np.int64), holes) == 0.0


def test_a_monitor_shows_what_looks_of_a_run_show():
    run = run_of(FIELD, CELLS, 3, 0)
    seen = looked(run, FIELD.spacing)
    by_cells, spaced = (rates_of(loads(run, way)) for way in (SENSOR, SPACED))
    assert (seen.cell_skips, seen.cell_doubles) == (by_cells.skip, by_cells.double)
    assert (seen.skips, seen.doubles) == (spaced.skip, spaced.double)
    assert monitored(run, FIELD.spacing / 2)[0] > 0.4  # the control: places half as far apart


def test_a_blind_sensor_shows_skips_where_seeds_lie():
    blind = looked(run_of(FIELD.replace(sensor__detection=0.5), 1_000, 3, 0), FIELD.spacing)
    clear = looked(run_of(FIELD, 1_000, 3, 0), FIELD.spacing)
    assert blind.stand > 0.9 and clear.stand < 0.2
    assert blind.true_skips == clear.true_skips
    assert blind.cell_skips == pytest.approx(0.5, abs=0.08)


# the air of the whole machine


def test_a_machine_in_order_has_its_vacuum_and_its_reading():
    machine = machine_around(FIELD)
    air = air_of(machine, machine, ONE)
    assert (air.vacuum, air.others) == (1.0, 0.0)
    assert air.gauge == pytest.approx(1)
    assert 0.6 < air.start < 1


def test_a_lower_setting_lowers_every_row_alike():
    """Closed form: all losses go with the square of the flow, so that all vacuums scale."""
    machine = machine_around(FIELD)
    air = air_of(machine, machine.replace(vacuum__vacuum=0.5 * machine.vacuum.vacuum), ALL)
    assert air.vacuum == pytest.approx(0.5)
    assert air.gauge == pytest.approx(0.5)
    assert air.others == 1.0


def test_more_rows_with_a_worn_seal_rob_more_vacuum():
    machine = machine_around(FIELD)
    worn = machine.replace(vacuum__seal_wear=1.0, fan__set_when="sound")
    one, several, every = (air_of(machine, worn, scope).vacuum for scope in (ONE, "several", ALL))
    assert 1 > one > several > every > 0
    reset = machine.replace(vacuum__seal_wear=1.0, fan__set_when="now")
    assert air_of(machine, reset, ALL).gauge == pytest.approx(1)  # the control: set anew


def test_a_row_alone_has_the_vacuum_that_it_is_given_whatever_leaks():
    machine = machine_around(FIELD)
    leaking = machine.replace(
        vacuum__seal_wear=1.0, vacuum__chamber_open=True, gap__running_gap=1.5e-3
    )
    row = alone(replace(leaking, row=7), 2_500.0)
    assert chamber_vacuum(row) == pytest.approx(2_500.0)
    assert row.seed == leaking.seed and row.disc == leaking.disc
    assert chamber_vacuum(leaking.replace(fan__set_when="sound")) < 1_000  # the control
    assert chamber_vacuum(alone(FIELD.replace(vacuum__vacuum=0.0), 0.0)) == 0.0
    assert machine_around(FIELD.replace(vacuum__vacuum=0.0)).fan.shut_off is None


def test_a_wide_gap_takes_vacuum_and_a_small_one_takes_current():
    machine = machine_around(FIELD)
    wide, small = (LIBRARY[name].put(machine, 1.0) for name in ("gap wide", "gap small"))
    taken = [air_of(machine, one, ONE).vacuum for one in (wide, small)]
    assert taken[0] < 0.98 and taken[1] == pytest.approx(1, abs=0.01)
    current = [
        turning_of(alone(one, FIELD.vacuum.vacuum)).current for one in (small, machine, wide)
    ]
    assert current[0] > 1.2 * current[1] > 1.2 * current[2]


def test_leaks_and_vacuum_of_a_wide_gap_fit_one_another():
    """The vacuum of a row whose gap leaks is that of a row with a hose that leaks as much."""
    machine = machine_around(FIELD)
    wide = LIBRARY["gap wide"].put(machine, 0.5)
    ratio = air_of(machine, wide, ONE)
    vacuum = ratio.vacuum * chamber_vacuum(machine)
    area = float(gap_leak(wide, vacuum))
    assert area > 1e-5
    hose = machine.replace(hoses__seal_leak=machine.hoses.seal_leak + area, fan__set_when="sound")
    assert ratio.vacuum == pytest.approx(air_of(machine, hose, ONE).vacuum, rel=1e-3)


def test_a_machine_with_its_own_rows_and_fan_is_taken_as_it_is():
    around = ["rows=4", "shut_off_kpa=6", "free_flow_m3_h=900", "working=2-4", "rows.3=notch=1"]
    own = m.load_scenario("maize_field", around)
    assert machine_around(own) is own and middle_row(own) == 3
    high = LIBRARY["vacuum high"].put(own, 1.0).vacuum.vacuum
    assert 4_000 < high < 6_000  # the fan gives no more
    with pytest.MonkeyPatch.context() as patch:
        only(patch, "idle rows")
        found = signatures(own, samples=1, cells=CELLS)
    assert found.values["gauge"][0, 0] < 0.98 * found.usual["gauge"][0]


# in words


def test_what_a_fault_shows_most_is_named_clearest_first():
    found = of(*FEW)
    said = dict(zip(found.faults, shown_most(found), strict=True))
    assert said["vacuum low"][0] == "gauge low"
    assert "more doubles" in said["vacuum high"] and "fewer doubles" not in said["vacuum high"]
    assert {sign for sign, _ in SAID} | {"rows", "onset"} == {*SIGNS}
    assert all(answer in SIGNS[sign].answers for sign, answer in SAID)


@pytest.mark.parametrize("change", ["rates=60 m 40000/ha", "off=40 m to 90 m"])
def test_what_is_seen_is_judged_by_the_plan_of_the_pass(change):
    """A rate that falls, or a row that stops, is no fault: the monitor shows what the cells do."""
    plain, planned = (m.load_scenario("maize_field", [*one]) for one in ((), (change,)))
    usual, seen = (looked(run_of(one, 1_800, 1, 0), one.spacing) for one in (plain, planned))
    assert abs(seen.skips - seen.cell_skips) < 0.02 and abs(seen.used - usual.used) < 0.02
    assert seen.scatter < 1.05 * usual.scatter
    more = looked(run_of(planned, 1_800, 1, 0), planned.spacing / 2)  # negative control
    assert more.skips > 0.4 and more.used < 0.6
