"""Rules of the trade, held against what the simulation gives; neither is bent to the other."""

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
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.limits import Cause, causes
from metersim.questions.shared.cases import load_case
from metersim.questions.shared.limits import FLAT
from metersim.questions.sheet.discfit import Machine, Objection, fit
from metersim.questions.sheet.start import (
    QUALITY,
    TOLD,
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
"""Of the seed's width; assumption: clearly outside what handbooks give, on either side."""


@dataclass(frozen=True)
class Rule:
    """What the trade says of this lot, and whether the simulation agrees.

    Attributes
    ----------
    key : str
        ``centre``, ``travel``, ``aggressive``, ``gate``, ``hole``, or ``published``.
    agrees : bool
        Whether following the rule costs no more than `metersim.questions.shared.limits.FLAT`.
    changes : mapping of str to Estimate
        Quality where the rule is followed, or of ``gate`` and ``hole`` where it is not, less that
        of the start point, paired. [1]
    values : mapping of str to float
        Settings that the rule speaks of, in SI.
    """

    key: str
    agrees: bool
    changes: Mapping[str, Estimate] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)


Runner = Callable[[Scenario], Measured]


def rules_for(
    start: Measured, run: Runner, gate: Gate, holes: Mapping[str, Scenario]
) -> tuple[Rule, ...]:
    """The rules that speak of a lot, with what the simulation says of each.

    Parameters
    ----------
    start : Measured
        The start point in the field.
    run : callable
        Runs a scenario on the luck of `start`.
    gate : Gate
        Openings that were tried.
    holes : mapping of str to Scenario
        The start point with other holes of `other_holes`, each at vacuum and notch of its own.
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
    """Quality with other settings, less that of the start point."""
    try:
        other = start.scenario.replace(**settings)
    except BadInput:  # the edge would pass the holes: all seeds are swept off
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
    """Too low starves, too high dislodges: both must cost, and for that reason."""
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

    Cells stay as they are: discs of a list differ in both, and what fewer or more cells do would
    be taken for what the hole does.  Holes outside the handbooks where that of the disc lies
    inside, else one in their middle.
    """
    low, high = HANDBOOK_HOLE
    shares = OTHER_HOLES if low <= hole_share(scenario) <= high else {"middle": (low + high) / 2}
    found = {}
    for name, share in shares.items():
        try:
            found[name] = scenario.replace(disc__hole_diameter=share * scenario.seeds.width)
        except BadInput:  # no such hole can be
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
        Measures `metersim.questions.sheet.start.TOLD` less those of the chosen disc, paired.
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
