"""Drawing of the spacings of a row as a histogram."""

from __future__ import annotations

from functools import partial
from operator import mul
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike

from metersim.questions.shared.page import STYLE, length_units, percent, spacing_axis
from metersim.questions.shared.picture import EDGES, OVERFLOW, binned
from metersim.questions.shared.style import (
    ABOVE,
    CALLED,
    CLASSES,
    DASHED,
    FINE,
    HAIR,
    INK,
    LARGE,
    WHITE,
)


@matplotlib.rc_context(STYLE)
def draw_spacings(
    ax: Axes, spacings: ArrayLike, reference: float, units: str = "metric"
) -> list[Any]:
    """Histogram of spacings with the classes of ISO 7256-1 and the share of each.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    spacings : array_like, shape (n,)
        Spacings. [m]
    reference : float
        Nominal spacing, above 0. [m]
    units : {'metric', 'us'}
        Unit of the upper axis: cm or in.

    Returns
    -------
    list of Rectangle
        36 bars: tenths of the reference, then all spacings beyond 3.5 references.

    Raises
    ------
    ValueError
        As `metersim.measures.spacing.classify`, or for unknown units.
    """
    along, _ = length_units(units)
    counts, index = binned(spacings, reference)
    shares = {"multiple": index.multiple, "normal": index.quality, "miss": index.miss}
    top = max(int(counts.max()), 1)
    centres = np.append(EDGES[:-1] + 0.05, OVERFLOW)
    bars: list[Any] = []
    for name, (colour, hatch, low, high) in CLASSES.items():
        inside = (centres > low) & (centres < high)
        bars += ax.bar(
            centres[inside], counts[inside], 0.1, fc=colour, hatch=hatch, ec=WHITE, lw=HAIR
        )
        ax.axvspan(low, high, color=colour, alpha=0.13, lw=0, zorder=0)
        ax.axvline(low, color=INK, lw=HAIR, zorder=0.5)
        said = f"{CALLED[name]}\n{percent(shares[name])}"
        ax.text((low + high) / 2, 1.42 * top, said, fontsize=LARGE, linespacing=1.3, **ABOVE)
    ax.plot([1, 1], [0, 1.1 * top], color=INK, lw=FINE, ls=DASHED)
    nominal = f"nominal {along.from_si(reference):.3g} {along.symbol}"
    ax.text(1, 1.12 * top, nominal, **ABOVE)
    if counts[-1]:
        said = f"{counts[-1]} beyond 3.5"
        ax.text(OVERFLOW + 0.05, counts[-1] + 0.03 * top, said, ha="right", va="bottom")
    if not index.spacings:
        ax.text(2.5, 0.5 * top, "no spacing: fewer than two seeds", ha="center", fontsize=LARGE)
    ax.set_ylim(0, 1.95 * top)
    ax.set_yticks([tick for tick in ax.get_yticks() if tick <= 1.1 * top and tick == int(tick)])
    ax.set_ylabel("spacings per step\nof 0.1 nominal [count]")
    spacing_axis(ax)
    scale = reference / along.factor
    upper = ax.secondary_xaxis("top", functions=(partial(mul, scale), partial(mul, 1 / scale)))
    upper.set_xlabel(f"spacing [{along.symbol}]")
    ax.set_title(f"{index.spacings:,} spacings between neighbouring seeds")
    return bars
