"""Draws the gallery of all shipped scenarios."""

from __future__ import annotations

import argparse
from pathlib import Path

from metersim.faults import bad
from metersim.gallery import draw_gallery


def answer(options: argparse.Namespace) -> str:
    """Draw into the folder that the options name, and tell the files."""
    folder = Path(options.out)
    if not folder.is_dir():
        raise bad("--out", options.out, "there is no such folder; make it first")
    return "\n".join(str(path) for path in draw_gallery(folder))
