"""Rows read together: what is common, what is one row's, and which swap settles it."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import binom, norm

from metersim.cli import main
from metersim.machine.reading import load_scenario
from metersim.machine.rows import row_scenario
from metersim.questions.next import command
from metersim.questions.next.rows import DISCS, METERS, latest, read_rows
from metersim.questions.next.rowtext import rows_json, rows_notes, rows_text
from metersim.questions.next.study import next_move
from metersim.questions.shared.alike import (
    ALIKE,
    APART,
    COMMON,
    DIFFER,
    MIDDLE,
    ONE,
    OPEN,
    PRIOR,
    WIDTH,
    kind_of_rows,
)
from metersim.questions.shared.answer import LINES
from metersim.questions.shared.countlog import entry_of, with_entry
from metersim.questions.shared.counts import Share, cells_to_detect
from metersim.questions.shared.history import Event
from metersim.questions.shared.notes import RUNNING, STOPPED, left_out
from metersim.questions.shared.words import WIDE
from tests.strategies import BENCH

SEEDS = 500
CLEAR = (5, 6, 40, 7, 5, 6)  # skips; row 3 is apart
ALL = (15, 12, 16, 13, 15, 14)


def count(row, skips, doubles=14, scenario=BENCH, **more):
    return entry_of(scenario, str(row), more.pop("seeds", SEEDS), skips, doubles, **more)


def planter(skips, **more):
    return [count(k, many, **more) for k, many in enumerate(skips, start=1)]


# chances


def test_the_chances_are_those_of_a_sum_over_all_shares():
    """Two rows, by sums over three log-odds in place of kernels on a grid."""
    cells, counted = (200, 300), (3, 15)
    m = np.linspace(-9, 1, 301)
    u = np.linspace(-5, 5, 401)
    prior = norm.pdf(m, MIDDLE, WIDTH)
    alike, apart = (
        [
            (binom.pmf(k, n, expit(m[:, None] + sd * u)) * norm.pdf(u)).sum(1)
            for k, n in zip(counted, cells, strict=True)
        ]
        for sd in (ALIKE, APART)
    )
    chances = np.array(
        [
            PRIOR[COMMON] * (prior * alike[0] * alike[1]).sum(),
            PRIOR[ONE] / 2 * (prior * apart[0] * alike[1]).sum(),
            PRIOR[ONE] / 2 * (prior * alike[0] * apart[1]).sum(),
            PRIOR[DIFFER] * (prior * apart[0] * apart[1]).sum(),
        ]
    )
    found = kind_of_rows("skip", counted, cells)
    mine = (found.common_chance, *found.row_chances, found.several_chance)
    assert mine == pytest.approx(chances / chances.sum(), rel=2e-3)


def test_chances_sum_to_one_and_follow_their_rows():
    found = kind_of_rows("skip", CLEAR, [500] * 6)
    assert found.common_chance + sum(found.row_chances) + found.several_chance == pytest.approx(1)
    turned = kind_of_rows("skip", CLEAR[::-1], [500] * 6)
    assert turned.row_chances[::-1] == pytest.approx(found.row_chances)
    assert (found.verdict, found.likeliest) == (ONE, 2)


def test_a_row_that_is_far_off_is_alone():
    """Ninety skips beside two or three are one bad row, however many rows there are."""
    for usual in ([2, 2, 3], [5, 4, 6, 5, 5]):
        found = read_rows(planter([*usual, 90]))
        assert found.apart == str(len(usual) + 1)


def test_without_cells_to_speak_of_the_chances_are_those_before():
    found = kind_of_rows("skip", [0, 0, 0, 0], [0, 0, 0, 0])
    assert found.common_chance == pytest.approx(PRIOR[COMMON], abs=0.01)
    assert found.row_chances == pytest.approx([PRIOR[ONE] / 4] * 4, abs=0.01)
    assert found.verdict == OPEN


def test_with_more_cells_a_row_apart_is_surer_and_the_share_comes_to_the_counted_one():
    sure = []
    for times in (1, 2, 4, 8, 16):
        found = kind_of_rows(
            "skip", [5 * times, 6 * times, 20 * times, 5 * times], [400 * times] * 4
        )
        sure.append(found.row_chances[2])
    assert sure == sorted(sure) and sure[-1] > 0.9
    assert found.own[2].value == pytest.approx(0.05, rel=0.01)
    assert found.common.low < 16 / 1200 < found.common.high


def test_dependent_cells_count_for_fewer():
    """An effect of 4 is a quarter of the cells with a quarter of the skips."""
    found = kind_of_rows("skip", (8, 4, 32), [800] * 3, effect=4.0)
    fewer = kind_of_rows("skip", (2, 1, 8), [200] * 3)
    assert found.row_chances == pytest.approx(fewer.row_chances)


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("rows", [2, 4, 8])
@pytest.mark.parametrize("share", [0.004, 0.02, 0.08])
def test_rows_of_one_share_are_not_said_to_differ(rows, share):
    """In 95 of 100 planters at least; the control has one row of five times the odds."""
    rng = np.random.default_rng(rows)
    cells, many = [600] * rows, 120
    false = found = 0
    for _ in range(many):
        one = kind_of_rows("skip", rng.binomial(600, share, rows).tolist(), cells)
        false += one.verdict in (ONE, DIFFER)
        odds = np.full(rows, logit(share))
        odds[0] += math.log(5)
        other = kind_of_rows("skip", rng.binomial(600, expit(odds)).tolist(), cells)
        right = other.verdict == DIFFER or (other.verdict == ONE and other.likeliest == 0)
        found += right
    assert false <= 0.05 * many
    if share >= 0.02:
        assert found >= 0.8 * many


@pytest.mark.slow
def test_rows_between_which_the_share_scatters_as_in_order_are_not_said_to_differ():
    rng = np.random.default_rng(1)
    verdicts = [
        kind_of_rows(
            "double", rng.binomial(500, expit(logit(0.03) + 0.2 * rng.normal(size=6))), [500] * 6
        ).verdict
        for _ in range(100)
    ]
    assert sum(verdict in (ONE, DIFFER) for verdict in verdicts) <= 5


# which rows


def test_only_the_latest_comparable_counts_are_compared():
    history = [
        *planter((30, 30, 30, 30)),
        Event(kind="new lot"),
        *planter((5, 6, 40)),
        count(2, 20, scenario=BENCH.replace(singulator__notch=1.0)),
    ]
    compared, left_out = latest(history)
    assert [(one.row, one.look.skips) for one in compared] == [("1", 5), ("3", 40)]
    assert left_out == ["2", "4"]  # moved; not counted since
    assert "3" in latest([*history, Event(kind="repaired", row="3")])[1]


@pytest.mark.parametrize("other", [{"way": "sensor"}, {"lot": "B"}, {"surface": "road"}])
def test_a_row_that_was_counted_otherwise_is_left_out(other):
    history = [*planter((5, 6), lot="A", surface="bench"),
               count(3, 40, **{"lot": "A", "surface": "bench", **other})]  # fmt: skip
    compared, left_out = latest(history)
    assert [one.row for one in compared] == ["1", "2"] and left_out == ["3"]


def test_one_row_is_not_compared():
    assert read_rows([count(1, 5)]) is None and read_rows([]) is None
    assert rows_notes(None) == [] and rows_json(None) is None


def test_rows_stand_in_the_order_of_their_numbers():
    assert read_rows([count(row, 5) for row in (10, 9, "left", 1)]).rows == ("1", "9", "10", "left")


# the swap


def test_the_swap_is_between_the_row_apart_and_the_best_one():
    found = read_rows(planter(CLEAR, doubles=14))
    one = found.kinds["skip"]
    assert found.swap.part == METERS and found.swap.kind == "skip"
    assert found.swap.rows[0] == "3" and found.swap.rows[1] in ("1", "5")
    needed = cells_to_detect(Share(one.common.value), Share(one.own[2].value))
    assert needed <= found.swap.cells < needed + 50 and found.more is None
    twice = read_rows(planter(CLEAR), {"skip": 2.0, "double": 2.0})
    assert twice.swap.cells > found.swap.cells


def test_a_row_with_fewer_is_swapped_with_the_row_that_has_most():
    found = read_rows(planter((40, 42, 4, 50, 39, 41)))
    assert found.kinds["skip"].verdict == ONE
    assert found.swap.rows == ("3", "4") and "Row 3 alone has fewer skips" in rows_notes(found)[1]


def test_where_the_meters_were_swapped_before_the_discs_are_next():
    before = [count(1, 40, meter="A"), count(2, 5, meter="B"), count(4, 6), count(5, 4)]
    after = [count(1, 5, meter="B"), count(2, 41, meter="A")]
    assert read_rows(before).swap.part == METERS
    found = read_rows([*before, *after, count(6, 6)])
    assert (found.swap.part, found.swap.rows[0]) == (DISCS, "2")


def test_without_a_row_apart_there_is_no_swap():
    found = read_rows(planter([4 * many for many in ALL], seeds=2000, doubles=56))
    assert {one.verdict for one in found.kinds.values()} == {COMMON}
    assert found.swap is None and found.more is None
    few = read_rows(planter((1, 0, 2), seeds=120, doubles=2))
    assert {one.verdict for one in few.kinds.values()} == {OPEN}
    share = few.kinds["skip"].common.value
    assert few.more >= cells_to_detect(Share(share), Share(2 * share))


# words

PLANTERS = {
    "one": planter(CLEAR),
    "one of eight": planter((*CLEAR, 6, 4), doubles=15),
    "fewer": planter((40, 42, 4, 50, 39, 41)),
    "two": planter((5, 40)),
    "common": planter([4 * many for many in ALL], seeds=2000, doubles=56),
    "open": planter((1, 0, 2), seeds=120, doubles=2),
    "both": [count(1, 40, 60), *(count(k, 5, 9) for k in (2, 3, 4, 5, 6, 7))],
    "four": [count(k, many) for k, many in enumerate((10, 24, 9, 10), start=1)],
    "sensor": planter(CLEAR, way="sensor"),
}


@pytest.mark.parametrize("name", PLANTERS)
def test_it_is_said_in_two_lines(name):
    found = read_rows(PLANTERS[name])
    notes = rows_notes(found)
    assert 1 <= len(notes) <= 2
    for note in notes:
        assert len(f"Note: {note}") <= WIDE and note.endswith(".")
        for word in ("luck", "tell ", "told", "show", "settle"):
            assert word not in note
    assert max(map(len, rows_text(found))) <= WIDE
    for note in ". ".join(notes).split(". "):
        assert len(note.split()) <= 20
    verdicts = {one.verdict for one in found.kinds.values()}
    said = " ".join(notes)
    assert ("alone has" in said) == (ONE in verdicts)
    assert ("common to all" in said) == (COMMON in verdicts)
    assert ("Rows differ in" in said) == (DIFFER in verdicts)
    assert OPEN not in verdicts or "counts cannot distinguish one row from all" in said
    assert ("swap the meters" in said.lower()) == (found.swap is not None)
    made = json.loads(json.dumps(rows_json(found), allow_nan=False))
    assert made["skips"]["verdict"] == found.kinds["skip"].verdict
    assert len(made["skips"]["rows"]) == len(found.rows)


FEW = {"runs": 60, "each": 60}


@pytest.fixture
def logged(tmp_path, monkeypatch, capsys):
    """What next says of a row of a log, with few possible meters."""
    monkeypatch.setattr(command, "next_move", lambda *a, **k: next_move(*a, **{**k, **FEW}))
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "log.csv"

    def ask(history, *words, status=0):
        path.unlink(missing_ok=True)
        for line in history:
            path.write_bytes(with_entry(path, line))
        typed = ["next", "maize_bench", "--log", "log.csv", "--workers", "1", *words]
        assert main(typed) == status
        said = capsys.readouterr()
        return said.err if status else said.out

    return ask


@pytest.mark.parametrize(("there", "part"), [(40, "discs"), (5, "row")])
def test_after_a_swap_the_fault_goes_with_the_meter_or_stays_with_the_row(there, part):
    """Row 3 has skips with a meter that had them in row 4, too, or had none there."""
    before = [
        replace(count(row, skips), meter=f"M{row}", date="2026-05-01")
        for row, skips in ((1, 5), (2, 4), (3, 38), (4, there))
    ]
    after = [
        replace(count(row, skips), meter=meter, date="2026-05-02")
        for row, skips, meter in ((3, 41, "M4"), (4, 5, "M3"), (1, 5, "M1"), (2, 4, "M2"))
    ]
    found = read_rows([*before, *after])
    assert found.apart == "3" and found.swap.part == part
    said = rows_notes(found, clean=True)[0]
    assert ("stay, whatever meter it has" in said) == (part == "row")


@pytest.mark.study
@pytest.mark.slow
def test_next_says_what_is_common_to_all_rows(logged):
    said = logged(planter(CLEAR), "--row", "1")
    lines = said.splitlines()
    assert len(lines) <= LINES and max(map(len, lines)) <= WIDE
    assert lines[1].startswith("Swap the meters of rows 3 and ")
    assert lines[2].startswith("Row 3 alone has more skips")
    assert lines[0] == f"Caution: {STOPPED}"  # as a hand goes in, even where row 1 is in order
    alone = logged(planter(CLEAR)[:1], "--row", "1")
    assert lines[0] != alone.splitlines()[0] == f"Caution: {RUNNING}" and "alone" not in alone
    long = logged(planter(CLEAR), "--row", "1", "--details")
    assert "Rows       6 rows" in long and "Rows  " not in said
    made = json.loads(logged(planter(CLEAR), "--row", "1", "--json", "-"))
    assert made["rows"]["skips"]["row"] == "3" and made["rows"]["swap"]["part"] == METERS
    assert json.loads(logged(planter(CLEAR)[:1], "--json", "-"))["rows"] is None


@pytest.mark.study
@pytest.mark.slow
def test_next_uses_no_count_from_before_a_repair(logged):
    repaired = Event(kind="repaired", row="1", date="2027-05-02")
    old = count(1, 60)
    made = json.loads(logged([old, repaired, count(1, 3)], "--row", "1", "--json", "-"))
    assert made["counts"][0]["skips"]["counted"] == 3
    both = json.loads(logged([old, count(1, 3)], "--row", "1", "--json", "-"))
    assert both["counts"][0]["skips"]["counted"] == 63  # control
    said = logged([old, repaired, count(1, 3)], "--row", "1", "--details")
    assert "1 older count is not used; changed since: repaired, 2027-05-02" in said
    said = logged([old, repaired], "--row", "1", status=2)
    assert said.startswith("metersim: --row: 1: has no count in log.csv after this change: repai")
    typed = ("--counted", "500", "--skips", "3", "--doubles", "9")
    made = json.loads(logged([old, repaired], "--row", "1", *typed, "--json", "-"))
    assert made["counts"][0]["skips"]["counted"] == 3


@pytest.mark.slow
def test_counts_are_not_summed_across_a_setting_that_was_moved_and_moved_back(logged):
    away = count(1, 4, scenario=BENCH.replace(singulator__notch=1.0))
    made = json.loads(logged([count(1, 9), away, count(1, 3), count(1, 2)], "--json", "-"))
    assert made["counts"][0]["skips"]["counted"] == 5


def test_an_event_is_added_by_next(logged, tmp_path):
    words = ("--event", "Repaired: new edge", "--date", "2027-05-02")
    said = logged(planter((5, 6)), *words, "--row", "2")
    assert said.startswith("Added to log.csv: row 2, repaired: new edge, 2027-05-02.\n")
    assert "Counts of row 2 before it are not pooled with later ones." in said
    last = (tmp_path / "log.csv").read_text().splitlines()[-1]
    assert last == "2027-05-02,2" + "," * 16 + "repaired: new edge"
    assert "later days" not in said
    dated = [count(2, 5, date="2027-05-03")]
    assert "The log has 1 count of later days" in logged(dated, *words, "--row", "2")
    assert "all rows, new lot" in logged(planter((5, 6)), "--event", "new lot")
    assert "by the sensor before it" in logged(planter((5,)), "--event", "brushed", "--row", "1")


@pytest.mark.parametrize(
    ("words", "begin"),
    [
        (("--event", "mended"), "--event: mended: must begin with repaired, brushed or new lot"),
        (("--event", "repaired", "--row", "9"), "--row: 9: no such row in log.csv"),
        (("--event", "repaired", "--date", "1.5."), "--date: 1.5.: must be a day such as"),
        (
            ("--event", "repaired", "--counted", "9"),
            "--event: repaired: is a line of its own; leave out --counted",
        ),
        (("--date", "2027-05-01"), "--date: 2027-05-01: goes with an event; give --event, too"),
    ],
)
def test_what_is_wrong_with_an_event_is_said_and_nothing_is_added(logged, tmp_path, words, begin):
    said = logged(planter((5, 6)), *words, status=2)
    assert said.startswith(f"metersim: {begin}") and said.count("\n") == 1
    assert len((tmp_path / "log.csv").read_text().splitlines()) == 3


def test_an_event_needs_a_log(capsys):
    assert main(["next", "maize_bench", "--event", "repaired"]) == 2
    assert (
        "--event: repaired: goes into a log of counts; give --log FILE" in capsys.readouterr().err
    )


def test_what_the_middle_row_leaves_out_is_said():
    """Row 2 of rows 1 to 4 stands for the machine; a sealed machine without changes is whole."""
    sealed = load_scenario("half_parked_open", "parked=sealed")
    open_rows = load_scenario("half_parked_open", ["rows.3=notch=1"])
    own = load_scenario("half_parked_open", ["parked=sealed", "rows.2=notch=1"])
    assert left_out(sealed) == [] == left_out(row_scenario(open_rows, 2))
    assert [text.split(",")[0] for text in left_out(open_rows)] == ["Parked rows"]
    assert [text.split(",")[0] for text in left_out(own)] == ["Of the changes of row 2"]
