"""Page of one pass of a machine: its rows, a piece of the field, and the start."""

from __future__ import annotations

from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from metersim.measures.rows import measure_pass
from metersim.questions.run.machinetext import rows_text
from metersim.questions.shared.answer import told
from metersim.questions.shared.machinepicture import (
    SENTENCES,
    draw_field,
    draw_rows,
    draw_start,
    draw_vacuum,
)
from metersim.questions.shared.notes import level_text, settings_text
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
from metersim.questions.shared.sights import pass_sight
from metersim.run.rows import Pass


@matplotlib.rc_context(STYLE)
def pass_figure(done: Pass, units: str = "metric") -> Figure:
    """One page on one pass: rows with their vacuum, a piece of the field, and the start.

    Parameters
    ----------
    done : Pass
        The pass.
    units : {'metric', 'us'}
        Metric or US units.

    Returns
    -------
    Figure
        7.5 in wide; higher with more rows.  The start is drawn where discs start empty.
    """
    length_units(units)  # refuses unknown units
    found = measure_pass(done)
    starts = done.scenario.travel.start == "empty" or found.start.turns > 0
    many = done.scenario.toolbar.rows
    tall = [min(max(0.19 * many, 1.1), 4.6), min(max(0.22 * many, 1.1), 4.6)]
    whole = found.whole
    counted = ", ".join(
        f"{name} {told('share', whole[key])[0]}"
        for key, name in (("cells.skip", "skips"), ("cells.double", "doubles"))
    )
    sight = pass_sight(found, units)
    said = [
        *(SENTENCES[part] for part in ("rows", "vacuum", "field")),
        *([SENTENCES["start"]] if starts else []),
        f"{rows_text(done.scenario)}; {settings_text([done.scenario], units)}",
        origin_line([_origin(done)], units),
    ]
    foot = 0.3 + caption_height(said)
    gap, top = 0.95, 0.75 + sight_height(sight)
    height = foot + top + sum(tall) + gap + 0.5 + (gap + 2.0 if starts else 0.0)
    figure = new_page(height)
    headline(figure, f"{done.scenario.title}: one pass of one machine", sight)

    def axes(left: float, bottom: float, width: float, high: float) -> Axes:
        made: Axes = figure.add_axes((left / 7.5, bottom / height, width / 7.5, high / height))
        return made

    bottom = height - top - tall[0]
    first = axes(0.7, bottom, 2.05, tall[0])
    first.set_title(f"Rows: {counted}; bars are {level_text(found.level)}s")
    draw_rows(first, found, "cells.skip", "skips")
    draw_rows(axes(3.05, bottom, 2.05, tall[0]), found, "cells.double", "doubles", False)
    draw_vacuum(axes(5.4, bottom, 1.8, tall[0]), found, units)
    bottom -= gap + tall[1]
    field = axes(0.7, bottom, 6.5, tall[1])
    rings, squares = draw_field(field, done, units)
    field.set_title("A piece of the field, travel to the right")
    field.legend(
        [rings, squares],
        ["skip", "double"],
        loc="lower right",
        bbox_to_anchor=(1.0, 0.98),
        ncols=2,
        borderaxespad=0.2,
    )
    if starts:
        bottom -= gap + 2.0
        strips = [axes(0.7, bottom + 1.1, 6.5, 0.85), axes(0.7, bottom, 6.5, 0.85)]
        draw_start(strips, found, units)
        strips[0].set_title("The start, all working rows")
    caption(figure, said)
    return figure


def _origin(done: Pass) -> Any:
    """Origin of a pass, as lines of a page take it."""
    return done.rows[0].run.origin
