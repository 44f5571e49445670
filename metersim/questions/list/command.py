"""The command list: what is shipped, as text."""

from __future__ import annotations

import argparse
import csv
import math
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from metersim.files.faults import BadInput, bad
from metersim.files.fields import Spec, specs
from metersim.files.units import hole_text, sentence_number
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.discs import SHIPPED as DISCS
from metersim.machine.discs import load_discs
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.machine.seedlot import LOT_NAMES, load_lot, shipped_lots
from metersim.machine.sources import SOURCES
from metersim.measures.yields import RELATIONS
from metersim.questions.list.equations import (
    Equation,
    Step,
    about,
    equations,
    station_names,
    worked,
)
from metersim.questions.list.faultcommand import (
    answer_faults,
    fault_options,
    refuse_fault_options,
)
from metersim.questions.list.faults import MACHINE, faults_answer, list_faults
from metersim.questions.shared.cases import load_case, shipped_cases
from metersim.questions.shared.options import units_option
from metersim.questions.shared.words import aligned, mass_text, seeds_a_pound, set_quantity, shown

SENSITIVITY = Path(__file__).parents[2] / "data" / "sensitivity.csv"
"""Made by ``python -m tests.validation.sensitivity``."""
MOVED = {  # columns of sensitivity in percentage points: shipped scenario and measure
    "bench_skips": ("maize_bench", "cells.skip"),
    "bench_doubles": ("maize_bench", "cells.double"),
    "bench_quality": ("maize_bench", "per_spacing.quality"),
    "bench_precision": ("maize_bench", "precision"),
    "field_quality": ("maize_field", "per_spacing.quality"),
}


def keys(units: str = "metric") -> list[tuple[str, str, str, str]]:
    """Rows of all keys of a scenario: section, keys, allowed values, meaning."""
    return [
        (section, " or ".join(spec.keys), allowed(spec, units), spec.meaning)
        for (section, _), spec in all_fields().items()
    ]


def allowed(spec: Spec, units: str = "metric") -> str:
    """Allowed values of a field, and whether it may be left out."""
    return spec.allowed(spec.unit_for(units)) + ("" if spec.required else ", may be left out")


@dataclass(frozen=True)
class Coefficient:
    """A coefficient of the model.

    Attributes
    ----------
    name : str
        Name in `metersim.machine.coefficients.Coefficients`.
    value, allowed : str
        Usual value and range, with their unit.
    meaning, origin : str
        Meaning of the coefficient, and origin of its value.
    moves : tuple of float
        Effect on each of `MOVED`; nan without a result. [percentage points]
    """

    name: str
    value: str
    allowed: str
    meaning: str
    origin: str
    moves: tuple[float, ...]


def coefficients() -> list[Coefficient]:
    """All coefficients, in the order in which seeds meet them."""
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
    """Description and rows of the shipped table of sensitivities, by coefficient."""
    head, *lines = SENSITIVITY.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(lines)
    return head.removeprefix("# "), {
        row["coefficient"]: tuple(float(row[column]) for column in MOVED) for row in rows
    }


MASS = {"metric": "mass", "us": "seeds a lb"}
MOVE_DIGITS = 2
WIDE = 100  # letters in a line of prose
WORKED = "maize_bench"  # scenario of the worked example of 'list equations'
WORKSHOP = {"m": ("mm", 1e3), "kg": ("mg", 1e6), "Pa": ("kPa", 1e-3), "rad": ("deg", 180 / math.pi)}
HOW_TO_READ = (
    "a^b is a to the power b; ln is the natural logarithm, exp its inverse. Phi is the share of a\n"
    "standard normal distribution below a value, Phi_inv its inverse; if(c, a, b) is a when c is\n"
    "true, else b. Angles are in radians; all units are SI."
)
NO_MOVE = "0: moves nothing in these two scenarios; in others it may, as with a low gate or a guide"


def lots(units: str = "metric") -> str:
    """List of shipped lots with their size, mass and number of assumptions."""
    rows = [("lot", "also", "L x W x T", MASS[units], "assumed", "", "title")]
    origins = []
    for name in shipped_lots():
        lot = load_lot(name)
        origins += [origin.source for origin in lot.origins.values()]
        sides = [shown("small", side, units) for side in (lot.length, lot.width, lot.thickness)]
        digits = 3 if units == "us" else 2
        size = " x ".join(f"{side:.{digits}f}" for side, _ in sides)
        heavy = mass_text(lot.seed_mass)
        if units == "us":
            heavy = f"{float(f'{seeds_a_pound(lot.seed_mass):.3g}'):,.0f}"
        note = "illustrative" if lot.illustrative else ""
        rows.append(
            (
                name,
                ", ".join(other for other, meant in LOT_NAMES.items() if meant == name),
                f"{size} {sides[0][1]}",
                heavy,
                f"{lot.assumed_share:.0%}",
                note,
                lot.title,
            )
        )
    notes = (
        "also: other names of the lot; assumed: share of the lot's values for which no source was "
        "found; illustrative: most of them, so do not decide on it"
    )
    return f"{aligned(rows)}\n\n{notes}\n\n{references(' '.join(origins))}"


def discs(units: str = "metric") -> str:
    """List of shipped generic discs with the seed that each is made for."""
    rows = [("cells", "hole", "agitation", "seed width", "made for")]
    rows += [
        (
            f"{disc.cells}",
            hole_text(disc.hole_diameter, units),
            f"{disc.agitation:g}",
            set_quantity("small", disc.seed_width, units),
            disc.meant_for,
        )
        for disc in load_discs()
    ]
    return (
        f"{aligned(rows)}\n\nGeneric sizes of no maker's in particular; 'metersim sheet' chooses "
        f"among them, or among yours.\nFile: {DISCS}: copy it and list your own."
    )


def scenarios(units: str = "metric") -> str:
    """List of shipped scenarios with their subjects."""
    rows = []
    for name, path in shipped_scenarios().items():
        try:
            rows.append((name, load_scenario(path).shows))
        except BadInput as error:
            rows.append((name, f"cannot be read: {error}"))
    return aligned(rows)


def cases(units: str = "metric") -> str:
    """List of published cases with their sources and files."""
    found = {name: load_case(name) for name in shipped_cases()}
    rows = [(name, f"{len(case.rows)} rows", case.reference) for name, case in found.items()]
    folder = next(iter(found.values())).path.parent
    own = "For a table of your own, copy one of them and, beside it, the folder 'machines'."
    return f"{aligned(rows, WIDE)}\n\nFiles: {folder}\n{own}"


def all_keys(units: str = "metric") -> str:
    """List of all keys of a scenario file."""
    return aligned([("section", "key", "allowed", "meaning"), *keys(units)])


def all_coefficients(units: str = "metric") -> str:
    """List of all coefficients of the model with their effects."""
    listed = coefficients()
    rows = [(c.name, c.value, c.allowed, *map(_move, c.moves)) for c in listed]
    above, below = zip(*(column.split("_") for column in MOVED), strict=True)
    heads = [("", "", "", *above), ("coefficient", "value", "allowed", *below)]
    first, second, *lines = aligned([*heads, *rows]).splitlines()
    said = "\n".join(
        f"{line}\n    {c.meaning}\n    set by: {c.origin}"
        for line, c in zip(lines, listed, strict=True)
    )
    used = references(" ".join(f"{c.meaning} {c.origin}" for c in listed))
    moved = "\n".join(textwrap.wrap(sensitivity()[0], WIDE))
    return f"{first}\n{second}\n{said}\n\n{moved}\n{NO_MOVE}\n\n{used}"


def _move(points: float) -> str:
    """A change in percentage points, with no more digits than its sampling error supports."""
    if math.isnan(points):
        return "-"
    return f"{points:+.{MOVE_DIGITS}f}" if round(points, MOVE_DIGITS) else "0"


def all_equations(units: str = "metric", scenario: Scenario | None = None) -> str:
    """List of all equations with formula, meaning and source, or a worked example.

    Parameters
    ----------
    units : str
        ``metric`` or ``us``; formulas and their example are in SI for every reader.
    scenario : Scenario, optional
        Scenario of the worked example; usually `WORKED`.
    """
    listed = equations()
    parts = [HOW_TO_READ]
    for station in station_names():
        heading = f"{station}: {about(station)}"
        parts.append("\n".join([heading, "-" * min(len(heading), WIDE)]))
        parts += [_equation(one) for one in listed if one.station == station]
    parts.append(_worked(scenario or load_scenario(WORKED)))
    return "\n\n".join([*parts, references(" ".join(one.source for one in listed))])


def _equation(equation: Equation) -> str:
    """Formula, meaning and source of an equation."""
    first, *rest = equation.formula
    lines = _folded(first, "", 4)
    for part in rest:
        lines += _folded(f"where {part}", "    ", 8)
    unit = "" if equation.unit == "1" else f" [{equation.unit}]"
    return "\n".join(
        [*lines, *_folded(f"{equation.gives}{unit}", "    "), *_folded(equation.source, "    ")]
    )


def _worked(scenario: Scenario) -> str:
    """Worked example of a scenario, step by step."""
    head = (
        f"Worked through: {scenario.name}, from the size of a seed to the chance of an empty cell"
    )
    steps = worked(scenario)
    lines = [head, "-" * len(head)]
    for number, step in enumerate(steps, 1):
        lines += _step(number, step)
    empty = steps[-1].result
    blocked = USUAL.blocked
    share = sentence_number(blocked * 100)
    all_empty = sentence_number(100 * (blocked + (1 - blocked) * empty))
    last = f"Blocked cells are {share} % of all. With these, {all_empty} % of the cells stay empty."
    return "\n".join([*lines, last])


def _step(number: int, step: Step) -> list[str]:
    """Lines of a step: name, result, description, and input numbers."""
    equation = step.equation
    name = f"{equation.station}.{equation.name}" if equation.station else equation.name
    put = [f"{what} {_quantity(x, equation.units.get(what, '1'))}" for what, x in step.put.items()]
    formula = [] if equation.station else _folded(equation.formula[0], "    ", 8)
    return [
        f"{number:2}. {name}: {_quantity(step.result, equation.unit)}",
        *_folded(equation.gives, "    "),
        *formula,
        *_folded(f"from {', '.join(put)}", "    ", 6),
    ]


def _quantity(value: float, unit: str) -> str:
    """A number with its unit, in the units of a workshop."""
    symbol, factor = WORKSHOP.get(unit, (unit, 1.0))
    return f"{sentence_number(value * factor)} {symbol}".removesuffix(" 1")


def _folded(text: str, start: str, deep: int | None = None) -> list[str]:
    """A text in lines of `WIDE` letters: `start` before the first, an indent before others."""
    return textwrap.wrap(
        text,
        WIDE,
        initial_indent=start,
        subsequent_indent=" " * (len(start) if deep is None else deep),
        break_on_hyphens=False,
        break_long_words=False,
    )


def all_yields(units: str = "metric") -> str:
    """List of all published relations of yield to the stand, with ranges and references."""
    rows = [("crop", "by", "mark", "studied", "says")]
    for one in RELATIONS:
        kind = "length" if one.of == "plants.sd" else "share"
        ends = [set_quantity(kind, end, units) for end in one.covers or ()]
        said = " to ".join([*(end.rpartition(" ")[0] for end in ends[:-1]), *ends[-1:]])
        rows.append((one.crop, one.by, one.mark, said or "not noted", one.statement(units)))
    notes = (
        "SD: of all plant spacings; mark: read in the source, or from memory\n"
        "what each takes off is against an even stand of as many plants"
    )
    used = " ".join(one.source for one in RELATIONS)
    return f"{aligned(rows)}\n\n{notes}\n\n{references(used)}"


def all_sources(units: str = "metric") -> str:
    """List of all references by key."""
    return aligned(SOURCES.items(), WIDE)


def all_faults(units: str = "metric") -> str:
    """List of the faults of a machine in a field, without the inspections."""
    return faults_answer(list_faults(load_scenario(MACHINE)))


def references(text: str) -> str:
    """Full references of all keys in a text."""
    return "References\n" + aligned(
        ((key, full) for key, full in SOURCES.items() if key in text), WIDE
    )


LISTS: dict[str, Callable[[str], str]] = {
    "lots": lots,
    "discs": discs,
    "scenarios": scenarios,
    "cases": cases,
    "faults": all_faults,
    "keys": all_keys,
    "coefficients": all_coefficients,
    "equations": all_equations,
    "yields": all_yields,
    "sources": all_sources,
}


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim list``."""
    add = command.add_argument
    add("what", metavar="WHAT", choices=tuple(LISTS), help=", ".join(LISTS))
    add(
        "scenario",
        nargs="?",
        metavar="SCENARIO",
        help=f"with equations: the scenario to work through ({WORKED}); with faults: the machine "
        f"({MACHINE})",
    )
    fault_options(command)
    units_option(command, "; equations, coefficients and faults are metric")


def answer(options: argparse.Namespace) -> str:
    """The requested list."""
    if options.what == "faults":
        return answer_faults(options)
    refuse_fault_options(options)
    if options.scenario is None:
        return LISTS[options.what](options.units)
    if options.what != "equations":
        raise bad(
            "list", options.scenario, "only 'list equations' and 'list faults' take a scenario"
        )
    return all_equations(options.units, load_scenario(options.scenario))
