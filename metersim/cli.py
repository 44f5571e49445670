"""The command line: thin, one function a command, and the only module that prints.

Heavy libraries are imported by the commands that need them, so that help is quick.
"""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from unicodedata import category

from metersim.options import parser, read

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator, Sequence

    from metersim.scenario import Scenario

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130
LONG = 3_000_000  # cells; they take some seconds


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit status; bad input is told in one line a fault."""
    try:
        return _main(arguments)
    except KeyboardInterrupt as stop:
        print(f"metersim: interrupted; {str(stop) or 'nothing was written'}", file=sys.stderr)
        return INTERRUPTED


def _main(arguments: Sequence[str] | None) -> int:
    try:
        options = read(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)
    if options.command is None:
        parser().print_help()
        return OK
    from metersim.faults import BadInput

    if hasattr(sys.stdout, "reconfigure"):  # letters that a terminal lacks are no error
        sys.stdout.reconfigure(errors="replace")
    try:
        COMMANDS[options.command](options)
        if sys.stdout is not None:
            sys.stdout.flush()
    except BadInput as error:
        for fault in error.faults:
            print(f"metersim: {fault}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except OSError as error:
        if error.filename is None:  # what is left to print would fail again
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        place = error.filename or "standard output"
        print(f"metersim: {place}: cannot be written: {error.strerror}", file=sys.stderr)
        return BAD_INPUT
    return OK


def run(options: argparse.Namespace) -> None:
    """Run a scenario and say how the seeds will lie."""
    from metersim import outputs
    from metersim.faults import all_of
    from metersim.measures import measure
    from metersim.reading import load_scenario
    from metersim.reports.run import summary
    from metersim.simulation import simulate
    from metersim.studies.unknowns import spread_about
    from metersim.tally import stretches_for, tallied

    files = [(f"--{name}", getattr(options, name)) for name in ("json", "csv", "trace", "figure")]
    scenario, seed, replicates, draws, *_ = all_of(
        lambda: load_scenario(options.scenario, _changes(options)),
        lambda: _whole(options, "seed", 0),
        lambda: _whole(options, "replicates", 1),
        lambda: _draws(options),
        lambda: outputs.check_writable(files, [options.scenario]),
        lambda: _check_engine(options),
    )
    _check_unknown(options, scenario)
    luck = [{"seed": seed, "replicate": k} for k in range(replicates)]
    runs = []
    if options.csv or options.trace or options.figure:  # only these need all records
        traced, engine = options.trace is not None, options.engine
        runs = [simulate(scenario, **one, trace=traced, engine=engine) for one in luck]
        measured = measure(runs)
    else:
        each = stretches_for(scenario.passages, replicates)
        with _progress(scenario.passages * replicates) as on_cells:
            measured = measure(
                [
                    tallied(
                        scenario, **one, stretches=each, engine=options.engine, on_cells=on_cells
                    )
                    for one in luck
                ]
            )
    spread = None
    if scenario.unknown:
        with _progress(scenario.passages * draws) as on_cells:
            spread = spread_about(measured, draws=draws, on_cells=on_cells)
    made: list[tuple[str, str | bytes]] = []
    if options.figure:
        from metersim.figures import encoded, run_figure

        drawn = run_figure(runs[0], options.units)
        made.append((options.figure, encoded(drawn, options.figure)))
    if options.csv:
        made.append((options.csv, outputs.as_csv(runs)))
    if options.trace:
        made.append((options.trace, outputs.as_trace(runs)))
    if options.json and options.json != "-":
        made.append((options.json, outputs.as_json(measured, spread)))
    outputs.write_all(made)
    if options.json == "-":
        print(outputs.as_json(measured, spread), end="")
    else:
        _say(summary(measured, options.units, spread))


def explain(options: argparse.Namespace) -> None:
    """Say what a scenario asks of its meter, before it runs."""
    from metersim.reading import load_scenario
    from metersim.reports.explain import explanation
    from metersim.studies.explain import explain as work_out

    scenario = load_scenario(options.scenario, _changes(options))
    _say(explanation(work_out(scenario), options.units))


def compare(options: argparse.Namespace) -> None:
    """Say what changes when a setting changes, on the same luck."""
    from metersim import outputs
    from metersim.faults import all_of
    from metersim.reports.compare import comparison
    from metersim.studies.compare import compare as run_all
    from metersim.studies.variants import variants

    names = [name for name in (options.scenario, options.other) if name is not None]
    named, seed, replicates, draws, _ = all_of(
        lambda: variants(*names, vary=options.vary, changes=_changes(options)),
        lambda: _whole(options, "seed", 0),
        lambda: _whole(options, "replicates", 1),
        lambda: _draws(options),
        lambda: outputs.check_writable(
            [("--figure", options.figure)], [options.scenario, options.other]
        ),
    )
    _check_unknown(options, *named.values())
    result = run_all(
        *named.values(),
        labels=list(named),
        seed=seed,
        replicates=replicates,
        engine=options.engine,
        keep=bool(options.figure),
        draws=draws,
    )
    if options.figure:
        from metersim.figures import comparison_figure, encoded

        drawn = comparison_figure(result, options.units)
        outputs.write_all([(options.figure, encoded(drawn, options.figure))])
    _say(comparison(result, options.units))


def sweep(options: argparse.Namespace) -> None:
    """Say where in a space of settings the result is best, and what is acceptable."""
    from metersim.sweeping import run_sweep

    _say(run_sweep(options, _changes(options)))


def evidence(options: argparse.Namespace) -> None:
    """Hold the model against published measurements."""
    from metersim.proving import run_evidence

    _say(run_evidence(options, _draws(options)))


def list_shipped(options: argparse.Namespace) -> None:
    """List what is shipped."""
    from metersim.reports.lists import LISTS

    _say(LISTS[options.what]())


def lot(options: argparse.Namespace) -> None:
    """Make a lot file from a bag label or from measured seeds."""
    from pathlib import Path

    from metersim import outputs
    from metersim.faults import all_of, bad
    from metersim.makelot import lot_from_label, lot_from_seeds, lot_toml
    from metersim.reports.lot import made_text
    from metersim.seedcsv import read_seeds
    from metersim.seedlot import load_lot

    def check_out() -> None:
        outputs.check_writable([("--out", options.out)], [options.csv, options.like])
        if not options.out.lower().endswith(".toml"):
            raise bad("--out", options.out, "must end in .toml, so that a scenario can name it")

    like, seeds, _ = all_of(
        lambda: load_lot(options.like),
        lambda: read_seeds(Path(options.csv)) if options.csv else None,
        check_out,
    )
    name = Path(options.out).stem
    if seeds is not None:
        made = lot_from_seeds(seeds, like, title=options.title, name=name)
    else:
        made = lot_from_label(
            like,
            seeds_per_kg=options.seeds_per_kg,
            seeds_per_lb=options.seeds_per_lb,
            title=options.title,
            name=name,
        )
    outputs.write_all([(options.out, lot_toml(made))])
    _say(
        made_text(made, options.out, options.units or ("us" if options.seeds_per_lb else "metric"))
    )


def gallery(options: argparse.Namespace) -> None:
    """Draw the gallery of all shipped scenarios."""
    from pathlib import Path

    from metersim.faults import bad
    from metersim.gallery import draw_gallery

    folder = Path(options.out)
    if not folder.is_dir():
        raise bad("--out", options.out, "there is no such folder; make it first")
    for path in draw_gallery(folder):
        _say(path)


def _say(text: object) -> None:
    """Print a result; what would move or colour a terminal is shown, not obeyed."""
    print("".join(c if c == "\n" or not _steers(c) else ascii(c)[1:-1] for c in str(text)))


def _steers(letter: str) -> bool:
    return not letter.isprintable() and category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def _whole(options: argparse.Namespace, name: str, low: int) -> int:
    """A whole number that an option gives."""
    from metersim.faults import whole

    return whole(f"--{name}", getattr(options, name), low)


@contextmanager
def _progress(cells: int) -> Iterator[Callable[[int], object] | None]:
    """Shows how far a long run is, on a terminal."""
    if cells < LONG or sys.stderr is None or not sys.stderr.isatty():
        yield None
        return
    from tqdm import tqdm

    with tqdm(total=cells, unit="cell", unit_scale=True, leave=False) as bar:
        yield bar.update


def _check_engine(options: argparse.Namespace) -> None:
    if options.trace and options.engine == "arrays":
        from metersim.faults import bad

        raise bad("--engine", "arrays", "leaves no trace; give --engine events, or none")


def _draws(options: argparse.Namespace) -> int:
    """How many draws of what is not known are asked for."""
    from metersim.faults import whole
    from metersim.studies.unknowns import DRAWS, MOST_DRAWS

    if options.draws is None:
        return DRAWS
    return whole("--draws", options.draws, 2, MOST_DRAWS)


def _check_unknown(options: argparse.Namespace, *scenarios: Scenario) -> None:
    """Refuse draws of nothing."""
    if options.draws is not None and not any(scenario.unknown for scenario in scenarios):
        from metersim.faults import bad

        message = "everything is known; give a key as a range, such as vacuum_kpa={low=3, high=4}"
        raise bad("--draws", options.draws, message)


def _changes(options: argparse.Namespace) -> list[str]:
    turns = [] if options.turns is None else [f"run.turns={options.turns}"]
    return [*options.set, *turns]


COMMANDS: dict[str, Callable[[argparse.Namespace], None]] = {
    "run": run,
    "explain": explain,
    "compare": compare,
    "sweep": sweep,
    "evidence": evidence,
    "list": list_shipped,
    "lot": lot,
    "gallery": gallery,
}
