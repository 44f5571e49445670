"""Entry to a run: `simulate` runs a meter by one of the engines."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, TypeVar

from metersim import __version__
from metersim.machine.airline import chamber_vacuum
from metersim.machine.given import AnyScenario
from metersim.machine.own import check_own
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, Stations, departures_of, fitted, stations_of
from metersim.run.arrays.engine import cells_alone, run_arrays
from metersim.run.arrays.steps import Steps, usual_steps
from metersim.run.chamber import Vacuum
from metersim.run.progress import worked
from metersim.run.records import Cells, Origin, Piece, Run, run_of_pieces
from metersim.run.streams import Streams

if TYPE_CHECKING:
    from metersim.run.events import Visitor

Part = TypeVar("Part")

ARRAYS, EVENTS, COMPILED = ENGINES = ("arrays", "events", "compiled")


def simulate(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: OwnGiven | None = None,
    engine: str | None = None,
    trace: bool = False,
    visitors: Iterable[Visitor] = (),
) -> Run:
    """Run a scenario.

    Parameters
    ----------
    scenario : Scenario, str or Path
        All settings, or the name or file of them.
    seed, replicate : int
        Random seed, and number of the replicate, 0 or more: they choose the random draws.
    stations : mapping, Stations or callable, optional
        Own stations by name, in place of the usual ones: a subclass of the usual station, which
        takes all its values; a function of the scenario that makes one; or a station.  A function
        of the scenario may give all at once.  A study that moves the settings of a station needs
        its class or a function, as a value keeps those it was made with.
    engine : str, optional
        ``arrays``, the usual one, ``events`` or ``compiled``.  The events are far slower, but can
        be watched and changed while they run.  ``compiled`` needs numba, and is quicker in long
        runs.  All leave the same records; numbers with a fraction agree to 1e-9.
    trace : bool
        Whether to keep every event of every seed; this needs the events.
    visitors : iterable of callables
        Further processes, each a generator function of the `metersim.run.meter.Meter`; they need
        the events.

    Returns
    -------
    Run
        The records.

    Raises
    ------
    ValueError
        For an unknown engine, for a trace or visitors with any but the events, and for own
        stations or a missing numba with ``compiled``.

    Examples
    --------
    >>> import metersim as m
    >>> run = m.simulate(m.load_scenario("maize_bench", "turns=10"), seed=3)
    >>> len(run.cells), len(run.seeds) == int(run.cells.released.sum())
    (300, True)
    >>> same = m.simulate(run.scenario, seed=3, engine="events")
    >>> bool((abs(run.seeds.position - same.seeds.position) < 1e-9).all())
    True
    """
    scenario = fitted(scenario, stations)
    if callable(visitors):
        raise ValueError(f"visitors are {visitors!r}; give a list of them")
    visitors = tuple(visitors)
    watched = trace or bool(visitors)
    check_engine(engine)
    if engine in (ARRAYS, COMPILED) and watched:
        raise ValueError(f"engine is {engine!r}; a trace and visitors take 'events'")
    if engine == EVENTS or watched:
        from metersim.run.events import run_events

        return run_events(
            scenario,
            _checked(scenario),
            Streams(seed, replicate),
            chamber_vacuum(scenario),
            version=__version__,
            trace=trace,
            visitors=visitors,
        )
    origin, parts = pieces(scenario, seed=seed, replicate=replicate, engine=engine)
    return run_of_pieces(origin, parts)


def simulate_cells(scenario: Scenario, *, seed: int = 1, replicate: int = 0) -> Cells:
    """The records of the cells of a run alone, a fifth quicker than `simulate`.

    Parameters
    ----------
    scenario, seed, replicate
        As for `simulate`.

    Returns
    -------
    Cells
        The same records of cells as those of `simulate`.
    """
    vacuum = Vacuum(chamber_vacuum(scenario))
    parts = cells_alone(
        scenario, _checked(scenario), Streams(seed, replicate), vacuum, usual_steps()
    )
    return Cells.stacked(list(_told(parts, len)))


def origin_of(scenario: Scenario, seed: int = 1, replicate: int = 0) -> Origin:
    """Origin of the records of a run of a scenario."""
    return Origin(scenario, seed, replicate, __version__, departures_of(scenario))


def check_engine(engine: str | None) -> None:
    """Raise `ValueError` for an unknown engine."""
    if engine not in (None, *ENGINES):
        raise ValueError(
            f"engine is {engine!r}; allowed: {', '.join(ENGINES[:-1])} or {ENGINES[-1]}"
        )


def steps_of(stations: Stations, engine: str | None) -> Steps:
    """How an engine that works block by block takes the heavy steps, for these stations."""
    if engine != COMPILED:
        return usual_steps()
    from metersim.run.compiled.steps import compiled_steps

    return compiled_steps(stations)


def pieces(
    scenario: AnyScenario,
    *,
    seed: int = 1,
    replicate: int = 0,
    stations: OwnGiven | None = None,
    engine: str | None = None,
) -> tuple[Origin, Iterator[Piece]]:
    """Run a scenario in arrays and give its records piece by piece.

    Parameters
    ----------
    scenario, seed, replicate, stations
        As for `simulate`.
    engine : str, optional
        ``arrays``, the usual one, or ``compiled``.

    Returns
    -------
    origin : Origin
        Origin of the pieces.
    pieces : iterator of Piece
        The pieces in order.  Each is computed when it is asked for.
    """
    scenario = fitted(scenario, stations)
    made = _checked(scenario)
    origin = origin_of(scenario, seed, replicate)
    vacuum = Vacuum(chamber_vacuum(scenario))
    steps = steps_of(made, engine)
    parts = run_arrays(scenario, made, Streams(seed, replicate), vacuum, steps)
    return origin, _told(parts, lambda part: len(part.cells))


def _told(parts: Iterable[Part], cells: Callable[[Part], int]) -> Iterator[Part]:
    """The parts of a run; each is reported to a watcher."""
    for part in parts:
        worked(cells(part), "cell")
        yield part


def _checked(scenario: Scenario) -> Stations:
    stations = stations_of(scenario)
    check_own(vars(stations))
    return stations
