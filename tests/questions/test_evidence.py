"""The ring: what the README says of published cases is what the model gives.

A fast part always runs; all of it with ``pytest -m evidence``.
"""

import csv
import io
import math
import re
from functools import partial
from itertools import pairwise

import pytest

from metersim.files.faults import BadInput
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.stations import stations_of
from metersim.questions.evidence.figure import levels_figure, plateaus_figure
from metersim.questions.evidence.study import Evidence, evidence
from metersim.questions.evidence.text import evidence_csv, evidence_text, summary
from metersim.questions.evidence.verdicts import AGREES, VERDICTS
from metersim.questions.shared.cases import load_case, shipped_cases
from tests.make_docs import EVIDENCE
from tests.questions.pages import check_page

FAST = ("banaj2022", "huazhong2023", "qi2013")
EDGES = 1  # rows that another processor's last bits may tip


def recorded():
    """Verdicts by case and row, as the guide has them."""
    rows = re.findall(
        r"^\| (\w+) \| ([^|]+) \|.*\| ([^|]+) \|$", EVIDENCE.read_text(), re.MULTILINE
    )
    return {
        (case, row.strip()): verdict.split(":")[0].strip()
        for case, row, verdict in rows
        if case in shipped_cases()
    }


@pytest.fixture(scope="module")
def found():
    return evidence(FAST)


def changed(found):
    """Rows whose verdict is not that of the README."""
    told = recorded()
    return [o for o in found.outcomes if told[o.case, o.row] != o.verdict]


@pytest.mark.slow
def test_the_fast_part_is_as_the_readme_says(found):
    assert len(changed(found)) <= EDGES


@pytest.mark.evidence
def test_the_whole_is_as_the_readme_says():
    whole = evidence()
    assert len(changed(whole)) <= EDGES
    assert {(o.case, o.row) for o in whole.outcomes} == set(recorded())


def test_the_readme_has_every_row_of_every_case():
    rows = {(name, row.name) for name in shipped_cases() for row in load_case(name).rows}
    assert set(recorded()) == rows


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "factor", "case", "row"),
    [
        ("draw_slowness", 4.0, "banaj2022", "18 cells, quality"),
        ("landing_scatter", 3.0, "banaj2022", "44 cells, CV of normal spacings"),
        ("contacts", 0.1, "banaj2022", "18 cells, CV of normal spacings"),
        ("draw_power", 0.5, "qi2013", "misses, average over 2.5 to 5.5 kPa"),
    ],
)
def test_a_wrong_coefficient_fails(found, name, factor, case, row):
    """Negative control: what agrees no longer does.

    Each coefficient is so wrong that it moves the prediction beyond its whole interval: seeds that
    take four times as long to be drawn leave holes empty, a tenth of the contacts scatters less,
    and seeds that land three times as far apart scatter more.
    """
    wrong = Coefficients(**{name: getattr(USUAL, name) * factor})
    other = evidence([case], draws=32, stations=partial(stations_of, coefficients=wrong))
    told = {o.row: o.verdict for o in other.outcomes}
    assert {o.row: o.verdict for o in found.of(case)}[row] == AGREES
    assert told[row] != AGREES


@pytest.mark.slow
def test_the_same_whoever_runs_it_and_in_whatever_company():
    alone, other = evidence(["qi2013"], draws=4), evidence(["huazhong2023", "qi2013"], draws=4)
    assert alone.outcomes == other.outcomes[3:]


@pytest.mark.study
@pytest.mark.slow
def test_tables_hold_every_row(found):
    rows = list(csv.DictReader(io.StringIO(evidence_csv(found.outcomes))))
    assert [row["row"] for row in rows] == [o.row for o in found.outcomes]
    assert {row["verdict"] for row in rows} <= set(VERDICTS)
    assert len(found.to_dataframe()) == len(rows)
    text = evidence_text(found)
    for outcome in found.outcomes:
        assert outcome.row in text and outcome.predicted in text
    assert sum(found.counts.values()) == len(rows)


@pytest.mark.slow
def test_sampling_error_is_not_given_for_a_maximum():
    """It is the same without most stretches, which says nothing of its sampling error."""
    found = evidence(["liao2018"], draws=6)
    shares = {o.row: o.interval.sampling for o in found.of("liao2018") if o.interval}
    assert math.isnan(shares.pop("most seeds on a hole at a large vacuum"))
    assert all(0 <= share <= 1 for share in shares.values())
    assert "nan" not in evidence_text(found)


@pytest.mark.parametrize(("draws", "few"), [(18, "holds 89 % only"), (19, ""), (64, "")])
def test_too_few_draws_for_an_interval_are_told(draws, few):
    """Of 19 draws the least and the greatest hold 18 of 20; of fewer nothing holds so many."""
    for say in (evidence_text, summary):
        text = " ".join(say(Evidence((), (), draws, 1)).split())
        assert few in text if few else "verdicts are loose" not in text


@pytest.mark.slow
def test_all_that_is_drawn_is_told():
    """Of every condition, not of the first alone."""
    text = " ".join(evidence_text(evidence(["torosoglu", "ankara2021"], draws=2)).split())
    assert "slip_percent from 2 to 10" in text  # of the ground drive, which comes third
    assert "emergence_percent from 93 to 98" in text
    assert text.count("gate_opening_mm from 45 to 60") == 2  # once a case


@pytest.mark.slow
def test_files_are_written_and_the_rules_are_told(done, tmp_path):
    assert done("evidence", "qi2013", "--draws", "4", "--out", str(tmp_path))
    assert "plateau: at the published vacuum" in done("evidence", "--rules")
    names = {path.name for path in tmp_path.iterdir()}
    written = {"evidence.md", "evidence.csv", "evidence.json", "evidence_levels.png", "score.csv"}
    assert names == written


@pytest.mark.parametrize(
    "words",
    [
        ("qi2012",),
        ("nowhere.toml",),
        ("qi2013", "--out", "nowhere"),
        ("qi2013", "--draws", "1"),
        ("qi2013", "--draws", "10001"),
        ("qi2013", "--workers", "0"),
        ("qi2013", "--workers", "9" * 18),
        ("qi2013", "--seed", "x"),
        ("qi2013", "qi2013"),
        ("qi2013", "--out", "\udcff"),
        ("\udcff.toml",),
        ("a\0.toml",),
        ("a" * 300 + ".toml",),
    ],
)
def test_what_is_wrong_is_told_in_a_line(told, words):
    assert len(told("evidence", *words)) == 1


def test_all_that_is_wrong_is_told_at_once_and_before_the_runs(told, folder):
    for name in ("evidence.csv", "evidence_levels.png"):
        (folder / name).mkdir()
    lines = told("evidence", "qi2012", "no.toml", "--out", ".", "--workers", "0")
    assert [line.partition(":")[0] for line in lines] == [
        "--workers",
        "qi2012",
        "no.toml",
        "--out",
        "--out",
    ]


OWN = """
source = "banaj2022"
mark = "read"
read = ["\\u001b[31mred"]
discussion = "one\\ntwo"
scenario = {extends = "maize_bench", run = {turns = 1}}
[conditions.a]
[conditions.v]
vary = {key = "vacuum_kpa", values = [1, 3, 9]}
"""
LEVELS = """
[[rows]]
name = "%s|s"
kind = "level"
at = "a"
measure = "cells.skip"
published = 1
"""
BEST = """
[[rows]]
name = "%s"
kind = "plateau"
of = "v"
published = 3
"""


def test_a_text_that_would_steer_a_terminal_or_a_table_is_shown(done, folder):
    (folder / "own.toml").write_text(OWN + LEVELS % "a" + LEVELS % "\u4e2d")  # not in the font
    out = done("evidence", "own.toml", "--draws", "2", "--out", ".", "--details")
    assert r"\x1b[31mred" in out and "\x1b" not in out
    table = (folder / "evidence.md").read_text().splitlines()
    assert any(r"| own | a\|s | 1" in line for line in table)
    assert table[-1] == "- *own*: one two"


def test_a_picture_has_an_end_and_says_so(folder, monkeypatch):
    monkeypatch.setattr("metersim.questions.evidence.figure.MOST_ROWS", 2)
    monkeypatch.setattr("metersim.questions.evidence.figure.MOST_PANELS", 2)
    rows = "".join(LEVELS % k + BEST % k for k in range(3))
    (folder / "own.toml").write_text(OWN + rows)
    made = evidence("own.toml", draws=2)
    for draw, said in ((levels_figure, "first 2 of 3 levels"), (plateaus_figure, "first 2 of 3")):
        (foot,) = (text.get_text() for text in draw(made).texts if text.get_gid() == "caption")
        assert said in " ".join(foot.split())
        check_page(draw(made))


@pytest.mark.slow
def test_a_page_of_many_levels_fits_a_sheet_and_says_what_it_leaves_out(folder):
    """Of letter or A4, lying; no name is cut off, and none covers another."""
    rows = "".join(LEVELS % f"a published level with a name of some length {k}" for k in range(60))
    (folder / "own.toml").write_text(OWN + rows)
    made = evidence("own.toml", draws=2)
    page = levels_figure(made)
    assert page.get_figwidth() <= 11 and page.get_figheight() <= 8.27
    page.draw_without_rendering()
    drawn = [ax.get_yticklabels() for ax in page.axes]
    assert len(drawn) == 2 and sum(map(len, drawn)) == 60
    for labels in drawn:
        boxes = [label.get_window_extent() for label in labels]
        assert min(box.x0 for box in boxes) >= 0
        assert min(label.get_fontsize() for label in labels) >= 9
        assert not any(box.overlaps(other) for box, other in pairwise(boxes))
    (folder / "own.toml").write_text(OWN + "".join(LEVELS % f"level {k}" for k in range(150)))
    page = levels_figure(evidence("own.toml", draws=2))
    assert page.get_figheight() <= 8.27
    shown = sum(len(ax.get_yticks()) for ax in page.axes)
    (foot,) = (text.get_text() for text in page.texts if text.get_gid() == "caption")
    assert shown < 150 and f"first {shown} of 150 levels" in " ".join(foot.split())


def test_an_axis_of_shares_begins_at_none(folder):
    """The place of a mark is the share; a panel in another unit keeps to its values."""
    length = LEVELS.replace("cells.skip", "spacing.mean").replace("published = 1", "published = 20")
    (folder / "own.toml").write_text(OWN + LEVELS % "a" + length % "b")
    share, spacing = levels_figure(evidence("own.toml", draws=2)).axes
    assert share.get_xlim()[0] == 0 and spacing.get_xlim()[0] > 0


def test_bad_names_are_bad_input():
    with pytest.raises(BadInput, match="no such case"):
        evidence(["nobody2020"])
