"""Says how many seeds to count, and what a count can say; keeps counts in a log."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from metersim import outputs
from metersim.commands.shared import changes_of, seed_of
from metersim.faults import BadInput, Fault, all_of, bad, hint, percent, whole
from metersim.reading import load_scenario
from metersim.reports.howmany import howmany_text, seen_lines
from metersim.reports.words import block
from metersim.scenario import Scenario
from metersim.studies.counting.countlog import Entry, entry_of, with_entry
from metersim.studies.counting.counts import (
    CERTAINTY,
    LEAST_WATCHED,
    MOST_COUNTED,
    MOST_WATCHED,
    POWER,
)
from metersim.studies.counting.howmany import SEEDS, WATCHED, howmany
from metersim.studies.counting.settings import SETTINGS, Steps, moved, said
from metersim.studies.counting.standards import limits_of
from metersim.studies.response import Limit
from metersim.studies.variants import variants

OF_A_COUNT = ("row", "skips", "doubles", "triples")


def answer(options: argparse.Namespace) -> str:
    """Tell what the options ask for, and add a count to a log when they give one."""
    scenario, states, limits, seed, seeds, cells, certainty, power, entry, _ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: _states(options),
        lambda: _limits(options),
        lambda: seed_of(options),
        lambda: whole("--seeds", options.seeds or str(SEEDS), 1, MOST_COUNTED),
        lambda: whole("--cells", options.cells or str(WATCHED), LEAST_WATCHED, MOST_WATCHED),
        lambda: _chance("--certainty", options.certainty, CERTAINTY),
        lambda: _chance("--power", options.power, POWER),
        lambda: _entry(options),
        lambda: outputs.check_writable([("--add", options.add)], [options.scenario]),
    )
    if entry is not None:  # before any work
        with_entry(Path(options.add), entry)
    here, other, labels = states or (scenario, None, None)
    found = howmany(
        here,
        other,
        limits=limits,
        labels=labels,
        seeds=seeds,
        certainty=certainty,
        power=power,
        way=options.way,
        units=options.units,
        seed=seed,
        cells=cells,
    )
    text = howmany_text(found, options.units)
    if entry is None:
        return text
    log = with_entry(Path(options.add), entry)  # anew, as somebody may have added meanwhile
    outputs.write_all([(options.add, log)])
    lines = block("Counted", seen_lines(found, entry.look))
    kept = f"Added to {options.add}: row {entry.row}, {entry.seeds:,} seeds."
    return "\n".join([text, "", *lines, kept])


def _states(
    options: argparse.Namespace,
) -> tuple[Scenario, Scenario, tuple[str, str]] | None:
    """The two states to tell apart and their names, where options say which."""
    given = [name for name in ("step", "vary", "limit") if getattr(options, name) is not None]
    if len(given) > 1:
        said_twice = " and ".join(f"--{name}" for name in given)
        raise bad("howmany", said_twice, "say one thing to tell apart at a time; give only one")
    if options.vary is not None:
        named = variants(options.scenario, vary=options.vary, changes=changes_of(options))
        if len(named) != 2:
            raise bad("--vary", options.vary, "takes two values to tell apart, such as notch=0,1")
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
    return scenario, there, ("as it is", said(steps, options.units))


def _steps(text: str) -> Steps:
    """Steps of a setting from their text, such as ``notch=+1``."""
    name, equals, count = (part.strip() for part in text.partition("="))
    if name not in SETTINGS:
        raise bad("--step", text, f"unknown setting; {hint(name, SETTINGS)}")
    if not equals or not re.fullmatch(r"[+-]?\d{1,3}", count, re.ASCII) or int(count) == 0:
        raise bad("--step", text, "must read SETTING=STEPS with a whole number, such as notch=+1")
    return {name: int(count)}


def _limits(options: argparse.Namespace) -> tuple[Limit, ...]:
    return () if options.limit is None else limits_of(options.limit)


def _chance(option: str, word: str | None, usual: float) -> float:
    return usual if word is None else percent(option, word, 50, 99.99)


def _entry(options: argparse.Namespace) -> Entry | None:
    """The count to add to a log, if there is one."""
    given = [name for name in OF_A_COUNT if getattr(options, name) is not None]
    if options.add is None:
        if given:
            message = "is kept in a log; give --add FILE, too"
            raise BadInput(Fault(f"--{name}", getattr(options, name), message) for name in given)
        return None
    if options.vary is not None:
        message = "a count is made at one setting; give that with --set, and tell apart with --step"
        raise bad("--vary", options.vary, message)
    needed = ("row", "seeds", "skips", "doubles")
    lacking = [name for name in needed if getattr(options, name) is None]
    if lacking:
        raise BadInput(Fault("--add", options.add, f"give --{name}, too") for name in lacking)
    seeds, skips, doubles, triples = all_of(
        lambda: whole("--seeds", options.seeds, 0, MOST_COUNTED),
        lambda: whole("--skips", options.skips, 0, MOST_COUNTED),
        lambda: whole("--doubles", options.doubles, 0, MOST_COUNTED),
        lambda: whole("--triples", options.triples or "0", 0, MOST_COUNTED),
    )
    scenario = load_scenario(options.scenario, changes_of(options))
    return entry_of(scenario, options.row, seeds, skips, doubles, triples, options.way)
