"""What a command loads: nothing that its answer does not use."""

import re
import subprocess
import sys
from functools import cache

import pytest

LOADED = """
import sys
from metersim.cli import main
status = main(sys.argv[1:])
print(*sys.modules, file=sys.stderr)
sys.exit(status)
"""
COMMANDS = {
    "run": ["run", "maize_bench", "--turns", "20", "--draws", "2"],
    "explain": ["explain", "maize_bench"],
    "howmany": ["howmany", "maize_bench", "--cells", "1000"],
    "compare": ["compare", "maize_bench", "--vary", "notch=0,1", "--turns", "20", "--draws", "2"],
}
# what only other answers use: pictures, tables of pandas, the events, a machine of rows, fits to
# spacings, processes, servers, files that are written, and the names that the package offers
UNUSED = (
    r"scipy(\..*)?",
    r"matplotlib|pandas|simpy",
    r"metersim\.run\.(events|hole|meter|breath|toolbar|pool)",
    r"metersim\.measures\.(rows|cellfit|cellmodel|fold)",
    r"metersim\.questions\.(run|shared)\.machine\w*",
    r"http\.server|socketserver|webbrowser",
    r"concurrent\.futures|multiprocessing|importlib\.metadata|tempfile|lazy_loader|statistics",
)


@cache
def loaded(*words):
    """Modules that a command has loaded when it ends."""
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *words],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return done.stderr.splitlines()[-1].split()


def unused(modules):
    """The modules that a usual answer does not use."""
    return [name for name in modules if any(re.fullmatch(one, name) for one in UNUSED)]


@pytest.mark.slow
@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_loads_nothing_that_it_does_not_use(name):
    """Its own folder is loaded, and none of what other answers use."""
    modules = loaded(*COMMANDS[name])
    assert f"metersim.questions.{name}.command" in modules
    assert unused(modules) == []
    questions = [one.split(".")[2] for one in modules if one.startswith("metersim.questions.")]
    assert {*questions} == {name, "shared"}


@pytest.mark.slow
def test_what_is_used_is_seen(tmp_path):
    """Negative control: a machine of rows and a file load what they use."""
    written = str(tmp_path / "cells.csv")
    modules = loaded("run", "half_parked_open", "--turns", "5", "--draws", "2", "--csv", written)
    seen = unused(modules)
    assert "metersim.measures.rows" in seen and "metersim.questions.shared.machinerun" in seen
    assert "tempfile" in seen and "simpy" not in seen
