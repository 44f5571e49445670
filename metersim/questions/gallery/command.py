"""The command `gallery`: draws the figures of all shipped scenarios."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.files.faults import bad
from metersim.questions.gallery.study import draw_gallery


def add_options(command: argparse.ArgumentParser) -> None:
    """Add the options of ``metersim gallery``."""
    command.add_argument("--out", default="figures", metavar="FOLDER", help="where to (figures)")


def answer(options: argparse.Namespace) -> str:
    """Report of the files that are drawn into the given folder."""
    folder = Path(options.out)
    if not folder.is_dir():
        raise bad("--out", options.out, "there is no such folder; make it first")
    return "\n".join(str(path) for path in draw_gallery(folder))
