"""Options of the commands that advise: sheet."""

from __future__ import annotations

from metersim.options.common import harvest_options, units_option, workers_option

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse

    Commands = argparse._SubParsersAction[argparse.ArgumentParser]


def add_commands(commands: Commands) -> None:
    """Declare them."""
    one = commands.add_parser("sheet", help="choose a disc and a start setting for a lot")
    add = one.add_argument
    add("--lot", required=True, metavar="LOT", help="a lot file, or the name of a shipped lot")
    add("--rate", metavar="N", help="seeds per ha; per acre with --units us")
    add("--row-spacing", metavar="N", help="cm between rows; in with --units us")
    add("--speed", metavar="N", help="km/h of travel; mph with --units us")
    add(
        "--set",
        action="append",
        default=[],
        metavar="KEY=VALUE",
        help="what your machine has, such as circle_radius_mm=95 or inner_guide=false, or what is "
        "asked in a unit of its own, such as speed_m_s=2; may be repeated; 'metersim list keys' "
        "shows all",
    )
    add("--vacuum-most", metavar="N", help="kPa that the fan gives at the hole (6); inH2O for us")
    add("--discs", metavar="FILE", help="discs that you have, in a file like that of 'list discs'")
    add("--seed", default="1", metavar="N", help="what chooses the luck (1)")
    workers_option(one)
    add("--out", metavar="FILE", help="write one page for the wall: .pdf, .png, .svg or .html")
    add("--scenario", metavar="FILE", help="write the start setup, for all other commands: .toml")
    harvest_options(one)
    units_option(one, "metric")
