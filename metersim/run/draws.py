"""All random draws of a run: one named stream per cause, indexed by cell."""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

BETWEEN_BLOCKS = 0x9E3779B97F4A7C15F39CC0605CEDC835  # draws, as numpy's PCG64.jumped steps
WORD = (1 << 64) - 1
HALF = (1 << 26) - 1
STEP = 0x9E3779B97F4A7C15
MIXES = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))


class Streams:
    """The streams of one run.

    Parameters
    ----------
    seed : int
        Seed of the run, 0 or more.
    replicate : int
        Number of the replicate, 0 or more.
    """

    def __init__(self, seed: int, replicate: int = 0) -> None:
        for name, value in (("seed", seed), ("replicate", replicate)):
            if isinstance(value, bool) or not isinstance(value, int) or value < 0:
                raise ValueError(f"{name} is {value!r}; it must be a whole number, 0 or more")
        self.seed = seed
        self.replicate = replicate
        root = np.random.SeedSequence(seed, spawn_key=(replicate,))
        self._bits = np.random.PCG64(root)
        self._start = self._bits.state
        self._generator = np.random.Generator(self._bits)
        self._word = int(root.generate_state(1, np.uint64)[0])

    def generator(self, cause: str) -> np.random.Generator:
        """A fresh generator of the stream of a cause, at its start."""
        key = (self.replicate, zlib.crc32(cause.encode()))
        return np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(self.seed, spawn_key=key))
        )

    def block(self, cause: str, number: int) -> np.random.Generator:
        """The generator at the start of a block of a cause's numbers.

        Draw from it at once: it is the same object for all blocks and causes, which lie far
        apart in one long period.
        """
        far = (zlib.crc32(cause.encode()) << 32) + number + 1
        self._bits.state = self._start
        self._bits.advance(far * BETWEEN_BLOCKS % (1 << 128))
        return self._generator

    def uniform(self, cause: str | Sequence[str], index: Any) -> Any:
        """Uniform numbers of causes by index, whatever else was asked for.

        For causes that concern few cells, which would waste most of a block.

        Parameters
        ----------
        cause : str, or sequence of str
            Name of the cause; several give one row each.
        index : int or ndarray of uint64
            Which numbers, 0 or more; an array when there are several causes.

        Returns
        -------
        float or ndarray
            Between 0 and 1, neither of them included. [1]

        Notes
        -----
        Source: steele2014 (SplitMix64, whose state after n steps is known in closed form).
        """
        key: Any
        if isinstance(cause, str):
            key = self._key(cause)
        else:
            key = np.array([self._key(one) for one in cause], dtype=np.uint64)
            key = key.reshape(-1, *(1 for _ in index.shape))
        return ((_mixed(index * STEP + key) >> 12) + 0.5) * 2.0**-52

    def pair(self, cause: str, index: Any) -> tuple[Any, Any]:
        """Two uniform numbers of a cause by index, of half the digits each."""
        word = _mixed(index * STEP + self._key(cause))
        return ((word >> 38) + 0.5) * 2.0**-26, ((word >> 12 & HALF) + 0.5) * 2.0**-26

    def _key(self, cause: str) -> int:
        return int(_mixed(self._word + zlib.crc32(cause.encode()) * STEP))


def _mixed(word: Any) -> Any:
    """A random word of 64 bits for each: a whole number of Python, or an array of them."""
    for shift, factor in MIXES:
        if isinstance(word, int):
            word &= WORD
        word ^= word >> shift
        word *= factor
    if isinstance(word, int):
        word &= WORD
    return word ^ word >> 31


PLACES = 6  # seeds that one cell can carry; liao2018 saw up to six on one hole
CONTACTS = 12  # wall contacts of one seed that are followed; more are left out
TURNS = 16  # draws of one cause that one seed can ask for by index
BLOCK = 32768  # cells or knots in a block; no size from 4096 to 65536 is faster

Array = NDArray[np.float64]


class BlockDraws:
    """What chance deals to a block of cells.

    The attributes are drawn when they are first read; all have one entry a cell and concern the
    first seed that joins it.

    Parameters
    ----------
    streams : Streams
        Where it comes from.
    block : int
        Number of the block.
    cells : int
        Cells in it, `BLOCK` but for the last.
    """

    def __init__(self, streams: Streams, block: int, cells: int = BLOCK) -> None:
        self._streams, self._block = streams, block
        self.first = block * BLOCK
        self.cells = cells

    def _normal(self, cause: str) -> Array:
        return self._streams.block(cause, self._block).standard_normal(self.cells)

    def _exponential(self, cause: str) -> Array:
        return self._streams.block(cause, self._block).standard_exponential(self.cells)

    @cached_property
    def meeting(self) -> Array:
        """E: what the mean number of joins must exceed for a seed to join."""
        return self._exponential("meeting")

    @cached_property
    def grip(self) -> Array:
        """N: deviate of the vacuum needed, among all seeds."""
        return self._normal("grip")

    @cached_property
    def size(self) -> Array:
        """N: size, beside what the vacuum needed tells of it."""
        return self._normal("size")

    @cached_property
    def seat(self) -> Array:
        """N: vacuum needed out of the pool, beside what that in the pool and size tell of it."""
        return self._normal("seat")

    @cached_property
    def along(self) -> Array:
        """N: offset of the seat from the hole's centre, along the track."""
        return self._normal("seat along")

    @cached_property
    def across(self) -> Array:
        """N: the same across the track."""
        return self._normal("seat across")

    @cached_property
    def pose(self) -> Array:
        """N: angle of the held seed."""
        return self._normal("pose")

    @cached_property
    def edge(self) -> Array:
        """U: lowest values leave at the singulator when the seed is alone."""
        return self._streams.block("edge", self._block).random(self.cells)

    @cached_property
    def launch(self) -> Array:
        """N: direction of launch."""
        return self._normal("launch")

    @cached_property
    def contact(self) -> Array:
        """E: way to the first contact with the wall."""
        return self._exponential("contact")

    @cached_property
    def soil(self) -> Array:
        """N: resting place."""
        return self._normal("soil")

    @cached_property
    def hop(self) -> Array:
        """E: restitution."""
        return self._exponential("hop")

    def blocked(self, chance: float) -> NDArray[np.intp]:
        """Cells of the block that are blocked when a share of all is."""
        if chance <= 0:
            return np.empty(0, dtype=np.intp)
        draw = self._streams.block("blocked", self._block).standard_exponential
        found, cell = [], -1.0
        while (cell := cell + 1 + draw() // -np.log1p(-chance)) < self.cells:
            found.append(int(cell))
        return np.array(found, dtype=np.intp)

    def uniform(self, cause: str | Sequence[str], cell: Any, place: Any = 0, turn: Any = 0) -> Any:
        """U by cell of the block, place on the cell and turn, for causes that few cells ask.

        Several causes give one row each.
        """
        return self._streams.uniform(cause, self._index(cell, place, turn))

    def pair(self, cause: str, cell: Any, place: Any, turn: Any) -> tuple[Any, Any]:
        """Two U of a cause, likewise."""
        return self._streams.pair(cause, self._index(cell, place, turn))

    def _index(self, cell: Any, place: Any, turn: Any) -> Any:
        index = cell * (PLACES * TURNS) + (place * TURNS + (turn + self.first * PLACES * TURNS))
        return index.astype(np.uint64) if isinstance(index, np.ndarray) else int(index)

    def exponential(self, cause: str, cell: Any, place: Any = 0, turn: Any = 0) -> Any:
        """E, likewise."""
        return -np.log(self.uniform(cause, cell, place, turn))

    def normal(self, cause: str, cell: Any, place: Any = 0, turn: Any = 0) -> Any:
        """N, likewise."""
        return ndtri(self.uniform(cause, cell, place, turn))


class CellDraws:
    """The draws of one cell at a time, the same numbers as those of `BlockDraws`.

    A block is drawn for a cause when the first of its cells asks for it.  Two blocks are kept.

    Parameters
    ----------
    streams : Streams
        Where the numbers come from.
    cells : int
        Cells of the run.
    """

    def __init__(self, streams: Streams, cells: int) -> None:
        self._streams, self._cells = streams, cells
        self._blocks: dict[int, BlockDraws] = {}
        self._blocked: dict[tuple[int, float], set[int]] = {}

    def _at(self, cell: int) -> tuple[BlockDraws, int]:
        """The block of a cell, and the cell's number in it."""
        number, index = divmod(cell, BLOCK)
        if number not in self._blocks:
            while len(self._blocks) > 1:
                del self._blocks[min(self._blocks)]
            size = min(BLOCK, self._cells - number * BLOCK)
            self._blocks[number] = BlockDraws(self._streams, number, size)
        return self._blocks[number], index

    def _first(self, field: str, cell: int) -> float:
        block, index = self._at(cell)
        return float(getattr(block, field)[index])

    def uniform(self, cause: str, cell: int, place: int = 0, turn: int = 0) -> float:
        """U by cell, seed in cell and turn, for causes that few cells ask for."""
        block, index = self._at(cell)
        return float(block.uniform(cause, index, place, turn))

    def exponential(self, cause: str, cell: int, place: int = 0, turn: int = 0) -> float:
        """E, likewise."""
        return -math.log(self.uniform(cause, cell, place, turn))

    def normal(self, cause: str, cell: int, place: int = 0, turn: int = 0) -> float:
        """N, likewise."""
        return float(ndtri(self.uniform(cause, cell, place, turn)))

    def blocked(self, cell: int, chance: float) -> bool:
        """Whether the cell is blocked when a share of all cells is."""
        block, index = self._at(cell)
        key = block.first, chance
        if key not in self._blocked:
            self._blocked = {key: set(block.blocked(chance).tolist())}
        return index in self._blocked[key]

    def grip(self, cell: int) -> float:
        """N: deviate of the vacuum needed by a first seed, among all seeds."""
        return self._first("grip", cell)

    def grip_rank(self, cell: int, place: int = 0) -> float:
        """U: rank of the vacuum needed, among the seeds that hold."""
        return self.uniform("grip", cell, place)

    def along(self, cell: int) -> float:
        """N: offset of the first seed's seat from the hole's centre, along the track."""
        return self._first("along", cell)

    def across(self, cell: int) -> float:
        """N: the same across the track."""
        return self._first("across", cell)

    def meeting(self, cell: int, place: int = 0) -> float:
        """E: what the mean number of joins must exceed for a seed to join."""
        if place:
            return self.exponential("meeting", cell, place)
        return self._first("meeting", cell)

    def size(self, cell: int, place: int = 0) -> float:
        """N: size; of a first seed, beside what the vacuum needed says of it."""
        return self.normal("size", cell, place) if place else self._first("size", cell)

    def seat(self, cell: int, place: int = 0) -> float:
        """N: what the seat adds to the vacuum needed."""
        return self.normal("seat", cell, place) if place else self._first("seat", cell)

    def pose(self, cell: int, place: int = 0) -> float:
        """N: angle of the held seed."""
        return self.normal("pose", cell, place) if place else self._first("pose", cell)

    def edge(self, cell: int, place: int = 0) -> float:
        """U: lowest values leave at the singulator when the seed is alone."""
        return self.uniform("edge", cell, place) if place else self._first("edge", cell)

    def launch(self, cell: int, place: int = 0) -> float:
        """N: direction of launch."""
        return self.normal("launch", cell, place) if place else self._first("launch", cell)

    def contact(self, cell: int, place: int = 0) -> float:
        """E: way to the first contact with the wall."""
        if place:
            return self.exponential("contact", cell, place)
        return self._first("contact", cell)

    def wall(self, cell: int, place: int, contact: int) -> tuple[float, float]:
        """Two U of a contact with the wall: of the speed lost, and of the way to the next."""
        block, index = self._at(cell)
        return block.pair("wall", index, place, contact)

    def soil(self, cell: int, place: int = 0) -> float:
        """N: resting place."""
        return self.normal("soil", cell, place) if place else self._first("soil", cell)

    def hop(self, cell: int, place: int = 0) -> float:
        """E: restitution."""
        return self.exponential("hop", cell, place) if place else self._first("hop", cell)


class ArchDraws:
    """Draws of the gate: the waits until arches form and until they clear, in turn."""

    def __init__(self, streams: Streams) -> None:
        self._draw = streams.generator("arches").standard_exponential

    def wait(self) -> float:
        """The next wait over its mean."""
        return float(self._draw())


class KnotBlocks:
    """Draws of the row unit's shaking, by knots of its envelope."""

    def __init__(self, streams: Streams) -> None:
        self._streams = streams

    def strength(self, block: int) -> Array:
        """E: half the square of the envelope over its SD, at a block of knots."""
        return self._streams.block("shaking strength", block).standard_exponential(BLOCK)

    def phase(self, block: int) -> Array:
        """U: phase of the envelope over a whole turn, at a block of knots."""
        return self._streams.block("shaking phase", block).random(BLOCK)


class KnotDraws:
    """The draws of one knot at a time, the same numbers as those of `KnotBlocks`."""

    def __init__(self, streams: Streams) -> None:
        self._knots = KnotBlocks(streams)
        self._blocks: dict[tuple[str, int], Array] = {}

    def _block(self, cause: str, number: int) -> Array:
        if (cause, number) not in self._blocks:
            self._blocks.pop((cause, number - 2), None)
            self._blocks[cause, number] = getattr(self._knots, cause)(number)
        return self._blocks[cause, number]

    def strength(self, knot: int) -> float:
        """E: half the square of the envelope over its SD, at a knot."""
        return float(self._block("strength", knot // BLOCK)[knot % BLOCK])

    def phase(self, knot: int) -> float:
        """U: phase of the envelope over a whole turn, at a knot."""
        return float(self._block("phase", knot // BLOCK)[knot % BLOCK])

    def strongest(self, first: int, last: int) -> float:
        """The largest strength from one knot to another, both included."""
        blocks = range(first // BLOCK, last // BLOCK + 1)
        return max(self._strongest_of(number, first, last) for number in blocks)

    def _strongest_of(self, number: int, first: int, last: int) -> float:
        start = number * BLOCK
        strengths = self._block("strength", number)
        return float(strengths[max(first - start, 0) : last + 1 - start].max())
