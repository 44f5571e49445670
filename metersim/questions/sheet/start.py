"""Where a disc starts: vacuum, notch and gate; what to expect there, and what one change costs."""

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
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.tally import tallied
from metersim.questions.shared.limits import FLAT, crossing
from metersim.questions.sheet.discfit import gate_for

QUALITY = "per_spacing.quality"
TRAVEL = 3  # assumption: notches of the singulator to either side of the centre
LEAST_VACUUM = 300.0  # Pa; assumption: no lot here is carried by less
VACUUMS = 10  # that are tried, evenly on a logarithmic scale
TRIED_CELLS = 6_000
LEVELS = (0.01, 0.05, 0.15, 0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2, 1.35, 1.5)
# of the carry line; assumption: from a pool thinner than a seed to well above that line
STEPS = {  # on which starts are set, so that they are round: vacuum, half of it when low; gate
    "metric": (100.0, 1e-3),
    "us": (0.5 * INCH_OF_WATER, 0.05 * INCH),
}
LOW_VACUUM = 15  # steps

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Plateau:
    """A stretch of a setting with quality within `FLAT` of its best.

    Attributes
    ----------
    low, high : float
        Its ends, in SI.
    low_open, high_open : bool
        Whether it may go on beyond an end, to which nothing else was tried.
    """

    low: float
    high: float
    low_open: bool
    high_open: bool


@dataclass(frozen=True, eq=False)
class Start:
    """A disc's start point.

    Attributes
    ----------
    scenario : Scenario
        With the start vacuum and notch set.
    plateau : Plateau
        Of the vacuum at that notch. [Pa]
    notches, vacuums : ndarray
        What was tried. [1], [Pa]
    quality : ndarray, shape (notches, vacuums)
        Quality of feed there. [1]
    """

    scenario: Scenario
    plateau: Plateau
    notches: Floats
    vacuums: Floats
    quality: Floats


def quality_of(scenario: Scenario, seed: int) -> float:
    """Quality of feed of a short run; 0 where nothing is sown. [1]"""
    run = tallied(scenario.lasting(TRIED_CELLS), seed=seed)
    found = float(measure(run).points[QUALITY][0])
    return 0.0 if math.isnan(found) else found


def start_point(job: tuple[Scenario, float, int, str]) -> Start:
    """The vacuum and the notch at which a disc forgives most.

    Every vacuum is run at every notch on the same luck.  The notch is that of the point whose
    quality is best on average over itself and its neighbours, one step of vacuum and one notch
    away; the vacuum is the middle of the plateau at that notch, as far in kPa from where quality
    falls on either side: published best vacuums lie from a fifth to nine tenths of the way up the
    model's plateaus, half of the way on average (karayel2004).

    Parameters
    ----------
    job : (Scenario, float, int, str)
        A scenario with the disc fitted, the most vacuum that the fan gives [Pa], the seed, and
        the units of which the vacuum is a round number.

    Returns
    -------
    Start
        The start point and what it was chosen from.
    """
    scenario, most, seed, units = job
    vacuums = np.geomspace(min(LEAST_VACUUM, most / 4), most, VACUUMS)
    settings, notches = {}, []
    for notch in range(-TRAVEL, TRAVEL + 1):
        try:
            settings[notch] = scenario.replace(singulator__notch=float(notch))
            notches.append(notch)
        except BadInput:  # the edge would pass the holes: the travel ends before
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
    return Start(start, span, np.array(notches, dtype=float), vacuums, quality)


def plateau(places: Floats, quality: Floats) -> Plateau:
    """Where quality first comes within `FLAT` of its best from either side, on straight lines.

    Parameters
    ----------
    places : ndarray
        Rising.
    quality : ndarray
        At each of them. [1]
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
    """Gate openings that were tried, and the start opening.

    Attributes
    ----------
    opening : float
        In the middle of the plateau. [m]
    plateau : Plateau
        Of openings. [m]
    openings, quality : ndarray
        What was tried, and the quality of feed. [m], [1]
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
        With disc, vacuum and notch set.
    seed : int
        Chooses the luck, which all openings share.
    units : str
        Of which the opening is a round number: ``metric`` or ``us``.
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
TOLD = ("cells.skip", "cells.double", QUALITY, "precision")  # what differences are told of


def long(scenario: Scenario) -> Scenario:
    """The scenario, watched for `CELLS`."""
    return scenario.lasting(CELLS)


def measured(scenario: Scenario, *, seed: int) -> Measured:
    """A run of `CELLS`, on luck that all such runs of a seed share."""
    return measure(tallied(long(scenario), seed=seed))


def differences(a: Measured, b: Measured) -> dict[str, Estimate]:
    """Measures `TOLD` of b less those of a, paired."""
    return {key: difference(a, b, BY_KEY[key]) for key in TOLD}


CLOSE = 0.01  # of quality; a limit that costs more is close by


@dataclass(frozen=True)
class Nearby:
    """What one thing costs that moves.

    Attributes
    ----------
    key : str
        One of `MOVES`.
    changes : mapping of str to Estimate
        Measures `TOLD` less those of the start point, paired, in SI.
    """

    key: str
    changes: Mapping[str, Estimate]

    @property
    def close(self) -> bool:
        """Whether it costs more quality than `CLOSE`."""
        return self.changes[QUALITY].value < -CLOSE


MOVES: dict[str, Callable[[Scenario], Scenario]] = {
    "faster": lambda s: s.replace(demand__speed=1.25 * s.demand.speed),
    "smaller seed": lambda s: s.replace(seed__size_factor=0.95 * s.seed.size_factor),
    "larger seed": lambda s: s.replace(seed__size_factor=1.05 * s.seed.size_factor),
    "mixed seed": lambda s: s.replace(seed__size_cv=min(2 * s.seeds.size_cv, 0.4)),
    "less vacuum": lambda s: s.replace(vacuum__vacuum=0.8 * s.vacuum.vacuum),
    "more vacuum": lambda s: s.replace(vacuum__vacuum=1.2 * s.vacuum.vacuum),
    "milder": lambda s: s.replace(singulator__notch=s.singulator.notch - 1),
    "more aggressive": lambda s: s.replace(singulator__notch=s.singulator.notch + 1),
    "lower gate": lambda s: s.replace(pool__gate_opening=0.6 * s.pool.gate_opening),
    "higher gate": lambda s: s.replace(pool__gate_opening=1.4 * s.pool.gate_opening),
    "worn tube": lambda s: s.replace(tube__tube_wear=0.8),
    "worn cut-off": lambda s: s.replace(cutoff__decay_arc=0.0873),  # 5 degrees
    "uneven drive": lambda s: s.replace(drive__ripple=0.1),
}
"""What may move, by how much: see `metersim.questions.sheet.text` for the words."""


def nearby_of(start: Measured, run: Callable[[Scenario], Measured]) -> tuple[Nearby, ...]:
    """What each move costs, the costliest first; moves that cannot be are left out."""
    found = []
    for key, move in MOVES.items():
        try:
            moved = move(start.scenario)
        except BadInput:
            continue
        if moved != start.scenario:
            found.append(Nearby(key, differences(start, run(moved))))
    return tuple(sorted(found, key=lambda one: one.changes[QUALITY].value))
