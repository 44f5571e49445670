"""The command `learn`: learns a meter from counts and spacings, and writes its meter file."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from metersim.files.faults import BadInput, all_of, bad, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.coefficients import USUAL
from metersim.machine.posterior import read_meter
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.learn.seen import of_look, pooled, read_seen
from metersim.questions.learn.study import KEPT_DRAWS, learn_from
from metersim.questions.learn.text import learned_answer, learned_json
from metersim.questions.learn.weigh import MACHINES, ROUNDS
from metersim.questions.shared.countoptions import disc_of, disc_options
from metersim.questions.shared.effort import SHOW_SECONDS, announce
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

FEWEST_MACHINES, MOST_MACHINES = 20, 1_000
FEWEST_DRAWS, MOST_DRAWS = 8, 512


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim learn``."""
    scenario_option(command)
    units_option(command)
    add = command.add_argument
    add(
        "--from",
        dest="files",
        action="append",
        default=[],
        metavar="FILE.csv",
        help="counts, as 'howmany --add' writes them, each at its own settings, since the row's "
        "last repair; or spacings at these settings, as 'measured' takes them; may be repeated",
    )
    add("--row", metavar="NAME", help="which row of the counts, if there are several")
    disc_options(command)
    add("--out", metavar="FILE", help="meter file to write: .toml; a scenario names it as meter")
    add("--title", metavar="NAME", help="what to call the meter")
    add(
        "--anew",
        action="store_true",
        help="start from an unknown machine, not from the meter file that the scenario names",
    )
    add("--draws", metavar="N", help=f"draws of the meter file ({KEPT_DRAWS})")
    add(
        "--machines",
        metavar="N",
        help=f"machines to run at each setting; more give more exact predictions ({MACHINES})",
    )
    add("--seed", default="1", metavar="N", help="random seed (1)")
    workers_option(command)
    details_option(command, "show what each count taught, and more counts that could be made")
    add("--json", metavar="FILE", help="write all of it as JSON; - prints it")


def answer(options: argparse.Namespace) -> str:
    """Report on what was learned with these options; writes the meter file."""
    scenario, disc, draws, machines, seed, workers = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: disc_of(options),
        lambda: whole("--draws", options.draws or str(KEPT_DRAWS), FEWEST_DRAWS, MOST_DRAWS),
        lambda: whole(
            "--machines", options.machines or str(MACHINES), FEWEST_MACHINES, MOST_MACHINES
        ),
        lambda: seed_of(options),
        lambda: workers_of(options),
    )
    if options.anew:
        scenario = replace(scenario, meter=None, coefficients=USUAL)
    _, *read = all_of(
        lambda: _check_out(options, scenario),
        *(lambda file=file: read_seen(scenario, Path(file), options.row) for file in options.files),
    )
    seen = [*(of_look(scenario, look) for look in disc), *(one for part in read for one in part)]
    if not sum(one.cells for one in seen):
        message = "nothing was seen; give a file with --from, or --cells-seen and --cells-loaded"
        raise bad("learn", "", message)
    pool = pooled(seen)
    announce(SHOW_SECONDS * ROUNDS * machines * len(pool), workers)
    with crew(workers, options.workers) as executor:
        found = learn_from(
            scenario,
            pool,
            title=options.title,
            seed=seed,
            draws=draws,
            machines=machines,
            executor=executor,
        )
    made = [(options.out, found.to_toml())] if options.out else []
    if options.json and options.json != "-":
        made.append((options.json, learned_json(found)))
    write_all(made)
    if options.json == "-":
        return learned_json(found).removesuffix("\n")
    return learned_answer(found, options.out, options.units, options.details)


def _check_out(options: argparse.Namespace, scenario: Scenario) -> None:
    """Refuse a meter file that would take the place of something else."""
    inputs = [options.scenario, *options.files]
    if scenario.meter:
        beside = Path(options.scenario).parent
        inputs += [str(beside / scenario.meter.file), scenario.meter.file]
    check_writable([("--out", options.out), ("--json", options.json)], inputs)
    if options.out is None:
        return
    if not options.out.lower().endswith(".toml"):
        raise bad("--out", options.out, "must end in .toml, so that a scenario can name it")
    if Path(options.out).exists():
        try:
            read_meter(options.out)
        except BadInput:
            message = "is there already, and is no meter file; give another name"
            raise bad("--out", options.out, message) from None
