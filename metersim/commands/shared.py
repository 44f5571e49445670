"""What several commands read of their options, and how they show that something takes long."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor
from contextlib import contextmanager
from functools import partial

from tqdm import tqdm

from metersim.faults import BadInput, Fault, all_of, amount, bad, percent, whole
from metersim.parallel import MOST_WORKERS, cores, processes
from metersim.reading import section_of
from metersim.scenario import Scenario
from metersim.studies.unknowns import DRAWS, MOST_DRAWS
from metersim.units import MAIZE_BUSHEL, UNITS
from metersim.yields import Harvest

MOST_YIELD = 4.0  # kg/m2, 40 t/ha
MOST_PRICE = 1e9
TONNE = 1e3  # kg
MOST_WANTED = 50  # percent of skips, or of doubles, that anybody puts up with
LONG = 3_000_000  # cells; they take some seconds


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
