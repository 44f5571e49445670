"""Luck and settings together: what is in store for each cell, in a form that events walk along.

Arrays are worked out for the first seeds of many cells at once and then read one by one, as
lists.  What concerns few cells is worked out when it happens (`metersim.events.holding`).
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.events.falls import Fall, Falls
from metersim.luck import Array, Luck
from metersim.physics.pickup import truncated_normal
from metersim.stations import Chances, Stations

NO_VACUUM = 1e-9  # Pa, where nothing joins anyway


class Window:
    """What the first seeds of a stretch of cells would do at the same chances."""

    def __init__(self, dealt: Dealt, chances: Chances, start: int, cells: int) -> None:
        self.chances, self.start, self.cells = chances, start, cells
        luck, pickup, part = dealt.luck, dealt.stations.pickup, slice(start, start + cells)
        meeting = luck.meeting[part]
        joins = meeting < chances.rate
        need, size = dealt.need[part].copy(), dealt.sizes[part].copy()
        again = np.flatnonzero(joins & (luck.grip[part] > chances.limit))
        if again.size:
            rank = luck.uniform("grip", again + start)
            deviate = truncated_normal(rank, chances.hold)
            size_draw, seat_draw = luck.size[again + start], luck.seat[again + start]
            need[again] = pickup.relative_need(deviate, size_draw, seat_draw)
            size[again] = pickup.first_size(deviate, size_draw)
        needed = chances.needed * need
        strength = pickup.strength(chances, needed, max(chances.vacuum, NO_VACUUM))
        self.joins = joins.tolist()
        self.reason = pickup.why_empty(chances, meeting).tolist()
        self.needed = needed.tolist()
        self.size = size.tolist()
        self.travel = dealt.stations.release.travel(strength).tolist()
        open_ = np.flatnonzero(
            joins & pickup.uncovers(size, dealt.outlines[part], dealt.distances[part])
        )
        self.crowded = set()
        if open_.size:
            done, size = meeting[open_] / chances.rate, size[open_]
            self.crowded.update(open_[self._second(dealt, open_ + start, size, done)].tolist())

    def _second(self, dealt: Dealt, cells: NDArray[np.intp], size: Array, done: Array) -> Any:
        """Whether a second seed joins, where a first of this size leaves a part of a hole open
        that has done a part of its arc in the pool."""
        luck, pickup, chances = dealt.luck, dealt.stations.pickup, self.chances
        outline, gap = dealt.outlines[cells], dealt.distances[cells]
        other = pickup.size(luck.normal("size", cells, 1))
        room = pickup.room_for(chances, size, outline, gap, other, 1.0)
        return (1 - done) * room.rate > luck.exponential("meeting", cells, 1)


class Dealt:
    """A block of luck, and what it means at a meter's stations.

    Parameters
    ----------
    luck : Luck
        Luck of the block's cells.
    stations : Stations
        The stations.
    times : list of lists, one a cell
        When each cell passes what. [s]
    speeds : ndarray, one a cell
        Speed of the hole at the cut-off. [m/s]
    """

    def __init__(
        self, luck: Luck, stations: Stations, times: list[list[float]], speeds: Array
    ) -> None:
        self.luck, self.stations, self.times = luck, stations, times
        pickup, edge = stations.pickup, stations.singulator
        self.hole_speeds = speeds
        self.speeds = speeds.tolist()
        self.blocked = set(luck.blocked(pickup.coefficients.blocked).tolist())
        self.starts, across = luck.along * pickup.seat_scale, luck.across * pickup.seat_scale
        self.distances = np.sqrt(self.starts * self.starts + across * across)
        self.outlines = pickup.outline(self.starts, across)
        self.need = pickup.relative_need(luck.grip, luck.size, luck.seat)
        self.sizes = pickup.first_size(luck.grip, luck.size)
        self.along, self.across = self.starts.tolist(), across.tolist()
        self.size = self.sizes.tolist()
        self.reach = edge.reach(luck.pose).tolist()
        self.weakest = edge.weakest(luck.edge).tolist()
        self._window: Window | None = None

    @cached_property
    def soil(self) -> list[float]:
        """Deviates of the resting places of first seeds."""
        return list(self.luck.soil.tolist())

    @cached_property
    def _firsts(self) -> Falls:
        return self._falls(slice(None), 0, self.sizes)

    def _falls(self, part: slice, place: int, size: Array) -> Falls:
        cells = np.arange(self.luck.cells)[part]
        return Falls(
            self.stations, self.luck, cells, place, size, self.starts[part], self.hole_speeds[part]
        )

    def fall(self, index: int, place: int, size: float) -> Fall:
        """The way down of a seed of this size."""
        if place == 0 and size == self.size[index]:
            return self._firsts[index]
        return self._falls(slice(index, index + 1), place, np.array([size]))[0]

    def window(self, chances: Chances, index: int, least: int) -> Window:
        """A stretch of cells at these chances that a cell lies in.

        It is worked out for `least` cells after a change, and for twice as many as before as
        long as nothing changes.
        """
        window = self._window
        same = window is not None and (window.chances is chances or window.chances == chances)
        if window is None or not same or not 0 <= index - window.start < window.cells:
            cells = 2 * window.cells if window is not None and same else least
            cells = min(cells, self.luck.cells - index)
            self._window = window = Window(self, chances, index, cells)
        return window
