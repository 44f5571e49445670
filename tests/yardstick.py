"""A yardstick of speed that neither a faster nor a slower metersim moves.

A *pass* is the processor time of the work below, once numpy is warm.  It was set, once, to what
300 turns of ``maize_bench`` took in the arrays of version 0.4.0 (9,000 cells; 7 to 10 ms then):
blocks of draws, numpy's functions on them, and many calls on short arrays.  It is frozen: whoever
changes it makes all figures before worthless.
"""

import os
import resource
import subprocess
import sys
import time

import numpy as np

CELLS = 9_000
BLOCKS = 27  # calls on all cells
SHORT_CALLS = 740  # calls on a few of them


def work() -> float:
    """The frozen work of one pass; what it returns only keeps it from being left out."""
    generator = np.random.Generator(np.random.PCG64(1))
    total = 0.0
    for _ in range(BLOCKS):
        drawn = generator.random(CELLS)
        value = np.exp(-3.0 * drawn) * np.sqrt(1.0 + drawn)
        fell = np.flatnonzero(value < 0.2)
        value[fell] = np.log1p(drawn[fell])
        total += float(np.add.accumulate(np.where(drawn < 0.5, value, drawn))[-1])
    few = np.sort(drawn[:100])
    for k in range(SHORT_CALLS):
        total += float(np.searchsorted(few, few[k % 100] + few * 0.5)[0])
    return total


def seconds_of_a_pass(repeats: int = 15) -> float:
    """The least processor time of several passes [s]."""
    work()
    least = np.inf
    for _ in range(repeats):
        start = time.process_time()
        work()
        least = min(least, time.process_time() - start)
    return float(least)


def seconds_of(command: list[str]) -> float:
    """Processor time of a command, its children included [s]; modules are compiled already."""
    kept = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(command, env=kept, capture_output=True, text=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def passes_of(words: list[str], rounds: int = 3) -> float:
    """Passes that ``metersim WORDS`` takes: least time against least time, taken in turn.

    The first start writes compiled modules and does not count.
    """
    command = [sys.executable, "-m", "metersim", *words]
    if rounds > 1:
        seconds_of(command)
    taken = [(seconds_of(command), seconds_of_a_pass()) for _ in range(rounds)]
    return min(command for command, _ in taken) / min(one for _, one in taken)


if __name__ == "__main__":
    print(f"{passes_of(sys.argv[1:]):.0f} passes of {seconds_of_a_pass() * 1e3:.1f} ms")
