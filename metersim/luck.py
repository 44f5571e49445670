"""All the chance of a run, drawn in arrays before the events walk along it.

A block of luck holds what chance deals to a stretch of cells, indexed by cell and by the place
that a seed takes on the cell (0 for the first to join, then 1, 2).  It depends on seed, cell and
place alone, never on a setting: a setting that is moved leaves all luck as it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.streams import Streams

PLACES = 3  # seeds that one cell can carry
TEETH = 3  # edges of the singulator that a cell passes
CONTACTS = 12  # wall contacts of one seed that are followed; more are left out
BLOCK = 2048  # cells in a block

Array = NDArray[np.float64]


@dataclass(frozen=True)
class CellLuck:
    """What chance deals to a stretch of cells.

    Every array has the cells first.  U is uniform on (0, 1), N standard normal, E standard
    exponential.

    Attributes
    ----------
    blocked : ndarray, shape (cells,)
        U: lowest values fail whatever the vacuum.
    meeting : ndarray, shape (cells, PLACES)
        E: what the mean number of joins must exceed for a seed to join.
    hold : ndarray, shape (cells, PLACES)
        U: rank of the vacuum a seed needs among those that hold.
    size : ndarray, shape (cells, PLACES)
        N: size, beside what the vacuum needed tells of it.
    seat : ndarray, shape (cells,)
        Rayleigh of scale 1: distance of the first seat from the hole's centre.
    seat_angle, third_angle : ndarray, shape (cells,)
        Direction of the gap that the first seed leaves, and of the third seed. [rad]
    pose : ndarray, shape (cells, PLACES)
        N: angle of a held seed.
    heap : ndarray, shape (cells, PLACES)
        E: knocks withstood in a heap above the carry line.
    tooth : ndarray, shape (cells, PLACES, TEETH)
        N: hold against each tooth of the singulator.
    pair_angle : ndarray, shape (cells, TEETH)
        Direction in which a pair meets each tooth. [rad]
    launch : ndarray, shape (cells, PLACES)
        N: direction of launch.
    contact : ndarray, shape (cells, PLACES, CONTACTS)
        E: gaps between wall contacts.
    loss : ndarray, shape (cells, PLACES, CONTACTS)
        U: speed lost at each.
    soil : ndarray, shape (cells, PLACES)
        N: resting place.
    hop : ndarray, shape (cells, PLACES)
        E: restitution.
    detection : ndarray, shape (cells, PLACES)
        U: lowest values are seen by the sensor.
    """

    blocked: Array
    meeting: Array
    hold: Array
    size: Array
    seat: Array
    seat_angle: Array
    third_angle: Array
    pose: Array
    heap: Array
    tooth: Array
    pair_angle: Array
    launch: Array
    contact: Array
    loss: Array
    soil: Array
    hop: Array
    detection: Array


class CellStreams:
    """Deals luck to cells, block after block."""

    def __init__(self, streams: Streams) -> None:
        self._streams = streams
        self._generators: dict[str, np.random.Generator] = {}

    def _draw(self, cause: str, kind: str, shape: tuple[int, ...]) -> Array:
        if cause not in self._generators:
            self._generators[cause] = self._streams.generator(cause)
        drawer: Callable[..., Array] = getattr(self._generators[cause], kind)
        return drawer(size=shape)

    def deal(self, cells: int) -> CellLuck:
        """Luck of the next `cells` cells."""
        single, places = (cells,), (cells, PLACES)
        return CellLuck(
            blocked=self._draw("blocked cell", "random", single),
            meeting=self._draw("meeting", "standard_exponential", places),
            hold=self._draw("hold", "random", places),
            size=self._draw("seed size", "standard_normal", places),
            seat=np.sqrt(2 * self._draw("seat", "standard_exponential", single)),
            seat_angle=2 * np.pi * self._draw("seat direction", "random", single),
            third_angle=2 * np.pi * self._draw("third direction", "random", single),
            pose=self._draw("pose", "standard_normal", places),
            heap=self._draw("heap", "standard_exponential", places),
            tooth=self._draw("tooth", "standard_normal", (*places, TEETH)),
            pair_angle=2 * np.pi * self._draw("pair direction", "random", (cells, TEETH)),
            launch=self._draw("launch", "standard_normal", places),
            contact=self._draw("contact", "standard_exponential", (*places, CONTACTS)),
            loss=self._draw("contact loss", "random", (*places, CONTACTS)),
            soil=self._draw("soil", "standard_normal", places),
            hop=self._draw("hop", "standard_exponential", places),
            detection=self._draw("detection", "random", places),
        )


class TickLuck:
    """Luck of the gate, tick after tick: E draws for arches that form and that clear."""

    def __init__(self, streams: Streams, ticks: int) -> None:
        self.forming = streams.generator("arch forming").standard_exponential(ticks)
        self.clearing = streams.generator("arch clearing").standard_exponential(ticks)


class KnotLuck:
    """Luck of the row unit: N draws for both parts of the envelope of its shaking."""

    def __init__(self, streams: Streams) -> None:
        self._cosine = streams.generator("shaking cosine")
        self._sine = streams.generator("shaking sine")

    def deal(self, knots: int) -> tuple[Array, Array]:
        """Cosine and sine part at the next knots."""
        return self._cosine.standard_normal(knots), self._sine.standard_normal(knots)
