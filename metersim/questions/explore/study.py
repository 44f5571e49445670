"""A setting worked out again: the run and all that is shown of it, then the total draw by draw."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from metersim.files.faults import BadInput, Fault, Parameter
from metersim.machine.changes import listed
from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, differences, measure
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.measures.observed import observed_spacings
from metersim.measures.tally import stretches_of, tally_of
from metersim.questions.explore.result import TOTAL, UPDATING, Histogram, Redrawn
from metersim.questions.shared.effort import RECORD_BYTES, check_memory
from metersim.questions.shared.picture import CELLS_SHOWN, binned, strip_of
from metersim.questions.shared.unknowns import DRAWS, drawn_points, spreads_of
from metersim.run.records import Run, run_of_pieces
from metersim.run.simulation import pieces
from metersim.run.snapshot import snapshot, telling_moment

T = TypeVar("T")


class Cancelled(Exception):
    """A computation was cancelled before its end; nothing of it was kept."""


@dataclass(frozen=True)
class Request:
    """What a page asks for.

    Attributes
    ----------
    changes : tuple of str
        Changes of single keys, as ``key=value``; a single one may be given as a text.
    seed : int
        Random seed, 0 or more.
    time : float, optional
        Moment of the disc; by default one with an empty cell and a double on the disc, if there
        is one. [s]
    start : int, optional
        First cell of the strip; by default a piece with a skip and a double, if there is one.  A
        start near or beyond the end of the row gives its last piece.
    cells : int
        Cells of the strip, 1 or more.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> m.Request("notch=1", start=30).changes
    ('notch=1',)
    >>> m.Request(seed=-1)
    Traceback (most recent call last):
    metersim.files.faults.BadInput: seed: -1: must be a whole number, 0 or more
    """

    changes: str | Sequence[str] = ()
    seed: int = 1
    time: float | None = None
    start: int | None = None
    cells: int = CELLS_SHOWN

    def __post_init__(self) -> None:
        given: Any = self.changes
        texts = [given] if isinstance(given, str) else given
        found = []
        if isinstance(texts, Iterable) and all(isinstance(one, str) for one in texts):
            object.__setattr__(self, "changes", tuple(listed(texts)))
        else:
            found.append(Fault(Parameter("changes"), str(given), "must be a list of texts"))
        for name, least in (("seed", 0), ("start", 0), ("cells", 1)):
            value = getattr(self, name)
            if (value is not None or name != "start") and not _is_whole(value, least):
                message = f"must be a whole number, {least} or more"
                found.append(Fault(Parameter(name), str(value), message))
        time: Any = self.time
        if time is not None and not (
            isinstance(time, int | float) and not isinstance(time, bool) and 0 <= time < math.inf
        ):
            found.append(Fault(Parameter("time"), str(time), "must be a number of s, 0 or more"))
        if found:
            raise BadInput(found)


def _is_whole(value: Any, least: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= least


@dataclass(frozen=True, eq=False)
class Made:
    """A finished run with its measures."""

    run: Run
    measured: Measured

    def cut(self, stretches: int) -> Measured:
        """Measures over a number of stretches, as many as another run has."""
        if stretches == self.measured.tallies[0].stretches:
            return self.measured
        return measure(tally_of(self.run, stretches), level=LEVEL_TOTAL)


def never() -> bool:
    """Nobody cancels."""
    return False


def stop_if(cancelled: Callable[[], bool]) -> None:
    """Raise `Cancelled` when a computation is not wanted any more."""
    if cancelled():
        raise Cancelled("another request took its place")


def make(scenario: Scenario, seed: int, cancelled: Callable[[], bool] = never) -> Made:
    """Run and measure a scenario; raises `Cancelled` before the next block of cells."""
    check_memory(Parameter("changes"), scenario.passages * RECORD_BYTES)
    stop_if(cancelled)
    origin, parts = pieces(scenario, seed=seed)
    run = run_of_pieces(origin, _wanted(parts, cancelled))
    return Made(run, measure(tally_of(run, stretches_of(scenario)), level=LEVEL_TOTAL))


def _wanted(parts: Iterable[T], cancelled: Callable[[], bool]) -> Iterator[T]:
    for part in parts:
        yield part
        stop_if(cancelled)


def redraw(
    scenario: AnyScenario,
    request: Request | None = None,
    *,
    pinned: str | Sequence[str] | None = None,
    draws: int = DRAWS,
    stations: OwnGiven | None = None,
    cancelled: Callable[[], bool] = never,
) -> Iterator[Redrawn]:
    """All that a page shows of a setting, at once with sampling error and later with the total.

    The first result has everything, with intervals of the sampling error.  Each further result
    costs a draw of machine and inputs, and is the same with a further draw finished.  The last
    one has the total intervals.  Nothing is worked out before it is asked for.

    `metersim.questions.explore.explorer.Explorer` does the same again and again, and keeps what
    does not change.

    Parameters
    ----------
    scenario : Scenario, str or Path
        All settings, or the name or file of them.
    request : Request, optional
        Changes, random seed, moment and piece of the row.
    pinned : str or sequence of str, optional
        Changes of the pinned setting, from which differences are given.  It runs for about as
        many cells as the request.
    draws : int
        Number of draws, 2 or more; 0 leaves the total out.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.
    cancelled : callable
        Asked before each block of cells and each draw; a true answer raises `Cancelled`.

    Returns
    -------
    iterator of Redrawn
        Results of one setting in the order of their states.

    Raises
    ------
    BadInput
        With every fault found, before anything is run.
    Cancelled
        From the iterator.

    Examples
    --------
    >>> import metersim as m
    >>> asked = m.Request(["notch=1", "turns=50"], seed=3)
    >>> first, *_, last = m.redraw("maize_bench", asked, pinned="turns=50", draws=2)
    >>> first.state, last.state
    ('sampling only', 'total')
    >>> first.measured["cells.double"].low < first.estimates["cells.double"].value
    True
    >>> bool(first.differences["cells.skip"].value > 0), len(first.disc.carried)
    (True, 30)
    """
    request = request or Request()
    base = fitted(scenario, stations)
    now = scenario_of(base, request.changes)
    other = None if pinned is None else scenario_of(base, pinned)
    return results(
        now,
        request,
        other,
        draws=draws,
        cancelled=cancelled,
        made=lambda one: make(one, request.seed, cancelled),
    )


def results(
    scenario: Scenario,
    request: Request,
    pinned: Scenario | None,
    *,
    draws: int,
    cancelled: Callable[[], bool],
    made: Callable[[Scenario], Made],
    watch: Callable[..., Measured] | None = None,
) -> Iterator[Redrawn]:
    """The results of `redraw`, with runs from wherever they are kept.

    Parameters
    ----------
    scenario, pinned : Scenario
        The setting of the request, and the pinned one.
    request, draws, cancelled
        As for `redraw`.
    made : callable
        Gives the finished run of a scenario.
    watch : callable, optional
        As for `metersim.questions.shared.unknowns.run_draws`.
    """
    now = made(scenario)
    first, middles = _shown(now, request), [now.measured]
    if pinned:
        other = made(pinned.lasting(scenario.passages))
        alike = stretches_of(other.run.scenario, scenario)
        middles = [one.cut(alike) for one in (other, now)]
        paired = differences(middles[0], middles[1], now.measured.measures)
        first = replace(first, pinned=middles[0], paired=paired)
    split = any(one.scenario.unknown for one in middles)
    first = replace(first, draws=draws * (2 if split else 1))
    yield first
    if not draws:
        return
    rows: dict[bool, list[Any]] = {}
    asked: Any = {"draws": draws, "seed": request.seed, "watch": watch}
    for machines in (True, False) if split else (True,):
        rows[machines] = []
        stop_if(cancelled)
        each = drawn_points(
            [one.scenario for one in middles],
            machines=machines,
            on_cells=lambda _: stop_if(cancelled),
            **asked,
        )
        for row in each:
            rows[machines].append(row)
            yield replace(first, state=UPDATING, done=sum(map(len, rows.values())))
            stop_if(cancelled)
    levels, changes = spreads_of(
        middles, [first.paired] if pinned else [], rows[True], rows.get(False)
    )
    yield replace(
        first,
        state=TOTAL,
        done=first.draws,
        spread=levels[-1],
        change=changes[0] if changes else None,
    )


def _shown(now: Made, request: Request) -> Redrawn:
    """All that is shown of a run by itself."""
    run, cells = now.run, len(now.run.cells)
    length = min(request.cells, cells)
    start = None if request.start is None else min(request.start, cells - length)
    counts, shares = binned(observed_spacings(run), run.scenario.spacing)
    return Redrawn(
        measured=now.measured,
        histogram=Histogram(counts, shares),
        strip=strip_of(run, start, length),
        disc=snapshot(run, telling_moment(run) if request.time is None else request.time),
    )
