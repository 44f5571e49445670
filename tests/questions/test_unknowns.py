"""Luck and not knowing, told apart: closed forms, limits, pairing, and what commands print."""

import json
import math
import re

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.files.faults import BadInput
from metersim.machine.given import scenario_of, scenario_toml
from metersim.measures.estimates import measure
from metersim.measures.indices import BY_KEY, MEASURES
from metersim.measures.intervals import Estimate, jackknife
from metersim.questions.shared.unknowns import Draws, Spread, draw_places, run_draws, spread

Z = 1.959963984540054  # normal deviate of 97.5 %
RATE = "rate_per_ha={mean=80000, sd=4000}"
VACUUM = "vacuum_kpa={low=2, high=4}"
SIZES = "size_cv_percent=5"  # in place of the range of the lot


def bench(*changes, turns=20):
    return m.load_scenario("maize_bench", [SIZES, *changes, f"turns={turns}"])


def synthetic(values, variances):
    """The spread of numbers that are given."""
    nothing = Estimate(math.nan, math.nan, math.nan)
    draws = Draws({"precision": np.asarray(values)}, {"precision": np.asarray(variances)})
    return Spread("numbers", (), {"precision": nothing}, draws)


def width(estimate):
    return estimate.high - estimate.low


def ratio(found, key):
    """Variance over the draws, over what luck gives: 1 when there is nothing but luck."""
    return np.var(found.draws.values[key], ddof=1) / np.mean(found.draws.variances[key])


# ---------------------------------------------------------------- draws


def test_every_column_has_one_draw_in_each_stratum():
    unknowns = bench(RATE, VACUUM).unknown
    places = draw_places(unknowns, 40, 3)
    assert places.shape == (40, 2) and places.min() > 0 and places.max() < 1
    for column in places.T:
        assert sorted(np.floor(column * 40)) == list(range(40))
    assert abs(np.corrcoef(places.T)[0, 1]) < 4 / math.sqrt(40)


def test_a_key_keeps_its_draws_whatever_else_is_unknown():
    both, one = bench(RATE, VACUUM).unknown, bench(VACUUM).unknown
    assert [unknown.name for unknown in both] == ["vacuum", "rate"]
    assert (draw_places(both, 16, 3)[:, :1] == draw_places(one, 16, 3)).all()
    assert (draw_places(both[::-1], 16, 3)[:, ::-1] == draw_places(both, 16, 3)).all()
    assert (draw_places(both, 16, 4) != draw_places(both, 16, 3)).all()
    assert draw_places((), 16, 3).shape == (16, 0)


def test_a_contradiction_among_the_draws_is_found_before_anything_runs():
    with pytest.raises(BadInput, match="narrow hole_diameter_mm from 3 to 9"):
        run_draws(bench("hole_diameter_mm={low=3, high=9}"), draws=64, seed=1)
    with pytest.raises(ValueError, match="allowed: 2 or more"):
        spread(bench(VACUUM), draws=1)


def test_variants_that_differ_in_cells_are_watched_for_about_as_many():
    pair = bench("cells={among=[20, 30]}"), bench("cells={low=24, high=40}")
    for row in run_draws(*pair, draws=8, seed=1, cells=600):
        assert all(abs(one.total("cells") - 600) <= 20 for one in row)
        assert len({one.tallies[0].stretches for one in row}) == 1


# ---------------------------------------------------------------- arithmetic


def test_the_jackknife_of_a_mean_is_its_variance():
    values = np.random.Generator(np.random.PCG64(1)).normal(size=30)
    left = (values.sum() - values) / 29
    assert jackknife(left) == pytest.approx(np.var(values, ddof=1) / 30, rel=1e-12)
    assert math.isnan(jackknife([1.0]))


def test_points_are_the_values_of_the_estimates_and_leave_each_stretch_out():
    tally = m.tallied(bench(turns=50), seed=2, stretches=5)
    measured = measure(tally)
    for part in MEASURES:
        expected = measured[part.key].value
        assert measured.points[part.key][0] == pytest.approx(expected, rel=1e-12, nan_ok=True)
    none, cells = tally.sums["none"], tally.sums["cells"]
    left = (none.sum() - none) / (cells.sum() - cells)
    assert measured.points["cells.skip"][1:] == pytest.approx(left, rel=1e-12)


@pytest.mark.parametrize(("vague", "luck"), [(1.0, 1.0), (2.0, 1.0), (0.5, 1.0)])
def test_luck_and_not_knowing_of_normal_numbers_come_apart_by_the_closed_form(vague, luck):
    n, rng = 10_000, np.random.Generator(np.random.PCG64(5))
    values = rng.normal(7, vague, n) + rng.normal(0, luck, n)
    found = synthetic(values, np.full(n, luck**2))
    both = math.hypot(vague, luck)
    # two quantiles, each with sqrt(p (1 - p)/n) over the density there; derived
    error = math.sqrt(2 * 0.025 * 0.975 / n) / 0.0584 / (2 * Z)
    assert width(found.total("precision")) == pytest.approx(2 * Z * both, rel=4 * error)
    assert found.is_detected("precision")
    # the share of luck is known to (L/V) sqrt(2/n), derived
    more = (luck / vague) ** 2 * math.sqrt(2 / n) / 2
    close = pytest.approx(2 * Z * vague, rel=4 * math.hypot(error, more))
    assert width(found.inputs("precision")) == close
    assert width(found.total("precision")) != close  # negative control: luck not taken out


def test_with_nothing_but_luck_not_knowing_is_never_below_zero():
    values = np.random.Generator(np.random.PCG64(6)).normal(0, 1, 64)
    found = synthetic(values, np.full(64, 2.0))
    unknown = found.inputs("precision")
    assert unknown.low == unknown.value == unknown.high == found.total("precision").value
    assert not found.is_detected("precision")
    still = synthetic(np.ones(64), np.zeros(64))
    assert still.inputs("precision") == still.total("precision") == Estimate(1.0, 1.0, 1.0)
    assert not still.is_detected("precision")


def test_what_cannot_be_told_has_no_bounds():
    nan = math.nan
    for values, variances in (([1.0, nan, nan], [0.1] * 3), ([1.0, 2.0, 3.0], [nan] * 3)):
        found = synthetic(values, variances)
        assert math.isnan(found.inputs("precision").low) and not found.is_detected("precision")
    some = synthetic([1.0, nan, 3.0, 2.0], [0.1, nan, 0.1, 0.1])
    assert some.total("precision") == Estimate(2.0, 1.0, 3.0)


def test_a_further_run_lies_inside_with_the_stated_chance():
    rng = np.random.Generator(np.random.PCG64(7))
    covered, plain = [], []
    for values in rng.random((2000, 64)):
        both = synthetic(values, np.zeros(64)).total("precision")
        covered.append(both.high - both.low)  # of uniform numbers: the chance of a further one
        plain.append(float(np.diff(np.quantile(values, [0.025, 0.975]))[0]))
    error = np.std(covered) / math.sqrt(2000)
    assert abs(np.mean(covered) - 0.95) < 4 * error
    assert abs(np.mean(plain) - 0.95) > 4 * error  # negative control: the usual quantiles


# ---------------------------------------------------------------- runs


def test_a_range_of_what_has_no_effect_changes_nothing():
    without = spread(bench(), seed=4, draws=8)
    idle = spread(bench("soil_scatter_mm={low=0, high=60}"), seed=4, draws=8)  # field only
    for key in BY_KEY:
        assert idle.sampling(key) == without.sampling(key) or math.isnan(idle.sampling(key).value)
        assert np.array_equal(idle.draws.values[key], without.draws.values[key], equal_nan=True)
    moved = spread(bench("tube_wear={low=0, high=1}"), seed=4, draws=8)
    assert (moved.draws.values["precision"] != without.draws.values["precision"]).all()


@pytest.mark.slow
def test_not_knowing_a_normal_rate_is_a_normal_population():
    """What is placed on an area is the rate times seeds a cell, which is nearly 1."""
    found = spread(bench(RATE), seed=2, draws=256)
    unknown, both = found.inputs("placed.per_area"), found.total("placed.per_area")
    a_cell = both.value / 8
    assert a_cell == pytest.approx(1, abs=0.02)
    closed = 2 * Z * 0.4 * a_cell
    assert width(unknown) == pytest.approx(closed, rel=0.05)  # the outer strata are 2 % wider
    assert width(found.sampling("placed.per_area")) < 0.3 * closed
    # negative control: knowing it twice as well
    half = spread(bench("rate_per_ha={mean=80000, sd=2000}"), seed=2, draws=256)
    assert width(half.inputs("placed.per_area")) == pytest.approx(closed / 2, rel=0.08)


@pytest.mark.parametrize("key", ["per_spacing.quality", "precision", "drop_time.sd"])
def test_where_luck_dominates_the_draws_differ_by_luck_alone(key):
    hardly = spread(bench("tube_wear={mean=0.1, sd=0.0001}"), seed=3, draws=128)
    error = math.sqrt(2 / 127)  # of a variance of 128 normal numbers, over itself
    assert abs(ratio(hardly, key) - 1) < 4 * error
    assert width(hardly.inputs(key)) < math.sqrt(4 * error) * width(hardly.total(key))
    vague = spread(bench("tube_wear={low=0, high=1}"), seed=3, draws=128)  # negative control
    assert ratio(vague, key) - 1 > 4 * error
    assert vague.is_detected(key)


def test_what_two_variants_do_not_know_alike_cancels_in_their_difference():
    changes = [SIZES, RATE, "turns=20"]
    pair = m.compare("maize_bench", vary="notch=0,1", changes=changes, seed=3, draws=32)
    before, after = (spread(bench(RATE, f"notch={k}"), seed=3, draws=32) for k in (0, 1))
    (apart,) = pair.spreads
    key = "placed.per_area"
    differences = after.draws.values[key] - before.draws.values[key]
    assert apart.draws.values[key] == pytest.approx(differences, rel=1e-12)
    assert apart.sampling(key) == pair.differences[0][key]
    unpaired = np.roll(after.draws.values[key], 1) - before.draws.values[key]
    control = Spread("unpaired", (), apart.estimates, Draws({key: unpaired}, {key: unpaired * 0}))
    assert width(apart.total(key)) < 0.3 * width(control.total(key))
    assert repr(apart) == (
        "<Spread of notch=1 minus notch=0: 32 draws of 1 unknown; to_dataframe() shows it>"
    )


def test_a_comparison_of_known_scenarios_draws_nothing():
    known = m.compare("maize_bench", vary="notch=0,1", changes=[SIZES, "turns=5"])
    assert known.draws == known.spreads == ()


def test_the_table_holds_a_row_a_measure():
    pytest.importorskip("pandas")
    frame = spread(bench(VACUUM, turns=5), draws=4).to_dataframe()
    assert list(frame["key"]) == [part.key for part in MEASURES]
    assert (frame["both_high"].dropna() >= frame["both_low"].dropna()).all()


# ---------------------------------------------------------------- commands


@pytest.fixture
def said(capsys):
    """What a command prints."""

    def call(*words):
        assert main(list(words)) == 0
        return capsys.readouterr().out

    return call


SURE = ("--set", SIZES)
VAGUE = (*SURE, "--set", VACUUM, "--turns", "20", "--draws", "8")


def test_run_prints_luck_and_not_knowing_apart(said):
    text = said("run", "maize_bench", *VAGUE)
    assert "not known, and here at its middle: vacuum_kpa from 2 to 4" in text
    assert "luck: 95 % interval   not knowing           both" in text
    assert "8 draws of what is not known, each run once" in text
    assert "so few draws show no 95 %: both is all of them, 78 %" in text
    assert said("run", "maize_bench", *VAGUE) == text
    assert "not know" not in said("run", "maize_bench", *SURE, "--turns", "20")


def test_run_says_when_what_is_not_known_moves_the_middle(said):
    """Skips rise steeply as the vacuum falls; at the middle of the list there are few."""
    change = (
        *SURE,
        "--set",
        "vacuum_kpa={among=[0.4, 0.5, 1.3, 4]}",
        "--turns",
        "20",
        "--draws",
        "40",
    )
    text = said("run", "maize_bench", *change)
    assert "over the draws the median is outside luck's interval:\n             skips (" in text
    narrow = (*SURE, "--set", "vacuum_kpa={low=3.9, high=4.1}", "--turns", "20", "--draws", "40")
    assert "skips (" not in said("run", "maize_bench", *narrow)


def test_json_holds_what_not_knowing_does(said):
    made = json.loads(said("run", "maize_bench", *VAGUE, "--json", "-"))["not_known"]
    assert made["draws"] == 8
    assert made["ranges_si"] == {"vacuum.vacuum": {"low": 2000.0, "high": 4000.0}}
    part = made["spacing"]["mean_m"]
    assert part["both"]["low"] <= part["unknown"]["value"] <= part["both"]["high"]
    assert "not_known" not in json.loads(
        said("run", "maize_bench", *SURE, "--turns", "5", "--json", "-")
    )


def test_compare_prints_what_not_knowing_does_to_differences(said):
    text = said("compare", "maize_bench", "--vary", "notch=0,1", *VAGUE)
    assert "notch=1 minus notch=0: not knowing" in text
    assert "what the scenarios share is drawn alike for all of them" in text
    assert "That is luck alone, at the middle of what is not known." in text


@pytest.mark.slow
def test_compare_names_what_hangs_on_what_is_not_known(said):
    """A notch takes single seeds at a narrow gap, and doubles, which a big hole has, at a wide one.

    The line may name other measures beside.
    """
    pair = ("compare", "maize_bench", "--vary", "notch=0,1", "--turns", "100")
    pair += (*SURE, "--set", "hole_diameter_mm=5.5", "--set")
    said_so = r"^Quality of feed.*: up or down, as what is not known turns out"
    line = re.compile(said_so + r" \(notch=1 minus notch=0\)\.$", re.MULTILINE)
    assert line.search(said(*pair, "gap_mm={low=2.5, high=9}"))
    for sure in ("gap_mm={low=2, high=2.5}", "gap_mm={low=6, high=9}"):
        assert not line.search(said(*pair, sure))


def test_explain_and_sweep_take_the_middle_and_say_so(said, tmp_path):
    change = (*SURE, "--set", VACUUM, "--turns", "5")
    line = "not known, and here at its middle: vacuum_kpa from 2 to 4\n"
    assert said("explain", "maize_bench", *change).count(line) == 1
    out = tmp_path / "rows.csv"
    swept = said("sweep", "maize_bench", *change, "--vary", "notch=0,1", "--out", str(out))
    assert swept.count(line) == 1
    rows = [line for line in out.read_text().splitlines() if not line.startswith("#")]
    known = (*SURE, "--set", "vacuum_kpa=3", "--turns", "5", "--vary", "notch=0,1", "--out")
    said("sweep", "maize_bench", *known, str(tmp_path / "known.csv"))
    told = (tmp_path / "known.csv").read_text().splitlines()
    assert rows == [line for line in told if not line.startswith("#")]


@pytest.mark.parametrize(
    ("command", "words", "line"),
    [
        ("run", [*SURE, "--draws", "8"], "--draws: 8: everything is known; give a key as a range"),
        (
            "compare",
            [*SURE, "--vary", "notch=0,1", "--draws", "8"],
            "--draws: 8: everything is known",
        ),
        ("compare", ["--vary", "notch={low=0, high=1},2"], "takes values; give a range with --set"),
        ("run", ["--set", VACUUM, "--draws", "1"], "--draws: 1: must be a whole number from 2"),
        ("run", ["--set", VACUUM, "--draws", "10001"], "a whole number from 2 to 10,000"),
        ("run", ["--set", "hole_diameter_mm={low=3, high=9}"], "maize_bench: disc.hole_diameter"),
    ],
)
def test_draws_that_cannot_be_are_refused_in_one_line(command, words, line, capsys):
    assert main([command, "maize_bench", *words]) == 2
    out, err = capsys.readouterr()
    assert out == "" and line in err and err.count("\n") == 1


def test_pictures_of_scenarios_with_ranges_are_drawn(said, tmp_path):
    for words in (("run", "maize_bench"), ("compare", "maize_bench", "--vary", "notch=0,1")):
        path = tmp_path / f"{words[0]}.svg"
        said(*words, *VAGUE, "--figure", str(path))
        assert path.stat().st_size > 10_000


# ---------------------------------------------------------------- the lot's range


def test_a_lot_gives_its_range_unless_the_scenario_says_more():
    """The middle is used where one value is needed, and a change of lot brings another range."""
    plain = m.load_scenario("maize_bench")
    (sizes,) = plain.unknown
    assert sizes == plain.lot.size_cvs and sizes.field == "seed__size_cv"
    assert plain.seed.size_cv is None and plain.seeds.size_cv == sizes.middle == 0.05
    assert plain.drawn([0.5]) == plain.replace(seed__size_cv=0.05)
    assert plain.drawn([0.999]).seeds.size_cv > 0.064
    for known in ("size_cv_percent=4", "size_cv_percent={low=1, high=2}"):
        scenario = m.load_scenario("maize_bench", [known])
        assert scenario == scenario_of(plain, known)
        assert sizes not in scenario.unknown
    wheat = ["lot=wheat", "hole_diameter_mm=2"]
    assert m.load_scenario("maize_bench", wheat) == scenario_of(plain, wheat)
    (other,) = scenario_of(plain, wheat).unknown
    assert other == m.load_lot("wheat").size_cvs != sizes
    sure = scenario_of(plain, "size_cv_percent=4")
    assert scenario_of(sure, wheat).unknown == ()
    assert plain.lot.scaled(1.1).size_cvs == sizes and plain.lot.scaled(1.0, 0.1).size_cvs is None


def test_a_written_scenario_leaves_the_range_to_its_lot(tmp_path):
    plain = m.load_scenario("maize_bench")
    path = tmp_path / "own.toml"
    path.write_text(scenario_toml(plain))
    assert "size_cv" not in path.read_text()
    assert m.load_scenario(path).unknown == plain.unknown
    path.write_text(scenario_toml(scenario_of(plain, "size_cv_percent={low=1, high=2}")))
    assert "size_cv_percent = { low = 1, high = 2 }" in path.read_text()
