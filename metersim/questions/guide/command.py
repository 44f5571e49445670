"""The command `guide`: prints a page of the guide."""

from __future__ import annotations

import argparse

from metersim.questions.guide.study import page, topics
from metersim.questions.shared.words import aligned


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim guide``."""
    command.add_argument(
        "topic", nargs="?", metavar="TOPIC", help="page to print; without one, all topics are named"
    )


def answer(options: argparse.Namespace) -> str:
    """A page of the guide, or the list of topics."""
    if options.topic is None:
        return "\n".join(["'metersim guide TOPIC' prints a page.", "", aligned(topics().items())])
    return page(options.topic).removesuffix("\n")
