"""The gallery: figures of all questions."""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from metersim.questions import QUESTIONS
from metersim.questions.shared.page import save


def draw_gallery(folder: Path) -> Iterator[Path]:
    """Draw all figures into a folder.

    Parameters
    ----------
    folder : Path
        Existing folder; figures of the same name are replaced.

    Yields
    ------
    Path
        File of each finished figure.
    """
    for figure in figures():
        for name, page in figure.gallery() if hasattr(figure, "gallery") else ():
            path = folder / f"{name}.png"
            save(page, path)
            yield path


def figures() -> Iterator[Any]:
    """Modules of figures of all questions that have one.

    Each module has ``PAGES``, which holds the drawing function by type of result.  It may have
    ``gallery``, which gives names and pages.
    """
    for question in QUESTIONS:
        name = f"metersim.questions.{question}.figure"
        if importlib.util.find_spec(name):
            yield importlib.import_module(name)


def draw(result: object, units: str = "metric") -> Figure:
    """Draw a result on a page for a notebook or a file.

    Parameters
    ----------
    result : Run, Comparison, Response, SingleSteps, NextMove, Habits, Sheet or Counted
        Result of `simulate`, of `compare` with ``keep=True``, of `respond`, or of the function of
        its name: `steps`, `next_move`, `habits`, `sheet`, `measured`.
    units : {'metric', 'us'}
        Units of the figure.

    Returns
    -------
    Figure
        Figure of matplotlib; `metersim.questions.shared.page.save` writes it.

    Raises
    ------
    TypeError
        For any other object.

    Examples
    --------
    >>> import metersim as m
    >>> page = m.draw(m.simulate(m.load_scenario("maize_bench", ["speed_kmh=5"]), seed=3))
    >>> f"{page.get_figwidth():g} in by {page.get_figheight():g} in"
    '7.5 in by 10.23 in'
    """
    for figure in figures():
        for kind, page in getattr(figure, "PAGES", {}).items():
            if isinstance(result, kind):
                drawn: Figure = page(result, units)
                return drawn
    raise TypeError(
        f"{type(result).__name__} has no picture; draw a run of simulate, a comparison of "
        "compare(..., keep=True), what respond makes of a sweep, or what steps, next_move, "
        "habits, sheet or measured give"
    )
