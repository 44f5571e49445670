"""What many machines show at a setting, from runs of some of them.

A run of each machine takes too long.  So some machines are run, and a smooth function of their
coefficients predicts the others.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.machine.scenario import Scenario
from metersim.measures.observed import observed_spacings
from metersim.measures.spacing import classes_of
from metersim.questions.learn.machines import Machines, near
from metersim.questions.shared.looks import BELT, DISC, SENSOR, Rates, kept_full, loads, rates_of
from metersim.run.parallel import in_order
from metersim.run.simulation import simulate

SPACINGS = "spacings"
WAYS = (BELT, SENSOR, DISC, SPACINGS)
FEW = "few"
SEVERAL = "several"
SPREAD = "spread"
PARTS = (FEW, SEVERAL, SPREAD)
"""What is predicted: skips or misses, doubles or multiples, and the SD of normal spacings."""
FEWEST_NORMAL = 10  # normal spacings of a run, for their SD
PENALTIES = np.logspace(-5, 4, 28)
BENDS = (0.25, 0.03, 0.0)  # prior variance of a bend over that of a slope
WIDEST = 12  # columns up to which products of two columns are used

Floats = NDArray[np.float64]


def angle_of(events: ArrayLike, cells: float) -> Floats:
    """Angle ``asin sqrt(share)`` of a share of counts, with 3/8 added to both kinds (Anscombe)."""
    found: Floats = np.arcsin(np.sqrt((np.asarray(events) + 0.375) / (cells + 0.75)))
    return found


@dataclass(frozen=True)
class Shown:
    """What one run shows in one way of looking.

    Attributes
    ----------
    values : tuple of float
        Angles of few and of several, and the logarithm of the SD of normal spacings.
    variances : tuple of float
        Their sampling variances.
    effect : float
        Variance of counts over that of independent cells, 1 or more.
    """

    values: tuple[float, float, float]
    variances: tuple[float, float, float]
    effect: float


def shown_of(rates: Rates, spread: tuple[float, float] = (np.nan, np.nan)) -> Shown:
    """What rates of events show, with the logarithm of a spread and its variance."""
    angles = [float(angle_of(one * rates.cells, rates.cells)) for one in (rates.skip, rates.double)]
    effects = [max(one, 1.0) for one in (rates.skip_effect, rates.double_effect)]
    variances = [one / (4 * rates.cells) for one in effects]
    return Shown(
        values=(angles[0], angles[1], spread[0]),
        variances=(variances[0], variances[1], spread[1]),
        effect=max(effects),
    )


def log_spread(normal: Floats) -> tuple[float, float]:
    """Logarithm of the SD of normal spacings over the nominal one, and its sampling variance."""
    if len(normal) < FEWEST_NORMAL or not np.ptp(normal) > 0:
        return np.nan, np.nan
    apart = normal - normal.mean()
    second, fourth = float(np.mean(apart**2)), float(np.mean(apart**4))
    peaked = max(fourth / second**2, 1.2)
    return 0.5 * float(np.log(second)), (peaked - 1) / (4 * len(normal))


def show(job: tuple[Scenario, int, int]) -> dict[str, Shown]:
    """What a run of a scenario shows, by way of looking; takes scenario, seed and replicate."""
    scenario, seed, replicate = job
    run = simulate(scenario, seed=seed, replicate=replicate)
    found = {way: shown_of(rates_of(loads(run, way))) for way in (BELT, SENSOR, DISC)}
    ratio = observed_spacings(run) / scenario.spacing
    kind = classes_of(ratio)
    as_loads = np.select([kind == 0, kind == 1], [2, 1], 0).astype(np.int64)  # as if of cells
    if len(ratio) > FEWEST_NORMAL:
        found[SPACINGS] = shown_of(rates_of(as_loads), log_spread(ratio[kind == 1]))
    return found


@dataclass(frozen=True, eq=False)
class Fit:
    """A smooth function of machines for one quantity.

    Attributes
    ----------
    features : callable
        Features of points.
    slopes : ndarray
        Their factors.
    error : float
        SD of the error at a machine that was not run; infinite when too few runs show anything.
    """

    features: Callable[[Floats], Floats]
    slopes: Floats
    error: float

    def __call__(self, points: Floats) -> Floats:
        """Predictions at points."""
        found: Floats = self.features(points) @ self.slopes
        return found


def _features(points: Floats, middle: Floats, size: Floats) -> Floats:
    z = (points[:, : len(middle)] - middle) / size  # shifts stand behind
    parts = [np.ones((len(z), 1)), z]
    if z.shape[1] <= WIDEST:
        one, other = np.triu_indices(z.shape[1])
        parts.append(z[:, one] * z[:, other])
    else:
        parts.append(z**2)
    return np.concatenate(parts, axis=1)


def fit(points: Floats, values: Floats, variances: Floats) -> Fit:
    """A function with slopes and bends, with the penalty that predicts left-out runs best.

    Parameters
    ----------
    points : ndarray, shape (runs, columns)
        Machines that were run.
    values, variances : ndarray, shape (runs,)
        What they showed, and its sampling variance; runs with nan are left out.

    Notes
    -----
    A penalised regression (ridge).  The error of each run left out follows in closed form from
    ``residual/(1 - h)``, with the run's leverage h.  Its mean square less that of the sampling is
    the error of the function at other machines; the sampling error of the function is the least.
    """
    known = np.isfinite(values) & np.isfinite(variances)
    points, values, variances = points[known], values[known], variances[known]
    if len(values) < 4:
        level = float(values.mean()) if len(values) else np.nan
        return Fit(lambda x: np.ones((len(x), 1)), np.array([level]), np.inf)
    middle, size = points.mean(axis=0), points.std(axis=0)
    size = np.where(size > 0, size, 1.0)
    table, wide = _features(points, middle, size), points.shape[1]
    mean = values.mean()
    best: tuple[float, float, Floats] = (np.inf, 1.0, np.zeros(table.shape[1]))
    for bend in BENDS:
        prior = np.full(table.shape[1], bend)
        prior[0], prior[1 : 1 + wide] = 1e4, 1.0
        root = table * np.sqrt(prior)
        left, sizes, right = np.linalg.svd(root, full_matrices=False)
        turned = left.T @ (values - mean)
        for penalty in PENALTIES * float(np.median(variances) / max(values.var(), 1e-300)) * 10:
            kept = sizes**2 / (sizes**2 + penalty)
            leverage = (left**2) @ kept
            apart = (values - mean - left @ (kept * turned)) / (1 - leverage).clip(min=1e-3)
            score = float(np.mean(apart**2))
            if score < best[0]:
                slopes = np.sqrt(prior) * (right.T @ (sizes / (sizes**2 + penalty) * turned))
                slopes[0] += mean
                best = score, float(leverage.mean()), slopes
    noise = float(variances.mean())
    error = max(best[0] - noise, best[1] * noise)
    return Fit(lambda x: _features(x, middle, size), best[2], error**0.5)


@dataclass(frozen=True, eq=False)
class Emulator:
    """What any machine shows at one setting, by way of looking.

    Attributes
    ----------
    fits : mapping of (str, str) to Fit
        Functions by way and part.
    effects : mapping of str to float
        Mean variance of counts over that of independent cells, by way.
    alike : float
        Part of a machine's shifts that holds at the setting, see
        `metersim.questions.learn.machines.near`. [1]
    """

    fits: Mapping[tuple[str, str], Fit]
    effects: Mapping[str, float]
    alike: float = 1.0

    def error(self, way: str, part: str) -> float:
        """SD of the error of a prediction."""
        return self.fits[way, part].error

    def __call__(self, way: str, part: str, points: Floats) -> Floats:
        """Angles, or logarithms of a spread, of machines."""
        return self.fits[way, part](points)


Shows = list[list[dict[str, Shown]]]
"""What runs showed, by setting and machine."""


def run_all(
    machines: Machines,
    settings: Sequence[Scenario],
    points: Floats,
    *,
    cells: int,
    seed: int,
    first: int = 0,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> Shows:
    """What a run of each machine shows at each setting.

    Parameters
    ----------
    machines : Machines
        Meaning of the points.
    settings : sequence of Scenario
        Settings of the meter.
    points : ndarray, shape (runs, columns)
        Machines to run.
    cells, seed, first : int
        Cells of each run, its random seed, and the replicate of the first machine.
    executor : Executor, optional
        Executor of the runs.
    on_run : callable, optional
        Called with 1 for each finished run.
    """
    jobs = [
        (kept_full(one, cells), seed, first + k)
        for setting in settings
        for k, one in enumerate(machines.scenarios(setting, points))
    ]
    done = []
    for result in in_order(show, jobs, executor):
        done.append(result)
        if on_run:
            on_run(1)
    results = iter(done)
    return [[next(results) for _ in points] for _ in settings]


def emulators(
    machines: Machines,
    settings: Sequence[Scenario],
    points: Floats,
    shows: Shows,
    ways: Sequence[str] = WAYS,
) -> list[Emulator]:
    """Emulators of some settings, from what machines showed there.

    Parameters
    ----------
    machines : Machines
        Meaning of the points.
    settings : sequence of Scenario
        Settings of the meter.
    points : ndarray, shape (runs, columns)
        Machines that were run.
    shows : list of list of dict
        What they showed, as `run_all` gives it.
    ways : sequence of str
        Ways of looking that are needed.
    """
    return [
        _emulator(points[:, : machines.seen], rows, ways, near(setting, machines.scenario))
        for setting, rows in zip(settings, shows, strict=True)
    ]


def _emulator(
    points: Floats, rows: Sequence[Mapping[str, Shown]], ways: Sequence[str], alike: float
) -> Emulator:
    fits, effects = {}, {}
    for way in ways:
        shown = [row.get(way) for row in rows]
        made = [one for one in shown if one is not None]
        effects[way] = float(np.mean([one.effect for one in made])) if made else 1.0
        for k, part in enumerate(PARTS):
            if part == SPREAD and way != SPACINGS:
                continue
            values = np.array([one.values[k] if one else np.nan for one in shown])
            variances = np.array([one.variances[k] if one else np.nan for one in shown])
            fits[way, part] = fit(points, values, variances)
    return Emulator(fits, effects, alike)
