"""Text of a run: what was asked, what comes out, what limits it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from metersim.indices import BY_KEY
from metersim.limits import causes, cautions
from metersim.measures import Measured
from metersim.records import POOL_EMPTY, Origin
from metersim.reports.care import PROVE
from metersim.reports.unknowns import apart, head, meanings
from metersim.reports.words import block, interval_text, notch_text, quantity, set_quantity
from metersim.scenario import Scenario
from metersim.studies.unknowns import Spread
from metersim.unknown import Unknown

SHOWN: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Cells",
        (
            ("cells.skip", "skips"),
            ("cells.single", "singles"),
            ("cells.double", "doubles"),
            ("cells.triple", "triples"),
            ("cells.skip_run", "mean run of skips"),
        ),
    ),
    (
        "Spacings",
        (
            ("per_spacing.multiple", "multiple index D"),
            ("per_spacing.quality", "quality of feed A"),
            ("per_spacing.miss", "miss index M"),
            ("precision", "precision"),
            ("spacing.mean", "mean"),
            ("spacing.sd", "SD of all"),
            ("spacing.cp3", "CP3 about nominal"),
        ),
    ),
    (
        "Places",
        (
            ("per_place.multiple", "several seeds"),
            ("per_place.single", "one seed"),
            ("per_place.miss", "no seed"),
        ),
    ),
    (
        "On the way",
        (
            ("drop_time.mean", "drop time, mean"),
            ("drop_time.sd", "drop time, SD"),
            ("placed.frequency", "seeds released"),
            ("placed.per_area", "seeds placed"),
        ),
    ),
    (
        "Sensor",
        (
            ("sensor.seen", "seeds seen"),
            ("sensor.multiple", "multiples shown"),
            ("sensor.miss", "misses shown"),
        ),
    ),
)
BLUNT_PRECISION = 0.25  # of spacings spread evenly over the normal class it is 1/sqrt(12)
LABELS = {key: label for _, rows in SHOWN for key, label in rows}


def asked(scenario: Scenario, units: str = "metric") -> list[str]:
    """Lines that say what is asked of the meter."""
    demand = scenario.demand
    turning = scenario.angular_speed * 60 / (2 * math.pi)
    where = "in the field" if scenario.in_field else "on the bench"
    return [
        f"{set_quantity('per_area', demand.rate, units)} in rows "
        f"{set_quantity('length', demand.row_spacing, units)} apart at "
        f"{set_quantity('speed', demand.speed, units)} {where}: one seed every "
        f"{quantity('length', scenario.spacing, units)}",
        f"{scenario.lot.title}; {scenario.disc.cells} holes of "
        f"{set_quantity('small', scenario.disc.hole_diameter, units)}, "
        f"{set_quantity('pressure', scenario.vacuum.vacuum, units)}, "
        f"{notch_text(scenario.singulator.notch)}",
        f"{scenario.cell_rate:.1f} cells/s, disc {turning:.1f} rev/min, holes at "
        f"{quantity('hole_speed', scenario.peripheral_speed, units)}",
        *([not_known_text(scenario.unknown)] if scenario.unknown else []),
    ]


def not_known_text(unknown: Iterable[Unknown]) -> str:
    """A line that says of which settings the middle stands for all that they may be."""
    return f"not known, and here at its middle: {'; '.join(map(str, unknown))}"


def table(measured: Measured, units: str = "metric", spread: Spread | None = None) -> list[str]:
    """Lines of the table of estimates; with a spread, luck and not knowing stand apart."""
    level = f"{measured.level:.0%} interval".replace("%", " %")
    lines = [f"{'':31}{'estimate':>14}   {head(level) if spread else level}"]
    for group, rows in SHOWN:
        for row, (key, label) in enumerate(rows):
            kind, estimate = BY_KEY[key].kind, measured[key]
            first = group if row == 0 else ""
            told = apart(spread, key, units) if spread else interval_text(kind, estimate, units)
            lines.append(
                f"{first:11}{label:20}{quantity(kind, estimate.value, units):>14}   {told}"
            )
    return lines


def limits(measured: Measured) -> list[str]:
    """Lines that say what limits the result."""
    found = causes(measured)[:3]
    of = "spacings" if measured.total("spacings") else "cells"
    lines = [f"{cause.share * 100:.2f} % of {of}: {cause.name}" for cause in found]
    return lines or ["nothing: every cell released one seed into its place"]


def summary(
    measured: Measured,
    units: str = "metric",
    spread: Spread | None = None,
    plants: Sequence[str] = (),
) -> str:
    """The readable summary of a run or of its replicates, and of draws of what is not known.

    Parameters
    ----------
    measured : Measured
        Measures of the seeds.
    units : str
        ``metric`` or ``us``.
    spread : Spread, optional
        What draws of what is not known gave.
    plants : sequence of str
        Lines of `metersim.reports.agronomy.plants_block`, when they are asked for.
    """
    scenario = measured.scenario
    lines = [heading(measured)]
    if scenario.shows:
        lines.append(scenario.shows)
    lines += ["", *block("Asked", asked(scenario, units)), ""]
    counts = measured.counts
    watched = f"{counts['cells']:,} cells, {counts['seeds']:,} seeds"
    if counts["longest_skip_run"] > 1:
        watched += f", longest run of skips {counts['longest_skip_run']} cells"
    if len(measured.tallies) > 1:
        watched += f", {len(measured.tallies)} replicates"
    lines += [*block("Watched", [watched]), "", *table(measured, units, spread), ""]
    if spread:
        lines += [*block("Not known", meanings(spread, LABELS, units)), ""]
    lines += [*block("Limits", limits(measured)), ""]
    lines += [*plants, ""] if plants else []
    if found := notes(measured, units):
        lines += [*block("Note", found), ""]
    lines.append(PROVE)
    return "\n".join(lines)


def notes(measured: Measured, units: str = "metric") -> list[str]:
    """What a reader of a result must know: cautions, warnings, replaced stations."""
    scenario = measured.scenario
    found = [*cautions(scenario, units), *scenario.warnings, *_replaced(measured)]
    if empty := int(measured.reasons[POOL_EMPTY]):
        found.append(
            f"the pool was empty under {empty:,} cells: spacings and places tell of the row where "
            "seed was sown, skips tell of all cells"
        )
    if measured["precision"].value > BLUNT_PRECISION:
        found.append(
            "precision is near 29 %, the most it can be: look at the SD of all spacings instead"
        )
    return found


def heading(*measured: Measured) -> str:
    """Titles, scenarios, what was changed in all of them, seed and version in one line."""
    return heading_of(*(part.origin for part in measured))


def heading_of(*origins: Origin) -> str:
    """The same from where results come from."""
    origin, scenarios = origins[0], [part.scenario for part in origins]
    titles = " / ".join(dict.fromkeys(scenario.title for scenario in scenarios))
    names = " / ".join(dict.fromkeys(scenario.name for scenario in scenarios))
    changes = [
        change
        for change in scenarios[0].changes
        if all(change in scenario.changes for scenario in scenarios)
    ]
    luck = f"random seed {origin.seed}, metersim {origin.version}"
    return f"{titles} ({', '.join([names, *changes, luck])})"


def _replaced(measured: Measured) -> list[str]:
    return [
        f"station '{name}' is replaced by {kind}" for name, kind in measured.origin.replaced.items()
    ]
