"""Rules of the trade for a lot, each with the verdict of the simulation."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial

from metersim.files.faults import BadInput
from metersim.machine.losses import KNOCKED, LOW_POOL, POOL_EMPTY
from metersim.machine.scenario import Scenario
from metersim.machine.sources import (
    HANDBOOK_HOLE,
    MOST_NOTCHES,
    SPEED_STUDIED,
    TRADE_VACUUM,
    is_small_round,
)
from metersim.measures.estimates import Measured
from metersim.measures.indices import FLAT
from metersim.measures.intervals import Estimate
from metersim.questions.sheet.machines import NONE, FromStart
from metersim.questions.sheet.start import TRAVEL, Gate, leading, published_vacuums

FASTER = 1.25  # travel speed of the rule of speed, over that of the start
THERE = 0.02  # relative difference of two vacuums that are the same, but for rounding
OTHER_HOLES = {"smaller": 0.43, "larger": 0.75}
"""Diameter over seed width; assumption: clearly outside the handbooks' range, on each side."""


@dataclass(frozen=True)
class Rule:
    """A rule of the trade for this lot, and the verdict of the simulation.

    Attributes
    ----------
    key : str
        ``centre``, ``travel``, ``aggressive``, ``gate``, ``hole``, ``vacuum``, ``published`` or
        ``speed``.
    agrees : bool
        Whether following the rule costs no more than `metersim.measures.indices.FLAT`.
    changes : mapping of str to Estimate
        Difference of the leading measure from the start point, with the total interval.  It is
        taken where the rule is followed, but for ``gate`` and ``hole`` where it is not followed,
        and for ``speed`` at `FASTER` times the speed. [1]
    values : mapping of str to float
        Settings of the rule, in SI.
    """

    key: str
    agrees: bool
    changes: Mapping[str, Estimate] = field(default_factory=dict)
    values: Mapping[str, float] = field(default_factory=dict)


def rules_for(start: FromStart, gate: Gate, holes: Mapping[str, Scenario]) -> tuple[Rule, ...]:
    """Rules for a lot, each with the verdict of the simulation.

    Parameters
    ----------
    start : FromStart
        Start point in the field, and differences from it.
    gate : Gate
        Tried openings of the gate.
    holes : mapping of str to Scenario
        Start points with other holes of `other_holes`, each with its own vacuum and notch.
    """
    change = partial(_change, start)
    return tuple(
        [
            *_of_notch(start.scenario, change),
            _of_gate(start, gate),
            _of_hole(start, holes),
            *_of_vacuum(start.scenario, change),
            *_of_speed(start.scenario, change),
        ]
    )


def _change(start: FromStart, **settings: object) -> Estimate:
    """Difference of the leading measure between other settings and the start point."""
    try:
        other = start.scenario.replace(**settings)
    except BadInput:  # the edge would pass the holes and sweep off all seeds
        return Estimate(-1.0, -1.0, -1.0)
    if other == start.scenario:
        return NONE
    return _between(start, other)


def _between(start: FromStart, other: Scenario) -> Estimate:
    return start.differences(other)[leading(start.scenario)]


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


def _of_gate(start: FromStart, gate: Gate) -> Rule:
    """Rule that a low gate starves the pool and a high gate dislodges seeds.

    It holds if both cost quality for these reasons.
    """
    ends, why = {}, {}
    for end, opening, reasons in (
        ("lowest", float(gate.openings[0]), (LOW_POOL, POOL_EMPTY)),
        ("highest", float(gate.openings[-1]), (KNOCKED,)),
    ):
        there = start.scenario.replace(pool__gate_opening=opening)
        ends[end] = _between(start, there)
        why[end] = sum(_share(start.run(there), r) - _share(start.start, r) for r in reasons)
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


def _of_hole(start: FromStart, holes: Mapping[str, Scenario]) -> Rule:
    changes = {name: _between(start, one) for name, one in holes.items()}
    values = {name: hole_share(one) for name, one in holes.items()}
    outside = [change.value for name, change in changes.items() if name in OTHER_HOLES]
    inside = [change for name, change in changes.items() if name not in OTHER_HOLES]
    agrees = max(outside, default=0.0) <= FLAT and all(map(_costs_nothing, inside))
    return Rule("hole", agrees, changes, values | {"chosen": hole_share(start.scenario)})


def vacuum_rule(start: FromStart) -> Rule | None:
    """Rule of the trade's range of vacuum; None for a crop without one."""
    return next(_of_range(start.scenario, partial(_change, start)), None)


def _of_range(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    crop, chosen = scenario.lot.crop, scenario.vacuum.vacuum
    if crop in TRADE_VACUUM:
        low, high = (1e3 * end for end in TRADE_VACUUM[crop])
        nearest = min(max(chosen, low), high)
        there = change(vacuum__vacuum=nearest)
        values = {"chosen": chosen, "nearest": nearest, "low": low, "high": high}
        yield Rule("vacuum", _costs_nothing(there), {"nearest": there}, values)


def _of_vacuum(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    """Rules of the trade's range of vacuum, and of the published best vacuum."""
    yield from _of_range(scenario, change)
    crop, chosen = scenario.lot.crop, scenario.vacuum.vacuum
    if crop in published_vacuums():
        vacuum = published_vacuums()[crop]
        is_there = abs(vacuum / chosen - 1) < THERE
        there = NONE if is_there else change(vacuum__vacuum=vacuum)
        values = {"published": vacuum, "chosen": chosen}
        yield Rule("published", _costs_nothing(there), {"published": there}, values)


def _of_speed(scenario: Scenario, change: Callable[..., Estimate]) -> Iterator[Rule]:
    """Rule that a higher travel speed costs quality, for the crop of the field studies."""
    if scenario.lot.crop in SPEED_STUDIED:
        faster = FASTER * scenario.demand.speed
        cost = change(demand__speed=faster)
        yield Rule("speed", cost.high < 0, {"faster": cost}, {"faster": faster})
