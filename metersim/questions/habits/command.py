"""The command `habits`: tries habits of operators on meters with a hidden state."""

from __future__ import annotations

import argparse
import dataclasses

from metersim.files.faults import BadInput, Fault, all_of, hint, whole
from metersim.files.tables import as_table
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.habits.study import METERS, habits, steps_of, wanted_of
from metersim.questions.habits.text import summary
from metersim.questions.shared.countoptions import accept_option, accepted_of
from metersim.questions.shared.effort import (
    FIRST_METER_SECONDS,
    METER_CELLS,
    METER_SECONDS,
    announce,
)
from metersim.questions.shared.operators import COUNT, HABITS, Habit, Wanted
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

MOST_METERS = 10_000
MOST_COUNT = 100_000
AHEAD = 4  # submitted jobs for each worker, so that none waits for a slow job


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim habits``."""
    scenario_option(command)
    units_option(command, ", whose steps settings are moved by")
    add = command.add_argument
    add(
        "--habit",
        action="append",
        default=[],
        metavar="NAME",
        help="one of: leave alone, one notch, several notches, notch and vacuum, count too few, "
        "chase every count; may be repeated (all); habits of your own are tried from Python",
    )
    add("--meters", metavar="N", help="meters that each habit is given (500)")
    add("--count", metavar="N", help="cells of a look, where a habit does not say (300)")
    accept_option(command, "half a percentage point more than when nothing is wrong")
    add("--seed", default="1", metavar="N", help="random seed of meters and counts (1)")
    workers_option(command)
    add("--csv", metavar="FILE", help="write one row a habit and meter")
    add("--figure", metavar="FILE", help="draw it for a projector: .png, .svg or .pdf")
    add("--paths", metavar="FILE", help="draw what each habit did on three meters, look by look")
    details_option(command, "print every measure with its interval, and findings, too")


def answer(options: argparse.Namespace) -> str:
    """Report of habits with these options; writes the requested files.

    Raises
    ------
    BadInput
        When an option is wrong, or a file cannot be written.
    """
    scenario, named, meters, count, accepted, seed, workers, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: _habits(options.habit),
        lambda: (
            METERS if options.meters is None else whole("--meters", options.meters, 2, MOST_METERS)
        ),
        lambda: COUNT if options.count is None else whole("--count", options.count, 1, MOST_COUNT),
        lambda: accepted_of(options),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: check_writable(
            [(f"--{name}", getattr(options, name)) for name in ("csv", "figure", "paths")],
            [options.scenario],
        ),
    )
    each = METER_SECONDS * (1 + count / METER_CELLS) * len(named) / len(HABITS)
    announce(FIRST_METER_SECONDS + each * meters, workers)
    with bar(steps_of(meters), "step") as show, crew(workers, options.workers) as executor:
        result = habits(
            scenario,
            habits=named,
            meters=meters,
            count=count,
            wanted=_wanted(scenario, seed, *accepted),
            seed=seed,
            units=options.units,
            quality=options.details or options.csv is not None,
            executor=executor,
            ahead=AHEAD * workers,
            on_step=show,
        )
    files: list[tuple[str, str | bytes]] = []
    if options.csv:
        files.append((options.csv, as_table(result.rows())))
    if options.figure or options.paths:
        from metersim.questions.habits.figure import habit_paths_figure, habits_figure
        from metersim.questions.shared.page import encoded

        for name, figure in ((options.figure, habits_figure), (options.paths, habit_paths_figure)):
            if name:
                files.append((name, encoded(figure(result), name)))
    write_all(files)
    return summary(result, options.units, options.details)


def _habits(names: list[str]) -> dict[str, Habit]:
    """Habits by name, all without any name; raises `BadInput` for an unknown name."""
    faults = [
        Fault("--habit", name, f"unknown; {hint(name, HABITS)}")
        for name in names
        if name not in HABITS
    ]
    if faults:
        raise BadInput(faults)
    return {name: HABITS[name] for name in names} or dict(HABITS)


def _wanted(scenario: Scenario, seed: int, skips: float | None, doubles: float | None) -> Wanted:
    """Targets of operators; a missing one is taken from the scenario in order."""
    given = {"skips": skips, "doubles": doubles}
    said = {name: share for name, share in given.items() if share is not None}
    if len(said) == len(given):
        return Wanted(**said)
    return dataclasses.replace(wanted_of(scenario, seed), **said)
