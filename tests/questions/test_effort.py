"""What takes too long or too much is refused before it begins; what takes long is announced."""

import shutil
import sys
from collections import namedtuple

import pytest

from metersim.questions.shared import effort
from metersim.questions.shared.progress import shown

pytestmark = pytest.mark.usefixtures("folder")

Disk = namedtuple("Disk", "total used free")
RUN = ("run", "maize_bench")


@pytest.mark.parametrize(
    ("arguments", "most"),
    [
        ((*RUN, "--replicates"), 10_000),
        (("compare", "maize_bench", "--vary", "notch=0,1", "--replicates"), 10_000),
        (("sweep", "maize_bench", "--vary", "notch=0,1", "--out", "o.csv", "--replicates"), 10_000),
        ((*RUN, "--draws"), 10_000),
        (("steps", "maize_bench", "--cells"), 1_000_000),
        (("steps", "maize_bench", "--counted"), 10_000_000),
        (("howmany", "maize_bench", "--cells"), 1_000_000),
        (("habits", "maize_bench", "--meters"), 10_000),
        (("habits", "maize_bench", "--count"), 100_000),
        (("learn", "maize_bench", "--machines"), 1_000),
        (("learn", "maize_bench", "--draws"), 512),
        (("evidence", "--draws"), 10_000),
        (("evidence", "--workers"), 1_000),
        (
            ("sweep", "maize_bench", "--vary", "vacuum_kpa=2:4", "--design", "latin")
            + ("--out", "o.csv", "--points"),
            1_000_000,
        ),
    ],
)
def test_what_multiplies_work_has_a_ceiling(arguments, most, told):
    said = told(*arguments, str(most + 1))
    assert any(arguments[-1] in line and f"{most:,}" in line for line in said)


def test_turns_have_a_ceiling(told):
    assert "10,000,000" in told(*RUN, "--turns", "10000001")[0].replace("10000000", "10,000,000")


def test_all_runs_together_have_a_ceiling(told):
    (line,) = told(*RUN, "--turns", "10000000", "--replicates", "10000")
    assert line.startswith("--turns: 3,000,000,") and "100,000,000,000 cells at most" in line


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--trace", "--csv"])
def test_a_file_that_its_disk_cannot_hold_is_refused_before_it_begins(
    option, told, done, monkeypatch
):
    """3,000 cells leave some 1.4 MB of events, or 0.36 MB of seeds."""
    call = (*RUN, "--turns", "100", "--draws", "2", option, "big.csv")
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: Disk(1e12, 1e12, 1e5))
    (line,) = told(*call)
    assert line.startswith(f"{option}: big.csv: takes about ")
    assert "its disk has 100 kB free; give fewer turns" in line
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: Disk(1e12, 0, 1e12))
    done(*call)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("option", "name", "each"),
    [("--csv", "file.csv", effort.ROW_BYTES), ("--trace", "file.csv", effort.EVENTS_BYTES)],
)
def test_the_size_of_a_file_is_known_to_a_fifth(option, name, each, done, folder):
    done(*RUN, "--turns", "100", "--draws", "2", option, name)
    assert (folder / name).stat().st_size == pytest.approx(3_000 * each, rel=0.2)


def test_records_that_the_memory_cannot_hold_are_refused(told, monkeypatch):
    monkeypatch.setattr(effort, "free_memory", lambda: 1e6)
    (line,) = told(*RUN, "--turns", "1000", "--csv", "big.csv")
    assert "takes about 12 MB of memory, and 1.0 MB are free" in line


def test_long_work_is_announced_in_one_line(capsys):
    with shown("run", sys.stderr):
        effort.announce(29.0)
        assert capsys.readouterr().err == ""
        effort.announce(240.0)
        assert capsys.readouterr().err == (
            "metersim: about 4 min on 1 core; stop with Ctrl-C, nothing is written before the end\n"
        )
        effort.announce(240.0, kept="finished rows are kept")
    assert "stop with Ctrl-C, finished rows are kept" in capsys.readouterr().err
    effort.announce(240.0)  # from Python
    assert capsys.readouterr().err == ""


def test_time_goes_with_cells_and_events_take_far_longer():
    assert effort.seconds_for(2e6) - effort.seconds_for(1e6) == pytest.approx(1.0)
    assert effort.seconds_for(1e6, engine="events") > 100 * effort.seconds_for(1e6)
