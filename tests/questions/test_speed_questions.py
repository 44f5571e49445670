"""Processor time of whole commands with draws of machines, off by default.

``pytest -m benchmark -n 0 -s``.  Times are in passes (`tests.yardstick`), so a slow or a shared
machine hardly moves them.
"""

import pytest

from tests.yardstick import passes_of

pytestmark = pytest.mark.benchmark
MOST = {
    "run maize_bench": 100,
    "run maize_field": 100,
    "compare maize_field --vary speed_kmh=6,8,10": 100,
    "steps maize_bench --counted 300": 110,
}


@pytest.mark.parametrize("words", MOST)
def test_a_command_with_draws_takes_few_passes(words):
    """The start of the program, and its imports, are in it."""
    taken = passes_of(words.split())
    print(f"\n{words}: {taken:.0f} passes")
    assert taken <= MOST[words]


def test_the_parts_of_an_interval_take_the_runs_that_an_answer_leaves_out():
    """Negative control: with --details all is run, and takes far longer."""
    words = ["steps", "maize_bench", "--counted", "300"]
    assert passes_of([*words, "--details"], 1) > 2 * passes_of(words, 1)
