"""Speed of commands that take long, off by default: ``pytest -m benchmark -n 0 -s``.

One process works: processor time is counted in passes of `tests.yardstick`, about 10 ms each.
Commands of many meters or draws are measured with few of them, at two numbers, and extended.
"""

import os
import statistics
import subprocess
import sys
import time

import numpy as np
import pytest

from tests.yardstick import passes_of

pytestmark = pytest.mark.benchmark
PAIRS = 3


def extended(words, option, few, more, whole):
    """Passes of a command at `whole`, along the line through its passes at two lower numbers."""
    low, high = (
        passes_of([*words, option, str(many), "--workers", "1"], rounds=1) for many in (few, more)
    )
    each = (high - low) / (more - few)
    made = high + each * (whole - more)
    print(f"\n{words[0]}: {low:.0f} passes of {few}, {each:.1f} each, so {made:.0f} of {whole}")
    return made


def held(passes, wanted, most):
    """Hold a bound; a target that is missed is told."""
    assert passes <= most
    if passes > wanted:
        pytest.xfail(f"{passes:.0f} passes miss the target of {wanted}")


def test_habits_on_five_hundred_meters():
    """The line gives more than a whole run takes, as settings that all meters share are few."""
    held(extended(["habits", "maize_field"], "--meters", 20, 60, 500), 2_500, 13_000)


def test_evidence_of_all_cases():
    held(extended(["evidence"], "--draws", 4, 12, 64), 6_000, 14_000)


@pytest.mark.parametrize(("named", "most"), [(False, 600), (True, 1_700)])
def test_a_file_of_a_million_spacings(named, most, tmp_path):
    """Without names of rows, and with five of them, each of which is fitted by itself."""
    generator = np.random.Generator(np.random.PCG64(1))
    places = 16.9 * np.cumsum(1 + (generator.random(1_000_000) < 0.03) + 0.0)
    places += 1.3 * generator.standard_normal(len(places))
    lines = (f"{one:.1f}" for one in np.diff(np.sort(places)).clip(0.1))
    names = (f"row {k // 200_000}," if named else "" for k in range(len(places)))
    text = "\n".join(map("".join, zip(names, lines, strict=False)))
    (tmp_path / "tape.csv").write_text(f"{'row,' if named else ''}spacing_cm\n{text}\n")
    took = passes_of(["measured", "maize_field", str(tmp_path / "tape.csv")], rounds=1)
    print(f"\nmeasured: {took:.0f} passes for a million spacings")
    assert took <= most


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="needs two cores")
def test_two_cores_answer_nearly_twice_as_fast():
    """Half a minute of work, in pairs one after the other; the same answer."""
    command = [sys.executable, "-m", "metersim", "habits", "maize_field", "--meters", "60"]

    def seconds(*words):
        start = time.perf_counter()
        told = subprocess.run([*command, *words], capture_output=True, check=True).stdout
        return time.perf_counter() - start, told

    ratios = []
    for _ in range(PAIRS):
        (alone, expected), (together, found) = seconds("--workers", "1"), seconds()
        assert found == expected
        ratios.append(alone / together)
    print(f"\ntwo cores: {', '.join(f'{one:.2f}' for one in sorted(ratios))} times as fast as one")
    assert statistics.median(ratios) >= 1.7
