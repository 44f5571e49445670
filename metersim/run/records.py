"""Records of a run: read-only arrays and their origin.  Nothing is averaged here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from metersim.files.tables import dataframe
from metersim.machine.coefficients import USUAL
from metersim.machine.losses import REASONS, TAKING
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import VALUES
from metersim.run.draws import BLOCK

if TYPE_CHECKING:
    import pandas as pd

TABLES = ("seeds", "cells", "ticks")


class Event(NamedTuple):
    """One line of a trace."""

    time: float  # s
    cell: int  # number of the passage; -1 when the event concerns no cell
    nth: int  # number of the seed in its cell; -1 when the event concerns no seed
    station: str
    event: str
    why: str


class Change(NamedTuple):
    """A change that was made while the meter ran."""

    time: float  # s
    what: str  # name of a station, or "vacuum"
    words: str

    def __str__(self) -> str:
        return f"{self.what} changed at {self.time:g} s: {self.words}"


@dataclass(frozen=True)
class Table:
    """Base of the tables of records: read-only arrays of the same length.

    Attributes
    ----------
    names : tuple of str
        Names of the columns in files and data frames, with their units.
    """

    names: ClassVar[tuple[str, ...]]

    def __post_init__(self) -> None:
        for _, column in self.columns():
            column.flags.writeable = False

    def columns(self) -> Iterator[tuple[str, NDArray[Any]]]:
        """Name and array of every column."""
        for column in fields(self):
            yield column.name, getattr(self, column.name)

    def named(self) -> dict[str, NDArray[Any]]:
        """The columns by `names`."""
        return {name: column for name, (_, column) in zip(self.names, self.columns(), strict=True)}

    def __len__(self) -> int:
        return len(next(self.columns())[1])

    def part(self, rows: slice | NDArray[np.intp]) -> Self:
        """A table of some of the rows; a slice gives views."""
        return type(self)(*(column[rows] for _, column in self.columns()))

    @classmethod
    def stacked(cls, parts: Sequence[Self]) -> Self:
        """One table with the rows of one or more tables."""
        if len(parts) == 1:
            return parts[0]
        columns = zip(*((values for _, values in part.columns()) for part in parts), strict=True)
        return cls(*map(np.concatenate, columns))


@dataclass(frozen=True)
class Seeds(Table):
    """One row per seed that left the meter, sorted by cell and by seed in cell.

    Attributes
    ----------
    cell, nth : ndarray of int
        Passage of a cell, counted from the start, and number of the seed in it: 0 joined first.
    size : ndarray
        Linear size over the lot's mean. [1]
    needed : ndarray
        Vacuum that the seed needs in the pool at its mean load. [Pa]
    release_time, sensor_time, landing_time : ndarray
        Times at which it left its hole, crossed the beam and came to rest. [s]
    contacts : ndarray of int
        Number of contacts with the tube's wall.
    seen : ndarray of bool
        Whether the sensor gave a pulse of its own for it.
    position : ndarray
        Resting position along the row. [m]
    """

    names = (
        "cell",
        "place",
        "size_ratio",
        "needed_vacuum_pa",
        "release_time_s",
        "sensor_time_s",
        "landing_time_s",
        "wall_contacts",
        "sensor_pulse",
        "position_m",
    )
    cell: NDArray[np.int64]
    nth: NDArray[np.int8]
    size: NDArray[np.float64]
    needed: NDArray[np.float64]
    release_time: NDArray[np.float64]
    sensor_time: NDArray[np.float64]
    landing_time: NDArray[np.float64]
    contacts: NDArray[np.int8]
    seen: NDArray[np.bool_]
    position: NDArray[np.float64]


@dataclass(frozen=True)
class Cells(Table):
    """One row per passage of a cell.

    Attributes
    ----------
    joined : ndarray of int
        Seeds that left the pool on the cell: the sum of the next four columns.
    knocked, swept, shaken : ndarray of int
        Seeds that the heap, the singulator and shaking took from it.
    released : ndarray of int
        Seeds that left it at the cut-off.
    reason : ndarray of int
        Index into `metersim.machine.losses.REASONS`: why the cell released so many seeds.
    """

    names = ("joined", *(loss.column for loss in TAKING), "released", "reason")
    joined: NDArray[np.int8]
    knocked: NDArray[np.int8]
    swept: NDArray[np.int8]
    shaken: NDArray[np.int8]
    released: NDArray[np.int8]
    reason: NDArray[np.int8]


@dataclass(frozen=True)
class Ticks(Table):
    """One row per tick, with the state after it.

    Attributes
    ----------
    time : ndarray
        Time. [s]
    pool, hopper : ndarray of int
        Whole seeds in the pool and the hopper.
    arched : ndarray of bool
        Whether an arch stops the gate.
    spilt : ndarray of int
        Whole seeds that have leaked out of the pool so far.
    """

    names = ("time_s", "pool_seeds", "hopper_seeds", "arched", "spilt_seeds")
    time: NDArray[np.float64]
    pool: NDArray[np.int64]
    hopper: NDArray[np.int64]
    arched: NDArray[np.bool_]
    spilt: NDArray[np.int64]


@dataclass(frozen=True)
class Piece:
    """Consecutive cells of a run, with the seeds that they released.

    A run is cut into pieces of `metersim.run.draws.BLOCK` cells; the last may be shorter.

    Attributes
    ----------
    first_cell, first_tick : int
        Number of the first cell and of the first tick, counted from the start of the run.
    seeds, cells, ticks : Seeds, Cells, Ticks
        The records.  The last tick is the last before the next piece's first cell enters the pool.
    """

    first_cell: int
    first_tick: int
    seeds: Seeds
    cells: Cells
    ticks: Ticks


@dataclass(frozen=True)
class Origin:
    """Origin of records: all that is needed to make them again.

    Attributes
    ----------
    scenario : Scenario
        All settings.
    seed, replicate : int
        Random seed, and number of the replicate: they choose the random draws.
    version : str
        Version of the program.
    replaced : mapping of str to str
        Name and class of the stations that were not the usual ones from the start.
    changes : tuple of Change
        All changes that were made while the meter ran, in order.
    """

    scenario: Scenario
    seed: int
    replicate: int
    version: str
    replaced: Mapping[str, str]
    changes: tuple[Change, ...] = field(default=(), kw_only=True)


@dataclass(frozen=True)
class Run(Origin):
    """A finished run.

    Attributes
    ----------
    seeds, cells, ticks : Seeds, Cells, Ticks
        The records.
    trace : tuple of Event
        Every event of every seed; empty if no trace was kept.
    """

    seeds: Seeds
    cells: Cells
    ticks: Ticks
    trace: tuple[Event, ...] = ()

    def __repr__(self) -> str:
        draws = f"random seed {self.seed}, replicate {self.replicate}"
        many = f"{len(self.cells):,} cells, {len(self.seeds):,} seeds"
        return f"<Run of {self.scenario.name}: {many}, {draws}>"

    @property
    def origin(self) -> Origin:
        """The origin of the records, without the records."""
        names = [part.name for part in fields(Origin)]
        return Origin(**{name: getattr(self, name) for name in names})

    def to_dataframe(self, table: str = "seeds") -> pd.DataFrame:
        """A table of the records for pandas (extra ``notebook``), in SI.

        Parameters
        ----------
        table : {'seeds', 'cells', 'ticks'}
            Name of the table.  Seeds have the columns of the CSV file.  Seeds and cells can be
            joined by ``replicate`` and ``cell``.  The reason of a cell is in words.

        Returns
        -------
        pandas.DataFrame
            A copy: changes of it do not change the run.

        Raises
        ------
        ValueError
            For an unknown table.
        ImportError
            If pandas is not installed.

        Examples
        --------
        >>> import metersim as m
        >>> run = m.simulate(m.load_scenario("maize_bench", ["turns=10"]), seed=3)
        >>> cells = run.to_dataframe("cells")
        >>> len(cells), int(cells["released"].sum()) == len(run.to_dataframe())
        (300, True)
        """
        if table not in TABLES:
            raise ValueError(f"table is {table!r}; allowed: {', '.join(TABLES)}")
        records: Table = getattr(self, table)
        columns: dict[str, Any] = {"replicate": np.full(len(records), self.replicate)}
        if table == "cells":
            columns["cell"] = np.arange(len(records))
        columns |= records.named()
        if table == "cells":
            columns["reason"] = np.array(REASONS, dtype=object)[self.cells.reason]
        return dataframe(columns)

    def pieces(self) -> Iterator[Piece]:
        """The records of the run, piece by piece."""
        starts = np.arange(0, len(self.cells), BLOCK)
        angles = np.asarray(starts[1:] * (2 * np.pi / self.scenario.disc.cells))
        ticks = [0, *(self.scenario.ticks_before(angles) + 1).tolist(), len(self.ticks)]
        seeds = [*np.searchsorted(self.seeds.cell, starts).tolist(), len(self.seeds)]
        for k, start in enumerate(starts.tolist()):
            yield Piece(
                first_cell=start,
                first_tick=ticks[k],
                seeds=self.seeds.part(slice(seeds[k], seeds[k + 1])),
                cells=self.cells.part(slice(start, start + BLOCK)),
                ticks=self.ticks.part(slice(ticks[k], ticks[k + 1])),
            )


def run_of_rows(
    origin: Origin,
    seeds: Sequence[tuple[Any, ...]],
    cells: Sequence[Sequence[int]],
    ticks: Sequence[Sequence[Any]],
    trace: Sequence[Event] = (),
) -> Run:
    """A run from records in rows, each in the order of the columns.

    Parameters
    ----------
    origin : Origin
        Origin of the records.
    seeds, cells, ticks : sequence of rows
        Rows of the tables.  The rows of seeds may come in any order.
    trace : sequence of Event
        Every event; empty if no trace was kept.

    Returns
    -------
    Run
        The records.
    """
    kinds = (int, np.int8, float, float, float, float, float, np.int8, bool, float)
    columns = list(zip(*sorted(seeds), strict=True)) or [()] * len(kinds)
    return Run(
        **vars(origin),
        seeds=Seeds(*map(np.array, columns, kinds)),
        cells=Cells(*np.array(cells, dtype=np.int8).T.copy()),
        ticks=Ticks(*map(np.array, zip(*ticks, strict=True))),
        trace=tuple(trace),
    )


def run_of_pieces(origin: Origin, pieces: Iterable[Piece]) -> Run:
    """A run from its pieces in order."""
    kept = list(pieces)
    return Run(
        **vars(origin),
        seeds=Seeds.stacked([part.seeds for part in kept]),
        cells=Cells.stacked([part.cells for part in kept]),
        ticks=Ticks.stacked([part.ticks for part in kept]),
    )


LIBRARIES = ("numpy", "scipy", "simpy")


def _machine(scenario: Scenario) -> dict[str, Any]:
    """The meter file, and coefficients that are not the usual ones."""
    made: dict[str, Any] = {}
    if scenario.meter:
        made["meter"] = {"file": scenario.meter.file, "title": scenario.meter.title}
    others = {
        name: value
        for name, value in vars(scenario.coefficients).items()
        if value != getattr(USUAL, name)
    }
    return made | ({"coefficients_si": others} if others else {})


def provenance(origin: Origin, replicates: int = 1) -> dict[str, Any]:
    """Provenance of a run: its settings, its random seed, and the versions that made it."""
    from importlib.metadata import version  # slow to load, and few answers have it

    scenario = origin.scenario
    sections = {
        section: {name: getattr(part, name) for name in part.__dataclass_fields__}
        for section in SECTIONS
        for part in [getattr(scenario, section)]
    }
    for one in scenario.unknown:
        sections[one.section][one.name] = one.to_dict()
    return {
        "program": "metersim",
        "version": origin.version,
        "scenario": scenario.name,
        "title": scenario.title,
        "seed": origin.seed,
        "replicates": replicates,
        "changes": list(scenario.changes),
        "replaced_stations": dict(origin.replaced),
        "changes_in_run": [
            {"time_s": change.time, "what": change.what, "words": change.words}
            for change in origin.changes
        ],
        **_machine(scenario),
        "settings_si": sections,
        "lot": {
            "name": scenario.lot.name,
            "crop": scenario.lot.crop,
            "illustrative": scenario.lot.illustrative,
            "values_si": {name: getattr(scenario.lot, name) for name in VALUES},
        },
        "libraries": {name: version(name) for name in LIBRARIES},
    }
