"""Whole pages, and how they are written."""

from __future__ import annotations

import io
import textwrap
import warnings
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
from metersim.records import Origin, Run
from metersim.reports.compare import rows
from metersim.reports.run import notes
from metersim.spacing import spacings_of
from metersim.studies.compare import Comparison
from metersim.units import UNITS

SHOWN_DPI = 96  # of a page in a notebook, at the size of its texts
LINE = 116  # letters of a line at the foot of a page
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


def caption_height(parts: Sequence[str]) -> float:
    """How high these lines are. [in]"""
    return 0.14 * sum(len(textwrap.wrap(part, LINE)) for part in parts)


def headline(figure: Figure, title: str) -> None:
    """What a page is on, at its top."""
    said = textwrap.shorten(title, 80, placeholder=" ...")
    figure.text(0.02, 1 - 0.1 / figure.get_figheight(), said, fontsize=12, va="top")


def _own(run: Origin) -> list[str]:
    """What sets a run apart from others of its scenario and seed."""
    return [
        *([f"replicate {run.replicate}"] if run.replicate else []),  # 0 is the usual one
        *(f"{name} replaced by {kind}" for name, kind in run.replaced.items()),
        *run.scenario.changes,
        *([f"at the middle of {run.scenario.ranges}"] if run.scenario.unknown else []),
    ]


def _shared(runs: Sequence[Origin]) -> list[str]:
    """What all runs have of their own."""
    return [word for word in _own(runs[0]) if all(word in _own(run) for run in runs)]


def origin_line(runs: Sequence[Origin]) -> str:
    """Where runs come from, as far as they share it, in a line."""
    names = " / ".join(dict.fromkeys(run.scenario.name for run in runs))
    luck = ", ".join([f"random seed {runs[0].seed}", *_shared(runs)])
    return _line(f"metersim {runs[0].version} | {names} | {luck}")


def _line(words: str) -> str:
    return textwrap.shorten(words, LINE, placeholder=" ...")


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
        7.5 in wide, 10 in high, and higher with notes.
    """
    length_units(units)  # refuses any but these
    said = [*(f"note: {note}" for note in notes(measure(run), units)), origin_line([run])]
    foot = 0.61 + caption_height(said)  # in
    height = foot + 9.25
    figure = new_page(height)
    headline(figure, run.scenario.title)
    ax = figure.add_axes((0.1, (foot + 5.6) / height, 0.87, 2.65 / height))
    draw_spacings(ax, spacings_of(run.seeds.position), run.scenario.spacing, units)
    ax = figure.add_axes((0.1, (foot + 3.8) / height, 0.87, 0.95 / height))
    draw_row(ax, run, units=units)
    ax = figure.add_axes((0.1, foot / height, 0.62, 3.05 / height))
    draw_disc(ax, run, units=units)
    explain_marks(ax)
    for line, words in enumerate(_settings(run, units)):
        ax.text(1.03, 0.26 - 0.06 * line, words, transform=ax.transAxes)
    caption(figure, said)
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
    length_units(units)  # refuses any but these
    said = _foot(result, units)
    panel = 0.32 * len(differences)
    foot = 0.3 + caption_height(said)  # in
    height = foot + 4.85 + (panel + 0.9 if differences else 0)
    figure = new_page(height)
    headline(figure, " / ".join(dict.fromkeys(run.scenario.title for run in runs)))
    ax = figure.add_axes((0.1, 1 - 4.35 / height, 0.87, 3.7 / height))
    spacings = [spacings_of(run.seeds.position) for run in runs]
    draw_comparison(ax, labels, spacings, [run.scenario.spacing for run in runs], units)
    if differences:
        ax = figure.add_axes((0.26, (foot + 0.5) / height, 0.48, panel / height))
        draw_differences(ax, differences)
        ax.set_title(f"Difference from {labels[0]}, with its 95 % interval")
    caption(figure, said)
    return figure


def _foot(result: Comparison, units: str) -> list[str]:
    """Notes, where the runs come from as far as they share it, and what labels do not say."""
    each = zip(result.labels, result.measured, strict=True)
    told = {label: notes(part, units) for label, part in each}
    lines = []
    for note in dict.fromkeys(note for found in told.values() for note in found):
        places = [label for label, found in told.items() if note in found]
        at = f", at {', '.join(places)}" if len(places) < len(told) else ""
        lines.append(f"note{at}: {note}")
    lines.append(origin_line(result.runs))
    replicates, shared = len(result.measured[0].tallies), _shared(result.runs)
    if replicates > 1:
        lines.append(f"spacings of the first of {replicates} replicates, differences of all")
    for label, run in zip(result.labels, result.runs, strict=True):
        known = [*shared, *label.split(", ")]
        if own := [word for word in _own(run) if word not in known]:
            lines.append(_line(f"{label}: {', '.join(own)}"))
    return lines


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
    with warnings.catch_warnings():  # letters that a font lacks are drawn as boxes
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        figure.savefig(written, format=kind[1:], metadata=FORMATS[kind])
    return written.getvalue()
