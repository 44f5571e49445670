"""The command that sweeps: what it refuses, and that nothing finished is ever lost."""

import csv
import os
import re
import resource
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from metersim import __version__
from metersim.cli import main
from metersim.questions.shared.unknowns import spread_about
from metersim.questions.sweep import response, totals
from tests.strategies import with_usual_signals

pytestmark = pytest.mark.usefixtures("folder")

TOP = Path(__file__).parents[2]
SHORT = ("sweep", "maize_bench", "--turns", "4")
RANGE = ("--vary", "vacuum_kpa=2:6:5")
# long enough to be cut short before it ends, on a busy machine too
MANY = (
    "sweep",
    "maize_bench",
    "--turns",
    "150",
    "--vary",
    "vacuum_kpa=2:6:60",
    "--vary",
    "notch=0,1",
)
ROWS = 120  # of MANY
ENDLESS = tuple("4000" if word == "150" else word for word in MANY)  # never waited for


@pytest.fixture(autouse=True, scope="module")
def few_machines():
    """Totals from few machines with few cells: how wide they are is tested elsewhere."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(totals, "NODE_DRAWS", 4)
        patch.setattr(totals, "NODE_CELLS", 300)
        patch.setattr(response, "spread_about", partial(spread_about, draws=4))
        yield


def started(*arguments, **options):
    """The command in a process of its own, in the current folder."""
    return subprocess.Popen(
        [sys.executable, "-m", "metersim", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(TOP)},
        **{"preexec_fn": with_usual_signals} | options,
    )


def rows_in(path):
    """Whole rows of a file so far."""
    if not path.exists():
        return 0
    lines = path.read_bytes().split(b"\n")[:-1]
    return max(sum(not line.startswith(b"#") for line in lines) - 1, 0)


def wait_for(what, seconds=60):
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.005)


# ---------------------------------------------------------------- bad input

REFUSED = {
    ("--vary", "vacum_kpa=2:6:5"): "--vary: vacum_kpa: unknown key; did you mean 'vacuum_kpa'?",
    ("--vary", "vacuum_pa=2:6:5"): "units of vacuum: vacuum_kpa or vacuum_inh2o",
    ("--vary", "vacuum_kpa=6:2:5"): "the range 6:2:5 is empty",
    ("--vary", "vacuum_kpa=2:2:5"): "the range 2:2:5 is empty",
    ("--vary", "vacuum_kpa=2:6:1"): "'1' values in 2:6:1 are not allowed; give a whole number",
    ("--vary", "vacuum_kpa=2:6:0"): "'0' values",
    ("--vary", "vacuum_kpa=2:6:-3"): "'-3' values",
    ("--vary", "vacuum_kpa=2:6:2.5"): "'2.5' values",
    ("--vary", "vacuum_kpa=2:6:" + "9" * 30): "values in",
    ("--vary", "vacuum_kpa=3:3.0000000001:3"): "alike to 9 digits; widen the range",
    ("--vary", "lot=maize_large_flat,l\udcff.toml"): "holds letters that are not UTF-8; rename",
    ("--vary", "cells=20:22:4"): "from 2 to 3, the whole numbers there are",
    ("--vary", "cells=20.5:22:2"): "20.5 is not allowed; give a whole number from 4 to 400",
    ("--vary", "vacuum_kpa=2:16:5"): "16 is not allowed; give a number from 0 to 15 kPa",
    ("--vary", "vacuum_kpa=nan:6:5"): "nan is not allowed",
    ("--vary", "vacuum_kpa=2:inf:5"): "inf is not allowed",
    ("--vary", "vacuum_kpa=2:six:5"): "'six' is not allowed",
    ("--vary", "vacuum_kpa=2:6"): "a grid needs a count of values",
    ("--vary", "vacuum_kpa=2:6:5:7"): "must read KEY=LOW:HIGH:COUNT",
    ("--vary", "vacuum_kpa=4"): "a list has two values or more",
    ("--vary", "vacuum_kpa=3,3.0"): "lists a value twice",
    ("--vary", "vacuum_kpa=3,99"): "99 is not allowed",
    ("--vary", "vacuum_kpa"): "must read KEY=LOW:HIGH:COUNT",
    ("--vary", "=2:6:5"): "must read KEY=LOW:HIGH:COUNT",
    ("--vary", "inner_guide=0:1:2"): "has no range; list what to try",
    ("--vary", "surface=bench,moon"): "'moon' is not allowed",
    ("--vary", "lot=maize_large_flat,nothing"): "'nothing'",
    ("--vary", "turns=10:20:2"): "all points are watched equally long",
    ("--vary", "vacuum_inh2o=8:24:5", *RANGE): "states the same as vacuum_inh2o",
    (*RANGE, "--set", "vacuum_inh2o=8"): "is also set with --set",
    (*RANGE, "--set", "vacuum_kp=8"): "unknown key",
    (): "nothing is varied; give --vary",
    (*RANGE, "--points", "64"): "a grid has the points of --vary",
    (*RANGE, "--design", "sobol", "--points", "60"): "no power of two, which this design needs; "
    "give 32 or 64",
    (*RANGE, "--design", "latin", "--points", "1"): "from 2 to 1,000,000",
    (*RANGE, "--importance", "--design", "latin"): "does not go with --importance",
    ("--vary", "vacuum_kpa=2,4", "--design", "latin"): "a list is for a grid",
    ("--vary", "notch=0,1", "--importance"): "a list is for a grid",
    (*RANGE, "--seed", "-1"): "--seed: -1: must be a whole number",
    (*RANGE, "--replicates", "0"): "--replicates: 0: must be a whole number from 1 to 10,000",
    (*RANGE, "--workers", "0"): "--workers: 0: must be a whole number from 1 to 1,000",
    (*RANGE, "--response", "qualty"): "--response: qualty: unknown measure",
    (*RANGE, "--accept", "per_spacing.mis<=0.05"): "did you mean 'per_spacing.miss'?",
    (*RANGE, "--accept", "per_spacing.miss<0.05"): "must read MEASURE<=VALUE",
    (
        *RANGE,
        "--accept",
        "per_spacing.miss<=5",
    ): "a share is given from 0 to 1: 0.05, or 5%, for 5 %",
    (*RANGE, "--accept", "per_spacing.miss<=few"): "'few' is no number",
    (*RANGE, "--plateau", "wide"): "--plateau: wide: must be a number from 0 to 100",
    (*RANGE, "--plateau", "nan"): "must be a number from 0 to 100",
    (*RANGE, "--figure", "x.gif"): "must end in .png or .svg or .pdf",
    ("--vary", "vacuum_kpa=2:6:1001", "--vary", "notch=0:1:1000"): "asks for 1,001,000 runs; if "
    "that is meant, add --yes",
    ("--vary", "notch=8,9"): "--vary, at every point: singulator.notch: 8 notches would take",
}


@pytest.mark.parametrize("arguments", REFUSED, ids=" ".join)
def test_what_cannot_be_swept_is_refused_in_a_line(arguments, told):
    (line,) = told(*SHORT, *arguments, "--out", "rows.csv")
    assert REFUSED[arguments] in line


def test_all_that_is_wrong_is_said_at_once(told):
    lines = told("sweep", "maize_bench", "--vary", "vacum=1:2:3", "--seed", "x", "--out", "no/x")
    assert len(lines) == 3


@pytest.mark.parametrize("out", ["none/rows.csv", ".", "rows\0.csv"])
def test_a_place_that_cannot_be_written_is_refused(out, told):
    (line,) = told(*SHORT, *RANGE, "--out", out)
    assert line.startswith("--out: ")


def test_a_scenario_is_not_overwritten(told, folder):
    (folder / "own.toml").write_text('extends = "maize_bench"\ntitle = "own"\n')
    told("sweep", "own.toml", *RANGE, "--out", "own.toml")
    told("sweep", "own.toml", *RANGE, "--out", "own.toml", "--resume")


@pytest.mark.slow
def test_rows_that_are_there_are_not_overwritten(told, done):
    done(*SHORT, *RANGE, "--out", "rows.csv")
    (line,) = told(*SHORT, *RANGE, "--out", "rows.csv")
    assert line == ("rows.csv: is there already; go on with it by --resume, or give another file")


@pytest.mark.slow
@pytest.mark.parametrize(
    "other",
    [
        (*SHORT, "--vary", "vacuum_kpa=2:6:6"),
        (*SHORT, "--vary", "vacuum_kpa=2:5:5"),
        (*SHORT, *RANGE, "--vary", "notch=0,1"),
        (*SHORT, *RANGE, "--seed", "2"),
        (*SHORT, *RANGE, "--replicates", "2"),
        (*SHORT, *RANGE, "--set", "notch=1"),
        ("sweep", "maize_bench", "--turns", "5", *RANGE),
        ("sweep", "maize_field", "--turns", "4", *RANGE),
        (*SHORT, *RANGE, "--design", "latin", "--points", "5"),
    ],
)
def test_rows_of_another_sweep_are_not_gone_on_with(other, told, done):
    done(*SHORT, *RANGE, "--out", "rows.csv")
    (line,) = told(*other, "--out", "rows.csv", "--resume")
    assert "holds other rows than are asked for: line " in line


@pytest.mark.slow
def test_rows_of_another_version_are_not_gone_on_with(told, done, monkeypatch):
    done(*SHORT, *RANGE, "--out", "rows.csv")
    monkeypatch.setattr("metersim.questions.sweep.plan.__version__", "9.9.9")
    (line,) = told(*SHORT, *RANGE, "--out", "rows.csv", "--resume")
    assert f"'# version: \"{__version__}\"', not '# version: \"9.9.9\"'" in line


@pytest.mark.slow
def test_a_scenario_that_was_changed_is_another(told, done, folder):
    own = folder / "own.toml"
    own.write_text('extends = "maize_bench"\ntitle = "own"\n[run]\nturns = 4\n')
    done("sweep", "own.toml", *RANGE, "--out", "rows.csv")
    own.write_text(own.read_text() + "[disc]\nagitation = 0.31\n")
    (line,) = told("sweep", "own.toml", *RANGE, "--out", "rows.csv", "--resume")
    assert "settings_sha256" in line


@pytest.mark.study
@pytest.mark.slow
def test_rows_that_were_changed_are_not_gone_on_with(told, done, folder):
    done(*SHORT, *RANGE, "--out", "rows.csv")
    rows = folder / "rows.csv"
    text = rows.read_text()
    for old, new in (("\n1,0,3,", "\n1,0,3.5,"), ("\n1,0,3,", "\n1,0,3,x"), ("\n4,0,", "\n5,0,")):
        assert old in text
        rows.write_text(text.replace(old, new))
        (line,) = told(*SHORT, *RANGE, "--out", "rows.csv", "--resume")
        assert "is not what this study writes there" in line and "or --mend" in line
        done(*SHORT, *RANGE, "--out", "rows.csv", "--resume", "--mend")
        assert rows.read_text() == text
    rows.write_text(text + text.splitlines()[-1] + "\n")
    assert "row 6" in told(*SHORT, *RANGE, "--out", "rows.csv", "--resume")[0]


# ---------------------------------------------------------------- what comes out


@pytest.mark.slow
def test_a_sweep_tells_and_writes_and_draws(done, folder):
    asked = (*SHORT, *RANGE, "--vary", "notch=-1:1:3", "--out", "r.csv")
    text = done(*asked, "--figure", "r.png", "--details")
    assert (folder / "r.png").read_bytes().startswith(b"\x89PNG")
    assert rows_in(folder / "r.csv") == 15
    for word in ("Varied", "Best", "Plateau", "Acceptable", "prove it on a bench"):
        assert word in text
    lines = (folder / "r.csv").read_text().splitlines()
    read = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    best = max(read, key=lambda row: float(row["per_spacing.quality"]))
    assert len({row["per_spacing.quality"] for row in read}) > 1
    assert f"vacuum_kpa={best['vacuum_kpa']}, notch={best['notch']}" in text
    caution, first, *_ = text.splitlines()
    assert caution.startswith("Caution: Stop fan and disc")
    assert first.startswith(f"Best of 15 points: vacuum {best['vacuum_kpa']} kPa, notch ")


ANSWERS = {
    "one": RANGE,
    "map": (*RANGE, "--vary", "notch=-1:1:3", "--replicates", "2"),
    "lists": ("--vary", "speed_kmh=10,30", "--vary", "vacuum_kpa=0,3", "--vary", "notch=-2,0,8"),
    "neither": (*RANGE, "--response", "spacing.mean"),
    "importance": ("--vary", "vacuum_kpa=1:6", "--importance", "--points", "4"),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", ANSWERS)
def test_an_answer_fits_a_terminal_and_comes_first(name, done):
    """The words of a grower, at most eight rows, and the whole report under --details."""
    asked = (*SHORT, *ANSWERS[name], "--out", "r.csv")
    short = done(*asked)
    lines = short.splitlines()
    assert len(lines) <= 24 and max(map(len, lines)) <= 118
    assert "quality of feed" not in short and "luck" not in short
    heads = {"neither": "Mean spacing: ", "importance": "Most important for normal spacings: "}
    first = lines[lines[0].startswith("Caution: ")]
    assert first.startswith(heads.get(name, "Best of "))
    assert lines[0].startswith("Caution: ") is (name != "neither")
    assert "--details" in lines[-1]
    whole = done(*asked, "--details", "--resume")
    assert whole.splitlines()[:3] == lines[:3] and "prove it on a bench" in whole


@pytest.mark.slow
def test_the_same_sweep_gives_the_same_bytes(done, folder):
    for name in ("a", "b"):
        options = ("--out", f"{name}.csv", "--figure", f"{name}.png")
        told = done(*SHORT, "--vary", "vacuum_kpa=2:6", "--importance", "--points", "4", *options)
        (folder / f"{name}.txt").write_text(told)
    for kind in ("csv", "png", "txt"):
        assert (folder / f"a.{kind}").read_bytes() == (folder / f"b.{kind}").read_bytes()


@pytest.mark.slow
def test_importance_is_told(done):
    told = done(
        *SHORT, "--vary", "vacuum_kpa=1:6", "--vary", "tube_wear=0:0.1", "--importance",
        "--points", "16", "--replicates", "2", "--out", "rows.csv", "--response", "cells.skip",
        "--details",
    )  # fmt: skip
    rows = {line.split()[0]: line for line in told.splitlines() if line}
    assert np.round(float(rows["tube_wear"].split()[1]), 1) == 0  # wear of the tube skips no cell
    assert "Sampling error makes" in told and "first-order index" in told


@pytest.mark.slow
def test_a_finished_sweep_is_told_again_without_work(done, folder):
    first = done(*SHORT, *RANGE, "--out", "rows.csv")
    before = (folder / "rows.csv").read_bytes()
    assert done(*SHORT, *RANGE, "--out", "rows.csv", "--resume") == first
    assert (folder / "rows.csv").read_bytes() == before


@pytest.mark.slow
def test_progress_is_for_terminals():
    """A pipe gets nothing but the report; what ends at once shows nothing either."""
    command = (*SHORT, *RANGE, "--out")
    process = started(*command, "piped.csv")
    assert process.communicate(timeout=60)[1] == ""


# ---------------------------------------------------------------- what cuts it short


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """The bytes of a sweep that nothing disturbs."""
    path = tmp_path_factory.mktemp("undisturbed") / "rows.csv"
    assert main([*MANY, "--out", str(path)]) == 0
    return path.read_bytes()


@pytest.mark.slow
def test_both_engines_give_the_same_rows(folder, done):
    few = ("sweep", "maize_bench", "--vary", "vacuum_kpa=2,4", "--turns", "3")
    for engine in ("arrays", "events"):
        done(*few, "--engine", engine, "--out", f"{engine}.csv")
    arrays, events = ((folder / f"{engine}.csv").read_text() for engine in ("arrays", "events"))
    for one, other in zip(words_of(arrays), words_of(events), strict=True):
        assert one == other or float(one) == pytest.approx(float(other), rel=1e-9, abs=1e-12)


def words_of(text):
    """Words and numbers of a file of rows."""
    return re.split(r"[,\n]", text)


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_killed_it_loses_nothing_that_was_finished(workers, undisturbed, folder):
    """Killed again and again, the rows only grow, and the last run completes them."""
    rows = folder / "rows.csv"
    command = (*MANY, "--out", "rows.csv", "--resume", "--workers", workers)
    lucky = np.random.Generator(np.random.PCG64(int(workers)))
    for _ in range(2):
        before = rows.read_bytes() if rows.exists() else b""
        goal = min(rows_in(rows) + int(lucky.integers(1, 15)), ROWS - 5)
        process = started(*command)
        wait_for(lambda goal=goal: rows_in(rows) >= goal)
        process.kill()
        process.communicate()
        whole = rows.read_bytes()
        assert whole[: len(before)] == before
        assert undisturbed.startswith(whole)
    process = started(*command)
    _, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert rows.read_bytes() == undisturbed


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_interrupted_it_says_what_is_kept(workers, undisturbed, folder, done):
    """As Ctrl-C does, the signal goes to the workers too; only one line comes."""
    rows = folder / "rows.csv"
    for _ in range(5):
        rows.unlink(missing_ok=True)
        process = started(*MANY, "--out", "rows.csv", "--workers", workers, start_new_session=True)
        wait_for(lambda: rows_in(rows) >= 2)
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=30)
        if process.returncode:  # else a busy machine let it end before the signal came
            break
    kept = rows_in(rows)
    assert (process.returncode, out) == (130, "")
    assert err == (
        f"metersim: interrupted; {kept} of {ROWS} rows are kept in rows.csv; go on with --resume\n"
    )
    assert undisturbed.startswith(rows.read_bytes())
    done(*MANY, "--out", "rows.csv", "--resume")
    assert rows.read_bytes() == undisturbed


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="no list of processes")
def test_workers_end_with_whoever_gave_them_work(folder):
    def alive(pid):
        """Whether a process runs; one that nobody buried does not."""
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            return False
        return state != "Z"

    process = started(*ENDLESS, "--out", "rows.csv", "--workers", "2")
    wait_for(lambda: rows_in(folder / "rows.csv") >= 1)
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
    assert len(children) >= 2 and all(map(alive, children))
    process.kill()
    process.communicate()
    wait_for(lambda: not any(map(alive, children)), 20)


@pytest.mark.study
@pytest.mark.slow
def test_a_full_disk_keeps_what_is_finished(undisturbed, folder, done):
    rows = folder / "rows.csv"
    room = 20_000

    def small():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    process = started(*MANY, "--out", "rows.csv", preexec_fn=small)
    out, err = process.communicate(timeout=60)
    kept = rows_in(rows)
    assert (process.returncode, out) == (2, "")
    assert err == (
        f"metersim: rows.csv: cannot be written: File too large; {kept} finished rows are kept; "
        "mend that and go on with --resume\n"
    )
    assert 0 < kept < ROWS and undisturbed.startswith(rows.read_bytes())
    done(*MANY, "--out", "rows.csv", "--resume")
    assert rows.read_bytes() == undisturbed


@pytest.mark.slow
def test_a_disk_with_no_room_for_the_head_is_left_as_it_was(folder):
    def tiny():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    process = started(*SHORT, *RANGE, "--out", "rows.csv", preexec_fn=tiny)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 2
    assert err == "metersim: rows.csv: cannot be written: File too large\n"
    assert list(folder.iterdir()) == []


def test_a_text_that_is_a_number_can_be_swept(done, tmp_path):
    """One row, or one hole, is a list of rows or holes as well."""
    words = ["--set", "turns=2", "--vary", "plugged_holes=1,2", "--out", tmp_path / "own.csv"]
    assert "plugged holes" in done("sweep", "maize_bench", *words)
