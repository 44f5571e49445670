"""Draws of the coefficients of a machine, and the error of the model's form.

A machine differs from others in details that nobody prints.  So a prediction for it is made with
many sets of coefficients: the draws.  The shipped draws are those of an unknown machine.  A meter
file holds the draws of one machine, and a scenario may name it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.fields import Spec, specs
from metersim.files.tables import csv_rows, csv_text, each_row, read_text
from metersim.machine.assumed import BLOCK, drawn_values
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.seedlot import read_toml

SHIPPED = Path(__file__).parents[1] / "data" / "posterior.csv"
AT = 0.03
"""Share at which the discrepancy of a share is stated. [1]"""
AN_EXAMPLE = "draw_slowness,eccentricity,share,spread"
ERRORS = {
    "share": Spec(
        "share",
        "number",
        f"SD of the error of a share of {AT:.0%}, from the model's form".replace("%", " %"),
        low=0.0,
        high=0.5,
    ),
    "spread": Spec(
        "spread",
        "number",
        "relative SD of the error of a spread such as precision, from the model's form",
        low=0.0,
        high=2.0,
    ),
}
"""Columns of the discrepancy: what the model gets wrong even with the best coefficients."""
SHIFTS = {
    name: Spec(name, "number", meaning, low=-1.5, high=1.5)
    for name, meaning in (
        ("skip", "what a machine adds to the angle of a share of skips or misses, in rad"),
        ("double", "what a machine adds to the angle of a share of doubles or multiples, in rad"),
        ("spread", "what a machine adds to the logarithm of a spread"),
    )
}
"""Columns of the part of the discrepancy that all settings of one machine share."""
UNKNOWN = "an unknown machine"
KEYS = ("title", "made", "crop", "cells", "draws", "discrepancy", "shift")


@dataclass(frozen=True, kw_only=True)
class Shift:
    """Difference of a machine from the model with its coefficients, near where it was learned.

    Attributes
    ----------
    skip, double : float
        Added to the angle ``asin sqrt(share)`` of skips or misses, and of doubles or multiples.
        [rad]
    spread : float
        Added to the logarithm of a spread such as precision. [1]
    """

    skip: float = 0.0
    double: float = 0.0
    spread: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """Equally likely sets of coefficients of a machine, and the discrepancy of the model.

    The first draws represent all of them, however many are taken.

    Attributes
    ----------
    draws : tuple of Coefficients
        Draws of the coefficients, 2 or more.
    share : tuple of float
        Discrepancy by draw: SD of the error of a share of 3 %. [1]
    spread : tuple of float
        Discrepancy by draw: relative SD of the error of a spread. [1]
    made : str
        How the draws were made.
    title : str
        Name of the machine.
    file : str
        Meter file as a scenario names it; empty for the shipped draws.
    shifts : tuple of Shift
        Smooth part of the discrepancy at the settings of which the machine was learned, by draw.
        `share` and `spread` then are the rest.  Empty where the machine is unknown: `share` and
        `spread` then are the whole.  assumption: other settings are near; far from those learned,
        intervals are too narrow.
    crop : str
        Crop with which the machine was learned; empty for any.
    cells : int
        Cells of its disc; 0 for any.
    held : tuple of str
        Coefficients that a file states.  The assumed ones among the others are drawn by `draw`.
    """

    draws: tuple[Coefficients, ...]
    share: tuple[float, ...]
    spread: tuple[float, ...]
    made: str
    title: str = UNKNOWN
    file: str = ""
    shifts: tuple[Shift, ...] = ()
    crop: str = ""
    cells: int = 0
    held: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        if self.shifts and len(self.shifts) != len(self.draws):
            raise ValueError(f"{len(self.shifts)} shifts for {len(self.draws)} draws; give as many")
        if len(self.draws) < 2 or not len(self.draws) == len(self.share) == len(self.spread):
            sizes = ", ".join(str(len(one)) for one in (self.draws, self.share, self.spread))
            raise ValueError(f"numbers of draws are {sizes}; allowed: the same, 2 or more")

    def __repr__(self) -> str:
        return f"<Posterior of {self.title}: {len(self.draws)} draws of {', '.join(self.varied)}>"

    def draw(self, number: int) -> Coefficients:
        """The draw of a number, 0 or more; beyond the last draw they start again.

        Assumed coefficients that are not held have their values of that number.
        """
        number %= len(self.draws)
        if number not in self._drawn:
            block, at = divmod(number, BLOCK)
            if block not in self._assumed:
                self._assumed[block] = drawn_values(
                    Coefficients, self._columns, self._all_held, block
                )
            assumed = {name: one[at] for name, one in self._assumed[block].items()}
            self._drawn[number] = replace(self.draws[number], **assumed)
        return self._drawn[number]

    @cached_property
    def _drawn(self) -> dict[int, Coefficients]:
        """Draws that were asked for."""
        return {}

    def shift(self, number: int) -> Shift:
        """The shift of a draw of a number, 0 or more, as for `draw`."""
        return self.shifts[number % len(self.shifts)] if self.shifts else Shift()

    @cached_property
    def _all_held(self) -> frozenset[str]:
        return frozenset((*self.held, *self.varied))

    @cached_property
    def _assumed(self) -> dict[int, dict[str, tuple[float, ...]]]:
        """Values of assumed coefficients that are not held, by block of draws, name and draw."""
        return {}

    @cached_property
    def _columns(self) -> NDArray[np.float64]:
        """Values of the coefficients that the draws state, by draw."""
        varied = [[getattr(draw, name) for name in self.varied] for draw in self.draws]
        return np.array(varied, dtype=float).reshape(len(self.draws), -1)

    @cached_property
    def varied(self) -> tuple[str, ...]:
        """Names of the coefficients that differ from draw to draw or from the usual ones."""
        return tuple(
            name
            for name in specs(Coefficients)
            if any(getattr(draw, name) != getattr(USUAL, name) for draw in self.draws)
        )

    @property
    def middle(self) -> Coefficients:
        """The median of each coefficient."""
        return replace(
            USUAL,
            **{
                name: _median(sorted(getattr(draw, name) for draw in self.draws))
                for name in self.varied
            },
        )

    @property
    def share_sd(self) -> float:
        """SD of the error of a share of 3 %, over all draws. [1]"""
        return math.sqrt(math.fsum(one**2 for one in self.share) / len(self.share))

    @property
    def spread_sd(self) -> float:
        """Relative SD of the error of a spread, over all draws. [1]"""
        return math.sqrt(math.fsum(one**2 for one in self.spread) / len(self.spread))

    def to_csv(self) -> str:
        """CSV with one row a draw, in SI; comments state how the draws were made."""
        varied = self.varied
        rows = (
            (*(getattr(draw, name) for name in varied), share, spread)
            for draw, share, spread in zip(self.draws, self.share, self.spread, strict=True)
        )
        comments = "".join(f"# {line}\n" for line in self.made.splitlines())
        return comments + csv_text((*varied, *ERRORS), rows)

    def to_toml(self) -> str:
        """A meter file in SI, as `read_meter` reads it, to nine digits."""
        stated = (name for name in specs(Coefficients) if name in self._all_held)
        draws = {name: [getattr(draw, name) for draw in self.draws] for name in stated}
        errors = {name: getattr(self, name) for name in ERRORS}
        parts = {"draws": draws, "discrepancy": errors}
        if self.shifts:
            parts["shift"] = {name: [getattr(one, name) for one in self.shifts] for name in SHIFTS}
        keys = ["title", "made", *(key for key in ("crop", "cells") if getattr(self, key))]
        lines = [f"{key} = {json.dumps(getattr(self, key))}" for key in keys]
        for key, columns in parts.items():
            lines += ["", f"[{key}]"]
            lines += [
                f"{name} = [{', '.join(repr(float(f'{value:.9g}')) for value in values)}]"
                for name, values in columns.items()
            ]
        return "\n".join(lines).replace("\x7f", "\\u007f") + "\n"


@cache
def shipped_posterior() -> Posterior:
    """The draws of an unknown machine.

    Examples
    --------
    >>> from metersim.machine.posterior import shipped_posterior
    >>> unknown = shipped_posterior()
    >>> len(unknown.draws), unknown.draw(256) == unknown.draw(0)
    (256, True)
    """
    return read_posterior(SHIPPED)


def read_posterior(path: Path) -> Posterior:
    """Draws from a CSV file, as `Posterior.to_csv` writes it; raises `BadInput`."""
    lines = read_text(path).splitlines()
    made = "\n".join(line.removeprefix("#").strip() for line in lines if line.startswith("#"))
    content = "\n".join("" if line.startswith("#") else line for line in lines)
    where = str(path)
    rows = csv_rows(content.lstrip("\n"), where, columns="coefficients", example=AN_EXAMPLE)
    names = rows[0][1]
    columns: dict[str, list[Any]] = {name: [] for name in names}

    def read(cells: list[str]) -> list[tuple[str, str]]:
        wrong = []
        for name, cell in zip(names, cells, strict=True):
            try:
                columns[name].append(float(cell))
            except ValueError:
                wrong.append((name, f"'{cell}' is no number"))
        return wrong

    if len(columns) < len(names):
        raise bad(where, "", "names a column twice; name each once")
    if wrong := each_row(rows, len(names), read):
        raise BadInput(Fault(where, key, message) for key, message in wrong)
    errors = {name: columns.pop(name, None) for name in ERRORS}
    return _posterior(columns, errors, where, ("", ""), made=made)


def read_meter(name: str, beside: Path | None = None) -> Posterior:
    """The draws of one machine from a meter file, as a scenario names it.

    Parameters
    ----------
    name : str
        Path of the file.
    beside : Path, optional
        Folder that a relative path starts from; the working directory by default.

    Raises
    ------
    BadInput
        With every fault of the file.
    """
    path = (beside or Path()) / name
    table, where = read_toml(path), str(path)
    faults = [
        Fault(where, key, f"unknown key; {hint(key, KEYS)}") for key in table if key not in KEYS
    ]
    for key in ("title", "made"):
        if not isinstance(table.get(key), str) or not table[key]:
            faults.append(Fault(where, key, "missing or not a text; give a text in quotes"))
    crop, cells = table.get("crop", ""), table.get("cells", 0)
    if not isinstance(crop, str):
        faults.append(Fault(where, "crop", "is not a text; give a crop in quotes"))
    if not isinstance(cells, int) or isinstance(cells, bool) or cells < 0:
        faults.append(Fault(where, "cells", "is no number of cells; give that of the disc"))
    parts: dict[str, dict[str, Any]] = {}
    for key in ("draws", "discrepancy", *(["shift"] if "shift" in table else [])):
        part = table.get(key)
        if not isinstance(part, Mapping):
            faults.append(Fault(where, key, f"missing or not a table; give [{key}] with lists"))
            continue
        parts[key] = dict(part)
        faults += [
            Fault(where, f"{key}.{one}", "must be a list of numbers, such as [1.8, 2.2]")
            for one, values in part.items()
            if not isinstance(values, list) or not values
        ]
        known = {"discrepancy": ERRORS, "shift": SHIFTS}.get(key, part)
        faults += [
            Fault(where, f"{key}.{one}", f"unknown key; {hint(one, known)}")
            for one in part
            if one not in known
        ]
    if faults:
        raise BadInput(faults)
    errors = {one: parts["discrepancy"].get(one) for one in ERRORS}
    shifts = {one: parts["shift"].get(one) for one in SHIFTS} if "shift" in parts else {}
    prefixes = ("draws.", "discrepancy.")
    texts = {"title": table["title"], "made": table["made"], "file": name}
    found = _posterior(parts["draws"], errors, where, prefixes, shifts, **texts)
    return replace(found, crop=crop, cells=cells)


def _posterior(
    columns: Mapping[str, Sequence[Any]],
    errors: Mapping[str, Sequence[Any] | None],
    where: str,
    prefixes: tuple[str, str],
    shifts: Mapping[str, Sequence[Any] | None] | None = None,
    *,
    made: str,
    title: str = UNKNOWN,
    file: str = "",
) -> Posterior:
    """A posterior from columns of numbers in SI; raises `BadInput` with every fault."""
    known, faults = specs(Coefficients), []
    size = max(map(len, [*columns.values(), *filter(None, errors.values())]), default=0)
    if not columns or size < 2:
        message = "needs a coefficient with two draws or more"
        raise bad(where, prefixes[0].removesuffix("."), message)

    def check(spec: Spec | None, key: str, values: Sequence[Any] | None) -> None:
        if spec is None:
            name = key.removeprefix(prefixes[0])
            faults.append(Fault(where, key, f"no coefficient; {hint(name, known)}"))
        elif values is None:
            faults.append(Fault(where, key, f"missing; give the {spec.meaning}"))
        elif len(values) != size:
            faults.append(Fault(where, key, f"has {len(values)} values; others have {size}"))
        else:
            wrong = (spec.complaint(one, spec.si_unit) for one in values if not spec.has(one))
            faults.extend(Fault(where, key, one) for one in [next(filter(None, wrong), "")] if one)

    for name, values in columns.items():
        check(known.get(name), prefixes[0] + name, values)
    for name, column in errors.items():
        check(ERRORS[name], prefixes[1] + name, column)
    for name, column in (shifts or {}).items():
        check(SHIFTS[name], f"shift.{name}", column)
    if faults:
        raise BadInput(faults)
    rows = zip(*columns.values(), strict=True)
    draws = (dict(zip(columns, map(float, row), strict=True)) for row in rows)
    share, spread = (tuple(map(float, errors[name] or ())) for name in ERRORS)
    moved = [list(map(float, column or ())) for column in (shifts or {}).values()]
    return Posterior(
        draws=tuple(replace(USUAL, **draw) for draw in draws),
        share=share,
        spread=spread,
        shifts=tuple(
            Shift(**dict(zip(SHIFTS, row, strict=True))) for row in zip(*moved, strict=True)
        ),
        made=made,
        title=title,
        file=file,
        held=tuple(columns),
    )


def _median(values: list[float]) -> float:
    """Median of sorted values."""
    half = len(values) // 2
    return values[half] if len(values) % 2 else (values[half - 1] + values[half]) / 2
