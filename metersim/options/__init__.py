"""What can be typed: the commands and their options, without what they do."""

from __future__ import annotations

import argparse
import sys

from metersim import __version__
from metersim.options import advice, runs, setting_up, shipped

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
    words = sys.argv[1:] if words is None else words
    for word in words:  # of which argparse makes an empty list
        if word.startswith("--") and word.endswith("=--"):
            Parser(prog="metersim").error(f"argument {word[:-3]}: '--' is no value")
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
    for theme in (runs, setting_up, advice, shipped):
        theme.add_commands(commands)
    return top
