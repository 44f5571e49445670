"""Pictures of runs: the row, the disc, the spacings, and how runs differ.

The only place that imports matplotlib, and only its object interface.  Every `draw_` function
takes axes and returns the artists that carry the data; `run_figure`, `comparison_figure`,
`sweep_figure` and their like compose pages, and `draw` whichever a result needs; `save` writes
them.  Equal runs give equal bytes, whatever the user's settings.
"""

from metersim.figures.disc import draw_disc
from metersim.figures.drawing import draw
from metersim.figures.evidence import levels_figure, plateaus_figure
from metersim.figures.habits import habit_paths_figure, habits_figure
from metersim.figures.ladder import draw_rungs, ladder_figure
from metersim.figures.measured import draw_measured, measured_figure
from metersim.figures.next import draw_causes, draw_gains, next_figure
from metersim.figures.page import comparison_figure, encoded, run_figure, save
from metersim.figures.responses import draw_curves, draw_map, draw_panel
from metersim.figures.row import draw_row
from metersim.figures.sheet import sheet_figure
from metersim.figures.spacings import draw_comparison, draw_differences, draw_spacings
from metersim.figures.sweep import sweep_figure

__all__ = [
    "comparison_figure",
    "draw",
    "draw_causes",
    "draw_comparison",
    "draw_curves",
    "draw_differences",
    "draw_disc",
    "draw_gains",
    "draw_map",
    "draw_measured",
    "draw_panel",
    "draw_row",
    "draw_rungs",
    "draw_spacings",
    "encoded",
    "habit_paths_figure",
    "habits_figure",
    "ladder_figure",
    "levels_figure",
    "measured_figure",
    "next_figure",
    "plateaus_figure",
    "run_figure",
    "save",
    "sheet_figure",
    "sweep_figure",
]
