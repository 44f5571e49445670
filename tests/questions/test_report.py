"""The report in one file: the numbers of a run, nothing from elsewhere, the same bytes again."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest

from metersim.cli import main, read
from metersim.machine.reading import load_scenario
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.limits import causes
from metersim.questions.compare.study import compare
from metersim.questions.report import study
from metersim.questions.report.command import again
from metersim.questions.report.page import report_html, settings_text
from metersim.questions.report.study import STEPPED, cells_of, moves_of, report_on
from metersim.questions.report.text import (
    first_lines,
    measure_rows,
    settings_rows,
    unseen_lines,
    warnings,
)
from metersim.questions.report.unseen import distance, unseen_like
from metersim.questions.shared.answer import told
from metersim.questions.shared.unseen import UNSEEN
from tests.webpage import Page

SHORT = ["turns=20"]
RANGE = "vacuum_kpa={low=3,high=4}"
COMMAND = "metersim report maize_field"
WICKED = '<script>alert("x")</script> & <b>corn</b>'


@pytest.fixture(scope="module", autouse=True)
def few_moves():
    """One setting is stepped, with two draws: steps take the time of a report."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(study, "MOVED_DRAWS", 2)
        patch.setattr(study, "possible", lambda *_: [{"notch": -1}, {"notch": 1}])
        yield


@pytest.fixture(scope="module")
def report():
    scenario = load_scenario("maize_field", [*SHORT, RANGE])
    return report_on(replace(scenario, title=WICKED), seed=3, draws=4)


@pytest.fixture(scope="module")
def page(report):
    return report_html(report, command=COMMAND)


@pytest.mark.slow
def test_numbers_are_those_of_a_run(report, page, folder_of_run):
    run = json.loads(folder_of_run)
    total = 0
    for key, measure in BY_KEY.items():
        at = run
        for part in key.split("."):
            at = at.get(part, {})
        if not at or key not in report.spread.measures:
            continue
        found = report.total(key)
        same = Estimate(*(np.nan if one is None else one for one in (at["value"], *ends(at))))
        assert np.array_equal([*vars(found).values()], [*vars(same).values()], equal_nan=True), key
        total += 1
        assert told(measure.kind, same) == told(measure.kind, found)
    assert total == 18
    text = Page(page).text
    for _, value, interval in measure_rows(report):
        assert f"{value} {interval}" in text
    (main_cause, *_) = causes(report.measured)
    assert f"Main cause of uneven spacing: {main_cause.name}" in text


def ends(at):
    """Ends of an interval in JSON."""
    return at["low"], at["high"]


@pytest.fixture(scope="module")
def folder_of_run(tmp_path_factory):
    """JSON of the run of the same scenario, seed and draws."""
    path = tmp_path_factory.mktemp("run") / "run.json"
    sets = [word for change in (*SHORT, RANGE) for word in ("--set", change)]
    words = ["run", "maize_field", *sets, "--seed", "3", "--draws", "4", "--json", str(path)]
    assert main(words) == 0
    return path.read_text()


@pytest.mark.slow
def test_a_page_stands_alone_and_shows_an_odd_title(page):
    found = Page(page)
    assert found.faults == []
    assert "script" not in found.tags and "http" not in page
    assert WICKED in found.texts
    assert found.tags.count("figure") == 4 and found.tags.count("table") >= 4
    assert 'name="viewport"' in page and "size: A4" in page


@pytest.mark.slow
def test_the_answer_comes_first(report, page):
    found = Page(page)
    lines = first_lines(report)
    assert len(lines) == 3
    at = [found.texts.index(line) for line in lines]
    assert at == list(range(at[0], at[0] + 3))
    assert at[0] < found.texts.index("Settings") < found.texts.index("How the seeds lie")
    caution = next(k for k, text in enumerate(found.texts) if text.startswith("Caution: "))
    assert caution < next(
        k for k, text in enumerate(found.texts) if text == "One notch more aggressive"
    )


@pytest.mark.slow
def test_the_same_report_is_the_same_bytes(report, page):
    scenario = replace(load_scenario("maize_field", [*SHORT, RANGE]), title=WICKED)
    made = report_on(scenario, seed=3, draws=4)
    assert report_html(made, command=COMMAND) == page


@pytest.mark.slow
def test_settings_in_the_report_make_the_same_report(report, folder):
    """The text of the scenario, saved and read, gives the same answer."""
    (folder / "maize_field.toml").write_text(settings_text(report.scenario, "metric"))
    made = report_on(load_scenario("maize_field.toml"), seed=3, draws=4)
    assert first_lines(made) == first_lines(report)
    assert measure_rows(made) == measure_rows(report)


def test_the_command_names_what_was_typed():
    typed = "report own/field.toml --set notch=1 --turns 20 --units us --seed 3 --out a.html"
    assert again(read(typed.split()), 3, 4) == (
        "metersim report field.toml --set notch=1 --set run.turns=20 --seed 3 --draws 4 "
        "--units us --out report.html"
    )


def test_a_range_is_shown_as_a_range():
    scenario = load_scenario("maize_bench", [RANGE, "tube_wear=0.4"])
    rows = {row[0]: row[1:] for row in settings_rows(scenario)}
    assert rows["Vacuum"] == ("from 3 to 4 kPa (not known exactly)", "vacuum_kpa")
    assert rows["Wear of the tube, 0 new to 1 worn out"] == ("0.4", "tube_wear")
    us = {row[0]: row[1] for row in settings_rows(scenario, "us")}
    assert us["Vacuum"] == "from 12 to 16.1 inH2O (not known exactly)"
    assert us["Diameter of a hole"] == "0.177 in (4.5 mm)"


@pytest.mark.slow
def test_a_step_does_what_a_comparison_says():
    scenario = load_scenario("maize_bench", SHORT)
    (step,) = (one for one in moves_of(scenario, seed=3) if one.steps == {"notch": 1})
    found = compare(scenario, vary="notch=0,1", seed=3, draws=2, split=False)
    for key in STEPPED:
        assert vars(step.changes[key]) == pytest.approx(vars(found.differences[0][key]))


def test_unseen_numbers_are_counted_as_the_file_has_them(report):
    """The same from the lines of the file, without its reader; one laboratory is no disc."""
    with UNSEEN.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    draws, published = {}, {}
    for row in rows:
        name = row["case"], row["row"]
        published[name] = float(row["published"])
        draws.setdefault(name, []).extend(float(row[f"draw_{k}"]) for k in range(1, 101))
    crop = ("ankara2021", "banaj2022", "banaj_fast", "bozdogan2008", "huazhong2023")
    crop += ("plantsci2025", "torosoglu", "yazgi2016")
    names = [name for name in published if name[0] in crop]
    inside = sum(
        np.quantile(draws[name], 0.05) <= published[name] <= np.quantile(draws[name], 0.95)
        for name in names
    )
    found = report.unseen
    assert (len(found.tried), found.inside) == (len(names), inside)
    assert found.sources == 7
    order = [one.distance for one in found.nearest]
    assert min(order) == min(one.distance for one in found.tried)


def test_distance_is_none_to_itself_and_alike_both_ways(report):
    tried = report.unseen.tried
    one, other = tried[0].at, tried[-1].at
    assert distance(one, one) == 0 < distance(one, other) == distance(other, one)
    assert 1 < distance(one, replace(one, vacuum=0.0)) < 99


def test_a_crop_without_unseen_cases_is_said_plainly(report):
    milo = load_scenario("sunflower", ["lot=milo", "hole_diameter_mm=2"])
    found = unseen_like(milo)
    assert found.tried == () and np.isnan(found.miss)
    said = unseen_lines(replace(report, unseen=found))
    assert said[0].startswith("The model has not been tried on an unseen case of sorghum.")


def test_intervals_that_held_too_little_are_said_plainly(report):
    maize = report.unseen
    assert not any("held less" in one for one in unseen_lines(report))
    outside = tuple(one for one in maize.tried if not one.inside)
    few = replace(maize, tried=(*outside, maize.tried[0]))
    assert any("held less" in one for one in unseen_lines(replace(report, unseen=few)))


def test_what_is_inside_and_outside_evidence_is_said(report):
    assert "inside what published cases" in next(warnings(report))
    assert all(one.endswith(".") and one[0].isupper() for one in warnings(report))


@pytest.mark.slow
def test_a_machine_has_its_rows(done, folder):
    done("report", "half_parked_open", "--turns", "6", "--draws", "2", "--out", "r.html")
    page = Page((folder / "r.html").read_text())
    assert page.faults == []
    assert "Rows" in page.texts and "Vacuum of parked rows" in page.texts
    assert page.text.count("90 % interval of all uncertainty, of 100 cells") == 1


@pytest.mark.slow
def test_odd_meters_have_reports(done, folder):
    """A meter that drops nothing, and one whose hopper empties."""
    for k, change in enumerate(("chamber_open=true", "hopper_kg=0.2")):
        words = ("--set", change, "--turns", "60", "--draws", "2", "--out", f"{k}.html")
        done("report", "maize_bench", *words)
        page = Page((folder / f"{k}.html").read_text())
        assert page.faults == [] and "nan" not in page.text.split()
    assert "runs empty" in page.text and "The row needs about" in page.text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--out", "r.pdf"), "must end in .html"),
        (("--out", "no/r.html"), "no/r.html"),
        (("--out", "r.html", "--draws", "1"), "--draws"),
        (("--out", "r.html", "--seed", "x"), "--seed"),
        (("--out", "r.html", "--set", "notch=99"), "notch"),
        (("--out", "r.html", "--turns", "1000000000"), "turns"),
    ],
)
def test_bad_input_is_one_line_and_writes_nothing(words, said, folder, capsys):
    assert main(["report", "maize_bench", *words]) == 2
    told = capsys.readouterr().err
    assert said in told and told.count("\n") == 1
    assert list(folder.iterdir()) == []


def test_the_cells_of_a_report_are_few():
    """Fewer than those of 50 passes of the usual 300 turns."""
    scenario = load_scenario("maize_bench")
    assert cells_of(scenario, 32) < 50 * scenario.passages
