"""Notes of every report: the request, cautions, and input uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from metersim.files.units import hole_text
from metersim.files.unknown import Unknown
from metersim.machine.airline import chamber_vacuum, middle_row
from metersim.machine.load import speed_kept
from metersim.machine.losses import POOL_EMPTY
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured
from metersim.measures.limits import cautions, outside
from metersim.questions.shared.answer import capital
from metersim.questions.shared.discrepancy import widening
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.words import (
    LABEL,
    about_quantity,
    change_text,
    interval_text,
    notch_text,
    quantity,
    set_quantity,
)
from metersim.run.records import Origin

PROVE = "A prediction for learning and planning: prove it on a bench."
MANUAL = "The machine's manual and local rules come first"
AT_A_METER = (
    "Stop the machine and the fan, and lower or block what is raised, before a hand goes near the "
    f"meter; keep out of treated-seed dust. {MANUAL}."
)
IN_THE_ROW = (
    "Count and dig only behind a machine that stands still, lowered or blocked, with the fan off; "
    f"wear gloves and keep out of treated-seed dust. {MANUAL}."
)
WITH_THE_FAN = (
    "Count with the fan running only from a safe place, with all guards on; no hand, sleeve or eye "
    f"goes near an open cover. {MANUAL}."
)
STOPPED = (
    "Stop fan and disc before a hand goes in. If they run: guards on, measure at a port. "
    "The manual comes first."
)
SPACERS = (
    "Stop and lock out, fan at rest, before spacers go in; guards back on. The machine's manual "
    "decides."
)
RUNNING = (
    "Fan and disc run while you count: guards stay on, measure at a port. "
    "The machine's manual comes first."
)
BEFORE = (
    f"{MANUAL}, before anything here.",
    "Stop the machine, let fan and disc come to rest, and lock out, so that nothing can start, "
    "before you open a meter or reach into it. Put a raised frame on stands.",
    "On the bench too: the fan draws in sleeves and hair, disc and drive pinch. Guards stay on.",
    "Treated seed: no bare hands, no dust in the air. Gloves, respirator and disposal as its label "
    "says; a vacuum cleaner, never compressed air; wash before you eat.",
)
CROP_CHANGE = (
    "Locked out. Hopper, meter and tube empty; leftover seed back to its own bag, with its label",
    "Disc off: holes clear, rim and face flat, no crack; chamber cleaned with a vacuum cleaner",
    "Disc of this sheet in; singulator made for it, edge not worn, moving freely; set the notch",
    "Brush and seals whole and seated; cut-off edge clean and sharp",
    "Gate set; inner guide as said here; tube clean, not rough inside; sensor lens brushed",
    "Lubricant (talc, graphite or such) as the seed's supplier says, no more",
    "Turn the disc by hand once: nothing rubs",
)
BENCH = (
    "Vacuum read at a port, guards on, while the disc carries seed: open holes leak",
    "Two turns to fill before anything counts",
    "Count as said here: skips, doubles, and where they come from",
    "Change one setting at a time, count again, write both down",
    "Seed in the bag differs from lot to lot: measure it, and count again with each new lot",
    "In the field: dig and measure in the first pass, and again when soil or speed change",
)

WIDE = 22  # letters of an interval
PARTS = ("sampling", "inputs", "model")
NOT_DETECTED = "not detected"


def level_text(level: float) -> str:
    """Head of a column of intervals, such as ``90 % interval``."""
    return f"{level:.0%} interval".replace("%", " %")


def interval_heads(level: float, spread: Spread | None, details: bool = False) -> str:
    """Heads of the columns of `interval_cells`."""
    head = level_text(level)
    if not (details and spread):
        return head
    return f"{head:{WIDE}}{''.join(f'{part:{WIDE}}' for part in PARTS)}own run"


def interval_cells(spread: Spread, key: str, units: str = "metric", details: bool = False) -> str:
    """Total interval of a measure; with details also its parts, and the scenario's own run."""
    kind, parts = spread.measures[key].kind, spread.parts(key)
    total = interval_text(kind, parts["total"], units)
    if not details:
        return total
    shown = [interval_text(kind, parts[part], units) for part in PARTS]
    if spread.of_inputs is None:
        shown[1] = "-"
    elif not _is_detected(spread, key):
        shown[1] = NOT_DETECTED
    columns = "".join(f"{one:{WIDE}}" for one in (total, *shown))
    return f"{columns}{quantity(kind, parts['own_run'].value, units)}"


def interval_lines(
    spread: Spread, details: bool = False, units: str = "metric", *, inputs: bool = True
) -> list[str]:
    """Lines that state what the intervals hold, and what was drawn; inputs may stand elsewhere."""
    title = spread.posterior.title if spread.posterior else ""
    drawn = [title, *(one.text(units) for one in (spread.unknowns if inputs else ()))]
    lines = [
        f"total uncertainty (sampling, inputs and model), over {spread.size:,} draws of "
        f"{'; '.join(filter(None, drawn))}"
    ]
    if details:
        lines += [
            "sampling: random variation of a count of this length; inputs: values given as ranges; "
            "model: the machine's coefficients, and the error of the model",
            "estimate: the middle of the draws; own run: the run of the scenario itself, with "
            "usual coefficients and inputs at their middle",
        ]
    return lines


def difference_lines(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines of differences with the parts of their intervals.

    Parameters
    ----------
    spread : Spread
        Uncertainty of differences.
    names : mapping of str to str
        Names of measures by key.
    units : str
        ``metric`` or ``us``.
    """
    heads = "".join(f"{part:{WIDE + 16}}" for part in PARTS)
    lines = [f"{spread.about}, parts of the interval:", f"{'':{LABEL}}{heads}".rstrip()]
    for key in names:
        if key not in spread.estimates:
            continue
        kind, parts = spread.measures[key].kind, spread.parts(key)
        shown = [change_text(kind, parts[part], units) for part in PARTS]
        if spread.of_inputs is None:
            shown[1] = "-"
        elif not _is_detected(spread, key):
            shown[1] = NOT_DETECTED
        columns = "".join(f"{one:{WIDE + 16}}" for one in shown)
        lines.append(f"{names[key]:{LABEL}}{columns}".rstrip())
    return lines


def _is_detected(spread: Spread, key: str) -> bool:
    """Whether input uncertainty is detected, or the run is too short to estimate it."""
    return spread.is_detected(key) or math.isnan(spread.inputs(key).low)


def sign_lines(spread: Spread, names: Mapping[str, str]) -> list[str]:
    """A line that names the differences whose sign depends on uncertain inputs."""
    found = [names[key] for key in names if spread.has_either_sign(key)]
    said = f"{', '.join(found)}: may rise or fall with the uncertain inputs ({spread.about})."
    return [capital(said)] if found else []


BLUNT_PRECISION = 0.25  # spacings spread evenly over the normal class have 1/sqrt(12)


def asked(scenario: Scenario, units: str = "metric", at_middle: bool = True) -> list[str]:
    """Lines that state the request to the meter.

    Parameters
    ----------
    scenario : Scenario
        All settings.
    units : str
        ``metric`` or ``us``.
    at_middle : bool
        Whether results are those at the middle of uncertain inputs.
    """
    demand = scenario.demand
    turning = scenario.angular_speed * 60 / (2 * math.pi)
    where = "in the field" if scenario.in_field else "on the bench"
    return [
        f"{set_quantity('per_area', demand.rate, units)} in rows "
        f"{set_quantity('length', demand.row_spacing, units)} apart at "
        f"{set_quantity('speed', demand.speed, units)} {where}: one seed every "
        f"{quantity('length', scenario.spacing, units)}",
        settings_text([scenario], units),
        f"{scenario.cell_rate:.1f} cells/s, disc {turning:.1f} rev/min, holes at "
        f"{quantity('hole_speed', scenario.peripheral_speed, units)}",
        *([not_known_text(scenario.unknown, units)] if scenario.unknown and at_middle else []),
    ]


def settings_text(scenarios: Iterable[Scenario], units: str = "metric") -> str:
    """Lot, disc, vacuum and notch, as far as scenarios share them; empty if they share none."""
    each = [
        (
            one.lot.title,
            f"{one.disc.cells} holes of {hole_text(one.disc.hole_diameter, units)}",
            vacuum_text(one, units),
            notch_text(one.singulator.notch),
        )
        for one in scenarios
    ]
    lot, *rest = (texts[0] if len(set(texts)) == 1 else "" for texts in zip(*each, strict=True))
    return "; ".join(filter(None, [lot, ", ".join(filter(None, rest))]))


def vacuum_text(scenario: Scenario, units: str = "metric") -> str:
    """Vacuum as it is stated; with a fan that at the gauge, and that of the row in question.

    A machine that is taken as one of its rows has none of the changes of single rows.
    """
    stated = set_quantity("pressure", scenario.vacuum.vacuum, units)
    if not scenario.is_toolbar:
        return stated
    there = quantity("pressure", chamber_vacuum(scenario), units)
    row, rows = middle_row(scenario), scenario.toolbar.rows
    of = f" of {rows}" if rows > 1 else ""
    without = ", without the changes of single rows" if scenario.rows and not scenario.row else ""
    return f"{stated} at the gauge when the fan was set, {there} at row {row}{of}{without}"


def not_known_text(unknown: Iterable[Unknown], units: str = "metric") -> str:
    """A line that names the uncertain inputs that are taken at their middle."""
    return f"uncertain, and here at its middle: {'; '.join(one.text(units) for one in unknown)}"


def notes(measured: Measured, units: str = "metric") -> list[str]:
    """Notes for the reader of a result: cautions, warnings, replaced stations, and changes."""
    scenario = measured.scenario
    found = [*cautions(scenario, units), *scenario.warnings(units), *_replaced(measured)]
    if widening(scenario.posterior, scenario.lot.crop) > 1:
        found.append(
            f"the model was not fitted to counts of {scenario.lot.crop}, so intervals of skips and "
            "doubles are wider"
        )
    if empty := int(measured.reasons[POOL_EMPTY]):
        found.append(
            f"the pool was empty under {empty:,} cells: spacings and theoretical places count the "
            "row where seed was sown, skips count all cells"
        )
    if measured["precision"].value > BLUNT_PRECISION:
        found.append(
            "precision is near 29 %, its greatest value: use the SD of all spacings instead"
        )
    return found


def decisive(measured: Measured, units: str = "metric") -> list[str]:
    """Notes that change an answer: an empty pool, too short a run, what is not supported."""
    return in_doubt(measured, units) + beyond(measured.scenario, units)


def in_doubt(measured: Measured, units: str = "metric") -> list[str]:
    """Notes on an empty pool, on too short a run, and on what an answer leaves out."""
    found = left_out(measured.scenario)
    empty = int(measured.reasons[POOL_EMPTY])
    if measured.emptied:
        found.append(f"{emptied_text(measured, units)} The starved row behind it counts here.")
    elif empty:
        share = 100 * empty / measured.total("cells")
        found.append(f"{share:.2g} of 100 cells passed an empty pool.")
    if turns := measured.turns_at_least:
        found.append(
            f"Too short for its intervals: the pool is starved. Give {turns} turns at least."
        )
    elif math.isnan(measured["precision"].low):
        found.append("The run is too short for an interval. Give more turns.")
    return found


def left_out(scenario: Scenario) -> list[str]:
    """What an answer for a machine should say that takes the middle row for all rows."""
    if not scenario.is_toolbar or scenario.row:
        return []
    found, row = [], middle_row(scenario)
    parked = scenario.toolbar.rows - len(scenario.working_rows)
    if parked and scenario.toolbar.parked == "open":
        found.append(f"Parked rows, {parked} of them, are not sealed off, and draw air.")
    if row in dict(scenario.rows):
        found.append(
            f"Of the changes of row {row}, only what they do to the air counts here; run has all."
        )
    return found


def emptied_text(measured: Measured, units: str = "metric") -> str:
    """A sentence on where and when the hopper of a run is empty and its pool begins to starve.

    The pool then falls below the level at which seed slides in, and none is left to slide.
    """
    end = measured.emptied
    if end is None:
        return ""
    scenario = measured.scenario
    mass = about_quantity("mass", end.pool * scenario.seeds.seed_mass, units, digits=2)
    where = about_quantity("distance", end.cell * scenario.spacing / speed_kept(scenario), units)
    first = " at the earliest" if len(measured.tallies) > 1 else ""
    return (
        f"The hopper runs empty after {where} ({duration_text(end.time)}){first}, with "
        f"{end.pool:,} seeds ({mass}) left in the pool."
    )


def duration_text(seconds: float) -> str:
    """A duration in seconds, minutes or hours, whichever is short."""
    for size, symbol in ((3600, "h"), (60, "min")):
        if seconds >= 2 * size:
            return f"{seconds / size:.3g} {symbol}"
    return f"{seconds:.0f} s"


def beyond(scenario: Scenario, units: str = "metric") -> list[str]:
    """Two notes at most on where no published case supports a scenario."""
    found = outside(scenario, units, most=2) or cautions(scenario, units)[:2]
    return [f"{line}." for line in found]


def heading(*measured: Measured) -> str:
    """One line with titles, scenarios, their common changes, random seed and version."""
    return heading_of(*(part.origin for part in measured))


def heading_of(*origins: Origin) -> str:
    """One line with titles, scenarios, common changes, seed and version of result origins."""
    origin, scenarios = origins[0], [part.scenario for part in origins]
    titles = " / ".join(dict.fromkeys(scenario.title for scenario in scenarios))
    names = " / ".join(dict.fromkeys(scenario.name for scenario in scenarios))
    changes = [
        change
        for change in scenarios[0].changes
        if all(change in scenario.changes for scenario in scenarios)
    ]
    origin_text = f"random seed {origin.seed}, metersim {origin.version}"
    return f"{titles} ({', '.join([names, *changes, origin_text])})"


def _replaced(measured: Measured) -> list[str]:
    own = measured.scenario.own
    fixed = "; draws of seed and machine do not change it"
    return [
        f"station '{name}' is replaced by {kind}{fixed if own and name in own.values else ''}"
        for name, kind in measured.origin.replaced.items()
    ] + list(map(str, measured.origin.changes))
