"""What a count shows, and how one machine differs from the next."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.questions.lesson.meter import (
    SIZES,
    USUAL_SIZE,
    Meter,
    Rates,
    changes,
    meter_of,
)
from metersim.questions.lesson.moves import SingleSteps, Step
from metersim.questions.shared.answer import is_distinct
from metersim.questions.shared.looks import carried
from metersim.questions.shared.settings import moved

COUNTED_CELLS = 45_000  # of the run that is cut into counts
MACHINES = 24  # draws of a machine
MACHINE_CELLS = 3_000  # of the run of each of them
MIDDLE = 0.9  # share of counts, or of machines, that a range holds
FAR = 0.9  # quantile of the differences between neighbouring counts, of the pair for the class
LISTED = 3  # steps whose chance to be detected is shown


@dataclass(frozen=True)
class Range:
    """What counts of one size find of one kind of cell.

    Attributes
    ----------
    size, counts : int
        Cells of each count, and number of counts.
    low, middle, high : float
        Share that the middle 90 of 100 counts find, and their median. [1]
    """

    size: int
    counts: int
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class TwoCounts:
    """Two counts of one meter, one after the other, that differ as some counts do.

    Attributes
    ----------
    kind : str
        Kind of cell: ``skips`` or ``doubles``.
    first, second : int
        Cells of this kind in each count.
    as_far : float
        Share of such pairs that differ by as much or by more. [1]
    """

    kind: str
    first: int
    second: int
    as_far: float


@dataclass(frozen=True)
class Counting:
    """What counts of one unchanged meter show.

    Attributes
    ----------
    cells : int
        Cells of the run that was cut into counts.
    truth : Rates
        Skips and doubles of the whole run.
    found : mapping of str to tuple of Range
        What counts find, by kind and size.
    pair : TwoCounts
        Two counts of the usual size.
    steps : tuple of Step
        Steps that counts detect best, with their chances.
    """

    cells: int
    truth: Rates
    found: Mapping[str, tuple[Range, ...]]
    pair: TwoCounts
    steps: tuple[Step, ...]


def counting(scenario: Scenario, steps: SingleSteps, seed: int) -> Counting:
    """Counts of several sizes, cut from one long run of a meter."""
    meter = meter_of(scenario, seed, COUNTED_CELLS)
    loads = carried(meter.cells)
    events = {"skips": loads == 0, "doubles": loads > 1}
    found = {
        kind: tuple(_range(_counts(happened, size), size) for size in SIZES)
        for kind, happened in events.items()
    }
    usual = {kind: _counts(happened, USUAL_SIZE) for kind, happened in events.items()}
    kind = max(usual, key=lambda one: float(np.var(usual[one])))
    listed = [one for one in steps.steps if one.seen.kind and not one.is_part][:LISTED]
    return Counting(len(meter.cells), meter.rates, found, _pair(kind, usual[kind]), tuple(listed))


def _counts(happened: NDArray[np.bool_], size: int) -> NDArray[np.int64]:
    """Events in successive counts; a run that is shorter makes one count."""
    many = max(len(happened) // size, 1)
    return np.array([part.sum() for part in np.array_split(happened[: many * size], many)])


def _range(counts: NDArray[np.int64], size: int) -> Range:
    ends = [(1 - MIDDLE) / 2, 0.5, (1 + MIDDLE) / 2]
    low, middle, high = (float(one) / size for one in np.quantile(counts, ends, method="nearest"))
    return Range(size, len(counts), low, middle, high)


def _pair(kind: str, counts: NDArray[np.int64]) -> TwoCounts:
    if len(counts) < 2:
        return TwoCounts(kind, int(counts[0]), int(counts[0]), 1.0)
    apart = np.abs(np.diff(counts))
    k = int(np.argsort(apart, kind="stable")[math.ceil(FAR * len(apart)) - 1])
    return TwoCounts(kind, int(counts[k]), int(counts[k + 1]), float(np.mean(apart >= apart[k])))


@dataclass(frozen=True)
class Machine:
    """One machine of many with the same settings.

    Attributes
    ----------
    skips, doubles : float
        Shares of its cells. [1]
    change : Rates, optional
        What the step does on it; None where no step is tried.
    """

    skips: float
    doubles: float
    change: Rates | None


@dataclass(frozen=True)
class Machines:
    """Machines with the same settings and the same seed.

    Attributes
    ----------
    drawn : str
        What was drawn, in words.
    cells : int
        Cells of each run.
    machines : tuple of Machine
        Draws of a machine.
    step : mapping of str to int
        The step that all of them try; empty for none.
    apart : Rates
        Differences between two machines of them, from that with few cells without exactly one
        seed to that with many: one in ten lies beyond either.
    noise : mapping of str to float
        Standard error of a usual count, by kind. [1]
    """

    drawn: str
    cells: int
    machines: tuple[Machine, ...]
    step: Mapping[str, int]
    apart: Rates
    noise: Mapping[str, float]

    def range(self, kind: str) -> tuple[float, float]:
        """Shares of a kind of cell that the middle 90 of 100 machines have."""
        shares = [getattr(one, kind) for one in self.machines]
        low, high = np.quantile(shares, [(1 - MIDDLE) / 2, (1 + MIDDLE) / 2]).tolist()
        return float(low), float(high)

    def ways(self, kind: str) -> tuple[int, int]:
        """Machines on which the step lowers a kind of cell, and on which it raises it."""
        moved = [one.change.kinds[kind] for one in self.machines if one.change]
        distinct = [one.value for one in moved if is_distinct(one)]
        return sum(one < 0 for one in distinct), sum(one > 0 for one in distinct)


def machines(
    scenario: Scenario, steps: SingleSteps, seed: int, units: str, on_run: Callable[[], object]
) -> Machines:
    """Draws of a machine with the present settings, and with one step of them."""
    step = steps.strongest.steps if steps.strongest else {}
    runs: list[tuple[Meter, ...]] = []
    for k in range(MACHINES):
        kept: Any = {"coefficients": scenario.posterior.draw(k)}
        wanted = [scenario, *([moved(scenario, step, units)] if step else [])]
        runs.append(tuple(meter_of(replace(one, **kept), seed, MACHINE_CELLS) for one in wanted))
        on_run()
    firsts = sorted((row[0] for row in runs), key=lambda one: one.rates.odd.value)
    tenth = MACHINES // 10
    usual = meter_of(scenario, seed, MACHINE_CELLS)
    return Machines(
        scenario.posterior.title,
        len(usual.cells),
        tuple(
            Machine(
                row[0].shares["skips"].value,
                row[0].shares["doubles"].value,
                changes(*row) if step else None,
            )
            for row in runs
        ),
        step,
        changes(firsts[tenth], firsts[-1 - tenth]),
        {kind: usual.shares[kind].error(USUAL_SIZE) for kind in ("skips", "doubles")},
    )
