"""Open scenarios of the page, each with its own `Explorer`; the oldest makes room."""

from __future__ import annotations

import os
from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.machine.changes import ROWS, listed, read_changes, split
from metersim.machine.given import scenario_of
from metersim.machine.reading import (
    CHANGES,
    METER,
    layered,
    load_scenario,
    shipped_scenarios,
)
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import LOT_NAMES, parse_toml, shipped_lots
from metersim.questions.explore.controls import Control, controls_of
from metersim.questions.explore.explorer import Explorer
from metersim.questions.shared.unknowns import DRAWS

MOST_SESSIONS = 8
MOST_CELLS = 150_000  # of a run on the page
MOST_TICKS = 50_000  # of a run on the page
MOST_CHANGES = 400  # of a request
MOST_LETTERS = 2_000  # of a change


class Gone(KeyError):
    """A session that is not open, or not any more."""


@dataclass(frozen=True, eq=False)
class Session:
    """A scenario that a page has open.

    Attributes
    ----------
    number : str
        Its name for the page, which nobody can guess.
    scenario : Scenario
        The scenario as it was opened.
    controls : tuple of Control
        Its settings.
    explorer : Explorer
        What redraws it.
    lots : frozenset of str
        Lots that it may have.
    """

    number: str
    scenario: Scenario
    controls: tuple[Control, ...]
    explorer: Explorer
    lots: frozenset[str]

    def setting(self, changes: Iterable[str]) -> Scenario:
        """The scenario with changes, if the page may run it; raises `BadInput`."""
        given = list(changes)
        if len(given) > MOST_CHANGES or any(len(one) > MOST_LETTERS for one in given):
            message = f"{MOST_CHANGES} changes of {MOST_LETTERS:,} letters at most"
            raise bad("changes", "", message)
        table, _ = read_changes(listed(given), CHANGES)  # whose faults are told below
        _check_lots(table, self.lots, "")
        made = scenario_of(self.scenario, given)
        check_work(made)
        return made


class Sessions:
    """The scenarios that are open, and those that can be opened.

    Parameters
    ----------
    first : Scenario
        The scenario that a page shows at first.
    file : str
        Its name or file, as it was typed.
    draws : int
        Number of draws of machine and inputs for a total.
    """

    def __init__(self, first: Scenario, file: str, draws: int = DRAWS) -> None:
        check_work(first)
        self._first, self._draws = first, draws
        self._named = {first.name: first}
        self._controls: dict[str, tuple[Control, ...]] = {}
        self._file = Path(file)
        self._lots = frozenset((*shipped_lots(), *LOT_NAMES, first.seed.lot))
        self._open: OrderedDict[str, Session] = OrderedDict()
        self._lock = Lock()

    def get(self, number: str) -> Session:
        """An open session; raises `Gone`."""
        with self._lock:
            if number not in self._open:
                raise Gone(number)
            self._open.move_to_end(number)
            return self._open[number]

    def named(self, name: str | None = None) -> Session:
        """Open a shipped scenario, or that of the first page; raises `BadInput`."""
        name = self._first.name if name is None else name
        if name not in self._named:
            shipped = shipped_scenarios()
            if name not in shipped:
                raise bad("scenario", name, f"is not shipped; {hint(name, shipped)}")
            self._named[name] = load_scenario(name)
        scenario = self._named[name]
        if name not in self._controls:
            self._controls[name] = controls_of(scenario)
        return self._start(scenario, self._controls[name])

    def read(self, text: str, name: str) -> Session:
        """Open the scenario of a file's text; raises `BadInput`.

        It may extend a shipped scenario, and name lots that are shipped or that of the first page.
        No other file is read.

        Parameters
        ----------
        text, name : str
            Text of the file, and its name without folders.
        """
        shown = Path(name.replace("\\", "/")).name or "opened.toml"
        table = parse_toml(text.encode(), shown)
        extends = table.get("extends")
        if isinstance(extends, str) and extends not in shipped_scenarios():
            message = f"{extends!r} is no shipped scenario; the page reads no other file"
            raise bad(shown, "extends", message)
        if METER in table and not (self._first.meter and table[METER] == self._first.meter.file):
            message = "the page reads no meter file; open the scenario with metersim explore FILE"
            raise bad(shown, METER, message)
        _check_lots(table, self._lots, shown)
        path = self._file.parent / shown
        try:
            scenario = layered([table], path, Path(shown).stem)
        except BadInput as error:
            raise BadInput(
                Fault(shown if one.where == str(path) else one.where, one.key, one.message)
                for one in error.faults
            ) from None
        check_work(scenario)
        return self._start(scenario, controls_of(scenario))

    def _start(self, scenario: Scenario, controls: tuple[Control, ...]) -> Session:
        """Open a scenario; of more than `MOST_SESSIONS`, that used longest ago is closed."""
        made = Session(
            os.urandom(12).hex(),
            scenario,
            controls,
            Explorer(scenario, draws=self._draws),
            self._lots,
        )
        with self._lock:
            self._open[made.number] = made
            while len(self._open) > MOST_SESSIONS:
                self._open.popitem(last=False)
        return made


def check_work(scenario: Scenario) -> None:
    """Refuse a run that takes a page too long; raises `BadInput`."""
    ticks = scenario.run.turns / scenario.run.tick
    cells = scenario.passages
    if cells > MOST_CELLS or ticks > MOST_TICKS:
        message = (
            f"{scenario.run.turns:,} turns are {cells:,} cells and {ticks:,.0f} ticks; the page "
            f"takes {MOST_CELLS:,} cells and {MOST_TICKS:,} ticks; give fewer turns, or use "
            "metersim run"
        )
        raise bad("", "run.turns", message)


def _check_lots(table: Mapping[str, Any], known: Iterable[str], where: str) -> None:
    """Refuse lots that are files; `table` has the form of a scenario file."""
    seed, rows = table.get("seed"), table.get(ROWS)
    lot = seed.get("lot") if isinstance(seed, Mapping) else None
    if isinstance(lot, str) and lot not in known and lot.casefold() not in known:
        message = f"'{lot}' is no shipped lot; {hint(lot.casefold(), shipped_lots())}"
        raise bad(where, "seed.lot", message)
    for said in rows.values() if isinstance(rows, Mapping) else ():
        if isinstance(said, str):
            _check_lots(read_changes(split(said), CHANGES)[0], known, where)
