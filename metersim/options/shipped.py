"""Options of the commands about what is shipped, and of those that make a lot or pictures."""

from __future__ import annotations

from metersim.options.common import (
    draws_option,
    units_option,
    workers_option,
)

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]


def add_commands(commands: Commands) -> None:
    """Declare them."""
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
    workers_option(one)
    one.add_argument("--rules", action="store_true", help="say what counts as agreement, and stop")
    draws_option(one, "a source does not state, and run it")

    one = commands.add_parser("list", help="list what is shipped")
    lists = (
        "lots",
        "discs",
        "scenarios",
        "cases",
        "keys",
        "coefficients",
        "equations",
        "yields",
        "sources",
    )
    one.add_argument("what", metavar="WHAT", choices=lists, help=", ".join(lists))
    one.add_argument(
        "scenario",
        nargs="?",
        metavar="SCENARIO",
        help="with equations: the scenario to work through (maize_bench)",
    )

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
    units_option(one, None, "; us with --seeds-per-lb")

    one = commands.add_parser("gallery", help="draw all shipped scenarios")
    one.add_argument("--out", default="figures", metavar="FOLDER", help="where to (figures)")
