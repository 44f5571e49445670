"""Predictions of the model for published cases."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
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
from metersim.questions.shared.conditions import Condition
from metersim.questions.shared.statements import Term
from metersim.questions.shared.unknowns import draw_places
from metersim.run.parallel import in_order
from metersim.run.simulation import simulate

DRAWS = 64  # of what a source does not state
LOWEST, HIGHEST = 1.0, 1e6  # Pa


def critical_vacuum(scenario: Scenario, empty: float, stations: Stations | None = None) -> float:
    """Vacuum at which a share of the cells leaves the pool empty.

    Parameters
    ----------
    scenario : Scenario
        Scenario; its vacuum has no effect.
    empty : float
        Share of the unblocked cells, between 0 and 1. [1]
    stations : Stations, optional
        Stations in place of the scenario's own.

    Returns
    -------
    float
        Vacuum, from 1 Pa to 1 MPa. [Pa]

    Notes
    -----
    Source: liao2018 for the definition.  The share is `metersim.machine.joining.empty_chance` of
    holes that are all alike, in a pool at its static level.
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


STRETCHES = 24  # of each run, for its sampling error
COUNTED = "spacings"  # key of the number of spacings, a mean over the parts of a condition
MOST_VACUUM = 15e3  # Pa; highest vacuum of a scenario

Floats = NDArray[np.float64]
MakesStations = Callable[[Scenario], Stations]


@dataclass(frozen=True, eq=False)
class Predicted:
    """Predicted measures of the conditions of a case.

    Attributes
    ----------
    case : Case
        Published case.
    values : mapping of str to mapping of str to ndarray, shape (draws, 1 + stretches)
        Values by condition and measure, in SI: of whole runs, then without each stretch in turn.
    """

    case: Case
    values: Mapping[str, Mapping[str, Floats]]

    @property
    def draws(self) -> int:
        """Number of draws."""
        first = next(iter(self.values.values()))
        return len(next(iter(first.values())))

    def total(self, terms: Sequence[Term]) -> Floats:
        """Weighted sum of measures: of whole runs, then without each stretch in turn."""
        parts = (t.weight * self.values[t.condition][t.measure] for t in terms)
        total: Floats = np.sum(list(parts), axis=0)
        return total


@dataclass(frozen=True)
class Draw:
    """One draw of a condition with all inputs of its run."""

    condition: Condition
    parts: tuple[Scenario, ...]
    plants: tuple[float, float] | None
    number: int
    seed: int
    stations: MakesStations


def draws_of(case: Case, draws: int, seed: int, stations: MakesStations) -> Iterator[Draw]:
    """Draws of all conditions of a case, condition by condition.

    All conditions of one draw share an unknown machine.

    Raises
    ------
    BadInput
        When drawn values contradict one another.
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
        columns = [
            draw_places(condition.unknown(part), draws, seed).tolist() for part in condition.parts
        ]
        for k in range(draws):
            try:
                parts = [
                    replace(condition.drawn(part, column[k]), coefficients=part.posterior.draw(k))
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
    most = np.full(1 + STRETCHES, math.nan)  # stretches do not give the sampling error of a maximum
    most[0] = run.cells.joined.max()
    if draw.plants:
        run = emerged(run, *draw.plants)
    tally = tally_of(run, STRETCHES)
    same = {"vacuum": vacuum, COUNTED: float(tally.sums["spacings"].sum())}
    others = {key: np.full(1 + STRETCHES, value) for key, value in same.items()}
    return measure(tally).points | others | {"most_on_a_hole": most}


def predict(
    cases: Sequence[Case],
    *,
    draws: int = DRAWS,
    seed: int = 1,
    stations: MakesStations = stations_of,
    executor: Executor | None = None,
    on_run: Callable[[int], Any] | None = None,
) -> list[Predicted]:
    """Run all conditions of published cases in every draw of a machine and of open inputs.

    Parameters
    ----------
    cases : sequence of Case
        Cases of `metersim.questions.shared.cases.load_case`.
    draws, seed : int
        Number of draws, and random seed of draws and runs.
    stations : callable
        Function that makes the stations of a scenario; picklable where `executor` pickles.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.
    on_run : callable, optional
        Function that takes the number of finished runs, each of a draw of a condition.

    Returns
    -------
    list of Predicted
        Prediction of each case, which is the same for all executors.

    Raises
    ------
    BadInput
        When drawn values contradict one another.
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
