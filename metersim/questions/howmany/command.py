"""The command `howmany`: reports how many seeds to count, and keeps a log of counts."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from metersim.files.alone import alone
from metersim.files.faults import BadInput, Fault, all_of, bad, hint, percent, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.measures.indices import Limit
from metersim.questions.howmany.standards import limits_of
from metersim.questions.howmany.study import SEEDS, WATCHED, howmany
from metersim.questions.howmany.text import howmany_answer, howmany_json, seen_lines
from metersim.questions.shared.countlog import with_entry
from metersim.questions.shared.countoptions import (
    count_options,
    line_of,
    line_options,
    way_of,
)
from metersim.questions.shared.counts import (
    CERTAINTY,
    LEAST_WATCHED,
    MOST_COUNTED,
    MOST_WATCHED,
    POWER,
)
from metersim.questions.shared.history import Entry
from metersim.questions.shared.options import (
    changes_of,
    details_option,
    seed_of,
    watched_options,
)
from metersim.questions.shared.settings import SETTINGS, Steps, moved, steps_text, variants
from metersim.questions.shared.words import block

ADDED = "with --add: "
OF_A_LINE = ("row", "date", "meter", "surface", "skips", "doubles", "triples")


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim howmany``."""
    watched_options(command, "each state", f"{WATCHED:,}")
    add = command.add_argument
    add("--step", metavar="SETTING=+1", help="detect this step (notch=+1)")
    add("--vary", metavar="KEY=A,B", help="distinguish these two values of a key")
    add(
        "--accept",
        metavar="'MEASURE<=VALUE'",
        help="detect whether the meter meets an acceptance limit, in SI or percent, such as "
        "'cells.skip<=2%%', or the limits of a standard: db32t1023, nyt1628, onal1995",
    )
    add("--certainty", metavar="PERCENT", help="chance of no alarm where nothing differs (95)")
    add("--power", metavar="PERCENT", help="chance that a difference is detected (80)")
    count_options(
        command, "seeds of the count whose range is given (300); with --add, seeds counted", ADDED
    )
    add("--add", metavar="FILE", help="add a count with the present settings to a log, as CSV")
    line_options(command, ADDED)
    details_option(command)
    add("--json", metavar="FILE", help="write all of it as JSON; - prints it")


def answer(options: argparse.Namespace) -> str:
    """Report on counts with these options; adds a given count to a log."""
    scenario, states, limits, seed, seeds, cells, certainty, power, entry, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: _states(options),
        lambda: _limits(options),
        lambda: seed_of(options),
        lambda: whole("--counted", options.counted or str(SEEDS), 1, MOST_COUNTED),
        lambda: whole("--cells", options.cells or str(WATCHED), LEAST_WATCHED, MOST_WATCHED),
        lambda: _chance("--certainty", options.certainty, CERTAINTY),
        lambda: _chance("--power", options.power, POWER),
        lambda: _entry(options),
        lambda: check_writable(
            [("--add", options.add), ("--json", options.json)], [options.scenario]
        ),
    )
    if entry is not None:  # faults of the log are reported before any run
        with_entry(Path(options.add), entry, options.units)
    here, other, labels = states or (scenario, None, None)
    found = howmany(
        here,
        other,
        limits=limits,
        labels=labels,
        seeds=seeds,
        certainty=certainty,
        power=power,
        way=way_of(options),
        units=options.units,
        seed=seed,
        cells=cells,
    )
    made: list[tuple[str, str | bytes]] = []
    if options.json and options.json != "-":
        made.append((options.json, howmany_json(found)))
    if entry is None:
        write_all(made)
    else:
        with alone(Path(options.add)):  # read again, as another count may have been added
            write_all([*made, (options.add, with_entry(Path(options.add), entry, options.units))])
    if options.json == "-":
        return howmany_json(found).removesuffix("\n")
    text = howmany_answer(found, options.units, options.details)
    if entry is None:
        return text
    lines = block("Counted", seen_lines(found, entry.look))
    kept = f"Added to {options.add}: row {entry.row}, {entry.seeds:,} seeds."
    return "\n".join([kept, text, "", *lines])


def _states(
    options: argparse.Namespace,
) -> tuple[Scenario, Scenario, tuple[str, str]] | None:
    """The two states to distinguish and their names, if the options give them."""
    given = [name for name in ("step", "vary", "accept") if getattr(options, name) is not None]
    if len(given) > 1:
        several = " and ".join(f"--{name}" for name in given)
        raise bad("howmany", several, "ask for one difference or limit at a time; give only one")
    if options.vary is not None:
        named = variants(options.scenario, vary=options.vary, changes=changes_of(options))
        if len(named) != 2:
            raise bad("--vary", options.vary, "takes two values to distinguish, such as notch=0,1")
        (first, here), (second, there) = named.items()
        return here, there, (first, second)
    if options.step is None:
        return None
    steps = _steps(options.step)
    scenario = load_scenario(options.scenario, changes_of(options))
    try:
        there = moved(scenario, steps, options.units)
    except BadInput as error:
        raise BadInput(Fault("--step", options.step, f.message) for f in error.faults) from None
    if SETTINGS[next(iter(steps))].of(there) == SETTINGS[next(iter(steps))].of(scenario):
        raise bad("--step", options.step, "changes nothing: it is so already")
    return scenario, there, ("as it is", steps_text(steps, options.units))


def _steps(text: str) -> Steps:
    """Read steps of a setting such as ``notch=+1``."""
    name, equals, count = (part.strip() for part in text.partition("="))
    if name not in SETTINGS:
        raise bad("--step", text, f"unknown setting; {hint(name, SETTINGS)}")
    if not equals or not re.fullmatch(r"[+-]?\d{1,3}", count, re.ASCII) or int(count) == 0:
        raise bad("--step", text, "must read SETTING=STEPS with a whole number, such as notch=+1")
    return {name: int(count)}


def _limits(options: argparse.Namespace) -> tuple[Limit, ...]:
    return () if options.accept is None else limits_of(options.accept)


def _chance(option: str, word: str | None, usual: float) -> float:
    return usual if word is None else percent(option, word, 50, 99.99)


def _entry(options: argparse.Namespace) -> Entry | None:
    """Count to add to a log, if the options give one."""
    given = [name for name in OF_A_LINE if getattr(options, name) is not None]
    if options.add is None:
        if given:
            message = "goes into a log; give --add FILE, too"
            raise BadInput(Fault(f"--{name}", getattr(options, name), message) for name in given)
        return None
    if options.vary is not None:
        message = "a count is made at one setting; give that with --set, and a step with --step"
        raise bad("--vary", options.vary, message)
    needed = ("row", "counted", "skips", "doubles")
    lacking = [name for name in needed if getattr(options, name) is None]
    if lacking:
        raise BadInput(Fault("--add", options.add, f"give --{name}, too") for name in lacking)
    return line_of(options, load_scenario(options.scenario, changes_of(options)))
