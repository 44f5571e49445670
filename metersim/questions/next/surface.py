"""What possible meters show at any of some settings, from runs of a few of them.

A run of each possible meter takes too long.  So some are run, spread over faults, machines and
settings, and a smooth function predicts the others.  A notch, a step of vacuum or of the gate, and
a fault of each, move the same quantity.  So one function serves faults and moves alike.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, bad
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.measures.scales import ANGLE
from metersim.questions.next.hypotheses import Points
from metersim.questions.next.possible import Machines
from metersim.questions.next.smooth import Curve, curve_of, smoothest, usual_logs
from metersim.questions.shared.hidden import LEAST_EDGE
from metersim.questions.shared.looks import KINDS, kept_full, loads_at, rates_of
from metersim.run.parallel import in_order

Floats = NDArray[np.float64]

RUNS, CELLS = 160, 1000  # runs of possible meters, and cells of each
FEWEST = 30  # runs from which anything is predicted
CHUNK = 20  # runs of a job
OTHERS = ("demand__speed", "disc__hole_diameter")
"""Further settings in which counts may differ from the present ones."""


@dataclass(frozen=True, eq=False)
class Where:
    """True settings of possible meters: what a fault and a move both change.

    Attributes
    ----------
    size : ndarray, shape (points,)
        Factor on seed size. [1]
    vacuum : ndarray, shape (points,)
        At the hole. [Pa]
    edge : ndarray, shape (points,)
        Position of the singulator, in notches of a scale that is right.
    gate : ndarray, shape (points,)
        Opening that gives the level of the pool. [m]
    others : ndarray, shape (points, OTHERS)
        Speed [m/s] and diameter of the holes [m].
    """

    size: Floats
    vacuum: Floats
    edge: Floats
    gate: Floats
    others: Floats

    @property
    def table(self) -> Floats:
        """All of them as columns."""
        return np.column_stack([self.size, self.vacuum, self.edge, self.gate, self.others])


def where(meter: Scenario, points: Points, machines: Machines) -> Where:
    """True settings of possible meters behind the settings of a scenario.

    A setting that is given as a range has its own value on every machine.
    """

    def set_(name: str) -> Floats:
        section, field = name.split("__")
        value = float(getattr(getattr(meter, section), field))
        return np.asarray(value + machines.offset(name) + np.zeros(len(points)))

    return Where(
        points.size,
        set_("vacuum__vacuum") * points.vacuum,
        set_("singulator__notch") + points.edge,
        set_("pool__gate_opening") * points.gate,
        np.column_stack([set_(name) for name in OTHERS]),
    )


def placed(base: Scenario, row: Floats) -> Scenario:
    """A scenario with true settings, a row of `Where.table`, kept within the allowed ranges."""
    size, vacuum, edge, gate, *others = (float(one) for one in row)
    step, notch = base.singulator.notch_step, base.singulator.notch
    wanted: dict[str, Any] = {
        "seed__size_factor": base.seed.size_factor * size,
        "vacuum__vacuum": vacuum,
        "singulator__gap": max(
            base.singulator.gap - step * (edge - notch), step * notch + LEAST_EDGE
        ),
        "pool__gate_opening": gate,
        **dict(zip(OTHERS, others, strict=True)),
    }
    fields = all_fields()
    for name, value in wanted.items():
        section, field = name.split("__")
        spec = fields[section, field]
        wanted[name] = min(max(value, spec.low), spec.high)
    return base.replace(**wanted)


@dataclass(frozen=True, eq=False)
class Runs:
    """Runs of possible meters, and what they showed.

    Attributes
    ----------
    rows : ndarray, shape (runs, columns)
        True settings, rows of `Where.table`.
    traits : ndarray, shape (runs, traits)
        Traits of the machines.
    shown : ndarray, shape (runs, ways, kinds, 3)
        Share, design effect and number of cells.
    tried : int
        Number of meters that were tried; some of them cannot be.
    """

    rows: Floats
    traits: Floats
    shown: Floats
    tried: int


@dataclass(frozen=True, eq=False)
class Surface:
    """Shares of skips and doubles of possible meters, by way of looking.

    Attributes
    ----------
    curves : mapping of (str, str) to Curve
        Functions by way and kind.
    effects : mapping of (str, str) to float
        Mean variance of counts over that of independent cells. [1]
    middle, scale : ndarray, shape (columns,)
        Middle and SD of the true settings that were run.
    """

    curves: Mapping[tuple[str, str], Curve]
    effects: Mapping[tuple[str, str], float]
    middle: Floats
    scale: Floats

    def angles(self, way: str, kind: str, there: Where, traits: Floats) -> Floats:
        """Angles ``asin sqrt(share)`` of the shares of a kind of cell, by meter. [rad]"""
        scaled = (there.table - self.middle) / self.scale
        return self.curves[way, kind](np.concatenate([scaled, traits], axis=1))

    def error(self, way: str, kind: str, angles: Floats) -> Floats:
        """SD of the error of angles, which a meter has at all settings. [rad]"""
        return np.interp(angles, *self.curves[way, kind].error)


def run_meters(
    base: Scenario,
    settings: Sequence[Scenario],
    points: Points,
    machines: Machines,
    ways: Sequence[str],
    *,
    seed: int,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Runs:
    """Run possible meters, each at one of some settings.

    Parameters
    ----------
    base : Scenario
        Present settings.
    settings : sequence of Scenario
        One setting for each run.
    points : Points
        The meters to run, one for each run.
    machines : Machines
        Their machines.
    ways : sequence of str
        Ways of looking.
    seed : int
        Random seed of the runs.
    executor : Executor, optional
        Executor of the runs; by default they run in this process.
    on_run : callable, optional
        Function that takes the number of finished runs.
    """
    one_by_one = [(setting, np.array([k])) for k, setting in enumerate(settings)]
    rows = np.array([where(s, points.of(k), machines.at(k)).table[0] for s, k in one_by_one])
    numbers = np.arange(len(rows))
    jobs = [
        (base, rows[k : k + CHUNK], machines.at(numbers[k : k + CHUNK]), ways, seed, k)
        for k in range(0, len(rows), CHUNK)
    ]
    shown: list[Floats] = []
    for part in in_order(_run_chunk, jobs, executor):
        shown += part
        if on_run:
            on_run(len(shown))
    table = np.array(shown)
    right = np.isfinite(table[:, 0, 0, 0])
    return Runs(rows[right], machines.traits[right], table[right], len(rows))


def surface_of(base: Scenario, runs: Runs, ways: Sequence[str]) -> Surface:
    """Fit what runs of possible meters showed.

    Parameters
    ----------
    base : Scenario
        Present settings, named where nothing can be fitted.
    runs : Runs
        The runs.
    ways : sequence of str
        Ways of looking, as of the runs.

    Raises
    ------
    BadInput
        When too few of the meters could be run.
    """
    if len(runs.rows) < min(FEWEST, runs.tried):
        raise bad(base.name, "", "no meter near these settings can be run")
    middle, scale = runs.rows.mean(axis=0), runs.rows.std(axis=0)
    scale = np.where(scale > 1e-12 * np.abs(middle), scale, 1.0)
    places = np.concatenate([(runs.rows - middle) / scale, runs.traits], axis=1)
    curves, effects = {}, {}
    found: dict[str, Floats] = {}
    for j, way in enumerate(ways):
        for i, kind in enumerate(KINDS):
            share, effect, cells = runs.shown[:, j, i].T
            effect = effect.clip(min=1.0)
            effects[way, kind] = float(np.median(effect))
            values = ANGLE.to((share * cells + 0.375) / (cells + 0.75))
            variances = effect / (4 * cells)
            if kind not in found:  # the first way finds how smooth it is; others see the same cells
                first = usual_logs(places, len(middle), values, variances)
                found[kind] = smoothest(places, values, variances, first, first[0])
            curves[way, kind] = curve_of(places, values, variances, found[kind])
    return Surface(curves, effects, middle, scale)


def _run_chunk(
    job: tuple[Scenario, Floats, Machines, Sequence[str], int, int],
) -> list[Floats]:
    base, rows, machines, ways, seed, first = job
    found = []
    for k, row in enumerate(rows):
        shown = np.full((len(ways), len(KINDS), 3), np.nan)
        try:
            meter = kept_full(placed(machines.of(k, base), row), CELLS)
            loads = loads_at(meter, ways, seed=seed, replicate=first + k)
        except BadInput:  # inputs that contradict one another
            found.append(shown)
            continue
        for j, way in enumerate(ways):
            rates = rates_of(loads[way])
            shown[j] = [
                (getattr(rates, kind), getattr(rates, f"{kind}_effect"), rates.cells)
                for kind in KINDS
            ]
        found.append(shown)
    return found
