"""Speed of sweeps, off by default: ``pytest -m benchmark -n 0 -s``.

Pairs are run one after the other and the median of their ratios counts, as the machine may be
shared.
"""

import os
import statistics
import time

import pytest

from metersim.files.rowfile import RowFile
from metersim.questions.sweep.plan import plan_sweep
from metersim.questions.sweep.study import sweep
from metersim.run.pool import processes

pytestmark = pytest.mark.benchmark
PAIRS = 5
WORK_SECONDS = 30


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="needs two cores")
def test_two_processes_are_half_as_fast_again_as_one():
    """Work of half a minute, with the start of the processes in it; the rows are the same."""
    trial = plan_sweep("maize_field", ["vacuum_kpa=2:6:8"])
    start = time.perf_counter()
    sweep(trial)
    many = max(round(8 * WORK_SECONDS / (time.perf_counter() - start)), 8)
    plan = plan_sweep("maize_field", [f"vacuum_kpa=2:6:{many}"])

    def seconds(workers):
        start = time.perf_counter()
        with processes(workers) as executor:
            made = sweep(plan, executor=executor, ahead=4 * workers)
        return time.perf_counter() - start, made.values.tobytes()

    ratios = []
    for _ in range(PAIRS):
        (serial, expected), (parallel, found) = seconds(1), seconds(2)
        assert found == expected
        ratios.append(serial / parallel)
    print(f"\ntwo processes: {', '.join(f'{ratio:.2f}' for ratio in sorted(ratios))} times serial")
    assert statistics.median(ratios) >= 1.5


def test_a_row_in_the_file_costs_little(tmp_path):
    """Rows that come quickly share a sync; less than a tenth of the shortest run (1 ms)."""
    row = [repr(k / 7) for k in range(70)]
    start = time.perf_counter()
    with RowFile(tmp_path / "rows.csv", ["a study"], row) as file:
        for _ in range(10_000):
            file.append(row)
    each = (time.perf_counter() - start) / 10_000
    print(f"\na row takes {each * 1e6:.0f} microseconds")
    assert each < 1e-4
