"""What a page or a notebook holds: one scenario, a pinned setting, and the newest request alone."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Sequence
from threading import Lock
from typing import Any, TypeVar

from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import VALUES
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.estimates import Measured, measure
from metersim.measures.tally import tallied
from metersim.questions.explore.result import Redrawn
from metersim.questions.explore.study import Made, Request, make, results, stop_if
from metersim.questions.shared.unknowns import DRAWS
from metersim.run.records import Run

T = TypeVar("T")

KEPT_RUNS = 2  # that of the pinned setting, and the newest one
KEPT_DRAWS = 4  # times the draws: of two settings, each with machines and with inputs alone


class Explorer:
    """Redraws settings of one scenario beside a pinned one, again and again.

    The scenario is read once.  The run of the pinned setting and the newest run are kept, and
    their draws.  So another piece of the row or another moment of the disc takes no run, and a
    moved setting takes one.

    Any number of threads may share one.  Each call of `redraw` is a request, and takes the place
    of all requests before it.  When two overlap, the older one raises `Cancelled` from its
    iterator: before its next block of cells, before its next draw, or when its next result is
    asked for.  What it had not finished is not kept.  Only one request computes at a time, and a
    newer one waits for at most a block of cells or a draw of the older one.  A request with a
    fault raises `BadInput` and takes no place.  One iterator is for one thread.

    Parameters
    ----------
    scenario : Scenario, str or Path
        All settings, or the name or file of them, which is read now and not again.
    draws : int
        Number of draws of machine and inputs, 2 or more; 0 leaves totals out.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Examples
    --------
    >>> import metersim as m
    >>> page = m.Explorer("maize_bench", draws=2)
    >>> page.pin("turns=50")
    >>> older = page.redraw(m.Request(["turns=50", "notch=1"]))
    >>> next(older).state
    'sampling only'
    >>> newer = next(page.redraw(m.Request(["turns=50", "vacuum_kpa=3.2"])))
    >>> newer.differences["cells.skip"].value == newer.estimates["cells.skip"].value
    False
    >>> next(older)
    Traceback (most recent call last):
    metersim.questions.explore.study.Cancelled: another request took its place
    """

    def __init__(
        self,
        scenario: AnyScenario,
        *,
        draws: int = DRAWS,
        stations: OwnGiven | None = None,
    ) -> None:
        self._base = fitted(scenario, stations)
        self._draws = draws
        self._state = Lock()  # for the next two, never held while something is computed
        self._newest = 0
        self._pinned: Scenario | None = None
        self._work = Lock()  # held by the one request that computes, for the next two
        self._runs: OrderedDict[Hashable, Made] = OrderedDict()
        self._drawn: OrderedDict[Hashable, Measured] = OrderedDict()

    @property
    def pinned(self) -> Scenario | None:
        """The pinned setting, if there is one."""
        return self._pinned

    def pin(self, changes: str | Sequence[str] = ()) -> None:
        """Pin a setting, from which all further requests give differences.

        Parameters
        ----------
        changes : str or sequence of str
            Its changes, as those of a `Request`; without any, the scenario as it was given.

        Raises
        ------
        BadInput
            With every fault found; the setting that was pinned before stays.
        """
        pinned = scenario_of(self._base, changes)
        with self._state:
            self._pinned = pinned

    def unpin(self) -> None:
        """Give no more differences."""
        with self._state:
            self._pinned = None

    def redraw(self, request: Request | None = None) -> Iterator[Redrawn]:
        """The results of a request, which takes the place of all requests before it.

        Parameters
        ----------
        request : Request, optional
            Changes, random seed, moment and piece of the row.

        Returns
        -------
        iterator of Redrawn
            As `metersim.questions.explore.study.redraw`.  The pinned setting is that of this call.

        Raises
        ------
        BadInput
            With every fault found; requests before it go on.
        Cancelled
            From the iterator, when a newer request has taken its place.
        """
        request = request or Request()
        scenario = scenario_of(self._base, request.changes)
        with self._state:
            self._newest += 1
            number, pinned = self._newest, self._pinned

        def cancelled() -> bool:
            return number != self._newest

        def made(one: Scenario) -> Made:
            return _kept(
                self._runs,
                (_settings(one), request.seed),
                lambda: make(one, request.seed, cancelled),
                most=KEPT_RUNS,
            )

        return self._served(
            results(
                scenario,
                request,
                pinned,
                draws=self._draws,
                cancelled=cancelled,
                made=made,
                watch=self._watch,
            ),
            cancelled,
        )

    def run(self, changes: str | Sequence[str] = (), seed: int = 1) -> Run:
        """The records of a setting's run, which is kept like those of redraws.

        It takes no place of a request, and none takes its place.

        Parameters
        ----------
        changes, seed
            As for a `Request`.

        Raises
        ------
        BadInput
            With every fault found.

        Examples
        --------
        >>> import metersim as m
        >>> page = m.Explorer("maize_bench", draws=0)
        >>> result = next(page.redraw(m.Request("turns=20")))
        >>> len(page.run("turns=20").seeds) == result.measured.total("seeds")
        True
        """
        asked = Request(changes, seed)
        scenario = scenario_of(self._base, asked.changes)
        with self._work:
            return _kept(
                self._runs,
                (_settings(scenario), seed),
                lambda: make(scenario, seed),
                most=KEPT_RUNS,
            ).run

    def _served(self, each: Iterator[Redrawn], cancelled: Callable[[], bool]) -> Iterator[Redrawn]:
        """Results one by one; the next request may compute between them."""
        while True:
            with self._work:
                stop_if(cancelled)
                found = next(each, None)
            if found is None:
                return
            yield found

    def _watch(self, scenario: Scenario, **asked: Any) -> Measured:
        """The measures of a draw, of the pinned setting mostly from before."""
        key = tuple(asked[name] for name in ("replicate", "seed", "stretches"))
        return _kept(
            self._drawn,
            (*key, _settings(scenario)),
            lambda: measure(tallied(scenario, **asked)),
            most=KEPT_DRAWS * self._draws,
        )


def _settings(scenario: Scenario) -> Hashable:
    """All that distinguishes a setting of one scenario from its others, lots read anew included."""
    sections = (getattr(scenario, name) for name in SECTIONS)
    lot = (getattr(scenario.lot, name) for name in VALUES)
    return scenario.changes, scenario.coefficients, *sections, *lot


def _kept(found: OrderedDict[Hashable, T], key: Hashable, make: Callable[[], T], *, most: int) -> T:
    """What is kept by a key, or made now; what was not asked for longest makes room."""
    if key not in found:
        found[key] = make()
    found.move_to_end(key)
    while len(found) > most:
        found.popitem(last=False)
    return found[key]
