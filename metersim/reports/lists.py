"""Text of what is shipped."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from metersim.catalogue import coefficients, equations, keys
from metersim.faults import BadInput
from metersim.reading import load_scenario, shipped_scenarios
from metersim.reports.words import number
from metersim.seedlot import load_lot, shipped_lots
from metersim.sources import SOURCES


def lots() -> str:
    """Shipped lots with their size, mass and how much of them is assumed."""
    rows = []
    for name in shipped_lots():
        lot = load_lot(name)
        size = " x ".join(f"{side * 1e3:.2f}" for side in (lot.length, lot.width, lot.thickness))
        note = "illustrative" if lot.illustrative else ""
        rows.append(
            (
                name,
                f"{size} mm",
                f"{lot.seed_mass * 1e6:.4g} mg",
                f"{lot.assumed_share:.0%} assumed",
                note,
                lot.title,
            )
        )
    return aligned(rows)


def scenarios() -> str:
    """Shipped scenarios with what they show."""
    rows = []
    for name, path in shipped_scenarios().items():
        try:
            rows.append((name, load_scenario(path).shows))
        except BadInput as error:
            rows.append((name, f"cannot be read: {error}"))
    return aligned(rows)


def all_keys() -> str:
    """Every key of a scenario file."""
    return aligned(keys())


def all_coefficients() -> str:
    """Every coefficient of the model."""
    return aligned((name, number(value), *rest) for name, value, *rest in coefficients())


def all_equations() -> str:
    """Every function of the model with its source, and the references in full."""
    rows = [(f"{e.station}.{e.name}", e.gives, e.source) for e in equations()]
    used = " ".join(source for _, _, source in rows)
    cited = [(key, text) for key, text in SOURCES.items() if key in used]
    return aligned(rows) + "\n\nReferences\n" + aligned(cited)


def aligned(rows: Iterable[Sequence[str]]) -> str:
    """Rows as columns, the last one as long as it likes."""
    table = [tuple(row) for row in rows]
    widths = [max(len(row[k]) for row in table) for k in range(len(table[0]) - 1)]
    return "\n".join(
        "  ".join([*(f"{cell:{width}}" for cell, width in zip(row, widths, strict=False)), row[-1]])
        for row in table
    )


LISTS: dict[str, Callable[[], str]] = {
    "lots": lots,
    "scenarios": scenarios,
    "keys": all_keys,
    "coefficients": all_coefficients,
    "equations": all_equations,
}
