"""Draws what each question shows of itself: the gallery."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from metersim.questions.shared.page import figures, save


def draw_gallery(folder: Path) -> Iterator[Path]:
    """Draw all pictures into a folder.

    Parameters
    ----------
    folder : Path
        Must exist; pictures of the same name are replaced.

    Yields
    ------
    Path
        Each picture when it is finished.
    """
    for figure in figures():
        for name, page in figure.gallery() if hasattr(figure, "gallery") else ():
            path = folder / f"{name}.png"
            save(page, path)
            yield path
