"""The one way to run a meter, by either engine."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from metersim import __version__
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations, check_own, stations_of
from metersim.run.arrays.engine import cells_alone, run_arrays
from metersim.run.draws import Streams
from metersim.run.records import Cells, Origin, Piece, Run, Seeds, Ticks

if TYPE_CHECKING:
    from metersim.run.events import Visitor

ARRAYS, EVENTS = ENGINES = ("arrays", "events")


def simulate(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: Stations | Mapping[str, Any] | None = None,
    engine: str | None = None,
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
    engine : str, optional
        ``arrays``, the usual one, or ``events``, far slower, which can be watched and changed
        while it runs.  Both leave the same records, numbers with a fraction to 1e-9.
    trace : bool
        Whether to keep every event of every seed; takes the events.
    visitors : iterable of callables
        Further processes, each a generator function of the `metersim.run.meter.Meter`; takes
        the events.

    Returns
    -------
    Run
        The records.

    Raises
    ------
    ValueError
        For an unknown engine, and for what the chosen one cannot do.

    Examples
    --------
    >>> import metersim as m
    >>> run = m.simulate(m.load_scenario("maize_bench", ["turns=10"]), seed=3)
    >>> len(run.cells), len(run.seeds)
    (300, 303)
    >>> same = m.simulate(run.scenario, seed=3, engine="events")
    >>> bool((abs(run.seeds.position - same.seeds.position) < 1e-9).all())
    True
    """
    visitors = tuple(visitors)
    watched = trace or bool(visitors)
    check_engine(engine)
    if engine == ARRAYS and watched:
        raise ValueError("engine is 'arrays'; a trace and visitors take 'events'")
    if engine == EVENTS or watched:
        from metersim.run.events import run_events

        return run_events(
            scenario,
            _stations(scenario, stations),
            Streams(seed, replicate),
            version=__version__,
            trace=trace,
            visitors=visitors,
        )
    origin, parts = pieces(scenario, seed=seed, replicate=replicate, stations=stations)
    kept = list(parts)
    return Run(
        **vars(origin),
        seeds=Seeds.stacked([part.seeds for part in kept]),
        cells=Cells.stacked([part.cells for part in kept]),
        ticks=Ticks.stacked([part.ticks for part in kept]),
    )


def simulate_cells(scenario: Scenario, *, seed: int = 1, replicate: int = 0) -> Cells:
    """The cells of a run alone, for those who ask nothing of its seeds: a fifth quicker.

    Parameters
    ----------
    scenario, seed, replicate
        As for `simulate`.

    Returns
    -------
    Cells
        The same as those of `simulate`.
    """
    parts = cells_alone(scenario, stations_of(scenario), Streams(seed, replicate))
    return Cells.stacked(list(parts))


def check_engine(engine: str | None) -> None:
    """Refuse an engine that there is not, with a `ValueError`."""
    if engine not in (None, *ENGINES):
        raise ValueError(f"engine is {engine!r}; allowed: {' or '.join(ENGINES)}")


def pieces(
    scenario: Scenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: Stations | Mapping[str, Any] | None = None,
) -> tuple[Origin, Iterator[Piece]]:
    """Run a scenario in arrays, and hand over its records piece by piece to keep or to drop.

    Parameters
    ----------
    scenario, seed, replicate, stations
        As for `simulate`.

    Returns
    -------
    origin : Origin
        Where the pieces come from.
    pieces : iterator of Piece
        In order; each is worked out when it is asked for.
    """
    made = _stations(scenario, stations)
    replaced = made.departures(stations_of(scenario)) if stations else {}
    origin = Origin(scenario, seed, replicate, __version__, replaced)
    return origin, run_arrays(scenario, made, Streams(seed, replicate))


def _stations(scenario: Scenario, stations: Stations | Mapping[str, Any] | None) -> Stations:
    if not isinstance(stations, Stations):
        stations = dataclasses.replace(stations_of(scenario), **(stations or {}))
    check_own(vars(stations))
    return stations
