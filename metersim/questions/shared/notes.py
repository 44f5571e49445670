"""Notes of every report: the request, cautions, and input uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from metersim.files.unknown import Unknown
from metersim.machine.losses import POOL_EMPTY
from metersim.machine.scenario import Scenario
from metersim.measures.estimates import Measured
from metersim.measures.limits import cautions
from metersim.questions.shared.unknowns import Spread
from metersim.questions.shared.words import (
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
BEFORE = (
    f"{MANUAL}, before anything here.",
    "Stop the machine, let fan and disc come to rest, and lock out, so that nothing can start, "
    "before you open a meter or reach into it. Put a raised frame on stands.",
    "On the bench too: the fan draws in sleeves and hair, disc and drive pinch. Guards stay on.",
    "Treated seed: no bare hands, no dust in the air. Gloves, respirator and disposal as its label "
    "says; vacuum up, never blow; wash before you eat.",
)
CROP_CHANGE = (
    "Locked out. Hopper, meter and tube empty; leftover seed back to its own bag, with its label",
    "Disc off: holes clear, rim and face flat, no crack; clean the chamber without blowing",
    "Disc of this sheet in; singulator made for it, edge not worn, moving freely; set the notch",
    "Brush and seals whole and seated; cut-off edge clean and sharp",
    "Gate set; inner guide as said here; tube clean, not rough inside; sensor lens brushed",
    "Lubricant (talc, graphite or such) as the seed's supplier says, no more",
    "Turn the disc by hand once: nothing rubs",
)
BENCH = (
    "Gauge at the hole, read while the disc carries seed: open holes leak, and read low",
    "Two turns to fill before anything counts",
    "Count as said here: skips, doubles, and where they come from",
    "Change one setting at a time, count again, write both down",
    "Seed in the bag differs from lot to lot: measure it, and count again with each new lot",
    "In the field: dig and measure in the first pass, and again when soil or speed change",
)

WIDE = 22  # letters of an interval
NOT_DETECTED = "not told from luck"
ENOUGH = 39  # draws from which a 95 % interval leaves out the least and the greatest


def interval_heads(level: str) -> str:
    """Heads of the columns of `interval_cells`."""
    return f"{'luck: ' + level:{WIDE}}{'not knowing':{WIDE}}both"


def interval_cells(spread: Spread, key: str, units: str = "metric") -> str:
    """Intervals of a measure in columns: sampling error, input uncertainty, total uncertainty."""
    kind, inputs = spread.measures[key].kind, spread.inputs(key)
    sampling, shown, total = (
        interval_text(kind, one, units) for one in (spread.sampling(key), inputs, spread.total(key))
    )
    shown = shown if _is_detected(spread, key) else NOT_DETECTED
    return f"{sampling:{WIDE}}{shown:{WIDE}}{total}"


def interval_notes(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines that explain the intervals and name the measures that input uncertainty shifts.

    Parameters
    ----------
    spread : Spread
        Uncertainty of a run.
    names : mapping of str to str
        Names of the shown measures by key.
    units : str
        ``metric`` or ``us``.
    """
    lines = [*draws_lines(spread), "estimate and luck: at the middle of what is not known"]
    moved = [
        f"{names[key]} ({quantity(spread.measures[key].kind, total.value, units)})"
        for key in names
        for sampling, total in [(spread.sampling(key), spread.total(key))]
        if total.value < sampling.low or total.value > sampling.high
    ]
    if moved:
        lines.append("over the draws the median is outside luck's interval:")
        lines += [f"  {', '.join(moved[k : k + 4])}" for k in range(0, len(moved), 4)]
    return lines


def draws_lines(spread: Spread) -> list[str]:
    """Lines that explain how sampling error and input uncertainty are separated."""
    lines = [
        f"{spread.size:,} draws of what is not known, each run once on luck of its own",
        "both: 95 % of the draws; not knowing: the same without what luck has in it",
    ]
    if spread.size < ENOUGH:
        held = (spread.size - 1) / (spread.size + 1)
        lines.append(f"so few draws show no 95 %: both is all of them, {100 * held:.0f} %")
    return lines


def difference_lines(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines of differences with their input uncertainty and total uncertainty.

    Parameters
    ----------
    spread : Spread
        Uncertainty of differences.
    names : mapping of str to str
        Names of measures by key.
    units : str
        ``metric`` or ``us``.
    """
    head = f"{spread.about}: not knowing"
    wide = max(60, len(head) + 2)
    lines = [f"{head:{wide}}both"]
    for key in spread.estimates:
        kind, inputs = spread.measures[key].kind, spread.inputs(key)
        shown, total = (change_text(kind, one, units) for one in (inputs, spread.total(key)))
        shown = shown if _is_detected(spread, key) else NOT_DETECTED
        lines.append(f"{f'{names[key]:20}{shown}':{wide}}{total}")
    return lines


def _is_detected(spread: Spread, key: str) -> bool:
    """Whether input uncertainty is detected, or the run is too short to estimate it."""
    return spread.is_detected(key) or math.isnan(spread.inputs(key).low)


def sign_lines(spread: Spread, names: Mapping[str, str]) -> list[str]:
    """A line that names the differences whose sign depends on uncertain inputs."""
    found = [
        names[key]
        for key in names
        for inputs in [spread.inputs(key)]
        if spread.is_detected(key) and inputs.low < 0 < inputs.high
    ]
    said = f"{', '.join(found)}: up or down, as what is not known turns out ({spread.about})."
    return [said[0].upper() + said[1:]] if found else []


BLUNT_PRECISION = 0.25  # spacings spread evenly over the normal class have 1/sqrt(12)


def asked(scenario: Scenario, units: str = "metric") -> list[str]:
    """Lines that state the request to the meter."""
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
    """A line that names the uncertain inputs that are taken at their middle."""
    return f"not known, and here at its middle: {'; '.join(map(str, unknown))}"


def notes(measured: Measured, units: str = "metric") -> list[str]:
    """Notes for the reader of a result: cautions, warnings, replaced stations, and changes."""
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
    return [
        f"station '{name}' is replaced by {kind}" for name, kind in measured.origin.replaced.items()
    ] + list(map(str, measured.origin.changes))
