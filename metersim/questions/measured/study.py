"""Measured spacings, the prediction of a scenario for them, and the fit of their cells."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import Keyed, Parameter, bad
from metersim.files.tables import dataframe
from metersim.machine.given import AnyScenario
from metersim.machine.scenario import Scenario
from metersim.machine.stations import OwnGiven, fitted
from metersim.measures.cellfit import CellFit, fit_cells
from metersim.measures.estimates import estimates_of
from metersim.measures.fold import Fold, folds
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.observed import observed_seeds
from metersim.measures.plants import emerged
from metersim.measures.spacing import lag_correlation
from metersim.questions.measured.cells import (
    ENOUGH,
    FITTED,
    GIVEN,
    SEEDS,
    ValuePair,
    exactly,
)
from metersim.questions.measured.cells import parameters as parameters_of
from metersim.questions.measured.rows import RowFit, fitted_rows, joined
from metersim.questions.measured.units import UnitSlip, unit_slip
from metersim.questions.shared.spacings import (
    MeasuredSpacings,
    block_sums,
    blocks_for,
    read_spacings,
)
from metersim.run.records import Origin, Run
from metersim.run.simulation import simulate
from metersim.run.streams import Streams

if TYPE_CHECKING:
    import pandas as pd

KEYS = tuple(key for key in BY_KEY if key.partition(".")[0] in ("per_spacing", "per_place"))
KEYS += ("precision", "spacing.mean", "spacing.sd", "spacing.cv", "spacing.cp3")
RUN_CELLS, ALL_CELLS, MOST_CELLS = 6_000, 120_000, 600_000
RESAMPLES = 1000

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Counted(Mapping[str, ValuePair]):
    """Measured spacings with their prediction, by key of the measure or parameter.

    Attributes
    ----------
    origin : Origin
        Origin of the prediction, with its random seed.
    source : MeasuredSpacings
        Measured spacings as read.
    rows : tuple of ndarray
        Measured spacings over the nominal one, row by row. [1]
    predicted : ndarray
        Predicted spacings over the nominal one. [1]
    beside : mapping of str to ValuePair
        Measures and parameters by key, in SI.
    fit : CellFit or None
        Fit to the measured spacings; None with fewer than `ENOUGH` spacings.
    emergence : str
        ``seeds`` for measured seeds; ``given`` or ``fitted`` for measured plants.
    left : float
        Share of the seeds that stand as plants in the prediction. [1]
    each : tuple of RowFit
        Each row or file by itself; empty where they have no names.
    slip : UnitSlip or None
        Unit that is suspected in place of the stated one; nothing is fitted then.
    folds : tuple of Fold
        Cells of each row folded by the holes of the disc; empty where these are not stated.
    level : float
        Coverage of intervals and ranges.
    """

    origin: Origin
    source: MeasuredSpacings
    rows: tuple[Floats, ...]
    predicted: Floats
    beside: Mapping[str, ValuePair]
    fit: CellFit | None
    emergence: str
    left: float
    each: tuple[RowFit, ...] = ()
    slip: UnitSlip | None = None
    folds: tuple[Fold, ...] = ()
    level: float = 0.95

    def __repr__(self) -> str:
        return f"<Counted {self.size:,} spacings of {self.source.where}; to_dataframe() shows them>"

    def __getitem__(self, key: str) -> ValuePair:
        return self.beside[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self.beside)

    def __len__(self) -> int:
        return len(self.beside)

    @property
    def scenario(self) -> Scenario:
        """Scenario of the prediction."""
        return self.origin.scenario

    @property
    def size(self) -> int:
        """Number of measured spacings."""
        return self.source.size

    @cached_property
    def lag_correlation(self) -> float:
        """Correlation of neighbouring spacings; -0.5 for independent errors of seeds. [1]"""
        return lag_correlation(np.concatenate(self.rows))

    def to_dataframe(self) -> pd.DataFrame:
        """A table for pandas with one row a measure or parameter, in SI (extra ``notebook``)."""
        return dataframe(
            [
                {
                    "key": key,
                    "kind": one.measure.kind,
                    **{f"measured_{name}": value for name, value in vars(one.measured).items()},
                    **{f"predicted_{name}": value for name, value in vars(one.predicted).items()},
                    "differs": one.differs,
                    "meaning": one.measure.meaning,
                }
                for key, one in self.items()
            ]
        )


def measured(
    scenario: AnyScenario,
    spacings: MeasuredSpacings | str | Path | Sequence[MeasuredSpacings | str | Path],
    *,
    emergence: float | None = None,
    cells: int | None = None,
    seed: int = 1,
    level: float = 0.95,
    stations: OwnGiven | None = None,
) -> Counted:
    """Compare measured spacings with the prediction of a scenario, and fit their cells.

    Spacings do not distinguish a cell without a seed from a seed that did not come up.  A bench or
    a sensor gives all seeds.  A field is assumed to give plants.  With a given `emergence`, the
    chance of a skip is fitted.  Otherwise skips are taken from the prediction, and emergence is
    fitted.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Scenario, its name, or its file; uncertain inputs are taken at their middle.
    spacings : MeasuredSpacings, str or Path, or sequence of them
        Measured spacings, or their CSV file.  Several files, or rows with names, are compared with
        one another, too.
    emergence : float, optional
        Share of the seeds that stand as plants in a field; 1 where seeds were dug up. [1]
    cells : int, optional
        Holes of the disc, 2 or more, to look for a hole that fails.
    seed : int
        Random seed of the prediction.
    level : float
        Coverage of intervals and ranges.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Returns
    -------
    Counted
        Measured and predicted values by key, such as ``per_spacing.miss`` or ``fit.skip``.

    Raises
    ------
    BadInput
        When a file cannot be used, or emergence is given where seeds were measured.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.questions.shared.spacings import parse_spacings
    >>> lines = ["position_cm", *(str(round(16.9 * k, 1)) for k in range(130) if k % 25)]
    >>> found = m.measured("maize_bench", parse_spacings("\\n".join(lines), "tape.csv"), seed=3)
    >>> skip = found["fit.skip"].measured
    >>> skip.low < 0.04 < skip.high  # every 25th seed is missing
    True
    >>> found["precision"].differs
    True
    """
    scenario = fitted(scenario, stations)
    several = [spacings] if isinstance(spacings, MeasuredSpacings | str | Path) else spacings
    spacings = joined(
        [one if isinstance(one, MeasuredSpacings) else read_spacings(Path(one)) for one in several]
    )
    check_emergence(scenario, spacings, emergence)
    if cells is not None and cells < 2:
        raise bad(Parameter("cells"), str(cells), "must be a whole number, 2 or more")
    scale = scenario.demand.speed if spacings.kind == "time" else 1.0
    rows = tuple(row * (scale / scenario.spacing) for row in spacings.rows if row.size)
    size = sum(row.size for row in rows)
    if spacings.kind == "time" and scenario.observed != "pulses":
        scenario = scenario.replace(furrow__observed="pulses")
    runs = _runs(scenario, size, seed)
    truth = _truth(runs)
    kind, left = SEEDS, 1.0
    if scenario.in_field and scenario.observed != "pulses":
        kind, left = (FITTED, 1.0) if emergence is None else (GIVEN, emergence)
    slip = unit_slip(rows, spacings.column)
    fit = fit_cells(rows, level=level) if size >= ENOUGH and not slip else None
    parameters: dict[str, ValuePair] = {}
    each: tuple[RowFit, ...] = ()
    if not slip:
        each = fitted_rows(
            spacings, scale, truth, kind, left, nominal=scenario.spacing, level=level
        )
    if fit is not None:
        parameters, left = parameters_of(fit, truth, kind, left, scenario.spacing)
    shift = scenario.stand.plant_shift if scenario.observed == "plants" else 0.0
    seen = [emerged(run, left, shift) if left < 1 or shift > 0 else run for run in runs]
    predicted = [np.diff(np.sort(_places(run)[0])) for run in seen]
    return Counted(
        origin=runs[0].origin,
        source=spacings,
        rows=rows,
        predicted=np.concatenate(predicted),
        beside=Keyed(_measures(rows, predicted, scenario.spacing, seed, level) | parameters),
        fit=fit,
        emergence=kind,
        left=left,
        each=each,
        slip=slip,
        folds=folds(rows, cells, _row_names(spacings)) if cells and not slip else (),
        level=level,
    )


def _row_names(spacings: MeasuredSpacings) -> tuple[str, ...]:
    """Names of rows with spacings; numbers where several have none."""
    many = len(spacings.rows)
    names = spacings.labels or tuple(f"row {k + 1}" if many > 1 else "" for k in range(many))
    return tuple(name for name, row in zip(names, spacings.rows, strict=True) if row.size)


def check_emergence(
    scenario: Scenario, spacings: MeasuredSpacings, emergence: float | None
) -> None:
    """Refuse an emergence of 0 or above 1, and any for seeds on a bench or at a sensor."""
    if emergence is None:
        return
    if spacings.kind == "time" or scenario.observed == "pulses":
        raise bad(Parameter("emergence"), "", "a sensor counts seeds, not plants; leave it out")
    if not scenario.in_field:
        raise bad(Parameter("emergence"), "", "on a bench nothing comes up; leave it out")
    if not 0 < emergence <= 1:
        raise bad("emergence", "", f"{emergence} is not allowed; give a share above 0, up to 1")


def _runs(scenario: Scenario, size: int, seed: int) -> list[Run]:
    """Replicates that together are long enough for counts of this size."""
    wanted = min(max(ALL_CELLS, 4 * size), MOST_CELLS)
    most = math.ceil(wanted / scenario.disc.cells)
    least = math.ceil(RUN_CELLS / scenario.disc.cells)
    turns = min(max(scenario.run.turns, least), most)
    if turns != scenario.run.turns:
        scenario = scenario.replace(run__turns=turns)
    many = math.ceil(wanted / scenario.passages)
    return [simulate(scenario, seed=seed, replicate=k) for k in range(many)]


def _places(run: Run) -> tuple[Floats, NDArray[np.int64]]:
    """Places of the seen seeds over the nominal spacing, and their cells.

    Plants are no concern of it: which seeds came up is fitted or given.
    """
    pulses = run.scenario.observed == "pulses"
    seeds = observed_seeds(run, run.seeds) if pulses else run.seeds
    return seeds.position / run.scenario.spacing, seeds.cell


def _truth(runs: Sequence[Run]) -> dict[str, float]:
    """True parameters of a fit, from records: shares of cells, and relative scatter."""
    none = two = cells = 0
    square, seeds = 0.0, 0
    for run in runs:
        places, cell = _places(run)
        many = np.bincount(cell, minlength=len(run.cells))
        none, two = none + int((many == 0).sum()), two + int((many >= 2).sum())
        cells += len(many)
        if cell.size:
            square += float(np.var(places - cell)) * cell.size
            seeds += cell.size
    return {
        "fit.skip": none / cells,
        "fit.double": two / cells,
        "fit.scatter": math.sqrt(square / seeds) if seeds else math.nan,
        "fit.distance": 1.0,
    }


def _measures(
    rows: Sequence[Floats],
    predicted: Sequence[Floats],
    nominal: float,
    seed: int,
    level: float,
) -> dict[str, ValuePair]:
    """Measured values of measures, with ranges of random counts of that length."""
    chosen = [BY_KEY[key] for key in KEYS]
    size = sum(row.size for row in rows)
    streams = Streams(seed)
    blocks = blocks_for(size) if size >= ENOUGH else 1
    sums = block_sums(rows, nominal, blocks)
    own = estimates_of(sums, chosen, nominal, streams.generator("resampling"), level)
    if blocks == 1:
        own = {key: exactly(one.value) for key, one in own.items()}
    many = sum(part.size for part in predicted)
    parts = blocks_for(
        size
    )  # blocks of a count, equal in length to blocks of the measured spacings
    pool = max(1, round(many / (size / parts)))
    if many < 2 * size / parts:
        nothing = {key: exactly(math.nan) for key in KEYS}
        return {key: ValuePair(BY_KEY[key], own[key], nothing[key]) for key in KEYS}
    long = block_sums(predicted, nominal, pool)
    drawn = streams.generator("counts").integers(pool, size=(RESAMPLES, parts))
    tail = (1 - level) / 2
    counts = {name: column[drawn].sum(axis=1) for name, column in long.items()}
    whole = {name: column.sum() for name, column in long.items()}
    made = {}
    for part in chosen:
        scale = nominal if part.kind == "length" else 1.0
        value, each = scale * float(part.of(whole)), scale * np.asarray(part.of(counts))
        each = each[~np.isnan(each)]
        edges = np.quantile(each, [tail, 1 - tail]) if each.size else (math.nan, math.nan)
        low, high = min(float(edges[0]), value), max(float(edges[1]), value)
        made[part.key] = ValuePair(part, own[part.key], Estimate(value, low, high))
    return made
