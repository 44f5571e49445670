"""A report as one HTML file, which needs nothing from elsewhere."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from metersim.machine.given import scenario_toml
from metersim.machine.scenario import Scenario
from metersim.questions.report import text
from metersim.questions.report.figure import Picture, causes_picture, pictures
from metersim.questions.report.study import Report
from metersim.questions.shared.html import (
    PAPER,
    document,
    element,
    figure,
    group,
    listing,
    paragraphs,
    section,
    table,
    verbatim,
)
from metersim.questions.shared.machinewords import table as table_of_rows
from metersim.questions.shared.notes import AT_A_METER, BEFORE, IN_THE_ROW, PROVE, level_text


def report_html(
    report: Report,
    units: str = "metric",
    *,
    command: str = "",
    paper: str | None = None,
) -> str:
    """HTML of a report.

    Parameters
    ----------
    report : Report
        All that it states.
    units : {'metric', 'us'}
        Units of the reader.
    command : str
        Command that makes it again; left out where none was typed.
    paper : {'a4', 'letter'}, optional
        Size of paper; by default A4 for metric units, letter for us.
    """
    scenario, level = report.scenario, level_text(report.spread.level)
    origin = report.row.whole.origin
    head = f"What the model expects, in {'US' if units == 'us' else 'metric'} units. "
    head += f"metersim {origin.version}, random seed {origin.seed}."
    parts = [
        element("h1", scenario.title),
        element("p", head, "quiet"),
        group("lead", paragraphs(text.first_lines(report, units))),
        paragraphs(f"Note: {one}" for one in text.first_notes(report, units)),
        paragraphs([scenario.shows] if scenario.shows else [], "quiet"),
        section(
            "Settings",
            table(("setting", "value", "key"), text.settings_rows(scenario, units)),
        ),
        section(
            "How the seeds lie",
            *map(_figure, pictures(report, units)),
            paragraphs([text.one_run(report)], "quiet"),
        ),
        _rows(report, units),
        _causes(report),
        section(
            "Measures",
            table(("measure", "expected", level), text.measure_rows(report, units), numbers=(1, 2)),
            paragraphs(
                [f"The {level}s hold all uncertainty: of the count, of the inputs, of the model."],
                "quiet",
            ),
        ),
        section(
            "What one step of a setting does",
            group("caution", paragraphs([f"Caution: {AT_A_METER}"])),
            paragraphs([text.move_sentence(report, units)]),
            table(("one step", "normal spacings", "missed", "close"), text.move_rows(report, units))
            if report.moves
            else "",
            paragraphs([text.moves_note(report)], "quiet"),
        ),
        _unseen(report, units),
        section("What is assumed", listing(text.assumed(report, units))),
        section("Warnings", listing(text.warnings(report, units))),
        section("Before you act on it", listing([*BEFORE, IN_THE_ROW, PROVE])),
        _provenance(report, units, command),
    ]
    kept = [part for part in parts if part]
    return document(f"{scenario.title}: report", kept, paper=paper or PAPER[units])


def _figure(one: Picture) -> str:
    return figure(one.content, one.alt, one.caption)


def _rows(report: Report, units: str) -> str:
    """Table of the rows of a machine."""
    if not report.machine:
        return ""
    heads, *rows = table_of_rows(report.machine, units)
    return section("Rows", table(heads, rows, numbers=range(1, len(heads))))


def _causes(report: Report) -> str:
    picture = causes_picture(report)
    if not picture:
        said = "None: every cell released one seed into its theoretical place."
        return section("Causes of uneven spacing", paragraphs([said]))
    return section("Causes of uneven spacing", _figure(picture))


def _unseen(report: Report, units: str) -> str:
    heads = ("nearest case", "published", "predicted", "90 % interval", "inside")
    rows = text.unseen_rows(report)
    return section(
        "How well the model did on cases that it had not seen",
        paragraphs(text.unseen_lines(report, units)),
        table(heads, rows, numbers=(1, 2, 3)) if rows else "",
    )


def _provenance(report: Report, units: str, command: str) -> str:
    scenario, origin = report.scenario, report.row.whole.origin
    rows = [
        ("program", f"metersim {origin.version}"),
        ("scenario", scenario.name),
        ("changes", "; ".join(scenario.changes) or "none"),
        ("random seed", f"{origin.seed}"),
        ("draws of machine and inputs", f"{report.draws}"),
    ]
    if scenario.meter:
        rows.append(("meter file", Path(scenario.meter.file).name))
    again = "The same version makes the same file, byte by byte, with this command:"
    parts = [
        table((), rows),
        *([paragraphs([again]), verbatim(command)] if command else []),
        paragraphs(
            [f"All settings, as a scenario file with these changes ({scenario.name}.toml):"]
        ),
        verbatim(settings_text(scenario, units), "columns"),
    ]
    if scenario.seed.lot.lower().endswith(".toml"):
        name = Path(scenario.seed.lot).name
        parts += [
            paragraphs([f"Values of its own seed lot, {name}:"]),
            verbatim(text.lot_text(scenario)),
        ]
    return section("Where this comes from", *parts)


def settings_text(scenario: Scenario, units: str) -> str:
    """Text of a scenario file in the units of the reader; other files are named without folder."""
    lot = scenario.seed.lot
    return scenario_toml(
        replace(scenario, units=units),
        lot=Path(lot).name if lot.lower().endswith(".toml") else None,
        meter=Path(scenario.meter.file).name if scenario.meter else None,
    )
