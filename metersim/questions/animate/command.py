"""The command `animate`: writes a moving picture of a meter in slow motion."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from metersim.files.faults import all_of, amount, bad, whole
from metersim.files.whole import check_writable, write_all
from metersim.machine.airline import middle_row
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.animate.study import (
    KINDS,
    LEAST_SECONDS,
    MOST_SECONDS,
    SECONDS,
    SLOWEST,
    Film,
    Moment,
    fault_moment,
    film_of,
    kind_moment,
    run_for,
    time_moment,
    with_fault,
)
from metersim.questions.animate.written import GIF, HTML, as_html, check_ending
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.effort import RECORD_BYTES, check_cells, check_memory
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.options import changes_of, scenario_options, seed_of
from metersim.run.records import Run

ASSUMES = (
    "seeds come to a hole evenly over its way through the pool, and lie still in the pool; all "
    "else is one run's own record, to scale."
)


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim animate``."""
    scenario_options(command)
    command.add_argument("--seed", default="1", metavar="N", help="random seed (1)")
    command.add_argument(
        "--out", required=True, metavar="FILE", help="film to write: .gif, .html or .mp4"
    )
    command.add_argument(
        "--moment",
        metavar="WHAT",
        help=f"what to show: {', '.join(KINDS)}, or a time in the run in s (double, or where a "
        "fault shows)",
    )
    command.add_argument(
        "--fault",
        metavar="NAME",
        help="put a fault into the meter, and show where it shows; 'metersim list faults' names "
        "them",
    )
    command.add_argument(
        "--seconds", metavar="N", help=f"length of the film in s, at most ({SECONDS:g})"
    )
    command.add_argument(
        "--slow", metavar="N", help="times slower than the meter (so that the moment fills it)"
    )
    command.add_argument("--row", metavar="N", help="row of a machine (the first that works)")


def answer(options: argparse.Namespace) -> str:
    """What the film shows; writes the film."""
    scenario, seed, fault, what, seconds, slow, row, *_ = all_of(
        lambda: load_scenario(options.scenario, changes_of(options)),
        lambda: seed_of(options),
        lambda: _fault_of(options.fault),
        lambda: _moment_of(options.moment),
        lambda: _number("--seconds", options.seconds, LEAST_SECONDS, MOST_SECONDS),
        lambda: _number("--slow", options.slow, 1.0, SLOWEST),
        lambda: None if options.row is None else whole("--row", options.row, 1),
        lambda: check_writable([("--out", options.out)], [options.scenario]),
        lambda: check_ending(options.out),
    )
    runs = 1 + (fault is not None)
    check_cells("--turns", scenario.passages * runs)
    check_memory("--turns", scenario.passages * RECORD_BYTES * runs)
    run, moment = _shown(scenario, seed, row, fault, what)
    film = film_of(run, moment, seconds=seconds or SECONDS, slow=slow)
    content = _written(film, options)
    write_all([(options.out, content)])
    return summary(film, options.out, len(content))


def _shown(
    scenario: Scenario, seed: int, row: int | None, fault: MeterFault | None, what: str | float
) -> tuple[Run, Moment]:
    """The run, and the moment of it that was asked for."""
    put = with_fault(scenario, fault) if fault else scenario
    run = run_for(put, seed, row)
    if isinstance(what, float):
        return run, time_moment(run, what)
    if fault and not what:
        return run, fault_moment(run, run_for(scenario, seed, row), fault)
    return run, kind_moment(run, what or KINDS[0])


def _written(film: Film, options: argparse.Namespace) -> bytes:
    """The bytes of the film, by the ending of its file."""
    ending = Path(options.out).suffix.lower()
    if ending == HTML:
        return as_html(film, sentences(film), ASSUMES, options.units).encode()
    from metersim.questions.animate.film import as_gif, as_mp4  # matplotlib is slow to load

    made = as_gif if ending == GIF else as_mp4
    return made(film, options.units)


def _fault_of(name: str | None) -> MeterFault | None:
    if name is None:
        return None
    found = LIBRARY.get(name.strip().lower())
    if found is None:
        raise bad("--fault", name, f"is not in the library; allowed: {', '.join(LIBRARY)}")
    return found


def _moment_of(word: str | None) -> str | float:
    """A kind of moment, a time [s], or an empty text where none was asked for."""
    if word is None or word in KINDS:
        return word or ""
    if re.fullmatch(r"\d+(\.\d*)?( ?s)?", word):
        return float(word.rstrip("s "))
    raise bad("--moment", word, f"is not allowed; give {', '.join(KINDS)}, or a time in s")


def _number(option: str, word: str | None, least: float, most: float) -> float | None:
    if word is None:
        return None
    value = amount(option, word, most, "")
    if value < least:
        raise bad(option, word, f"is too small; allowed: {least:g} to {most:g}")
    return value


def sentences(film: Film) -> list[str]:
    """What a film shows, and how often that happens."""
    said = [film.moment.words, *film.said()]
    if (scenario := film.run.scenario).is_toolbar:
        said.insert(0, f"Row {middle_row(scenario)} of {scenario.toolbar.rows} is shown.")
    return [*said, film.moment.often] if film.moment.often else said


def summary(film: Film, name: str, size: int) -> str:
    """The answer of ``metersim animate``."""
    slower = f"{film.slow:g} times slower than the meter" if film.slow > 1 else "at true speed"
    first = (
        f"{name}: {film.seconds:.1f} s of film, {slower}, of {film.start:.2f} to {film.end:.2f} s "
        f"of the run ({size / 1e6:.1f} MB)."
    )
    if Path(name).suffix.lower() == HTML:
        first += " It plays in a browser, without a network."
    return Answer(first=[first, *sentences(film)], assumes=ASSUMES).text()
