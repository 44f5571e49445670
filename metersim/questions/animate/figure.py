"""Frames of a film: the disc in motion, drawn to scale; the same picture as `motion.js` draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import EllipseCollection, LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Arc, Circle, FancyArrowPatch, Polygon, Rectangle
from numpy.typing import NDArray

from metersim.questions.animate.places import RIM, Places, Spot
from metersim.questions.animate.study import Film
from metersim.questions.shared.motionwords import ODD, Happening, events_of, is_slide
from metersim.questions.shared.page import STYLE, wrapped
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
    HAIR,
    HEAVY,
    INK,
    LARGE,
    PALE,
    PLATE,
    POOL,
    QUIET,
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
LEAST = 0.036  # in, least half length of a drawn seed
NAMES = {"single": "one seed", "skip": "skip", "double": "double", "more": "three or more"}
DELIVERIES = {"tube": "tube", "conveyor": "belt with\ncompartments", "none": "no tube"}
BAR = {"metric": (0.05, "5 cm"), "us": (0.0508, "2 in")}
LETTERS = 84  # of a line at the foot
TOLD = 6.0  # s of the film for which an event stays to be read
Group = list[Spot]


def _canvas_of(figure: Figure) -> Any:
    """The canvas of a figure, of which matplotlib states no types."""
    return FigureCanvasAgg(figure)


class Frames:
    """The frames of a film, each drawn when it is asked for.

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
        self._events = events_of(film.motion)
        g = film.motion.geometry
        self._r, self._rim = g.circle_radius_m, RIM * g.circle_radius_m
        self._figure = Figure(figsize=(WIDE, HIGH), dpi=DPI)
        self._canvas = _canvas_of(self._figure)
        high = HIGH - TOP - FOOT
        self._ax: Axes = self._figure.add_axes((0, FOOT / HIGH, 1, high / HIGH))
        below, above = -max(g.tube_m + 0.03, 1.3 * self._r), 1.2 * self._r
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
        self._begin_moving()
        self._canvas.draw()
        self._ground = self._canvas.copy_from_bbox(self._figure.bbox)  # what does not move

    @property
    def larger(self) -> float:
        """How many times as large as to scale seeds are drawn, 1 or more."""
        return self._larger

    @matplotlib.rc_context(STYLE)
    def image(self, time: float) -> NDArray[np.uint8]:
        """The frame of a time of the run [s], shape (height, width, 3)."""
        self._move_disc(time)
        self._move_seeds(time)
        self._say(time)
        self._canvas.restore_region(self._ground)
        for one in sorted(self._moving(), key=lambda artist: artist.get_zorder()):
            self._figure.draw_artist(one)
        image: NDArray[np.uint8] = np.asarray(self._canvas.buffer_rgba())[:, :, :3].copy()
        return image

    def _moving(self) -> list[Artist]:
        """Artists that are drawn in each frame."""
        drawn = [*self._surface, self._spokes, self._holes, self._ticks, self._beam]
        words = [
            self._level,
            self._gate,
            self._mark,
            self._clock,
            self._told,
            *self._numbers.values(),
        ]
        return [*self._above, *drawn, *self._drawn, *self._lines, *words]

    # what stays

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
        if g.tube_m < self._rim + 0.01:  # the disc is in the way
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
        ax.text(x + 0.05, -g.tube_m + 0.7 * line, moves, va="center")
        length, name = BAR[units]
        right, y = ax.get_xlim()[1] - 0.1 / self._per_m, -g.tube_m + 2.3 * line
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
                ax.text(x + 1.0 * line, y, "+", weight="bold", **CENTRED)
            number = ax.text(x + 2.6 * line, y, "0", weight="bold", ha="right", va="center")
            self._numbers[kind] = number
            ax.text(x + 3.0 * line, y, name, va="center")
        if y - 3.9 * line > -self._motion.geometry.tube_m + 3.6 * line:
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

    # what moves

    def _begin_moving(self) -> None:
        ax, r = self._ax, self._r
        surface: dict[str, Any] = {"fc": POOL, "ec": INK, "lw": FINE, "zorder": 1.5}
        self._pool = Polygon(np.zeros((3, 2)), closed=True, **surface)
        ax.add_patch(self._pool)
        lying = self._lying()
        self._heap = EllipseCollection(
            lying[:, 2], 0.7 * lying[:, 2], lying[:, 3], units="xy", offsets=lying[:, :2],
            offset_transform=ax.transData, facecolors="none", edgecolors=PALE, linewidths=HAIR,
            zorder=2,
        )  # fmt: skip
        ax.add_collection(self._heap)
        self._surface: list[Artist] = [self._pool, self._heap]
        self._spokes = LineCollection([], colors=PALE, lw=FINE, zorder=2)
        ax.add_collection(self._spokes)
        hole = self._motion.geometry.hole_diameter_m
        least = 0.03 / self._per_m
        many = self._motion.geometry.holes
        self._holes = EllipseCollection(
            [max(hole, least)] * many, [max(hole, least)] * many, [0.0] * many, units="xy",
            offsets=np.zeros((many, 2)), offset_transform=ax.transData, facecolors=WHITE,
            edgecolors=QUIET, linewidths=FINE, zorder=4,
        )  # fmt: skip
        ax.add_collection(self._holes)
        self._ticks = LineCollection([], colors=INK, lw=FINE, zorder=1)
        ax.add_collection(self._ticks)
        beam = -self._motion.geometry.tube_m + self._motion.geometry.beam_m
        x = self._places.tube_x
        (self._beam,) = ax.plot([x - 0.034, x + 0.034], [beam, beam], color=INK, zorder=3)
        self._lines: list[Line2D] = []
        self._drawn: list[EllipseCollection] = []
        line = 0.17 / self._per_m
        self._level = ax.text(0, -1.13 * r - 0.7 * line, "", bbox=PLATE, zorder=9, **CENTRED)
        self._gate = ax.text(x + 0.028, -1.13 * r - 1.8 * line, "", weight="bold", va="center")
        self._mark = ax.text(0, 0, "", weight="bold", zorder=9, **CENTRED)
        top, foot = 1 - TOP / 2 / HIGH, FOOT / 2 / HIGH
        self._clock = self._figure.text(0.01, top, "", weight="bold", fontsize=LARGE, va="center")
        self._told = self._figure.text(0.01, foot, "", fontsize=LARGE, va="center")
        for one in self._moving():
            one.set_animated(True)

    def _lying(self) -> NDArray[np.float64]:
        """Seeds that lie still in the pool (assumption): x, y, length and angle of each."""
        g, rim = self._motion.geometry, self._rim
        step = max(1.25 * g.seed_length_m, 0.075 / self._per_m)
        rows, columns = np.mgrid[-rim:rim:step, -rim:rim:step]
        spread = np.modf(np.abs(np.sin(np.arange(rows.size) * 127.1 + 0.5)) * 43758.5453)[0]
        x, y = columns.ravel() + 0.5 * spread * step, rows.ravel() + 0.5 * spread[::-1] * step
        inside = x**2 + y**2 < (rim - 0.5 * step) ** 2
        rows_of = np.column_stack([x, y, np.full(x.size, 0.72 * step), 180 * spread])
        kept: NDArray[np.float64] = rows_of[inside]
        return kept

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

    def _move_disc(self, time: float) -> None:
        places, r, rim = self._places, self._r, self._rim
        angle, level = places.angle(time), places.level(time)
        surface = level - r
        half = math.acos(min(max(-surface / rim, -1.0), 1.0))
        turned = np.linspace(-half, half, 91) - math.pi / 2
        self._pool.set_xy(rim * np.column_stack([np.cos(turned), np.sin(turned)]))
        self._pool.set_visible(places.pool(time) > 0)
        self._heap.set_visible(places.pool(time) > 0)
        self._heap.set_clip_path(self._pool)
        spokes = [
            [places.on_disc(angle + k * math.pi / 3, share * r) for share in (0.12, 0.3)]
            for k in range(6)
        ]
        self._spokes.set_segments(spokes)
        self._spokes.set_linewidth([HEAVY, *[FINE] * 5])
        self._holes.set_offsets(places.holes(time))
        here, spacing, x = places.way(time), self._motion.spacing, places.tube_x
        left = self._ax.get_xlim()[0]
        first = math.ceil((here + left - x) / spacing)
        last = math.floor((here + self._right - x) / spacing)
        y = -self._motion.geometry.tube_m
        at = [k * spacing - here + x for k in range(first, last + 1)]
        self._ticks.set_segments([[(one, y - 0.004), (one, y - 0.016)] for one in at])

    def _move_seeds(self, time: float) -> None:
        for old in (*self._drawn, *self._lines):
            old.remove()
        still = self._places.still(time, self._ax.get_xlim()[0] - 0.02, self._right)
        self._drawn = [self._seeds(look, spots) for look, spots in still.seeds.items() if spots]
        for one in self._drawn:
            self._ax.add_collection(one)
        self._lines = []
        if still.empty:
            self._lines += self._cross(*zip(*still.empty, strict=True))
        if still.doubles:
            self._lines += self._diamond(*zip(*still.doubles, strict=True))
        lit = self._places.in_beam(time, 0.25 / self._film.slow)
        self._beam.set_linewidth(HEAVY if lit else FINE)
        self._beam.set_linestyle(SOLID if lit and lit.seen else DOTTED)  # type: ignore[arg-type]

    def _say(self, time: float) -> None:
        motion, places = self._motion, self._places
        self._level.set_text(f"pool: {places.pool(time):,} seeds")
        self._gate.set_text(self._at_gate(time))
        moment = self._film.moment
        place = places.cell(moment.cell, time, 0.7 * self._r) if moment.marked else None
        self._mark.set_text(f"cell {moment.cell}" if place else "")
        self._mark.set_position(place or (0.0, 0.0))
        for kind, many in motion.counted(time, self._film.start).items():
            self._numbers[kind].set_text(f"{many}")
        self._clock.set_text(f"{time:.2f} s")
        event = self._latest(time)
        self._told.set_text("\n".join(wrapped(event.words, LETTERS)[:2]) if event else "")
        self._told.set_fontweight("bold" if event and event.weight == ODD else "normal")

    def _at_gate(self, time: float) -> str:
        pool = self._motion.pool
        tick = max(int(np.searchsorted(pool.time, time, side="right")) - 1, 0)
        if pool.arched[tick]:
            return "arch: no seed comes in"
        since = time - 4 / self._film.slow
        for k in range(tick, 0, -1):
            if pool.time[k] <= since:
                break
            if is_slide(int(pool.inflow[k]), int(pool.seeds[k])):
                return f"slide: {int(pool.inflow[k])} seeds come in"
        return ""

    def _latest(self, time: float) -> Happening | None:
        """The last odd event while it can be read; else the last at the edge."""
        read = TOLD / self._film.slow
        fresh = [event for event in self._events if time - read < event.time <= time]
        odd = [event for event in fresh if event.weight == ODD]
        own = [event for event in odd if event.cell == self._film.moment.cell]
        plain = [event for event in fresh if event.at == "edge"]
        told = own or odd or plain
        return told[-1] if told else None
