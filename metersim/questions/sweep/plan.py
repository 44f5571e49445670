"""Plan of a sweep: scenario, varied settings, points, and random seed.

Planning reports all faults before any run.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from importlib.metadata import version
from typing import Any

import numpy as np

from metersim import __version__
from metersim.files.faults import BadInput, Parameter, all_of, bad
from metersim.files.unknown import Unknown
from metersim.machine.changes import KEYS, listed, section_of
from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import VALUES
from metersim.machine.stations import OwnGiven, fitted_alike
from metersim.measures.indices import MEASURES, SI_SUFFIX
from metersim.questions.sweep.points import (
    Axis,
    Point,
    check_design,
    count_points,
    draw_points,
    read_axes,
)

LIBRARIES = ("numpy", "scipy", "simpy")
COUNTS = ("cells", "seeds")
PARTS: tuple[str, ...] = ("", "_low", "_high")
VALUE_COLUMNS = (
    *(f"{m.key}{SI_SUFFIX.get(m.kind, '')}{part}" for m in MEASURES for part in PARTS),
    *COUNTS,
)


@dataclass(frozen=True)
class Job:
    """One run of a sweep with all its inputs.

    Attributes
    ----------
    scenario : Scenario
        Scenario without the settings of the point.
    settings : mapping
        Settings of the point, for `Scenario.replace`.
    cells : int
        Number of passing cells, equal for all points.
    seed, replicate : int
        Random seed and replicate, which choose the random draws.
    """

    scenario: Scenario
    settings: Mapping[str, Any]
    cells: int
    seed: int
    replicate: int

    def made(self) -> Scenario:
        """Scenario of the point; raises `BadInput` when its settings contradict one another."""
        return self.scenario.replace(**self.settings).lasting(self.cells)


@dataclass(frozen=True)
class Plan:
    """A checked plan of a sweep.

    Attributes
    ----------
    bases : mapping of str to Scenario
        Scenarios without the settings of points.  They are keyed by seed lot where the lot is
        varied; otherwise there is one with an empty key.
    axes : tuple of Axis
        Varied settings.
    design : str
        One of `metersim.questions.sweep.points.DESIGNS`.
    size : int
        Points of a sample; 0 for a grid, which has its own number.
    seed, replicates : int
        Random seed, common to all points, and number of repetitions with other random draws.
    """

    bases: Mapping[str, Scenario]
    axes: tuple[Axis, ...]
    design: str
    size: int
    seed: int
    replicates: int

    def __repr__(self) -> str:
        axes = ", ".join(map(str, self.axes))
        return f"<Plan of {self.base.name} over {axes}: {self.rows:,} runs, {self.design}>"

    @property
    def base(self) -> Scenario:
        """Base scenario of the points."""
        return next(iter(self.bases.values()))

    @property
    def changes(self) -> tuple[str, ...]:
        """Changes for all points, without the first lot of the base where lots are varied."""
        varied = {axis.key for axis in self.axes}
        return tuple(
            change for change in self.base.changes if change.partition("=")[0] not in varied
        )

    @property
    def unknown(self) -> tuple[Unknown, ...]:
        """Uncertain inputs that are not varied; all points take them at their middle."""
        varied = {(axis.section, axis.spec.name) for axis in self.axes}
        return tuple(one for one in self.base.unknown if (one.section, one.name) not in varied)

    @property
    def version(self) -> str:
        """Version of the program."""
        return __version__

    @property
    def many(self) -> int:
        """Number of points."""
        return count_points(self.axes, self.design, self.size)

    @property
    def rows(self) -> int:
        """Number of rows: one for each point and replicate."""
        return self.many * self.replicates

    @cached_property
    def points(self) -> list[Point]:
        """The points, in order."""
        return draw_points(self.axes, self.design, self.size, self.seed)

    def varied(self) -> dict[str, Any]:
        """Values of varied settings at every point, by key and in the unit of the key."""
        return {
            axis.key: np.array([axis.number(word) for word in words] if axis.is_number else words)
            for axis, words in zip(self.axes, zip(*self.points, strict=True), strict=True)
        }

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns of a row."""
        keys = (axis.key for axis in self.axes)
        return ("point", "replicate", *keys, *VALUE_COLUMNS, "fault")

    def job(self, point: int, replicate: int = 0) -> Job:
        """Job of a point and replicate."""
        base, settings = self.base, {}
        for axis, word in zip(self.axes, self.points[point], strict=True):
            if axis.spec.name == "lot":
                base = self.bases[word]
            else:
                name, value = axis.setting(word)
                settings[name] = value
        cells = self.base.disc.cells * self.base.run.turns
        return Job(base, settings, cells, self.seed, replicate)

    def head(self, row: int) -> tuple[str, ...]:
        """First cells of a row: point, replicate, and values of varied settings."""
        point, replicate = divmod(row, self.replicates)
        return str(point), str(replicate), *self.points[point]

    def origin(self) -> list[str]:
        """Lines with all inputs of the rows; equal lines give equal rows."""
        base = self.base
        settings = [
            {
                **{name: dataclasses.asdict(getattr(made, name)) for name in SECTIONS},
                "lot": {name: getattr(made.lot, name) for name in VALUES},
            }
            for made in self.bases.values()
        ]
        text = json.dumps(settings, sort_keys=True)
        said = {
            "version": __version__,
            "scenario": base.name,
            "title": base.title,
            "changes": list(base.changes),
            "settings_sha256": hashlib.sha256(text.encode()).hexdigest(),
            "vary": [str(axis) for axis in self.axes],
            "design": self.design,
            "points": self.many,
            "replicates": self.replicates,
            "seed": self.seed,
            "libraries": {name: version(name) for name in LIBRARIES},
            **({"stations": base.own.said()} if base.own else {}),
            **({"at_the_middle_of": [*map(str, self.unknown)]} if self.unknown else {}),
        }
        return ["metersim sweep", *(f"{key}: {json.dumps(value)}" for key, value in said.items())]

    def check_some_point(self) -> None:
        """Refuse a sweep without any possible point; importance needs all points.

        Raises
        ------
        BadInput
            With the faults of the first impossible point.
        """
        first: BadInput | None = None
        for point in range(self.many):
            try:
                self.job(point).made()
            except BadInput as error:
                first = first or error
                if self.design != "importance":
                    continue
                where = Parameter("vary"), self._said(point)
                message = f"all points of the ranges must be possible; {error.faults[0].message}"
                raise bad(*where, message) from None
            if self.design != "importance":
                return
        if first:
            raise BadInput(
                dataclasses.replace(fault, where=Parameter("vary, at every point"))
                for fault in first.faults
            )

    def _said(self, point: int) -> str:
        pairs = zip(self.axes, self.points[point], strict=True)
        return ", ".join(f"{axis.key}={word}" for axis, word in pairs)


def plan_sweep(
    scenario: AnyScenario,
    vary: str | Sequence[str],
    *,
    design: str = "grid",
    points: int = 64,
    seed: int = 1,
    replicates: int = 1,
    changes: str | Sequence[str] = (),
    stations: OwnGiven | None = None,
) -> Plan:
    """Plan a sweep; all faults are found here except impossible points.

    Parameters
    ----------
    scenario : Scenario, str or Path
        Scenario without the settings of points, its name, or its file.
    vary : str or sequence of str
        Varied settings: ``key=low:high:count``, or a list ``key=a,b,c`` in a grid.
    design : str
        ``grid``, ``latin``, ``sobol``, or ``importance`` for indices of importance.
    points : int
        Size of a sample; a power of two for ``sobol`` and ``importance``.
    seed, replicates : int
        Random seed, common to all points, and number of repetitions with other random draws.
    changes : str or sequence of str
        Changes of single keys for all points, as ``key=value``.
    stations : mapping, Stations or callable, optional
        Own stations, as for `metersim.run.simulation.simulate`.

    Raises
    ------
    BadInput
        With every fault found.

    Examples
    --------
    >>> import metersim as m
    >>> plan = m.plan_sweep("maize_bench", ["vacuum_kpa=2:6:3", "notch=0,1"])
    >>> plan.many, plan.points[3]
    (6, ('4', '1'))
    """
    vary, changes = listed(vary), listed(changes)
    base, axes = all_of(
        lambda: scenario_of(scenario, changes),
        lambda: read_axes(vary),
    )
    check_design(axes, design, points)
    if replicates < 1:
        raise bad(Parameter("replicates"), str(replicates), "must be a whole number, 1 or more")
    changed = {place for change in changes if (place := _field(change))}
    for axis in axes:
        if (axis.section, axis.spec.name) in changed:
            raise bad(
                Parameter("vary"), axis.key, "is also set with `changes`; leave one of them out"
            )
    bases = {"": base}
    for axis in axes:
        if axis.spec.name == "lot":
            loads = (
                partial(
                    scenario_of,
                    scenario,
                    [*changes, f"{axis.key}={word}"],
                    changed_by=Parameter("vary"),
                )
                for word in axis.words
            )
            bases = dict(zip(axis.words, all_of(*loads), strict=True))
    bases = dict(zip(bases, fitted_alike([*bases.values()], stations), strict=True))
    size = 0 if design == "grid" else points
    return Plan(bases, axes, design, size, seed, replicates)


def _field(change: str) -> tuple[str, str] | None:
    place = section_of(change.partition("=")[0].strip())
    return (place[0], KEYS[place[0]][place[1]].name) if place else None
