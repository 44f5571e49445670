"""Speed of a start, off by default: ``pytest -m benchmark -n 0 -s tests/test_speed_start.py``.

Processor time in passes (`tests.yardstick`): least time against least time, taken in turn.
"""

import subprocess
import sys
import time

import numpy as np
import pytest
import scipy.special

from metersim.distributions.normal import ndtri
from tests.yardstick import passes_of, seconds_of, seconds_of_a_pass

pytestmark = pytest.mark.benchmark
BEFORE_DRAWS, WITH_DRAWS = 60, 100  # passes
TIMES_BARE = 4.0
TIMES_SCIPY = 1.34
ROUNDS = 5
# a command whose draws of machines do not count; prints the rest of its processor time
WITHOUT_DRAWS = """
import sys, time
from metersim import cli
from metersim.questions.shared import unknowns
drawing, spent = unknowns.spreads_about, 0.0
def timed(*given, **options):
    global spent
    start = time.process_time()
    try:
        return drawing(*given, **options)
    finally:
        spent += time.process_time() - start
unknowns.spreads_about = timed
cli.main(sys.argv[1:])
print(time.process_time() - spent, file=sys.stderr)
"""
WHOLE = {
    "run": ["run", "maize_bench"],
    "explain": ["explain", "maize_bench"],
    "howmany": ["howmany", "maize_bench"],
    "compare": ["compare", "maize_bench", "--vary", "vacuum_kpa=3,4"],
}


def seconds_without_draws(words):
    """Processor time of a command less that of its draws [s]."""
    command = [sys.executable, "-c", WITHOUT_DRAWS, *words]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return float(done.stderr.splitlines()[-1])


@pytest.mark.parametrize("name", WHOLE)
def test_a_command_starts_and_answers_before_its_draws_in_60_passes(name):
    """Imports, files, its own run and its words; two draws are made and left out."""
    words = [*WHOLE[name], *(["--draws", "2"] if name in ("run", "compare") else [])]
    seconds_without_draws(words)  # writes compiled modules
    taken = [(seconds_without_draws(words), seconds_of_a_pass()) for _ in range(ROUNDS)]
    passes = min(one for one, _ in taken) / min(one for _, one in taken)
    print(f"\n{name}: {passes:.0f} passes before draws")
    assert passes <= BEFORE_DRAWS


@pytest.mark.parametrize("name", ["run", "compare"])
def test_a_command_with_its_draws_takes_100_passes(name):
    """The whole command as it is typed."""
    passes = passes_of(WHOLE[name], ROUNDS)
    print(f"\n{name}: {passes:.0f} passes")
    assert passes <= WITH_DRAWS


def test_help_starts_in_four_times_bare_python():
    """Processor time of both, in turn."""
    words = ([sys.executable, "-m", "metersim", "--help"], [sys.executable, "-c", "pass"])
    taken = [[seconds_of(command) for command in words] for _ in range(15)]
    helped, bare = (min(column) for column in zip(*taken, strict=True))
    print(f"\nhelp takes {helped / bare:.2f} times a bare start")
    assert helped < TIMES_BARE * bare


def test_deviates_take_no_more_than_a_third_longer_than_those_of_scipy():
    """Arrays of 10,000, the least of many times in turn."""
    shares = np.random.Generator(np.random.PCG64(1)).random(10_000)

    def seconds(function):
        start = time.perf_counter()
        function(shares)
        return time.perf_counter() - start

    taken = [[seconds(one) for one in (ndtri, scipy.special.ndtri)] for _ in range(300)]
    own, reference = (min(column) for column in zip(*taken, strict=True))
    print(f"\n10,000 deviates take {own / reference:.2f} times those of scipy")
    assert own <= TIMES_SCIPY * reference
