"""One name for the picture of any result."""

from __future__ import annotations

from functools import singledispatch

from matplotlib.figure import Figure

from metersim.figures.page import comparison_figure, run_figure
from metersim.figures.sweep import sweep_figure
from metersim.records import Run
from metersim.studies.compare import Comparison
from metersim.studies.response import Response


@singledispatch
def draw(result: object, units: str = "metric") -> Figure:
    """Draw a result on a page, which a notebook shows.

    Parameters
    ----------
    result : Run, Comparison or Response
        Of `simulate`, of `compare` with ``keep=True``, or of `respond`.
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
        "compare(..., keep=True), or what respond makes of a sweep"
    )


draw.register(Run, run_figure)
draw.register(Comparison, comparison_figure)
draw.register(Response, sweep_figure)
