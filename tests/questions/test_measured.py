"""Measured spacings beside their prediction: the same measures, the cells behind them, the text."""

import functools
import json

import matplotlib.image
import numpy as np
import pytest
from scipy.special import stdtrit

import metersim as m
from metersim.measures.intervals import intervals
from metersim.measures.plants import emerged
from metersim.measures.spacing import spacings_of
from metersim.measures.tally import tally_of
from metersim.questions.measured import study
from metersim.questions.measured.figure import draw_measured
from metersim.questions.shared.page import new_page
from metersim.questions.shared.rowcsv import as_csv
from metersim.questions.shared.spacings import (
    MeasuredSpacings,
    block_sums,
    blocks_for,
    parse_spacings,
)
from metersim.questions.shared.words import WIDE
from tests.rows import cell_spacings

# constructed list of 20 spacings, nominal 6.5 (derived; constructed data)
LISTED = [6.5, 6.0, 7.1, 6.4, 0.8, 5.9, 13.2, 6.6, 6.2, 7.4]
LISTED += [2.9, 9.8, 6.5, 6.7, 19.4, 6.1, 6.3, 7.0, 5.8, 6.9]
SIX_AND_A_HALF = ["row_spacing_in=30", f"rate_per_acre={43560 * 144 / (30 * 6.5)}"]


def file_of(header, values):
    return "\n".join([header, *map(str, values)]) + "\n"


def counted(scenario, spacings, **options):
    """Beside a scenario, spacings [m] given one by one."""
    rows = (np.asarray(spacings, dtype=float),)
    source = MeasuredSpacings(rows=rows, kind="position", column="position_m", where="row.csv")
    return m.measured(scenario, source, **options)


@functools.cache
def bench():
    return m.load_scenario("maize_bench")


@functools.cache
def field():
    return m.load_scenario("maize_field")


@functools.cache
def bench_run(turns=34, seed=77):
    return m.simulate(m.load_scenario("maize_bench", [f"turns={turns}"]), seed=seed)


@functools.cache
def bench_count():
    """1,020 cells of the bench beside the bench."""
    return counted(bench(), spacings_of(bench_run().seeds.position))


def z(estimate, truth):
    """Standard errors between a value and the truth, the interval taken for 1.96 either way."""
    edge = estimate.high if truth > estimate.value else estimate.low
    return (truth - estimate.value) / (abs(edge - estimate.value) / 1.96)


# ---------------------------------------------------------------- the same measures


def test_a_constructed_list_gives_its_indices():
    """Classes 2/15/2/1/0 and what follows from them (derived by hand)."""
    found = counted(m.load_scenario("maize_bench", SIX_AND_A_HALF), np.array(LISTED) * 0.0254)
    assert found.scenario.spacing == pytest.approx(6.5 * 0.0254)
    sums = block_sums(found.rows, found.scenario.spacing, 1)
    assert [int(sums[f"class{k}"][0]) for k in range(1, 6)] == [2, 15, 2, 1, 0]
    expected = {
        "per_spacing.multiple": 0.10,
        "per_spacing.quality": 0.75,
        "per_spacing.miss": 0.15,
        "per_place.single": 0.727273,
        "per_place.multiple": 0.090909,
        "per_place.miss": 0.181818,
        "precision": 0.0715643,
        "spacing.mean": 7.175 * 0.0254,
        "spacing.sd": 3.710281 * 0.0254,
        "spacing.cv": 3.710281 / 7.175,
    }
    for key, value in expected.items():
        assert found[key].measured.value == pytest.approx(value, rel=2e-6), key


@pytest.mark.slow
def test_twenty_spacings_give_measures_and_say_how_many_a_fit_needs(done, folder):
    (folder / "list.csv").write_text(file_of("spacing_in", LISTED))
    changes = [word for change in SIX_AND_A_HALF for word in ("--set", change)]
    text = done("measured", "maize_bench", "list.csv", "--units", "us", "--details", *changes)
    assert text.startswith("20 spacings are too short for a verdict; 100 are needed.")
    assert "20 spacings are too few for intervals and a fit: 100 are needed" in text
    assert "75.00 %" in text and "7.16 %" in text and "Fitted" not in text
    data = json.loads(done("measured", "maize_bench", "list.csv", "--json", "-", *changes))
    assert data["measured"]["classes"] == [2, 15, 2, 1, 0]
    assert data["precision"]["measured"] == {
        "value": pytest.approx(0.0715643, rel=1e-5),
        "low": None,
        "high": None,
    }
    assert "fit" not in data and data["fitted_spacings"] == 0


@pytest.mark.slow
def test_measures_are_those_of_a_run():
    """Spacings read from a run's own file give the measures that the run gives itself."""
    run = bench_run(5)
    own = m.measure(tally_of(run, 1))
    found = m.measured(bench(), parse_spacings(as_csv([run]), "row.csv"))
    for key in study.KEYS:
        assert found[key].measured.value == pytest.approx(own[key].value, rel=1e-9), key


def test_sums_of_blocks_add_up_to_those_of_the_row():
    rng = np.random.default_rng(1)
    rows = [rng.exponential(size=n) for n in (40, 3, 77)]
    whole, parts = block_sums(rows, 0.2, 1), block_sums(rows, 0.2, 9)
    for name in whole:
        assert parts[name].sum() == pytest.approx(whole[name][0]), name


def test_a_row_of_cells_knows_its_mean_better_than_single_spacings_would():
    """What one spacing has too much, the next has too little: blocks of ten see most of that.

    The mean of ten spacings between seeds that err by themselves has a tenth of the variance that
    ten spacings of such a spread would give it.
    """
    rng = np.random.default_rng(5)
    own, mixed = [], []
    for _ in range(30):
        spacings = np.diff(np.arange(101) + rng.normal(0, 0.1, 101)) * bench().spacing
        for row, found in ((spacings, own), (rng.permutation(spacings), mixed)):
            blocks = blocks_for(len(row))
            sums = block_sums([row / bench().spacing], bench().spacing, blocks)
            (mean,) = intervals(
                np.stack([sums["excess"], sums["spacings"]], axis=1),
                [lambda totals: totals[..., 0] / totals[..., 1]],
                rng,
            )
            naive = 1.96 * row.std() / bench().spacing / np.sqrt(len(row))
            found.append((mean.high - mean.low) / (2 * naive))
    ratio = stdtrit(9, 0.975) / 1.96  # of Student's width for ten blocks
    for found, expected in ((own, ratio / np.sqrt(10)), (mixed, ratio)):
        error = np.std(found, ddof=1) / np.sqrt(len(found))
        assert abs(np.mean(found) - expected) < 4 * error + 0.04 * expected


# ---------------------------------------------------------------- recovery


@pytest.mark.slow
def test_the_bench_is_recovered_from_its_spacings():
    """Skips, doubles and scatter of the seeds that were measured, as the records have them.

    Scatter makes about as many misses as skips do on the bench.  That is a point in a hundred, so
    12,000 cells detect it, whatever their seed: their standard error is an eighth of it.
    """
    found, run = bench_count(), bench_run()
    released = run.cells.released
    scatter = np.std(run.seeds.position - run.seeds.cell * bench().spacing)
    truth = {
        "fit.skip": np.mean(released == 0),
        "fit.double": np.mean(released >= 2),
        "fit.scatter": scatter,
        "fit.distance": 1.0,
    }
    assert all(abs(z(found[key].measured, value)) < 4 for key, value in truth.items())
    # control: misses of spacings, which scatter makes too, are no skips
    control = bench_run(400)
    misses = m.measure(control)["per_spacing.miss"]
    assert z(misses, np.mean(control.cells.released == 0)) < -4


def test_the_scatter_that_is_predicted_is_about_the_seeds_own_cells():
    """By the records, cell by cell; the row itself spreads a hundred times as far."""
    run, spacing = bench_run(5), bench().spacing
    own = run.seeds.position - run.seeds.cell * spacing
    predicted = study._truth([run])["fit.scatter"] * spacing
    assert predicted == pytest.approx(own.std())
    assert 100 * predicted < run.seeds.position.std()


@pytest.mark.study
@pytest.mark.slow
def test_plants_in_the_field_give_their_emergence_or_their_skips():
    chance, changes = 0.92, ["turns=40", "vacuum_kpa=1.8"]
    scenario = m.load_scenario("maize_field", changes)
    run = m.simulate(scenario, seed=78)
    skips = np.mean(run.cells.released == 0)
    assert skips > 0.01
    plants = spacings_of(emerged(run, chance, 0.0).seeds.position)
    unknown = counted(scenario, plants)
    assert unknown.emergence == "fitted" and "fit.skip" not in unknown
    assert abs(z(unknown["fit.emergence"].measured, chance)) < 4
    assert abs(z(unknown["fit.emergence"].measured, 1.0)) > 4  # control
    known = counted(scenario, plants, emergence=chance)
    assert known.emergence == "given" and "fit.emergence" not in known
    assert abs(z(known["fit.skip"].measured, skips)) < 4
    dug = counted(scenario, plants, emergence=1.0)
    assert z(dug["fit.skip"].measured, skips) < -4  # control: what did not come up is no skip


@pytest.mark.slow
def test_a_sensor_is_held_against_what_a_sensor_shows():
    """Pulses scatter less than seeds in the furrow; both predictions are of what was measured."""
    run = m.simulate(m.load_scenario("maize_field", ["turns=14"]), seed=79)
    times = np.sort(run.seeds.sensor_time[run.seeds.seen])
    found = m.measured(field(), parse_spacings(file_of("time_s", times), "pulses.csv"))
    seeds = run.seeds
    off = seeds.sensor_time[seeds.seen] * field().demand.speed
    off -= seeds.cell[seeds.seen] * field().spacing
    assert found.emergence == "seeds" and abs(z(found["fit.scatter"].measured, off.std())) < 4
    assert not found["precision"].differs
    laid = counted(field(), spacings_of(run.seeds.position), emergence=1.0)
    assert laid["fit.scatter"].measured.low > found["fit.scatter"].measured.high
    assert laid["precision"].predicted.low > found["precision"].predicted.high


@pytest.mark.slow
def test_slip_is_seen_as_a_distance_of_cells():
    found = counted(bench(), 1.06 * spacings_of(bench_run(6).seeds.position))
    assert abs(z(found["fit.distance"].measured, 1.06)) < 4 and found["fit.distance"].differs


# ---------------------------------------------------------------- the prediction


@pytest.mark.slow
def test_counts_of_the_scenario_itself_lie_in_their_range():
    """19 of 20, for measures that are no small whole numbers; shares lie inside more often."""
    runs = study._runs(bench(), 300, 1)
    predicted = [spacings_of(run.seeds.position) / bench().spacing for run in runs]
    short, samples, out = (
        m.load_scenario("maize_bench", ["turns=10"]),
        60,
        dict.fromkeys(study.KEYS, 0),
    )
    for seed in range(samples):
        row = spacings_of(m.simulate(short, seed=500 + seed).seeds.position) / bench().spacing
        found = study._measures([row], predicted, bench().spacing, 1, 0.95)
        for key in out:
            out[key] += found[key].differs
    error = np.sqrt(0.05 * 0.95 / samples)
    assert all((many / samples - 0.05) / error < 4 for many in out.values())
    worn = m.simulate(m.load_scenario("maize_bench", ["turns=10", "tube_wear=1"]), seed=1)
    row = spacings_of(worn.seeds.position) / bench().spacing
    found = study._measures([row], predicted, bench().spacing, 1, 0.95)
    assert found["spacing.sd"].differs and found["precision"].differs  # control


def test_the_range_of_counts_narrows_with_the_root_of_the_count():
    runs = study._runs(bench(), 300, 1)
    predicted = [spacings_of(run.seeds.position) / bench().spacing for run in runs]
    wide = {}
    for many in (200, 3200):
        row = predicted[0][:many]
        one = study._measures([row], predicted, bench().spacing, 1, 0.95)["precision"].predicted
        wide[many] = one.high - one.low
    assert wide[200] / wide[3200] == pytest.approx(4, rel=0.15)


@pytest.mark.slow
def test_emergence_thins_the_prediction():
    rng = np.random.default_rng(3)
    row = cell_spacings(rng, 200, empty=0, double=0, scatter=0.15) * field().spacing
    found = counted(field(), row, emergence=0.8)
    seeds = counted(field(), row, emergence=1.0)
    mean = [one["spacing.mean"].predicted.value for one in (found, seeds)]
    assert mean[0] / mean[1] == pytest.approx(1 / 0.8, rel=0.01)
    assert found["fit.skip"].measured.value == 0  # fewer are missing than would not have come up


@pytest.mark.slow
def test_what_is_not_known_is_taken_at_its_middle():
    vague = m.load_scenario("maize_bench", ["vacuum_kpa={low=3.5, high=4.5}"])
    row = spacings_of(bench_run(6).seeds.position)
    one, other = counted(vague, row), counted(bench(), row)
    assert one["precision"].predicted == other["precision"].predicted


@pytest.mark.slow
def test_the_same_seed_gives_the_same_and_another_does_not():
    row = spacings_of(bench_run(6).seeds.position)
    one, same, other = (counted(bench(), row, seed=seed) for seed in (0, 0, 1))
    assert dict(one) == dict(same)
    assert one["precision"].predicted != other["precision"].predicted
    assert one["fit.skip"].measured == other["fit.skip"].measured


# ---------------------------------------------------------------- what is told


@pytest.mark.study
@pytest.mark.slow
def test_what_looks_wrong_is_said(done, folder):
    rng = np.random.default_rng(5)
    row = 16.67 * cell_spacings(rng, 140, empty=0.03, double=0.02, scatter=0.08)
    (folder / "plain.csv").write_text(file_of("spacing_cm", row))
    (folder / "gap.csv").write_text(file_of("spacing_cm", [*row, 900, *row]))
    (folder / "slip.csv").write_text(file_of("spacing_cm", 1.1 * row))
    plain = done("measured", "maize_bench", "plain.csv", "--details")
    assert "begin a row" not in plain and "wheel slip" not in plain
    gap = done("measured", "maize_bench", "gap.csv", "--details")
    assert "1 of the spacings are over 12 nominal ones" in gap
    slip = " ".join(done("measured", "maize_bench", "slip.csv", "--details").split())
    assert "of the nominal spacing" in slip and "the header may state a wrong unit" in slip


@pytest.fixture
def row_csv(folder):
    run = bench_run(5)
    (folder / "row.csv").write_text(as_csv([run]))
    return "row.csv"


@pytest.mark.slow
def test_the_text_says_what_was_measured_and_what_it_is_beside(row_csv, done):
    text = done("measured", "maize_bench", row_csv, "--details")
    assert all(len(line) <= WIDE for line in text.splitlines())
    assert "spacings, from the places along the row in position_m" in text
    assert "every empty cell is a skip" in text and "Fitted     skips" in text
    us = done("measured", "maize_bench", row_csv, "--units", "us", "--details")
    assert " cm" not in us and " in " in us


@pytest.mark.slow
def test_the_field_says_what_cannot_be_distinguished(row_csv, done):
    fitted = done("measured", "maize_field", row_csv, "--details")
    said = "Spacings alone do not distinguish them: skips are taken from the prediction"
    assert said in " ".join(fitted.split())
    given = done("measured", "maize_field", row_csv, "--emergence", "95", "--details")
    assert "skips are fitted with the emergence of 95 %" in " ".join(given.split())


@pytest.mark.study
@pytest.mark.slow
def test_everything_is_written_in_si(row_csv, done, folder):
    done("measured", "maize_bench", row_csv, "--json", "out.json", "--figure", "out.png")
    data = json.loads((folder / "out.json").read_text())
    found = m.measured("maize_bench", row_csv)
    fit = data["fit"]["scatter_m"]
    assert fit["measured"]["value"] == found["fit.scatter"].measured.value
    assert data["spacing"]["mean_m"]["predicted"] == found["spacing.mean"].predicted.to_dict()
    assert data["per_spacing"]["miss"]["differs"] is False
    assert data["emergence"] == {"taken": "seeds", "share": 1.0}
    assert data["provenance"]["scenario"] == "maize_bench"
    assert (
        done("measured", "maize_bench", row_csv, "--json", "-") == (folder / "out.json").read_text()
    )
    assert matplotlib.image.imread(folder / "out.png").ndim == 3


@pytest.mark.slow
def test_the_picture_shows_shares_of_all_spacings():
    found = bench_count()
    ax = new_page(5).add_axes((0.1, 0.1, 0.8, 0.8))
    bars, steps, line = draw_measured(ax, found)
    assert bars.get_data().values.sum() == pytest.approx(100)
    assert steps.get_data().values.sum() == pytest.approx(100)
    assert np.sum(line.get_ydata()) == pytest.approx(100, abs=1.5)
    multiple = found["per_spacing.multiple"].measured.value
    assert bars.get_data().values[:5].sum() == pytest.approx(100 * multiple)


@pytest.mark.slow
def test_a_table_of_all(row_csv):
    pytest.importorskip("pandas")
    table = m.measured("maize_bench", row_csv).to_dataframe().set_index("key")
    assert set(study.KEYS) <= set(table.index) and "fit.skip" in table.index
    assert table.loc["precision", "measured_low"] < table.loc["precision", "measured_value"]


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize("percent", ["0", "101", "-5", "nan", "inf"])
def test_an_emergence_that_cannot_be(percent, row_csv, told):
    (line,) = told("measured", "maize_field", row_csv, f"--emergence={percent}")
    assert line.startswith("--emergence: ") and "a number of percent, from 1 to 100" in line


def test_emergence_is_of_plants(row_csv, told, folder):
    (line,) = told("measured", "maize_bench", row_csv, "--emergence", "95")
    assert line == "--emergence: on a bench nothing comes up; leave it out"
    (folder / "pulses.csv").write_text(file_of("time_ms", range(0, 5000, 100)))
    (line,) = told("measured", "maize_field", "pulses.csv", "--emergence", "95")
    assert line == "--emergence: a sensor counts seeds, not plants; leave it out"


def test_all_faults_are_told_at_once(told, folder):
    (folder / "short.csv").write_text(file_of("spacing_cm", [16] * 7))
    lines = told(
        "measured",
        "maize_bench",
        "short.csv",
        "--set",
        "cells=3",
        "--seed",
        "x",
        "--figure",
        "a.bmp",
    )
    assert len(lines) == 4
    assert "short.csv: has 7 spacings; at least 20 are needed" in lines


def test_the_measured_file_is_not_written_over(row_csv, told):
    (line,) = told("measured", "maize_bench", row_csv, "--json", row_csv)
    assert "would take the place of an input" in line


@pytest.mark.slow
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("name", ["maize_field", "maize_bench"])
def test_what_lays_no_seed_is_told_beside_what_was_measured(name, done, folder):
    (folder / "tape.csv").write_text(file_of("spacing_cm", [16, 17, 18, 17] * 30))
    text = done("measured", name, "tape.csv", "--set", "gap_mm=15", "--set", "vacuum_kpa=0")
    assert "nan" not in text
