"""The one way to run a meter."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from typing import Any

from metersim import __version__
from metersim.events import Visitor, run_events
from metersim.records import Run
from metersim.scenario import Scenario
from metersim.stations import Stations, stations_of
from metersim.streams import Streams


def simulate(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: Stations | Mapping[str, Any] | None = None,
    trace: bool = False,
    visitors: Iterable[Visitor] = (),
) -> Run:
    """Run a scenario.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    seed, replicate : int
        Choose the luck; 0 or more.
    stations : Stations or mapping, optional
        All stations, or some by name to use in place of the scenario's own.
    trace : bool
        Whether to keep every event of every seed.
    visitors : iterable of callables
        Further processes, each a generator function of the `metersim.meter.Meter`.

    Returns
    -------
    Run
        The records.
    """
    if not isinstance(stations, Stations):
        stations = dataclasses.replace(stations_of(scenario), **(stations or {}))
    return run_events(
        scenario,
        stations,
        Streams(seed, replicate),
        version=__version__,
        trace=trace,
        visitors=visitors,
    )
