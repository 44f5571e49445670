"""Rules of the trade, held against what the simulation gives; neither is bent to the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial

from metersim.faults import BadInput
from metersim.indices import BY_KEY
from metersim.intervals import Estimate
from metersim.measures import Measured, difference
from metersim.practice import HANDBOOK_HOLE, MOST_NOTCHES, is_small_round
from metersim.records import KNOCKED, LOW_POOL, POOL_EMPTY
from metersim.scenario import Scenario
from metersim.studies.published.cases import load_case
from metersim.studies.published.plateaus import FLAT
from metersim.studies.starting.startpoint import QUALITY, TRAVEL, Gate

PUBLISHED = "karayel2004"
NONE = Estimate(0.0, 0.0, 0.0)
HOLES = {"smaller": 0.43, "larger": 0.75}
"""Of the seed's width; assumption: clearly outside what handbooks give, on either side."""


@dataclass(frozen=True)
class Rule:
    """What the trade says of this lot, and whether the simulation agrees.

    Attributes
    ----------
    key : str
        ``centre``, ``travel``, ``aggressive``, ``gate``, ``hole``, or ``published``.
    agrees : bool
        Whether following the rule costs no more than `metersim.studies.published.plateaus.FLAT`.
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
    shares = HOLES if low <= hole_share(scenario) <= high else {"middle": (low + high) / 2}
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
    outside = [change.value for name, change in changes.items() if name in HOLES]
    inside = [change for name, change in changes.items() if name not in HOLES]
    agrees = max(outside, default=0.0) <= FLAT and all(map(_costs_nothing, inside))
    return Rule("hole", agrees, changes, values | {"chosen": hole_share(start.scenario)})


def _of_vacuum(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    for row in load_case(PUBLISHED).rows:
        if row.kind == "plateau" and row.stated["of"] == scenario.lot.crop:
            vacuum = row.number("published") * 1e3
            there = change(vacuum__vacuum=vacuum)
            values = {"published": vacuum, "chosen": scenario.vacuum.vacuum}
            yield Rule("published", _costs_nothing(there), {"published": there}, values)
