"""Texts of a run: summary, JSON of measures, and trace of events."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from metersim.files.tables import csv_text
from metersim.machine.load import gap_warnings
from metersim.measures.estimates import Measured
from metersim.measures.indices import BY_KEY, put
from metersim.measures.limits import causes
from metersim.measures.yields import Harvest
from metersim.questions.run.day import Day
from metersim.questions.run.daytext import CAUTION, day_json, day_lines, sentences
from metersim.questions.run.turning import concerns, turning_json, turning_lines, turning_row
from metersim.questions.shared.answer import MOST_ROWS, Answer, capital, told
from metersim.questions.shared.emptying import Row
from metersim.questions.shared.hedges import NONE, fixed_words
from metersim.questions.shared.jsonparts import (
    counted_json,
    lost_json,
    stand_json,
    uncertainty_json,
)
from metersim.questions.shared.notes import (
    PROVE,
    SPACERS,
    asked,
    decisive,
    emptied_text,
    heading,
    interval_cells,
    interval_heads,
    interval_lines,
    level_text,
    notes,
)
from metersim.questions.shared.partwords import part_note, parted_words
from metersim.questions.shared.plants import Stand
from metersim.questions.shared.plantwords import (
    NAMES,
    plants_block,
    stand_sentences,
)
from metersim.questions.shared.rowwords import (
    MUCH_SPILT,
    NO_SEED,
    counted,
    lying,
    main_cause,
    of_hundred,
    spilt_text,
    told_first,
)
from metersim.questions.shared.spread import Spread
from metersim.questions.shared.words import (
    FIRST,
    GROUP,
    LABEL,
    SHOWN,
    about_quantity,
    block,
    interval_text,
    quantity,
)
from metersim.run.records import Run, provenance

PLACED = dict(FIRST)["placed.per_area"]  # makes room for the motor where plants are shown
BEFORE = "All numbers are those of the row before."


def table(
    measured: Measured,
    units: str = "metric",
    spread: Spread | None = None,
    details: bool = False,
) -> list[str]:
    """Lines of the table of estimates; details add columns of the parts of each interval."""
    heads = interval_heads(measured.level, spread, details)
    lines = [f"{'':{GROUP + LABEL}}{'estimate':>14}   {heads}"]
    for group, rows in SHOWN:
        for row, (key, label) in enumerate(rows):
            kind, estimate = BY_KEY[key].kind, spread.total(key) if spread else measured[key]
            first = group if row == 0 else ""
            interval = (
                interval_cells(spread, key, units, details)
                if spread
                else interval_text(kind, estimate, units)
            )
            lines.append(
                f"{first:20}{label:20}{quantity(kind, estimate.value, units):>14}   {interval}"
            )
    return lines


def uneven(measured: Measured) -> list[str]:
    """Lines with the main causes of uneven spacing."""
    found = causes(measured)[:3]
    of = counted(measured)
    lines = [f"{cause.share * 100:.2f} % of {of}: {cause.name}" for cause in found]
    return lines or ["none: every cell released one seed into its theoretical place"]


def summary(
    row: Row,
    units: str = "metric",
    spread: Spread | None = None,
    stand: Stand | None = None,
    harvest: Harvest = NONE,
    details: bool = False,
    day: Day | None = None,
) -> str:
    """The answer of a run or its replicates; with details also the whole report.

    Parameters
    ----------
    row, units, spread, details
        As for `report`.
    stand, harvest
        As for `metersim.questions.shared.plantwords.plants_block`; no stand without plants.
    day
        A day behind the lens of the sensor, if one is followed.
    """
    measured, scenario = row.reported, row.reported.scenario
    estimates = {key: spread.total(key) if spread else measured[key] for key, _ in FIRST}
    shown = told_first(estimates, units)
    first = lying(measured, shown, units)
    notes = decisive(measured, units)
    if row.before:
        main = causes(row.whole)[0]
        share = f"{of_hundred(main.share)} {counted(row.whole)}"
        need = about_quantity("mass", row.needed, units, digits=2)
        notes.insert(
            0,
            f"Main cause of uneven spacing in the whole row: {main.name}, {share}. "
            f"The row needs about {need} of seed.",
        )
    elif cause := main_cause(measured):
        first.append(cause)
    if measured.spilt_share > MUCH_SPILT:
        first.append(spilt_text(measured, units))
    if not measured.total("seeds"):
        first = [NO_SEED, *first[2:]]
    ending = [emptied_text(row.whole, units), BEFORE] if row.before else []
    plants: list[str] = []
    if stand:
        first = [*stand_sentences(stand, units, harvest), first[0], *first[2:]]
        plants = plants_block(stand, units, harvest, details)
    heads = ("", "expected", level_text(spread.level if spread else measured.level))
    rows = [(label, *shown[key]) for key, label in FIRST]
    if stand:
        many = told("per_area", stand.reach("plants.per_area"), units)
        rows.append((NAMES["plants.per_area"], *many))
    if (turning := turning_row(scenario, units)) is not None:
        notes = [*(f"{capital(line)}." for line in gap_warnings(scenario, units)), *notes]
        kept = rows if len(rows) < MOST_ROWS else [one for one in rows if one[0] != PLACED]
        rows = [*kept, turning]
    machine = spread.posterior.title if spread and spread.posterior else "the usual machine"
    _, settings, *_ = asked(scenario, units)
    every = f"one seed every {quantity('length', scenario.spacing, units)}"
    said = report(row, units, spread, plants, details).splitlines()
    if day:
        said[-1:] = ["The day behind the lens", *day_lines(day, units), "", said[-1]]
    made = Answer(
        caution=" ".join([*([SPACERS] if turning else []), *([CAUTION] if day else [])]),
        first=[*ending, *first],
        notes=[*(sentences(day, units) if day else ()), *notes],
        table=(heads, *rows),
        assumes="; ".join(
            [
                every,
                settings,
                machine,
                *(one.text(units) for one in scenario.unknown),
                *fixed_words(stand),
            ]
        )
        + ".",
        details=said,
    )
    if stand:
        made = made.with_note(part_note(stand))
        if harvest != NONE and stand.losses:
            made = made.with_note(f"Loss of yield. {parted_words(stand, units, harvest)}")
    return made.text(details)


def report(
    row: Row,
    units: str = "metric",
    spread: Spread | None = None,
    plants: Sequence[str] = (),
    details: bool = False,
) -> str:
    """Whole report of a run or its replicates, and of draws of machine and uncertain inputs.

    Parameters
    ----------
    row : Row
        Measures of the seeds; with those of both parts if the hopper runs empty.
    units : str
        ``metric`` or ``us``.
    spread : Spread, optional
        Uncertainty over draws of machine and uncertain inputs.
    plants : sequence of str
        Lines of `metersim.questions.shared.plantwords.plants_block`, if plants are requested.
    details : bool
        Whether to show the parts of each interval.
    """
    measured, scenario = row.reported, row.reported.scenario
    lines = [heading(row.whole)]
    if row.before:
        lines.append(f"{emptied_text(row.whole, units)} {BEFORE}")
    if scenario.shows:
        lines.append(scenario.shows)
    lines += ["", *block("Asked", asked(scenario, units, at_middle=not spread)), ""]
    counts = measured.counts
    watched = f"{counts['cells']:,} cells, {counts['seeds']:,} seeds"
    if counts["longest_skip_run"] > 1:
        watched += f", longest run of skips {counts['longest_skip_run']} cells"
    if len(measured.tallies) > 1:
        watched += f", {len(measured.tallies)} replicates"
    lines += [*block("Watched", [watched]), ""]
    if spilt := spilt_text(measured, units):
        lines += [*block("Lost", [spilt]), ""]
    lines += [*table(measured, units, spread, details), ""]
    if spread:
        lines += [*block("Interval", interval_lines(spread, details, units)), ""]
    if row.rest:
        cells = row.rest.counts["cells"]
        said = f"{cells:,} cells from there on, by themselves; intervals hold sampling error alone"
        lines += [*block("Rest", [said]), ""]
        lines += [*table(row.rest, units), ""]
    whole = " in the whole row" if row.rest else ""
    lines += [f"Causes of uneven spacing{whole}", *block("", uneven(row.whole)), ""]
    lines += [*plants, ""] if plants else []
    if concerns(scenario):
        lines += [*block("Turning", turning_lines(scenario, units)), ""]
    if found := notes(measured, units):
        lines += [*block("Note", found), ""]
    lines.append(PROVE)
    return "\n".join(lines)


def as_json(
    row: Row,
    spread: Spread | None = None,
    stand: Stand | None = None,
    harvest: Harvest | None = None,
    day: Day | None = None,
) -> str:
    """JSON of all measures in SI with their total intervals and the parts of them, and plants."""
    measured, whole = row.reported, row.whole
    made: dict[str, Any] = {
        "provenance": provenance(whole.origin, len(whole.tallies)),
        **counted_json(measured, whole),
    }
    for key, estimate in measured.estimates.items():
        put(made, key, (spread.total(key) if spread else estimate).to_dict())
    if row.rest:
        made["rest"] = {"counts": row.rest.counts}
        for key, estimate in row.rest.estimates.items():
            put(made["rest"], key, estimate.to_dict())
    made["spacing"]["nominal_m"] = measured.scenario.spacing
    made["spacing"]["cp3_centre_m"] = measured.scenario.spacing
    made |= lost_json(measured, whole)
    if concerns(measured.scenario):
        made["turning"] = turning_json(measured.scenario)
    if spread:
        made["uncertainty"] = uncertainty_json(spread)
    if day:
        made["day"] = day_json(day)
    if stand:
        made["stand"] = stand_json(stand, harvest or Harvest())
    return json.dumps(made, indent=2, allow_nan=False) + "\n"


TRACE_COLUMNS = ("replicate", "time_s", "cell", "place", "station", "event", "why")


def as_trace(runs: Sequence[Run]) -> str:
    """CSV of every event of every seed, with its reason."""
    interval_heads = "".join(
        f"# station '{name}' is replaced by {kind}\n" for name, kind in runs[0].replaced.items()
    )
    rows = (
        (run.replicate, event.time, *("" if n < 0 else n for n in event[1:3]), *event[3:])
        for run in runs
        for event in run.trace
    )
    return interval_heads + csv_text(TRACE_COLUMNS, rows)
