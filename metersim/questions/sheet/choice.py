"""Choice of a disc, and comparison of rules of the trade with the simulation."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from metersim.files.faults import BadInput, bad
from metersim.machine.discs import GenericDisc
from metersim.machine.losses import KNOCKED, LOW_POOL, POOL_EMPTY
from metersim.machine.scenario import Scenario
from metersim.machine.sources import HANDBOOK_HOLE, HOLES, MOST_NOTCHES, is_small_round
from metersim.measures.estimates import Measured, difference
from metersim.measures.indices import BY_KEY, FLAT
from metersim.measures.intervals import Estimate
from metersim.measures.limits import Cause, causes
from metersim.questions.shared.cases import load_case
from metersim.questions.sheet.discfit import Machine, Objection, fit
from metersim.questions.sheet.start import (
    COMPARED,
    QUALITY,
    TRAVEL,
    Gate,
    Start,
    differences,
    gate_point,
    measured,
    start_point,
)
from metersim.run.parallel import in_order

PUBLISHED = "karayel2004"
NONE = Estimate(0.0, 0.0, 0.0)
OTHER_HOLES = {"smaller": 0.43, "larger": 0.75}
"""Diameter over seed width; assumption: clearly outside the handbooks' range, on each side."""


@dataclass(frozen=True)
class Rule:
    """A rule of the trade for this lot, and the verdict of the simulation.

    Attributes
    ----------
    key : str
        ``centre``, ``travel``, ``aggressive``, ``gate``, ``hole``, or ``published``.
    agrees : bool
        Whether following the rule costs no more than `metersim.measures.indices.FLAT`.
    changes : mapping of str to Estimate
        Paired difference of quality from the start point.  It is taken where the rule is followed,
        but for ``gate`` and ``hole`` where it is not followed. [1]
    values : mapping of str to float
        Settings of the rule, in SI.
    """

    key: str
    agrees: bool
    changes: Mapping[str, Estimate] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)


Runner = Callable[[Scenario], Measured]


def rules_for(
    start: Measured, run: Runner, gate: Gate, holes: Mapping[str, Scenario]
) -> tuple[Rule, ...]:
    """Rules for a lot, each with the verdict of the simulation.

    Parameters
    ----------
    start : Measured
        Measures of the start point in the field.
    run : callable
        Function that runs a scenario with the random numbers of `start`.
    gate : Gate
        Tried openings of the gate.
    holes : mapping of str to Scenario
        Start points with other holes of `other_holes`, each with its own vacuum and notch.
    """
    change = partial(_change, start, run)
    return tuple(
        [
            *_of_notch(start.scenario, change),
            _of_gate(start, run, gate),
            _of_hole(start, run, holes),
            *_of_vacuum(start.scenario, change),
        ]
    )


def _change(start: Measured, run: Runner, **settings: object) -> Estimate:
    """Paired difference of quality between other settings and the start point."""
    try:
        other = start.scenario.replace(**settings)
    except BadInput:  # the edge would pass the holes and sweep off all seeds
        return Estimate(-1.0, -1.0, -1.0)
    if other == start.scenario:
        return NONE
    return difference(start, run(other), BY_KEY[QUALITY])


def _of_notch(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    notch = scenario.singulator.notch
    if scenario.lot.crop == "maize":
        centre = change(singulator__notch=0.0)
        yield Rule("centre", _costs_nothing(centre), {"centre": centre}, {"notch": notch})
        nearest = max(min(notch, MOST_NOTCHES), -MOST_NOTCHES)
        within = change(singulator__notch=nearest)
        values = {"notch": notch, "nearest": nearest, "hole": hole_share(scenario)}
        yield Rule("travel", _costs_nothing(within), {"nearest": within}, values)
    if is_small_round(scenario.seeds.length, scenario.seeds.sphericity):
        most = change(singulator__notch=float(TRAVEL))
        yield Rule("aggressive", _costs_nothing(most), {"most": most}, {"notch": notch})


def _costs_nothing(change: Estimate) -> bool:
    return change.value >= -FLAT


def _of_gate(start: Measured, run: Runner, gate: Gate) -> Rule:
    """Rule that a low gate starves the pool and a high gate dislodges seeds.

    It holds if both cost quality for these reasons.
    """
    ends, why = {}, {}
    for end, opening, reasons in (
        ("lowest", float(gate.openings[0]), (LOW_POOL, POOL_EMPTY)),
        ("highest", float(gate.openings[-1]), (KNOCKED,)),
    ):
        other = run(start.scenario.replace(pool__gate_opening=opening))
        ends[end] = difference(start, other, BY_KEY[QUALITY])
        why[end] = sum(_share(other, r) - _share(start, r) for r in reasons)
        why[f"{end} opening"] = opening
    agrees = all(change.high < 0 for change in ends.values())
    agrees = agrees and why["lowest"] > 0 and why["highest"] > 0
    return Rule("gate", agrees, ends, why)


def _share(measured: Measured, reason: int) -> float:
    return float(measured.reasons[reason]) / measured.total("cells")


def hole_share(scenario: Scenario) -> float:
    """Diameter of the hole over the seed's width. [1]"""
    return scenario.disc.hole_diameter / scenario.seeds.width


def other_holes(scenario: Scenario) -> dict[str, Scenario]:
    """The same disc with holes on the other side of the handbooks' bounds.

    The number of cells is unchanged, so that only the hole has an effect.  Shipped discs differ in
    both.  If the hole lies inside the handbooks' range, the others lie outside on each side.
    Otherwise the other hole lies in the middle of the range.
    """
    low, high = HANDBOOK_HOLE
    shares = OTHER_HOLES if low <= hole_share(scenario) <= high else {"middle": (low + high) / 2}
    found = {}
    for name, share in shares.items():
        try:
            found[name] = scenario.replace(disc__hole_diameter=share * scenario.seeds.width)
        except BadInput:  # such a hole is impossible
            continue
    return found


def _of_hole(start: Measured, run: Runner, holes: Mapping[str, Scenario]) -> Rule:
    changes = {name: difference(start, run(one), BY_KEY[QUALITY]) for name, one in holes.items()}
    values = {name: hole_share(one) for name, one in holes.items()}
    outside = [change.value for name, change in changes.items() if name in OTHER_HOLES]
    inside = [change for name, change in changes.items() if name not in OTHER_HOLES]
    agrees = max(outside, default=0.0) <= FLAT and all(map(_costs_nothing, inside))
    return Rule("hole", agrees, changes, values | {"chosen": hole_share(start.scenario)})


def _of_vacuum(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    for row in load_case(PUBLISHED).rows:
        if row.kind == "plateau" and row.stated["of"] == scenario.lot.crop:
            vacuum = row.number("published") * 1e3
            there = change(vacuum__vacuum=vacuum)
            values = {"published": vacuum, "chosen": scenario.vacuum.vacuum}
            yield Rule("published", _costs_nothing(there), {"published": there}, values)


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
    lead : mapping of str to Estimate
        Paired differences from the chosen disc, by `metersim.questions.sheet.start.COMPARED`.
    """

    disc: GenericDisc
    objections: tuple[Objection, ...]
    start: Start
    measured: Measured
    lead: Mapping[str, Estimate]

    @property
    def quality(self) -> float:
        """Quality of feed; 0 where no seed is sown. [1]"""
        found = float(self.measured.points[QUALITY][0])
        return 0.0 if math.isnan(found) else found

    @property
    def is_distinguished(self) -> bool:
        """Whether a difference of quality from the chosen disc is detected."""
        return not self.lead[QUALITY].low <= 0 <= self.lead[QUALITY].high

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
    *how: Any,
) -> tuple[list[Found], tuple[Unfit, ...]]:
    """Discs that can carry the lot, each with its own start point, and those that cannot.

    `how` holds the other arguments of `start_point`.
    """
    if GUIDE not in machine.given:  # tried with a guide; its gain is found at the end
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
    """All discs with the chosen one first, and the gate of all runs."""
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

    Only discs with the fewest objections are considered.  Candidates are the best of them, those
    within `FLAT` of its quality, and those without a detected difference from it.  The candidate
    made for the seed width nearest to the lot's is chosen, and the best of equal ones.
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
    """Absolute logarithm of the ratio of two seed widths: that of the disc, and that of the lot."""
    return abs(math.log(one.disc.seed_width / one.start.scenario.seeds.width))


def _at_gate(
    disc: GenericDisc, against: tuple[Objection, ...], start: Start, opening: float, seed: int
) -> Fit:
    """Fit of a disc at a gate opening."""
    scenario = start.scenario.replace(pool__gate_opening=opening)
    at_gate = replace(start, scenario=scenario)
    return Fit(disc, against, at_gate, measured(scenario, seed=seed), dict.fromkeys(COMPARED, NONE))
