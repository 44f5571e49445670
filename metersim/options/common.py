"""Options that several commands have."""

from __future__ import annotations

TYPE_CHECKING = False  # as typing.TYPE_CHECKING, without importing typing
if TYPE_CHECKING:
    import argparse


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
