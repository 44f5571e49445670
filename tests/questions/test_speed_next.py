"""Speed of ``next`` in passes of the yardstick, off by default: ``pytest -m benchmark -n 0 -s``."""

from pathlib import Path

import pytest

import metersim as m
from metersim.questions.shared.countlog import entry_of, with_entry
from tests.yardstick import passes_of

pytestmark = pytest.mark.benchmark

COUNT = ["--counted", "500", "--skips", "2", "--doubles", "21"]
SIGNS = ["--counted", "500", "--skips", "20", "--doubles", "4", "--rows", "one"]
ALONE = ["--workers", "1"]
COUNTS = [
    (500, 3, 12),
    (500, 2, 14),
    (480, 4, 16),
    (510, 2, 15),
    (500, 1, 18),
    (500, 3, 13),
    (490, 2, 17),
    (500, 2, 12),
    (505, 4, 15),
    (500, 2, 21),
]
"""Seeds, skips and doubles of ten counts of a row."""


def log_of(path: Path) -> Path:
    """A log of ten counts at one setting."""
    bench = m.load_scenario("maize_bench")
    for seeds, skips, doubles in COUNTS:
        path.write_bytes(with_entry(path, entry_of(bench, "1", seeds, skips, doubles)))
    return path


def least(words: list[str]) -> float:
    """Passes of a command, which are printed."""
    taken = passes_of([*words, *ALONE])
    print(f"\n{' '.join(words)}: {taken:.0f} passes")
    return taken


def test_one_count_is_answered_in_200_passes():
    assert least(["next", "maize_bench", *COUNT]) <= 200


def test_a_log_of_ten_counts_is_answered_in_300_passes(tmp_path):
    log = log_of(tmp_path / "counts.csv")
    assert least(["next", "maize_bench", "--log", str(log), "--row", "1"]) <= 300


def test_signs_are_answered_in_400_passes():
    assert least(["next", "maize_field", *SIGNS, "--pattern", "every 30"]) <= 400
