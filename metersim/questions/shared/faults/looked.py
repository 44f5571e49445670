"""What one run of a meter shows: on the ground, on the monitor, by hole, and in the seed used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.measures.fold import DOUBLES, MISSES, failing
from metersim.measures.places import Plan, planned_at, shown_spacings
from metersim.measures.spacing import CLASS_BOUNDS, spacings_of
from metersim.questions.shared.looks import kept_full, loads_of_spacings
from metersim.run.records import Run
from metersim.run.simulation import simulate

LEVEL = 0.95  # coverage of intervals that are not used here
RUNS = 100  # runs that are looked at together, so that few have a pattern by chance
Ints = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Looked:
    """What one run shows.

    Attributes
    ----------
    true_skips, true_doubles : float
        Shares of cells that left the meter empty, or with two seeds or more. [1]
    cell_skips, cell_doubles : float
        Shares of cells without a pulse of the sensor, and with two or more. [1]
    skips, doubles : float
        Shares of theoretical places without a pulse, and with two or more: what a monitor that
        measures spacings shows. [1]
    pattern : float
        Share of turns in which the worst hole fails beyond the others; 0 where no hole differs
        from the others. [1]
    scatter : float
        SD of normal spacings over the planned spacing. [1]
    used : float
        Seeds that left the hopper over the planned ones of the same travel. [1]
    stand : float
        Share of the monitor's empty cells in which a seed left the meter. [1]
    """

    true_skips: float
    true_doubles: float
    cell_skips: float
    cell_doubles: float
    skips: float
    doubles: float
    pattern: float
    scatter: float
    used: float
    stand: float

    @property
    def trouble(self) -> float:
        """Skips and doubles that the monitor shows. [1]"""
        return self.skips + self.doubles


def run_of(scenario: Scenario, cells: int, seed: int, replicate: int) -> Run:
    """A run of about so many cells with enough seed in its hopper."""
    return simulate(kept_full(scenario, cells), seed=seed, replicate=replicate)


def monitored(run: Run, planned: float) -> tuple[float, float]:
    """Shares of skips and doubles of a monitor that measures spacings. [1]

    Parameters
    ----------
    run : Run
        Run with its records.
    planned : float
        Spacing that the monitor takes for the theoretical one. [m]
    """
    scenario, seeds = run.scenario, run.seeds
    if scenario.way:
        return _shares(loads_of_spacings(shown_spacings(run) * (scenario.spacing / planned)))
    times = np.sort(seeds.sensor_time[seeds.seen])
    return _shares(loads_of_spacings(np.diff(times) * scenario.demand.speed / planned))


def trouble_of(run: Run, planned: float) -> float:
    """Skips and doubles together that a monitor shows, which measures spacings. [1]"""
    return sum(monitored(run, planned))


def looked(run: Run, planned: float) -> Looked:
    """All that a run shows.

    Parameters
    ----------
    run : Run
        Run with its records.
    planned : float
        Planned spacing, of the machine without a fault. [m]
    """
    pulses = np.bincount(run.seeds.cell[run.seeds.seen], minlength=len(run.cells))
    true_skips, true_doubles = _shares(run.cells.released)
    cell_skips, cell_doubles = _shares(pulses)
    skips, doubles = monitored(run, planned)
    hidden = float(np.sum((pulses == 0) & (run.cells.released > 0)))
    return Looked(
        true_skips=true_skips,
        true_doubles=true_doubles,
        cell_skips=cell_skips,
        cell_doubles=cell_doubles,
        skips=skips,
        doubles=doubles,
        pattern=pattern_of(pulses, run.scenario.disc.cells),
        scatter=_scatter(run, planned),
        used=_used(run, planned),
        stand=hidden / max(float(np.sum(pulses == 0)), 1.0),
    )


def pattern_of(loads: Ints, holes: int) -> float:
    """Share of turns in which the worst hole fails beyond the mean of all holes. [1]

    Parameters
    ----------
    loads : ndarray of int, shape (cells,)
        Seeds that were seen in each cell.
    holes : int
        Holes of the disc.

    Returns
    -------
    float
        0 where no hole differs from the others by the test of `metersim.measures.fold.failing`.
    """
    hole = np.arange(len(loads)) % holes
    passed = np.bincount(hole, minlength=holes)
    worst = 0.0
    for kind, happened in ((MISSES, loads == 0), (DOUBLES, loads > 1)):
        counts = np.bincount(hole, weights=happened, minlength=holes).astype(np.int64)
        mean = float(happened.mean())
        for one in failing(kind, counts, passed, 2 * holes * RUNS, LEVEL):
            worst = max(worst, one.count / one.turns - mean)
    return worst


def _shares(loads: NDArray[Any]) -> tuple[float, float]:
    """Shares of places without a seed, and with two or more."""
    if not len(loads):
        return 1.0, 0.0
    return float(np.mean(loads == 0)), float(np.mean(loads > 1))


def _scatter(run: Run, planned: float) -> float:
    """SD of normal spacings on the ground over the planned spacing; nan if there are too few."""
    way, seeds = run.scenario.way, run.seeds
    lies = Plan(way).places(seeds, seeds.position) if way else seeds.position
    ratios = spacings_of(lies) / planned
    normal = ratios[(ratios > CLASS_BOUNDS[0]) & (ratios <= CLASS_BOUNDS[1])]
    return float(normal.std(ddof=1)) if len(normal) > 2 else float("nan")


def _used(run: Run, planned: float) -> float:
    """Seeds that left hopper and pool over the planned ones, without the first and last turn."""
    ticks, scenario = run.ticks, run.scenario
    left = ticks.pool + ticks.hopper
    turn = min(int(1 / scenario.run.tick), (len(left) - 1) // 3)
    first, last = turn, len(left) - 1 - turn
    times, way = ticks.time[[first, last]], scenario.way
    travel = (times[1] - times[0]) * scenario.demand.speed
    if way:
        travel = np.diff(planned_at(way, times))[0]
    return float((left[first] - left[last]) * planned / travel)
