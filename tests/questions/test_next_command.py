"""``metersim next``: what it says, what it refuses, and the log that it reads."""

import argparse
import json

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.questions.next.answer import next_answer
from metersim.questions.next.study import next_move
from metersim.questions.next.text import next_text
from metersim.questions.next.used import used_of
from metersim.questions.next.written import next_json
from metersim.questions.shared import page as figures
from metersim.questions.shared.answer import LINES, MOST_ROWS
from metersim.questions.shared.countlog import entry_of, with_entry
from metersim.questions.shared.looks import look_of_seeds
from metersim.questions.shared.notes import RUNNING, STOPPED
from metersim.questions.shared.words import WIDE
from tests.questions.pages import check_page
from tests.strategies import BENCH

pytestmark = pytest.mark.slow

FEW = {"runs": 60, "each": 100}
COUNT = ("--counted", "500", "--skips", "2", "--doubles", "60")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Few runs: what is said does not depend on how many."""
    import metersim.questions.next.command as command

    def short(*args, **options):
        return next_move(*args, **{**options, **FEW})

    monkeypatch.setattr(command, "next_move", short)


def answer(capsys, *words, scenario="maize_bench"):
    """What the command prints with all details, with one worker."""
    status = main(["next", scenario, *words, "--details", "--workers", "1"])
    said = capsys.readouterr()
    assert (status, said.err) == (0, ""), said.err
    return said.out


def refused(capsys, *words):
    """The lines in which it says what is wrong."""
    assert main(["next", "maize_bench", *words, "--workers", "1"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Traceback" not in said.err
    return said.err.splitlines()


# what it says


def test_one_move_is_given_with_its_gain_its_risk_and_its_caution():
    said = next_text(next_move(BENCH, look_of_seeds(500, skips=2, doubles=52), **FEW))
    lines = said.splitlines()
    assert len(lines) <= 60 and max(map(len, lines)) <= WIDE
    move = next(line for line in lines if line.startswith("Do next"))
    assert "one notch more aggressive: +" in move and "worse in" in move
    for words in (
        "52 doubles (11.6 %",
        "counts: too many",
        "% skips with 11.6 % doubles (",
        "times likelier)",
        "common practice",
        "the simulation agrees",
        "the counts cannot distinguish these causes: smaller seed, singulator too far",
        "manual and local rules come first",
    ):
        assert words in said
    assert said.count("Do next") == 1


@pytest.mark.study
def test_a_count_as_wanted_is_left_alone_with_a_caution_for_the_count(capsys):
    said = answer(capsys, "--counted", "500", "--skips", "2", "--doubles", "6")
    assert "leave it, count more" in said and "counts: not too many" in said
    assert said.startswith(f"Caution: {RUNNING}\nLeave it") and STOPPED not in said


def test_a_few_doubles_more_than_a_limit_ask_for_so_many_cells_more():
    count = look_of_seeds(250, skips=1, doubles=9)
    found = next_move(BENCH, count, **FEW, doubles_most=0.02)
    assert found.more and f"some {found.more:,} cells more" in next_text(found)


def test_a_look_at_the_disc_at_rest_is_a_count(capsys):
    said = answer(capsys, "--cells-seen", "30", "--cells-loaded", "22")
    assert "30 cells of the disc at rest: 8 skips (26.7 %" in said


def test_steps_come_in_the_units_that_are_asked_for(capsys):
    said = answer(capsys, *COUNT, "--units", "us")
    assert "2 inH2O less vacuum" in said and "gate 0.25 in lower" in said and "kPa" not in said


@pytest.mark.study
@pytest.mark.parametrize(
    ("doubles", "skips", "way", "first"),
    [
        (6, 2, "belt", "Leave it"),
        (60, 2, "belt", "Move the singulator one notch more aggressive, then count again."),
        (200, 2, "belt", "Mo"),
        (5, 40, "sensor", ""),
    ],
)
def test_the_answer_says_whether_to_act_why_and_what_to_expect(doubles, skips, way, first):
    count = look_of_seeds(500, skips=skips, doubles=doubles, way=way)
    found = next_move(BENCH, count, **FEW)
    said = next_answer(found)
    lines = said.splitlines()
    assert len(lines) <= LINES and max(map(len, lines)) <= WIDE
    assert lines[0] == f"Caution: {RUNNING if found.kind in ('same', 'keep') else STOPPED}"
    assert lines[1].startswith(first)
    if found.differs:
        assert "chance alone does not explain it" in lines[2]
    if found.chosen:
        assert "Expect" in lines[3] and "of 100 such meters" in said
    table = said.split("\n\n")[1].splitlines()
    assert 2 <= len(table) <= 1 + MOST_ROWS
    for word in ("luck", "tell ", "told", " points of cells", "milder"):
        assert word not in said and word not in next_text(found)
    assert next_text(found) in next_answer(found, details=True)
    made = json.loads(next_json(found))
    assert made["advice"]["kind"] == found.kind and len(made["moves"]) == len(found.gains)
    assert made["counts"][0]["doubles"]["counted"] == doubles
    assert len(made["causes"]) == len(found.diagnosis.names)


# the log


def logged(path, *counts, row="3"):
    """A log with counts at notches, on the bench."""
    for notch, skips, doubles in counts:
        scenario = BENCH.replace(singulator__notch=float(notch))
        path.write_bytes(with_entry(path, entry_of(scenario, row, 500, skips, doubles)))
    return str(path)


@pytest.mark.study
def test_the_last_count_of_a_row_is_the_present_one(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24), (1, 2, 18))
    logged(tmp_path / "log.csv", (0, 2, 3), row="4")
    said = answer(capsys, "--log", log, "--row", "3")
    assert "notch +1" in said and "18 doubles" in said
    assert "1 earlier count at other settings, weighed too" in said
    assert "belt at notch +0" in said or "belt now" in said
    other = answer(capsys, "--log", log, "--row", "4")
    assert "3 doubles" in other and "leave it" in other


def test_a_present_count_goes_before_the_log(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (1, 2, 18))
    said = answer(capsys, *COUNT, "--log", log)
    assert "notch 0" in said and "60 doubles" in said and "1 earlier count" in said


@pytest.mark.study
def test_a_log_of_another_disc_is_asked_about(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24))
    said = answer(capsys, "--log", log, "--set", "cells=32")
    assert "counts with 30 holes of 4.5 mm (0.177 in), and maize_bench has 32 holes of" in said
    assert "are they of this meter" not in answer(capsys, "--log", log)


# what it refuses


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), ["next: nothing was counted; give --counted"]),
        (
            ("--counted", "50", "--skips", "1", "--doubles", "30"),
            ["30 doubles alone have 60 seeds"],
        ),
        (("--counted", "50"), ["--skips: is needed with --counted", "--doubles: is needed"]),
        (
            ("--skips", "x", "--counted", "50"),
            ["--skips: x: must be a whole", "--doubles: is needed"],
        ),
        (
            ("--cells-seen", "30", "--cells-loaded", "31"),
            ["--cells-loaded: 31: is more than the 30"],
        ),
        (
            ("--cells-seen", "30", "--cells-loaded", "9", "--cells-doubled", "10"),
            ["--cells-doubled: 10: is more than the 9"],
        ),
        (("--cells-seen", "0", "--cells-loaded", "0"), ["--cells-seen: 0: no cell"]),
        (("--counted-by", "sensor"), ["--counted-by: sensor: goes with a count"]),
        ((*COUNT, "--row", "3"), ["--row: 3: goes with a log"]),
        ((*COUNT, "--accept", "cells.skip<=70%"), ["--accept: cells.skip<=70%: must be from 0"]),
        (
            (*COUNT, "--set", "notch=99", "--accept", "cells.double<=nan"),
            ["notch", "--accept: cells.double<=nan: 'nan' is no number"],
        ),
        ((*COUNT, "--accept", "precision<=0.1"), ["--accept: precision<=0.1: give cells.skip"]),
        (
            (*COUNT, "--accept", "cells.skip<=1%", "--accept", "cells.skip<=2%"),
            ["--accept: cells.skip<=2%: cells.skip has two limits"],
        ),
        ((*COUNT, "--figure", "x.txt"), ["--figure: x.txt: must end in"]),
        ((*COUNT, "--monitor", "spacing"), ["--monitor: spacing: goes with --counted-by sensor"]),
        ((*COUNT, "--area", "2ha"), ["--seeds-used: is needed with --area"]),
        ((*COUNT, "--seeds-used", "10"), ["--area: is needed with --seeds-used"]),
        (
            (*COUNT, "--seeds-used", "12 bags", "--area", "2ha"),
            ["--seeds-used: 12 bags: must be a number with one of the units kg, g, lb, lbs,"],
        ),
        (
            (*COUNT, "--seeds-used", "80000", "--area", "2"),
            ["--area: 2: must be a number with one of the units ha, acre"],
        ),
        (
            (*COUNT, "--seeds-used", "800000", "--area", "2acre"),
            ["--seeds-used: 800000: is "],
        ),
    ],
)
def test_what_does_not_add_up_is_told_in_a_line_each(capsys, words, told):
    lines = refused(capsys, *words)
    assert len(lines) == len(told)
    for line, part in zip(lines, told, strict=True):
        assert part in line


@pytest.mark.study
def test_without_a_row_the_one_that_differs_or_was_counted_last_is_taken(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24))
    logged(tmp_path / "log.csv", (0, 2, 20), row="4")
    assert "this is row 4, which was counted last" in answer(capsys, "--log", log).lower()
    logged(tmp_path / "log.csv", (0, 90, 20), row="2")
    logged(tmp_path / "log.csv", (0, 3, 22), row="1")
    said = answer(capsys, "--log", log).lower()
    assert "this is row 2, which likely differs alone" in said and "90 skips" in said


def test_a_row_that_a_log_does_not_hold_is_told(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24))
    logged(tmp_path / "log.csv", (0, 2, 3), row="4")
    (line,) = refused(capsys, "--log", log, "--row", "5")
    assert "no such row" in line and "3, 4" in line
    (line,) = refused(capsys, "--log", str(tmp_path / "none.csv"), "--row", "3")
    assert "none.csv" in line


# the picture


def test_the_picture_shows_chances_and_gains():
    found = next_move(BENCH, look_of_seeds(500, skips=2, doubles=60), **FEW)
    page = m.draw(found)
    check_page(page)
    first, second = page.axes
    dots = [line for line in first.lines if line.get_marker() == "o"]
    after = [line.get_xdata()[0] for line in dots if line.get_markersize() == 6]
    known = found.diagnosis
    wanted = sorted((100 * known.after(name) for name in known.names), reverse=True)
    assert np.allclose(after, wanted)
    (mine,) = [line for line in second.lines if line.get_marker() == "D"]
    assert mine.get_xdata()[0] == pytest.approx(100 * found.chosen.value)
    assert figures.encoded(page, "x.svg") == figures.encoded(m.draw(found), "x.svg")


@pytest.mark.study
def test_the_command_writes_it(capsys, tmp_path):
    path = tmp_path / "next.png"
    answer(capsys, *COUNT, "--figure", str(path))
    assert path.read_bytes().startswith(b"\x89PNG")


def test_a_worker_that_is_ended_from_outside_is_told_in_a_line(capsys, monkeypatch):
    """As for want of memory: no traceback; the same for all commands that have a crew."""
    from concurrent.futures.process import BrokenProcessPool

    import metersim.questions.next.command as command

    def ended(*args, **options):
        raise BrokenProcessPool("gone")

    monkeypatch.setattr(command, "next_move", ended)
    (line,) = refused(capsys, *COUNT)
    assert line.startswith("metersim: --workers: 1: a worker was ended from outside")


# seed used on a known area


@pytest.mark.parametrize(
    ("used", "area"),
    [("80000", "1 ha"), ("80,000", "2.4710538 acres"), ("23.2kg", "1ha"), ("51.147 lb", "10000m2")],
)
def test_seed_used_is_compared_with_what_the_rate_asks_for(used, area):
    """80,000 seeds a hectare: by count and by the mass of the lot, in both families of units."""
    scenario = BENCH.replace(demand__rate=8.0)
    options = argparse.Namespace(seeds_used=used, area=area)
    found = used_of(options, scenario)
    mass = 80_000 * scenario.seeds.seed_mass
    wanted = {"kg": 23.2 / mass, "lb": 51.147 * 0.45359237 / mass}
    unit = used.lstrip("0123456789., ")
    assert found.ratio == pytest.approx(wanted.get(unit, 1.0), rel=1e-6)
    assert found.weighed == bool(unit)


def test_nothing_used_is_nothing_known():
    assert used_of(argparse.Namespace(seeds_used=None, area=None), BENCH) is None


@pytest.mark.study
def test_the_answer_asks_once_how_the_monitor_counts(capsys):
    words = ("--counted", "600", "--skips", "40", "--doubles", "8", "--counted-by", "sensor")
    asks = "Does the monitor count empty cells, or measured spacings?"
    assert asks in answer(capsys, *words)
    assert asks not in answer(capsys, *words, "--monitor", "spacing")
    clean = answer(capsys, *words, "--lens", "clean")
    assert "seeds missed by the sensor" not in clean
