"""Start point of a disc: vacuum, notch and gate."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter

from metersim.files.faults import BadInput
from metersim.files.units import INCH, INCH_OF_WATER
from metersim.machine.airline import most_vacuum
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import read_toml
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import FLAT, crossing
from metersim.measures.tally import stretches_for, tallied
from metersim.questions.shared.cases import shipped_cases
from metersim.questions.sheet.discfit import gate_for

QUALITY, SINGLE = "per_spacing.quality", "cells.single"
SMALL_SPACING = 0.08  # m; below it quality of feed measures scatter; assumption
PUBLISHED = "karayel2004"
TRAVEL = 3  # assumption: notches of the singulator to either side of the centre
LEAST_VACUUM = 300.0  # Pa; assumption: every shipped lot needs more
VACUUMS = 10  # tried vacuums, evenly on a logarithmic scale
TRIED_CELLS = 6_000  # of a run about the start point
COARSER = 3  # times fewer cells in the coarse part of the search
FAR = 0.05  # loss of the leading measure from its best, clearly outside any plateau
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
    """Range of a setting with the leading measure within `FLAT` of its best.

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
        Leading measure at the notches and vacuums of the last search. [1]
    published : float, optional
        Published best vacuum of the crop, if the start vacuum is that; None if it is the middle of
        the plateau. [Pa]
    """

    scenario: Scenario
    plateau: Plateau
    quality: Floats
    published: float | None = None


def leading(scenario: Scenario) -> str:
    """Key of the measure that decides: quality of feed, or singulation where seeds lie close.

    Notes
    -----
    Pure scatter, without a skip or a double, leaves the quality
    `metersim.measures.spacing.quality_of_scatter`.  Below `SMALL_SPACING` it would hide the meter.
    """
    return SINGLE if scenario.spacing < SMALL_SPACING else QUALITY


def quality_of(scenario: Scenario, seed: int, coarser: int = 1) -> float:
    """Leading measure of a short run; 0 where no seed is sown. [1]"""
    run = tallied(scenario.lasting(TRIED_CELLS // coarser), seed=seed)
    found = float(measure(run).points[leading(scenario)][0])
    return 0.0 if math.isnan(found) else found


@cache
def published_vacuums() -> dict[str, float]:
    """Published best vacuum by crop, from karayel2004. [Pa]"""
    rows = read_toml(shipped_cases()[PUBLISHED])["rows"]  # the case has many conditions besides
    return {row["of"]: row["published"] * 1e3 for row in rows if row["kind"] == "plateau"}


SPARE = 0.85  # of the most vacuum of the fan, which leaves room for steps from the start


def rough_start(job: tuple[Scenario, float, int, str]) -> Start:
    """Vacuum and notch at which quality is least sensitive to deviations, from a coarse search.

    Every second vacuum is run at every second notch, with common random numbers.  The notch is that
    of the point with the best mean quality over itself and its neighbours, one step of vacuum and
    one notch away.  The vacuum is the published best one of the crop if the plateau at that notch
    contains it: somebody held it.  Otherwise it is the middle of that plateau, in kPa.

    Parameters
    ----------
    job : (Scenario, float, int, str)
        Scenario with the disc, highest vacuum of the fan [Pa], random seed, and family of units of
        the round vacuum.

    Returns
    -------
    Start
        Start point with the tried qualities.
    """
    scenario, most, seed, units = job
    quality = partial(quality_of, seed=seed, coarser=COARSER)
    vacuums = _vacuums(scenario, most)[::-2][::-1]
    return _found(_settings(scenario)[::2], vacuums, units, quality)


def start_point(job: tuple[Scenario, float, int, str]) -> Start:
    """Start point as of `rough_start`, from longer runs.

    After the coarse search every vacuum is run at the best notch and the two next to it.

    Parameters
    ----------
    job : (Scenario, float, int, str)
        As for `rough_start`.
    """
    scenario, most, seed, units = job
    done: dict[tuple[float, float], float] = {}

    def quality(one: Scenario) -> float:
        about = one.singulator.notch, one.vacuum.vacuum
        if about not in done:
            done[about] = quality_of(one, seed)
        return done[about]

    settings, vacuums = _settings(scenario), _vacuums(scenario, most)
    rough = _found(settings[::2], vacuums[::-2][::-1], units, quality)
    notch = rough.scenario.singulator.notch
    near = [one for one in settings if abs(one.singulator.notch - notch) <= 1]
    return _found(near, vacuums, units, quality)


def _settings(scenario: Scenario) -> list[Scenario]:
    """The scenario at each notch of the singulator's travel."""
    found = []
    for notch in range(-TRAVEL, TRAVEL + 1):
        try:
            found.append(scenario.replace(singulator__notch=float(notch)))
        except BadInput:  # the edge would pass the holes: the travel ends here
            continue
    return found


def _vacuums(scenario: Scenario, most: float) -> Floats:
    """Vacuums of a search, up to the highest that the fan gives. [Pa]"""
    most = min(most, SPARE * most_vacuum(scenario))
    made: Floats = np.geomspace(min(LEAST_VACUUM, most / 4), most, VACUUMS)
    return made


def _found(
    settings: Sequence[Scenario],
    vacuums: Floats,
    units: str,
    quality_at: Callable[[Scenario], float],
) -> Start:
    """Start point from runs at some notches and vacuums, both of them rising."""
    quality = _searched(settings, vacuums, quality_at)
    forgiving = uniform_filter(quality, size=3, mode="nearest")
    row, _ = np.unravel_index(int(np.argmax(forgiving)), forgiving.shape)
    found = plateau(np.log(vacuums), quality[row])
    span = Plateau(math.exp(found.low), math.exp(found.high), found.low_open, found.high_open)
    scenario = settings[int(row)]
    published = published_vacuums().get(scenario.lot.crop)
    if published is not None and not span.low <= published <= span.high:
        published = None
    middle = published or (span.low + span.high) / 2
    vacuum = min(_rounded(middle, STEPS[units][0]), float(vacuums[-1]))
    start = scenario.replace(vacuum__vacuum=vacuum)
    return Start(start, span, quality, published)


def _searched(
    settings: Sequence[Scenario], vacuums: Floats, quality_at: Callable[[Scenario], float]
) -> Floats:
    """Leading measure at rising notches and vacuums, shape (notches, vacuums). [1]

    Notches beyond one that is `FAR` worse than another are not run, and have 0.
    """
    quality, best = np.zeros((len(settings), len(vacuums))), 2 * len(vacuums) // 3
    for row, scenario in zip(quality, settings, strict=True):

        def at(k: int, scenario: Scenario = scenario) -> float:
            return quality_at(scenario.replace(vacuum__vacuum=float(vacuums[k])))

        row[:] = about_peak(at, len(vacuums), best)
        best = int(row.argmax())
        if row.max() < quality.max() - FAR:
            break
    return quality


def about_peak(value: Callable[[int], float], many: int, first: int) -> Floats:
    """Values at places 0 to `many` - 1 of what has one peak, from `first` on to both sides.

    Where a side has fallen by `FAR` from the best it is not followed any more, and keeps its value.
    """
    found = np.full(many, -np.inf)
    found[first] = value(first)
    for side in (range(first + 1, many), range(first - 1, -1, -1)):
        last = found[first]
        for k in side:
            found[k] = last = last if last < found.max() - FAR else value(k)
    return found


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
        Tried openings and their leading measure. [m], [1]
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

    def at(k: int) -> float:
        return quality_of(scenario.replace(pool__gate_opening=float(openings[k])), seed)

    quality = about_peak(at, len(openings), len(openings) // 2)
    found = plateau(openings, quality)
    middle = round((found.low + found.high) / 2 / step) * step
    return Gate(middle, found, openings, quality)


CELLS = 24_000  # of a run
COMPARED = ("cells.skip", "cells.double", SINGLE, QUALITY, "precision")  # measures of differences


def long(scenario: Scenario) -> Scenario:
    """The scenario with a run of `CELLS`."""
    return scenario.lasting(CELLS)


def measured(scenario: Scenario, *, seed: int) -> Measured:
    """Measures of a run of `CELLS`; all runs of one seed have common random numbers."""
    longer = long(scenario)
    # as many stretches for each scenario, as they are paired
    return measure(tallied(longer, seed=seed, stretches=stretches_for(longer.passages)))
