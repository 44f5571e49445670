"""Scatter of seeds along the row, which decides where they lie close to one another."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from metersim.distributions.quantiles import stdtrit
from metersim.machine.scenario import Scenario
from metersim.measures.intervals import LEVEL_TOTAL, Estimate
from metersim.questions.shared.unknowns import draw_places
from metersim.run.records import Run
from metersim.run.simulation import simulate

SCATTER_CELLS = 1_500  # cells of the run of a draw


def scatter_of(run: Run) -> float:
    """SD of a seed's place along the row, from neighbours that are single seeds. [m]

    Notes
    -----
    The distance of seeds of consecutive cells has the SD ``sqrt(2) sigma``, with the scatter sigma.
    Skips and doubles have no part in it, nor has the order in which seeds lie.  nan where no
    two consecutive cells have one seed each.
    """
    cells, positions = run.seeds.cell, run.seeds.position
    alone = np.bincount(cells)[cells] == 1
    order = np.argsort(cells[alone], kind="stable")
    cells, positions = cells[alone][order], positions[alone][order]
    apart = np.diff(positions)[np.diff(cells) == 1]
    return float(np.std(apart, ddof=1)) / math.sqrt(2) if len(apart) > 1 else math.nan


def scatter_spread(scenario: Scenario, *, seed: int, draws: int) -> Estimate:
    """Scatter with its total interval, over draws of the uncertain inputs and the machine. [m]

    Parameters
    ----------
    scenario : Scenario
        Scenario with any number of uncertain inputs.
    seed : int
        Random seed of draws and runs.
    draws : int
        Number of draws, 2 or more.

    Notes
    -----
    On the logarithmic scale the ends lie ``t sqrt(V (1 + 1/n) + d^2)`` from the mean.  V is the
    variance over n draws, which holds the sampling error of their runs.  d is the relative SD of
    the model's discrepancy, and t Student's quantile of n - 1.
    """
    found, posterior = [], scenario.posterior
    for k, places in enumerate(draw_places(scenario.unknown, draws, seed).tolist()):
        drawn = replace(scenario.drawn(places), coefficients=posterior.draw(k))
        drawn = drawn.lasting(SCATTER_CELLS)
        value = scatter_of(simulate(drawn, seed=seed, replicate=1 + k))
        found.append(math.log(value) + posterior.shift(k).spread if value > 0 else math.nan)
    logs = np.array(found)
    logs = logs[~np.isnan(logs)]
    if len(logs) < 2:
        return Estimate(math.nan, math.nan, math.nan)
    variance = float(np.var(logs, ddof=1)) * (1 + 1 / len(logs)) + posterior.spread_sd**2
    wide = float(stdtrit(len(logs) - 1, (1 + LEVEL_TOTAL) / 2)) * math.sqrt(variance)
    middle = float(np.mean(logs))
    return Estimate(math.exp(middle), math.exp(middle - wide), math.exp(middle + wide))
