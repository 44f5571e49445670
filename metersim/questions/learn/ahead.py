"""What to count next: how much each of a few counts is expected to narrow the predictions."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.questions.learn.emulate import SPACINGS, emulators, run_all
from metersim.questions.learn.seen import Seen, settings_of
from metersim.questions.learn.weigh import (
    Expected,
    Weighed,
    expected,
    log_chance,
    simulated,
    weights_of,
)
from metersim.questions.shared.looks import BELT
from metersim.questions.shared.settings import Steps, can_move, moved, steps_text
from metersim.run.streams import Streams

COUNT, LONG, STRIP = 500, 2_000, 250  # cells of a count and of a long one, spacings of a strip
FEWEST_RUNS = 20  # of machines at each setting that could be tried
TRUTHS = 48  # machines that stand for the true one
TRIED = 1_000  # machines among which each of them is looked for
MOVES: tuple[Steps, ...] = (
    {"notch": 1},
    {"notch": -1},
    {"vacuum": 2},
    {"vacuum": -2},
    {"speed": 2},
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trial:
    """A count that could be made.

    Attributes
    ----------
    steps : mapping of str to int
        Steps of settings from those of the scenario; empty for the scenario's own.
    would : Seen
        Settings, way and number of cells; its counts have no meaning.
    """

    steps: Steps
    would: Seen

    def words(self, units: str = "metric") -> str:
        """The count in words."""
        many = f"{self.would.cells:,}"
        what = f"measure {many} spacings" if self.would.way == SPACINGS else f"count {many} cells"
        where = steps_text(self.steps, units) if self.steps else "at these settings"
        return f"{what}, {where}"


@dataclass(frozen=True, eq=False)
class Ahead:
    """Expected gain of a count.

    Attributes
    ----------
    trial : Trial
        The count.
    narrows : mapping of str to float
        Part by which it is expected to narrow each prediction at the scenario's settings: by how
        much the SD falls. [1]
    """

    trial: Trial
    narrows: Mapping[str, float]

    @property
    def gain(self) -> float:
        """Mean of the narrowings over the predictions. [1]"""
        return float(np.mean(list(self.narrows.values())))


def candidates(scenario: Scenario) -> list[Trial]:
    """Counts that could be made: here, and with one setting moved."""

    def trial(steps: Steps, way: str, cells: int) -> Trial:
        there = moved(scenario, steps) if steps else scenario
        return Trial(steps, Seen(scenario=there, way=way, cells=cells, few=0, several=0))

    possible = [steps for steps in MOVES if can_move(scenario, steps)]
    made = [trial({}, BELT, COUNT), trial({}, BELT, LONG), trial({}, SPACINGS, STRIP)]
    made += [trial(steps, BELT, COUNT) for steps in possible]
    return made + [trial(steps, SPACINGS, STRIP) for steps in possible if "speed" in steps]


def look_ahead(
    found: Weighed,
    trials: Sequence[Trial],
    values: Mapping[str, Floats],
    *,
    seed: int,
    runs: int,
    cells: int,
    executor: Executor | None = None,
    on_run: Callable[[int], object] | None = None,
) -> tuple[Ahead, ...]:
    """Expected narrowing of the predictions by each of some counts, the best first.

    Parameters
    ----------
    found : Weighed
        Machines that explain what was seen.
    trials : sequence of Trial
        Counts that could be made.
    values : mapping of str to ndarray, shape (drawn,)
        Predictions of each machine, on the scales of shares and spreads.
    seed, runs, cells, executor, on_run
        As for `metersim.questions.learn.weigh.weigh`; half of the machines are run.

    Notes
    -----
    A likely machine is taken as the true one, and its count is simulated.  The other machines are
    weighed by that count, and the SD of each prediction is compared with the one before.  The mean
    over true machines is the expected narrowing.
    """
    believed = found.machines
    streams = Streams(seed)
    edges = np.cumsum(found.weights)
    places = (np.arange(TRIED) + 0.5) / TRIED * edges[-1]
    some = np.searchsorted(edges, places).clip(max=len(edges) - 1)
    points = found.points[some]
    truths = streams.generator("learn truths").permutation(TRIED)[:TRUTHS]
    settings = settings_of([one.would for one in trials])
    known = dict(zip(range(len(found.settings)), found.emulators, strict=True))
    new = [one for one in settings if one not in found.settings]
    runs = max(runs // 2, FEWEST_RUNS)
    design = points[:: max(TRIED // runs, 1)][:runs]
    shows = run_all(believed, new, design, cells=cells, seed=seed, executor=executor, on_run=on_run)
    made = emulators(believed, new, design, shows, sorted({one.would.way for one in trials}))
    results = []
    for number, trial in enumerate(trials):
        would = trial.would
        if would.scenario in new:
            emulator = made[new.index(would.scenario)]
        else:
            emulator = known[list(found.settings).index(would.scenario)]
        rng = streams.generator(f"learn ahead {number}")
        shown = expected(believed, emulator, would.way, points)
        weights = np.array(
            [weights_of(log_chance(shown, one)) for one in _counts(shown, would, truths, rng)]
        )
        narrows = {name: _narrowed(part[some], weights) for name, part in values.items()}
        results.append(Ahead(trial, narrows))
    return tuple(sorted(results, key=lambda one: -one.gain))


def _counts(
    shown: Expected, would: Seen, truths: NDArray[np.int64], rng: np.random.Generator
) -> list[Seen]:
    """A simulated count of each machine that stands for the true one."""
    few, several = (part[truths] for part in simulated(shown, would.cells, rng))
    counts = [
        replace(would, few=int(one), several=int(other))
        for one, other in zip(few, several, strict=True)
    ]
    if would.way != SPACINGS:
        return counts
    variance = 1 / (2 * would.cells)
    rest = math.sqrt(variance + shown.variance)
    spreads = shown.spread[truths] + rest * rng.standard_normal(len(truths))
    return [
        replace(one, spread=float(spread), variance=variance)
        for one, spread in zip(counts, spreads, strict=True)
    ]


def _narrowed(values: Floats, weights: Floats) -> float:
    """Part by which the SD falls, with the mean variance over true machines."""
    old = float(values.var())
    means = weights @ values
    left = float(np.mean(weights @ values**2 - means**2))
    return 1 - (left / old) ** 0.5 if old > 0 else 0.0
