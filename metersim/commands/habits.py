"""Habits: what operators reach on meters whose state nobody sees."""

from __future__ import annotations

import argparse
import dataclasses

from metersim import outputs
from metersim.commands.shared import bar, changes_of, crew, seed_of, workers_of, worst_of
from metersim.faults import BadInput, Fault, all_of, hint, whole
from metersim.reading import load_scenario
from metersim.reports.habits import report
from metersim.scenario import Scenario
from metersim.studies.operating.habits import METERS, habits, steps_of, wanted_of
from metersim.studies.operating.operators import COUNT, HABITS, Habit, Wanted

MOST_METERS = 10_000
MOST_COUNT = 100_000
AHEAD = 4  # jobs in flight for each worker, so that none waits for a slow one


def answer(options: argparse.Namespace) -> str:
    """Try habits as the options say, write what they ask for, and tell the result.

    Raises
    ------
    BadInput
        When anything is wrong with them, or files cannot be written.
    """
    scenario, named, meters, count, skips, doubles, seed, workers, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: _habits(options.habit),
        lambda: (
            METERS if options.meters is None else whole("--meters", options.meters, 2, MOST_METERS)
        ),
        lambda: COUNT if options.count is None else whole("--count", options.count, 1, MOST_COUNT),
        lambda: worst_of("--skips-most", options.skips_most),
        lambda: worst_of("--doubles-most", options.doubles_most),
        lambda: seed_of(options),
        lambda: workers_of(options),
        lambda: outputs.check_writable(
            [(f"--{name}", getattr(options, name)) for name in ("csv", "figure", "paths")],
            [options.scenario],
        ),
    )
    with bar(steps_of(meters), "step") as show, crew(workers) as executor:
        result = habits(
            scenario,
            habits=named,
            meters=meters,
            count=count,
            wanted=_wanted(scenario, seed, skips, doubles),
            seed=seed,
            units=options.units,
            executor=executor,
            ahead=AHEAD * workers,
            on_step=show,
        )
    files: list[tuple[str, str | bytes]] = []
    if options.csv:
        files.append((options.csv, outputs.as_table(result.rows())))
    if options.figure or options.paths:
        from metersim.figures import encoded, habit_paths_figure, habits_figure

        for name, figure in ((options.figure, habits_figure), (options.paths, habit_paths_figure)):
            if name:
                files.append((name, encoded(figure(result), name)))
    outputs.write_all(files)
    return report(result, options.units)


def _habits(names: list[str]) -> dict[str, Habit]:
    """Habits by name, all when none is named; raises `BadInput` for what is none."""
    faults = [
        Fault("--habit", name, f"unknown; {hint(name, HABITS)}")
        for name in names
        if name not in HABITS
    ]
    if faults:
        raise BadInput(faults)
    return {name: HABITS[name] for name in names} or dict(HABITS)


def _wanted(scenario: Scenario, seed: int, skips: float | None, doubles: float | None) -> Wanted:
    """What operators work to: what is given, and the usual for what is not."""
    given = {"skips": skips, "doubles": doubles}
    said = {name: share for name, share in given.items() if share is not None}
    if len(said) == len(given):
        return Wanted(**said)
    return dataclasses.replace(wanted_of(scenario, seed), **said)
