"""Figure of measured spacings, their prediction, and fitted cells."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from functools import partial
from operator import mul
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.projections.polar import PolarAxes
from numpy.typing import NDArray

from metersim.machine.reading import load_scenario
from metersim.measures.cellfit import CellFit, fitted_density
from metersim.measures.fold import MISSES, Fold
from metersim.measures.plants import emerged
from metersim.questions.measured.study import Counted, measured
from metersim.questions.shared.page import (
    STYLE,
    caption,
    caption_height,
    headline,
    length_units,
    new_page,
    percent,
    sight_height,
    spacing_axis,
)
from metersim.questions.shared.picture import EDGES, OVERFLOW, binned
from metersim.questions.shared.spacings import MeasuredSpacings, parse_spacings
from metersim.questions.shared.style import (
    ABOVE,
    BLUE_FILL,
    BOLD,
    CALLED,
    CLASSES,
    DASHED,
    FINE,
    HAIR,
    INK,
    LARGE,
    PALE,
    STROKE,
    WARM,
    WHITE,
)
from metersim.questions.shared.words import interval_text, plural, quantity
from metersim.run.simulation import simulate

SHARES = {"multiple": "multiple", "normal": "quality", "miss": "miss"}
WHEELS, WHEEL = 3, 2.6  # discs that are drawn side by side, and their height [in]
OUTWARDS = 0.25  # length of a full bar of doubles, over the radius of the disc
TABLE = (
    ("per_spacing.multiple", "close spacings"),
    ("per_spacing.quality", "normal spacings"),
    ("per_spacing.miss", "missed spacings"),
    ("precision", "spread of normal spacings"),
    ("fit.skip", "skips, fitted"),
    ("fit.double", "doubles, fitted"),
    ("fit.scatter", "scatter of a seed, fitted"),
    ("fit.emergence", "emergence, fitted"),
)


@matplotlib.rc_context(STYLE)
def draw_measured(ax: Axes, found: Counted, units: str = "metric") -> list[Any]:
    """Draw shares of measured spacings by tenths of the nominal one, with outlines of others.

    Parameters
    ----------
    ax : Axes
        Axes to draw on.
    found : Counted
        Measured spacings with their prediction.
    units : {'metric', 'us'}
        Unit of the upper axis: cm or in.

    Returns
    -------
    list of artists
        Bars of measured spacings, steps of the prediction, and the line of a fit if there is one.
    """
    along, _ = length_units(units)
    nominal = found.scenario.spacing
    edges = np.append(EDGES, OVERFLOW + 0.05)
    counts, index = binned(np.concatenate(found.rows), 1.0)
    predicted, others = binned(found.predicted, 1.0)
    shares = 100 * counts / max(index.spacings, 1)
    drawn: list[Any] = [
        ax.stairs(shares, edges, fill=True, fc=BLUE_FILL, ec=WHITE, label="measured", zorder=1)
    ]
    ax.stairs(shares, edges, fc="none", ec=PALE, lw=HAIR, zorder=1.1)
    steps = 100 * predicted / max(others.spacings, 1)
    drawn.append(ax.stairs(steps, edges, ec=INK, lw=BOLD, label="predicted", zorder=3))
    top = max(float(shares.max()), float(steps.max()))
    if found.fit is not None:
        line = 100 * _fitted_shares(found.fit)
        top = max(top, float(line.max()))
        drawn += ax.plot(
            EDGES[:-1] + 0.05,
            line,
            marker="o",
            ls=DASHED,
            color=WARM,
            ms=4,
            lw=STROKE,
            label="fitted cells",
            zorder=4,
        )
    for name, (_, _, low, high) in CLASSES.items():
        ax.axvline(low, color=INK, lw=FINE, zorder=2)
        own = percent(getattr(index, SHARES[name]))
        ax.text(
            (low + high) / 2,
            1.07 * top,
            f"{CALLED[name]}\n{own}",
            fontsize=LARGE,
            linespacing=1.3,
            **ABOVE,
        )
    if counts[-1] or steps[-1] >= 0.05:
        ax.text(OVERFLOW + 0.05, max(shares[-1], steps[-1]) + 0.02 * top, "beyond 3.5", ha="right")
    ax.set_ylim(0, 1.32 * top)
    ax.set_ylabel("spacings per step of 0.1 nominal [%]")
    spacing_axis(ax)
    scale = nominal / along.factor
    upper = ax.secondary_xaxis("top", functions=(partial(mul, scale), partial(mul, 1 / scale)))
    upper.set_xlabel(f"spacing [{along.symbol}]")
    ax.legend(loc="upper right", bbox_to_anchor=(0.99, 0.76), handlelength=2.6)
    ax.set_title(f"{index.spacings:,} measured spacings, and {others.spacings:,} predicted ones")
    return drawn


def _fitted_shares(fit: CellFit) -> NDArray[np.float64]:
    """Shares of spacings of the fitted cells, by tenths of the nominal spacing."""
    fine = 40  # steps in a tenth
    at = (np.arange((EDGES.size - 1) * fine) + 0.5) * 0.1 / fine
    shares: NDArray[np.float64] = fitted_density(fit, at).reshape(-1, fine).sum(axis=1)
    return shares * 0.1 / fine


@matplotlib.rc_context(STYLE)
def measured_figure(found: Counted, units: str = "metric") -> Figure:
    """One page: measured, predicted and fitted distribution, and a table of the main numbers.

    Parameters
    ----------
    found : Counted
        Measured spacings with their prediction.
    units : {'metric', 'us'}
        Lengths in cm or in.

    Returns
    -------
    Figure
        Page of 7.5 in width.
    """
    length_units(units)  # refuses unknown units
    origin, scenario = found.origin, found.scenario
    along, _ = length_units(units)
    said = [
        "range: holds a count of this length in 95 of 100 cases, if the prediction holds",
        f"metersim {origin.version} | {found.source.where} beside {scenario.name} | "
        f"nominal {along.from_si(scenario.spacing):.4g} {along.symbol} | random seed {origin.seed}",
    ]
    if found.left < 1:
        said.insert(0, f"the prediction is of plants, of {percent(found.left)} of its seeds")
    rows = [(key, label) for key, label in TABLE if key in found]
    wheels = sorted(found.folds, key=lambda one: not one.found)[:WHEELS]
    if wheels:
        said[:0] = [
            "by hole, in the order of dropping; hole 1 dropped the first seed; bars inwards: turns "
            "without a seed, all of them at the middle; black bars outwards: turns with two seeds"
        ]
    sight = measured_sight(found, units)
    head = sight_height(sight)
    height = head + 5.65 + 0.2 * len(rows) + caption_height(said) + (WHEEL if wheels else 0)
    figure = new_page(height)
    headline(figure, f"Measured beside predicted: {scenario.title}", sight)
    ax = figure.add_axes((0.1, 1 - (head + 4.65) / height, 0.87, 3.6 / height))
    draw_measured(ax, found, units)
    top = 1 - (head + 5.25) / height
    heads = ("", "measured", "95 % interval", "predicted", "range")
    columns = (0.1, 0.44, 0.48, 0.73, 0.77)
    for line, cells in enumerate([heads, *(_cells(found, *row, units) for row in rows)]):
        for k, (x, words) in enumerate(zip(columns, cells, strict=True)):
            figure.text(
                x,
                top - 0.2 * line / height,
                words,
                color=INK,
                weight="bold" if line == 0 else "normal",
                ha="right" if k in (1, 3) else "left",
            )
    low = (caption_height(said) + 0.3) / height
    for k, one in enumerate(wheels):
        box = (0.03 + 0.325 * k, low, 0.27, (WHEEL - 0.75) / height)
        ax = figure.add_axes(box, projection="polar")
        assert isinstance(ax, PolarAxes)
        draw_fold(ax, one)
    caption(figure, said)
    return figure


@matplotlib.rc_context(STYLE)
def draw_fold(ax: PolarAxes, fold: Fold) -> list[Any]:
    """Draw misses and doubles of each hole round the disc; holes that fail are named.

    Parameters
    ----------
    ax : PolarAxes
        Axes to draw on.
    fold : Fold
        Cells of a row, folded by holes.

    Returns
    -------
    list of artists
        Bars.
    """
    around = 2 * np.pi * np.arange(fold.holes) / fold.holes
    wide = 0.85 * 2 * np.pi / fold.holes
    turns = np.maximum(fold.passed, 1)
    failing = {one.hole for one in fold.found}
    colors = [WARM if k + 1 in failing else BLUE_FILL for k in range(fold.holes)]
    bars = ax.bar(around, -fold.misses / turns, wide, bottom=1.0, color=colors, ec=INK, lw=HAIR)
    more = ax.bar(around, OUTWARDS * fold.doubles / turns, wide, bottom=1.0, color=INK)
    ax.plot(np.linspace(0, 2 * np.pi, 200), np.ones(200), color=INK, lw=FINE)
    ax.set_theta_zero_location("N")
    ax.set_theta_direction(-1)
    ax.set_ylim(0, 1 + OUTWARDS)
    ax.set_axis_off()
    for hole in {1, *failing}:
        weight = "bold" if hole in failing else "normal"
        at = around[hole - 1]
        ax.text(at, 1.13, f"{hole}", ha="center", va="center", color=INK, weight=weight)
    state = "count lost" if fold.lost else "too short" if fold.too_short else ""
    said = state or (f"{len(failing)} of {fold.holes} fail" if failing else "no pattern")
    name = textwrap.shorten(fold.label, 20, placeholder="...")
    ax.set_title(f"{name}: {said}" if name else said.capitalize(), pad=8, loc="center")
    return [*bars, *more]


def measured_sight(found: Counted, units: str = "metric") -> str:
    """What was measured: a hole that fails, or values that leave the range of their prediction."""
    failing = [one for fold in found.folds for one in fold.found]
    if failing:
        one = failing[0]
        what = "drops no seed" if one.kind == MISSES else "drops two seeds"
        more = f"; {len(failing) - 1} more such" if len(failing) > 1 else ""
        return f"hole {one.hole} {what} in {one.count} of its {one.turns} turns{more}."
    ranged = [(key, label) for key, label in TABLE[:4] if key in found and _has_range(found, key)]
    out = [(key, label) for key, label in ranged if found[key].differs]
    if not ranged:
        return "too few spacings were measured to compare them with the prediction."
    if not out:
        return "every measured value lies in the range that the prediction gives."
    _, measured_value, _, _, between = _cells(found, *out[0], units)
    many = len(out) - 1
    verb = "is" if out[0][0] == "precision" else "are"
    rest = f"; {many} other {plural(many, 'value')} of the table differ, too" if many else ""
    return f"{out[0][1]} {verb} {measured_value}, outside the predicted {between}{rest}."


def _has_range(found: Counted, key: str) -> bool:
    return not math.isnan(found[key].predicted.low)


def _cells(found: Counted, key: str, label: str, units: str) -> tuple[str, ...]:
    one = found[key]
    kind, own, other = one.measure.kind, one.measured, one.predicted
    return (
        label,
        quantity(kind, own.value, units),
        "" if math.isnan(own.low) else interval_text(kind, own, units),
        "" if math.isnan(other.value) else quantity(kind, other.value, units),
        "" if math.isnan(other.low) else interval_text(kind, other, units),
    )


def gallery() -> Iterator[tuple[str, Figure]]:
    """Name and page of an invented tape with its prediction."""
    yield "measured", measured_figure(measured(load_scenario("maize_field"), _tape(), seed=1))


def _tape() -> MeasuredSpacings:
    """Invented tape of 300 plants, for a meter with a worn tube and one notch too aggressive."""
    worn = load_scenario("maize_field", ["tube_wear=0.4", "notch=1", "turns=12"])
    run = emerged(simulate(worn, seed=1), worn.stand.emergence, worn.stand.plant_shift)
    places = sorted((100 * run.seeds.position).round(1).tolist())[:300]
    return parse_spacings("\n".join(["position_cm", *map(str, places)]), "tape.csv")


PAGES = {Counted: measured_figure}
