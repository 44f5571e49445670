"""What the model gives for a published case."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from metersim.files.faults import BadInput, Fault
from metersim.machine.moment import Moment
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations, stations_of
from metersim.measures.estimates import measure
from metersim.measures.plants import emerged
from metersim.measures.tally import tally_of
from metersim.questions.shared.cases import Case
from metersim.questions.shared.statements import Condition, Term
from metersim.questions.shared.unknowns import DRAWS, draw_places
from metersim.run.parallel import in_order
from metersim.run.simulation import simulate

LOWEST, HIGHEST = 1.0, 1e6  # Pa


def critical_vacuum(scenario: Scenario, empty: float, stations: Stations | None = None) -> float:
    """Vacuum at which a share of the cells leaves the pool empty.

    Parameters
    ----------
    scenario : Scenario
        What is set; its vacuum does not matter.
    empty : float
        Share of the cells, blocked ones not counted, between 0 and 1. [1]
    stations : Stations, optional
        In place of the scenario's own.

    Returns
    -------
    float
        Vacuum, from 1 Pa to 1 MPa. [Pa]

    Notes
    -----
    Source: liao2018 for the notion; the share is ``exp(-rate)``, the mean number of seeds that are
    drawn and hold, in a pool at its static level.
    """
    stations = stations or stations_of(scenario)
    speed = scenario.peripheral_speed
    full = stations.gate.full(Moment("gate", time=0.0, speed=speed))
    at = Moment("pickup", time=0.0, speed=speed, level=float(stations.gate.level(full)))
    wanted = -math.log(empty)

    def lacking(log_vacuum: float) -> float:
        return float(stations.pickup.chances(math.exp(log_vacuum), at).rate) - wanted

    low, high = math.log(LOWEST), math.log(HIGHEST)
    if lacking(low) >= 0 or lacking(high) <= 0:
        return LOWEST if lacking(low) >= 0 else HIGHEST
    return math.exp(brentq(lacking, low, high, xtol=1e-6))


STRETCHES = 24  # of each run, to tell luck
MOST_VACUUM = 15e3  # Pa, of a scenario

Floats = NDArray[np.float64]
MakesStations = Callable[[Scenario], Stations]


@dataclass(frozen=True, eq=False)
class Predicted:
    """What a case's conditions give.

    Attributes
    ----------
    case : Case
        The case.
    values : mapping of str to mapping of str to ndarray, shape (draws, 1 + stretches)
        By condition and measure, in SI: of whole runs, then without each stretch in turn.
    """

    case: Case
    values: Mapping[str, Mapping[str, Floats]]

    def total(self, terms: Sequence[Term]) -> Floats:
        """A weighted sum of measures, likewise."""
        parts = (t.weight * self.values[t.condition][t.measure] for t in terms)
        total: Floats = np.sum(list(parts), axis=0)
        return total

    @cached_property
    def medians(self) -> Mapping[tuple[Term, ...], float]:
        """Medians over draws of the sums that its levels are about."""
        wanted = {row.terms for row in self.case.rows if row.kind == "level"}
        return {terms: float(np.median(self.total(terms)[:, 0])) for terms in wanted}


@dataclass(frozen=True)
class Draw:
    """One draw of a condition, ready to be run anywhere."""

    condition: Condition
    parts: tuple[Scenario, ...]
    plants: tuple[float, float] | None
    number: int
    seed: int
    stations: MakesStations


def draws_of(case: Case, draws: int, seed: int, stations: MakesStations) -> Iterator[Draw]:
    """All draws of all conditions of a case, condition by condition.

    Raises
    ------
    BadInput
        When drawn values contradict.
    """
    plants = None
    if case.plants:
        middle = {"emergence": case.plants.emergence, "shift": case.plants.shift}
        places = draw_places(case.unknown, draws, seed)
        drawn = [
            middle | {one.name: one.at(place) for one, place in zip(case.unknown, row, strict=True)}
            for row in places.tolist()
        ]
        plants = [(one["emergence"], one["shift"]) for one in drawn]
    for condition in case.conditions.values():
        columns = [draw_places(part.unknown, draws, seed).tolist() for part in condition.parts]
        for k in range(draws):
            try:
                parts = [
                    part.drawn(column[k])
                    for part, column in zip(condition.parts, columns, strict=True)
                ]
            except BadInput as error:
                raise BadInput(
                    Fault(str(case.path), f"conditions.{condition.name}", str(fault))
                    for fault in error.faults
                ) from None
            each = plants[k] if plants else None
            yield Draw(condition, tuple(parts), each, k, seed, stations)


def run_draw(draw: Draw) -> dict[str, Floats]:
    """Values of a draw by measure, averaged over the parts of its condition."""
    found = [_run_part(draw, scenario) for scenario in draw.parts]
    return {key: np.mean([part[key] for part in found], axis=0) for key in found[0]}


def _run_part(draw: Draw, scenario: Scenario) -> dict[str, Floats]:
    vacuum = scenario.vacuum.vacuum
    if draw.condition.critical:
        empty, times = draw.condition.critical
        vacuum = times * critical_vacuum(scenario, empty, draw.stations(scenario))
        scenario = scenario.replace(vacuum__vacuum=min(vacuum, MOST_VACUUM))
    run = simulate(
        scenario, seed=draw.seed, replicate=draw.number, stations=draw.stations(scenario)
    )
    most = np.full(1 + STRETCHES, math.nan)  # stretches do not tell the luck of a maximum
    most[0] = run.cells.joined.max()
    if draw.plants:
        run = emerged(run, *draw.plants)
    points = measure(tally_of(run, STRETCHES)).points
    return points | {"vacuum": np.full(1 + STRETCHES, vacuum), "most_on_a_hole": most}


def predict(
    cases: Sequence[Case],
    *,
    draws: int = DRAWS,
    seed: int = 1,
    stations: MakesStations = stations_of,
    executor: Executor | None = None,
    on_run: Callable[[int], Any] | None = None,
) -> list[Predicted]:
    """Run every condition of published cases for every draw of what is not known.

    Parameters
    ----------
    cases : sequence of Case
        From `metersim.questions.shared.cases.load_case`.
    draws, seed : int
        How many draws, and what chooses them and their luck.
    stations : callable
        Makes the stations of a scenario; picklable where `executor` pickles.
    executor : Executor, optional
        Where to run; here, when not given.
    on_run : callable, optional
        Told how many runs are done, each of a draw of a condition.

    Returns
    -------
    list of Predicted
        One a case; the same whatever the executor.

    Raises
    ------
    BadInput
        When drawn values contradict.
    """
    jobs = [job for case in cases for job in draws_of(case, draws, seed, stations)]
    done = []
    for result in in_order(run_draw, jobs, executor):
        done.append(result)
        if on_run:
            on_run(len(done))
    results = iter(done)
    found = []
    for case in cases:
        values = {}
        for name in case.conditions:
            rows = [next(results) for _ in range(draws)]
            values[name] = {key: np.stack([row[key] for row in rows]) for key in rows[0]}
        found.append(Predicted(case, values))
    return found
