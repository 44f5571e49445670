"""What speed costs, and what a dusty lens shows: the seeds on their way to the row."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, differences
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.observed import observed_spacings
from metersim.measures.tally import stretches_of, tally_of
from metersim.questions.lesson.meter import ODD
from metersim.questions.lesson.moves import is_possible
from metersim.questions.shared.counts import CERTAINTY, COUNTED
from metersim.questions.shared.looks import kept_full
from metersim.questions.shared.picture import binned
from metersim.questions.shared.settings import moved
from metersim.run.records import Run
from metersim.run.simulation import simulate

ROW_CELLS = 9_000  # of each run
SPEEDS = {"metric": (-2, -1, 1, 2, 3), "us": (-4, -2, 2, 4, 6)}
"""Steps of the speed beside the present one, by family of units."""
HIDDEN = (0.0, 0.02, 0.05, 0.1, 0.2)
"""Shares of the seeds that dust hides; assumption: any lens gets there if nobody brushes it."""
PLANNED = 0.05  # share of the planned seeds within which the seed used is as planned
PLACED = BY_KEY["placed.per_area"]
OF_SPEED = tuple(BY_KEY[f"per_spacing.{one}"] for one in ("quality", "multiple", "miss"))
OF_LENS = tuple(BY_KEY[f"sensor.{one}"] for one in ("skip", "double"))
OF_ROW = (COUNTED["skips"], COUNTED["doubles"], ODD, PLACED)


@dataclass(frozen=True)
class Spacings:
    """The row at one speed, or the change from one speed to another.

    Attributes
    ----------
    normal, close, missed : Estimate
        Shares of the spacings with their sampling error. [1]
    odd : Estimate
        Share of the cells without exactly one seed. [1]
    """

    normal: Estimate
    close: Estimate
    missed: Estimate
    odd: Estimate


@dataclass(frozen=True)
class AtSpeed:
    """A speed of travel, and the row that it gives.

    Attributes
    ----------
    speed : float
        Speed. [m/s]
    row : Spacings
        Shares of spacings and of cells.
    histogram : tuple of int
        Spacings by tenths of the nominal one, as `metersim.questions.shared.picture.binned`.
    """

    speed: float
    row: Spacings
    histogram: tuple[int, ...]


@dataclass(frozen=True)
class SpeedCost:
    """What speed does to the row.

    Attributes
    ----------
    speeds : tuple of AtSpeed
        From the slowest to the fastest.
    present : int
        Number of the present speed.
    change : Spacings
        Changes from the slowest to the fastest.
    """

    speeds: tuple[AtSpeed, ...]
    present: int
    change: Spacings


def speed_cost(
    scenario: Scenario, seed: int, units: str, on_run: Callable[[], object]
) -> SpeedCost:
    """Rows at several speeds, with common random numbers."""
    steps = [{"speed": count} for count in SPEEDS[units]]
    rows = [moved(scenario, one, units) for one in steps if is_possible(scenario, one, units)]
    rows = sorted([scenario, *rows], key=lambda one: one.demand.speed)
    runs = [_run(one, seed, on_run) for one in rows]
    measured = _alike(runs)
    return SpeedCost(
        tuple(
            AtSpeed(
                run.scenario.demand.speed,
                Spacings(*(one[part.key] for part in (*OF_SPEED, ODD))),
                tuple(binned(observed_spacings(run), run.scenario.spacing)[0].tolist()),
            )
            for run, one in zip(runs, measured, strict=True)
        ),
        rows.index(scenario),
        Spacings(*differences(measured[0], measured[-1], (*OF_SPEED, ODD)).values()),
    )


@dataclass(frozen=True)
class Lens:
    """A lens, and what the monitor shows through it.

    Attributes
    ----------
    hidden : float
        Share of the seeds that its dust hides. [1]
    skips, doubles : Estimate
        Shares of the cells that the monitor shows so. [1]
    """

    hidden: float
    skips: Estimate
    doubles: Estimate


@dataclass(frozen=True)
class DustyLens:
    """One row watched through lenses with more and more dust.

    Attributes
    ----------
    skips, doubles : Estimate
        Shares of the cells in the row. [1]
    lenses : tuple of Lens
        From the clean one to the dustiest.
    change : Estimate
        Change of the skips that the monitor shows, from the clean lens to the dustiest. [1]
    placed : Estimate
        Seeds placed on an area. [1/m2]
    planned : float
        Seeds planned on an area. [1/m2]
    hours : float
        Hours of work until this scenario's dust hides as much as the dustiest lens; infinite
        where it has no dust. [h]
    """

    skips: Estimate
    doubles: Estimate
    lenses: tuple[Lens, ...]
    change: Estimate
    placed: Estimate
    planned: float
    hours: float

    @property
    def is_as_planned(self) -> bool:
        """Whether as many seeds lie in the row as were planned."""
        return abs(self.placed.value / self.planned - 1) < PLANNED


def dusty_lens(scenario: Scenario, seed: int, on_run: Callable[[], object]) -> DustyLens:
    """One row through several lenses, with the same seeds."""
    clean, dust = scenario.sensor.detection, scenario.sensor.dust_per_hour
    kept = {"sensor__dust_per_hour": 0.0, "sensor__hours_since_brushing": 0.0}
    behind = [scenario.replace(**kept, sensor__detection=clean * (1 - one)) for one in HIDDEN]
    measured = _alike([_run(one, seed, on_run) for one in behind])
    row = measured[0]
    return DustyLens(
        row[COUNTED["skips"].key],
        row[COUNTED["doubles"].key],
        tuple(
            Lens(hidden, *(one[part.key] for part in OF_LENS))
            for hidden, one in zip(HIDDEN, measured, strict=True)
        ),
        differences(row, measured[-1], OF_LENS)[OF_LENS[0].key],
        row[PLACED.key],
        scenario.demand.rate,
        math.log(1 - HIDDEN[-1]) / math.log(1 - dust) if dust else math.inf,
    )


def _run(scenario: Scenario, seed: int, on_run: Callable[[], object]) -> Run:
    run = simulate(kept_full(scenario, ROW_CELLS), seed=seed)
    on_run()
    return run


def _alike(runs: list[Run]) -> list[Measured]:
    """Measures of some runs over as many stretches each."""
    each, shown = stretches_of(*(one.scenario for one in runs)), (*OF_SPEED, *OF_LENS, *OF_ROW)
    return [Measured((tally_of(one, each),), CERTAINTY, shown) for one in runs]
