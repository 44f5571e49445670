"""Options that several commands share, and their reading."""

from __future__ import annotations

import argparse
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from typing import TYPE_CHECKING

from metersim.files.faults import BadInput, Fault, Parameter, all_of, amount, bad, whole
from metersim.files.typed import typed_quantity
from metersim.files.units import MAIZE_BUSHEL, UNITS, Unit
from metersim.machine.changes import plain_change, section_of
from metersim.machine.reading import load_scenario
from metersim.measures.yields import Harvest
from metersim.questions.shared.effort import MOST_REPLICATES
from metersim.questions.shared.unknowns import DRAWS, MOST_DRAWS
from metersim.run.parallel import MOST_WORKERS, cores

if TYPE_CHECKING:
    from concurrent.futures import Executor

MOST_YIELD = 4.0  # kg/m2, 40 t/ha
MOST_PRICE = 1e9
TONNE = 1e3  # kg
UNITS_OF_USER = "METERSIM_UNITS"

OPTIONS = {  # options whose parameter has another name
    "changes": "set",
    "limits": "accept",
    "skips_most": "accept",
    "doubles_most": "accept",
    "way": "counted-by",
}
NAMED = "changes|doubles_most|mend|out|plants|resume|row|turns|vary|workers"
TOLD = re.compile(f"`({NAMED})`")  # within messages


def typed(fault: Fault) -> Fault:
    """A fault with options of the command line in place of parameters of Python."""
    where = fault.where
    if isinstance(where, Parameter):
        where = re.sub(r"^\w+", lambda name: _option(name[0]), where)
    message = TOLD.sub(lambda name: _option(name[1]), fault.message)
    return Fault(where, fault.key, message)


def _option(parameter: str) -> str:
    return f"--{OPTIONS.get(parameter, parameter).replace('_', '-')}"


def scenario_option(command: argparse.ArgumentParser) -> None:
    """Add options of the scenario and its changes; the command sets the length of the run."""
    command.add_argument(
        "scenario", metavar="SCENARIO", help="a scenario file, or the name of a shipped one"
    )
    command.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="change one key of the scenario; may be repeated; 'metersim list keys' lists all; "
        "an uncertain value is a range, in quotes: 'vacuum_kpa={low=3,high=4}'",
    )
    command.set_defaults(turns=None)


def scenario_options(command: argparse.ArgumentParser) -> None:
    """Add options of the scenario, its changes, and the length of the run."""
    scenario_option(command)
    command.add_argument("--turns", metavar="N", help="turns of the disc")
    units_option(command)


def units_option(command: argparse.ArgumentParser, more: str = "") -> None:
    """Add the option of the printed units."""
    command.add_argument(
        "--units",
        choices=("metric", "us"),
        help=f"units of the printed result; by default those of the scenario, then those of "
        f"{UNITS_OF_USER} (metric{more})",
    )


def units_of(options: argparse.Namespace) -> str:
    """Units of the answer: as typed, else of the scenario, else of the user, else metric.

    A scenario that cannot be read has none; its command says why.
    """
    if options.units:
        return str(options.units)
    names = getattr(options, "scenario", None) or getattr(options, "scenarios", None) or ()
    for name in (names,) if isinstance(names, str) else names:
        with suppress(BadInput):
            if units := load_scenario(name).units:
                return units
    own = os.environ.get(UNITS_OF_USER, "")
    if own not in ("", "metric", "us"):
        raise bad(UNITS_OF_USER, own, "is not allowed; give metric or us")
    return own or "metric"


def seed_options(command: argparse.ArgumentParser) -> None:
    """Add options of the random seed and the number of replicates."""
    command.add_argument("--seed", default="1", metavar="N", help="random seed (1)")
    command.add_argument(
        "--replicates", default="1", metavar="N", help="repeat with other random draws (1)"
    )


def engine_option(command: argparse.ArgumentParser) -> None:
    """Add the option of the simulation engine."""
    command.add_argument(
        "--engine",
        choices=("arrays", "events", "compiled"),
        help="way of computing: arrays (usual), events, far slower, or compiled, quicker in long "
        "runs (needs numba); the results are the same",
    )


def draws_option(
    command: argparse.ArgumentParser,
    what: str = "the machine and the uncertain inputs, each with a run",
    usual: int = DRAWS,
) -> None:
    """Add the option of the number of draws of machine and uncertain inputs."""
    command.add_argument("--draws", metavar="N", help=f"number of draws of {what} ({usual})")


WHOLE_REPORT = "show the whole report: every measure, the parts of each interval, all notes"


def details_option(command: argparse.ArgumentParser, says: str = WHOLE_REPORT) -> None:
    """Add the option that shows the whole report below the answer."""
    command.add_argument("--details", action="store_true", help=says)


def workers_option(command: argparse.ArgumentParser) -> None:
    """Add the option of the number of processes, one for each core where it is left out."""
    command.add_argument(
        "--workers",
        metavar="N",
        help="processes to work with (as many as there are cores, 8 at most, if it takes long)",
    )


def plants_options(command: argparse.ArgumentParser) -> None:
    """Add options of plants and of published yield relations."""
    command.add_argument(
        "--plants",
        action="store_true",
        help="turn seeds into plants, and give the loss of yield by published relations",
    )
    harvest_options(command)


def harvest_options(command: argparse.ArgumentParser) -> None:
    """Add options of the expected yield and price."""
    command.add_argument(
        "--yield",
        dest="expected",
        metavar="N",
        help="yield of an even stand that you expect, in t/ha (bu/acre with --units us), or with "
        "its unit",
    )
    command.add_argument(
        "--price",
        metavar="N",
        help="what you get for a tonne (for a bushel with --units us), in your money",
    )


def watched_options(command: argparse.ArgumentParser, what: str, usual: str) -> None:
    """Add options of the scenario, the cells to simulate, and the random seed."""
    scenario_option(command)
    units_option(command)
    command.add_argument("--seed", default="1", metavar="N", help="random seed (1)")
    said = f"cells that {what} is simulated for; more of them narrow the result ({usual})"
    command.add_argument("--cells", metavar="N", help=said)


def changes_of(options: argparse.Namespace) -> list[str]:
    """Changes of the scenario as they were typed."""
    turns = [] if options.turns is None else [f"run.turns={options.turns}"]
    return [*options.set, *turns]


def seed_of(options: argparse.Namespace) -> int:
    """Random seed of the options."""
    return whole("--seed", options.seed, 0)


def replicates_of(options: argparse.Namespace) -> int:
    """Number of replicates, each with its own random draws."""
    return whole("--replicates", options.replicates, 1, MOST_REPLICATES)


def workers_of(options: argparse.Namespace) -> int:
    """Number of processes; one for each core when the option is missing."""
    if options.workers is None:
        return cores()
    return whole("--workers", options.workers, 1, MOST_WORKERS)


@contextmanager
def crew(workers: int, asked: str | None) -> Iterator[Executor | None]:
    """Pool of processes, or None for one; raises `BadInput` when one is ended from outside.

    Processes that were asked for start at once, others when the work has lasted for a while.
    """
    from concurrent.futures import BrokenExecutor  # a command without workers does not need it

    from metersim.run.pool import processes

    try:
        with processes(workers, at_once=asked is not None) as executor:
            yield executor
    except BrokenExecutor:
        message = "a worker was ended from outside, perhaps for want of memory; nothing was written"
        raise bad("--workers", str(workers), message) from None


def draws_of(options: argparse.Namespace, usual: int = DRAWS) -> int:
    """Number of draws of machine and uncertain inputs."""
    return usual if options.draws is None else whole("--draws", options.draws, 2, MOST_DRAWS)


def harvest_of(options: argparse.Namespace) -> Harvest:
    """Expected yield and price, in SI."""
    us = options.units == "us"
    unit = UNITS["bu_acre" if us else "t_ha"]
    given = {"--yield": options.expected, "--price": options.price}
    if any(word is not None for word in given.values()):
        options.plants = True  # a yield is one of plants
    units = {"--yield": unit.symbol, "--price": f"for a {'bushel' if us else 'tonne'}"}
    most = {"--yield": unit.from_si(MOST_YIELD), "--price": MOST_PRICE}
    said = {**given, "--yield": _in_unit(given["--yield"], unit)}
    expected, price = all_of(
        *(
            partial(_amount, option, word, most[option], units[option])
            for option, word in said.items()
        )
    )
    return Harvest(
        expected=None if expected is None else unit.to_si(expected),
        price=None if price is None else price / (MAIZE_BUSHEL if us else TONNE),
    )


def _in_unit(word: str | None, unit: Unit) -> str | None:
    """A typed number as one of `unit`, where another unit of its kind stands behind it."""
    read = typed_quantity(word) if word is not None else None
    if read is None or read[1] is None or read[1].si != unit.si:
        return word
    return f"{unit.from_si(read[1].to_si(read[0])):.12g}"


def _amount(option: str, word: str | None, most: float, unit: str) -> float | None:
    return None if word is None else amount(option, word, most, unit)


def check_vary(options: argparse.Namespace) -> None:
    """Refuse a varied key that changes only plants when plants are not requested."""
    key = plain_change(options.vary or "").partition("=")[0].strip()
    place = section_of(key)
    if place and place[0] == "stand" and not options.plants:
        raise bad("--vary", key, "moves plants, no seed; add --plants")
