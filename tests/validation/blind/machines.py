"""The machines of the blind test: as stated, as they really are, and of other forms.

A person states a machine.  The real one has a fault, and coefficients of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

import metersim as m
from metersim.files.fields import specs
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.posterior import shipped_posterior
from metersim.machine.scenario import Scenario
from metersim.questions.shared.looks import loads_of_spacings
from metersim.run.records import Run
from tests.validation.blind.frozen import CASES, table

FIRST_DRAW = 128
"""Draws of the coefficients from this number on are the real machines; the diagnosis has others."""
FORMS = (
    ("seconds_power", "low"),
    ("loss_power", "high"),
    ("hole_power", "low"),
    ("edge_speed", "high"),
    ("tube", "own"),
    ("seconds_power", "high"),
    ("loss_power", "low"),
    ("edge_speed", "low"),
)
"""Forms of the model that no draw moves, with the end of their range; cases take them in turn."""
ON_TOOLBAR = ("rows", "working", "parked", "shut_off_kpa", "free_flow_m3_h", "set_when")
AROUND = ("hoses", "toolbar", "fan", "drive", "conditions.slope", "hose_diameter", "hose_length")
BENCH = ("surface=bench", "drive.kind=electric", "drive.slip_percent=0", "drive.ripple_percent=0")
BENCH_FAN = ("shut_off_kpa=20", "free_flow_m3_h=400", "hose_diameter_mm=25", "hose_length_m=1.5")
"""assumption: a bench has a strong source of its own, with a gauge at that source."""


class OtherTube(m.TubeStation):
    """A tube in which seeds touch the wall twice as often, whatever its wear."""

    def contacts(self, speed: Any, at: Any) -> Any:
        return 2.0 * super().contacts(speed, at)


@dataclass(frozen=True, kw_only=True)
class Case:
    """A frozen case; `cases.toml` says what its entries mean."""

    name: str
    scenario: str
    machine: Sequence[str] = ()
    wrong: Sequence[str] = ()
    factors: Mapping[str, float] = field(default_factory=dict)
    affected: str
    onset: str
    counted_by: str
    counted: int
    reports: Sequence[str]
    truth: str
    near: Sequence[str] = ()

    @property
    def key(self) -> tuple[str, tuple[str, ...]]:
        """What the person states of the machine; cases that share it share signatures."""
        return self.scenario, tuple(self.machine)

    def stated(self) -> Scenario:
        """The machine as the person states it."""
        return m.load_scenario(self.scenario, list(self.machine))


def cases() -> list[Case]:
    """All frozen cases."""
    known = {one.name for one in fields(Case)}
    found = table(CASES)["case"]
    assert isinstance(found, list)
    assert all(set(one) <= known for one in found)
    return [Case(**one) for one in found]


@dataclass(frozen=True, kw_only=True)
class Build:
    """How a real machine differs from the usual one."""

    kind: str  # usual, drawn or formed
    words: str
    coefficients: Coefficients = USUAL
    stations: Mapping[str, type] = field(default_factory=dict)


def builds(case: Case, number: int, *, drawn: int, formed: int) -> list[Build]:
    """Machines on which a case is seen: the usual one, drawn ones, and ones of another form."""
    made = [Build(kind="usual", words="usual")]
    posterior = shipped_posterior()
    for k in range(drawn):
        at = FIRST_DRAW + (number * drawn + k) % (len(posterior.draws) - FIRST_DRAW)
        made.append(Build(kind="drawn", words=f"draw {at}", coefficients=posterior.draw(at)))
    for k in range(formed):
        made.append(_formed(case, number * formed + k))
    return made


def _formed(case: Case, number: int) -> Build:
    name, end = FORMS[number % len(FORMS)]
    if name == "tube" and not case.stated().is_toolbar:
        return Build(kind="formed", words="another tube", stations={"tube": OtherTube})
    if name == "tube":  # a pass takes no own stations
        name, end = "hole_power", "low"
    value = getattr(specs(Coefficients)[name], end)
    return Build(
        kind="formed", words=f"{name}={value:g}", coefficients=replace(USUAL, **{name: value})
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class Row:
    """What a row of a machine left, and the scenario that it really had."""

    run: Run
    of: Scenario
    spacing: float  # that the person plans and the monitor expects, m

    @property
    def loads(self) -> NDArray[np.int64]:
        """Seeds of each cell as they leave the meter."""
        return np.bincount(self.run.seeds.cell, minlength=len(self.run.cells))

    @property
    def pulses(self) -> NDArray[np.int64]:
        """Pulses of the sensor by cell."""
        seeds = self.run.seeds
        return np.bincount(seeds.cell[seeds.seen], minlength=len(self.run.cells))

    @property
    def pulse_times(self) -> NDArray[np.float64]:
        """Times of the pulses, in order. [s]"""
        return np.sort(self.run.seeds.sensor_time[self.run.seeds.seen])

    def monitored(self, first: float = 0.0, last: float = math.inf) -> NDArray[np.int64]:
        """Seeds by place as a monitor shows them, from spacings between two times. [s]"""
        times = self.pulse_times
        times = times[(times >= first) & (times < last)]
        spaces = np.diff(times) * self.of.demand.speed / self.spacing
        return np.asarray(loads_of_spacings(spaces))

    @property
    def spaces(self) -> NDArray[np.float64]:
        """Distances of the seeds in the furrow over the planned ones. [1]"""
        return np.asarray(np.diff(np.sort(self.run.seeds.position)) / self.spacing)

    @property
    def used(self) -> float:
        """Seeds on a length over those that were planned. [1]"""
        at = np.sort(self.run.seeds.position)
        if len(at) < 2:
            return 0.0
        return float((len(at) - 1) * self.spacing / (at[-1] - at[0]))


@dataclass(frozen=True, eq=False, kw_only=True)
class Shown:
    """What a machine shows: its rows, and its gauge."""

    rows: Sequence[Row]
    gauge: float  # Pa


def real(case: Case, build: Build, *, wrong: bool, more: Sequence[str] = ()) -> Scenario:
    """The machine with its coefficients, with its fault or without."""
    changes = [*case.machine, *(case.wrong if wrong else ()), *more]
    made = m.load_scenario(case.scenario, changes)
    factors = case.factors if wrong else {}
    values = {name: getattr(build.coefficients, name) * by for name, by in factors.items()}
    values = {name: min(value, _most(name)) for name, value in values.items()}
    made = replace(made, coefficients=replace(build.coefficients, **values))
    unknown_slip = made.drive.slip - case.stated().drive.slip
    if unknown_slip > 0:  # the rate is set for the slip that is known
        made = made.replace(demand__rate=made.demand.rate * (1 - unknown_slip))
    return made


def _most(name: str) -> float:
    high = specs(Coefficients)[name].high
    assert high is not None
    return high


def on_bench(case: Case, build: Build, row: int, *, wrong: bool) -> Scenario:
    """A row's meter on a bench: without the machine's fan, hoses, drive and slope."""
    own, said = [], [*case.machine, *(case.wrong if wrong else ())]
    for change in said:
        key, _, value = change.partition("=")
        if key.startswith("rows."):
            if key == f"rows.{row}" and case.truth != "hose leak":  # the hose stays behind
                own += [one.strip() for one in value.strip('"').split(";")]
        elif key not in ON_TOOLBAR and not key.startswith(AROUND):
            own.append(change)
    fan = BENCH_FAN if case.stated().is_toolbar else ()
    plain = replace(case, machine=own, wrong=())
    bench = real(plain, build, wrong=False, more=[*BENCH, *fan])
    if wrong and case.factors:
        bench = replace(bench, coefficients=real(case, build, wrong=True).coefficients)
    return bench


def show(scenario: Scenario, build: Build, spacing: float, *, seed: int, cells: int) -> Shown:
    """Run a machine for some cells of each row, and look at it."""
    made = scenario.replace(run__turns=2 + math.ceil(cells / scenario.disc.cells))
    if not made.is_toolbar:
        run = m.simulate(made, seed=seed, stations=dict(build.stations) or None)
        return Shown(rows=[Row(run=run, of=made, spacing=spacing)], gauge=made.vacuum.vacuum)
    done = m.simulate_pass(made, seed=seed)
    rows = [Row(run=one.run, of=one.run.scenario, spacing=spacing) for one in done.rows]
    return Shown(rows=rows, gauge=float(done.air.reading[-1]))
