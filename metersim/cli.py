"""The command line: thin, one function a command, and the only module that prints.

Heavy libraries are imported by the commands that need them, so that help is quick.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence

from metersim import __version__
from metersim.faults import BadInput, bad

OK, BAD_INPUT, INTERRUPTED = 0, 2, 130


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
    try:
        command(options)
        sys.stdout.flush()
    except BadInput as error:
        for fault in error.faults:
            print(f"metersim: {fault}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK
    except KeyboardInterrupt:
        print("metersim: interrupted; nothing was written", file=sys.stderr)
        return INTERRUPTED
    return OK


def run(options: argparse.Namespace) -> None:
    """Run a scenario and say how the seeds will lie."""
    from metersim import outputs
    from metersim.measures import measure
    from metersim.reading import load_scenario
    from metersim.report import summary
    from metersim.simulation import simulate

    files = [(f"--{name}", getattr(options, name)) for name in ("json", "csv", "trace", "figure")]
    outputs.check_writable(files)
    scenario = load_scenario(options.scenario, _changes(options))
    runs = [
        simulate(scenario, seed=options.seed, replicate=k, trace=options.trace is not None)
        for k in range(options.replicates)
    ]
    measured = measure(runs)
    if options.figure:
        from metersim.figures import run_figure, save

        _save(save, run_figure(runs[0], options.units), options.figure)
    if options.csv:
        outputs.write_whole(options.csv, outputs.as_csv(runs))
    if options.trace:
        outputs.write_whole(options.trace, outputs.as_trace(runs))
    if options.json and options.json != "-":
        outputs.write_whole(options.json, outputs.as_json(measured))
    print(
        outputs.as_json(measured) if options.json == "-" else summary(measured, options.units),
        end="" if options.json == "-" else "\n",
    )


def _save(save: Callable[..., None], figure: object, path: str) -> None:
    try:
        save(figure, path)
    except (OSError, ValueError) as error:
        raise bad("--figure", path, f"cannot be written: {error}") from None


def _changes(options: argparse.Namespace) -> list[str]:
    turns = [] if options.turns is None else [f"run.turns={options.turns}"]
    return [*options.set, *turns]


def _whole(low: int) -> Callable[[str], int]:
    def read(word: str) -> int:
        try:
            value = int(word)
        except ValueError:
            value = low - 1
        if value < low:
            raise argparse.ArgumentTypeError(f"'{word}' must be a whole number, {low} or more")
        return value

    return read


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
    one.add_argument(
        "--replicates", type=_whole(1), default=1, metavar="N", help="repeat with fresh luck (1)"
    )
    one.add_argument("--json", metavar="FILE", help="write all measures as JSON; - prints them")
    one.add_argument("--csv", metavar="FILE", help="write one row a seed")
    one.add_argument("--trace", metavar="FILE", help="write every event of every seed")
    one.add_argument("--figure", metavar="FILE", help="draw the result: .png, .svg or .pdf")
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
        help="change one key of the scenario; may be repeated",
    )
    command.add_argument("--turns", type=_whole(1), metavar="N", help="turns of the disc")
    command.add_argument(
        "--seed", type=_whole(0), default=1, metavar="N", help="what chooses the luck (1)"
    )
    command.add_argument(
        "--units", choices=("metric", "us"), default="metric", help="units of the printed result"
    )
