"""One name for the picture of any result."""

from __future__ import annotations

from functools import singledispatch

from matplotlib.figure import Figure

from metersim.figures.habits import habits_figure
from metersim.figures.ladder import ladder_figure
from metersim.figures.measured import measured_figure
from metersim.figures.next import next_figure
from metersim.figures.page import comparison_figure, run_figure
from metersim.figures.sheet import sheet_figure
from metersim.figures.sweep import sweep_figure
from metersim.records import Run
from metersim.studies.compare import Comparison
from metersim.studies.counting.ladder import Ladder
from metersim.studies.diagnosing.next import NextMove
from metersim.studies.measured import Counted
from metersim.studies.operating.habits import Habits
from metersim.studies.response import Response
from metersim.studies.starting.sheet import Sheet


@singledispatch
def draw(result: object, units: str = "metric") -> Figure:
    """Draw a result on a page, which a notebook shows.

    Parameters
    ----------
    result : Run, Comparison, Response, Ladder, NextMove, Habits, Sheet or Counted
        Of `simulate`, of `compare` with ``keep=True``, of `respond`, or of the function of its
        name: `ladder`, `next_move`, `habits`, `sheet`, `measured`.
    units : {'metric', 'us'}
        Units of what is drawn.

    Returns
    -------
    Figure
        Of matplotlib; `metersim.figures.save` writes it.

    Raises
    ------
    TypeError
        For anything else.

    Examples
    --------
    >>> import metersim as m
    >>> page = m.draw(m.simulate(m.load_scenario("maize_bench", ["speed_kmh=5"]), seed=3))
    >>> f"{page.get_figwidth():g} in by {page.get_figheight():g} in"
    '7.5 in by 10 in'
    """
    raise TypeError(
        f"{type(result).__name__} has no picture; draw a run of simulate, a comparison of "
        "compare(..., keep=True), what respond makes of a sweep, or what ladder, next_move, "
        "habits, sheet or measured give"
    )


draw.register(Run, run_figure)
draw.register(Comparison, comparison_figure)
draw.register(Response, sweep_figure)
draw.register(Ladder, ladder_figure)
draw.register(Sheet, sheet_figure)
draw.register(Counted, measured_figure)
draw.register(Habits, habits_figure)
draw.register(NextMove, next_figure)
