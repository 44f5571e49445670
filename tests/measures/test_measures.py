"""Measures of a run are what the plain indices of its positions say."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.holding import hold_chance, log_margin
from metersim.machine.losses import POOL_EMPTY, REASONS
from metersim.machine.stations import stations_of
from metersim.measures import spacing
from metersim.measures.estimates import difference, measure
from metersim.measures.indices import BY_KEY, MEASURES
from metersim.measures.limits import DOUBLES, SCATTER, causes, cautions
from metersim.measures.tally import tallied
from metersim.questions.compare.study import COMPARED, compare
from metersim.questions.evidence.predictions import critical_vacuum
from metersim.questions.explain.study import explain
from metersim.questions.shared.notes import notes
from tests import plain_spacing as plain
from tests.strategies import BENCH, pool_of, simulate

FIELD = BENCH.replace(furrow__surface="field", run__turns=100)
LOOSE = BENCH.replace(disc__hole_diameter=4.8e-3, singulator__notch=-1.0, run__turns=100)


@pytest.fixture(scope="module", params=[FIELD, LOOSE], ids=["field", "doubles"])
def run(request):
    return simulate(request.param)


def test_indices_are_those_of_the_positions(run):
    found, nominal = measure(run), run.scenario.spacing
    gaps = spacing.spacings_of(run.seeds.position)
    per_spacing = spacing.per_spacing(spacing.class_counts(gaps, nominal))
    per_place = plain.per_place(spacing.class_counts(gaps, nominal))
    expected = {
        "per_spacing.multiple": per_spacing.multiple,
        "per_spacing.quality": per_spacing.quality,
        "per_spacing.miss": per_spacing.miss,
        "per_place.multiple": per_place.multiple,
        "per_place.single": per_place.single,
        "per_place.miss": per_place.miss,
        "precision": plain.precision(gaps, nominal),
        "spacing.mean": gaps.mean(),
        "spacing.sd": gaps.std(ddof=1),
        "spacing.cv": gaps.std(ddof=1) / gaps.mean(),
        "spacing.cp3": plain.within_window(gaps, nominal),
        "sensor.seen": run.seeds.seen.mean(),
    }
    for key, value in expected.items():
        assert found[key].value == pytest.approx(value), key


def test_drop_times_and_loads_are_those_of_the_records(run):
    found, cells = measure(run), run.cells
    fall = run.seeds.landing_time - run.seeds.release_time
    assert found["drop_time.mean"].value == pytest.approx(fall.mean())
    assert found["drop_time.sd"].value == pytest.approx(fall.std(ddof=1))
    for key, load in (("skip", 0), ("single", 1), ("double", 2), ("triple", 3)):  # or more
        loaded = np.minimum(cells.released, 3) == load
        assert found[f"cells.{key}"].value == pytest.approx(loaded.mean())
    starts = (cells.released == 0) & ~np.concatenate(([False], cells.released[:-1] == 0))
    skips = (cells.released == 0).sum()
    assert found["cells.skip_run"].value == pytest.approx(skips / starts.sum())


def test_seeds_on_an_area_are_seeds_over_the_ground_covered():
    """Also when the disc starts from rest and the ground runs on meanwhile."""
    slow = BENCH.replace(drive__start_ramp=20.0, run__turns=40)
    run = simulate(slow)
    demand, times = slow.demand, run.seeds.release_time
    ground = (times[-1] - times[0]) * demand.speed * demand.row_spacing
    placed = measure(run)["placed.per_area"].value
    assert placed == pytest.approx((len(times) - 1) / ground, rel=0.01)
    steady = measure(simulate(BENCH.replace(run__turns=40)))["placed.per_area"].value
    assert placed < 0.99 * steady  # control: the ramp is seen


def test_every_interval_holds_its_value_and_shares_stay_shares(run):
    for item in MEASURES:
        estimate = measure(run)[item.key]
        assert estimate.low <= estimate.value <= estimate.high
        assert estimate.low >= 0
        if item.kind == "share" and item.function is None:
            assert estimate.high <= 1


def test_replicates_narrow_an_interval():
    """Four times the cells halve it, within what chance does to a width (a quarter)."""
    runs = [simulate(FIELD, replicate=k) for k in range(4)]
    one, four = measure(runs[0])["precision"], measure(runs)["precision"]
    assert (four.high - four.low) / (one.high - one.low) == pytest.approx(0.5, rel=0.25)


def test_what_limits_adds_up_to_what_is_wrong(run):
    """The causes share out all multiples and misses, when no cause has less than nothing."""
    found = measure(run)
    shares = {cause.name: cause.share for cause in causes(found)}
    wrong = found["per_spacing.multiple"].value + found["per_spacing.miss"].value
    assert shares[SCATTER] > 0 and shares[DOUBLES] > 0
    assert sum(shares.values()) == pytest.approx(wrong)


def test_a_cause_is_named_for_what_it_is():
    """Each setting that is put out of order is the first cause found."""
    # of a smooth disc at a vacuum that holds nearly all seeds, and would do in a full pool
    smooth = BENCH.replace(disc__agitation=0.0)
    low = smooth.replace(**pool_of(0.2))
    wrong = {
        "a low pool": low.replace(vacuum__vacuum=critical_vacuum(smooth, 0.02)),
        "a pool above the carry line": BENCH.replace(pool__gate_opening=0.085),
        "vacuum against": BENCH.replace(vacuum__vacuum=700.0),
        "a singulator that takes": BENCH.replace(singulator__notch=3.0),
        "doubles": BENCH.replace(disc__hole_diameter=6.4e-3, demand__speed=0.8),
        "scatter": BENCH.replace(demand__speed=2.7),
    }
    for start, scenario in wrong.items():
        first = causes(measure(simulate(scenario.replace(run__turns=40))))[0]
        assert first.name.startswith(start), (start, first)


def test_cautions_speak_of_the_crops_of_the_study_only():
    """16 seeds/s and 0.34 m/s for maize and cotton (onal2012; the latter from memory)."""
    fast = BENCH.replace(demand__speed=3.5)
    assert sum("above the range of onal2012" in text for text in cautions(fast)) == 2
    other = dataclasses.replace(fast, lot=dataclasses.replace(fast.lot, crop="soybean"))
    assert not any("onal2012" in text for text in cautions(other))
    assert cautions(BENCH.replace(demand__speed=1.5)) == []


def test_common_random_numbers_distinguish_a_notch_better_than_other_draws():
    wide = BENCH.replace(disc__hole_diameter=5.2e-3)
    a, b = (measure(simulate(one)) for one in (wide, wide.replace(singulator__notch=1.0)))
    paired = difference(a, b, BY_KEY["cells.double"])
    a, b = (part["cells.double"] for part in (a, b))
    apart = math.hypot(a.high - a.low, b.high - b.low)
    assert paired.low < paired.value < paired.high < 0
    assert paired.high - paired.low < apart
    assert paired.value == pytest.approx(b.value - a.value)


@pytest.mark.slow
def test_a_comparison_with_itself_finds_nothing():
    result = compare(BENCH, BENCH, labels=["this", "again"])
    for key in COMPARED:
        estimate = result.differences[0][key]
        assert (estimate.low, estimate.value, estimate.high) == (0, 0, 0), key
    other = measure(simulate(BENCH, seed=2))
    assert difference(result.measured[0], other, BY_KEY["precision"]).value != 0  # control


@pytest.mark.slow
def test_a_comparison_of_discs_watches_as_many_cells():
    result = compare(BENCH, BENCH.replace(disc__cells=45), labels=["30", "45"])
    assert [part.total("cells") for part in result.measured] == [3000, 3015]


def test_what_is_explained_is_what_is_run():
    """The chance of an empty cell before the run is the share of empty cells in it: |z| < 4."""
    for change in ({}, {"vacuum__vacuum": 1500.0}, {"demand__speed": 3.0}):
        scenario = BENCH.replace(**change)
        told, run = explain(scenario), simulate(scenario)
        empty = (run.cells.joined == 0).mean()
        error = math.sqrt(told.empty * (1 - told.empty) / len(run.cells))
        assert abs(empty - told.empty) < 4 * error
    assert told.turning * 45 == pytest.approx(told.scenario.cell_rate * 1.5)
    assert told.pool_seeds == run.ticks.pool[0]
    assert len(REASONS) == measure(run).reasons.size


def test_the_vacuum_that_99_of_100_need_holds_99_of_100():
    """By the chance to hold at it; the vacuum of the mean seed holds a half of them."""
    told, pickup = explain(BENCH), stations_of(BENCH).pickup
    for vacuum, share in ((told.needed_by_most, 0.99), (told.needed, 0.5)):
        held = hold_chance(log_margin(vacuum, told.needed), pickup.spread)
        assert held == pytest.approx(share, abs=1e-9)


def test_a_pool_that_ran_empty_is_told():
    """0.2 kg are some 770 seeds, for 1200 cells."""
    short = BENCH.replace(run__turns=40)
    starved = measure(tallied(short.replace(pool__hopper=0.2)))
    (told,) = [note for note in notes(starved) if note.startswith("the pool was empty under ")]
    assert f"{int(starved.reasons[POOL_EMPTY])} cells" in told
    assert not any("empty" in note for note in notes(measure(tallied(short))))
