"""The one way to run a meter."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from metersim import __version__
from metersim.arrays.engine import run_arrays
from metersim.events.processes import Visitor, run_events
from metersim.records import Cells, Origin, Piece, Run, Seeds, Ticks
from metersim.scenario import Scenario
from metersim.stations import Stations, stations_of
from metersim.streams import Streams

ENGINES = ("arrays", "events")


def simulate(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: Stations | Mapping[str, Any] | None = None,
    engine: str = "arrays",
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
    engine : str
        ``arrays`` or ``events``; both leave the same records.
    trace : bool
        Whether to keep every event of every seed; takes the events.
    visitors : iterable of callables
        Further processes, each a generator function of the `metersim.events.meter.Meter`; takes
        the events.

    Returns
    -------
    Run
        The records.
    """
    visitors = tuple(visitors)
    if engine not in ENGINES:
        raise ValueError(f"engine is {engine!r}; allowed: {' or '.join(ENGINES)}")
    if engine == "events" or trace or visitors:
        made = _stations(scenario, stations)
        streams = Streams(seed, replicate)
        return run_events(
            scenario, made, streams, version=__version__, trace=trace, visitors=visitors
        )
    origin, parts = pieces(scenario, seed=seed, replicate=replicate, stations=stations)
    all_parts = list(parts)
    return Run(
        **vars(origin),
        seeds=Seeds.stacked([part.seeds for part in all_parts]),
        cells=Cells.stacked([part.cells for part in all_parts]),
        ticks=Ticks.stacked([part.ticks for part in all_parts]),
    )


def pieces(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: Stations | Mapping[str, Any] | None = None,
) -> tuple[Origin, Iterator[Piece]]:
    """Run a scenario in arrays and hand over its records piece by piece, to keep or to drop."""
    made = _stations(scenario, stations)
    replaced = made.departures(stations_of(scenario))
    origin = Origin(scenario, seed, replicate, __version__, replaced)
    return origin, run_arrays(scenario, made, Streams(seed, replicate))


def _stations(scenario: Scenario, stations: Stations | Mapping[str, Any] | None) -> Stations:
    if isinstance(stations, Stations):
        return stations
    return dataclasses.replace(stations_of(scenario), **(stations or {}))
