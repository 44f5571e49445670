"""What was seen of a meter: counts, looks at the disc, and spacings, each with its settings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from metersim.files.faults import all_of, bad, hint
from metersim.files.tables import read_text
from metersim.machine.given import scenario_toml
from metersim.machine.scenario import Scenario
from metersim.measures.spacing import classes_of
from metersim.questions.learn.emulate import SPACINGS, log_spread
from metersim.questions.shared.countlog import COUNTS, parse_history
from metersim.questions.shared.history import Entry, current, rows_in
from metersim.questions.shared.looks import BELT, Look
from metersim.questions.shared.spacings import MeasuredSpacings, parse_spacings

A_LOG = {"row", *COUNTS}  # columns that only a log of counts has


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """What was seen at one setting in one way.

    Attributes
    ----------
    scenario : Scenario
        Settings.
    way : str
        One of `metersim.questions.learn.emulate.WAYS`.
    cells : int
        Cells, or spacings.
    few : int
        Skips, or spacings over 1.5 of the nominal one.
    several : int or None
        Doubles, or spacings up to 0.5 of it; None when they were not counted.
    seeds : int
        Seeds counted; 0 for a look at the disc.
    spread, variance : float
        Logarithm of the SD of normal spacings over the nominal one, and its sampling variance; nan
        where no spacings were measured.
    parts : int
        Counts or files that this is the sum of.
    """

    scenario: Scenario
    way: str
    cells: int
    few: int
    several: int | None
    seeds: int = 0
    spread: float = np.nan
    variance: float = np.nan
    parts: int = 1


def of_look(scenario: Scenario, look: Look) -> Seen:
    """A count of cells at some settings."""
    seeds = 0 if look.doubles is None else look.cells - look.skips + look.doubles
    return Seen(
        scenario=scenario,
        way=look.way,
        cells=look.cells,
        few=look.skips,
        several=look.doubles,
        seeds=seeds if look.way in (BELT, "sensor") else 0,
    )


def of_entry(scenario: Scenario, entry: Entry) -> Seen:
    """A count of a log, at its own settings of a scenario's meter."""
    seen = of_look(entry.on(scenario), entry.look)
    return replace(seen, seeds=entry.seeds) if seen.seeds else seen


def of_spacings(scenario: Scenario, measured: MeasuredSpacings) -> Seen:
    """Measured spacings at a scenario's settings.

    Spacings are seen as the scenario says in `observed`.  Times are those of a sensor's pulses.
    """
    ratio = np.concatenate(measured.rows) / scenario.spacing
    if measured.kind == "time":
        ratio = ratio * scenario.demand.speed
        scenario = scenario.replace(furrow__observed="pulses")
    kind = classes_of(ratio)
    spread, variance = log_spread(ratio[kind == 1])
    return Seen(
        scenario=scenario,
        way=SPACINGS,
        cells=len(ratio),
        few=int((kind > 1).sum()),
        several=int((kind == 0).sum()),
        seeds=len(ratio) + len(measured.rows),
        spread=spread,
        variance=variance,
    )


def read_seen(scenario: Scenario, path: Path, row: str | None = None) -> list[Seen]:
    """What a file holds: a log of counts, or spacings at the scenario's settings.

    Of a log, only counts of the scenario's lot since the row's last repair are seen.

    Parameters
    ----------
    scenario : Scenario
        The meter.
    path : Path
        Log as `metersim.questions.shared.countlog` describes it, or spacings as
        `metersim.questions.shared.spacings.parse_spacings` takes them.
    row : str, optional
        Row of the log; needed when it holds several.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    content, where = read_text(path), str(path)
    first = next(filter(str.strip, content.splitlines()), "")
    columns = {word.strip().strip('"') for word in first.split(",")}
    if not len(A_LOG & columns) > 1:
        return [of_spacings(scenario, parse_spacings(content, where))]
    history = parse_history(content, where)
    rows = rows_in(history)
    if not rows:
        raise bad(where, "", "holds no count yet")
    if row is None and len(rows) > 1:
        message = f"holds {len(rows)} rows, each with a meter of its own; give one as `row`"
        raise bad(where, "", f"{message}: {', '.join(rows[:9])}")
    if row is not None and row not in rows:
        raise bad(where, "", f"has no row '{row}'; {hint(row, rows)}")
    mine, _, since = current(history, row or rows[0], lot=scenario.lot.name)
    if not mine:
        raise bad(where, "", f"has no count of row {row or rows[0]} after this change: {since}")
    seen: list[Seen] = all_of(*(lambda entry=entry: of_entry(scenario, entry) for entry in mine))
    check_taken(scenario, seen, where)
    return seen


def is_taken(scenario: Scenario, other: Scenario) -> bool:
    """Whether counts at another scenario may teach a machine of this one: same disc, same crop."""
    return other.disc.cells == scenario.disc.cells and other.lot.crop == scenario.lot.crop


def check_taken(scenario: Scenario, seen: Sequence[Seen], where: str = "learn") -> None:
    """Refuse counts of another disc or crop: burrs, holes and seat are another machine's.

    On published stands, what one disc or crop teaches makes predictions for others worse
    (``python -m tests.validation.learned``).
    """
    for one in seen:
        if is_taken(scenario, one.scenario):
            continue
        disc, lot = one.scenario.disc, one.scenario.lot
        message = f"was counted with {disc.cells} cells and {lot.crop}"
        mine = f"the scenario has {scenario.disc.cells} and {scenario.lot.crop}"
        raise bad(where, "", f"{message}, and {mine}")


def pooled(seen: Iterable[Seen]) -> list[Seen]:
    """Sums of what was seen at the same settings in the same way, in an order of their own.

    The order follows from the settings alone, so that the order of files has no effect.
    """
    groups: dict[tuple[Any, ...], list[Seen]] = {}
    for one in seen:
        counted = one.several is not None
        key = (scenario_toml(one.scenario), one.way, counted)
        groups.setdefault(key, []).append(one)
    return [_sum(groups[key]) for key in sorted(groups)]


def _sum(parts: Sequence[Seen]) -> Seen:
    """One sum of all parts, which do not depend on their order."""
    if len(parts) == 1:
        return parts[0]
    parts = sorted(parts, key=lambda one: (one.cells, one.few, one.several or 0, one.spread))
    known = [one for one in parts if np.isfinite(one.variance)]
    spread = variance = np.nan
    if known:
        weights = np.array([1 / one.variance for one in known])
        variance = 1 / float(weights.sum())
        spread = variance * float(weights @ np.array([one.spread for one in known]))
    several = [one.several for one in parts]
    return Seen(
        scenario=parts[0].scenario,
        way=parts[0].way,
        cells=sum(one.cells for one in parts),
        few=sum(one.few for one in parts),
        several=None if several[0] is None else sum(map(int, several)),  # type: ignore[arg-type]
        seeds=sum(one.seeds for one in parts),
        spread=spread,
        variance=variance,
        parts=sum(one.parts for one in parts),
    )


def settings_of(seen: Sequence[Seen], *more: Scenario) -> list[Scenario]:
    """Distinct settings, in their order."""
    found: list[Scenario] = []
    for one in (*(part.scenario for part in seen), *more):
        if one not in found:
            found.append(one)
    return found
