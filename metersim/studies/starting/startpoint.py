"""Where to start: the setting in the middle of its plateau, found by runs on the same luck."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from metersim.faults import BadInput
from metersim.measures import measure
from metersim.scenario import Scenario
from metersim.studies.published.plateaus import FLAT, crossing
from metersim.studies.starting.discfit import gate_for
from metersim.tally import tallied
from metersim.units import INCH, INCH_OF_WATER

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
