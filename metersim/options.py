"""What can be typed: the commands and their options, without what they do."""

from __future__ import annotations

import argparse

from metersim import __version__

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import NoReturn


class Parser(argparse.ArgumentParser):
    """A parser that says in one line what it does not understand, as all bad input is told."""

    def error(self, message: str) -> NoReturn:
        """End with what is wrong with what was typed."""
        from metersim.faults import Fault

        said = message.removeprefix("argument ").replace("invalid float value", "no number")
        command = self.prog.removeprefix("metersim").strip()
        fault = Fault(command, "", f"{said}; see '{self.prog} --help'")
        self.exit(2, f"metersim: {fault}\n")


def read(words: Sequence[str] | None = None) -> argparse.Namespace:
    """Options as typed, of this process when no words are given.

    Raises
    ------
    SystemExit
        When they cannot be understood, or ask for help or the version.
    """
    options, unknown = parser().parse_known_args(words)
    if unknown:  # told of the command, not of all commands as by parse_args
        asked = f"metersim {options.command}" if options.command else "metersim"
        Parser(prog=asked).error(f"unknown: {' '.join(unknown)}")
    return options


def parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    top = Parser(
        prog="metersim",
        description="Predict how a vacuum seed meter lays seeds in the row.",
        epilog="Predictions are for learning and planning: prove them on a bench.",
    )
    top.add_argument("--version", action="version", version=f"metersim {__version__}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", dest="command")

    one = commands.add_parser("run", help="run a scenario and say how the seeds will lie")
    _scenario_options(one)
    _luck_options(one)
    _engine_option(one)
    _draws_option(one)
    one.add_argument("--json", metavar="FILE", help="write all measures as JSON; - prints them")
    one.add_argument("--csv", metavar="FILE", help="write one row a seed")
    one.add_argument("--trace", metavar="FILE", help="write every event of every seed")
    one.add_argument(
        "--figure", metavar="FILE", help="draw the first replicate: .png, .svg or .pdf"
    )

    one = commands.add_parser("explain", help="say what a scenario asks of its meter")
    _scenario_options(one)

    one = commands.add_parser("compare", help="say what changes when a setting changes")
    _scenario_options(one)
    one.add_argument("other", nargs="?", metavar="OTHER", help="a second scenario")
    one.add_argument("--vary", metavar="KEY=A,B[,C]", help="values of one key to compare")
    _luck_options(one)
    _engine_option(one)
    _draws_option(one)
    one.add_argument("--figure", metavar="FILE", help="draw the distributions")

    one = commands.add_parser("sweep", help="find the best settings, and what is acceptable")
    _scenario_options(one)
    _luck_options(one)
    _sweep_options(one)

    one = commands.add_parser("evidence", help="hold the model against published measurements")
    one.add_argument(
        "cases",
        nargs="*",
        metavar="CASE",
        help="case files, or names of 'list cases' (all)",
    )
    one.add_argument(
        "--out",
        metavar="FOLDER",
        help="write table, numbers and pictures into it; must be there",
    )
    one.add_argument("--seed", default="1", metavar="N", help="what chooses draws and luck (1)")
    one.add_argument("--workers", default="1", metavar="N", help="processes to work with (1)")
    one.add_argument("--rules", action="store_true", help="say what counts as agreement, and stop")
    _draws_option(one, "a source does not state, and run it")

    one = commands.add_parser("list", help="list what is shipped")
    lists = ("lots", "scenarios", "cases", "keys", "coefficients", "equations", "sources")
    one.add_argument("what", metavar="WHAT", choices=lists, help=", ".join(lists))

    one = commands.add_parser("lot", help="make a lot file of your own seed")
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
    _units_option(one, None, "; us with --seeds-per-lb")

    one = commands.add_parser("gallery", help="draw all shipped scenarios")
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
        help="change one key of the scenario; may be repeated; 'metersim list keys' shows all; "
        "what you do not know is a range, in quotes: 'vacuum_kpa={low=3,high=4}'",
    )
    command.add_argument("--turns", metavar="N", help="turns of the disc")
    _units_option(command, "metric")


def _units_option(command: argparse.ArgumentParser, usual: str | None, more: str = "") -> None:
    command.add_argument(
        "--units",
        choices=("metric", "us"),
        default=usual,
        help=f"units of the printed result (metric{more})",
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


def _draws_option(
    command: argparse.ArgumentParser, what: str = "the scenario gives as a range, and run it"
) -> None:
    command.add_argument("--draws", metavar="N", help=f"how often to draw what {what} (64)")


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
