"""The style sheet of all figures and pages: colours, letters, lines, hatches; nothing is drawn.

No module of a figure has a colour, a size of letters, a dash, a width of lines or a hatch of its
own.  Colours are Okabe and Ito's set, with lines and hatches that differ, too: every figure can be
read in grey.
"""

from __future__ import annotations

from typing import Any

from metersim.measures.spacing import CLASS_BOUNDS

WHITE = "#ffffff"
INK = "#222222"  # words, and lines that matter
QUIET = "#555555"  # words beside what matters
PALE = "#8a8a8a"  # minor lines and marks
GREY = "#cfcfcf"  # bars and bands
SHADE = "#e4e4e4"  # ground of what is absent
FAINT = "#f4f4f4"  # ground of a part of a page
BLUE, SKY, AMBER, WARM = "#0072B2", "#56B4E9", "#E69F00", "#D55E00"
GREEN, ROSE = "#009E73", "#CC79A7"
BLUE_FILL, WARM_FILL = "#b8cfe0", "#f3c9ac"  # pale, also in grey, so that lines are visible on them
POOL = "#dcd3c3"  # seeds in the pool
SCALE = "cividis"  # colours of a map: even steps in lightness, so that it can be read in grey

TITLE, LARGE, SMALL = 12.0, 10.5, 9.0  # letters of a page: its title, heads and sight, words; pt
SLIDE_TITLE, SLIDE, SLIDE_HEAD, SLIDE_SMALL = 24.0, 18.0, 15.0, 13.0  # of a projected page; pt
WALL_TITLE, WALL_VALUE, WALL_HEAD, WALL = 18.0, 22.0, 12.0, 11.0  # of a page for a wall; pt
DENSE_TITLE, DENSE_HEAD, DENSE, DENSE_SMALL = 11.4, 9.5, 7.6, 6.4  # of a page of reasons; pt

HAIR, FINE, STROKE, BOLD, HEAVY = 0.6, 0.9, 1.2, 1.6, 2.2  # widths of lines; pt
SOLID, DASHED, DOTTED, MIXED = "-", (0, (4, 2)), ":", "-."
LONG_DASHED, DASH_DOT_DOT = (0, (7, 1.5)), (0, (3, 1, 1, 1, 1, 1))
SLANTED, CROSSED, DOTS = "////", "xxx", "...."

CLASSES = {  # class: colour, hatch, first and last bound in references
    "multiple": (SKY, SLANTED, 0.0, CLASS_BOUNDS[0]),
    "normal": (BLUE, "", CLASS_BOUNDS[0], CLASS_BOUNDS[1]),
    "miss": (AMBER, CROSSED, CLASS_BOUNDS[1], 3.75),
}
CALLED = {"multiple": "close", "normal": "normal", "miss": "missed"}
"""Classes as figures name them."""
SERIES: tuple[tuple[str, Any, str], ...] = (  # colour, line, hatch
    (BLUE, SOLID, ""),
    (WARM, DASHED, SLANTED),
    (QUIET, DOTTED, DOTS),
    (GREEN, MIXED, ""),
    (ROSE, LONG_DASHED, ""),
    (AMBER, DASH_DOT_DOT, ""),
)
CSS = {  # name of a variable in style sheets of pages: its value
    "--ink": INK,
    "--pale": PALE,
    "--warm": WARM,
    **{f"--series-{k}": colour for k, (colour, _, _) in enumerate(SERIES, 1)},
    **{f"--{name}": look[0] for name, look in CLASSES.items()},
}

CENTRED: dict[str, Any] = {"ha": "center", "va": "center"}
ABOVE: dict[str, Any] = {"ha": "center", "va": "bottom"}
PLATE = {"fc": WHITE, "ec": "none", "pad": 0.8, "alpha": 0.85}  # behind words over a hatch
OWN: dict[str, Any] = {  # settings of matplotlib in place of its own
    "font.size": SMALL,  # size 'medium' of matplotlib
    "axes.titleweight": "bold",
    "axes.titlesize": LARGE,
    "axes.titlelocation": "left",
    **dict.fromkeys(("axes.edgecolor", "axes.labelcolor", "xtick.color", "ytick.color"), INK),
    "axes.formatter.useoffset": False,
    "hatch.linewidth": HAIR,
    "legend.frameon": False,
    "text.color": INK,
    "text.parse_math": False,
    "svg.hashsalt": "metersim",
}
