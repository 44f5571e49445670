"""The command `next`: reports the likely fault of a meter and one next move."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import takewhile
from pathlib import Path

from metersim.files.faults import BadInput, all_of, bad
from metersim.files.units import hole_text
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.next.answer import next_answer
from metersim.questions.next.causecommand import answer_causes
from metersim.questions.next.moves import SETTERS
from metersim.questions.next.rows import latest, read_rows
from metersim.questions.next.signoptions import gives_signs, sign_options, signs_of
from metersim.questions.next.study import COUNTS, NextMove, next_move
from metersim.questions.next.surface import RUNS
from metersim.questions.next.target import KINDS
from metersim.questions.next.used import used_of, used_options
from metersim.questions.next.written import next_json
from metersim.questions.shared.countlog import read_history
from metersim.questions.shared.countoptions import (
    accept_option,
    accepted_of,
    count_of,
    count_options,
    counts_of_row,
    disc_of,
    disc_options,
    event_answer,
    event_option,
    row_of,
)
from metersim.questions.shared.history import BRUSHED, Entry, Event, Line, rows_in
from metersim.questions.shared.looks import SENSOR, Look
from metersim.questions.shared.options import (
    changes_of,
    crew,
    details_option,
    scenario_option,
    seed_of,
    units_option,
    workers_of,
    workers_option,
)
from metersim.questions.shared.progress import bar
from metersim.questions.shared.settings import SETTINGS


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim next``."""
    scenario_option(command)
    units_option(command, "), and of the steps of settings (metric")
    add = command.add_argument
    count_options(command, "seeds counted at these settings, those of doubles included")
    disc_options(command)
    add(
        "--log",
        metavar="FILE",
        help="earlier counts, as 'howmany --add' writes them; if no count is given here, the last "
        "one of the row is the present one, with its own settings; several rows are read together",
    )
    add("--row", metavar="NAME", help="which row of the log")
    event_option(command)
    accept_option(command, "shares of a meter in order")
    add(
        "--monitor",
        choices=COUNTS,
        help="what the monitor counts: empty cells, or long spacings (both are possible)",
    )
    add("--lens", choices=("clean",), help="the sensor's lens was brushed before this count")
    used_options(command)
    sign_options(command)
    add(
        "--also",
        action="append",
        default=[],
        choices=("guide", "hole"),
        help="advise a change of this part, too; may be repeated",
    )
    add("--seed", default="1", metavar="N", help="random seed of possible meters and runs (1)")
    workers_option(command)
    details_option(command, "show the whole report: evidence, all moves, and common practice")
    add("--json", metavar="FILE", help="write everything as JSON, in SI; - prints it")
    add("--figure", metavar="FILE", help="draw it: .png, .svg or .pdf")


def answer(options: argparse.Namespace) -> str:
    """Answer of the next move with these options.

    Raises
    ------
    BadInput
        When an option is wrong, or nothing was counted.
    """
    if options.event is not None:
        return event_answer(options)
    if options.date is not None:
        raise bad("--date", options.date, "goes with an event; give --event, too")
    files = [("--json", options.json), ("--figure", options.figure)]
    scenario, counts, disc, history, accepted, seed, workers, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: count_of(options),
        lambda: disc_of(options),
        lambda: _history(options.log, options.row, options.counted is not None),
        lambda: accepted_of(options),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: check_writable(files, [options.scenario, options.log]),
    )
    looks = [*counts, *disc]
    seen = gives_signs(options)
    if not looks and options.log is None and not seen:
        message = "nothing was counted; give --counted, --skips and --doubles, or --cells-seen "
        raise bad("next", "", message + "and --cells-loaded, or --log and --row")
    given = scenario
    row, chosen = _row(history, options.row, bool(looks))
    entries, notes = counts_of_row(history, options.log, row, scenario, bool(looks))
    notes = [*chosen, *notes]
    if options.lens:
        entries = _since_brushed(entries, bool(looks))
    scenario, earlier, left = _placed(scenario, looks, entries)
    notes += left
    notes += _other_disc(given, [meter for meter, _ in earlier], options.units)
    sensed = [one for one in (*looks, *(entry.look for entry in entries)) if one.way == SENSOR]
    if options.monitor and not sensed:
        raise bad("--monitor", options.monitor, "goes with --counted-by sensor")
    used = used_of(options, scenario)
    lens_clean = options.lens is not None or _is_clean(history, entries)

    def moved() -> NextMove:
        with bar(RUNS, "run") as show, crew(workers, options.workers) as executor:
            return next_move(
                scenario,
                looks,
                earlier=earlier,
                wanted=_usual(scenario, options.scenario),
                skips_most=accepted[0],
                doubles_most=accepted[1],
                monitor=options.monitor,
                lens_clean=lens_clean,
                used=used,
                others=_others(history, entries, looks),
                also=options.also,
                units=options.units,
                seed=seed,
                executor=executor,
                on_run=show,
            )

    if seen or scenario.is_toolbar:
        present = looks or _present(scenario, earlier)
        signs = signs_of(options, scenario, present, used, lens_clean=lens_clean)
        return answer_causes(options, scenario, signs, moved, seed, workers, notes)
    found = moved()
    rows = read_rows(history, _effects(found))
    written: list[tuple[str, str | bytes]] = []
    content = next_json(found, seed, rows) if options.json else ""
    if options.json and options.json != "-":
        written.append((options.json, content))
    if options.figure:
        from metersim.questions.next.figure import next_figure
        from metersim.questions.shared.page import encoded

        drawn = next_figure(found, options.units)
        written.append((options.figure, encoded(drawn, options.figure)))
    write_all(written)
    if options.json == "-":
        return content.removesuffix("\n")
    return next_answer(found, options.units, notes, options.details, rows)


def _present(scenario: Scenario, earlier: Sequence[tuple[Scenario, Look]]) -> list[Look]:
    """Latest counts of a log at the present settings."""
    back = takewhile(lambda pair: pair[0] == scenario, reversed(earlier))
    return [look for _, look in back][::-1]


def _others(history: Sequence[Line], mine: Sequence[Entry], looks: Sequence[Look]) -> list[Look]:
    """Latest counts of the other rows, where they can be compared with the present one."""
    compared, _ = latest(history)
    if looks or not mine or mine[-1].row not in [one.row for one in compared]:
        return []
    return [one.look for one in compared if one.row != mine[-1].row]


def _effects(found: NextMove) -> dict[str, float]:
    """Design effect of counts by kind of cell, of a meter in order at these settings."""
    wanted = [one.wanted for one in found.targets]
    return {
        kind: max((float(getattr(one, f"{kind}_effect")) for one in wanted), default=1.0)
        for kind in KINDS
    }


def _usual(scenario: Scenario, name: str) -> Scenario:
    """The same meter at the settings of its file, which give the wanted shares."""
    file = load_scenario(name)
    settings = [SETTINGS[name] for name in SETTERS]
    usual = {f"{one.section}__{one.field}": one.of(file) for one in settings}
    try:
        return scenario.replace(**usual)
    except BadInput:  # settings of the file may contradict other changes
        return scenario


def _history(log: str | None, row: str | None, counted: bool) -> list[Line]:
    """Counts and events of a log."""
    if log is None:
        if row is not None:
            raise bad("--row", row, "goes with a log of counts; give --log FILE")
        return []
    history = read_history(Path(log))
    if row is not None or not (rows_in(history) or counted):
        row_of(history, log, row)
    return history


def _row(history: Sequence[Line], row: str | None, counted: bool) -> tuple[str | None, list[str]]:
    """Row of a log to look at, and a note where nobody named it.

    It is the row that likely differs alone, or the one that was counted last.
    """
    entries = [line for line in history if isinstance(line, Entry)]
    if row is not None or counted or len(rows_in(history)) < 2:
        return row, []
    found = read_rows(history)
    if found and found.apart:
        return found.apart, [f"this is row {found.apart}, which likely differs alone (--row)"]
    return entries[-1].row, [f"this is row {entries[-1].row}, which was counted last (--row)"]


def _placed(
    scenario: Scenario, looks: Sequence[Look], entries: Sequence[Entry]
) -> tuple[Scenario, list[tuple[Scenario, Look]], list[str]]:
    """Present scenario, earlier counts with their own scenarios, and notes on those left out."""
    earlier, notes = [], []
    for k, entry in enumerate(entries):
        try:
            earlier.append((entry.on(scenario), entry.look))
        except BadInput:
            if not looks and k == len(entries) - 1:  # the present settings themselves
                raise
            day = f" of {entry.date}" if entry.date else ""
            notes.append(f"a count{day} is left out: this meter cannot have its settings")
    return scenario if looks or not earlier else earlier[-1][0], earlier, notes


def _since_brushed(entries: Sequence[Entry], counted: bool) -> list[Entry]:
    """Counts of a row whose lens was brushed before the last count: no earlier ones by it."""
    old = entries if counted else entries[:-1]
    return [*(one for one in old if one.look.way != SENSOR), *entries[len(old) :]]


def _is_clean(history: Sequence[Line], entries: Sequence[Entry]) -> bool:
    """Whether the lens of the row was brushed; counts from before that are left out already."""
    rows = {"", *(entry.row for entry in entries)}
    return any(
        isinstance(line, Event) and line.kind == BRUSHED and line.row in rows for line in history
    )


def _other_disc(scenario: Scenario, meters: Sequence[Scenario], units: str) -> list[str]:
    """A warning when a log was written with another disc than that of the scenario."""
    own = _disc_words(scenario, units)
    others = {_disc_words(meter, units): None for meter in meters} | {own: None}
    del others[own]
    return [
        f"the log has counts with {words}, and {scenario.name} has {own}: are they of this meter?"
        for words in others
    ]


def _disc_words(scenario: Scenario, units: str) -> str:
    disc = scenario.disc
    return f"{disc.cells} holes of {hole_text(disc.hole_diameter, units)}"
