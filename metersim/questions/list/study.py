"""What is shipped: keys of scenarios, and coefficients."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from metersim.files.fields import Spec, specs
from metersim.files.units import sentence_number
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.sections import all_fields

SENSITIVITY = Path(__file__).parents[2] / "data" / "sensitivity.csv"
"""Made by ``python -m tests.validation.sensitivity``."""
MOVED = {  # its columns, all in points: the shipped scenario and the measure that is moved
    "bench_skips": ("maize_bench", "cells.skip"),
    "bench_doubles": ("maize_bench", "cells.double"),
    "bench_quality": ("maize_bench", "per_spacing.quality"),
    "bench_precision": ("maize_bench", "precision"),
    "field_quality": ("maize_field", "per_spacing.quality"),
}


def keys() -> list[tuple[str, str, str, str]]:
    """Every key of a scenario: section, keys, allowed values, meaning."""
    return [
        (section, " or ".join(spec.keys), allowed(spec), spec.meaning)
        for (section, _), spec in all_fields().items()
    ]


def allowed(spec: Spec) -> str:
    """Allowed values of a field, and whether it may be left out."""
    return spec.allowed() + ("" if spec.required else ", may be left out")


@dataclass(frozen=True)
class Coefficient:
    """A coefficient of the model.

    Attributes
    ----------
    name : str
        Its name in `metersim.machine.coefficients.Coefficients`.
    value, allowed : str
        Its usual value and its range, with their unit.
    meaning, origin : str
        What it is, and how its value was set.
    moves : tuple of float
        How far it moves each of `MOVED`; nan when that was not worked out. [points]
    """

    name: str
    value: str
    allowed: str
    meaning: str
    origin: str
    moves: tuple[float, ...]


def coefficients() -> list[Coefficient]:
    """Every coefficient, in the order in which seeds meet it."""
    moved = sensitivity()[1]
    found = []
    for name, spec in specs(Coefficients).items():
        unit = spec.units[0] if spec.units else None
        value = getattr(USUAL, name)
        meaning, _, origin = spec.meaning.rpartition("; ")
        found.append(
            Coefficient(
                name=name,
                value=f"{sentence_number(unit.from_si(value))} {unit.symbol}"
                if unit
                else sentence_number(value),
                allowed=spec.allowed().removeprefix("a number from "),
                meaning=meaning,
                origin=origin,
                moves=moved.get(name, (math.nan,) * len(MOVED)),
            )
        )
    return found


@cache
def sensitivity() -> tuple[str, dict[str, tuple[float, ...]]]:
    """What the shipped table of sensitivities says of itself, and its rows by coefficient."""
    head, *lines = SENSITIVITY.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(lines)
    return head.removeprefix("# "), {
        row["coefficient"]: tuple(float(row[column]) for column in MOVED) for row in rows
    }
