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
    return aligned([("section", "key", "allowed", "meaning"), *keys()])


def all_coefficients() -> str:
    """Every coefficient of the model."""
    rows = [(name, number(value), *rest) for name, value, *rest in coefficients()]
    used = references(" ".join(meaning for *_, meaning in rows))
    return aligned([("coefficient", "value", "allowed", "meaning"), *rows]) + f"\n\n{used}"


def all_equations() -> str:
    """Every function of the model with its source, and the references in full."""
    rows = [(f"{e.station}.{e.name}", e.gives, e.source) for e in equations()]
    used = references(" ".join(source for _, _, source in rows))
    parts = "\n".join(f"{name}\n    {gives}\n    {source}" for name, gives, source in rows)
    return f"{parts}\n\n{used}"


def all_sources() -> str:
    """Every reference by its key."""
    return aligned(SOURCES.items())


def references(text: str) -> str:
    """The references whose keys a text names, in full."""
    return "References\n" + aligned((key, full) for key, full in SOURCES.items() if key in text)


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
    "sources": all_sources,
}
