"""``metersim next``: what it says, what it refuses, and the log that it reads."""

import json

import numpy as np
import pytest

import metersim as m
from metersim.cli import main
from metersim.questions.next.answer import next_answer
from metersim.questions.next.likely import OFF
from metersim.questions.next.study import next_move
from metersim.questions.next.text import next_text
from metersim.questions.next.written import next_json
from metersim.questions.shared import page as figures
from metersim.questions.shared.answer import LINES, MOST_ROWS
from metersim.questions.shared.countlog import entry_of, with_entry
from metersim.questions.shared.hidden import HIDDEN
from metersim.questions.shared.looks import look_of_seeds
from metersim.questions.shared.notes import RUNNING, STOPPED
from metersim.questions.shared.words import WIDE
from tests.strategies import BENCH

pytestmark = pytest.mark.slow

COUNT = ("--counted", "500", "--skips", "2", "--doubles", "60")


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Few states: what is told does not depend on how many."""
    import metersim.questions.next.command as command

    def short(*args, **options):
        return next_move(*args, **{**options, "states": 24})

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
    said = next_text(next_move(BENCH, look_of_seeds(500, skips=2, doubles=52), states=80))
    lines = said.splitlines()
    more = [len(part.splitlines()) + 1 for part in said.split("\n\n") if part.startswith("Notch ")]
    more.append(max(said.count("the counts cannot distinguish") - 1, 0))
    assert len(lines) - sum(more) <= 44 and max(map(len, lines)) <= WIDE
    move = next(line for line in lines if line.startswith("Do next"))
    assert "one notch more aggressive: +" in move and "worse in" in move
    for words in (
        "52 doubles (11.6 %",
        "counts: too many",
        "for: 11.6 % doubles (",
        "times likelier)",
        "common practice",
        "the simulation agrees",
        "cannot distinguish seed size from singulator",
        "manual and local rules come first",
    ):
        assert words in said
    assert said.count("Do next") == 1


def test_a_count_as_wanted_is_left_alone_with_a_caution_for_the_count(capsys):
    said = answer(capsys, "--counted", "500", "--skips", "2", "--doubles", "6")
    assert "leave it, count more" in said and "counts: not too many" in said
    assert said.startswith(f"Caution: {RUNNING}\nLeave it") and STOPPED not in said


def test_a_few_doubles_more_than_a_limit_ask_for_so_many_cells_more():
    count = look_of_seeds(250, skips=1, doubles=9)
    found = next_move(BENCH, count, states=24, doubles_most=0.02)
    assert found.more and f"some {found.more:,} cells more" in next_text(found)


def test_a_look_at_the_disc_at_rest_is_a_count(capsys):
    said = answer(capsys, "--cells-seen", "30", "--cells-loaded", "22")
    assert "30 cells of the disc at rest: 8 skips (26.7 %" in said


def test_steps_come_in_the_units_that_are_asked_for(capsys):
    said = answer(capsys, *COUNT, "--units", "us")
    assert "2 inH2O less vacuum" in said and "gate 0.25 in lower" in said and "kPa" not in said


def test_what_is_called_off_is_what_its_words_say():
    """The bounds, one SD of the prior, in the words beside them."""
    scale = {"seed size": 100, "vacuum": 100, "singulator": 1, "pool": 100, "sensor": 100}
    for name, words in OFF.items():
        assert float(words.split()[0]) == pytest.approx(scale[name] * HIDDEN[name].sd)


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
    found = next_move(BENCH, count, states=24)
    said = next_answer(found)
    lines = said.splitlines()
    assert len(lines) <= LINES and max(map(len, lines)) <= WIDE
    assert lines[0] == f"Caution: {RUNNING if found.kind == 'same' else STOPPED}"
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
    assert len(made["causes"]) == len(found.diagnosis.sides)


# the log


def logged(path, *counts, row="3"):
    """A log with counts at notches, on the bench."""
    for notch, skips, doubles in counts:
        scenario = BENCH.replace(singulator__notch=float(notch))
        path.write_bytes(with_entry(path, entry_of(scenario, row, 500, skips, doubles)))
    return str(path)


@pytest.mark.slow
def test_the_last_count_of_a_row_is_the_present_one(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24), (1, 2, 18))
    logged(tmp_path / "log.csv", (0, 2, 3), row="4")
    said = answer(capsys, "--log", log, "--row", "3")
    assert "notch +1" in said and "18 doubles" in said
    assert "1 earlier count at other settings, weighed too" in said
    assert "belt at notch +0" in said or "belt now" in said
    other = answer(capsys, "--log", log, "--row", "4")
    assert "3 doubles" in other and "leave it" in other


@pytest.mark.slow
def test_a_present_count_goes_before_the_log(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (1, 2, 18))
    said = answer(capsys, *COUNT, "--log", log)
    assert "notch 0" in said and "60 doubles" in said and "1 earlier count" in said


@pytest.mark.slow
def test_a_log_of_another_disc_is_asked_about(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24))
    said = answer(capsys, "--log", log, "--set", "cells=32")
    assert "counts with 30 holes of 4.50 mm, and maize_bench has 32 holes of 4.50 mm" in said
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
    ],
)
def test_what_does_not_add_up_is_told_in_a_line_each(capsys, words, told):
    lines = refused(capsys, *words)
    assert len(lines) == len(told)
    for line, part in zip(lines, told, strict=True):
        assert part in line


def test_a_row_that_a_log_does_not_hold_is_told(capsys, tmp_path):
    log = logged(tmp_path / "log.csv", (0, 2, 24))
    logged(tmp_path / "log.csv", (0, 2, 3), row="4")
    (line,) = refused(capsys, "--log", log, "--row", "5")
    assert "no such row" in line and "3, 4" in line
    (line,) = refused(capsys, "--log", log)
    assert "which row" in line
    (line,) = refused(capsys, "--log", str(tmp_path / "none.csv"), "--row", "3")
    assert "none.csv" in line


# the picture


def test_the_picture_shows_chances_and_gains():
    found = next_move(BENCH, look_of_seeds(500, skips=2, doubles=60), states=24)
    page = m.draw(found)
    first, second = page.axes
    dots = [line for line in first.lines if line.get_marker() == "o"]
    after = [line.get_xdata()[0] for line in dots if line.get_markersize() == 6]
    told = found.diagnosis
    wanted = sorted((100 * told.after(side) for side in told.sides), reverse=True)
    assert np.allclose(after, wanted)
    (mine,) = [line for line in second.lines if line.get_marker() == "D"]
    assert mine.get_xdata()[0] == pytest.approx(100 * found.chosen.value)
    assert figures.encoded(page, "x.svg") == figures.encoded(m.draw(found), "x.svg")


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


def test_of_counts_that_no_likely_meter_shows_nothing_is_drawn():
    """Seeds without vacuum; control: with vacuum, what may be off and what moves bring."""
    count = m.look_of_seeds(479, skips=3, doubles=2)
    odd = m.next_move(m.load_scenario("maize_bench", ["vacuum_kpa=0"]), count, states=24)
    assert not m.draw(odd).axes and len(m.draw(m.next_move("maize_bench", count, states=24)).axes)
