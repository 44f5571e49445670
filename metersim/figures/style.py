"""How pictures look, and what they share."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from numpy.typing import NDArray

from metersim.spacing import (
    CLASS_BOUNDS,
)
from metersim.units import UNITS, Unit

LARGE, SMALL = 9.5, 8.0  # pt
INK, PALE, WARM = "#222222", "#8a8a8a", "#D55E00"
CLASSES = {  # class: colour (Okabe & Ito's set), hatch, first and last bound in references
    "multiple": ("#56B4E9", "////", 0.0, CLASS_BOUNDS[0]),
    "normal": ("#0072B2", "", CLASS_BOUNDS[0], CLASS_BOUNDS[1]),
    "miss": ("#E69F00", "xxx", CLASS_BOUNDS[1], 3.75),
}
CENTRED: dict[str, Any] = {"ha": "center", "va": "center"}
ABOVE: dict[str, Any] = {"ha": "center", "va": "bottom"}
PLATE = {"fc": "white", "ec": "none", "pad": 0.8, "alpha": 0.85}  # behind words over a hatch
SERIES: tuple[tuple[str, Any, str], ...] = (
    ("#0072B2", "-", ""),
    (WARM, "--", "////"),
    ("#555555", ":", "...."),
    ("#009E73", "-.", ""),
    ("#CC79A7", (0, (7, 1.5)), ""),
    ("#E69F00", (0, (3, 1, 1, 1, 1, 1)), ""),
)
EDGES = np.arange(36) / 10  # bounds of the histogram's bins in references
OVERFLOW = 3.6  # where spacings beyond the last bound are gathered
UNSET = {"backend", "backend_fallback", "interactive", "toolbar", "timezone"}
STYLE: dict[Any, Any] = {
    **{key: value for key, value in matplotlib.rcParamsDefault.items() if key not in UNSET},
    "font.size": SMALL,  # what is called medium; titles are large, 1.2 times that
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.edgecolor": INK,
    "axes.formatter.useoffset": False,
    "legend.frameon": False,
    "hatch.linewidth": 0.6,
    "text.parse_math": False,
    "svg.hashsalt": "metersim",
}


def length_units(units: str) -> tuple[Unit, Unit]:
    """Units for lengths along the row and on the machine."""
    if units not in ("metric", "us"):
        raise ValueError(f"units is {units!r}; allowed: 'metric', 'us'")
    return (UNITS["cm"], UNITS["mm"]) if units == "metric" else (UNITS["in"], UNITS["in"])


def percent(share: float) -> str:
    """A share in percent, as printed."""
    return "no value" if math.isnan(share) else f"{share:.1%}".replace("%", " %")


def telling(released: NDArray[np.int8], length: int, step: int, margin: int) -> int:
    """First start of a window with both a skip and a double inside, else with either, else 0."""
    starts = np.arange(0, max(released.size - length, 0) + 1, step)
    low = starts + margin
    high = np.minimum(starts + length, released.size) - margin
    kinds = np.zeros(starts.size, dtype=np.int64)
    for odd in (released == 0, released == 2):
        total = np.append(0, np.cumsum(odd))
        kinds += total[high] > total[low]
    return int(starts[np.argmax(kinds)])


def events_in(released: NDArray[np.int8]) -> str:
    """How many skips, doubles and triples cells released, in words."""
    none, one, two = (int((released == many).sum()) for many in range(3))
    kinds = ((none, "skip"), (two, "double"), (released.size - none - one - two, "triple"))
    words = [f"{many} {word}{'s' * (many > 1)}" for many, word in kinds if many]
    return ", ".join(words) or "one seed from every cell"
