"""Frames of a film: the disc in motion; the same picture as `motion.js` draws."""

from __future__ import annotations

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.collections import EllipseCollection, LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from metersim.questions.animate.scene import FOOT, HIGH, TOP, Scene
from metersim.questions.animate.study import Film
from metersim.questions.shared.motion.words import ODD, Happening, events_of, is_slide
from metersim.questions.shared.page import STYLE, wrapped
from metersim.questions.shared.style import (
    CENTRED,
    DOTTED,
    FINE,
    HAIR,
    HEAVY,
    INK,
    LARGE,
    PALE,
    PLATE,
    POOL,
    QUIET,
    SOLID,
    WHITE,
)

LETTERS = 84  # of a line at the foot
NAMED_AT = 0.52  # of the radius, where the name of the marked cell stands, clear of the vacuum
TOLD = 6.0  # s of the film for which an event stays to be read


class Frames(Scene):
    """The frames of a film, each drawn when it is asked for; parameters are those of `Scene`."""

    @matplotlib.rc_context(STYLE)
    def __init__(self, film: Film, units: str = "metric") -> None:
        super().__init__(film, units)
        self._events = events_of(film.motion)
        self._begin_moving()
        self._canvas.draw()
        self._ground = self._canvas.copy_from_bbox(self._figure.bbox)  # what does not move

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
        place = places.cell(moment.cell, time, NAMED_AT * self._r) if moment.marked else None
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
        since = time - min(4 / self._film.slow, 0.6)
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
