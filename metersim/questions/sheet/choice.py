"""Choice of a disc for a lot."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property

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
    Start,
    gate_point,
    leading,
    measured,
    rough_start,
    start_point,
)
from metersim.run.parallel import in_order

GUIDE = "guide.inner_guide"

Fitted = tuple[Scenario, GenericDisc, tuple[Objection, ...]]


@dataclass(frozen=True, eq=False)
class Found:
    """A disc that can carry the lot, at its own start point.

    Attributes
    ----------
    disc : GenericDisc
        The disc.
    objections : tuple of Objection
        Objections against the disc that do not exclude it.
    start : Start
        Start point of the disc.
    """

    disc: GenericDisc
    objections: tuple[Objection, ...]
    start: Start

    @property
    def leading(self) -> str:
        """Key of the measure that decides."""
        return leading(self.start.scenario)


@dataclass(frozen=True, eq=False)
class Fit(Found):
    """A disc that can carry the lot, beside the others.

    Attributes
    ----------
    measured : Measured
        Measures of the start point in the field, with common random numbers of all discs.
    reach : mapping of str to Estimate
        Measures in the field with their total interval, by
        `metersim.questions.sheet.start.COMPARED`.
    lead : mapping of str to Estimate
        Their differences from the chosen disc with the total interval: both discs share machine,
        seed and error of the vacuum.
    """

    measured: Measured
    reach: Mapping[str, Estimate]
    lead: Mapping[str, Estimate]

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
    machine: Machine, discs: Sequence[GenericDisc]
) -> tuple[list[Fitted], tuple[Unfit, ...]]:
    """Discs that can carry the lot on the machine, and those that cannot."""
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
    return fitted, tuple(unfit)


class Ranking:
    """Discs that can carry a lot, of which one is chosen; no more is run than that takes.

    Discs with more objections than another are never chosen.  Of the rest the class of seed decides
    (`class_of`), so a disc is compared with the best one only where no disc before it will do.

    Parameters
    ----------
    fitted : sequence of (Scenario, GenericDisc, tuple of Objection)
        Scenarios with the discs, and what there is against these.
    uncertain : callable
        Function that gives a scenario with its uncertain inputs.
    most, seed, units
        As for `metersim.questions.sheet.start.rough_start`.
    own : GenericDisc, optional
        The user's own disc, which is chosen if it can carry the lot.
    executor : Executor, optional
        Executor of the rough start points, with one job a disc.
    on_disc : callable
        Function that takes the number of discs that are still to search.
    """

    def __init__(
        self,
        fitted: Sequence[Fitted],
        uncertain: Callable[[Scenario], Scenario],
        most: float,
        seed: int,
        units: str,
        own: GenericDisc | None = None,
        executor: Executor | None = None,
        on_disc: Callable[[int], object] = lambda left: None,
    ) -> None:
        self._fitted, self._uncertain, self._own = fitted, uncertain, own
        self._how = (most, seed, units)
        self._shared = SharedMachines(machines.DISC_DRAWS, machines.DISC_CELLS)
        self._fine: dict[int, Start] = {}
        self._runs: dict[int, Measured] = {}
        least = min(len(against) for *_, against in fitted)
        self._free = [k for k, (*_, against) in enumerate(fitted) if len(against) == least]
        mine = next((k for k, (_, disc, _) in enumerate(fitted) if disc == own), None)
        tried = sorted({*self._free, *([] if mine is None else [mine])})
        starts = in_order(rough_start, [(fitted[k][0], *self._how) for k in tried], executor)
        self._rough: dict[int, Start] = {}
        for k, start in zip(tried, starts, strict=True):
            self._rough[k] = start
            on_disc(len(tried) - len(self._rough))
        self._best = max(self._free, key=lambda k: float(self._rough[k].quality.max()))
        first = self._best if mine is None else mine
        self.gate = gate_point(self._refined(first).scenario, seed, units)
        self._chosen = self._choose() if mine is None else mine

    @property
    def units(self) -> str:
        """Family of units of round settings."""
        return self._how[2]

    @property
    def chosen(self) -> Found:
        """The disc to start with."""
        return self._found(self._chosen)

    @cached_property
    def fits(self) -> tuple[Fit, ...]:
        """All discs with the chosen one first, then the others from the best.

        Those that are never chosen are searched roughly.
        """
        every = range(len(self._fitted))
        runs = [self._run(k) for k in every]
        against = self._shared.against(runs, self._chosen)
        fits = [
            Fit(**vars(self._found(k)), measured=run, reach=reach, lead=lead)
            for k, run, (reach, lead) in zip(every, runs, against, strict=True)
        ]
        chosen = fits.pop(self._chosen)
        return (chosen, *sorted(fits, key=lambda one: -one.quality))

    def _choose(self) -> int:
        """Number of the disc to start with."""

        def lead_of(k: int) -> Estimate:
            number = self._free[k]
            if number == self._best:
                return machines.NONE
            pair = [self._run(self._best), self._run(number)]
            return self._shared.against(pair, 0)[1][1][leading(pair[0].scenario)]

        rough = [Found(*self._fitted[k][1:], self._rough[k]) for k in self._free]
        return self._free[chosen_of(rough, lead_of)]

    def _refined(self, k: int) -> Start:
        if k not in self._fine:
            self._fine[k] = start_point((self._fitted[k][0], *self._how))
        return self._fine[k]

    def _found(self, k: int) -> Found:
        """A disc at its start point, with the gate of all."""
        scenario, disc, against = self._fitted[k]
        if k not in self._rough:
            self._rough[k] = rough_start((scenario, *self._how))
        start = self._refined(k) if k in self._free or k == self._chosen else self._rough[k]
        gated = start.scenario.replace(pool__gate_opening=self.gate.opening)
        return Found(disc, against, replace(start, scenario=gated))

    def _run(self, k: int) -> Measured:
        if k not in self._runs:
            scenario = self._uncertain(self._found(k).start.scenario)
            self._runs[k] = measured(scenario, seed=self._how[1])
        return self._runs[k]


def chosen_of(found: Sequence[Found], lead_of: Callable[[int], Estimate]) -> int:
    """Number of the first disc, by its class, that is good enough.

    Parameters
    ----------
    found : sequence of Found
        Discs with the fewest objections.
    lead_of : callable
        Function that gives the difference of a disc, by its number, from the best one.  A disc will
        do if it is within `FLAT` of the best, or if no difference is detected.
    """

    def is_good(lead: Estimate) -> bool:
        return lead.value >= -FLAT or lead.high >= 0

    order = sorted(range(len(found)), key=lambda k: class_of(found[k]))
    return next(k for k in order if is_good(lead_of(k)))


def class_of(one: Found) -> tuple[bool, float, int]:
    """Order of discs by their class of seed: made for the crop, then the nearest seed width.

    Then come fewer revolutions, which are more cells.
    """
    made = one.disc.suits(one.start.scenario.lot.crop)
    return not made, round(_off_class(one), 6), -one.disc.cells


def _off_class(one: Found) -> float:
    """Absolute logarithm of the ratio of two seed widths: that of the disc, and that of the lot."""
    return abs(math.log(one.disc.seed_width / one.start.scenario.seeds.width))
