"""Text of what is shipped."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable

from metersim.files.faults import BadInput
from metersim.files.units import UNITS, sentence_number
from metersim.machine.coefficients import USUAL
from metersim.machine.discs import SHIPPED as DISCS
from metersim.machine.discs import load_discs
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import load_lot, shipped_lots
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
from metersim.questions.list.study import MOVED, coefficients, keys, sensitivity
from metersim.questions.shared.cases import load_case, shipped_cases
from metersim.questions.shared.words import aligned

MOVE_DIGITS = 2
WIDE = 100  # letters of a line of prose
WORKED = "maize_bench"  # the scenario that 'list equations' works through
WORKSHOP = {"m": ("mm", 1e3), "kg": ("mg", 1e6), "Pa": ("kPa", 1e-3), "rad": ("deg", 180 / math.pi)}
HOW_TO_READ = (
    "a^b is a to the power b; ln is the natural logarithm, exp its inverse. Phi is the share of a\n"
    "standard normal distribution below a value, Phi_inv its inverse; if(c, a, b) is a when c is\n"
    "true, else b. Angles are in radians; all units are SI."
)
NO_MOVE = "0: moves nothing in these two scenarios; in others it may, as with a low gate or a guide"


def lots() -> str:
    """Shipped lots with their size, mass and how much of them is assumed."""
    rows = [("lot", "L x W x T", "mass", "assumed", "", "title")]
    origins = []
    for name in shipped_lots():
        lot = load_lot(name)
        origins += [origin.source for origin in lot.origins.values()]
        size = " x ".join(f"{side * 1e3:.2f}" for side in (lot.length, lot.width, lot.thickness))
        note = "illustrative" if lot.illustrative else ""
        rows.append(
            (
                name,
                f"{size} mm",
                f"{lot.seed_mass * 1e6:.4g} mg",
                f"{lot.assumed_share:.0%}",
                note,
                lot.title,
            )
        )
    told = (
        "assumed: share of the lot's values for which no source was found; illustrative: most of "
        "them, so do not decide on it"
    )
    return f"{aligned(rows)}\n\n{told}\n\n{references(' '.join(origins))}"


def discs() -> str:
    """Shipped generic discs, and the seed that each is made for."""
    rows = [("cells", "hole", "agitation", "seed width", "made for")]
    rows += [
        (
            f"{disc.cells}",
            f"{disc.hole_diameter * 1e3:.4g} mm",
            f"{disc.agitation:g}",
            f"{disc.seed_width * 1e3:.4g} mm",
            disc.meant_for,
        )
        for disc in load_discs()
    ]
    return (
        f"{aligned(rows)}\n\nGeneric sizes of no maker's in particular; 'metersim sheet' chooses "
        f"among them, or among yours.\nFile: {DISCS}: copy it and list your own."
    )


def scenarios() -> str:
    """Shipped scenarios with what they show."""
    rows = []
    for name, path in shipped_scenarios().items():
        try:
            rows.append((name, load_scenario(path).shows))
        except BadInput as error:
            rows.append((name, f"cannot be read: {error}"))
    return aligned(rows)


def cases() -> str:
    """Published cases with their source and file, to read and to take as a pattern."""
    found = {name: load_case(name) for name in shipped_cases()}
    rows = [(name, f"{len(case.rows)} rows", case.reference) for name, case in found.items()]
    folder = next(iter(found.values())).path.parent
    own = "For a table of your own, copy one of them and, beside it, the folder 'machines'."
    return f"{aligned(rows, WIDE)}\n\nFiles: {folder}\n{own}"


def all_keys() -> str:
    """Every key of a scenario file."""
    return aligned([("section", "key", "allowed", "meaning"), *keys()])


def all_coefficients() -> str:
    """Every coefficient of the model, with how far it moves what comes out."""
    told = coefficients()
    rows = [(c.name, c.value, c.allowed, *map(_move, c.moves)) for c in told]
    above, below = zip(*(column.split("_") for column in MOVED), strict=True)
    heads = [("", "", "", *above), ("coefficient", "value", "allowed", *below)]
    first, second, *lines = aligned([*heads, *rows]).splitlines()
    said = "\n".join(
        f"{line}\n    {c.meaning}\n    set by: {c.origin}"
        for line, c in zip(lines, told, strict=True)
    )
    used = references(" ".join(f"{c.meaning} {c.origin}" for c in told))
    moved = "\n".join(textwrap.wrap(sensitivity()[0], WIDE))
    return f"{first}\n{second}\n{said}\n\n{moved}\n{NO_MOVE}\n\n{used}"


def _move(points: float) -> str:
    """A change in points, with no more digits than luck leaves."""
    if math.isnan(points):
        return "-"
    return f"{points:+.{MOVE_DIGITS}f}" if round(points, MOVE_DIGITS) else "0"


def all_equations(scenario: Scenario | None = None) -> str:
    """Every equation with its formula, meaning and source; a scenario worked through.

    Parameters
    ----------
    scenario : Scenario, optional
        The one to work through; usually `WORKED`.
    """
    told = equations()
    parts = [HOW_TO_READ]
    for station in station_names():
        heading = f"{station}: {about(station)}"
        parts.append("\n".join([heading, "-" * min(len(heading), WIDE)]))
        parts += [_equation(one) for one in told if one.station == station]
    parts.append(_worked(scenario or load_scenario(WORKED)))
    return "\n\n".join([*parts, references(" ".join(one.source for one in told))])


def _equation(told: Equation) -> str:
    """Formula, meaning and source of an equation."""
    first, *rest = told.formula
    lines = _folded(first, "", 4)
    for part in rest:
        lines += _folded(f"where {part}", "    ", 8)
    unit = "" if told.unit == "1" else f" [{told.unit}]"
    return "\n".join(
        [*lines, *_folded(f"{told.gives}{unit}", "    "), *_folded(told.source, "    ")]
    )


def _worked(scenario: Scenario) -> str:
    """A scenario worked through, step by step."""
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
    """A step: its name and result, what it gives, the numbers that are put in."""
    told = step.equation
    name = f"{told.station}.{told.name}" if told.station else told.name
    put = [f"{what} {_quantity(x, told.units.get(what, '1'))}" for what, x in step.put.items()]
    formula = [] if told.station else _folded(told.formula[0], "    ", 8)
    return [
        f"{number:2}. {name}: {_quantity(step.result, told.unit)}",
        *_folded(told.gives, "    "),
        *formula,
        *_folded(f"from {', '.join(put)}", "    ", 6),
    ]


def _quantity(value: float, unit: str) -> str:
    """A number with its unit, in the units of a workshop."""
    symbol, factor = WORKSHOP.get(unit, (unit, 1.0))
    return f"{sentence_number(value * factor)} {symbol}".removesuffix(" 1")


def _folded(text: str, start: str, deep: int | None = None) -> list[str]:
    """A text in lines of `WIDE` letters, the first after `start`, the others so deep in."""
    return textwrap.wrap(
        text,
        WIDE,
        initial_indent=start,
        subsequent_indent=" " * (len(start) if deep is None else deep),
        break_on_hyphens=False,
        break_long_words=False,
    )


def all_yields() -> str:
    """Every published relation of yield to the stand, with what it covers and its reference."""
    rows = [("crop", "by", "mark", "studied", "says")]
    for one in RELATIONS:
        unit = UNITS["cm" if one.of == "plants.sd" else "percent"]
        ends = " to ".join(f"{unit.from_si(end):.4g}" for end in one.covers or ())
        studied = f"{ends} {unit.symbol}" if ends else "not noted"
        rows.append((one.crop, one.by, one.mark, studied, one.says))
    told = (
        "SD: of all plant spacings; mark: read in the source, or from memory\n"
        "what each takes off is against an even stand of as many plants"
    )
    used = " ".join(one.source for one in RELATIONS)
    return f"{aligned(rows)}\n\n{told}\n\n{references(used)}"


def all_sources() -> str:
    """Every reference by its key."""
    return aligned(SOURCES.items(), WIDE)


def references(text: str) -> str:
    """The references whose keys a text names, in full."""
    return "References\n" + aligned(
        ((key, full) for key, full in SOURCES.items() if key in text), WIDE
    )


LISTS: dict[str, Callable[[], str]] = {
    "lots": lots,
    "discs": discs,
    "scenarios": scenarios,
    "cases": cases,
    "keys": all_keys,
    "coefficients": all_coefficients,
    "equations": all_equations,
    "yields": all_yields,
    "sources": all_sources,
}
