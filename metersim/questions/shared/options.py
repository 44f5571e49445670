"""Options that several commands have, how they are read, and how a long run shows itself."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor
from contextlib import contextmanager
from functools import partial

from tqdm import tqdm

from metersim.files.faults import BadInput, Fault, all_of, amount, bad, percent, whole
from metersim.files.units import MAIZE_BUSHEL, UNITS
from metersim.machine.reading import section_of
from metersim.machine.scenario import Scenario
from metersim.measures.yields import Harvest
from metersim.questions.shared.unknowns import DRAWS, MOST_DRAWS
from metersim.run.parallel import MOST_WORKERS, cores, processes

MOST_YIELD = 4.0  # kg/m2, 40 t/ha
MOST_PRICE = 1e9
TONNE = 1e3  # kg
MOST_WANTED = 50  # percent of skips, or of doubles, that anybody puts up with
LONG = 3_000_000  # cells; they take some seconds


def scenario_option(command: argparse.ArgumentParser) -> None:
    """Which scenario, and what is changed in it, for a command that sets its length itself."""
    command.add_argument(
        "scenario", metavar="SCENARIO", help="a scenario file, or the name of a shipped one"
    )
    command.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="change one key of the scenario; may be repeated; 'metersim list keys' shows all; "
        "what you do not know is a range, in quotes: 'vacuum_kpa={low=3,high=4}'",
    )
    command.set_defaults(turns=None)


def scenario_options(command: argparse.ArgumentParser) -> None:
    """Which scenario, what is changed in it, and for how long."""
    scenario_option(command)
    command.add_argument("--turns", metavar="N", help="turns of the disc")
    units_option(command, "metric")


def units_option(command: argparse.ArgumentParser, usual: str | None, more: str = "") -> None:
    """Units of what is printed."""
    command.add_argument(
        "--units",
        choices=("metric", "us"),
        default=usual,
        help=f"units of the printed result (metric{more})",
    )


def luck_options(command: argparse.ArgumentParser) -> None:
    """What chooses the luck, and how often."""
    command.add_argument("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    command.add_argument(
        "--replicates", default="1", metavar="N", help="repeat with fresh luck (1)"
    )


def engine_option(command: argparse.ArgumentParser) -> None:
    """Which engine works it out."""
    command.add_argument(
        "--engine",
        choices=("arrays", "events"),
        help="how to work it out: arrays (usual), or events, far slower; the result is the same",
    )


def draws_option(
    command: argparse.ArgumentParser, what: str = "the scenario gives as a range, and run it"
) -> None:
    """How often what is not known is drawn."""
    command.add_argument("--draws", metavar="N", help=f"how often to draw what {what} (64)")


def workers_option(command: argparse.ArgumentParser, usual: str | None = "1") -> None:
    """How many processes work; None for one a core, up to eight."""
    said = usual or "as many as there are cores, 8 at most"
    command.add_argument(
        "--workers", default=usual, metavar="N", help=f"processes to work with ({said})"
    )


def plants_options(command: argparse.ArgumentParser) -> None:
    """What comes up, and what published relations make of it."""
    command.add_argument(
        "--plants",
        action="store_true",
        help="turn seeds into plants, and say what published relations make of them",
    )
    harvest_options(command)


def harvest_options(command: argparse.ArgumentParser) -> None:
    """What is expected of the harvest."""
    command.add_argument(
        "--yield",
        dest="expected",
        metavar="N",
        help="yield of an even stand that you expect, in t/ha (bu/acre with --units us)",
    )
    command.add_argument(
        "--price",
        metavar="N",
        help="what you get for a tonne (for a bushel with --units us), in your money",
    )


def watched_options(command: argparse.ArgumentParser, what: str, usual: str) -> None:
    """Which scenario, and how long it is watched on what luck."""
    scenario_option(command)
    units_option(command, "metric")
    command.add_argument("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    said = f"cells that {what} is watched for; more of them say it more exactly ({usual})"
    command.add_argument("--cells", metavar="N", help=said)


def changes_of(options: argparse.Namespace) -> list[str]:
    """Keys of the scenario that are changed, as typed."""
    turns = [] if options.turns is None else [f"run.turns={options.turns}"]
    return [*options.set, *turns]


def seed_of(options: argparse.Namespace) -> int:
    """The random seed."""
    return whole("--seed", options.seed, 0)


def replicates_of(options: argparse.Namespace) -> int:
    """How often to repeat with fresh luck."""
    return whole("--replicates", options.replicates, 1)


def workers_of(options: argparse.Namespace) -> int:
    """How many processes to work with; one a core when nothing is said."""
    if options.workers is None:
        return cores()
    return whole("--workers", options.workers, 1, MOST_WORKERS)


@contextmanager
def crew(workers: int) -> Iterator[Executor | None]:
    """Processes to work with, or None for one; what ends one of them from outside is bad input."""
    try:
        with processes(workers) as executor:
            yield executor
    except BrokenExecutor:
        message = "a worker was ended from outside, perhaps for want of memory; nothing was written"
        raise bad("--workers", str(workers), message) from None


def worst_of(option: str, word: str | None) -> float | None:
    """The largest share that is wanted of what is not; None when nothing is said."""
    return None if word is None else percent(option, word, 0, MOST_WANTED)


def draws_of(options: argparse.Namespace) -> int:
    """How many draws of what is not known are asked for."""
    if options.draws is None:
        return DRAWS
    return whole("--draws", options.draws, 2, MOST_DRAWS)


def harvest_of(options: argparse.Namespace) -> Harvest:
    """Yield and price as the user expects them, in SI."""
    us = options.units == "us"
    unit = UNITS["bu_acre" if us else "t_ha"]
    given = {"--yield": options.expected, "--price": options.price}
    faults = [
        Fault(option, word, "says nothing of seeds; add --plants")
        for option, word in given.items()
        if word is not None and not getattr(options, "plants", True)
    ]
    if faults:
        raise BadInput(faults)
    units = {"--yield": unit.symbol, "--price": f"for a {'bushel' if us else 'tonne'}"}
    most = {"--yield": unit.from_si(MOST_YIELD), "--price": MOST_PRICE}
    expected, price = all_of(
        *(
            partial(_amount, option, word, most[option], units[option])
            for option, word in given.items()
        )
    )
    return Harvest(
        expected=None if expected is None else unit.to_si(expected),
        price=None if price is None else price / (MAIZE_BUSHEL if us else TONNE),
    )


def _amount(option: str, word: str | None, most: float, unit: str) -> float | None:
    return None if word is None else amount(option, word, most, unit)


def check_vary(options: argparse.Namespace) -> None:
    """Refuse to compare what moves plants alone without asking for plants."""
    key = (options.vary or "").partition("=")[0].strip()
    place = section_of(key)
    if place and place[0] == "stand" and not options.plants:
        raise bad("--vary", key, "moves plants, no seed; add --plants")


def check_unknown(options: argparse.Namespace, *scenarios: Scenario) -> None:
    """Refuse draws of nothing."""
    if options.draws is not None and not any(scenario.unknown for scenario in scenarios):
        message = "everything is known; give a key as a range, such as vacuum_kpa={low=3, high=4}"
        raise bad("--draws", options.draws, message)


def watched() -> bool:
    """Whether somebody watches a terminal."""
    return sys.stderr is not None and sys.stderr.isatty()


@contextmanager
def bar(total: int, unit: str) -> Iterator[Callable[[int], None]]:
    """A bar on a terminal, and the function to tell how much is done in all."""
    with tqdm(total=total, unit=unit, leave=False, disable=not watched()) as shown:

        def to(done: int) -> None:
            shown.update(done - shown.n)

        yield to


@contextmanager
def cells_bar(cells: int) -> Iterator[Callable[[int], object] | None]:
    """Shows how far a long run is, and the function to tell how many more cells are done."""
    if cells < LONG or not watched():
        yield None
        return
    with tqdm(total=cells, unit="cell", unit_scale=True, leave=False) as shown:
        yield shown.update
