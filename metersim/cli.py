"""The command line: thin, one function a command, and the only module that prints.

Heavy libraries are imported by the commands that need them, so that help is quick.
"""

from __future__ import annotations

import argparse
import os
import sys
from contextlib import contextmanager

from metersim import __version__

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130
LONG = 3_000_000  # cells; they take some seconds


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit status; bad input is told in one line a fault."""
    try:
        options = parser().parse_args(arguments)
    except SystemExit as stop:
        return int(stop.code or 0)
    command: Callable[[argparse.Namespace], None] | None = options.command
    if command is None:
        parser().print_help()
        return OK
    from metersim.faults import BadInput

    if hasattr(sys.stdout, "reconfigure"):  # letters that a terminal lacks are no error
        sys.stdout.reconfigure(errors="replace")
    try:
        command(options)
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
    except KeyboardInterrupt as stop:
        print(f"metersim: interrupted; {str(stop) or 'nothing was written'}", file=sys.stderr)
        return INTERRUPTED
    return OK


def run(options: argparse.Namespace) -> None:
    """Run a scenario and say how the seeds will lie."""
    from metersim import outputs
    from metersim.faults import all_of
    from metersim.measures import measure
    from metersim.reading import load_scenario
    from metersim.reports.run import summary
    from metersim.simulation import simulate
    from metersim.tally import stretches_for, tallied

    files = [(f"--{name}", getattr(options, name)) for name in ("json", "csv", "trace", "figure")]
    scenario, seed, replicates, *_ = all_of(
        lambda: load_scenario(options.scenario, _changes(options)),
        lambda: _whole(options, "seed", 0),
        lambda: _whole(options, "replicates", 1),
        lambda: outputs.check_writable(files, [options.scenario]),
        lambda: _check_engine(options),
    )
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
        made.append((options.json, outputs.as_json(measured)))
    outputs.write_all(made)
    if options.json == "-":
        print(outputs.as_json(measured), end="")
    else:
        print(summary(measured, options.units))


def explain(options: argparse.Namespace) -> None:
    """Say what a scenario asks of its meter, before it runs."""
    from metersim.reading import load_scenario
    from metersim.reports.explain import explanation
    from metersim.studies.explain import explain as work_out

    scenario = load_scenario(options.scenario, _changes(options))
    print(explanation(work_out(scenario), options.units))


def compare(options: argparse.Namespace) -> None:
    """Say what changes when a setting changes, on the same luck."""
    from metersim import outputs
    from metersim.faults import all_of
    from metersim.reports.compare import comparison
    from metersim.studies.compare import compare as run_all
    from metersim.studies.variants import variants

    names = [name for name in (options.scenario, options.other) if name is not None]
    named, seed, replicates, _ = all_of(
        lambda: variants(*names, vary=options.vary, changes=_changes(options)),
        lambda: _whole(options, "seed", 0),
        lambda: _whole(options, "replicates", 1),
        lambda: outputs.check_writable(
            [("--figure", options.figure)], [options.scenario, options.other]
        ),
    )
    result = run_all(
        *named.values(),
        labels=list(named),
        seed=seed,
        replicates=replicates,
        engine=options.engine,
        keep=bool(options.figure),
    )
    if options.figure:
        from metersim.figures import comparison_figure, encoded

        drawn = comparison_figure(result, options.units)
        outputs.write_all([(options.figure, encoded(drawn, options.figure))])
    print(comparison(result, options.units))


def sweep(options: argparse.Namespace) -> None:
    """Say where in a space of settings the result is best, and what is acceptable."""
    from metersim.sweeping import run_sweep

    print(run_sweep(options, _changes(options)))


def list_shipped(options: argparse.Namespace) -> None:
    """List what is shipped."""
    from metersim.reports.lists import LISTS

    print(LISTS[options.what]())


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
    print(made_text(made, options.out))


def gallery(options: argparse.Namespace) -> None:
    """Draw the gallery of all shipped scenarios."""
    from pathlib import Path

    from metersim.faults import bad
    from metersim.gallery import draw_gallery

    folder = Path(options.out)
    if not folder.is_dir():
        raise bad("--out", options.out, "there is no such folder")
    for path in draw_gallery(folder):
        print(path)


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


def _changes(options: argparse.Namespace) -> list[str]:
    turns = [] if options.turns is None else [f"run.turns={options.turns}"]
    return [*options.set, *turns]


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    top = argparse.ArgumentParser(
        prog="metersim",
        description="Predict how a vacuum seed meter lays seeds in the row.",
        epilog="Predictions are for learning and planning: prove them on a bench.",
    )
    top.add_argument("--version", action="version", version=f"metersim {__version__}")
    top.set_defaults(command=None)
    commands = top.add_subparsers(title="commands", metavar="COMMAND")

    one = commands.add_parser("run", help="run a scenario and say how the seeds will lie")
    one.set_defaults(command=run)
    _scenario_options(one)
    _luck_options(one)
    _engine_option(one)
    one.add_argument("--json", metavar="FILE", help="write all measures as JSON; - prints them")
    one.add_argument("--csv", metavar="FILE", help="write one row a seed")
    one.add_argument("--trace", metavar="FILE", help="write every event of every seed")
    one.add_argument("--figure", metavar="FILE", help="draw the result: .png, .svg or .pdf")

    one = commands.add_parser("explain", help="say what a scenario asks of its meter")
    one.set_defaults(command=explain)
    _scenario_options(one)

    one = commands.add_parser("compare", help="say what changes when a setting changes")
    one.set_defaults(command=compare)
    _scenario_options(one)
    one.add_argument("other", nargs="?", metavar="OTHER", help="a second scenario")
    one.add_argument("--vary", metavar="KEY=A,B[,C]", help="values of one key to compare")
    _luck_options(one)
    _engine_option(one)
    one.add_argument("--figure", metavar="FILE", help="draw the distributions")

    one = commands.add_parser("sweep", help="find the best settings, and what is acceptable")
    one.set_defaults(command=sweep)
    _scenario_options(one)
    _luck_options(one)
    _sweep_options(one)

    one = commands.add_parser("list", help="list what is shipped")
    one.set_defaults(command=list_shipped)
    one.add_argument(
        "what", choices=("lots", "scenarios", "keys", "coefficients", "equations", "sources")
    )

    one = commands.add_parser("lot", help="make a lot file of your own seed")
    one.set_defaults(command=lot)
    seed = one.add_mutually_exclusive_group(required=True)
    seed.add_argument("--seeds-per-kg", type=float, metavar="N", help="from the bag's label")
    seed.add_argument("--seeds-per-lb", type=float, metavar="N", help="from the bag's label")
    seed.add_argument(
        "--csv",
        metavar="FILE",
        help="seeds measured with a calliper, one a row: "
        "length_mm,width_mm,thickness_mm and, if weighed, mass_mg",
    )
    one.add_argument(
        "--like",
        required=True,
        metavar="LOT",
        help="shipped lot, or lot file, that the rest is borrowed from",
    )
    one.add_argument("--title", default="", help="what to call it")
    one.add_argument("--out", required=True, metavar="FILE", help="lot file to write: .toml")

    one = commands.add_parser("gallery", help="draw all shipped scenarios")
    one.set_defaults(command=gallery)
    one.add_argument("--out", default="figures", metavar="FOLDER", help="where to (figures)")
    return top


def _scenario_options(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "scenario", metavar="SCENARIO", help="a scenario file, or the name of a shipped one"
    )
    command.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="change one key of the scenario; may be repeated; 'metersim list keys' shows all",
    )
    command.add_argument("--turns", metavar="N", help="turns of the disc")
    command.add_argument(
        "--units", choices=("metric", "us"), default="metric", help="units of the printed result"
    )


def _luck_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    command.add_argument(
        "--replicates", default="1", metavar="N", help="repeat with fresh luck (1)"
    )


def _engine_option(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--engine",
        choices=("arrays", "events"),
        help="how to work it out: arrays (usual), or events, far slower; the result is the same",
    )


def _sweep_options(command: argparse.ArgumentParser) -> None:
    add = command.add_argument
    add(
        "--vary",
        action="append",
        default=[],
        metavar="KEY=LOW:HIGH:COUNT",
        help="vary a key over a range, or over a list, KEY=A,B,C; may be repeated",
    )
    add(
        "--design",
        choices=("grid", "latin", "sobol"),
        help="every combination (grid, usual), a Latin hypercube, or Sobol' points; the last two "
        "fill the ranges with --points points and need no COUNT",
    )
    add("--points", metavar="N", help="points of --design latin or sobol, or of --importance (64)")
    add("--out", required=True, metavar="FILE", help="write one row a point and replicate, as CSV")
    add("--resume", action="store_true", help="go on with the rows that FILE holds already")
    add("--workers", default="1", metavar="N", help="processes to work with (1)")
    add(
        "--response",
        default="per_spacing.quality",
        metavar="MEASURE",
        help="measure to judge by (per_spacing.quality)",
    )
    add(
        "--limit",
        action="append",
        default=[],
        metavar="'MEASURE<=VALUE'",
        help="what is acceptable, in SI; may be repeated; else a published class, 'good'",
    )
    add(
        "--plateau",
        metavar="X",
        help="what counts as good as the best: percentage points below it, or percent of it "
        "where it is no share (0.5)",
    )
    add(
        "--importance",
        action="store_true",
        help="say how much of the variance each key explains; takes N*(keys + 2) points",
    )
    add("--figure", metavar="FILE", help="draw the response: .png, .svg or .pdf")
    add("--yes", action="store_true", help="allow more than a million runs")
