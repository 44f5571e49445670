"""What `measured` answers first: a verdict with stated false alarms, rows, units and gaps."""

import functools
import json
import re
from types import SimpleNamespace

import numpy as np
import pytest

import metersim as m
from metersim.measures.intervals import Estimate
from metersim.measures.spacing import spacings_of
from metersim.questions.measured import study
from metersim.questions.measured.answer import measured_answer
from metersim.questions.measured.rows import (
    SCATTER,
    RowFit,
    fitted_rows,
    joined,
    row_differences,
    widening,
)
from metersim.questions.measured.units import unit_slip
from metersim.questions.measured.verdict import (
    findings,
    is_misfit,
    longest_gaps,
    population,
    visible,
)
from metersim.questions.shared.answer import LINES, MOST_ROWS
from metersim.questions.shared.rowcsv import as_csv
from metersim.questions.shared.spacings import MeasuredSpacings, parse_spacings
from metersim.questions.shared.words import WIDE
from tests.rows import cell_spacings

RETIRED = {"luck", "tell", "told", "show", "milder", "settle", "settled", "points"}
TRUTH = {"fit.skip": 0.01, "fit.double": 0.02, "fit.scatter": 0.15, "fit.distance": 1.0}
WORN = {"tube__tube_wear": 1.0}


@functools.cache
def scenario(name="maize_bench"):
    return m.load_scenario(name)


@functools.cache
def spacings(turns=10, seed=1, name="maize_bench", **changes):
    one = scenario(name).replace(run__turns=turns, **changes)
    return tuple(spacings_of(m.simulate(one, seed=seed).seeds.position))


_runs = study._runs


_predicted = {}


def _long(one, seed):
    key = (one.name, seed)
    if key not in _predicted:
        _predicted[key] = _runs(one, 400, seed)
    return _predicted[key]


@pytest.fixture
def predicted_once(monkeypatch):
    """One long prediction for all files: they differ in what was measured alone."""
    monkeypatch.setattr(study, "_runs", lambda one, size, seed: _long(one, seed))


def source(rows, labels=(), starts=()):
    rows = tuple(np.asarray(row, dtype=float) for row in rows)
    return MeasuredSpacings(
        rows=rows,
        kind="position",
        column="position_m",
        where="row.csv",
        labels=tuple(labels),
        starts=tuple(starts),
    )


def file_of(header, values):
    return "\n".join([header, *map(str, values)]) + "\n"


def of_rows(rows, column="spacing_cm"):
    """A file of several rows, from spacings [m]."""
    lines = [f"{100 * one:.2f},{label}" for label, row in rows.items() for one in row]
    return file_of(f"{column},row", lines)


def fits_in_a_terminal(text):
    lines = text.splitlines()
    assert len(lines) <= LINES and max(map(len, lines)) <= WIDE
    assert lines[-1].startswith("More: --details")
    assert any(line.startswith("Assumes: ") for line in lines)
    assert not RETIRED & set(re.findall("[a-z]+", text.lower()))
    return lines


# ---------------------------------------------------------------- false alarms


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_files_of_the_program_itself_differ_in_one_of_twenty_at_most():
    """Sixty files of `run --csv`: neither a difference nor a misfit, but for sampling error."""
    field, short = scenario("maize_field"), scenario("maize_field").replace(run__turns=10)
    samples, alarms = 60, 0
    for seed in range(samples):
        content = as_csv([m.simulate(short, seed=3000 + seed)])
        found = m.measured(field, parse_spacings(content, "row.csv"), emergence=1.0)
        alarms += bool(findings(found)) or is_misfit(found) or found.slip is not None
    assert (alarms / samples - 0.05) / np.sqrt(0.05 * 0.95 / samples) < 4
    worn = [spacings(10, seed, "maize_field", **WORN) for seed in range(8)]
    made = [m.measured(field, source([row]), emergence=1.0) for row in worn]
    scatter = [any(one.name == SCATTER for one in findings(found)) for found in made]
    assert np.mean(scatter) > 0.5  # control


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", ["maize_bench", "soybean_narrow_rows"])
def test_a_long_file_of_the_program_itself_is_described_by_its_fit(name):
    """5,000 spacings detect what the fitted form lacks; that is no fault of the spacings."""
    one = scenario(name)
    turns = round(5000 / one.disc.cells)
    own = np.array(spacings(turns, 900, name))
    assert not is_misfit(m.measured(one, source([own])))
    places = np.cumsum(own)
    mixed = np.diff(np.sort([*places, *(places + 0.37 * one.spacing)]))  # two rows in one
    assert is_misfit(m.measured(one, source([mixed])))  # control


@pytest.mark.study
@pytest.mark.slow
def test_rows_that_are_alike_are_distinguished_in_one_of_twenty_at_most():
    rng, alarms, samples = np.random.default_rng(8), 0, 40
    made = dict(empty=0.02, double=0.02, scatter=0.15)
    for _ in range(samples):
        rows = [cell_spacings(rng, 150, **made) for _ in range(3)]
        alarms += bool(row_differences(fitted(rows)))
    assert (alarms / samples - 0.05) / np.sqrt(0.05 * 0.95 / samples) < 4
    hits = 0
    for _ in range(8):
        rows = [cell_spacings(rng, 150, **{**made, "scatter": each}) for each in (0.15, 0.3, 0.15)]
        hits += [(one.label, one.name) for one in row_differences(fitted(rows))] == [("1", SCATTER)]
    assert hits >= 6  # control


def fitted(rows):
    labels = [str(k) for k in range(len(rows))]
    return fitted_rows(source(rows, labels), 1.0, TRUTH, "seeds", 1.0, nominal=1.0, level=0.95)


def test_more_comparisons_widen_intervals_and_one_does_not():
    assert widening(300, 1, 0.95) == pytest.approx(1)
    factors = [widening(300, many, 0.95) for many in (1, 3, 12)]
    assert factors == sorted(factors) and factors[2] > 1.3
    assert widening(150, 12, 0.95) > widening(450, 12, 0.95)  # Student's, of fewer blocks


def test_a_row_differs_by_the_distance_of_its_interval_from_the_others():
    """Closed form on the logarithm: ends e**(+-w); two rows alike in all but their values."""

    def row(label, value, w):
        return RowFit(label, 300, {SCATTER: Estimate(value, value * np.exp(-w), value * np.exp(w))})

    w = 0.1
    edge = np.sqrt(2) * w  # one comparison is not widened
    for gap, differs in ((0.99 * edge, False), (1.01 * edge, True)):
        (pair) = row_differences([row("a", 1.0, w), row("b", np.exp(gap), w)])
        assert [one.label for one in pair] == ["b"] * differs


# ---------------------------------------------------------------- rows


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_the_worn_row_is_named_with_its_part_and_a_caution(folder, done):
    rows = {"1": spacings(8, 1), "2": spacings(8, 2), "3": spacings(8, 3, **WORN)}
    (folder / "rows.csv").write_text(of_rows(rows))
    text = done("measured", "maize_bench", "rows.csv")
    lines = fits_in_a_terminal(text)
    assert lines[0].startswith("Caution: stop machine and fan")
    assert lines[1].startswith("3 scatters more: ") and lines[1].endswith("Likely: tube.")
    table = [line for line in lines if re.match(r"[123]  ", line)]
    assert len(table) == 3 and [line.count("*") for line in table] == [0, 0, 1]
    data = json.loads(done("measured", "maize_bench", "rows.csv", "--json", "-"))
    assert [(one["row"], one["measure"]) for one in data["rows_that_differ"]] == [("3", SCATTER)]
    assert [one["spacings"] for one in data["each"]] == [len(row) for row in rows.values()]
    assert data["each"][2]["scatter_m"]["low"] > data["each"][0]["scatter_m"]["value"]


@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_several_files_are_compared_and_alike_ones_are_not_distinguished(folder, done, told):
    for k, name in enumerate(("left.csv", "right.csv")):
        values = (100 * np.array(spacings(8, 11 + k))).round(2)
        (folder / name).write_text(file_of("spacing_cm", values))
    lines = fits_in_a_terminal(done("measured", "maize_bench", "left.csv", "right.csv"))
    assert lines[0] == "These 2 rows cannot be distinguished in any measure."
    assert [line[:9].strip() for line in lines if line.startswith(("left", "right"))] == [
        "left.csv",
        "right.csv",
    ]
    (line,) = told("measured", "maize_bench", "left.csv", "left.csv")
    assert "left.csv is given twice" in line


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_many_rows_fit_the_table_and_short_ones_are_too_short(folder, done):
    rows = {f"r{k}": spacings(8, 1)[:25] for k in range(MOST_ROWS + 3)}
    (folder / "rows.csv").write_text(of_rows(rows))
    lines = fits_in_a_terminal(done("measured", "maize_bench", "rows.csv"))
    assert "too short for a verdict: 100 spacings in each" in lines[0]
    assert any(line.startswith("4 more: --details") for line in lines)
    long = done("measured", "maize_bench", "rows.csv", "--details")
    assert all(f"r{k} " in long.partition("beside")[0] for k in range(MOST_ROWS + 3))


def test_times_and_lengths_are_not_joined():
    times = MeasuredSpacings(
        rows=(np.full(30, 0.1),), kind="time", column="time_s", where="b.csv", labels=()
    )
    with pytest.raises(m.BadInput, match="some files give times"):
        joined([source([np.full(30, 0.16)]), times])


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("column", "factor", "meant"),
    [
        ("spacing_cm", 10, "spacing_mm"),
        ("position_mm", 0.1, "position_cm"),
        ("spacing_in", 2.54, "spacing_cm"),
        ("spacing_cm", 1 / 2.54, "spacing_in"),
        ("spacing_in", 25.4, "spacing_mm"),
        ("spacing_mm", 1 / 25.4, "spacing_in"),
        ("spacing_m", 10, ""),
        ("time_s", 10, ""),
    ],
)
def test_a_unit_slip_is_suspected_with_its_answer(column, factor, meant):
    rng = np.random.default_rng(2)
    row = cell_spacings(rng, 120, empty=0.05, double=0.01, scatter=0.1)
    slip = unit_slip([factor * row], column)
    assert slip is not None and slip.meant == meant
    assert (meant in slip.question()) if meant else "Check the unit" in slip.question()


def test_other_means_are_no_slip():
    """Control: half and double rates, and rows with every fifth seed missing."""
    rng = np.random.default_rng(2)
    for factor in (0.5, 0.8, 1.0, 1.25, 2.0, 3.0, 5.0):
        row = cell_spacings(rng, 120, empty=0.0, double=0.01, scatter=0.1)
        assert unit_slip([factor * row], "spacing_cm") is None, factor


@pytest.mark.usefixtures("predicted_once")
def test_a_slip_is_asked_about_once_and_gives_no_verdict(folder, done):
    values = (1000 * np.array(spacings(8, 1))).round(1)
    (folder / "tape.csv").write_text(file_of("spacing_cm", values))
    text = done("measured", "maize_bench", "tape.csv")
    lines = fits_in_a_terminal(text)
    assert lines[0] == "No verdict: the unit of the file is in doubt."
    assert "Is the file in mm? Then name its column spacing_mm." in lines[1]
    assert text.count("?") == 1 and "Note" not in text
    data = json.loads(done("measured", "maize_bench", "tape.csv", "--json", "-"))
    assert data["suspected_unit"]["meant"] == "spacing_mm" and "fit" not in data


# ---------------------------------------------------------------- the stand, gaps, what is visible


@pytest.mark.slow
def test_an_even_row_has_the_population_of_its_spacing():
    found = m.measured(scenario(), source([np.full(150, 0.2)]))
    stand, row = population(found), scenario().demand.row_spacing
    assert stand.value == pytest.approx(1 / (0.2 * row))
    assert stand.low == pytest.approx(stand.value) == stand.high


@pytest.mark.slow
def test_the_population_holds_the_rate_of_the_scenario():
    field = scenario("maize_field")
    found = m.measured(field, source([spacings(20, 5, "maize_field")]))
    stand = population(found)
    assert stand.low < stand.value < stand.high
    assert stand.low < 1 / (np.mean(spacings(20, 5, "maize_field")) * field.demand.row_spacing)
    assert stand.high / stand.low < 1.1


@pytest.mark.slow
def test_the_longest_gaps_are_listed_by_their_places():
    row = np.full(140, 0.17)
    row[[20, 50, 90]] = (0.9, 0.7, 0.8)
    gaps = longest_gaps(m.measured(scenario(), source([row], starts=[3.0])))
    assert [one.length for one in gaps] == pytest.approx([0.9, 0.8, 0.7])
    begins = [3 + 20 * 0.17, 3 + 88 * 0.17 + 1.6, 3 + 49 * 0.17 + 0.9]
    assert [one.begin for one in gaps] == pytest.approx(begins)


@pytest.mark.parametrize("many", [40, 60, 300])
def test_what_cannot_be_distinguished_is_detected_in_four_of_five_counts_at_most(many):
    """Independent spacings: a count about the lower share lies outside the range of the upper."""
    share, rng = 0.92, np.random.default_rng(4)
    sd = np.sqrt(share * (1 - share) / many)
    edges = Estimate(share, share - 1.96 * sd, share + 1.96 * sd)
    pair = SimpleNamespace(predicted=edges)

    class Found(dict):
        level = 0.95

    low, high = visible(Found({"per_spacing.quality": pair}))
    assert high == share and low < high

    def detected(at):
        counts = rng.binomial(many, at, 20_000) / many
        return np.mean(counts < edges.low)

    assert detected(low) < 0.8 + 0.08  # the step of a count of whole spacings
    assert detected(low - 0.04) > 0.8  # control: a larger difference is visible


def test_more_spacings_distinguish_more():
    gaps = []
    for many in (40, 160, 640):
        sd = np.sqrt(0.92 * 0.08 / many)
        pair = SimpleNamespace(predicted=Estimate(0.92, 0.92 - 1.96 * sd, 0.92 + 1.96 * sd))
        found = type("Found", (dict,), {"level": 0.95})({"per_spacing.quality": pair})
        low, high = visible(found)
        gaps.append(high - low)
    assert gaps == sorted(gaps, reverse=True) and gaps[0] > 2.5 * gaps[2]


# ---------------------------------------------------------------- the answer


@pytest.mark.usefixtures("predicted_once")
def test_the_answer_says_first_what_differs_and_what_is_too_short():
    own = m.measured(scenario(), source([spacings(10, 1)]))
    lines = fits_in_a_terminal(measured_answer(own))
    assert lines[0] == f"No difference from the prediction is detected in {own.size} spacings."
    assert re.match(rf"{own.size} spacings cannot distinguish \d+ % from \d+ % normal", lines[1])
    assert lines[2].startswith("Seeds in the row: ") and "per ha" in lines[2]
    short = m.measured(scenario(), source([spacings(10, 1)[:60]]))
    lines = fits_in_a_terminal(measured_answer(short, "us"))
    assert lines[0] == "60 spacings are too short for a verdict; 100 are needed."
    assert lines[1].startswith("60 spacings cannot distinguish ") and "per acre" in lines[2]
    assert "Caution" not in "\n".join(lines)


@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_a_difference_is_given_with_both_values_and_the_likely_part():
    worn = m.measured(scenario(), source([spacings(20, 4, **WORN)]))
    lines = fits_in_a_terminal(measured_answer(worn))
    assert lines[0].startswith("Caution: stop machine and fan")
    assert re.fullmatch(
        r"Spacings scatter more than predicted: [\d.]+ %, predicted [\d.]+ %. Likely part: tube.",
        lines[1],
    )
    # a singulator far too gentle leaves doubles, which come first; they scatter more themselves
    for changes, name, part in (
        ({"singulator__notch": -3.0}, "doubles", "singulator"),
        ({"vacuum__vacuum": 2000.0}, "skips", "singulator or vacuum"),
    ):
        found = m.measured(scenario(), source([spacings(20, 4, **changes)]))
        first, *others = findings(found)
        assert (first.name, first.is_higher) == (name, True)
        assert all("or the doubles" in one.part for one in others)
        lines = fits_in_a_terminal(measured_answer(found))
        assert lines[1].startswith(f"There are more {name} than predicted: ")
        assert lines[1].endswith(f"Likely part: {part}.")


@pytest.mark.slow
@pytest.mark.usefixtures("predicted_once")
def test_in_the_field_the_answer_names_what_it_assumes():
    found = m.measured("maize_field", source([spacings(10, 2, "maize_field")]))
    text = measured_answer(found)
    fits_in_a_terminal(text)
    assert "seeds that emerged" in text and "skips as predicted" in " ".join(text.split())
    assert "Plants in the row" in text
