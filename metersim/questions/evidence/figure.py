"""Figures of published values and predictions: levels by measure, and quality over vacuum."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from metersim import __version__
from metersim.measures.indices import FLAT, STEEP
from metersim.questions.evidence.predictions import Predicted
from metersim.questions.evidence.score import PERCENT
from metersim.questions.evidence.study import Evidence
from metersim.questions.evidence.verdicts import (
    AGREES,
    DISAGREES,
    TREND,
    Interval,
    Outcome,
    central,
    lost_quality,
)
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    new_page,
    sight_height,
)
from metersim.questions.shared.statements import EXTRAS
from metersim.questions.shared.style import (
    AMBER,
    BLUE,
    BOLD,
    DASHED,
    DOTTED,
    FINE,
    HAIR,
    HEAVY,
    INK,
    PALE,
    STROKE,
    WARM,
)
from metersim.questions.shared.words import measure_name

LOOKS: dict[str, tuple[str, str]] = {  # colour and marker of a prediction, by verdict
    AGREES: (BLUE, "o"),
    TREND: (AMBER, "s"),
    DISAGREES: (WARM, "X"),
}
TOP, FOOT = 0.7, 0.44  # in
ACROSS, LABELS, MARGIN = 5.45, 3.3, 0.2  # in: a column of levels, names of rows, right margin
CLOSE, UNDER = 0.155, 0.48  # in: a row of levels, space under a panel for its axis
COLUMN, MOST_COLUMNS = 6.6, 2  # in: height of a column of levels; a page of A4 or letter, lying
LONGEST = 52  # letters of the name of a row
Levels = Sequence[Outcome]
DEEPEST = 12  # drawn percentage points below the best
MOST_ROWS, MOST_PANELS = 500, 8  # on a page


def draw_levels(ax: Axes, outcomes: Sequence[Outcome], name: str) -> list[Line2D]:
    """Draw published levels of one measure with their predictions, one row each.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    outcomes : sequence of Outcome
        Outcomes of levels of one measure, with numbers.
    name : str
        Name of the measure.

    Returns
    -------
    list of Line2D
        Medians of the predictions, one for each row.
    """
    made = []
    for y, outcome in enumerate(outcomes):
        found = outcome.interval
        assert found is not None  # outcomes of levels have numbers
        colour, marker = LOOKS[outcome.verdict]
        ax.plot([found.low, found.high], [y, y], color=colour, lw=2 * BOLD, alpha=0.45, zorder=1)
        made += ax.plot(found.median, y, marker, ms=6, color=colour, zorder=2)
        ax.plot(found.published, y, "|", ms=10, mew=HEAVY, color=INK, zorder=3)
    names = [textwrap.shorten(f"{o.case}: {o.row}", LONGEST, placeholder=" ...") for o in outcomes]
    ax.set_yticks(range(len(outcomes)), names)
    ax.set_ylim(len(outcomes) - 0.5, -0.5)
    symbol = outcomes[0].interval.unit if outcomes[0].interval else ""
    ax.set_xlabel(f"{name} [{symbol}]" if symbol else name, labelpad=1)
    if symbol == PERCENT:  # the place of a mark is a share, so that the axis begins at none
        ends = [end for one in outcomes if one.interval for end in _ends(one.interval)]
        ax.set_xlim(0, 1.03 * max([*ends, 1.0]))
    ax.grid(axis="x", color=PALE, lw=HAIR, alpha=0.5)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="y", length=0)
    return made


def _ends(found: Interval) -> tuple[float, ...]:
    return found.published, found.median, found.high


def draw_plateau(ax: Axes, made: Predicted, name: str, published: float) -> list[Line2D]:
    """Draw quality below the best of each draw over vacuum: median, 90 %, published vacuum.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    made : Predicted
        Prediction of a case that varies the vacuum of this condition.
    name : str
        Name of the condition.
    published : float
        Published best vacuum. [kPa]

    Returns
    -------
    list of Line2D
        Line of the median.
    """
    vacuums, lost = lost_quality(made, name)
    low, median, high = central(-100 * lost)
    ax.fill_between(vacuums, low, high, color=BLUE, alpha=0.2, lw=0)
    ax.axhspan(-100 * FLAT, 0, color=PALE, alpha=0.4, lw=0)
    ax.axhline(-100 * STEEP, color=PALE, lw=FINE, ls=DOTTED)
    curve = ax.plot(vacuums, median, marker="o", color=BLUE, ms=4)
    ax.axvline(published, color=INK, lw=STROKE, ls=DASHED)
    ax.set_xscale("log")
    ax.set_xticks(vacuums, [f"{vacuum:.3g}" for vacuum in vacuums])
    ax.minorticks_off()
    ax.set_ylim(max(1.3 * float(median.min()), -DEEPEST), 0.3)
    ax.set_title(name)
    ax.set_xlabel("vacuum [kPa]")
    ax.set_ylabel("below the best [pp]")
    return curve


@matplotlib.rc_context(STYLE)
def levels_figure(found: Evidence) -> Figure | None:
    """Page of all published levels, one panel a measure; None without levels."""
    by_measure: dict[str, list[Outcome]] = {}
    for made in found.predictions:
        rows = {row.name: row for row in made.case.rows}
        for outcome in found.of(made.case.name):
            if outcome.kind == "level" and outcome.interval:
                by_measure.setdefault(rows[outcome.row].measure, []).append(outcome)
    if not by_measure:
        return None
    total = sum(map(len, by_measure.values()))
    columns = _columns(by_measure)
    drawn = sum(len(outcomes) for column in columns for _, outcomes in column)
    inner = max(sum(_height(outcomes) for _, outcomes in column) for column in columns)
    shown = [one for column in columns for _, outcomes in column for one in outcomes]
    sight = levels_sight(shown)
    width = ACROSS * len(columns)
    head = sight_height(sight, width)
    left = f"the first {drawn} of {total} levels" if drawn < total else ""
    said = [_foot(found, "; ".join(filter(None, ["bars: 90 % intervals", left])))]
    figure = new_page(inner + TOP + FOOT + caption_height(said, width) + head, width)
    across, tall = figure.get_size_inches()
    for k, column in enumerate(columns):
        top = tall - TOP - head
        for measure, outcomes in column:
            many = CLOSE * len(outcomes)
            box = (k * ACROSS + LABELS, top - many, ACROSS - LABELS - MARGIN, many)
            scaled = [part / side for part, side in zip(box, 2 * (across, tall), strict=True)]
            draw_levels(figure.add_axes(tuple(scaled)), outcomes, _called(measure))
            top -= _height(outcomes)
    headline(figure, "Published levels and their predictions", sight)
    handles: list[Any] = [
        Line2D([], [], color=colour, marker=marker, lw=2 * BOLD, alpha=0.8, label=verdict)
        for verdict, (colour, marker) in LOOKS.items()
    ]
    handles.append(
        Line2D([], [], color=INK, marker="|", ms=12, mew=HEAVY, ls="", label="published")
    )
    figure.legend(
        handles=handles, loc="upper left", ncols=4, bbox_to_anchor=(0.01, 1 - (0.3 + head) / tall)
    )
    caption(figure, said)
    return figure


def levels_sight(shown: Levels) -> str:
    """What levels show: how many published values lie on their bars, and how many disagree."""
    many = [sum(one.verdict == verdict for one in shown) for verdict in (AGREES, TREND, DISAGREES)]
    kept = f"{many[0]} of {len(shown)} published values, the black ticks, lie on their bars"
    if many[0] == len(shown):
        return f"all {kept}."
    trend = f"{many[1]} agree in trend alone, " if many[1] else ""
    return f"{kept}; {trend}{many[2]} disagree."


def plateaus_sight(panels: Sequence[tuple[Predicted, str, float]]) -> str:
    """What plateaus show: how many published best vacuums are about as good as the model's best."""
    inside = 0
    for made, name, published in panels:
        vacuums, lost = lost_quality(made, name)
        at = np.interp(np.log(published), np.log(vacuums), np.median(lost, axis=1))
        inside += bool(at <= FLAT)
    return (
        f"{inside} of {len(panels)} published best vacuums meet the curve in the grey band, within "
        f"{100 * FLAT:g} pp of the best."
    )


def _height(outcomes: Sequence[Outcome]) -> float:
    """Height of a panel with its axis. [in]"""
    return CLOSE * len(outcomes) + UNDER


def _columns(by_measure: Mapping[str, Sequence[Outcome]]) -> list[list[tuple[str, Levels]]]:
    """Panels in one or two columns that fit a page, as low as possible; others are left out."""
    kept, rows = {}, MOST_ROWS
    for measure, outcomes in by_measure.items():
        if rows > 0:
            kept[measure] = outcomes[:rows]
            rows -= len(kept[measure])
    many = sum(map(len, kept.values()))
    for height in np.linspace(COLUMN / 4, COLUMN, 20):
        columns = _filled(kept, float(height))
        if sum(len(outcomes) for column in columns for _, outcomes in column) == many:
            break
    return columns


def _filled(
    by_measure: Mapping[str, Sequence[Outcome]], height: float
) -> list[list[tuple[str, Levels]]]:
    """Panels in one or two columns of a height [in]; panels without room are left out."""
    columns: list[list[tuple[str, Levels]]] = [[]]
    left = height
    for measure, outcomes in by_measure.items():
        rest = list(outcomes)
        while rest:
            if columns[-1] and _height(rest) > left:
                if len(columns) == MOST_COLUMNS:
                    return columns
                columns.append([])
                left = height
            fits = rest[: max(int((left - UNDER) / CLOSE + 1e-9), 1)]
            columns[-1].append((measure, fits))
            left -= _height(fits)
            rest = rest[len(fits) :]
    return columns


def _called(measure: str) -> str:
    return EXTRAS.get(measure) or measure_name(measure)


@matplotlib.rc_context(STYLE)
def plateaus_figure(found: Evidence) -> Figure | None:
    """Page of quality over vacuum for all published best vacuums; None without any."""
    panels = [
        (made, str(row.stated["of"]), row.number("published"))
        for made in found.predictions
        for row in made.case.rows
        if row.kind == "plateau" and not _lacks_quality(made, str(row.stated["of"]))
    ]
    if not panels:
        return None
    total, panels = len(panels), panels[:MOST_PANELS]
    rows = (len(panels) + 1) // 2
    sight = plateaus_sight(panels)
    marks = "line and shade: median and 90 % of draws; dotted: 1 pp (percentage point)"
    left = f"; the first {len(panels)} of {total}" if len(panels) < total else ""
    said = [_foot(found, marks + left)]
    foot, head = 0.7 + caption_height(said), sight_height(sight)
    figure = new_page(2.25 * rows + TOP + foot + head)
    tall = figure.get_figheight()
    grid = figure.add_gridspec(
        rows, 2, left=0.1, right=0.98, top=1 - (TOP + head) / tall, bottom=foot / tall, hspace=0.5
    )
    for k, (made, name, published) in enumerate(panels):
        ax = figure.add_subplot(grid[k // 2, k % 2])
        draw_plateau(ax, made, name, published)
        if k % 2:
            ax.set_ylabel("")
    headline(
        figure,
        "Normal spacings below their best, over vacuum; dashed: the published best vacuum",
        sight,
    )
    caption(figure, said)
    return figure


def _lacks_quality(made: Predicted, name: str) -> bool:
    """Whether a run of a varied condition has no quality of feed."""
    values = [made.values[c.name]["per_spacing.quality"] for _, c in made.case.along(name)]
    return bool(np.isnan([one[:, 0] for one in values]).any())


def _foot(found: Evidence, said: str) -> str:
    parts = (f"metersim {__version__}", f"{found.draws} draws, random seed {found.seed}", said)
    return " | ".join(filter(None, parts))
