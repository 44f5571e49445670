"""Page of a day behind one lens: the monitor's skips and counts, beside the row's."""

from __future__ import annotations

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from metersim.questions.run.day import Day, brushings
from metersim.questions.run.daytext import share
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    origin_line,
    sight_height,
)
from metersim.questions.shared.style import (
    BOLD,
    DASHED,
    DOTTED,
    FINE,
    INK,
    STROKE,
    WARM,
    WHITE,
)
from metersim.questions.shared.words import shown

CLOSE = 0.005  # skips that the monitor may show beyond those of the row, or leave out


def day_sight(day: Day) -> str:
    """What a day shows: whether the monitor's skips are those of the row."""
    worst = day.worst
    seen, there = share(worst.monitor), share(worst.skips)
    if abs(worst.monitor - worst.skips) < CLOSE:
        return f"the monitor shows what the row has all day: {there} skips."
    why = "the rest is dust on the lens" if worst.monitor > worst.skips else "it misses the rest"
    return f"after {worst.time:g} h the monitor shows {seen} skips, the row has {there}; {why}."


def sawtooth(day: Day, name: str) -> tuple[list[float], list[float]]:
    """Times and values of a property of the hours, with the drop at each brushing."""
    points = [(one.time, getattr(one, name)) for one in day.hours]
    clean = [(time, getattr(day.clean, name)) for time in brushings(day.scenario)]
    times, values = zip(*sorted([*points, *clean], key=lambda point: point[0]), strict=True)
    return list(times), list(values)


@matplotlib.rc_context(STYLE)
def draw_day(axes: list[Axes], day: Day, units: str = "metric") -> None:
    """Draw skips by the monitor and of the row, and below the seeds counted and placed."""
    upper, lower = axes
    symbol = shown("per_area", 1.0, units)[1]
    panels = (
        (upper, "monitor", "skips", lambda x: 100 * x, "skips [%]"),
        (
            lower,
            "counted",
            "placed",
            lambda x: shown("per_area", x, units)[0] / 1e3,
            f"seeds [1,000 {symbol}]",
        ),
    )
    for ax, seen, true, scale, name in panels:
        times, values = sawtooth(day, seen)
        ax.plot(times, [scale(x) for x in values], color=WARM, lw=STROKE, ls=DASHED)
        hours = [one.time for one in day.hours]
        marks = [scale(getattr(one, seen)) for one in day.hours]
        ax.plot(hours, marks, "o", mfc=WHITE, mec=WARM, ms=4.5, label="by the monitor")
        ax.plot(hours, [scale(getattr(one, true)) for one in day.hours], color=INK, lw=BOLD)
        ax.plot([], [], color=INK, lw=BOLD, label="in the row")
        ax.set_ylim(0, 1.12 * max(*marks, scale(getattr(day.hours[0], true)), 1e-3))
        ax.set_ylabel(name)
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
    lower.plot(
        [0, day.hours[-1].time],
        [shown("per_area", day.planned, units)[0] / 1e3] * 2,
        color=INK,
        lw=FINE,
        ls=DOTTED,
    )
    upper.tick_params(axis="x", labelbottom=False)
    lower.set_xlabel("hours of work")
    upper.plot([], [], color=INK, lw=FINE, ls=DOTTED, label="planned")
    upper.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3, borderaxespad=0.2)


@matplotlib.rc_context(STYLE)
def day_figure(day: Day, units: str = "metric") -> Figure:
    """One page on a day behind one lens.

    Parameters
    ----------
    day : Day
        The day.
    units : {'metric', 'us'}
        Seeds on a hectare or on an acre.

    Returns
    -------
    Figure
        7.5 in wide, about 6 in high.
    """
    length_units(units)  # refuses unknown units
    lens, worst = day.scenario.sensor, day.worst
    said = [
        f"The lens is brushed every {lens.brushed_every:g} h. Dust moves what the monitor shows, "
        "not the row nor the seed used.",
        origin_line([worst.measured.origin], units),
    ]
    sight = day_sight(day)
    foot = 0.3 + caption_height(said)
    height = foot + 5.4 + sight_height(sight)
    figure = new_page(height)
    headline(figure, f"{day.scenario.title}: the monitor and the row", sight)
    boxes = [(0.9 / 7.5, (foot + low) / height, 6.3 / 7.5, 1.9 / height) for low in (2.8, 0.55)]
    draw_day([figure.add_axes(box) for box in boxes], day, units)
    caption(figure, said)
    return figure
