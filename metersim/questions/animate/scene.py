"""What of a film's picture does not move: disc, stations, tube, ground, words; drawn to scale."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import EllipseCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Polygon, Rectangle

from metersim.questions.animate.places import RIM, Places, Spot
from metersim.questions.animate.study import Film
from metersim.questions.shared.page import STYLE
from metersim.questions.shared.style import (
    BLUE,
    BOLD,
    CENTRED,
    CROSSED,
    DASHED,
    DOTTED,
    FAINT,
    FINE,
    GREEN,
    HEAVY,
    INK,
    PALE,
    PLATE,
    POOL,
    SKY,
    SLANTED,
    SOLID,
    STROKE,
    WARM,
    WHITE,
)

DPI = 100
WIDE, HIGH = 7.2, 6.2  # in
TOP, FOOT = 0.3, 0.45  # in, for words
SHORT = 2.9  # radii of the circle of holes; words beside a shorter tube need more room
LEAST = 0.036  # in, least half length of a drawn seed
NAMES = {"single": "one seed", "skip": "skip", "double": "double", "more": "three or more"}
DELIVERIES = {"tube": "tube", "conveyor": "belt with\ncompartments", "none": "no tube"}
BAR = {"metric": (0.05, "5 cm"), "us": (0.0508, "2 in")}
Group = list[Spot]


def _canvas_of(figure: Figure) -> Any:
    """The canvas of a figure, of which matplotlib states no types."""
    return FigureCanvasAgg(figure)


class Scene:
    """The picture of a film without what moves in it.

    Parameters
    ----------
    film : Film
        The film.
    units : {'metric', 'us'}
        Unit of the scale bar.
    """

    @matplotlib.rc_context(STYLE)
    def __init__(self, film: Film, units: str = "metric") -> None:
        self._film, self._motion = film, film.motion
        g = film.motion.geometry
        self._r, self._rim = g.circle_radius_m, RIM * g.circle_radius_m
        self._figure = Figure(figsize=(WIDE, HIGH), dpi=DPI)
        self._canvas = _canvas_of(self._figure)
        high = HIGH - TOP - FOOT
        self._ax: Axes = self._figure.add_axes((0, FOOT / HIGH, 1, high / HIGH))
        low = SHORT * self._r
        self._short = g.tube_m < low  # then words lie below the ground, which ends at the tube
        self._floor = -max(g.tube_m, low)
        below, above = self._floor - 0.03, 1.2 * self._r
        self._per_m = min(high / (above - below), WIDE / (4.4 * self._r))  # in
        middle, half = (above + below) / 2, high / self._per_m / 2
        side = WIDE / self._per_m / 2
        self._ax.set_xlim(-side, side)
        self._ax.set_ylim(middle - half, middle + half)
        self._ax.set_axis_off()
        most = 0.84 * math.pi * self._r / g.holes / (g.seed_length_m / 2)  # neighbours stay apart
        self._larger = max(min(LEAST / (self._per_m * g.seed_length_m / 2), most), 1.0)
        self._places = Places(film.motion, self._larger)
        self._above: list[Artist] = []  # what does not move, but lies above what does
        self._draw_still(units)

    def _draw_still(self, units: str) -> None:
        g, ax, r = self._motion.geometry, self._ax, self._r
        ax.add_patch(Circle((0, 0), self._rim, fc=FAINT, ec=PALE, lw=FINE, zorder=1))
        ax.add_patch(Circle((0, 0), 0.12 * r, fc="none", ec=PALE, lw=FINE, zorder=2))
        at = self._places.on_disc
        start, end = (
            math.degrees(math.atan2(*at(turned, 1.0)[::-1])) for turned in (0.0, g.cut_off_rad)
        )
        vacuum: dict[str, Any] = {"ec": GREEN, "lw": BOLD, "ls": DASHED, "zorder": 3}
        arc = ax.add_patch(Arc((0, 0), 1.72 * r, 1.72 * r, theta1=start, theta2=end, **vacuum))
        arrow: dict[str, Any] = {"arrowstyle": "->", "mutation_scale": 12, "lw": STROKE}
        tail, head = (at(g.pool_exit_rad + a, 0.42 * r) for a in (0.9, 2.25))
        arrow |= {"connectionstyle": "arc3,rad=0.35", "zorder": 3, "color": INK}
        ax.add_patch(FancyArrowPatch(tail, head, **arrow))
        cut = [at(g.cut_off_rad, share * r) for share in (0.78, 1.22)]
        ax.plot(*zip(*cut, strict=True), color=INK, lw=HEAVY, zorder=4)
        exits = [at(g.pool_exit_rad, share * r) for share in (0.92, 1.16)]
        ax.plot(*zip(*exits, strict=True), color=PALE, lw=FINE, zorder=4)
        look: dict[str, Any] = {"fc": WHITE, "ec": INK, "lw": STROKE, "hatch": SLANTED, "zorder": 7}
        self._above += [arc, ax.add_patch(Polygon(self._comb(), **look))]
        level, width = g.carry_line_m - r, self._rim
        if level < width:
            reach = math.sqrt(width**2 - level**2)
            dotted: dict[str, Any] = {"color": PALE, "lw": FINE, "ls": DOTTED, "zorder": 3}
            self._above += ax.plot([-reach, reach], [level, level], **dotted)
        self._draw_way_down()
        self._draw_words(units)

    def _comb(self) -> list[tuple[float, float]]:
        """Outline of the edge: four teeth outside the holes, at its gap."""
        g, at, teeth = self._motion.geometry, self._places.on_disc, 4
        inner = self._r + max(g.edge_gap_m, 0.0)
        steps = [(k / teeth - 1) * 0.16 for k in range(2 * teeth + 1)]
        cut = [
            at(g.edge_rad + step, inner + (0 if k % 2 else 0.022 * self._r))
            for k, step in enumerate(steps)
        ]
        return cut + [at(g.edge_rad + step, inner + 0.07 * self._r) for step in reversed(steps)]

    def _draw_way_down(self) -> None:
        g, ax, places = self._motion.geometry, self._ax, self._places
        x, half, top, end = places.tube_x, places.tube_half, -0.03, places.tube_end
        if g.delivery != "none" and end < top:
            for side in (-half, half):
                ax.plot([x + side, x + side], [top, end], color=INK, lw=STROKE, zorder=4)
            if g.delivery == "conveyor":
                for y in np.arange(end, top, 0.03).tolist():
                    ax.plot([x - half, x + half], [y, y], color=PALE, lw=FINE, zorder=0)
        low, right = ax.get_ylim()[0], ax.get_xlim()[1]
        if self._short:
            right = x + 0.05
        left = ax.get_xlim()[0]
        height = min(0.02, -g.tube_m - low)
        ground = Rectangle((left, -g.tube_m - height), right - left, height)
        ground.set(fc=POOL, ec="none", zorder=0)
        ax.add_patch(ground)
        ax.plot([left, right], [-g.tube_m, -g.tube_m], color=INK, lw=STROKE, zorder=1)
        self._right = right

    def _draw_words(self, units: str) -> None:
        g, ax, r, line = self._motion.geometry, self._ax, self._r, 0.17 / self._per_m
        edge = self._places.on_disc(g.edge_rad, 1.2 * r)
        ax.text(*edge, "edge: sends\nextra seeds back", va="center", bbox=PLATE, zorder=9)
        cut = self._places.on_disc(g.cut_off_rad, 1.25 * r)
        said = "cut-off: vacuum ends,\nseeds drop"
        ax.text(*cut, said, ha="right", va="center", bbox=PLATE, zorder=9)
        x = self._places.tube_x
        middle, beam = -0.45 * g.tube_m, -g.tube_m + g.beam_m
        ax.text(x - 0.03, middle, DELIVERIES[g.delivery], ha="right", va="center")
        ax.text(x - 0.042, beam, "sensor's beam", ha="right", va="center")
        moves = "the machine moves this way \N{RIGHTWARDS ARROW}"
        where = (x + 0.05, -g.tube_m + 0.7 * line)
        if self._short:
            where = (ax.get_xlim()[0] + 0.01, -g.tube_m - 0.02 - line)
        else:
            moves += " (ticks: nominal spacing)"
        ax.text(*where, moves, va="center")
        length, name = BAR[units]
        right, y = ax.get_xlim()[1] - 0.1 / self._per_m, self._floor + 2.3 * line
        tick = 0.05 / self._per_m
        bar = ([right - length] * 2 + [right] * 2, [y + tick, y, y, y + tick])
        ax.plot(*bar, color=INK, lw=BOLD, zorder=9)
        ax.text(right, y + 0.9 * line, name, ha="right", va="center")
        if self._larger > 1.05:
            said = f"seeds drawn {self._larger:.1f} times as large"
            ax.text(right, y - 0.7 * line, said, ha="right", va="center")
        self._draw_count(line)
        top, slow = 1 - TOP / 2 / HIGH, self._film.slow
        rate = f"slow motion: 1 s lasts {slow:g} s" if slow > 1 else "at true speed"
        self._figure.text(0.99, top, rate, ha="right", va="center", color=INK)

    def _draw_count(self, line: float) -> None:
        """The table of counted cells, whose numbers change, and what the other marks mean."""
        ax, r, x = self._ax, self._r, -0.35 * self._r
        y = -1.13 * r - 3.1 * line
        ax.text(x - 0.5 * line, y, "Cells past the cut-off so far:", weight="bold", va="center")
        self._numbers: dict[str, Any] = {}
        size = self._motion.geometry.seed_length_m * self._per_m * self._larger
        k = 0.13 / size  # of a seed in the table over one of the mean size
        marks: list[tuple[str, Group]] = []
        for kind, name in NAMES.items():
            y -= 1.25 * line
            here = Spot(x + 0.3 * line, y, 0.0, k)
            if kind == "skip":
                self._cross([here.x], [here.y])
            else:
                marks.append(("single" if kind == "single" else "several", [here]))
            if kind in ("double", "more"):
                self._diamond([here.x], [here.y])
            if kind == "more":
                ax.text(x + 1.25 * line, y, "+", weight="bold", **CENTRED)
            number = ax.text(x + 2.6 * line, y, "0", weight="bold", ha="right", va="center")
            self._numbers[kind] = number
            ax.text(x + 3.0 * line, y, name, va="center")
        if self._short or y - 3.9 * line > self._floor + 3.6 * line:
            for kind, name in (("coming", "coming to a hole"), ("lost", "sent back to the pool")):
                y -= 1.25 * line
                marks.append((kind, [Spot(x + 0.3 * line, y, 0.0, k)]))
                ax.text(x + 1.3 * line, y, name, va="center")
            y -= 1.25 * line
            ends = [x - 0.3 * line, x + 0.9 * line]
            ax.plot(ends, [y, y], color=GREEN, lw=BOLD, ls=DASHED)
            ax.text(x + 1.3 * line, y, "vacuum holds seeds", va="center")
        for kind, spots in marks:
            ax.add_collection(self._seeds(kind, spots))

    def _seeds(self, look: str, spots: Group) -> EllipseCollection:
        """Seeds of one look at some spots."""
        g = self._motion.geometry
        sizes = np.array([spot.size for spot in spots]) * self._larger
        ink, fill, hatch, dash = {
            "single": (INK, BLUE, None, SOLID),
            "several": (INK, SKY, SLANTED * 2, SOLID),
            "coming": (INK, WHITE, None, DOTTED),
            "lost": (WARM, WHITE, CROSSED, SOLID),
        }[look]
        made = EllipseCollection(
            g.seed_length_m * sizes, np.maximum(g.seed_width_m * sizes, 0.03 / self._per_m),
            [spot.angle for spot in spots], units="xy",
            offsets=[(spot.x, spot.y) for spot in spots], offset_transform=self._ax.transData,
            facecolors=fill, edgecolors=ink, linewidths=FINE if look == "single" else STROKE,
            linestyles=dash, zorder=6,
        )  # fmt: skip
        if hatch:
            made.set_hatch(hatch)
        return made

    def _cross(self, x: Sequence[float], y: Sequence[float]) -> list[Line2D]:
        marks: dict[str, Any] = {"marker": "x", "ls": "", "zorder": 8}
        under = self._ax.plot(x, y, mec=WHITE, ms=8, mew=2 * HEAVY, **marks)
        return under + self._ax.plot(x, y, mec=WARM, ms=7, mew=HEAVY, **marks)

    def _diamond(self, x: Sequence[float], y: Sequence[float]) -> list[Line2D]:
        size = 72 * self._per_m * self._motion.geometry.seed_length_m * self._larger
        marks: dict[str, Any] = {"marker": "D", "ls": "", "mfc": "none", "zorder": 7}
        return self._ax.plot(x, y, mec=INK, mew=STROKE, ms=max(0.95 * size, 8), **marks)
