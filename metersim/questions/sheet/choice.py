"""Choice of a disc for a lot."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

from metersim.files.faults import bad
from metersim.machine.discs import GenericDisc
from metersim.machine.scenario import Scenario
from metersim.machine.sources import HOLES
from metersim.measures.estimates import Measured
from metersim.measures.indices import FLAT
from metersim.measures.intervals import Estimate
from metersim.measures.limits import Cause, causes
from metersim.questions.sheet import machines
from metersim.questions.sheet.discfit import Machine, Objection, fit
from metersim.questions.sheet.machines import SharedMachines
from metersim.questions.sheet.start import (
    Gate,
    Start,
    gate_point,
    leading,
    measured,
    start_point,
)
from metersim.run.parallel import in_order

FEWEST = 100  # normal spacings in a run, below which there is no sheet
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
        Objections against the disc that do not exclude it.
    start : Start
        Start point of the disc.
    measured : Measured
        Measures of the start point in the field, with common random numbers of all discs.
    reach : mapping of str to Estimate
        Measures in the field with their total interval, by
        `metersim.questions.sheet.start.COMPARED`.
    lead : mapping of str to Estimate
        Their differences from the chosen disc with the total interval: both discs share machine,
        seed and error of the vacuum.
    """

    disc: GenericDisc
    objections: tuple[Objection, ...]
    start: Start
    measured: Measured
    reach: Mapping[str, Estimate]
    lead: Mapping[str, Estimate]

    @property
    def leading(self) -> str:
        """Key of the measure that decides."""
        return leading(self.start.scenario)

    @property
    def quality(self) -> float:
        """Leading measure, the mean over machines; 0 where no seed is sown. [1]"""
        found = self.reach[self.leading].value
        return 0.0 if math.isnan(found) else found

    @property
    def is_distinguished(self) -> bool:
        """Whether a difference of the leading measure from the chosen disc is detected."""
        return not self.lead[self.leading].low <= 0 <= self.lead[self.leading].high

    @property
    def binding(self) -> Cause | None:
        """Main cause of uneven spacing, or None."""
        return next(iter(causes(self.measured)), None)


@dataclass(frozen=True)
class Unfit:
    """A disc that cannot carry the lot, with the objections that exclude it from the runs."""

    disc: GenericDisc
    objections: tuple[Objection, ...]


def searched(
    machine: Machine,
    discs: Sequence[GenericDisc],
    executor: Executor | None,
    on_disc: Callable[[int], object],
    own: GenericDisc | None,
    *how: Any,
) -> tuple[list[Found], tuple[Unfit, ...]]:
    """Discs that can carry the lot, each with its own start point, and those that cannot.

    `how` holds the other arguments of `start_point`.  A disc with more objections than another is
    never chosen, so it is searched less finely, unless it is the user's `own` one.
    """
    if GUIDE not in machine.given:  # tried with a guide; its gain is found at the end
        machine = replace(machine, scenario=machine.scenario.replace(guide__inner_guide=True))
    fitted, unfit = [], []
    for disc in discs:
        scenario, against = fit(machine, disc)
        if scenario is None or any(one.bars for one in against):
            unfit.append(Unfit(disc, against))
        else:
            fitted.append((scenario, disc, against))
    if not fitted:
        width = machine.scenario.seeds.width * 1e3
        message = (
            f"none of the {len(discs)} discs can carry this seed, {width:.3g} mm wide: list discs "
            f"with holes of {HOLES} of that"
        )
        raise bad("discs", machine.scenario.lot.name, message)
    least = min(len(against) for *_, against in fitted)
    jobs = [
        (scenario, *how, len(against) > least and disc != own) for scenario, disc, against in fitted
    ]
    starts, found = in_order(start_point, jobs, executor), []
    for (_, disc, against), start in zip(fitted, starts, strict=True):
        found.append((disc, against, start))
        on_disc(len(unfit) + len(found))
    return found, tuple(unfit)


def ranked(
    found: Sequence[Found],
    uncertain: Callable[[Scenario], Scenario],
    seed: int,
    units: str,
    own: GenericDisc | None = None,
) -> tuple[tuple[Fit, ...], Gate]:
    """All discs with the chosen one first, and the gate of all runs.

    `uncertain` gives a scenario with its uncertain inputs.  The user's `own` disc is chosen if it
    can carry the lot.
    """
    mine = next((k for k, one in enumerate(found) if one[0] == own), None)
    least = min(len(against) for _, against, _ in found)
    free = [start for _, against, start in found if len(against) == least]
    first = max(free, key=lambda start: float(start.quality.max()))
    first = first if mine is None else found[mine][2]
    gate = gate_point(first.scenario, seed, units)
    starts = [
        replace(one, scenario=one.scenario.replace(pool__gate_opening=gate.opening))
        for _, _, one in found
    ]
    runs = [measured(uncertain(one.scenario), seed=seed) for one in starts]
    shared = SharedMachines(machines.DISC_DRAWS, machines.DISC_CELLS)
    best = max(
        (k for k, one in enumerate(found) if len(one[1]) == least),
        key=lambda k: runs[k].points[leading(first.scenario)][0],
    )
    best = best if mine is None else mine
    if runs[best].total("class2") < FEWEST:
        message = "no disc sows enough to tell: ask less of it (rate, speed), or give more vacuum"
        raise bad("sheet", first.scenario.lot.name, message)

    def fits_from(k: int) -> list[Fit]:
        against = shared.against(runs, k)
        return [
            Fit(disc, wrong, start, run, reach, lead)
            for (disc, wrong, _), start, run, (reach, lead) in zip(
                found, starts, runs, against, strict=True
            )
        ]

    chosen = _chosen(fits_from(best)) if mine is None else mine
    fits = fits_from(chosen)
    others = [one for k, one in enumerate(fits) if k != chosen]
    return (fits[chosen], *sorted(others, key=lambda one: -one.quality)), gate


def _chosen(fits: Sequence[Fit]) -> int:
    """Number of the disc to start with, from fits whose leads are those over a good one.

    Only discs with the fewest objections are considered.  Candidates are those within `FLAT` of
    the good one, those without a detected difference from it, and those that beat it.  Of them the
    class of seed decides: a disc made for the crop, then the nearest seed width.  Then come fewer
    revolutions, which are more cells, and then the leading measure.
    """
    least = min(len(one.objections) for one in fits)

    def is_good(one: Fit) -> bool:
        lead = one.lead[one.leading]
        return len(one.objections) == least and (lead.value >= -FLAT or lead.high >= 0)

    def order(one: Fit) -> tuple[bool, float, int, float]:
        made = one.disc.suits(one.start.scenario.lot.crop)
        return not made, round(_off_class(one), 6), -one.disc.cells, -one.quality

    good = [k for k, one in enumerate(fits) if is_good(one)]
    return min(good, key=lambda k: order(fits[k]))


def _off_class(one: Fit) -> float:
    """Absolute logarithm of the ratio of two seed widths: that of the disc, and that of the lot."""
    return abs(math.log(one.disc.seed_width / one.start.scenario.seeds.width))
