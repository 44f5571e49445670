"""Which facts see a coefficient moved by a fifth: ``python -m tests.validation.moved [names]``.

Each coefficient's default is made a fifth smaller, then a fifth larger, before any test is loaded.
Then the files below are run, and the table says which of their tests turn red.  Ranges of
coefficients are widened for it: that a value is refused is no fact.  Some ten seconds a move.
With ``--files`` other files are run.  What no fact is meant to see is listed, with its reason, in
``tests/machine/test_facts_coverage.py``; where the list is wrong the last lines say so.
"""

import argparse
import json
import subprocess
import sys

import pytest

from metersim.files.fields import specs
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.questions.shared.words import aligned
from tests.machine.test_facts_coverage import UNCAUGHT

FILES = ("tests/machine", "tests/run/test_signs.py", "tests/measures/test_stand.py")
FACTORS = (0.8, 1.2)
SHOWN = 2  # tests in a cell of the table


class Red:
    """Plugin of pytest: the tests that fail, and the files that cannot be loaded."""

    def __init__(self):
        self.found = []

    def pytest_runtest_logreport(self, report):
        """Note a test that fails."""
        if report.failed:
            self.found.append(report.nodeid)

    def pytest_collectreport(self, report):
        """Note a file that cannot be loaded."""
        if report.failed:
            self.found.append(report.nodeid)


def move(name, factor):
    """Give a coefficient another default, and move its range along, before it is used anywhere."""
    spec, value = specs(Coefficients)[name], factor * getattr(USUAL, name)
    object.__setattr__(spec, "low", min(spec.low, value))
    object.__setattr__(spec, "high", max(spec.high, value))
    object.__setattr__(USUAL, name, value)  # what functions have as a default is this very object
    setattr(Coefficients, name, value)
    Coefficients.__init__.__kwdefaults__[name] = value
    Coefficients.__dataclass_fields__[name].default = value
    assert getattr(Coefficients(), name) == getattr(USUAL, name) == value


def run_moved(name, factor, files):
    """Run the files in this process with one coefficient moved, and print what turns red."""
    move(name, factor)
    red = Red()
    options = ["-n", "0", "-q", "--no-header", "--tb=no", "-p", "no:cacheprovider"]
    pytest.main([*options, *files], [red])
    print("\n" + json.dumps(red.found))


def caught(name, factor, files):
    """What turns red, from a process of its own."""
    call = [sys.executable, "-m", __spec__.name, "--inside", name, str(factor), "--files", *files]
    done = subprocess.run(call, capture_output=True, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def short(found):
    """The number of tests that turn red, and the first of them."""
    names = [node.rpartition("::")[2] or node for node in found]
    return f"{len(found)}: " + ", ".join(names[:SHOWN]) if found else "none"


def main():
    """Move what is asked for, print the table and the tally."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help="coefficients; all when left out")
    parser.add_argument("--files", nargs="+", default=FILES)
    parser.add_argument("--inside", nargs=2, metavar=("NAME", "FACTOR"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.inside:
        name, factor = asked.inside
        run_moved(name, float(factor), asked.files)
        return
    names = asked.names or list(specs(Coefficients))
    always = set(caught(names[0], 1.0, asked.files))
    if always:
        print("red without any move, and not counted:", *sorted(always))
    rows, seen = [("coefficient", *(f"x {factor:g}" for factor in FACTORS))], 0
    wrong = []
    for name in names:
        found = [
            [node for node in caught(name, factor, asked.files) if node not in always]
            for factor in FACTORS
        ]
        seen += sum(map(bool, found))
        listed = UNCAUGHT.get(name, ((),))[0]
        for factor, nodes in zip(FACTORS, found, strict=True):
            if not nodes and factor not in listed:
                wrong.append(f"not seen, and not in UNCAUGHT: {name} x {factor:g}")
            if nodes and factor in listed:
                wrong.append(f"seen by some test, though in UNCAUGHT: {name} x {factor:g}")
        rows.append((name, *map(short, found)))
        print(*rows[-1], sep=" | ", flush=True)
    print("\n" + aligned(rows))
    print(f"\n{seen} of {len(FACTORS) * len(names)} moves are seen")
    print(*wrong, sep="\n")


if __name__ == "__main__":
    main()
