"""Sweeps: the points of a design, the same rows wherever they are run, and what they show."""

import csv
import itertools
import math
from concurrent.futures import Executor, Future, ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY, read_limit
from metersim.measures.limits import RESERVE
from metersim.questions.sweep.plan import VALUE_COLUMNS, plan_sweep
from metersim.questions.sweep.points import count_points, draw_points, read_axes, read_axis
from metersim.questions.sweep.response import RESAMPLES, importance, indices, respond
from metersim.questions.sweep.study import run_point, sweep
from metersim.questions.sweep.text import doubts, report
from metersim.run.parallel import in_order
from metersim.run.pool import processes
from metersim.run.simulation import simulate
from tests.sweep_points import flat, hill, ishigami, noisy, slow_hill

SHORT = ["turns=4"]
RANGE = "vacuum_kpa=2:6:9"


def swept(*vary, run=hill, **options):
    """A sweep of a made-up function."""
    return sweep(plan_sweep("maize_bench", vary or (RANGE,), **options), run=run)


def numbers(points, place):
    """The numbers of one axis of points."""
    return np.array([float(point[place]) for point in points])


# ---------------------------------------------------------------- points


@given(
    low=st.floats(0, 14.9).map(lambda x: round(x, 3)),
    width=st.floats(0.001, 0.1),
    many=st.integers(2, 40),
)
def test_a_range_has_even_steps_and_both_ends(low, width, many):
    high = round(low + width, 6)
    if not low < high <= 15:
        return
    levels = read_axis(f"vacuum_kpa={low!r}:{high!r}:{many}").levels
    assert len(levels) == len(set(levels)) == many
    assert [float(levels[0]), float(levels[-1])] == pytest.approx([low, high], rel=1e-8)
    expected = np.linspace(low, high, many)
    assert np.array(levels, dtype=float) == pytest.approx(expected, rel=1e-8, abs=1e-12)


def test_a_range_of_a_count_has_whole_numbers():
    assert read_axis("cells=20:40:5").levels == ("20", "25", "30", "35", "40")
    assert read_axis("cells=20:24:5").levels == ("20", "21", "22", "23", "24")
    every = read_axis("cells=20:23").at((np.arange(400) + 0.5) / 400)
    assert [every.count(word) for word in ("20", "21", "22", "23")] == [100] * 4


def test_what_is_no_count_is_not_rounded():
    assert read_axis("notch=0:1:3").levels == ("0", "0.5", "1")


def test_a_word_sets_what_a_file_would():
    for text in (
        "vacuum_inh2o=8:24:7",
        "speed_mph=3,4.5",
        "cells=20:40:5",
        "inner_guide=true,false",
    ):
        axis = read_axis(text)
        for word in axis.levels:
            made = load_scenario("maize_field", [f"{axis.key}={word}"])
            base = load_scenario("maize_field")
            name, value = axis.setting(word)
            mine = base.replace(**{name: value})
            assert getattr(mine, axis.section) == getattr(made, axis.section)  # to the last bit
            assert mine != base or value == getattr(getattr(base, axis.section), axis.spec.name)


def test_a_grid_is_every_combination_with_the_last_axis_fastest():
    axes = read_axes(["vacuum_kpa=2:4:3", "inner_guide=true,false"])
    expected = list(itertools.product(("2", "3", "4"), ("true", "false")))
    assert draw_points(axes, "grid", 0, 1) == expected


def test_a_latin_hypercube_has_one_point_in_every_slice():
    axes = read_axes(["vacuum_kpa=2:6", "notch=-1:1", "speed_kmh=4:10"])
    points = draw_points(axes, "latin", 50, 3)
    for place, axis in enumerate(axes):
        slices = (numbers(points, place) - axis.low) / (axis.high - axis.low) * 50
        assert sorted(slices.astype(int)) == list(range(50))


def test_sobol_points_fill_every_dyadic_box_alike():
    """2^5 points of two axes: one in each of the 4 by 8 and 8 by 4 boxes."""
    axes = read_axes(["vacuum_kpa=2:6", "notch=-1:1"])
    points = draw_points(axes, "sobol", 32, 3)
    u, v = (numbers(points, 0) - 2) / 4, (numbers(points, 1) + 1) / 2
    for across, up in ((4, 8), (8, 4)):
        boxes = set(zip((u * across).astype(int), (v * up).astype(int), strict=True))
        assert len(boxes) == 32


def test_random_points_do_not_fill_every_box():
    """Negative control of the two tests above."""
    u, v = np.random.Generator(np.random.PCG64(1)).random((2, 32))
    assert len(set(zip((u * 4).astype(int), (v * 8).astype(int), strict=True))) < 32
    assert len(set((u * 32).astype(int))) < 32


def test_samples_for_importance_share_all_axes_but_one():
    axes = read_axes(["vacuum_kpa=2:6", "notch=-1:1", "speed_kmh=4:10"])
    points = draw_points(axes, "importance", 8, 1)
    assert len(points) == count_points(axes, "importance", 8) == 8 * 5
    first, second, *mixed = (points[k : k + 8] for k in range(0, 40, 8))
    for place, sample in enumerate(mixed):
        for a, b, ab in zip(first, second, sample, strict=True):
            assert ab == (*a[:place], b[place], *a[place + 1 :])


@pytest.mark.parametrize("design", ["latin", "sobol", "importance"])
def test_the_random_seed_chooses_a_sample(design):
    axes = read_axes(["vacuum_kpa=2:6", "notch=-1:1"])
    assert draw_points(axes, design, 16, 5) == draw_points(axes, design, 16, 5)
    assert draw_points(axes, design, 16, 5) != draw_points(axes, design, 16, 6)


# ---------------------------------------------------------------- rows


def test_a_row_is_the_run_of_its_point():
    plan = plan_sweep(
        "maize_field",
        ["vacuum_inh2o=8,16", "inner_guide=true,false"],
        replicates=2,
        seed=7,
        changes=SHORT,
    )
    made = sweep(plan)
    for number, point in enumerate(plan.points):
        texts = [f"{axis.key}={word}" for axis, word in zip(plan.axes, point, strict=True)]
        scenario = load_scenario("maize_field", [*SHORT, *texts])
        for replicate in range(2):
            measured = measure(simulate(scenario, seed=7, replicate=replicate))
            for key in BY_KEY:
                estimate = measured[key]
                expected = [estimate.value, estimate.low, estimate.high]
                found = made.estimates(key)[number, replicate]
                assert np.array_equal(found, expected, equal_nan=True), key
            counts = made.values[number, replicate, -2:].tolist()
            assert counts == [measured.counts["cells"], measured.counts["seeds"]]


def test_all_points_are_watched_equally_long():
    made = sweep(plan_sweep("maize_bench", ["cells=20,30,60"], changes=SHORT))
    assert made.values[:, 0, -2].tolist() == [120, 120, 120]


def test_a_lot_can_be_varied():
    plan = plan_sweep("maize_bench", ["lot=maize_large_flat,maize_small_round"], changes=SHORT)
    lots = [plan.job(k).made().lot.name for k in range(2)]
    assert lots == ["maize_large_flat", "maize_small_round"]
    plan.check_some_point()


def test_a_lot_that_is_varied_is_no_change_for_all_points():
    plan = plan_sweep(
        "maize_bench", ["lot=maize_large_flat,maize_small_round"], changes=["notch=1"]
    )
    assert plan.changes == ("notch=1",)


@pytest.mark.slow
def test_a_point_that_is_not_possible_keeps_its_row_and_stops_nothing(tmp_path):
    plan = plan_sweep("maize_bench", ["notch=0:10:3"], changes=SHORT, replicates=2)
    out = tmp_path / "rows.csv"
    made = sweep(plan, out=out)
    assert set(made.faults) == {2}
    assert np.isnan(made.values[2]).all() and np.isfinite(made.values[0, :, 0]).all()
    lines = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    last = list(csv.DictReader(lines))[-1]
    assert "10 notches would take the edge over the holes' path" in last["fault"]
    assert {last[name] for name in VALUE_COLUMNS} == {""}
    assert "2 points are not possible" not in report(respond(made))
    assert "1 points are not possible, such as notch=10" in report(respond(made))


def test_the_file_tells_the_numbers_to_the_last_bit(tmp_path):
    plan = plan_sweep("maize_bench", [RANGE, "inner_guide=true,false"], changes=SHORT)
    table = sweep(plan, out=tmp_path / "rows.csv").to_dataframe()
    lines = (tmp_path / "rows.csv").read_text().splitlines()
    read = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    *names, checksum = read[0]
    assert checksum == "crc32"
    columns = dict(zip(names, table.columns, strict=True))  # those of the file with their units
    assert {*BY_KEY} <= {*table.columns}
    for name in ("vacuum_kpa", *VALUE_COLUMNS):
        found = [float(row[name] or "nan") for row in read]
        assert np.array_equal(found, table[columns[name]], equal_nan=True), name
    assert list(table["inner_guide"][:2]) == ["true", "false"]


class Backwards(Executor):
    """Finishes whatever it was given last first, when somebody waits; counts what waits."""

    def __init__(self):
        self.waiting, self.most = [], 0

    def submit(self, function, /, *arguments):
        executor = self

        class Late(Future):
            def result(self, timeout=None):
                while executor.waiting:
                    future, task = executor.waiting.pop()
                    future.set_result(task())
                return super().result(timeout)

        future = Late()
        self.waiting.append((future, lambda: function(*arguments)))
        self.most = max(self.most, len(self.waiting))
        return future


def test_results_come_in_order_and_few_are_in_flight():
    taken = []

    def jobs():
        for k in range(100):
            taken.append(k)
            yield k

    executor = Backwards()
    results = in_order(lambda k: k * k, jobs(), executor, ahead=5)
    assert next(results) == 0
    assert len(taken) == 5
    assert [0, *results] == [k * k for k in range(100)]
    assert executor.most == 5


@pytest.mark.slow
def test_rows_are_the_same_on_every_executor(tmp_path):
    """Here, in threads, in processes, and where the last is done first: the same bytes."""
    plan = plan_sweep("maize_field", ["vacuum_kpa=2:6:5"], changes=SHORT, replicates=2)
    sweep(plan, out=tmp_path / "here.csv")
    expected = (tmp_path / "here.csv").read_bytes()
    with ThreadPoolExecutor(3) as threads, processes(2) as others:
        for name, executor in {"t": threads, "p": others, "b": Backwards()}.items():
            sweep(plan, executor=executor, ahead=4, out=tmp_path / name)
            assert (tmp_path / name).read_bytes() == expected, name


def test_slow_points_do_not_change_the_order(tmp_path):
    plan = plan_sweep("maize_bench", ["vacuum_kpa=2:6:9"])
    quick = sweep(plan, run=hill)
    with ThreadPoolExecutor(4) as threads:
        slow = sweep(plan, run=slow_hill, executor=threads)
    assert np.array_equal(quick.values, slow.values)


def test_other_rows_differ(tmp_path):
    """Negative control: another random seed gives other bytes."""
    plans = [plan_sweep("maize_field", [RANGE], changes=SHORT, seed=seed) for seed in (1, 2)]
    assert not np.array_equal(sweep(plans[0]).values, sweep(plans[1]).values, equal_nan=True)
    assert plans[0].origin() != plans[1].origin()


def test_progress_counts_every_row_and_those_that_were_there(tmp_path):
    plan = plan_sweep("maize_bench", [RANGE])
    told = []
    sweep(plan, run=hill, out=tmp_path / "rows.csv", on_row=told.append)
    assert told == list(range(1, 10))

    def never(job):
        raise AssertionError("all rows were there")

    again = []
    sweep(plan, run=never, out=tmp_path / "rows.csv", resume=True, on_row=again.append)
    assert again == told


# ---------------------------------------------------------------- what it shows


def test_the_best_and_its_plateau():
    """0.97 at 4 kPa, less 0.01 (p - 4)^2: a plateau of 0.5 points ends at 4 +- 0.707."""
    response = respond(swept("vacuum_kpa=2:6:41"))
    plan = response.sweep.plan
    assert plan.points[response.best] == ("4",)
    inside = numbers(plan.points, 0)[response.plateau]
    assert [inside.min(), inside.max()] == [3.3, 4.7]
    wider = respond(swept("vacuum_kpa=2:6:41"), tolerance=1.0)
    inside = numbers(plan.points, 0)[wider.plateau]
    assert [inside.min(), inside.max()] == [3.0, 5.0]


@pytest.mark.slow
def test_what_is_acceptable_keeps_to_all_limits():
    """Misses are 10 % below 3 kPa and 1 % above; quality is 0.93 or more everywhere."""
    made = swept("vacuum_kpa=2:6:9")
    published = respond(made)
    assert numbers(made.plan.points, 0)[published.acceptable].min() == 3.0
    own = respond(made, limits=[read_limit("per_spacing.quality>=0.96")])
    assert numbers(made.plan.points, 0)[own.acceptable].tolist() == [3.0, 3.5, 4.0, 4.5, 5.0]
    loose = respond(made, limits=[read_limit("per_spacing.quality>=0.7")])
    for found, limit in ((own, 0.96), (loose, 0.7)):
        low = found.totals("per_spacing.quality")[:, 1]
        assert found.surely.tolist() == (found.acceptable & (low >= limit)).tolist()
    assert loose.surely.any() and own.surely.sum() < own.acceptable.sum()
    both = respond(made, limits=list(map(read_limit, ("precision<=0.4", "precision>=0.1"))))
    assert not both.acceptable.any()
    assert both.best == own.best


def test_the_best_is_acceptable_if_any_point_is():
    response = respond(swept(), limits=[read_limit("per_spacing.miss>=0.05")])
    assert response.sweep.plan.points[response.best] == ("2.5",)
    assert response.plateau.sum() == 1


def test_lower_is_better_for_what_should_be_small():
    response = respond(swept(), "per_spacing.miss")
    assert response.values[response.best, 0] == 0.01
    assert respond(swept(), "drop_time.mean").best is None


@pytest.mark.parametrize("end", [("vacuum_kpa=2:3.5:4", True), ("vacuum_kpa=4:15:12", True)])
def test_the_best_at_an_end_of_a_range_is_told(end):
    vary, can_go_on = end
    ((axis, _, told),) = respond(swept(vary)).at_end()
    assert (axis.key, told) == ("vacuum_kpa", can_go_on)
    assert respond(swept()).at_end() == []


def test_nothing_lies_beyond_what_is_allowed():
    response = respond(swept("vacuum_kpa=4,15", "agitation=0:1:3"))
    assert ("agitation", False) in [(axis.key, more) for axis, _, more in response.at_end()]


def test_what_no_study_bears_out_is_told():
    """Maize was published up to 16 seeds a second, and at best vacuums above the model's."""
    slow = "circle_radius_mm=80"  # so that the holes stay slow
    made = respond(swept("speed_kmh=4:12:5", run=flat, changes=[slow]))  # 4, 6, 8, 10, 12
    (told,) = doubts(made)
    assert told.startswith("2 of 5 points lie outside what published cases cover, such as")
    assert "speed_kmh=10: 16.7 seeds a second" in told and told in " ".join(report(made).split())
    assert doubts(respond(swept("speed_kmh=4:6:2", run=flat, changes=[slow]))) == []
    assert doubts(respond(swept("vacuum_kpa=2:4:3", changes=[slow]))) == [RESERVE]


def test_what_holds_of_all_points_is_told_once():
    """No case of maize has 80 cells, at whatever vacuum; beyond 12 kPa some points stand out."""
    made = respond(swept("vacuum_kpa=12:15:4", changes=["cells=80", "circle_radius_mm=150"]))
    told = [doubt for doubt in doubts(made) if doubt != RESERVE]
    assert len(told) == 2 and told[0].endswith("(set by cells)")
    assert told[-1].startswith("3 of 4 points") and "vacuum_kpa=13: vacuum 13 kPa" in told[-1]
    assert all(" ".join(report(made).split()).count(text) == 1 for text in told)


def test_points_that_sampling_error_can_explain():
    """Differences of -0.01 a^2 +- 0.005 a: 4 replicates cannot detect |a| below 0.918.

    Their SD is 0.005 a sqrt(4/3), and t(3) is 3.182, over the root of 4.
    """
    response = respond(swept("vacuum_kpa=2:6:41", run=noisy, replicates=4))
    away = numbers(response.sweep.plan.points, 0) - 4
    edge = 3.1824 / 2 * 0.5 * math.sqrt(4 / 3)
    assert response.tied.tolist() == (np.abs(away) <= edge).tolist()
    assert respond(swept()).tied is None


def test_replicates_narrow_the_interval_by_their_root():
    one, four = (respond(swept(replicates=many)).values for many in (1, 4))
    assert four[:, 0] == pytest.approx(one[:, 0])
    assert (four[:, 2] - four[:, 0]) * 2 == pytest.approx(one[:, 2] - one[:, 0])


KEYS = ("agitation=0:1", "tube_wear=0:1", "shock_per_speed_g_per_m_s=0:1")


@pytest.mark.slow
def test_importance_of_a_known_function():
    """Ishigami's function with a = 7, b = 0.1: closed form, values from memory."""
    made = swept(*KEYS, run=ishigami, design="importance", points=1024)
    found = importance(made, "spacing.sd")
    for rows, exact in (
        (found.first, (0.3139, 0.4424, 0)),
        (found.total, (0.5576, 0.4424, 0.2437)),
    ):
        assert rows[:, 0] == pytest.approx(exact, abs=0.04)
        assert ((rows[:, 1] <= exact) & (exact <= rows[:, 2])).all()
    variance = 7**2 / 8 + 0.1 * math.pi**4 / 5 + 0.1**2 * math.pi**8 / 18 + 0.5
    assert found.sd == pytest.approx(math.sqrt(variance), rel=0.02)
    assert math.isnan(found.sampling)
    again = importance(made, "spacing.sd")
    assert np.array_equal(found.first, again.first) and np.array_equal(found.total, again.total)


def test_intervals_of_importance_hold_95_of_100_resamples(monkeypatch):
    """Resamples that are uniform leave 2.5 % on either side: |z| < 4 of 40 axes."""
    luck, axes = np.random.default_rng(13), 40

    def uniform(parts, chosen):
        return tuple(luck.random((2, len(chosen), axes)))

    monkeypatch.setattr("metersim.questions.sweep.response._indices", uniform)
    for part in indices(luck.random((axes + 2, 16)), luck):
        error = math.sqrt(0.025 * 0.975 / RESAMPLES / axes)
        assert abs(part[:, 1].mean() - 0.025) < 4 * error + 1 / RESAMPLES
        assert abs(part[:, 2].mean() - 0.975) < 4 * error + 1 / RESAMPLES


@pytest.mark.slow
def test_importance_sees_no_other_axes_order():
    """Negative control: with the samples of two axes exchanged the closed form is missed."""
    made = swept(*KEYS, run=ishigami, design="importance", points=1024)
    parts = made.estimates("spacing.sd")[:, 0, 0].reshape(5, 1024)[[0, 1, 3, 2, 4]]
    first, _ = indices(parts, np.random.Generator(np.random.PCG64(1)))
    assert abs(first[0, 0] - 0.3139) > 0.05


def test_what_does_not_vary_has_no_importance():
    made = swept(*KEYS, run=ishigami, design="importance", points=4)
    found = importance(made, "precision")
    assert np.isnan(found.first).all() and found.sd == 0


def test_luck_has_its_part_in_importance():
    """The mean of 2 replicates at +- 0.005 a has no noise left, but its replicates tell it."""
    made = swept("vacuum_kpa=3:5", run=noisy, design="importance", points=64, replicates=2)
    luck = importance(made, "per_spacing.quality").sampling
    each = made.estimates("per_spacing.quality")[:, :, 0]
    shift = each[:, 0] - each[:, 1]
    expected = ((shift - shift.mean()) ** 2).mean() / 4 / each.mean(axis=1).var()
    assert luck == pytest.approx(expected)
    calm = swept("vacuum_kpa=3:5", design="importance", points=64, replicates=2)
    assert importance(calm, "per_spacing.quality").sampling == pytest.approx(0, abs=1e-12)


def test_importance_needs_all_points_possible():
    plan = plan_sweep("maize_bench", ["notch=0:10"], design="importance", points=4)
    with pytest.raises(BadInput, match="all points of the ranges must be possible"):
        sweep(plan)


def test_run_point_says_what_contradicts():
    job = plan_sweep("maize_bench", ["notch=9,10"]).job(1)
    assert run_point(job).fault.startswith("singulator.notch: 10 notches would take the edge")


def test_a_plan_without_runs_is_refused():
    with pytest.raises(BadInput, match="replicates: 0: must be a whole number, 1 or more"):
        plan_sweep("maize_bench", ["notch=0,1"], replicates=0)
