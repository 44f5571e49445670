"""However a command ends, it says so in one line and leaves nothing behind; progress on the way."""

import os
import pty
import resource
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from metersim.questions.shared.progress import Line, span
from tests.strategies import with_usual_signals

pytestmark = pytest.mark.usefixtures("folder")

TOP = Path(__file__).parents[1]
MANY = ("sweep", "maize_bench", "--vary", "vacuum_kpa=1:6:3000", "--out", "rows.csv")
PROCESSES = pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="no list of processes")
LOW = "OPENBLAS_NUM_THREADS"  # each thread of it takes memory of its own


def started(*arguments, **options):
    """The command in a process of its own, in the current folder."""
    return subprocess.Popen(
        [sys.executable, "-m", "metersim", *arguments],
        stdout=subprocess.PIPE,
        **{"stderr": subprocess.PIPE, "preexec_fn": with_usual_signals} | options,
        env={**os.environ, "PYTHONPATH": str(TOP), LOW: "1"},
    )


def ended(process, seconds=60):
    """Exit status of a process, and what it said on its outputs."""
    out, err = process.communicate(timeout=seconds)
    return process.returncode, out.decode(), err.decode()


def wait_for(what, seconds=60):
    """Wait until something is true."""
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until
        time.sleep(0.02)


# ---------------------------------------------------------------- progress


def seen(*arguments):
    """What a terminal sees of a command, and its exit status."""
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 60))
    process = started(*arguments, stderr=theirs)
    os.close(theirs)
    parts = []
    while True:
        try:
            part = os.read(ours, 65536)
        except OSError:  # nobody holds the other end any more
            break
        if not part:
            break
        parts.append(part)
    os.close(ours)
    process.communicate(timeout=60)
    return b"".join(parts).decode(), process.returncode


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("run", "maize_bench", "--turns", "60000"), "of 1,800,000 cells"),
        (("run", "maize_bench", "--turns", "500", "--engine", "events"), " s so far"),
        (("compare", "maize_bench", "--vary", "notch=0,1,2", "--turns", "9000"), "cells, "),
        (("learn", "maize_bench", "--cells-seen", "100", "--cells-loaded", "95"), " runs, "),
    ],
    ids=["run", "events", "compare", "learn"],
)
def test_a_terminal_sees_one_line_that_is_gone_at_the_end(arguments, words):
    text, status = seen(*arguments)
    assert status == 0
    lines = text.split("\r")
    assert lines.pop() == "" and lines.pop().strip() == ""
    assert any(words in line for line in lines)
    assert all(line.startswith("metersim ") or line == "" for line in lines)
    assert "\n" not in text and max(map(len, lines)) < 60
    _, _, err = ended(started(*arguments))  # no terminal
    assert err == ""


def test_a_command_that_ends_at_once_shows_no_line():
    assert seen("list", "keys") == ("", 0)


class Still:
    """A stream that is no terminal, for the words of a line."""

    def fileno(self):
        raise OSError


def test_the_line_predicts_what_is_left_from_the_pace_so_far(monkeypatch):
    """30 of 120 in 10 s: 90 more take 30 s."""
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    line = Line("sweep", Still())
    line.begin(120, "run")
    now[0] += 10
    line.to(30)
    assert line.text() == "metersim sweep: 30 of 120 runs, 10 s so far, about 30 s left"
    line.to(120)
    assert line.text() == "metersim sweep: 10 s so far"
    line.count(1, "run")
    line.count(2_000, "run")
    assert line.text() == "metersim sweep: 2,001 runs, 10 s so far"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.1, "1 s"), (89, "89 s"), (240, "4 min"), (7200, "2 h"), (1e6, "12 days")],
)
def test_a_time_has_one_unit(seconds, words):
    assert span(seconds) == words


# ---------------------------------------------------------------- memory


def limited(mebibytes):
    """A limit of the memory of a process."""

    def limit():
        resource.setrlimit(resource.RLIMIT_AS, (mebibytes << 20, mebibytes << 20))

    return limit


@pytest.mark.slow
@pytest.mark.parametrize("room", [100, 130, 200, 300])
def test_want_of_memory_is_one_line(room, folder):
    """Wherever it is met: libraries, arrays, or the texts of files."""
    call = ("run", "maize_bench", "--turns", "10000", "--set", "hopper_kg=200", "--csv", "a.csv")
    status, out, err = ended(started(*call, preexec_fn=limited(room)))
    assert (status, out) == (2, "")
    assert err.startswith("metersim: ") and err.count("\n") == 1 and "memory" in err
    assert list(folder.iterdir()) == []


# ---------------------------------------------------------------- signals


def alive(pid):
    """Whether a process runs; one that nobody buried does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def children_of(process):
    """Processes that a process started."""
    return Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()


def worker_of(process):
    """A process that works for another one."""
    for pid in children_of(process):
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes():
            return int(pid)
    return None


def working(folder):
    """A sweep of two workers that has written rows."""
    process = started(*MANY, "--workers", "2", start_new_session=True)
    rows = folder / "rows.csv"
    wait_for(lambda: rows.exists() and rows.read_bytes().count(b"\n") > 60)
    return process


KEPT = "rows are kept in rows.csv; go on with --resume\n"


@pytest.mark.study
@PROCESSES
@pytest.mark.slow
@pytest.mark.parametrize("all_of_them", [False, True], ids=["one", "group"])
@pytest.mark.parametrize(
    ("number", "status", "said"),
    [
        (signal.SIGINT, 130, KEPT),
        (signal.SIGTERM, 143, KEPT),
        (signal.SIGHUP, 129, KEPT),
        (signal.SIGKILL, -9, ""),
    ],
)
def test_an_ended_command_leaves_no_warning_and_no_process(
    number, status, said, all_of_them, folder
):
    process = working(folder)
    children = children_of(process)
    assert len(children) >= 3  # two workers, and what removes their semaphores
    (os.killpg if all_of_them else os.kill)(process.pid, number)
    found = ended(process)  # waits until nobody can write to its outputs
    assert found[:2] == (status, "")
    assert found[2].endswith(said) and found[2].count("\n") == (1 if said else 0)
    wait_for(lambda: not any(map(alive, children)), 20)


@pytest.mark.study
@PROCESSES
@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_an_ended_worker_is_one_line(number, folder):
    process = working(folder)
    children = children_of(process)
    os.kill(worker_of(process), number)
    status, out, err = ended(process)
    assert (status, out) == (2, "")
    assert "a worker was ended from outside, perhaps for want of memory" in err
    assert "finished rows are kept, go on with --resume" in err and err.count("\n") == 1
    wait_for(lambda: not any(map(alive, children)), 20)


def test_an_ignored_signal_stays_ignored(folder):
    """As under ``nohup``."""
    process = started(
        "run",
        "maize_bench",
        "--turns",
        "2000",
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )
    time.sleep(0.5)
    process.send_signal(signal.SIGHUP)
    status, out, err = ended(process)
    assert (status, err) == (0, "") and out
