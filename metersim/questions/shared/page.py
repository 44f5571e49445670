"""Pages of figures: their common parts, and the writing of files."""

from __future__ import annotations

import io
import math
import re
import textwrap
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator
from numpy.typing import NDArray

from metersim.files.units import UNITS, Unit
from metersim.files.whole import replace_whole
from metersim.questions.shared.style import CLASSES, INK, LARGE, OWN, TITLE
from metersim.run.records import Origin

UNSET = {"backend", "backend_fallback", "interactive", "toolbar", "timezone"}
STYLE: dict[Any, Any] = {
    **{key: value for key, value in matplotlib.rcParamsDefault.items() if key not in UNSET},
    **OWN,
}
"""Settings of matplotlib under which every figure is drawn, whatever a user has set."""


def length_units(units: str) -> tuple[Unit, Unit]:
    """Units for lengths along the row and on the machine."""
    if units not in ("metric", "us"):
        raise ValueError(f"units is {units!r}; allowed: 'metric', 'us'")
    return (UNITS["cm"], UNITS["mm"]) if units == "metric" else (UNITS["in"], UNITS["in"])


def percent(share: float) -> str:
    """A share in percent, as printed."""
    return "no value" if math.isnan(share) else f"{share:.1%}".replace("%", " %")


def events_in(released: NDArray[np.int8]) -> str:
    """Numbers of skips, doubles and triples in words."""
    none, one, two = (int((released == many).sum()) for many in range(3))
    kinds = ((none, "skip"), (two, "double"), (released.size - none - one - two, "triple"))
    words = [f"{many} {word}{'s' * (many > 1)}" for many, word in kinds if many]
    return ", ".join(words) or "one seed from every cell"


SHOWN_DPI = 96  # dots per inch of a page in a notebook, at which its texts have their true size
WIDTH = 7.5  # of a usual page; in
LINE = 104  # letters of a line at the foot of a page
SIGHT = 94  # letters of a line of what to see
FORMATS: dict[str, dict[str, Any]] = {
    ".png": {"Software": "metersim"},
    ".svg": {"Creator": "metersim", "Date": None},
    ".pdf": {"Creator": "metersim", "Producer": "metersim", "CreationDate": None},
}
"""Metadata of each kind of file, without anything that changes from day to day."""


class Page(Figure):
    """A figure that a notebook shows without a chosen window or backend."""

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        """Bytes of a picture and its shown width, in the form that notebooks request."""
        return encoded(self, "page.png"), {"width": round(self.get_figwidth() * SHOWN_DPI)}


def new_page(height: float, width: float = WIDTH) -> Figure:
    """An empty page of a height and a width in inches."""
    figure = Page(figsize=(width, height), dpi=200)
    FigureCanvasAgg(figure)
    return figure


UNIT = re.compile(r"(?<=\d) (?=[%A-Za-z])")  # between a number and its unit


def unbroken(text: str) -> str:
    """A text in which each number stays on the line of its unit."""
    return UNIT.sub("\N{NO-BREAK SPACE}", text)


def wrapped(part: str, letters: int = LINE) -> list[str]:
    """Lines of a part of a caption; a number stays with its unit."""
    lines = textwrap.wrap(unbroken(part), letters)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def caption(figure: Figure, parts: Sequence[str]) -> None:
    """Write lines at the foot of a page."""
    across = figure.get_figwidth()
    said = "\n".join(line for part in parts for line in _foot_lines(part, across))
    figure.text(0.02, 0.1 / figure.get_figheight(), said, color=INK, va="bottom", gid="caption")


def caption_height(parts: Sequence[str], width: float = WIDTH) -> float:
    """Height of the lines at the foot of a page of a width in inches. [in]"""
    return 0.158 * sum(len(_foot_lines(part, width)) for part in parts)


def _foot_lines(part: str, width: float) -> list[str]:
    return wrapped(part, round(LINE * width / WIDTH))


def headline(figure: Figure, title: str, sight: str) -> None:
    """Write the title at the top of a page, and below it the sentence that says what to see."""
    across, tall = figure.get_size_inches()
    said = textwrap.shorten(title, 80, placeholder=" ...")
    figure.text(0.02, 1 - 0.1 / tall, said, fontsize=TITLE, color=INK, va="top", gid="title")
    lines = "\n".join(_sight_lines(sight, across))
    figure.text(0.02, 1 - 0.35 / tall, lines, fontsize=LARGE, color=INK, va="top", gid="see")


def sight_height(sight: str, width: float = WIDTH) -> float:
    """Height that the sentence below a title takes on a page of a width in inches. [in]"""
    return 0.05 + 0.18 * len(_sight_lines(sight, width))


def _sight_lines(sight: str, width: float) -> list[str]:
    return wrapped(f"See: {sight}", round(SIGHT * width / WIDTH))


def _own(run: Origin, units: str) -> list[str]:
    """Properties of a run that other runs of its scenario and seed may lack."""
    return [
        *([f"replicate {run.replicate}"] if run.replicate else []),  # 0 is the usual one
        *(f"{name} replaced by {kind}" for name, kind in run.replaced.items()),
        *run.scenario.changes,
        *([f"at the middle of {run.scenario.ranges(units)}"] if run.scenario.unknown else []),
        *map(str, run.changes),
    ]


def _shared(runs: Sequence[Origin], units: str) -> list[str]:
    """Properties of the first run that all runs have; see `_own`."""
    return [word for word in _own(runs[0], units) if all(word in _own(run, units) for run in runs)]


def origin_line(runs: Sequence[Origin], units: str = "metric") -> str:
    """One line with the version, scenarios, seed and common properties of runs."""
    names = " / ".join(dict.fromkeys(run.scenario.name for run in runs))
    chosen = ", ".join([f"random seed {runs[0].seed}", *_shared(runs, units)])
    return _line(f"metersim {runs[0].version} | {names} | {chosen}")


def _line(words: str) -> str:
    return textwrap.shorten(words, LINE, placeholder=" ...")


def save(figure: Figure, path: str | Path) -> None:
    """Write a figure whole or not at all; see `encoded`.

    Parameters
    ----------
    figure : Figure
        Figure to write.
    path : str or Path
        File that ends in .png, .svg or .pdf.

    Raises
    ------
    ValueError
        For another ending.
    OSError
        If the file cannot be written; no partial file remains.

    Examples
    --------
    >>> import metersim as m
    >>> page = m.draw(m.simulate(m.load_scenario("maize_bench", ["turns=10"]), seed=3))
    >>> m.save(page, "page.gif")
    Traceback (most recent call last):
    ...
    ValueError: 'page.gif' does not say what to write; allowed: .png, .svg, .pdf
    """
    replace_whole(Path(path), encoded(figure, path))


@matplotlib.rc_context(STYLE)
def encoded(figure: Figure, path: str | Path) -> bytes:
    """A figure as bytes of a file of that name; equal figures give equal bytes.

    Parameters
    ----------
    figure : Figure
        Figure to write.
    path : str or Path
        Name of a file that ends in .png, .svg or .pdf.

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


@matplotlib.rc_context(STYLE)
def encoded_pdf(figures: Sequence[Figure]) -> bytes:
    """Figures as the pages of one PDF; equal figures give equal bytes."""
    from matplotlib.backends.backend_pdf import PdfPages

    written = io.BytesIO()
    with PdfPages(written, metadata=FORMATS[".pdf"]) as pages:
        for figure in figures:
            pages.savefig(figure)
    return written.getvalue()


def spacing_axis(ax: Axes) -> None:
    """Set ticks and name of an axis of spacings over the nominal spacing."""
    ax.set_xlim(0, CLASSES["miss"][3])
    ax.set_xticks(np.arange(8) / 2)
    ax.set_xlabel("spacing [nominal spacings]")


TICKS = (0.1, 0.5, 1, 2, 5, 10, 20, 40, 70, 100)  # percent
LEAST_GAP = 0.07  # least distance of ticks, as a share of the axis


def percent_axis(axis: Axis, top: float) -> None:
    """Set an axis of the root of a share in percent, on which sampling error has one width."""
    ax = axis.axes
    set_scale, set_limits = (
        (ax.set_xscale, ax.set_xlim) if axis is ax.xaxis else (ax.set_yscale, ax.set_ylim)
    )
    set_scale("function", functions=(lambda y: np.sqrt(np.maximum(y, 0)), np.square))
    ticks = [0.0]
    for tick in TICKS:
        if tick <= top and math.sqrt(tick) - math.sqrt(ticks[-1]) >= LEAST_GAP * math.sqrt(top):
            ticks.append(tick)
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    set_limits(0, top)
