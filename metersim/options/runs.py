"""Options of the commands that run scenarios: run, explain, compare, measured, sweep."""

from __future__ import annotations

from metersim.options.common import (
    draws_option,
    engine_option,
    luck_options,
    plants_options,
    scenario_options,
    workers_option,
)

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]


def add_commands(commands: Commands) -> None:
    """Declare them."""
    one = commands.add_parser("run", help="run a scenario and say how the seeds will lie")
    scenario_options(one)
    luck_options(one)
    engine_option(one)
    draws_option(one)
    plants_options(one)
    one.add_argument("--json", metavar="FILE", help="write all measures as JSON; - prints them")
    one.add_argument("--csv", metavar="FILE", help="write one row a seed")
    one.add_argument("--trace", metavar="FILE", help="write every event of every seed")
    one.add_argument(
        "--figure", metavar="FILE", help="draw the first replicate: .png, .svg or .pdf"
    )

    one = commands.add_parser("explain", help="say what a scenario asks of its meter")
    scenario_options(one)

    one = commands.add_parser("compare", help="say what changes when a setting changes")
    scenario_options(one)
    one.add_argument("other", nargs="?", metavar="OTHER", help="a second scenario")
    one.add_argument("--vary", metavar="KEY=A,B[,C]", help="values of one key to compare")
    luck_options(one)
    engine_option(one)
    draws_option(one)
    plants_options(one)
    one.add_argument("--figure", metavar="FILE", help="draw the distributions")

    one = commands.add_parser("measured", help="hold measured spacings against a scenario")
    scenario_options(one)
    one.add_argument(
        "file",
        metavar="FILE.csv",
        help="a column spacing_cm, position_cm (tape or belt; also mm, m, in, ft) or time_s (a "
        "sensor's pulses; also ms), and, if wanted, a column row; or the CSV file of a run",
    )
    one.add_argument(
        "--emergence",
        metavar="PERCENT",
        help="seeds that stand as plants, where known, of spacings in a field; 100 for seeds that "
        "were dug up",
    )
    one.add_argument("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    one.add_argument("--json", metavar="FILE", help="write all of it as JSON; - prints it")
    one.add_argument("--figure", metavar="FILE", help="draw the distributions")

    one = commands.add_parser("sweep", help="find the best settings, and what is acceptable")
    scenario_options(one)
    luck_options(one)
    engine_option(one)
    _sweep_options(one)


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
    workers_option(command)
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
