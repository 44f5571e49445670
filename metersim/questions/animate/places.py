"""Places of all seeds at a moment of a film, in m about the axis of the disc; nothing is drawn.

The rules are those of `metersim/questions/shared/motion/motionmeter.js`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.tube import BELOW_TUBE
from metersim.questions.shared.motion.moved import Array, Motion, MovedCell, MovedSeed

RIM = 1.09  # radius of the disc over that of its circle of holes (assumption)
TUBE_WIDTH = 0.036  # m, of the tube as drawn (assumption)
FLIGHT = 0.6  # s, longest fall of a lost seed
HOP = 0.002  # s over which the speed of a hole is taken
LOOKS = ("coming", "single", "several", "lost")
Point = tuple[float, float]


class Spot(NamedTuple):
    """A seed as drawn."""

    x: float  # m
    y: float  # m
    angle: float  # of its long side, degrees
    size: float  # over the mean of the lot


@dataclass(frozen=True)
class Still:
    """Seeds of a moment by their looks, empty cells and doubles."""

    seeds: dict[str, list[Spot]] = field(default_factory=lambda: {look: [] for look in LOOKS})
    empty: list[Point] = field(default_factory=list)
    doubles: list[Point] = field(default_factory=list)


class Places:
    """Where things are in a motion.

    Parameters
    ----------
    motion : Motion
        The motion.
    larger : float
        How many times as large as to scale seeds are drawn.
    """

    def __init__(self, motion: Motion, larger: float = 1.0) -> None:
        self._motion, self._larger = motion, larger
        self._g = motion.geometry
        self._pitch = 2 * math.pi / self._g.holes
        self._cells = {one.cell: one for one in motion.cells}
        falls = [
            seed.lands - self._cells[seed.cell].cut
            for seed in motion.seeds
            if seed.lands is not None
        ]
        self._fall = float(np.median(falls)) if falls else 0.35
        self.tube_x = -self._g.circle_radius_m
        self.tube_half = TUBE_WIDTH / 2
        self.tube_end = -self._g.tube_m + BELOW_TUBE

    def angle(self, time: float) -> float:
        """Angle through which the disc has turned. [rad]"""
        return float(np.interp(time, self._motion.way.time, self._motion.way.angle))

    def way(self, time: float) -> float:
        """Place of the tube's end along the row. [m]"""
        return float(np.interp(time, self._motion.way.time, self._motion.way.place))

    def _tick(self, time: float) -> int:
        return max(int(np.searchsorted(self._motion.pool.time, time, side="right")) - 1, 0)

    def level(self, time: float) -> float:
        """Level of the pool above the lowest hole at the last tick. [m]"""
        return float(self._motion.pool.level[self._tick(time)])

    def pool(self, time: float) -> int:
        """Seeds in the pool."""
        return self._motion.in_pool(time)

    def on_disc(self, turned: float, radius: float) -> Point:
        """Point of the disc's face, by angle past the entry of the pool, counter-clockwise."""
        a = turned - self._g.pool_exit_rad / 2 - math.pi / 2
        return radius * math.cos(a), radius * math.sin(a)

    def holes(self, time: float) -> Array:
        """Middles of all holes, shape (holes, 2). [m]"""
        angle = self.angle(time)
        turned = [angle - k * self._pitch for k in range(self._g.holes)]
        return np.array([self.on_disc(one, self._g.circle_radius_m) for one in turned])

    def cell(self, number: int, time: float, radius: float) -> Point | None:
        """Point beside a cell of some radius [m], while it is on its way to the cut-off."""
        cell = self._cells[number]
        if not cell.enters <= time < cell.cut:
            return None
        return self.on_disc(self.angle(time) - number * self._pitch, radius)

    def in_beam(self, time: float, lasts: float) -> MovedSeed | None:
        """The seed that has crossed the beam last, if less than some time ago. [s]"""
        found = None
        for seed in self._motion.seeds:
            if seed.beam is not None and time - lasts < seed.beam <= time:
                found = seed
        return found

    def still(self, time: float, left: float, right: float) -> Still:
        """All that is to be seen at a time [s], with the row between two ends [m]."""
        made = Still()
        for cell in self._motion.cells:
            self._put_cell(made, cell, time)
        for seed in self._motion.seeds:
            self._put_flight(made, seed, time)
            if seed.lands is not None and seed.x is not None and seed.lands <= time:
                x = seed.x - self.way(time) + self.tube_x
                if left < x < right:
                    made.seeds[self._look(seed)].append(self._spot((x, self._row), seed))
        for cell in self._motion.cells:  # a gap in the row, where the seed was due
            due = cell.cut + self._fall
            if not cell.released and due <= time:
                x = self.way(due) - self.way(time) + self.tube_x
                if left < x < right:
                    made.empty.append((x, 0.004 + self._row))
        return made

    @property
    def _row(self) -> float:
        return 0.004 - self._g.tube_m

    def _spot(self, at: Point, seed: MovedSeed) -> Spot:
        turn = math.modf(abs(math.sin(seed.cell * 127.1 + seed.nth * 311.7 + 0.5)) * 43758.5453)[0]
        return Spot(*at, 180 * turn, seed.size)

    def _look(self, seed: MovedSeed) -> str:
        return "several" if self._cells[seed.cell].released > 1 else "single"

    def _put_cell(self, made: Still, cell: MovedCell, time: float) -> None:
        if not cell.enters <= time < cell.cut + 1.0:
            return
        on = self._motion.on_hole(cell, time)
        seeds = self._motion.seeds_of[cell.cell]
        coming = [seed for seed in seeds if seed.drawn <= time < seed.joined]
        middle = self.on_disc(self.angle(time) - cell.cell * self._pitch, self._g.circle_radius_m)
        if not on and cell.leaves <= time < cell.cut:
            made.empty.append(middle)
        if len(on) > 1 and cell.edge <= time:
            made.doubles.append(middle)
        shown = [*on, *coming]
        for rank, seed in enumerate(shown):
            look = "coming" if seed in coming else "several" if len(on) > 1 else "single"
            at = self._on_hole(seed, time, len(shown), rank)
            made.seeds[look].append(self._spot(at, seed))

    def _on_hole(self, seed: MovedSeed, time: float, many: int = 1, rank: int = 0) -> Point:
        """A seed on its hole; several lie beside one another."""
        turned, r = self.angle(time) - seed.cell * self._pitch, self._g.circle_radius_m
        aside = 0.5 * self._g.seed_width_m * self._larger if many > 1 else 0.0
        around = rank * 2 * math.pi / many + 0.7
        return self.on_disc(turned + aside * math.cos(around) / r, r + aside * math.sin(around))

    def _put_flight(self, made: Still, seed: MovedSeed, time: float) -> None:
        if seed.lost and seed.lost.time <= time < seed.lost.time + FLIGHT:
            at = self._thrown(seed, seed.lost.time, time)
            if at[1] > self.level(time) - self._g.circle_radius_m:
                made.seeds["lost"].append(Spot(*at, 0.0, seed.size))
        falls = seed.leaves_hole is not None and seed.lands is not None
        if falls and seed.leaves_hole <= time < seed.lands:  # type: ignore[operator]
            made.seeds[self._look(seed)].append(self._spot(self._falling(seed, time), seed))

    def _thrown(self, seed: MovedSeed, lost: float, time: float) -> Point:
        """A lost seed: as fast as its hole was, in free fall; the housing leads it to the pool."""
        (x, y), (_, later) = self._on_hole(seed, lost), self._on_hole(seed, lost + HOP)
        gone, r = time - lost, self._g.circle_radius_m
        high = y + (later - y) / HOP * gone - GRAVITY * gone**2 / 2
        down = min(max((y - high) / r, 0.0), 1.0)
        side = math.copysign(1.0, x)
        return x + side * r * (0.05 * min(gone / 0.05, 1.0) - 0.45 * down), high

    def _falling(self, seed: MovedSeed, time: float) -> Point:
        """A released seed, which passes hole, beam and ground at its own times.

        Assumption: in between it is evenly accelerated from the speed at which it got there.  A
        belt carries it at one speed.
        """
        assert seed.leaves_hole is not None and seed.beam is not None and seed.lands is not None
        g, left = self._g, seed.leaves_hole
        at = self._on_hole(seed, left)
        turning = (self.angle(left) - self.angle(left - 0.01)) / 0.01
        beam = g.tube_m - g.beam_m
        depth, speed = self._depth(0.0, beam, left, seed.beam, turning * g.circle_radius_m, time)
        if time > seed.beam:
            depth, _ = self._depth(beam, g.tube_m, seed.beam, seed.lands, speed, time)
        y = at[1] + depth * (-g.tube_m - at[1]) / g.tube_m
        end = max(g.tube_m - BELOW_TUBE, 0.01)
        if depth < end:
            return at[0] + (self.tube_x - at[0]) * min(depth / 0.05, 1.0), y
        assert seed.x is not None
        there = seed.x - self.way(seed.lands)
        return self.tube_x + there * min((depth - end) / (g.tube_m - end), 1.0), y

    def _depth(
        self, low: float, high: float, start: float, end: float, speed: float, time: float
    ) -> tuple[float, float]:
        """Depth of a fall between two depths [m] and times [s], and speed at its end [m/s]."""
        whole, way = end - start, high - low
        if whole <= 0 or way <= 0:
            return high, speed
        first = 1.0 if self._g.delivery == "conveyor" else min(max(speed * whole / way, 0.0), 2.0)
        share = min(max((time - start) / whole, 0.0), 1.0)
        return low + way * (first * share + (1 - first) * share**2), way / whole * (2 - first)
