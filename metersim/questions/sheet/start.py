"""Start point of a disc: vacuum, notch and gate, and the cost of single changes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from metersim.files.faults import BadInput
from metersim.files.units import INCH, INCH_OF_WATER
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured, difference, measure
from metersim.measures.indices import BY_KEY, FLAT, crossing
from metersim.measures.intervals import Estimate
from metersim.measures.tally import tallied
from metersim.questions.sheet.discfit import gate_for

QUALITY = "per_spacing.quality"
TRAVEL = 3  # assumption: notches of the singulator to either side of the centre
LEAST_VACUUM = 300.0  # Pa; assumption: every shipped lot needs more
VACUUMS = 10  # tried vacuums, evenly on a logarithmic scale
TRIED_CELLS = 6_000
LEVELS = (0.01, 0.05, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2, 1.35, 1.5)
# of the carry line; assumption: from a pool thinner than a seed to well above that line
STEPS = {  # steps of round start values: vacuum (half of it when low) and gate
    "metric": (100.0, 1e-3),
    "us": (0.5 * INCH_OF_WATER, 0.05 * INCH),
}
LOW_VACUUM = 15  # steps

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Plateau:
    """Range of a setting with quality within `FLAT` of its best.

    Attributes
    ----------
    low, high : float
        Ends of the range, in SI.
    low_open, high_open : bool
        Whether the range may extend beyond an end, as no value beyond it was tried.
    """

    low: float
    high: float
    low_open: bool
    high_open: bool


@dataclass(frozen=True, eq=False)
class Start:
    """Start point of a disc.

    Attributes
    ----------
    scenario : Scenario
        Scenario with start vacuum and notch.
    plateau : Plateau
        Plateau of the vacuum at that notch. [Pa]
    quality : ndarray, shape (notches, vacuums)
        Quality of feed at all tried notches and vacuums. [1]
    """

    scenario: Scenario
    plateau: Plateau
    quality: Floats


def quality_of(scenario: Scenario, seed: int) -> float:
    """Quality of feed of a short run; 0 where no seed is sown. [1]"""
    run = tallied(scenario.lasting(TRIED_CELLS), seed=seed)
    found = float(measure(run).points[QUALITY][0])
    return 0.0 if math.isnan(found) else found


def start_point(job: tuple[Scenario, float, int, str]) -> Start:
    """Vacuum and notch at which quality is least sensitive to deviations.

    Every vacuum is run at every notch with common random numbers.  The notch is that of the point
    with the best mean quality over itself and its neighbours, one step of vacuum and one notch
    away.  The vacuum is the middle of the plateau at that notch, in kPa.  Published best vacuums
    lie from a fifth to nine tenths of the way up the model's plateaus, half of the way on average
    (karayel2004).

    Parameters
    ----------
    job : (Scenario, float, int, str)
        Scenario with the disc, highest vacuum of the fan [Pa], random seed, and family of units
        of the round vacuum.

    Returns
    -------
    Start
        Start point with the tried qualities.
    """
    scenario, most, seed, units = job
    vacuums = np.geomspace(min(LEAST_VACUUM, most / 4), most, VACUUMS)
    settings, notches = {}, []
    for notch in range(-TRAVEL, TRAVEL + 1):
        try:
            settings[notch] = scenario.replace(singulator__notch=float(notch))
            notches.append(notch)
        except BadInput:  # the edge would pass the holes: the travel ends here
            continue
    quality = np.array(
        [
            [quality_of(settings[notch].replace(vacuum__vacuum=p), seed) for p in vacuums.tolist()]
            for notch in notches
        ]
    )
    forgiving = uniform_filter(quality, size=3, mode="nearest")
    row, _ = np.unravel_index(int(np.argmax(forgiving)), forgiving.shape)
    found = plateau(np.log(vacuums), quality[row])
    span = Plateau(math.exp(found.low), math.exp(found.high), found.low_open, found.high_open)
    vacuum = min(_rounded((span.low + span.high) / 2, STEPS[units][0]), most)
    start = settings[notches[row]].replace(vacuum__vacuum=vacuum)
    return Start(start, span, quality)


def plateau(places: Floats, quality: Floats) -> Plateau:
    """Range of quality within `FLAT` of its best, with linear interpolation.

    Parameters
    ----------
    places : ndarray
        Rising values of a setting.
    quality : ndarray
        Quality at each value. [1]
    """
    edge = float(quality.max()) - FLAT
    low = crossing(places, quality, edge)
    high = crossing(places[::-1], quality[::-1], edge)
    return Plateau(
        float(places[0]) if math.isnan(low) else low,
        float(places[-1]) if math.isnan(high) else high,
        math.isnan(low),
        math.isnan(high),
    )


def _rounded(vacuum: float, step: float) -> float:
    step = step if vacuum >= LOW_VACUUM * step else step / 2
    return round(vacuum / step) * step


@dataclass(frozen=True, eq=False)
class Gate:
    """Tried gate openings, and the start opening.

    Attributes
    ----------
    opening : float
        Start opening, in the middle of the plateau. [m]
    plateau : Plateau
        Plateau of openings. [m]
    openings, quality : ndarray
        Tried openings and their quality of feed. [m], [1]
    """

    opening: float
    plateau: Plateau
    openings: Floats
    quality: Floats


def gate_point(scenario: Scenario, seed: int, units: str) -> Gate:
    """The gate opening in the middle of its plateau.

    Parameters
    ----------
    scenario : Scenario
        Scenario with disc, vacuum and notch.
    seed : int
        Random seed, common to all openings.
    units : str
        Family of units of the round opening: ``metric`` or ``us``.
    """
    step = STEPS[units][1]
    openings = np.array(sorted({gate_for(scenario, level) for level in LEVELS}))
    quality = np.array(
        [quality_of(scenario.replace(pool__gate_opening=one), seed) for one in openings.tolist()]
    )
    found = plateau(openings, quality)
    middle = round((found.low + found.high) / 2 / step) * step
    return Gate(middle, found, openings, quality)


CELLS = 24_000  # of a run
COMPARED = ("cells.skip", "cells.double", QUALITY, "precision")  # measures of differences


def long(scenario: Scenario) -> Scenario:
    """The scenario with a run of `CELLS`."""
    return scenario.lasting(CELLS)


def measured(scenario: Scenario, *, seed: int) -> Measured:
    """Measures of a run of `CELLS`; all runs of one seed have common random numbers."""
    return measure(tallied(long(scenario), seed=seed))


def differences(a: Measured, b: Measured) -> dict[str, Estimate]:
    """Paired differences of b less a, for all of `COMPARED`."""
    return {key: difference(a, b, BY_KEY[key]) for key in COMPARED}


CLOSE = 0.01  # loss of quality above which a change counts as close to a limit


@dataclass(frozen=True)
class Nearby:
    """Cost of a single change.

    Attributes
    ----------
    key : str
        One of `MOVES`.
    changes : mapping of str to Estimate
        Paired differences from the start point, by measure of `COMPARED`, in SI.
    """

    key: str
    changes: Mapping[str, Estimate]

    @property
    def close(self) -> bool:
        """Whether the change costs more quality than `CLOSE`."""
        return self.changes[QUALITY].value < -CLOSE


PARTS = {0.25: "a quarter"}
TIMES = {2.0: "twice"}
NOTCHES = {1.0: "one notch"}


@dataclass(frozen=True)
class Move:
    """Something that may move away from the start point.

    Attributes
    ----------
    field : str
        What moves, as `metersim.machine.scenario.Scenario.replace` takes it.
    how : str
        ``times`` what it is, ``plus`` so much, or ``to`` a value.
    amount : float
        By how much, in SI where it is no factor.
    form : str
        Words, with a place for how far it moves.
    most : float
        Value up to which it moves, in SI.
    """

    field: str
    how: str
    amount: float
    form: str
    most: float = math.inf

    def made(self, scenario: Scenario) -> Scenario:
        """The scenario with this moved; raises `BadInput` where it cannot move."""
        section, _, name = self.field.partition("__")
        now = getattr(scenario.seeds if name == "size_cv" else getattr(scenario, section), name)
        there = {"times": self.amount * now, "plus": now + self.amount, "to": self.amount}
        return scenario.replace(**{self.field: min(there[self.how], self.most)})

    @property
    def words(self) -> str:
        """What moves, and how far."""
        size, part = abs(self.amount), abs(self.amount - 1)
        return self.form.format(
            part=PARTS.get(part, f"{100 * part:.3g} %"),
            times=TIMES.get(size, f"{size:g} times"),
            notches=NOTCHES.get(size, f"{size:g} notches"),
            percent=f"{100 * size:.3g} %",
            degrees=f"{math.degrees(size):.2g} deg",
            amount=f"{size:g}",
        )


MOVES = {
    "faster": Move("demand__speed", "times", 1.25, "{part} faster"),
    "smaller seed": Move("seed__size_factor", "times", 0.95, "seed {part} smaller"),
    "larger seed": Move("seed__size_factor", "times", 1.05, "seed {part} larger"),
    "mixed seed": Move("seed__size_cv", "times", 2.0, "sizes {times} as mixed", most=0.4),
    "less vacuum": Move("vacuum__vacuum", "times", 0.8, "vacuum {part} down"),
    "more vacuum": Move("vacuum__vacuum", "times", 1.2, "vacuum {part} up"),
    "milder": Move("singulator__notch", "plus", -1.0, "{notches} milder"),
    "more aggressive": Move("singulator__notch", "plus", 1.0, "{notches} more aggressive"),
    "lower gate": Move("pool__gate_opening", "times", 0.6, "gate {part} lower"),
    "higher gate": Move("pool__gate_opening", "times", 1.4, "gate {part} higher"),
    "worn tube": Move("tube__tube_wear", "to", 0.8, "a badly worn tube (wear {amount})"),
    "worn cut-off": Move("cutoff__decay_arc", "to", 0.0873, "cut-off edge fading over {degrees}"),
    "uneven drive": Move("drive__ripple", "to", 0.1, "drive uneven by {percent}"),
}
"""Single changes by name, each with its size and its words."""


def nearby_of(start: Measured, run: Callable[[Scenario], Measured]) -> tuple[Nearby, ...]:
    """Costs of all possible changes, the greatest first."""
    found = []
    for key, move in MOVES.items():
        try:
            moved = move.made(start.scenario)
        except BadInput:
            continue
        if moved != start.scenario:
            found.append(Nearby(key, differences(start, run(moved))))
    return tuple(sorted(found, key=lambda one: one.changes[QUALITY].value))
