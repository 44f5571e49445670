"""Faults of the parts of a meter: disc, singulator, cut-off and tube."""

from __future__ import annotations

from metersim.machine.scenario import Scenario
from metersim.questions.shared.faults.fault import (
    LOCKED,
    ONE,
    SEVERAL,
    SLOW,
    SUDDEN,
    MeterFault,
    always_so,
    at,
    between,
    hidden,
    stated,
)

FIRST_HOLE, APART = 3, 7
"""Hole that fails first, and holes from it to the next one, so that they are not evenly apart."""
MOST_PLUGGED = 4
TWO_CHIPS = 0.6  # severity from which two holes are chipped
FEWEST_WORN = 10  # every so many holes are worn at first, and all of them at last
MIDDLE_SEED = 5.5e-3  # m, mean diameter in the middle of all seeds that meters sow
_EDGE = "set notch 0, and measure from the holes' rims to the edge with a feeler gauge"
_HOLES = "take the disc off, and look through every hole against the light"
_TURNS = "take the disc off, and lay a straight edge and a drill shank to rim and holes"


def _numbers(scenario: Scenario, count: int) -> str:
    """So many different holes of the disc, as a setting lists them."""
    cells = scenario.disc.cells
    apart = [(FIRST_HOLE - 1 + APART * k) % cells + 1 for k in range(count)]
    order = list(dict.fromkeys([*apart, *range(1, cells + 1)]))
    return " ".join(map(str, order[:count]))


def _plugged(scenario: Scenario, severity: float) -> tuple[str, ...]:
    count = round(between(severity, 1, MOST_PLUGGED))
    return (stated("disc", "plugged_holes", _numbers(scenario, count)),)


def _worn(scenario: Scenario, severity: float) -> tuple[str, ...]:
    every = max(1, round(between(severity, FEWEST_WORN, 1)))
    return (stated("disc", "worn_holes", f"every {every}"),)


def _chipped(scenario: Scenario, severity: float) -> tuple[str, ...]:
    return (stated("disc", "chipped_holes", _numbers(scenario, 1 + (severity > TWO_CHIPS))),)


def _wrong_class(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The cut-off for small seed under large seed, or that for large seed under small seed."""
    made_for = "small" if scenario.seeds.gmd > MIDDLE_SEED else "large"
    return (stated("cutoff", "made_for", made_for),)


def _has_inner(scenario: Scenario) -> bool:
    return scenario.guide.inner


def _has_tube(scenario: Scenario) -> bool:
    return scenario.tube.tube_fitted and scenario.tube.delivery == "tube"


PARTS = (
    MeterFault(
        name="plugged holes",
        words="one or more holes let no air through",
        change=_plugged,
        scope=ONE,
        onset=SUDDEN,
        check=_HOLES,
        minutes=5,
        state=LOCKED,
        opens=True,
        prior=1.5,
    ),
    MeterFault(
        name="worn holes",
        words="rims of holes are worn, so that seeds seat badly",
        change=_worn,
        scope=SEVERAL,
        onset=SLOW,
        check=_TURNS,
        minutes=5,
        state=LOCKED,
        opens=True,
    ),
    MeterFault(
        name="chipped hole",
        words="a chip is out of the rim of a hole",
        change=_chipped,
        scope=ONE,
        onset=SUDDEN,
        check=_HOLES,
        minutes=5,
        state=LOCKED,
        opens=True,
        prior=0.5,
    ),
    MeterFault(
        name="disc reversed",
        words="disc was put in back to front",
        change=always_so("disc", "wrong_way_round", True),
        scope=ONE,
        onset=SUDDEN,
        check="open the meter, and look that the marked face of the disc meets the seed",
        minutes=3,
        state=LOCKED,
        opens=True,
        prior=0.4,
    ),
    MeterFault(
        name="edge far",
        words="singulator is too far from the holes",
        change=hidden("singulator", -0.8, -2.5),
        scope=ONE,
        onset=SUDDEN,
        check=_EDGE,
        minutes=8,
        state=LOCKED,
        opens=True,
    ),
    MeterFault(
        name="edge near",
        words="singulator is too near to the holes",
        change=hidden("singulator", 0.8, 2.5),
        scope=ONE,
        onset=SUDDEN,
        check=_EDGE,
        minutes=8,
        state=LOCKED,
        opens=True,
    ),
    MeterFault(
        name="edge worn",
        words="edge of the singulator is worn",
        change=at("singulator", "edge_wear", 0.25, 1.0),
        scope=SEVERAL,
        onset=SLOW,
        check="compare the edge with a new one against the light",
        minutes=8,
        state=LOCKED,
        opens=True,
    ),
    MeterFault(
        name="inner edge worn",
        words="edge or guide inside the circle of holes is worn",
        change=at("guide", "inner_wear", 0.25, 1.0),
        scope=SEVERAL,
        onset=SLOW,
        check="compare the inner edge with a new one against the light",
        minutes=8,
        state=LOCKED,
        opens=True,
        prior=0.7,
        fits=_has_inner,
    ),
    MeterFault(
        name="cut-off worn",
        words="cut-off, which ends the vacuum, is worn",
        change=at("cutoff", "cutoff_wear", 0.25, 1.0),
        scope=SEVERAL,
        onset=SLOW,
        check="take the disc off, and look at the cut-off for a rounded or torn edge",
        minutes=8,
        state=LOCKED,
        opens=True,
    ),
    MeterFault(
        name="cut-off wrong",
        words="cut-off is made for another class of seed",
        change=_wrong_class,
        scope=SEVERAL,
        onset=SUDDEN,
        check="compare the mark on the cut-off with the one that the manual names for this crop",
        minutes=8,
        state=LOCKED,
        opens=True,
        prior=0.5,
    ),
    MeterFault(
        name="tube worn",
        words="seed tube is worn or rough inside",
        change=at("tube", "tube_wear", 0.3, 1.0),
        scope=SEVERAL,
        onset=SLOW,
        check="take the tube out, and look through it for grooves and a split mouth",
        minutes=8,
        state=LOCKED,
        opens=True,
        prior=1.2,
        fits=_has_tube,
    ),
)
"""Faults of parts.  Weights, times and degrees are assumptions; their kinds are common practice,
without a source."""
