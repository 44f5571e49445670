"""Counts of a meter with a hidden fault, and what it truly does at any settings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from metersim.files.faults import BadInput, bad
from metersim.machine.given import scenario_of
from metersim.machine.scenario import Scenario
from metersim.questions.shared.game.causes import (
    HiddenMeter,
    Present,
    effect_of,
    hidden_meter,
    shares,
    with_causes,
)
from metersim.questions.shared.game.moves import Changes
from metersim.questions.shared.game.region import outline
from metersim.questions.shared.looks import BELT, SENSOR, SPACED, kept_full, loads_at, rates

TRUE_CELLS = 3_000  # cells of a run that gives true shares
REFERENCE, BEFORE = 1_000, 9_999  # cells, and replicate, of the count of a meter in order
FEWEST, MOST = 20, 5_000  # cells of a count
LONGER, FURTHER = 1.1, 60  # cells of a run for so many theoretical places of a tape
BY = {"belt": BELT, "sensor": SENSOR, "tape": SPACED}
"""Ways of looking by the word for them: cells on a belt, pulses of the sensor by cells, and
spacings that are measured with a tape, by theoretical places."""


@dataclass(frozen=True)
class Truth:
    """What a meter truly does at some settings.

    Attributes
    ----------
    skip, double : float
        Shares of skips and doubles; never 0, as no run proves that a cell is impossible. [1]
    effect : float
        Variance of a count over that of independent cells. [1]
    """

    skip: float
    double: float
    effect: float

    @property
    def shares(self) -> tuple[float, float]:
        """Both shares. [1]"""
        return self.skip, self.double


@dataclass(frozen=True)
class Count:
    """One count of the class.

    Attributes
    ----------
    number : int
        Its number, from 1; 0 for the count before anything was wrong.
    by : str
        One of `BY`.
    cells, skips, doubles, seeds : int
        Numbers counted; with a tape, theoretical places in place of cells.
    effect : float
        Variance of such a count over that of independent cells. [1]
    changes : tuple of str
        Settings that were moved before.
    """

    number: int
    by: str
    cells: int
    skips: int
    doubles: int
    seeds: int
    effect: float
    changes: Changes

    @property
    def shares(self) -> tuple[float, float]:
        """Shares of skips and doubles that were counted. [1]"""
        return self.skips / self.cells, self.doubles / self.cells

    @property
    def independent(self) -> tuple[float, float, float]:
        """Skips, doubles and cells over the effect of their dependence."""
        return self.skips / self.effect, self.doubles / self.effect, self.cells / self.effect

    @property
    def region(self) -> list[tuple[float, float]]:
        """Corners of the joint region of both shares. [1]"""
        corners = outline(self.skips, self.doubles, self.cells, self.effect)
        return [(float(skip), float(double)) for skip, double in corners.round(6)]


def place_of(meter: HiddenMeter, changes: Changes) -> Scenario:
    """What the scales of a meter show after some moves."""
    return scenario_of(meter.shown, changes)


def meter_at(meter: HiddenMeter, changes: Changes, hidden: tuple[Present, ...]) -> Scenario:
    """The true meter after some moves, with these causes.

    Raises
    ------
    BadInput
        Where it cannot run so, without a word about the causes.
    """
    try:
        return with_causes(place_of(meter, changes), hidden)
    except BadInput:
        said = ", ".join(one.partition(".")[2] for one in changes)
        message = "this meter cannot run so; choose values nearer to the start"
        raise bad("move", said, message) from None


@lru_cache(maxsize=512)
def truth_at(
    number: int, level: int, changes: Changes, hidden: tuple[Present, ...], by: str = "belt"
) -> Truth:
    """What the meter of a number truly does at some settings, with these causes.

    All of them have common random numbers: the same seeds, dropped again.
    """
    meter = hidden_meter(number, level)
    found = rates(meter_at(meter, changes, hidden), TRUE_CELLS, way=BY[by], seed=meter.seed)
    return Truth(*shares(found), effect_of(found))


def true_at(
    meter: HiddenMeter, changes: Changes, hidden: tuple[Present, ...], by: str = "belt"
) -> Truth:
    """What a meter truly does at some settings, with these causes; see `truth_at`."""
    return truth_at(meter.number, meter.level, changes, hidden, by)


def reference(meter: HiddenMeter) -> Count:
    """A count from the time when the meter was in order."""
    return replace(counted(meter, (), (), REFERENCE, "belt", BEFORE), number=0)


def counted(
    meter: HiddenMeter,
    changes: Changes,
    hidden: tuple[Present, ...],
    cells: int,
    by: str,
    nth: int,
) -> Count:
    """Count a meter with these causes.

    Parameters
    ----------
    meter : HiddenMeter
        The meter.
    changes : tuple of str
        Settings that were moved before.
    hidden : tuple of Present
        Causes that it has.
    cells : int
        Cells, from `FEWEST` to `MOST`.
    by : str
        One of `BY`.
    nth : int
        Number of the count, 1 or more: each has its own random draws.

    Raises
    ------
    BadInput
        If no seed comes.
    """
    way = BY[by]
    longer = round(LONGER * cells) + FURTHER if way == SPACED else cells
    there = meter_at(meter, changes, hidden)
    there = kept_full(there, longer + there.disc.cells)
    loads = loads_at(there, [way], seed=meter.seed, replicate=nth)[way][:cells]
    if not loads.size:
        raise bad("count", by, "no seed came, so nothing was measured; count on the belt")
    return Count(
        number=nth,
        by=by,
        cells=len(loads),
        skips=int((loads == 0).sum()),
        doubles=int((loads > 1).sum()),
        seeds=int(loads.sum()),
        effect=true_at(meter, changes, hidden, by).effect,
        changes=changes,
    )
