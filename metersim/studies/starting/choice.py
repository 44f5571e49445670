"""Which disc: those that can carry a lot, each at its own start, and the one to take."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

from metersim.discs import GenericDisc
from metersim.faults import bad
from metersim.indices import BY_KEY
from metersim.intervals import Estimate
from metersim.limits import Cause, causes
from metersim.measures import Measured, difference
from metersim.parallel import in_order
from metersim.practice import HOLES
from metersim.studies.published.plateaus import FLAT
from metersim.studies.starting.discfit import Machine, Objection, fit
from metersim.studies.starting.longruns import TOLD, differences, measured
from metersim.studies.starting.rules import NONE
from metersim.studies.starting.startpoint import QUALITY, Gate, Start, gate_point, start_point

FEWEST = 100  # normal spacings in a run, below which nothing is told
GUIDE = "guide.inner_guide"

Found = tuple[GenericDisc, tuple[Objection, ...], Start]


@dataclass(frozen=True, eq=False)
class Fit:
    """A disc that can carry the lot, at its own start point.

    Attributes
    ----------
    disc : GenericDisc
        The disc.
    objections : tuple of Objection
        What speaks against it all the same.
    start : Start
        Its start point, and what it was chosen from.
    measured : Measured
        A run there in the field, on luck that all discs share.
    lead : mapping of str to Estimate
        Measures `metersim.studies.starting.longruns.TOLD` less those of the chosen disc, paired.
    """

    disc: GenericDisc
    objections: tuple[Objection, ...]
    start: Start
    measured: Measured
    lead: Mapping[str, Estimate]

    @property
    def quality(self) -> float:
        """Quality of feed; 0 where nothing is sown. [1]"""
        found = float(self.measured.points[QUALITY][0])
        return 0.0 if math.isnan(found) else found

    @property
    def is_told(self) -> bool:
        """Whether its quality is told apart from that of the chosen disc."""
        return not self.lead[QUALITY].low <= 0 <= self.lead[QUALITY].high

    @property
    def binding(self) -> Cause | None:
        """What spoils the most spacings, if anything does."""
        return next(iter(causes(self.measured)), None)


@dataclass(frozen=True)
class Unfit:
    """A disc that cannot carry the lot, and was not run: the disc, and what bars it."""

    disc: GenericDisc
    objections: tuple[Objection, ...]


def searched(
    machine: Machine,
    discs: Sequence[GenericDisc],
    executor: Executor | None,
    on_disc: Callable[[int], object],
    *how: Any,
) -> tuple[list[Found], tuple[Unfit, ...]]:
    """Discs that can carry the lot, each with its own start point, and those that cannot.

    `how` is what `start_point` takes beside a scenario.
    """
    if GUIDE not in machine.given:  # tried with one; what it is worth is asked at the end
        machine = replace(machine, scenario=machine.scenario.replace(guide__inner_guide=True))
    jobs, fitted, unfit = [], [], []
    for disc in discs:
        scenario, against = fit(machine, disc)
        if scenario is None or any(one.bars for one in against):
            unfit.append(Unfit(disc, against))
        else:
            fitted.append((disc, against))
            jobs.append((scenario, *how))
    if not jobs:
        width = machine.scenario.seeds.width * 1e3
        message = (
            f"none of the {len(discs)} discs can carry this seed, {width:.3g} mm wide: list discs "
            f"with holes of {HOLES} of that"
        )
        raise bad("discs", machine.scenario.lot.name, message)
    found = []
    for (disc, against), start in zip(fitted, in_order(start_point, jobs, executor), strict=True):
        found.append((disc, against, start))
        on_disc(len(found))
    return found, tuple(unfit)


def ranked(found: Sequence[Found], seed: int, units: str) -> tuple[tuple[Fit, ...], Gate]:
    """The chosen disc before the others, and the gate that all are run with."""
    least = min(len(against) for _, against, _ in found)
    free = (start for _, against, start in found if len(against) == least)
    first = max(free, key=lambda start: float(start.quality.max()))
    gate = gate_point(first.scenario, seed, units)
    fits = [_at_gate(*one, gate.opening, seed) for one in found]
    chosen = _chosen(fits)
    others = sorted((one for one in fits if one is not chosen), key=lambda one: -one.quality)
    led = [replace(one, lead=differences(chosen.measured, one.measured)) for one in others]
    return (chosen, *led), gate


def _chosen(fits: Sequence[Fit]) -> Fit:
    """The disc to start with.

    Of the discs that nothing, or else the least, speaks against: the best, and those within
    `FLAT` of its quality or not told apart from it; of these the one that is made for the seed
    width nearest to the lot's, and of such the best.
    """
    least = min(len(one.objections) for one in fits)
    free = [one for one in fits if len(one.objections) == least]
    best = max(free, key=lambda one: one.quality)
    leads = {id(one): difference(best.measured, one.measured, BY_KEY[QUALITY]) for one in free}
    if best.measured.total("class2") < FEWEST:
        message = "no disc sows enough to tell: ask less of it (rate, speed), or give more vacuum"
        raise bad("sheet", best.start.scenario.lot.name, message)
    good = [one for one in free if leads[id(one)].value >= -FLAT or leads[id(one)].high >= 0]
    return min(good, key=lambda one: (_off_class(one), -one.quality))


def _off_class(one: Fit) -> float:
    """How far the seed that a disc is made for is from the lot, by width."""
    return abs(math.log(one.disc.seed_width / one.start.scenario.seeds.width))


def _at_gate(
    disc: GenericDisc, against: tuple[Objection, ...], start: Start, opening: float, seed: int
) -> Fit:
    """A disc run at a gate opening."""
    scenario = start.scenario.replace(pool__gate_opening=opening)
    at_gate = replace(start, scenario=scenario)
    return Fit(disc, against, at_gate, measured(scenario, seed=seed), dict.fromkeys(TOLD, NONE))
