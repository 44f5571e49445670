"""What every report says beside its answer: what was asked, cautions, what is not known."""

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
UNTOLD = "not told from luck"
ENOUGH = 39  # draws, of which 95 % leave out the least and the greatest


def head(level: str) -> str:
    """Heads of the columns of `apart`."""
    return f"{'luck: ' + level:{WIDE}}{'not knowing':{WIDE}}both"


def apart(spread: Spread, key: str, units: str = "metric") -> str:
    """Intervals of a measure: luck, not knowing, both."""
    kind, unknown = spread.measures[key].kind, spread.unknown(key)
    luck, told, both = (
        interval_text(kind, one, units) for one in (spread.luck(key), unknown, spread.both(key))
    )
    told = told if _is_told(spread, key) else UNTOLD
    return f"{luck:{WIDE}}{told:{WIDE}}{both}"


def meanings(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines that say what the intervals are, and what not knowing moves.

    Parameters
    ----------
    spread : Spread
        Of a run.
    names : mapping of str to str
        What the measures that are shown are called, by key.
    units : str
        ``metric`` or ``us``.
    """
    lines = [*how(spread), "estimate and luck: at the middle of what is not known"]
    moved = [
        f"{names[key]} ({quantity(spread.measures[key].kind, both.value, units)})"
        for key in names
        for luck, both in [(spread.luck(key), spread.both(key))]
        if both.value < luck.low or both.value > luck.high
    ]
    if moved:
        lines.append("over the draws the median is outside luck's interval:")
        lines += [f"  {', '.join(moved[k : k + 4])}" for k in range(0, len(moved), 4)]
    return lines


def how(spread: Spread) -> list[str]:
    """Lines that say how luck and not knowing are told apart."""
    lines = [
        f"{spread.size:,} draws of what is not known, each run once on luck of its own",
        "both: 95 % of the draws; not knowing: the same without what luck has in it",
    ]
    if spread.size < ENOUGH:
        held = (spread.size - 1) / (spread.size + 1)
        lines.append(f"so few draws show no 95 %: both is all of them, {100 * held:.0f} %")
    return lines


def changes(spread: Spread, names: Mapping[str, str], units: str = "metric") -> list[str]:
    """Lines of differences in which not knowing stands apart from luck.

    Parameters
    ----------
    spread : Spread
        Of differences.
    names : mapping of str to str
        What measures are called, by key.
    units : str
        ``metric`` or ``us``.
    """
    head = f"{spread.about}: not knowing"
    wide = max(60, len(head) + 2)
    lines = [f"{head:{wide}}both"]
    for key in spread.estimates:
        kind, unknown = spread.measures[key].kind, spread.unknown(key)
        told, both = (change_text(kind, one, units) for one in (unknown, spread.both(key)))
        told = told if _is_told(spread, key) else UNTOLD
        lines.append(f"{f'{names[key]:20}{told}':{wide}}{both}")
    return lines


def _is_told(spread: Spread, key: str) -> bool:
    """Whether not knowing can be told from luck, or is too short to tell anything."""
    return spread.is_told(key) or math.isnan(spread.unknown(key).low)


def either_way(spread: Spread, names: Mapping[str, str]) -> list[str]:
    """A line that names the differences whose sign hangs on what is not known."""
    found = [
        names[key]
        for key in names
        for unknown in [spread.unknown(key)]
        if spread.is_told(key) and unknown.low < 0 < unknown.high
    ]
    said = f"{', '.join(found)}: up or down, as what is not known turns out ({spread.about})."
    return [said[0].upper() + said[1:]] if found else []


BLUNT_PRECISION = 0.25  # of spacings spread evenly over the normal class it is 1/sqrt(12)


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


def notes(measured: Measured, units: str = "metric") -> list[str]:
    """What a reader of a result must know: cautions, warnings, what was replaced or changed."""
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
    ] + list(map(str, measured.origin.changes))
