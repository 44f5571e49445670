"""Signatures of faults, by simulation: what each fault does to all that people can see.

Each fault is put into the same few machines, at severities of its own.  Healthy and faulty machines
have common random numbers, so small differences are seen in short runs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from metersim.machine.airline import chamber_vacuum, middle_row
from metersim.machine.load import turning_of
from metersim.machine.rows import row_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.shared.faults.breathing import (
    Breathing,
    air_of,
    alone,
    machine_around,
)
from metersim.questions.shared.faults.fault import ALL, ONE, SEVERAL, SLOPES, SLOW, MeterFault
from metersim.questions.shared.faults.library import LIBRARY, possible_faults, priors_of
from metersim.questions.shared.faults.looked import looked, trouble_of
from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.looks import kept_full
from metersim.run.parallel import check_sent, in_order
from metersim.run.records import Run
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

Floats = NDArray[np.float64]

SAMPLES, CELLS = 3, 1_000  # machines of each fault, and cells of a run
FASTER = 1.3
HILL = -0.21  # rad; 12 degrees downhill, where the pool falls away from the disc
LATER = 5.0  # hours of work until the second look
MOST_HOURS = 24.0
SAME_AIR = 0.02  # relative change of vacuum below which a turn is that of a machine in order
IN_ORDER = "in order"
AS_IN_ORDER = np.inf  # in place of a number that is that of the machine in order
ELSEWHERE = {ONE: 0.0, SEVERAL: 0.5, ALL: 1.0}  # share of the other rows that have the fault
FURTHER = ("speed", "slope", "hour", "turn", "bench")
"""Signs that take a further run of each machine, or several."""
COLUMNS = (
    *SIGNS,
    "true_skips",
    "true_doubles",
    "cell_skips",
    "cell_doubles",
    "severity",
)
"""Simulated numbers of each fault and sample: those of `SIGNS`, and what nobody sees directly."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Signatures:
    """Signatures of faults of one machine.

    Attributes
    ----------
    faults : tuple of str
        Names of the faults, as in the library.
    prior : ndarray, shape (faults,)
        Chance of each before anything is seen, given that there is one of them. [1]
    values : mapping of str to ndarray, shape (faults, samples)
        Simulated numbers by name; nan where this machine cannot show the sign.

        ``skips``, ``doubles``
            Shares that a monitor shows that measures spacings. [1]
        ``cell_skips``, ``cell_doubles``, ``true_skips``, ``true_doubles``
            Shares of cells by pulses of the sensor, and as seeds leave the meter. [1]
        ``pattern``
            Share of turns in which the worst hole fails beyond the others. [1]
        ``rows``
            Share of the other rows that show the fault. [1]
        ``onset``
            1 where it comes slowly, 0 where it comes suddenly.
        ``speed``, ``slope``, ``hour``, ``turn``
            Change of skips and doubles together: faster, on a slope, later, after a turn. [1]
        ``bench``
            Skips and doubles together of the same meter on a bench. [1]
        ``current``
            Current of an electric drive, or torque of another one. [A, N m]
        ``used``
            Seed used on an area over the planned amount. [1]
        ``gauge``
            Reading over the set vacuum. [1]
        ``stand``
            Share of the monitor's empty cells in which a seed left the meter. [1]
        ``scatter``
            SD of normal spacings over the planned spacing. [1]
        ``severity``
            Severity of the fault, from 0 to 1.
    usual : mapping of str to ndarray, shape (samples,)
        The same numbers of the same machines in order.
    """

    faults: tuple[str, ...]
    prior: Floats
    values: Mapping[str, Floats]
    usual: Mapping[str, Floats]

    @property
    def samples(self) -> int:
        """Number of machines of each fault."""
        return len(self.usual["skips"])

    def chance(self, sign: str, answer: str) -> Floats:
        """Chance that somebody gives an answer.

        Parameters
        ----------
        sign, answer : str
            Name of one of `SIGNS`, and one of its answers.

        Returns
        -------
        ndarray, shape (faults, samples)
            Chances; all answers are equally likely where the machine cannot show the sign. [1]
        """
        return np.asarray(self.chances(sign)[SIGNS[sign].answers.index(answer)])

    def chances(self, sign: str) -> Floats:
        """Chances of all answers of a sign, shape (answers, faults, samples); they sum to 1."""
        found = SIGNS[sign].chances(self.values, self.usual)
        return np.where(np.isfinite(found), found, 1 / len(SIGNS[sign].answers))

    def likelihood(self, answers: Mapping[str, str]) -> Floats:
        """Chance of several answers together, shape (faults,): a mean over samples. [1]

        Given the machine and the severity, answers do not depend on one another.
        """
        each = np.ones((len(self.faults), self.samples))
        for sign, answer in answers.items():
            each = each * self.chance(sign, answer)
        return np.asarray(each.mean(axis=1))

    def in_order(self) -> Signatures:
        """The same machines in order, as the only row."""
        values = {name: column[None, :] for name, column in self.usual.items()}
        return replace(self, faults=(IN_ORDER,), prior=np.ones(1), values=values)


def signatures(
    scenario: Scenario,
    *,
    seed: int = 1,
    samples: int = SAMPLES,
    cells: int = CELLS,
    further: Sequence[str] = FURTHER,
    executor: Executor | None = None,
) -> Signatures:
    """Signatures of all faults that the machine of a scenario can have.

    Parameters
    ----------
    scenario : Scenario
        The machine in order.
    seed : int
        Random seed of severities and runs.
    samples : int
        Machines of each fault, 1 or more: draws of the coefficients, each with its own severity
        and its own random draws.  All faults share machines and draws.
    cells : int
        Cells of each run.
    further : sequence of str
        Which of the signs `FURTHER` are wanted; faults have nan for the others, see `completed`.
    executor : Executor, optional
        Executor of the faults; by default they run in this process.  The result is the same.
    """
    check_sent(scenario, executor)
    machine = machine_around(scenario)
    faults = possible_faults(machine)
    work = _work(scenario, machine, seed, samples, cells)
    jobs = [(IN_ORDER, FURTHER), *((one.name, tuple(further)) for one in faults)]
    usual, *found = in_order(work, jobs, executor)
    values = {name: np.array([one[name] for one in found]) for name in COLUMNS}
    for name in FURTHER:  # numbers that are those of the machine in order
        values[name] = np.where(np.isinf(values[name]), usual[name], values[name])
    return Signatures(
        faults=tuple(one.name for one in faults),
        prior=np.array(priors_of(faults)),
        values=values,
        usual=usual,
    )


def completed(
    found: Signatures,
    scenario: Scenario,
    likely: Sequence[str],
    left: Sequence[str],
    *,
    seed: int = 1,
    cells: int = CELLS,
    executor: Executor | None = None,
) -> Signatures:
    """Signatures with the signs that were left out, for some of the faults.

    Parameters
    ----------
    found : Signatures
        Signatures without these signs.
    scenario : Scenario
        The machine in order, as for `signatures`.
    likely : sequence of str
        Faults whose signs are simulated; the others show what the machine in order shows.
    left : sequence of str
        Signs that were left out.
    seed, cells, executor
        As for `signatures`.
    """
    machine = machine_around(scenario)
    work = _work(scenario, machine, seed, found.samples, cells)
    now = found.values["skips"] + found.values["doubles"]
    at = [found.faults.index(name) for name in likely]
    jobs = [(name, tuple(left), now[k]) for name, k in zip(likely, at, strict=True)]
    made = [*in_order(work, jobs, executor)]
    values = dict(found.values)
    for name in left:
        values[name] = np.tile(found.usual[name], (len(found.faults), 1))
        for k, one in zip(at, made, strict=True):
            values[name][k] = np.where(np.isinf(one[name]), found.usual[name], one[name])
    return replace(found, values=values)


Job = tuple[str, tuple[str, ...]] | tuple[str, tuple[str, ...], Floats]
"""A fault, the further signs that are wanted of it, and its trouble where that is known."""


def _work(
    scenario: Scenario, machine: Scenario, seed: int, samples: int, cells: int
) -> Callable[[Job], Mapping[str, Floats]]:
    row = row_scenario(scenario, middle_row(scenario)) if scenario.is_toolbar else scenario
    return partial(_columns, row, machine, seed, samples, cells)


def _columns(
    row: Scenario, machine: Scenario, seed: int, samples: int, cells: int, job: Job
) -> Mapping[str, Floats]:
    """Numbers of one fault, or of the machine in order, by column; one for each sample."""
    name, further, *known = job
    fault = LIBRARY.get(name)
    places = Streams(seed).stratified(f"severity of {name}", samples) if fault else [0.0] * samples
    rows = []
    for k, severity in enumerate(places):
        draw = row.posterior.draw(k)
        drawn = [replace(one, coefficients=draw) for one in (row, machine)]
        sample = _Sample(drawn[0], drawn[1], fault, float(severity), seed, k, cells)
        numbers = {} if known else sample.numbers()
        trouble = float(known[0][k]) if known else numbers["skips"] + numbers["doubles"]
        rows.append(numbers | sample.changes(further, trouble))
    return {column: np.array([one[column] for one in rows]) for column in rows[0]}


@dataclass(frozen=True)
class _Sample:
    """One row of one machine with one fault, or in order."""

    row: Scenario
    machine: Scenario
    fault: MeterFault | None
    severity: float
    seed: int
    number: int
    cells: int

    @cached_property
    def scope(self) -> str:
        """Rows that have the fault."""
        return self.fault.scope if self.fault else ONE

    @cached_property
    def air(self) -> Breathing:
        """Air of the machine with the fault."""
        return air_of(self.machine, self._put(self.machine), self.scope)

    @cached_property
    def vacuum(self) -> float:
        """Vacuum of the row with the fault. [Pa]"""
        return chamber_vacuum(self.row) * self.air.vacuum

    @cached_property
    def faulty(self) -> Scenario:
        """The row with the fault."""
        return self._ready(self._put(self.row), self.vacuum)

    def numbers(self) -> dict[str, float]:
        """Numbers of all columns; nan for those that take further runs."""
        turning = turning_of(self.faulty, self.vacuum)
        seen = looked(self._run(self.faulty), self.row.spacing)
        return {
            **{name: value for name, value in vars(seen).items() if name in COLUMNS},
            **dict.fromkeys(FURTHER, np.nan),
            "rows": max(self.air.others, ELSEWHERE[self.scope]),
            "onset": float(self.fault is not None and self.fault.onset == SLOW),
            "current": turning.torque if turning.current is None else turning.current,
            "gauge": self.air.gauge,
            "severity": self.severity,
        }

    def changes(self, further: Sequence[str], now: float) -> dict[str, float]:
        """Numbers of signs that take further runs, where skips and doubles are `now` together."""
        made = {
            "speed": self._faster,
            "slope": self._on_a_slope,
            "hour": self._later,
            "turn": self._after_turn,
            "bench": self._on_bench,
        }
        return {name: made[name](now) for name in further}

    def _put(self, scenario: Scenario) -> Scenario:
        return self.fault.put(scenario, self.severity) if self.fault else scenario

    def _trouble(self, scenario: Scenario) -> float:
        return trouble_of(self._run(scenario), self.row.spacing)

    def _run(self, scenario: Scenario) -> Run:
        return simulate(scenario, seed=self.seed, replicate=self.number)

    def _ready(self, scenario: Scenario, vacuum: float) -> Scenario:
        """A row alone at a vacuum, with its length and enough seed in its hopper."""
        return kept_full(alone(scenario, vacuum), self.cells)

    def _faster(self, now: float) -> float:
        """Change at a higher speed."""
        speed = FASTER * self.faulty.demand.speed
        return self._trouble(self.faulty.replace(demand__speed=speed)) - now

    def _on_a_slope(self, now: float) -> float:
        """Change on a slope; a fault of slopes is compared with the machine on the level."""
        scenario = self.faulty
        if not self.row.in_field:
            return np.nan
        if self.fault and self.fault.when == SLOPES:
            return now - self._trouble(self._ready(self.row, chamber_vacuum(self.row)))
        return self._trouble(scenario.replace(conditions__slope_along=_hill(scenario))) - now

    def _later(self, now: float) -> float:
        """Change after some hours; only dust depends on the hour."""
        sensor = self.faulty.sensor
        if sensor.dust_per_hour == 0:
            return 0.0
        hours = min(sensor.hours_since_brushing + LATER, MOST_HOURS)
        return self._trouble(self.faulty.replace(sensor__hours_since_brushing=hours)) - now

    def _after_turn(self, now: float) -> float:
        """Change just after a turn, when fewer holes carry a seed and more of them draw air.

        It is as in order unless the fault moves the vacuum.
        """
        air = self.air
        moved = max(abs(air.vacuum - 1), abs(air.start - air.usual_start))
        if self.fault and moved < SAME_AIR:
            return AS_IN_ORDER
        start = chamber_vacuum(self.row) * air.start
        return self._trouble(self.faulty.replace(vacuum__vacuum=start)) - now

    def _on_bench(self, _now: float) -> float:
        """Trouble of the meter on a bench at the same vacuum; a fault may stay on the machine."""
        if not self.row.in_field:
            return np.nan
        if self.fault and not self.fault.travels:
            return AS_IN_ORDER
        bench = self.row.replace(furrow__surface="bench", furrow__observed=None)
        return self._trouble(self._ready(self._put(bench), self.vacuum))


def _hill(scenario: Scenario) -> float:
    """Slope of the hill; where it is steeper already, it stays so. [rad]"""
    return min(scenario.conditions.slope_along, HILL)
