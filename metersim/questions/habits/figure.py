"""Figures of the results of habits for a projector: large letters, few marks."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from metersim.machine.reading import load_scenario
from metersim.measures.intervals import Estimate
from metersim.questions.habits.study import Habits, habits
from metersim.questions.habits.text import bad, winners
from metersim.questions.habits.trials import LEAST_CHANGE, Trial
from metersim.questions.shared.answer import told
from metersim.questions.shared.page import STYLE, Page, wrapped
from metersim.questions.shared.style import (
    BLUE,
    DASHED,
    FINE,
    GREY,
    HEAVY,
    INK,
    PALE,
    QUIET,
    SERIES,
    SHADE,
    SLIDE,
    SLIDE_HEAD,
    SLIDE_SMALL,
    SLIDE_TITLE,
    WARM,
    WHITE,
)

SIZE = (13.333, 7.5)  # in; 16:9
LETTERS = 94  # of a line of what to see
ASIDE = 0.12  # notches between paths, so that none hides another
LONGEST = 17  # letters in a line of a name
PANELS = {  # left end and width of each panel
    "reached": (0.205, 0.275),
    "spent": (0.51, 0.14),
    "named": (0.68, 0.13),
    "worse": (0.845, 0.13),
}


@matplotlib.rc_context(STYLE)
def habits_figure(result: Habits, units: str = "metric") -> Figure:
    """One page on habits: skips and doubles, effort, named causes, and worse results.

    Parameters
    ----------
    result : Habits
        Results to draw.
    units : {'metric', 'us'}
        Taken as for other pictures; nothing here has a unit of length.

    Returns
    -------
    Figure
        16:9, to be projected.
    """
    names = list(result.habits)
    title = textwrap.shorten(result.scenario.title, 60, placeholder=" ...")
    figure = _slide(
        "Which habit sets a meter best?",
        habits_sight(result),
        f"{title}: {result.meters:,} meters with hidden causes, the same for every habit.",
        "Diamonds: best, or not distinguished from it; their cost is beside them. Lines: 90 % "
        f"intervals. Worse: by more than {100 * LEAST_CHANGE:g} percentage points.",
        result,
    )
    made = {key: figure.add_axes((x, 0.175, w, 0.535)) for key, (x, w) in PANELS.items()}
    for ax in made.values():
        _rows(ax, len(names))
    draw_reached(made["reached"], result)
    draw_bars(made["spent"], [result.mean("seeds", name).value for name in names], "{:,.0f}")
    for key in ("named", "worse"):
        draw_shares(made[key], [result.share(key, name) for name in names])
    for row, name in enumerate(names):
        made["reached"].text(
            -0.03,
            row,
            textwrap.fill(name, LONGEST),
            transform=made["reached"].get_yaxis_transform(),
            ha="right",
            va="center",
            fontsize=SLIDE,
        )
    heads = {
        "reached": "Skips and doubles, %",
        "spent": "Seeds counted",
        "named": "Cause named, %",
        "worse": "Ended worse, %",
    }
    for key, head in heads.items():
        made[key].set_title(head, fontsize=SLIDE_HEAD, loc="left", pad=28)
    return figure


@matplotlib.rc_context(STYLE)
def habit_paths_figure(result: Habits, units: str = "metric") -> Figure:
    """Page with the notch of each habit, look by look, on up to three meters.

    Parameters
    ----------
    result : Habits
        Results to draw.
    units : {'metric', 'us'}
        Taken as for other pictures; nothing here has a unit of length.

    Returns
    -------
    Figure
        16:9, to be projected.
    """
    names = list(result.habits)
    numbers = example_meters(result)
    figure = _slide(
        "What did each habit do?",
        paths_sight(result, numbers),
        "Notch of the same few meters, away from the scenario's, look by look.",
        "Hollow: last look. Level: vacuum moved, or nothing. Grey: right if all else is.",
        result,
    )
    across = min(len(names), 3)
    down = math.ceil(len(names) / across)
    wide, high = 0.92 / across, 0.65 / down
    places = [_place(trial) for name in names for trial in _trials(result, name, numbers)]
    notches = [notch for one in places for notch in one]
    most = max(len(one) for one in places)
    for k, name in enumerate(names):
        row, column = divmod(k, across)
        box = (0.075 + column * wide, 0.175 + (down - 1 - row) * high, wide - 0.045, high - 0.12)
        ax = figure.add_axes(box)
        draw_paths(ax, result, name, numbers)
        ax.set_title(name, fontsize=SLIDE, loc="left")
        ax.set_xlim(0.6, most + 0.4)
        ax.set_ylim(min(*notches, -1) - 0.5, max(*notches, 1) + 0.5)
        ax.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        ax.xaxis.set_major_locator(MaxNLocator(6, integer=True))
        ax.tick_params(labelsize=SLIDE_SMALL, labelbottom=k + across >= len(names))
        if k + across >= len(names):
            ax.set_xlabel("look", fontsize=SLIDE_SMALL, labelpad=1)
        if not column:
            ax.set_ylabel("notches", fontsize=SLIDE_SMALL)
    return figure


def draw_paths(ax: Axes, result: Habits, name: str, numbers: list[int]) -> list[Any]:
    """Draw the notch of some meters at each look of one habit.

    Returns
    -------
    list of Line2D
        Path of each meter, in notches from that of the scenario.
    """
    ax.axhline(0, color=GREY, linewidth=3 * HEAVY, zorder=0)
    for side in ("right", "top"):
        ax.spines[side].set_visible(False)
    lines = []
    for k, trial in enumerate(_trials(result, name, numbers)):
        (colour, dash, _), marker = SERIES[k], "o^s"[k]
        notch = [at + ASIDE * (1 - k) for at in _place(trial)]
        looks = range(1, len(notch) + 1)
        lines += ax.plot(looks, notch, color=colour, linestyle=dash, linewidth=HEAVY, marker=marker)
        lines[-1].set_markersize(7)
        ax.plot(len(notch), notch[-1], marker, color=colour, mfc=WHITE, mew=HEAVY, markersize=12)
    return lines


def example_meters(result: Habits) -> list[int]:
    """Numbers of up to three meters: those farthest off on each side, and one without offset."""
    trials = next(iter(result.trials.values()))
    offsets = [trial.meter.offset for trial in trials]
    wanted = dict.fromkeys((max(offsets), 0, min(offsets)))
    return [offsets.index(offset) for offset in wanted if offset in offsets]


def _trials(result: Habits, name: str, numbers: list[int]) -> list[Trial]:
    return [result.trials[name][number] for number in numbers]


def _place(trial: Trial) -> list[int]:
    """Notch at each look and at the end, from that of the scenario."""
    return [trial.meter.offset + one.settings.get("notch", 0) for one in trial.seen]


def habits_sight(result: Habits) -> str:
    """What habits show: the best of them, what it leaves, and what it costs."""
    first, *others = winners(result)
    end, start = (
        told("share", one)[0] for one in (bad(result, first), bad(result, first, "start_single"))
    )
    said = (
        f"'{first}' leaves fewest skips and doubles, {end} of cells from {start}, after "
        f"{result.mean('seeds', first).value:,.0f} seeds counted"
    )
    if others:
        alike = ", ".join(f"'{name}'" for name in others)
        return f"{said}; not distinguished from it: {alike}."
    return f"{said}; every other habit leaves more."


def paths_sight(result: Habits, numbers: list[int]) -> str:
    """What paths show: which habit ends at the right notch most often, and which least often."""

    def rank(name: str) -> tuple[int, float]:
        paths = [_place(trial) for trial in _trials(result, name, numbers)]
        right = sum(path[-1] == 0 for path in paths)
        return right, -sum(map(len, paths)) / len(paths)

    ranks = {name: rank(name) for name in result.habits}
    best, worst = (pick(ranks, key=lambda name: ranks[name]) for pick in (max, min))
    said = [
        f"'{name}' ends on the grey line on {ranks[name][0]} of {len(numbers)} meters, in "
        f"{-ranks[name][1]:.0f} looks on average"
        for name in dict.fromkeys((best, worst))
    ]
    return f"{'; '.join(said)}."


def _slide(head: str, sight: str, under: str, foot: str, result: Habits) -> Figure:
    """An empty page with its title, what to see, the meaning of marks, and its origin."""
    figure = Page(figsize=SIZE, dpi=144)
    FigureCanvasAgg(figure)
    figure.text(0.025, 0.965, head, fontsize=SLIDE_TITLE, va="top", weight="bold", gid="title")
    lines = "\n".join(wrapped(f"See: {sight}", LETTERS))
    figure.text(0.025, 0.895, lines, fontsize=SLIDE, color=INK, va="top", gid="see")
    origin = ", ".join([result.scenario.name, *result.scenario.changes])
    said = f"{under} metersim | {origin} | random seed {result.seed}"
    said = f"{textwrap.shorten(said, 140, placeholder=' ...')}\n{foot}"
    figure.text(0.025, 0.03, said, fontsize=SLIDE_SMALL, va="bottom", color=INK, gid="caption")
    return figure


def draw_reached(ax: Axes, result: Habits) -> list[Any]:
    """Draw final skips and doubles by habit, with the initial value and marks for leaders.

    Returns
    -------
    list of Line2D
        Dot of each habit, in percent.
    """
    names, leaders = list(result.habits), result.leaders
    found = 100 * bad(result, names[0], "start_single").value
    ax.axvline(found, color=PALE, linestyle=DASHED, linewidth=HEAVY, zorder=1)
    ax.annotate(
        "as found",
        (found, 1),
        xycoords=ax.get_xaxis_transform(),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
        fontsize=SLIDE_SMALL,
        color=QUIET,
    )
    dots = []
    for row, name in enumerate(names):
        one = bad(result, name)
        first = name in leaders
        dots += _dot(ax, row, one, WARM if first else BLUE, "D" if first else "o")
    ends = (bad(result, name).high for name in names)
    most = max([found, *(100 * end for end in ends if not math.isnan(end)), 1.0])
    ax.set_xlim(0, 1.08 * most)
    return dots


def draw_shares(ax: Axes, shares: list[Estimate]) -> list[Any]:
    """Draw shares by row with their intervals, in percent.

    Returns
    -------
    list of Line2D
        Dot of each share.
    """
    dots = []
    for row, share in enumerate(shares):
        dots += _dot(ax, row, share, INK, "s")
    high = [share.high for share in shares if not math.isnan(share.high)]
    ax.set_xlim(0, 100 * max([*high, 0.01]) * 1.08)
    return dots


def draw_bars(ax: Axes, values: list[float], form: str) -> Any:
    """Draw a bar in each row with its value at its end.

    Returns
    -------
    BarContainer
        The bars.
    """
    bars = ax.barh(range(len(values)), values, height=0.5, color=GREY, edgecolor=INK)
    most = max(*values, 1.0)  # all values may be 0, as without vacuum
    for row, value in enumerate(values):
        ax.text(value + 0.03 * most, row, form.format(value), va="center", fontsize=SLIDE_HEAD)
    ax.set_xlim(0, 1.4 * most)
    ax.set_xticks([])
    return bars


def _dot(ax: Axes, row: int, one: Estimate, colour: str, marker: str) -> list[Any]:
    """Draw a dot over the line of its interval."""
    if not math.isnan(one.low):
        ax.plot(
            [100 * one.low, 100 * one.high], [row, row], color=colour, linewidth=2 * HEAVY, zorder=2
        )
    return ax.plot(
        [100 * one.value], [row], marker, color=colour, markersize=13, zorder=3, clip_on=False
    )


def _rows(ax: Axes, many: int) -> None:
    """Set an axis of one row a habit, the first on top, without a frame."""
    ax.set_ylim(many - 0.45, -0.55)
    ax.set_yticks([])
    for row in range(many):
        ax.axhline(row, color=SHADE, linewidth=FINE, zorder=0)
    for side in ("left", "right", "top"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="x", labelsize=SLIDE_HEAD)


def gallery() -> Iterator[tuple[str, Figure]]:
    """Names and pages of the results of habits, and of their paths."""
    tried = habits(load_scenario("maize_field"), meters=200, seed=1)
    yield "habits", habits_figure(tried)
    yield "habit_paths", habit_paths_figure(tried)


PAGES = {Habits: habits_figure}
