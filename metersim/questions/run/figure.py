"""Page of one run: spacings, a piece of the row, and the disc."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from metersim.files.units import UNITS, hole_text
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.measures.estimates import measure
from metersim.measures.observed import observed_spacings
from metersim.questions.run.day import Day, day_of
from metersim.questions.run.dayfigure import day_figure
from metersim.questions.run.machinefigure import pass_figure
from metersim.questions.shared.discpicture import disc_text, draw_counts, draw_disc, explain_marks
from metersim.questions.shared.notes import notes
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
from metersim.questions.shared.rowpicture import draw_row
from metersim.questions.shared.sights import run_sight
from metersim.questions.shared.spacingpicture import draw_spacings
from metersim.run.records import Run
from metersim.run.rows import Pass
from metersim.run.simulation import simulate
from metersim.run.snapshot import snapshot, telling_moment
from metersim.run.toolbar import simulate_pass


def _settings(run: Run, units: str) -> tuple[str, ...]:
    """Lines with the settings of a run."""
    s = run.scenario
    us = units == "us"
    vacuum, speed = UNITS["inh2o" if us else "kpa"], UNITS["mph" if us else "kmh"]
    return (
        f"lot {s.lot.name}",
        f"{s.disc.cells} cells, holes {hole_text(s.disc.hole_diameter, units)}",
        f"vacuum {vacuum.from_si(s.vacuum.vacuum):.3g} {vacuum.symbol}",
        f"notch {s.singulator.notch:g}",
        f"{speed.from_si(s.demand.speed):.3g} {speed.symbol}, {s.furrow.surface}",
    )


Box = tuple[float, float, float, float]


@matplotlib.rc_context(STYLE)
def run_figure(run: Run, units: str = "metric", time: float | None = None) -> Figure:
    """One page on one run: spacings, a piece of the row, the disc at a moment, and its origin.

    Parameters
    ----------
    run : Run
        The run.
    units : {'metric', 'us'}
        Lengths in cm and mm, or in inches.
    time : float, optional
        The moment of the disc, 0 or more; by default one with an empty cell and a double on the
        disc, if there is one. [s]

    Returns
    -------
    Figure
        7.5 in wide, 10 in high, and higher with notes.

    Raises
    ------
    ValueError
        For a moment before the start.
    """
    length_units(units)  # refuses unknown units
    shown = snapshot(run, telling_moment(run) if time is None else time)
    noted = [f"note: {note}" for note in notes(measure(run), units)]
    settings = "; ".join(_settings(run, units))
    said = [disc_text(shown), settings, *noted, origin_line([run], units)]
    sight = run_sight(run)
    foot = 0.3 + caption_height(said)  # in
    height = foot + 9.226 + sight_height(sight)

    def box(left: float, bottom: float, width: float, tall: float) -> Box:
        """Place of axes on the page, from inches over the foot."""
        return left / 7.5, (foot + bottom) / height, width / 7.5, tall / height

    figure = new_page(height)
    headline(figure, f"{run.scenario.title}: one run of one machine", sight)
    draw_spacings(
        figure.add_axes(box(0.85, 6.15, 6.45, 2.1)),
        observed_spacings(run),
        run.scenario.spacing,
        units,
    )
    draw_row(figure.add_axes(box(0.85, 4.63, 6.45, 0.8)), run, units=units)
    draw_disc(figure.add_axes(box(0.12, 0.5, 4.8, 3.4)), run, shown, units)
    strips = [figure.add_axes(box(5.2, 2.95 - 0.97 * k, 2.1, 0.6)) for k in range(3)]
    draw_counts(strips, shown)
    explain_marks(figure, (0.02, (foot + 0.42) / height))
    caption(figure, said)
    return figure


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of every shipped scenario."""
    for name, path in shipped_scenarios().items():
        scenario = load_scenario(path)
        if scenario.is_toolbar:
            yield name, pass_figure(simulate_pass(scenario, seed=1))
        elif scenario.sensor.day > 0:
            yield name, day_figure(day_of(scenario, seed=1))
        else:
            yield name, run_figure(simulate(scenario, seed=1))


PAGES: dict[type, Any] = {Run: run_figure, Pass: pass_figure, Day: day_figure}
