"""What possible meters show at any of some settings, from runs of a few of them.

A run of each possible meter takes too long.  So some are run, spread over faults, machines and
settings, and a smooth function predicts the others.  A notch, a step of vacuum or of the gate, and
a fault of each, move the same quantity.  So one function serves faults and moves alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from metersim.files.faults import BadInput, bad
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.measures.scales import ANGLE
from metersim.questions.next.hypotheses import Points
from metersim.questions.next.possible import Machines
from metersim.questions.shared.hidden import LEAST_EDGE
from metersim.questions.shared.looks import KINDS, kept_full, loads_at, rates_of
from metersim.run.parallel import in_order

Floats = NDArray[np.float64]

RUNS, CELLS = 200, 1000  # runs of possible meters, and cells of each
FEWEST = 30  # runs from which anything is predicted
CHUNK = 20  # runs of a job
OTHERS = ("demand__speed", "disc__hole_diameter")
"""Further settings in which counts may differ from the present ones."""
STARTS = {"reach": 2.0, "machine": 0.5, "own": 0.5}
"""Where the search for the smoothness begins: reach of a coordinate in its SDs; size of what
machines make of it, over that of the coordinates; what is a machine's own, over the sampling."""
STEPS = 12  # of the search
BINS = 5  # of angles, each with its own error
LEAST_ERROR = 0.05  # least variance of an error, over the sampling variance of a run


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
class Curve:
    """A smooth function of true settings and machines, for one kind of cell in one way of looking.

    Attributes
    ----------
    rows, traits : ndarray, shape (runs, columns)
        True settings and traits of the machines that were run, scaled.
    pull : ndarray, shape (runs,)
        Weight of each run.
    mean : float
        Mean angle. [rad]
    reach : ndarray, shape (columns,)
        Distance, in scaled columns, over which the function changes.
    machine : float
        Size of what traits make of a setting, over that of the settings. [1]
    error : tuple of ndarray, shape (bins,)
        Angles, and SD of the error near each at a machine that was not run. [rad]
    """

    rows: Floats
    traits: Floats
    pull: Floats
    mean: float
    reach: Floats
    machine: float
    error: tuple[Floats, Floats]

    def __call__(self, rows: Floats, traits: Floats) -> Floats:
        """Angles of meters. [rad]"""
        alike = _kernel(rows, traits, self.rows, self.traits, self.reach, self.machine)
        return np.asarray(self.mean + alike @ self.pull).clip(0.0, math.pi / 2)


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
        return self.curves[way, kind]((there.table - self.middle) / self.scale, traits)

    def error(self, way: str, kind: str, angles: Floats) -> Floats:
        """SD of the error of angles, which a meter has at all settings. [rad]"""
        return np.interp(angles, *self.curves[way, kind].error)


def run_surface(
    base: Scenario,
    settings: Sequence[Scenario],
    points: Points,
    machines: Machines,
    ways: Sequence[str],
    *,
    seed: int,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Surface:
    """Run possible meters, each at one of some settings, and fit what they show.

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

    Raises
    ------
    BadInput
        When too few of the meters can be run.
    """
    one_by_one = [(setting, np.array([k])) for k, setting in enumerate(settings)]
    rows = np.array([where(s, points.of(k), machines.at(k)).table[0] for s, k in one_by_one])
    jobs = [
        (base, rows[k : k + CHUNK], machines.at(np.arange(len(rows))[k : k + CHUNK]), ways, seed, k)
        for k in range(0, len(rows), CHUNK)
    ]
    shown: list[Floats] = []
    for part in in_order(_run_chunk, jobs, executor):
        shown += part
        if on_run:
            on_run(len(shown))
    table = np.array(shown)  # runs, ways, kinds, (share, effect, cells)
    right = np.isfinite(table[:, 0, 0, 0])
    if right.sum() < min(FEWEST, len(rows)):
        raise bad(base.name, "", "no meter near these settings can be run")
    rows, table, traits = rows[right], table[right], machines.traits[right]
    middle, scale = rows.mean(axis=0), rows.std(axis=0)
    scale = np.where(scale > 1e-12 * np.abs(middle), scale, 1.0)
    scaled = (rows - middle) / scale
    curves, effects = {}, {}
    start: dict[str, Floats] = {}
    for j, way in enumerate(ways):
        for i, kind in enumerate(KINDS):
            share, effect, cells = table[:, j, i].T
            effect = effect.clip(min=1.0)
            effects[way, kind] = float(np.median(effect))
            values = ANGLE.to((share * cells + 0.375) / (cells + 0.75))
            # the first way finds how smooth each kind is; others see the same cells
            found, start[kind] = _fit(scaled, traits, values, effect / (4 * cells), start.get(kind))
            curves[way, kind] = found
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


def _kernel(
    rows: Floats, traits: Floats, others: Floats, more: Floats, reach: Floats, machine: float
) -> Floats:
    """Likeness of meters: near in true settings, and alike in traits where machines matter."""
    a, b = rows / reach, others / reach
    apart = (a**2).sum(1)[:, None] + (b**2).sum(1)[None] - 2 * a @ b.T
    near = np.exp(-apart.clip(min=0.0) / 2)
    if not traits.shape[1]:
        return np.asarray(near)
    return np.asarray(near * (1 + machine * (traits @ more.T) / traits.shape[1]))


def _fit(
    rows: Floats, traits: Floats, values: Floats, variances: Floats, start: Floats | None
) -> tuple[Curve, Floats]:
    """A Gaussian process through values of runs, and how smooth it is.

    Notes
    -----
    Source: rasmussen2006.  Likeness is ``exp(-d^2/2) (1 + w t . t'/n)``: of distances d in true
    settings, and of n traits t of the machines.  Its size, reach and w, and the share of a
    machine's own, have the greatest likelihood.  The error of each run left out follows in closed
    form, ``(K^-1 y)_i / (K^-1)_ii``.  Its mean square less the sampling variance is the error at
    other machines.
    """
    live = np.ptp(rows, axis=0) > 0
    mean, noise = float(values.mean()), float(variances.mean())
    y = values - mean
    size = max(float(y.var()) - noise, 0.1 * noise)

    def parts(x: Floats) -> tuple[Floats, float, float, float]:
        reach = np.ones(rows.shape[1])
        reach[live] = np.exp(x[3:])
        size_, machine, own = np.exp(x[:3])
        return reach, float(size_), float(machine), float(own)

    def covariance(x: Floats) -> tuple[Floats, Floats]:
        reach, size_, machine, own = parts(x)
        alike = size_ * _kernel(rows, traits, rows, traits, reach, machine)
        return alike, alike + np.diag(variances + own * noise)

    def unlikely(x: Floats) -> float:
        try:
            factor = cho_factor(covariance(x)[1], lower=True)
        except np.linalg.LinAlgError:
            return 1e10
        fit = y @ cho_solve(factor, y)
        # reaches far from those of like meters are unlikely (assumption)
        usual = ((x - first) ** 2).sum() / 2
        return float(fit / 2 + np.log(np.diag(factor[0])).sum() + usual)

    first = np.concatenate(
        [
            np.log([size, STARTS["machine"], STARTS["own"]]),
            np.full(int(live.sum()), np.log(STARTS["reach"])),
        ]
    )
    best = start
    if best is None:
        best = minimize(unlikely, first, method="L-BFGS-B", options={"maxiter": STEPS}).x
    reach, size_, machine, _ = parts(best)
    factor = cho_factor(covariance(best)[1], lower=True)
    inverse = cho_solve(factor, np.eye(len(y)))
    pull = inverse @ y
    apart = pull / np.diag(inverse)
    curve = Curve(
        rows, traits, size_ * pull, mean, reach, machine, _errors(values - apart, apart, variances)
    )
    return curve, best


def _errors(angles: Floats, apart: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Predicted angles of runs left out, in bins, and the SD of the error in each bin."""
    order = np.array_split(np.argsort(angles), BINS)
    middle = np.array([angles[some].mean() for some in order])
    square = np.array([np.mean(apart[some] ** 2) - variances[some].mean() for some in order])
    least = np.array([LEAST_ERROR * variances[some].mean() for some in order])
    return middle, np.sqrt(np.maximum(square, least))
