"""Words and tables of a report, section by section."""

from __future__ import annotations

import math
from collections.abc import Iterator

from metersim.files.fields import Spec, specs
from metersim.files.units import as_written, hole_text
from metersim.machine.changes import section_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.machine.seedlot import SeedLot
from metersim.measures.indices import BY_KEY
from metersim.measures.limits import outside
from metersim.questions.report.study import MOVED_DRAWS, Report
from metersim.questions.report.unseen import CHANCE, PERCENT, Tried
from metersim.questions.shared.answer import (
    capital,
    change_told,
    is_distinct,
    movement,
    told,
)
from metersim.questions.shared.machinewords import (
    facts_of,
    notes_of,
    rows_sentence,
    vacuum_sentence,
)
from metersim.questions.shared.notes import decisive, emptied_text, notes
from metersim.questions.shared.rowwords import (
    MUCH_SPILT,
    NO_SEED,
    lying,
    main_cause,
    spilt_text,
    told_first,
)
from metersim.questions.shared.settings import steps_text
from metersim.questions.shared.words import (
    FIRST,
    PLAIN_NAMES,
    SHOWN,
    about_quantity,
    plain_name,
    plural,
    quantity,
)

Rows = list[tuple[str, ...]]

MAIN = {  # settings that every report lists, with their names
    ("seed", "lot"): "seed lot",
    ("disc", "cells"): "holes on the disc",
    ("disc", "hole_diameter"): "diameter of a hole",
    ("vacuum", "vacuum"): "vacuum",
    ("singulator", "notch"): "notch of the singulator",
    ("pool", "gate_opening"): "gate above the floor",
    ("guide", "inner_guide"): "inner guide",
    ("tube", "tube_length"): "height of fall",
    ("furrow", "surface"): "where",
    ("demand", "rate"): "seeding rate",
    ("demand", "row_spacing"): "distance between rows",
    ("demand", "speed"): "speed of travel",
    ("run", "turns"): "turns of the disc in the run",
}
NAMES = MAIN | {
    ("seed", "size_cv"): "spread of seed size",
    ("toolbar", "rows"): "rows of the machine",
    ("toolbar", "working"): "rows that work",
    ("toolbar", "parked"): "vacuum of parked rows",
    ("fan", "shut_off"): "most pressure of the fan",
}
MACHINE = (("toolbar", "rows"), ("toolbar", "working"), ("toolbar", "parked"), ("fan", "shut_off"))
WORDS = {"bench": "on a bench, on a sticky belt", "field": "in a field", True: "yes", False: "no"}
HELD = 0.8  # of the numbers expected inside, below which the report warns
NORMAL, MISSED, CLOSE = "per_spacing.quality", "per_spacing.miss", "per_spacing.multiple"


def first_lines(report: Report, units: str = "metric") -> list[str]:
    """The answer: what to expect, with the total interval, and the main cause."""
    if report.machine:
        first = [rows_sentence(report.machine), interval_sentence(report)]
        return [*first, main_cause(report.row.whole)]
    shown = told_first({key: report.total(key) for key, _ in FIRST}, units)
    lines = lying(report.measured, shown, units)
    if not report.measured.total("seeds"):
        return [NO_SEED, main_cause(report.measured)]
    lines = [lines[0], interval_sentence(report), main_cause(report.row.whole)]
    if report.row.before:
        said = f"{emptied_text(report.row.whole, units)} The first numbers here are those of the "
        lines.insert(0, f"{said}row before that place.")
    return [line for line in lines if line]


def interval_sentence(report: Report) -> str:
    """The total intervals of the first measures, in one sentence."""
    keys = ("cells.skip", "cells.double") if report.machine else (NORMAL, MISSED, CLOSE)
    ends = {key: told("share", report.total(key))[1] for key in keys}
    if any("short" in one for one in ends.values()):
        return "The run is too short for an interval."
    said = [f"{ends[key]} {plain_name(key).split()[0]}" for key in keys]
    of = "cells" if report.machine else "spacings"
    joined = f"{', '.join(said[:-1])} and {said[-1]}"
    return f"{100 * report.spread.level:.0f} % interval of all uncertainty, of 100 {of}: {joined}."


def first_notes(report: Report, units: str = "metric") -> list[str]:
    """Notes that change the answer."""
    if report.machine:
        one = report.machine
        return [vacuum_sentence(one, units), *facts_of(one, units), *notes_of(one, units)]
    found = decisive(report.measured, units)
    if report.row.before:
        need = about_quantity("mass", report.row.needed, units, digits=2)
        found.insert(0, f"The row needs about {need} of seed.")
    if report.measured.spilt_share > MUCH_SPILT:
        found.insert(0, spilt_text(report.measured, units))
    return found


def settings_rows(scenario: Scenario, units: str = "metric") -> Rows:
    """Rows of the table of settings: name, value and key; ranges where a value is not known."""
    unknown = {(one.section, one.name): one for one in scenario.unknown}
    changed = [section_of(change.partition("=")[0].strip()) for change in scenario.changes]
    fields = all_fields()
    places = [*MAIN, *(MACHINE if scenario.is_toolbar else ()), *unknown, *changed]
    rows: Rows = []
    for place in dict.fromkeys(one for one in places if one in fields):
        spec = fields[place]
        name = capital(NAMES.get(place, spec.meaning))
        value = getattr(getattr(scenario, place[0]), place[1])
        if place == ("seed", "lot"):
            rows.append((name, f"{scenario.lot.title} ({scenario.lot.crop})", "lot"))
            continue
        unit = spec.unit_for(units)
        key = f"{spec.name}_{unit.suffix}" if unit else spec.name
        if place in unknown:
            said = unknown[place].text(units).partition(" ")[2]
            said = f"{said} {unit.symbol}".strip() if unit else said
            rows.append((name, f"{said} (not known exactly)", key))
        elif value is not None:
            rows.append((name, value_text(spec, value, units), key))
    apart = quantity("length", scenario.spacing, units)
    return [*rows, ("Nominal spacing, from rate and rows", apart, "")]


def value_text(spec: Spec, value: object, units: str = "metric") -> str:
    """A value of a field with its unit, for a reader of metric or US units."""
    if isinstance(value, bool) or (isinstance(value, str) and value in WORDS):
        return WORDS[value]
    if not isinstance(value, int | float):
        return str(value)
    if spec.name == "hole_diameter":
        return hole_text(value, units)
    unit = spec.unit_for(units)
    written = as_written(unit.from_si(value) if unit else value)
    return f"{written} {unit.symbol}".strip() if unit else written


def one_run(report: Report) -> str:
    """What the pictures show, beside the expected values."""
    middle = ", and the middle of each range" if report.scenario.unknown else ""
    of = "pass" if report.machine else "run"
    said = f"Pictures and causes are those of one {of}, with usual coefficients{middle}."
    if report.machine:
        return said
    return f"{said} Expected values are means over {report.draws} draws, so they differ a little."


def measure_rows(report: Report, units: str = "metric") -> Rows:
    """Rows of the table of measures, with total intervals."""
    rows: Rows = []
    for group, each in SHOWN:
        for key, label in each:
            if key not in report.spread.measures:
                continue
            value, interval = told(BY_KEY[key].kind, report.total(key), units)
            plain = PLAIN_NAMES.get(key, label)
            name = f"{plain} ({label})" if plain != label else label
            rows.append((f"{group}: {name}", value, interval))
    return rows


def move_sentence(report: Report, units: str = "metric") -> str:
    """Which single step raises normal spacings most, if one does."""
    if not report.moves:
        return "No setting here can be moved by one step."
    rising = [one for one in report.moves if is_distinct(one.changes[NORMAL])]
    rising = [one for one in rising if one.changes[NORMAL].value > 0]
    if not rising:
        return "No single step is detected to raise the share of normal spacings."
    best = max(rising, key=lambda one: one.changes[NORMAL].value)
    said = movement("normal spacings", "share", best.changes[NORMAL])
    return f"{capital(steps_text(best.steps, units))} helps most: {said}"


def move_rows(report: Report, units: str = "metric") -> Rows:
    """Rows of the table of single steps."""
    return [
        (
            capital(steps_text(one.steps, units)),
            *(change_told("share", one.changes[key]) for key in (NORMAL, MISSED, CLOSE)),
        )
        for one in report.moves
    ]


def moves_note(report: Report) -> str:
    """What the differences of single steps rest on."""
    said = (
        f"Differences in percentage points (pp), with {100 * report.spread.level:.0f} % intervals "
        f"over {MOVED_DRAWS} draws. The same seeds are dropped again, in the same machine."
    )
    if report.machine:
        said += " The machine is taken as its middle row."
    return f"{said} Effects of several steps do not add up: count after each one."


def unseen_lines(report: Report, units: str = "metric") -> list[str]:
    """How well the model did on published numbers that it had not seen."""
    found = report.unseen
    many = len(found.tried)
    if not many:
        return [
            f"The model has not been tried on an unseen case of {found.crop}. No published count "
            f"says how far off it is with this crop. Count before you rely on it."
        ]
    chance = f"{100 * CHANCE:.0f} %"
    verb = "lies" if found.inside == 1 else "lie"
    lines = [
        f"The model predicted {many} published {plural(many, 'number')} of {found.crop} without "
        f"their source. They come from {found.sources} "
        f"{'laboratory' if found.sources == 1 else 'laboratories'}. "
        f"{found.inside} {verb} inside the {chance} interval; {CHANCE * many:.0f} are expected."
    ]
    if many == 1:
        inside = "inside" if found.inside else "outside"
        lines = [
            f"The model predicted one published number of {found.crop} without its source. It lies "
            f"{inside} the {chance} interval. One number says little."
        ]
    if not math.isnan(found.miss):
        lines.append(
            f"Its middle value misses the published share by {found.miss:.2g} percentage points in "
            "half of these cases, or by less."
        )
    if many > 1 and found.inside < HELD * CHANCE * many:
        lines.append(
            f"For {found.crop}, intervals held less than they state. Count before you rely on them."
        )
    own = report.scenario.furrow.surface
    here = sum(one.surface == own for one in found.tried)
    where = {"bench": "on a bench", "field": "in a field"}
    if here < many:
        verb = "was" if here < 2 else "were"
        said = f"{here or 'None'} of them {verb} counted {where[own]}, as here."
        lines.append(said if many > 1 else f"It was not counted {where[own]}, as is asked here.")
    first = found.tried[0]
    speed = about_quantity("speed", first.at.speed, units, 2)
    vacuum = about_quantity("pressure", first.at.vacuum, units, 2)
    lines.append(
        f"The nearest case ran {where[first.surface]} at about {speed}, {first.at.frequency:.0f} "
        f"cells/s and {vacuum}, with {first.at.cells} holes. Its source: {first.reference}"
    )
    return lines


def unseen_rows(report: Report) -> Rows:
    """Rows of the nearest case: published number, prediction and whether it lies inside."""
    return [_tried(one) for one in report.unseen.nearest]


def _tried(one: Tried) -> tuple[str, ...]:
    unit = one.level.unit
    low, middle, high = (f"{end:.1f}" if unit == PERCENT else f"{end:.3g}" for end in one.ends)
    published = f"{one.level.published:g} {unit}".strip()
    name = one.level.row if unit == PERCENT or not unit else f"{one.level.row} [{unit}]"
    return (capital(name), published, middle, f"{low} to {high}", "yes" if one.inside else "no")


def assumed(report: Report, units: str = "metric") -> list[str]:
    """What the numbers rest on, and what is held fixed."""
    scenario, spread = report.scenario, report.spread
    machine = spread.posterior.title if spread.posterior else "the usual machine"
    counts = report.row.whole.counts
    lines = [
        f"Machine: {machine}, in {report.draws} draws. The model's own error is part of the "
        "intervals.",
        f"Length: {counts['cells']:,} cells, {counts['seeds']:,} seeds. The intervals are those of "
        "a count of this length.",
        "Held fixed: settings, wear, seed and weather stay as they are here from start to end.",
    ]
    if scenario.unknown:
        each = "; ".join(one.text(units) for one in scenario.unknown)
        lines.append(f"Not known exactly, and drawn: {each}.")
    if report.machine:
        lines.append(
            f"Rows: what is not known is drawn for row {report.machine.drawn_row}, and taken as "
            "alike for all rows."
        )
    if scenario.observed == "plants":
        share = f"{100 * scenario.stand.emergence:.3g} %"
        lines.append(f"Spacings are those of plants, with {share} emergence and equal depth.")
    elif scenario.observed == "pulses":
        lines.append("Spacings are those of the pulses of the sensor, not of the seeds.")
    else:
        lines.append(
            "Spacings are those of seeds. Emergence, planting depth and pests are not part of them."
        )
    if not scenario.in_field:
        lines.append("On a bench no soil moves the seeds. In a field they scatter more.")
    if scenario.sensor.day > 0:
        lines.append(
            "The day behind the lens is not part of this report; 'metersim run' follows it."
        )
    return lines


def warnings(report: Report, units: str = "metric") -> Iterator[str]:
    """Warnings of the settings, and where no published case supports them."""
    found = notes(report.row.whole, units)
    if not outside(report.scenario, units):
        crop = report.scenario.lot.crop
        yield f"Each single condition lies inside what published cases of {crop} cover."
    for one in found:
        yield f"{capital(one)}."


def lot_text(scenario: Scenario) -> str:
    """Values of the lot, one a line, in the preferred unit of each."""
    lines = []
    for name, spec in specs(SeedLot).items():
        value = getattr(scenario.lot, name)
        key, unit = next(iter(spec.keys.items()))
        if isinstance(value, float):
            value = f"{unit.from_si(value) if unit else value:.6g}"
        lines.append(f"{key} = {value}")
    return "\n".join(lines)
