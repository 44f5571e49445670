"""Whole pages, and how they are written."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from metersim.figures.disc import draw_disc, explain_marks
from metersim.figures.row import draw_row
from metersim.figures.spacings import draw_comparison, draw_differences, draw_spacings
from metersim.figures.style import (
    INK,
    STYLE,
    length_units,
)
from metersim.files import replace_whole
from metersim.measures import measure
from metersim.records import Run
from metersim.reports.compare import rows
from metersim.reports.run import notes
from metersim.spacing import spacings_of
from metersim.studies.compare import Comparison
from metersim.units import UNITS

SHOWN_DPI = 96  # of a page in a notebook, at the size of its texts
LINE = 116  # letters of a line at the foot of a page
MOST_CHANGES = 40  # letters of changed keys at the foot of a page
FORMATS: dict[str, dict[str, Any]] = {
    ".png": {"Software": "metersim"},
    ".svg": {"Creator": "metersim", "Date": None},
    ".pdf": {"Creator": "metersim", "Producer": "metersim", "CreationDate": None},
}
"""What each kind of file says about itself: nothing that changes from day to day."""


class Page(Figure):
    """A figure that a notebook shows, though no window or backend was ever chosen."""

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        """Bytes, and the width to show them at, as notebooks ask for them."""
        return encoded(self, "page.png"), {"width": round(self.get_figwidth() * SHOWN_DPI)}


def new_page(height: float) -> Figure:
    """An empty page, 7.5 in wide and so many inches high."""
    figure = Page(figsize=(7.5, height), dpi=200)
    FigureCanvasAgg(figure)
    return figure


def caption(figure: Figure, parts: Sequence[str]) -> None:
    """Lines at the foot of a page."""
    said = "\n".join(textwrap.fill(part, LINE) for part in parts)
    figure.text(0.02, 0.1 / figure.get_figheight(), said, color=INK, va="bottom", gid="caption")


def _origin(run: Run) -> str:
    changes = "".join(f", {change}" for change in run.scenario.changes)
    changed = changes if len(changes) <= MOST_CHANGES else changes[:MOST_CHANGES] + " ..."
    replaced = "".join(f", {name} replaced by {kind}" for name, kind in run.replaced.items())
    return (
        f"metersim {run.version} | {run.scenario.name} | random seed {run.seed} | "
        f"replicate {run.replicate}{replaced}{changed}"
    )


def flag(notes: Sequence[str]) -> list[str]:
    """One line that says that there are notes, or none."""
    if not notes:
        return []
    more = f" (and {len(notes) - 1} more)" if len(notes) > 1 else ""
    return [textwrap.shorten(f"note: {notes[0]}", LINE - len(more), placeholder=" ...") + more]


def _settings(run: Run, units: str) -> tuple[str, ...]:
    """What was set, in a few lines."""
    s = run.scenario
    us = units == "us"
    _, machine = length_units(units)
    vacuum, speed = UNITS["inh2o" if us else "kpa"], UNITS["mph" if us else "kmh"]
    return (
        f"seed lot {s.lot.name}",
        f"{s.disc.cells} cells, holes {machine.from_si(s.disc.hole_diameter):.3g} {machine.symbol}",
        f"vacuum {vacuum.from_si(s.vacuum.vacuum):.3g} {vacuum.symbol}",
        f"singulator notch {s.singulator.notch:g}",
        f"speed {speed.from_si(s.demand.speed):.3g} {speed.symbol}, {s.furrow.surface}",
    )


@matplotlib.rc_context(STYLE)
def run_figure(run: Run, units: str = "metric") -> Figure:
    """One page on one run: spacings, a piece of the row, the disc, and where it all comes from.

    Parameters
    ----------
    run : Run
        The run.
    units : {'metric', 'us'}
        Lengths in cm and mm, or in inches.

    Returns
    -------
    Figure
        7.5 in wide, 10 in high.
    """
    figure = new_page(10)
    figure.text(0.02, 0.985, textwrap.shorten(run.scenario.title, 80), fontsize=12, va="top")
    ax = figure.add_axes((0.1, 0.635, 0.87, 0.265))
    draw_spacings(ax, spacings_of(run.seeds.position), run.scenario.spacing, units)
    draw_row(figure.add_axes((0.1, 0.455, 0.87, 0.095)), run, units=units)
    ax = figure.add_axes((0.1, 0.075, 0.62, 0.305))
    draw_disc(ax, run, units=units)
    explain_marks(ax)
    for line, words in enumerate(_settings(run, units)):
        ax.text(1.03, 0.26 - 0.06 * line, words, transform=ax.transAxes)
    origin = textwrap.shorten(_origin(run), LINE, placeholder=" ...")
    caption(figure, [*flag(notes(measure(run))), origin])
    return figure


@matplotlib.rc_context(STYLE)
def comparison_figure(result: Comparison, units: str = "metric") -> Figure:
    """One page on several runs and how they differ.

    Parameters
    ----------
    result : Comparison
        With its runs: `metersim.studies.compare.compare` keeps them with ``keep=True``.
    units : {'metric', 'us'}
        Lengths in cm or in.

    Returns
    -------
    Figure
        7.5 in wide, as high as it needs.

    Raises
    ------
    ValueError
        Without runs.
    """
    if not result.runs:
        raise ValueError("the comparison has kept no runs to draw; compare with keep=True")
    labels, runs, differences = result.labels, result.runs, rows(result)
    found = list(dict.fromkeys(note for part in result.measured for note in notes(part)))
    panel = 0.32 * len(differences)
    foot = 0.3 + 0.16 * (len(runs) + len(found[:1]))  # in, for the caption
    height = foot + 4.5 + (panel + 0.9 if differences else 0)
    figure = new_page(height)
    ax = figure.add_axes((0.1, 1 - 4.0 / height, 0.87, 3.7 / height))
    spacings = [spacings_of(run.seeds.position) for run in runs]
    draw_comparison(ax, labels, spacings, [run.scenario.spacing for run in runs], units)
    if differences:
        ax = figure.add_axes((0.26, (foot + 0.5) / height, 0.48, panel / height))
        draw_differences(ax, differences)
        ax.set_title(f"Difference from {labels[0]}, with its 95 % interval")
    origins = [f"{label}: {_origin(run)}" for label, run in zip(labels, runs, strict=True)]
    caption(figure, [*flag(found), *origins])
    return figure


def save(figure: Figure, path: str | Path) -> None:
    """Write a figure whole or not at all; see `encoded`.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : str or Path
        Ends in .png, .svg or .pdf.

    Raises
    ------
    ValueError
        For another ending.
    OSError
        If the file cannot be written; nothing is left behind.
    """
    replace_whole(Path(path), encoded(figure, path))


@matplotlib.rc_context(STYLE)
def encoded(figure: Figure, path: str | Path) -> bytes:
    """A figure as bytes of a file of that name; equal figures give equal bytes.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : str or Path
        Ends in .png, .svg or .pdf.

    Raises
    ------
    ValueError
        For another ending.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise ValueError(f"{path.name!r} does not say what to write; allowed: {', '.join(FORMATS)}")
    written = io.BytesIO()
    figure.savefig(written, format=kind[1:], metadata=FORMATS[kind])
    return written.getvalue()
