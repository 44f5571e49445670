"""Figures of a comparison: distributions of spacings, and paired differences."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from metersim.measures.indices import BY_KEY
from metersim.measures.observed import observed_spacings
from metersim.questions.compare.study import COMPARED, Comparison, compare
from metersim.questions.compare.text import Apart, rows, settings_apart
from metersim.questions.shared.answer import capital, is_distinct
from metersim.questions.shared.notes import level_text, notes
from metersim.questions.shared.page import (
    STYLE,
    _line,
    _own,
    _shared,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    origin_line,
    percent,
    sight_height,
    spacing_axis,
)
from metersim.questions.shared.picture import EDGES, OVERFLOW, binned
from metersim.questions.shared.style import (
    BOLD,
    CALLED,
    CENTRED,
    CLASSES,
    DASHED,
    FINE,
    HAIR,
    HEAVY,
    INK,
    LARGE,
    SERIES,
)
from metersim.questions.shared.words import plain_name

MOST_SETTINGS = 2  # that are named of scenarios that differ in more
LONGEST_ROW = 32  # letters of a line of the name of a row
LONGEST_TITLE = 44  # letters that state what differs


@matplotlib.rc_context(STYLE)
def comparison_figure(result: Comparison, units: str = "metric") -> Figure:
    """One page on several runs and their paired differences.

    Parameters
    ----------
    result : Comparison
        Comparison with its runs, as `metersim.questions.compare.study.compare` gives it with
        ``keep=True``.
    units : {'metric', 'us'}
        Lengths in cm or in.

    Returns
    -------
    Figure
        Page of 7.5 in width.

    Raises
    ------
    ValueError
        For a comparison without runs.
    """
    if not result.runs:
        raise ValueError("the comparison has kept no runs to draw; compare with keep=True")
    length_units(units)  # refuses unknown units
    labels, runs = result.labels, result.runs
    apart = settings_apart([run.scenario for run in runs], units)
    differences = rows(result, apart[0].words if len(apart) == 1 else labels)
    legend = [_legend(label, apart, place) for place, label in enumerate(labels)]
    sight = comparison_sight(result, units)
    said = _foot(result, units)
    is_folded = any(len(label) > LONGEST_ROW for label, *_ in differences)
    panel = (0.32 if is_folded else 0.24) * len(differences)
    foot = 0.3 + caption_height(said)  # in
    head = sight_height(sight)
    height = foot + head + 4.85 + (panel + 0.9 if differences else 0)
    figure = new_page(height)
    headline(figure, " / ".join(dict.fromkeys(run.scenario.title for run in runs)), sight)
    ax = figure.add_axes((0.1, 1 - (head + 4.35) / height, 0.87, 3.7 / height))
    spacings = [observed_spacings(run) for run in runs]
    draw_comparison(ax, legend, spacings, [run.scenario.spacing for run in runs], units)
    ax.set_title(_title(apart))
    if differences:
        ax = figure.add_axes((0.3, (foot + 0.5) / height, 0.4, panel / height))
        draw_differences(ax, differences)
        level = level_text(result.measured[0].level)
        first = ": ".join(legend[0].splitlines()[:2]) if len(apart) == 1 else labels[0]
        first = textwrap.shorten(first, 45, placeholder=" ...")
        ax.set_title(f"Difference from {first}, with its {level}", x=-0.5)
    caption(figure, said)
    return figure


def _legend(label: str, apart: Sequence[Apart], place: int) -> str:
    """Label of a scenario with the settings that set it apart; settings stand for a change."""
    stated = [f"{one.name} {one.words[place]}" for one in apart[:MOST_SETTINGS]]
    is_change = "=" in label and len(apart) <= MOST_SETTINGS
    return ", ".join(stated) if is_change and stated else "\n".join([label, *stated])


def _title(apart: Sequence[Apart]) -> str:
    """What differs: the setting with its values, or the names of several settings."""
    drawn = "spacings between neighbouring seeds"
    if not apart:
        return capital(drawn)
    if len(apart) == 1:
        (one,) = apart
        values = _once(dict.fromkeys(one.words))
        what = f"{one.name} {', '.join(values[:-1])} or {values[-1]}"
        if len(what) <= LONGEST_TITLE:
            return capital(f"{what}: {drawn}")
    names = [one.name for one in apart[:MOST_SETTINGS]]
    more = [f"{len(apart) - MOST_SETTINGS} more"] if len(apart) > MOST_SETTINGS else []
    *head, last = [*names, *more]
    said = f"{', '.join(head)} and {last}" if head else last
    return capital(f"{said} differ{'s' * (len(apart) == 1)}: {drawn}")


def _once(words: Iterable[str]) -> list[str]:
    """Values with their unit, which is left out of all but the last where they share it."""
    pairs = [word.rpartition(" ") for word in words]
    if len({unit for _, _, unit in pairs}) > 1 or any(" " in value for value, _, _ in pairs):
        return ["".join(pair) for pair in pairs]
    return [*(value for value, _, _ in pairs[:-1]), "".join(pairs[-1])]


def comparison_sight(result: Comparison, units: str = "metric") -> str:
    """What a comparison shows: the greatest difference that is detected, or that none is."""
    shares = [key for key in COMPARED if BY_KEY[key].kind == "share"]
    detected = [
        (abs(differences[key].value), k, key)
        for k, differences in enumerate(result.differences, 1)
        for key in shares
        if is_distinct(differences[key])
    ]
    if not detected:
        return "no difference of shares can be distinguished from 0."
    _, k, key = max(detected)
    apart = settings_apart([run.scenario for run in result.runs], units)
    names: Sequence[str] = result.labels
    if len(apart) == 1:
        names = [f"{apart[0].name} {words}" for words in apart[0].words]
    first, other = (percent(result.values[place][key].value) for place in (0, k))
    said = f"{plain_name(key)}: {first} at {names[0]}, {other} at {names[k]}"
    alike = [
        plain_name(one)
        for one in ("cells.skip", "cells.double")
        if one != key and not any(is_distinct(part[one]) for part in result.differences)
    ]
    return f"{said}; no difference of {' or '.join(alike)} is detected." if alike else f"{said}."


def _foot(result: Comparison, units: str) -> list[str]:
    """Notes, the common origin of the runs, and properties that the labels do not state."""
    each = zip(result.labels, result.measured, strict=True)
    notes_by_label = {label: notes(part, units) for label, part in each}
    lines = []
    for note in dict.fromkeys(note for found in notes_by_label.values() for note in found):
        places = [label for label, found in notes_by_label.items() if note in found]
        at = f", at {', '.join(places)}" if len(places) < len(notes_by_label) else ""
        lines.append(f"note{at}: {note}")
    lines.append(origin_line(result.runs, units))
    replicates, shared = len(result.measured[0].tallies), _shared(result.runs, units)
    if replicates > 1:
        lines.append(f"spacings of the first of {replicates} replicates, differences of all")
    for label, run in zip(result.labels, result.runs, strict=True):
        known = [*shared, *label.split(", ")]
        if own := [word for word in _own(run, units) if word not in known]:
            lines.append(_line(f"{label}: {', '.join(own)}"))
    return lines


@matplotlib.rc_context(STYLE)
def draw_comparison(
    ax: Axes,
    labels: Sequence[str],
    spacings: Sequence[ArrayLike],
    references: Sequence[float],
    units: str = "metric",
) -> list[Any]:
    """Draw outlines of the histograms of two or three runs over each other.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    labels : sequence of str
        Name of each run.
    spacings : sequence of array_like
        Spacings of each run. [m]
    references : sequence of float
        Nominal spacing of each run, above 0. [m]
    units : {'metric', 'us'}
        Unit of the nominal spacings in the legend: cm or in.

    Returns
    -------
    list of StepPatch
        Shares of each run in the bins of `draw_spacings`. [%]

    Raises
    ------
    ValueError
        If there are more than three runs, or lengths differ.
    """
    along, _ = length_units(units)
    if not len(labels) == len(spacings) == len(references):
        raise ValueError("labels, spacings and references differ in number")
    if not 1 <= len(labels) <= len(SERIES):
        raise ValueError(f"{len(labels)} runs to compare; allowed: 1 to {len(SERIES)}")
    edges = np.append(EDGES, OVERFLOW + 0.05)
    steps: list[Any] = []
    for label, values, reference, look in zip(labels, spacings, references, SERIES, strict=False):
        counts, index = binned(values, reference)
        shares = 100 * counts / max(index.spacings, 1)
        colour, line, hatch = look
        shown = (
            "\n".join(textwrap.fill(line, 36) for line in label.splitlines())
            + f"\n{index.spacings:,} spacings, nominal {along.from_si(reference):.3g} "
            f"{along.symbol}"
        )
        steps.append(ax.stairs(shares, edges, ec=colour, ls=line, lw=BOLD, label=shown))
        ax.stairs(
            shares, edges, fill=True, fc="none", ec=colour, lw=0, hatch=hatch, alpha=0.5, zorder=0
        )
    top = max(float(step.get_data().values.max()) for step in steps) or 1.0
    for name, (_, _, low, high) in CLASSES.items():
        ax.axvline(low, color=INK, lw=HAIR, zorder=0)
        ax.text((low + high) / 2, 1.1 * top, CALLED[name], fontsize=LARGE, **CENTRED)
    beyond = max(float(step.get_data().values[-1]) for step in steps)
    if beyond:
        ax.text(OVERFLOW + 0.05, beyond + 0.02 * top, "beyond 3.5", ha="right", va="bottom")
    ax.set_ylim(0, 1.2 * top)
    ax.set_ylabel("spacings per step of 0.1 nominal [%]")
    spacing_axis(ax)
    ax.legend(loc="upper right", bbox_to_anchor=(1, 0.86))
    ax.set_title("Spacings between neighbouring seeds")
    return steps


@matplotlib.rc_context(STYLE)
def draw_differences(ax: Axes, rows: Sequence[tuple[str, float, float, float]]) -> list[Any]:
    """Draw paired differences with their intervals.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    rows : sequence of (label, value, low, high)
        Differences and ends of their intervals. [percentage points]

    Returns
    -------
    list of Line2D
        One dot for each row that has a value.
    """
    dots: list[Any] = []
    for line, (_, value, low, high) in enumerate(rows):
        said = "no value"
        if math.isfinite(value):
            said = f"{value:+.2f}"
            dots += ax.plot(value, line, "o", color=INK, ms=6)
        if math.isfinite(value) and math.isfinite(low) and math.isfinite(high):
            ax.plot([low, high], [line, line], color=INK, lw=HEAVY, marker="|", ms=9)
            said += f"  ({low:+.2f} to {high:+.2f})"
        ax.annotate(
            said.replace("-", "\N{MINUS SIGN}"),
            (1.02, line),
            va="center",
            xycoords=("axes fraction", "data"),
            annotation_clip=False,
        )
    ax.axvline(0, color=INK, lw=FINE, ls=DASHED, zorder=0)
    ends = [abs(end) for _, *ends in rows for end in ends if math.isfinite(end)]
    reach = 1.12 * max(ends, default=1.0) or 1.0
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_yticks(range(len(rows)), [textwrap.fill(label, LONGEST_ROW) for label, *_ in rows])
    ax.set_xlabel("difference [percentage points]")
    return dots


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of a comparison of scenarios, and of one notch."""
    faster = compare("maize_field", "maize_field_faster", seed=1, keep=True)
    yield "compare_faster", comparison_figure(faster)
    notch = compare("maize_bench", vary="notch=0,1", seed=1, keep=True)
    yield "compare_one_notch", comparison_figure(notch)


PAGES = {Comparison: comparison_figure}
