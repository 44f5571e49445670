"""What is shipped: lots, scenarios, keys, coefficients and equations."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from dataclasses import dataclass

from metersim import physics
from metersim.coefficients import USUAL, Coefficients
from metersim.fields import Spec, specs
from metersim.sections import all_fields


@dataclass(frozen=True)
class Equation:
    """A function of the model.

    Attributes
    ----------
    station, name : str
        Module and function.
    gives : str
        What it gives, in a sentence.
    source : str
        Where it comes from: sources, or that it is an assumption.
    """

    station: str
    name: str
    gives: str
    source: str


def equations() -> list[Equation]:
    """Every function of the model, station by station."""
    found = []
    for module in pkgutil.iter_modules(physics.__path__):
        station = importlib.import_module(f"{physics.__name__}.{module.name}")
        for name, function in inspect.getmembers(station, inspect.isfunction):
            if function.__module__ == station.__name__ and not name.startswith("_"):
                text = inspect.getdoc(function) or ""
                found.append(Equation(module.name, name, text.split("\n\n")[0], _source(text)))
    return found


def _source(docstring: str) -> str:
    notes = docstring.partition("Notes\n-----\n")[2]
    return re.sub(r"\s+", " ", notes).strip()


def keys() -> list[tuple[str, str, str, str]]:
    """Every key of a scenario: section, keys, allowed values, meaning."""
    return [
        (section, " or ".join(spec.keys), allowed(spec), spec.meaning)
        for (section, _), spec in all_fields().items()
    ]


def allowed(spec: Spec) -> str:
    """Allowed values of a field, and whether it may be left out."""
    return spec.allowed() + ("" if spec.required else ", may be left out")


def coefficients() -> list[tuple[str, float, str, str]]:
    """Every coefficient: name, usual value, allowed range, meaning with source."""
    return [
        (name, spec.units[0].from_si(value) if spec.units else value, spec.allowed(), spec.meaning)
        for name, spec in specs(Coefficients).items()
        for value in [getattr(USUAL, name)]
    ]
