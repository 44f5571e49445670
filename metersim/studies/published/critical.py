"""The vacuum at which a given share of the cells leaves the pool empty."""

from __future__ import annotations

import math

from scipy.optimize import brentq

from metersim.scenario import Scenario
from metersim.stations import Stations, stations_of

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
    level, speed = float(stations.gate.level(stations.gate.full)), scenario.peripheral_speed
    wanted = -math.log(empty)

    def lacking(log_vacuum: float) -> float:
        return float(stations.pickup.chances(level, math.exp(log_vacuum), speed).rate) - wanted

    low, high = math.log(LOWEST), math.log(HIGHEST)
    if lacking(low) >= 0 or lacking(high) <= 0:
        return LOWEST if lacking(low) >= 0 else HIGHEST
    return math.exp(brentq(lacking, low, high, xtol=1e-6))
