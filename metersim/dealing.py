"""Luck and settings together: what is in store for each cell, in a form that events walk along.

Arrays are worked out for many cells at once and then read one by one, as lists for the seeds
that come often and as arrays for those that come rarely.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.falls import Falls
from metersim.luck import PLACES, Array, CellLuck
from metersim.stations import Chances, Seats, Stations

NO_VACUUM = 1e-9  # Pa, where nothing joins anyway
Column = Any  # a list or an array: both are read by index


class SeedFates:
    """What is in store for the seeds of some places, cell by cell."""

    def __init__(self, luck: CellLuck, stations: Stations, places: slice) -> None:
        def column(values: NDArray[Any]) -> Column:
            flat = values[:, places].ravel()
            return flat.tolist() if places.stop == 1 else flat

        self.heap = column(luck.heap)
        self.reach = column(stations.singulator.reach(luck.pose))
        self.weakest = column(luck.tooth.min(axis=2))
        self.detection = column(luck.detection)
        self.soil = column(luck.soil)


class ListedFalls:
    """Ways down as lists; `duration` is flat, with `STRETCHES` entries a seed."""

    def __init__(self, falls: Falls) -> None:
        self.count = falls.count.tolist()
        self.sensor = falls.sensor.tolist()
        self.contacts = falls.contacts.tolist()
        self.loss = falls.loss
        self.duration = falls.duration.ravel().tolist()
        self.time = falls.time.tolist()
        self.speed_at_beam = falls.speed_at_beam.tolist()
        self.speed = falls.speed.tolist()
        self.hop_time = falls.hop_time.tolist()
        self.hop_length = falls.hop_length.tolist()


class Window:
    """What a stretch of cells would take from the pool at the same chances."""

    def __init__(
        self, stations: Stations, chances: Chances, luck: CellLuck, seats: Seats, start: int
    ) -> None:
        self.chances = chances
        self.start = start
        self.cells = len(luck.blocked)
        picked = stations.pickup.pick(chances, luck, seats)
        self.count = picked.joined.tolist()
        self.reason = picked.reason.tolist()
        self.first_needed = picked.needed[:, 0].tolist()
        self.first_size = picked.size[:, 0].tolist()
        strength = picked.needed[:, 0] * chances.carry_load / max(chances.vacuum, NO_VACUUM)
        self.first_travel = stations.release.travel(np.minimum(strength, 1.0)).tolist()
        self.needed, self.size, self.share = picked.needed, picked.size, picked.share


class Dealt:
    """A block of luck, and what it means at a meter's stations.

    Parameters
    ----------
    luck : CellLuck
        Luck of the block's cells.
    stations : Stations
        The stations.
    times : list of lists, one a cell
        When each cell passes what. [s]
    speeds : ndarray, one a cell
        Speed of the hole at the cut-off. [m/s]
    """

    def __init__(
        self, luck: CellLuck, stations: Stations, times: list[list[float]], speeds: Array
    ) -> None:
        self.luck = luck
        self.stations = stations
        self.times = times
        self.hole_speeds = speeds
        self.speeds = speeds.tolist()
        self.seats = stations.pickup.seats(luck)
        self.distance = self.seats.distance.tolist()
        self.first_falls = ListedFalls(self._falls(0, slice(None)))
        self.across = self.seats.across.tolist()
        self.first = SeedFates(luck, stations, slice(0, 1))
        self._window: Window | None = None

    @cached_property
    def later(self) -> SeedFates:
        """What is in store for seeds that join a cell after its first."""
        return SeedFates(self.luck, self.stations, slice(1, PLACES))

    def falls(self, index: int, place: int) -> tuple[ListedFalls, int]:
        """The way down of a seed, and its index there."""
        if place == 0:
            return self.first_falls, index
        return ListedFalls(self._falls(place, slice(index, index + 1))), 0

    def _falls(self, place: int, cells: slice) -> Falls:
        luck, stations = self.luck, self.stations
        speeds = self.hole_speeds[cells]
        contacts = np.asarray(stations.tube.contacts(speeds), dtype=np.float64)
        return Falls(
            stations,
            launch=speeds * stations.release.downward(luck.launch[cells, place]),
            mean_contacts=np.broadcast_to(contacts, speeds.shape),
            size=stations.pickup.size(luck.size[cells, place]),
            start=self.seats.distance[cells] * self.seats.along[cells],
            gaps=luck.contact[cells, place],
            ranks=luck.loss[cells, place],
            hop=luck.hop[cells, place],
        )

    def fate(self, index: int, place: int) -> tuple[SeedFates, int]:
        """The columns of a seed, and its index in them."""
        if place == 0:
            return self.first, index
        return self.later, index * (PLACES - 1) + place - 1

    def window(self, chances: Chances, index: int, least: int) -> Window:
        """A stretch of cells at these chances that a cell lies in.

        It is worked out for `least` cells after a change, and for twice as many as before as
        long as nothing changes.
        """
        window = self._window
        same = window is not None and (window.chances is chances or window.chances == chances)
        if window is None or not same or not 0 <= index - window.start < window.cells:
            cells = 2 * window.cells if window is not None and same else least
            part = slice(index, index + cells)
            luck = CellLuck(**{name: values[part] for name, values in vars(self.luck).items()})
            seats = Seats(*(values[part] for values in self.seats))
            self._window = window = Window(self.stations, chances, luck, seats, index)
        return window
