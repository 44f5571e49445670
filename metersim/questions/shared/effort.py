"""How long a computation takes and how much it needs: said, or refused, before it begins."""

from __future__ import annotations

import os
from pathlib import Path

from metersim.files.faults import bad
from metersim.questions.shared.progress import say, span
from metersim.run.parallel import cores
from metersim.run.simulation import EVENTS

MOST_REPLICATES = 10_000
MOST_POINTS = 1_000_000  # of a sample
MOST_CELLS = 10**11  # of a command; the arrays take more than a day for them
FEWER = "give fewer turns, points or replicates"
LONG = 30.0  # s; a longer computation is announced

# measured with shipped scenarios on one core of 2020
RUN_SECONDS = 5e-3  # of a run of few cells
CELL_SECONDS = 1e-6
EVENT_CELL_SECONDS = 1.7e-4
METER_SECONDS, FIRST_METER_SECONDS = 0.2, 12.0  # of all habits on a meter
METER_CELLS = 3_000  # a look at so many cells takes twice the time of the smallest
SHOW_SECONDS = 0.01  # of a machine at a setting, in a round of learning

# a cell leaves a seed
RECORD_BYTES = 400  # of memory, with the text of its row
TRACE_BYTES = 3_200  # of memory, for its events and their text
ROW_BYTES = 120  # of a file, for a seed
EVENTS_BYTES = 480  # of a file, for its events


def seconds_for(cells: float, runs: float = 1, engine: str | None = None) -> float:
    """Time that runs take on one core. [s]

    Parameters
    ----------
    cells : float
        Cells of all runs together.
    runs : float
        Number of runs.
    engine : str, optional
        Engine of the runs, as for `metersim.run.simulation.simulate`.
    """
    each = EVENT_CELL_SECONDS if engine == EVENTS else CELL_SECONDS
    return RUN_SECONDS * runs + each * cells


def announce(
    seconds: float, workers: int = 1, kept: str = "nothing is written before the end"
) -> None:
    """Say how long a computation takes if that is long, and what an interrupt leaves.

    Parameters
    ----------
    seconds : float
        Time on one core. [s]
    workers : int
        Number of processes.
    kept : str
        What an interrupt leaves.
    """
    used = min(workers, cores())
    if seconds / used >= LONG:
        on = f"{used} {'core' if used == 1 else 'cores'}"
        say(f"about {span(seconds / used)} on {on}; stop with Ctrl-C, {kept}")


def check_cells(option: str, cells: int) -> None:
    """Refuse more cells than a command may simulate; raises `BadInput`."""
    if cells > MOST_CELLS:
        message = f"{cells:,} cells in all runs; give fewer turns, replicates or draws: "
        raise bad(option, "", message + f"{MOST_CELLS:,} cells at most")


def check_room(option: str, file: str | None, size: float) -> None:
    """Refuse a file that its disk has no room for, before any work is done.

    Parameters
    ----------
    option, file : str
        Option, and file to write; None needs no check.
    size : float
        Size of the file. [byte]

    Raises
    ------
    BadInput
        When the disk has less free space.
    """
    if file is None or (Path(file).exists() and not Path(file).is_file()):
        return
    import shutil  # what writes nothing does not need it

    try:
        free = shutil.disk_usage(Path(os.path.realpath(file)).parent).free
    except OSError:  # writing will say why
        return
    if size > free:
        message = (
            f"takes about {_size(size)}, and its disk has {_size(free)} free; give fewer turns"
        )
        raise bad(option, file, message + " or replicates")


def check_memory(option: str, size: float) -> None:
    """Refuse records that the free memory does not hold, where the system says how much is free.

    Parameters
    ----------
    option : str
        Option that asks for the records.
    size : float
        Memory that they take. [byte]

    Raises
    ------
    BadInput
        When less is free.
    """
    free = free_memory()
    if free is not None and size > free:
        message = (
            f"takes about {_size(size)} of memory, and {_size(free)} are free; give fewer turns"
        )
        raise bad(option, "", message + " or replicates")


def free_memory() -> float | None:
    """Memory that programs can still get; None where the system does not say. [byte]"""
    try:
        lines = Path("/proc/meminfo").read_text().splitlines()
        (line,) = (line for line in lines if line.startswith("MemAvailable:"))
    except (OSError, ValueError):
        return None
    return float(line.split()[1]) * 1024


def _size(size: float) -> str:
    """A size in words, with as many digits as are of use. [byte]"""
    unit, name = next(((u, n) for u, n in ((1e9, "GB"), (1e6, "MB")) if size >= u), (1e3, "kB"))
    return f"{size / unit:,.0f} {name}" if size >= 10 * unit else f"{size / unit:.1f} {name}"
