"""The command `gallery`: draws the figures of all shipped scenarios."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from metersim.files.faults import bad
from metersim.questions.gallery.study import draw_gallery
from metersim.questions.shared.answer import Answer
from metersim.questions.shared.options import details_option
from metersim.questions.shared.words import plural
from metersim.run.progress import worked


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim gallery``."""
    command.add_argument("--out", default="figures", metavar="FOLDER", help="where to (figures)")
    details_option(command, "list every file, too")


def answer(options: argparse.Namespace) -> str:
    """The number of figures that are drawn into the given folder; details list them."""
    folder = Path(options.out)
    if not folder.is_dir():
        raise bad("--out", options.out, "there is no such folder; make it first")
    drawn = []
    for path in draw_gallery(folder):
        drawn.append(path)
        worked(1, "figure")
    return summary(folder, drawn, options.details)


def summary(folder: Path, drawn: Sequence[Path], details: bool = False) -> str:
    """The answer of a gallery: how many figures lie where, and each file with details."""
    many = len(drawn)
    return Answer(
        first=[
            f"{many} {plural(many, 'figure')} in {folder}.",
            "Each caption says what to see.",
        ],
        assumes="shipped scenarios, the usual machine and random seed 1.",
        details=[str(path) for path in drawn],
    ).text(details)
