"""All random draws of a run, by cause and cell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.distributions.normal import ndtri
from metersim.run.streams import Streams

MOST_SEEDS = 6  # on one cell; liao2018 saw up to six on one hole
CONTACTS = 12  # wall contacts of one seed that are followed; later ones are left out
TURNS = 16  # most draws of one cause for one seed, by index
BLOCK = 32768  # cells or knots in a block; no size from 4096 to 65536 is faster

Array = NDArray[np.float64]


class BlockDraws:
    """The draws of a block of cells, as arrays.

    An attribute is drawn when it is first read.  It has one entry per cell, for the first seed
    that joins the cell.  `nth` says which seed of a cell a method draws for: 0 is the first.

    Parameters
    ----------
    streams : Streams
        Source of the numbers.
    block : int
        Number of the block.
    cells : int
        Cells in the block.  All blocks but the last have `BLOCK` cells.
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
    def second(self) -> Array:
        """E: what the mean number of further seeds must exceed for a second seed to join."""
        return self._exponential("second")

    @cached_property
    def grip(self) -> Array:
        """N: deviate of the vacuum needed, among all seeds."""
        return self._normal("grip")

    @cached_property
    def size(self) -> Array:
        """N: the part of the size that the vacuum needed does not determine."""
        return self._normal("size")

    @cached_property
    def seat(self) -> Array:
        """N: the part of the seat that the vacuum needed and the size do not determine."""
        return self._normal("seat")

    @cached_property
    def lie(self) -> Array:
        """U: pose of the held seed, flat or on edge."""
        return self._streams.block("lie", self._block).random(self.cells)

    @cached_property
    def shape(self) -> Array:
        """N: length over width of the seed."""
        return self._normal("shape")

    @cached_property
    def along(self) -> Array:
        """N: offset of the seat from the hole's centre, along the track."""
        return self._normal("seat along")

    @cached_property
    def across(self) -> Array:
        """N: offset of the seat from the hole's centre, across the track."""
        return self._normal("seat across")

    @cached_property
    def pose(self) -> Array:
        """N: angle of the held seed."""
        return self._normal("pose")

    @cached_property
    def edge(self) -> Array:
        """U: a lone seed with a low value leaves at the singulator."""
        return self._streams.block("edge", self._block).random(self.cells)

    @cached_property
    def launch(self) -> Array:
        """N: direction of launch."""
        return self._normal("launch")

    @cached_property
    def contact(self) -> Array:
        """E: distance fallen before the first contact with the wall."""
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
        """Blocked cells of the block, for a chance that a cell is blocked."""
        if chance <= 0:
            return np.empty(0, dtype=np.intp)
        draw = self._streams.block("blocked", self._block).standard_exponential
        found, cell = [], -1.0
        while (cell := cell + 1 + draw() // -np.log1p(-chance)) < self.cells:
            found.append(int(cell))
        return np.array(found, dtype=np.intp)

    def uniform(self, cause: str | Sequence[str], cell: Any, nth: Any = 0, turn: Any = 0) -> Any:
        """U by cell of the block, seed in cell and turn, for causes that few cells need.

        Several causes give one row each.
        """
        return self._streams.uniform(cause, self._index(cell, nth, turn))

    def pair(self, cause: str, cell: Any, nth: Any, turn: Any) -> tuple[Any, Any]:
        """Two U of a cause, by cell of the block, seed in cell and turn."""
        return self._streams.pair(cause, self._index(cell, nth, turn))

    def key(self, cause: str) -> int:
        """What the numbers of a cause by index begin from."""
        return self._streams.key(cause)

    def _index(self, cell: Any, nth: Any, turn: Any) -> Any:
        first = self.first * MOST_SEEDS * TURNS  # of the block: added where the arrays are smallest
        index = cell * (MOST_SEEDS * TURNS) + (nth * TURNS + (turn + first))
        return index.astype(np.uint64) if isinstance(index, np.ndarray) else int(index)

    def exponential(self, cause: str, cell: Any, nth: Any = 0, turn: Any = 0) -> Any:
        """E by cell of the block, seed in cell and turn."""
        return -np.log(self.uniform(cause, cell, nth, turn))

    def normal(self, cause: str, cell: Any, nth: Any = 0, turn: Any = 0) -> Any:
        """N by cell of the block, seed in cell and turn."""
        return ndtri(self.uniform(cause, cell, nth, turn))


class CellDraws:
    """The draws of one cell at a time, as plain numbers.

    They are the numbers of `BlockDraws`.  A block is drawn for a cause when one of its cells
    needs it first.  Two blocks are kept.

    Parameters
    ----------
    streams : Streams
        Source of the numbers.
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

    def _first(self, cause: str, cell: int) -> float:
        """The draw of a cause for the first seed of a cell."""
        block, index = self._at(cell)
        return float(getattr(block, cause)[index])

    def _normal(self, cause: str, cell: int, nth: int) -> float:
        return self.normal(cause, cell, nth) if nth else self._first(cause, cell)

    def _exponential(self, cause: str, cell: int, nth: int) -> float:
        return self.exponential(cause, cell, nth) if nth else self._first(cause, cell)

    def uniform(self, cause: str, cell: int, nth: int = 0, turn: int = 0) -> float:
        """U by cell, seed in cell and turn, for causes that few cells need."""
        block, index = self._at(cell)
        return float(block.uniform(cause, index, nth, turn))

    def exponential(self, cause: str, cell: int, nth: int = 0, turn: int = 0) -> float:
        """E by cell, seed in cell and turn."""
        return -math.log(self.uniform(cause, cell, nth, turn))

    def normal(self, cause: str, cell: int, nth: int = 0, turn: int = 0) -> float:
        """N by cell, seed in cell and turn."""
        return float(ndtri(self.uniform(cause, cell, nth, turn)))

    def blocked(self, cell: int, chance: float) -> bool:
        """Whether the cell is blocked, for a chance that a cell is blocked."""
        block, index = self._at(cell)
        key = block.first, chance
        if key not in self._blocked:
            self._blocked = {key: set(block.blocked(chance).tolist())}
        return index in self._blocked[key]

    def grip(self, cell: int) -> float:
        """N: deviate of the vacuum needed by a first seed, among all seeds."""
        return self._first("grip", cell)

    def grip_rank(self, cell: int, nth: int = 0) -> float:
        """U: rank of the vacuum needed among the seeds that hold."""
        return self.uniform("grip", cell, nth)

    def lie(self, cell: int) -> float:
        """U: pose of the first seed, flat or on edge."""
        return self._first("lie", cell)

    def shape(self, cell: int) -> float:
        """N: length over width of the first seed."""
        return self._first("shape", cell)

    def along(self, cell: int) -> float:
        """N: offset of the first seed's seat from the hole's centre, along the track."""
        return self._first("along", cell)

    def across(self, cell: int) -> float:
        """N: offset of the first seed's seat from the hole's centre, across the track."""
        return self._first("across", cell)

    def meeting(self, cell: int) -> float:
        """E: what the mean number of joins must exceed for a seed to join."""
        return self._first("meeting", cell)

    def more(self, cell: int, nth: int) -> float:
        """E: what the mean number of further seeds must exceed for a later seed to join."""
        return self._first("second", cell) if nth == 1 else self.exponential("meeting", cell, nth)

    def size(self, cell: int, nth: int = 0) -> float:
        """N: size; for a first seed, the part that the vacuum needed does not determine."""
        return self._normal("size", cell, nth)

    def seat(self, cell: int, nth: int = 0) -> float:
        """N: effect of the seat on the vacuum needed."""
        return self._normal("seat", cell, nth)

    def pose(self, cell: int, nth: int = 0) -> float:
        """N: angle of the held seed."""
        return self._normal("pose", cell, nth)

    def edge(self, cell: int, nth: int = 0) -> float:
        """U: a lone seed with a low value leaves at the singulator."""
        return self.uniform("edge", cell, nth) if nth else self._first("edge", cell)

    def launch(self, cell: int, nth: int = 0) -> float:
        """N: direction of launch."""
        return self._normal("launch", cell, nth)

    def contact(self, cell: int, nth: int = 0) -> float:
        """E: distance fallen before the first contact with the wall."""
        return self._exponential("contact", cell, nth)

    def wall(self, cell: int, nth: int, contact: int) -> tuple[float, float]:
        """Two U of a contact with the wall: of the speed lost, of the distance to the next one."""
        block, index = self._at(cell)
        return block.pair("wall", index, nth, contact)

    def soil(self, cell: int, nth: int = 0) -> float:
        """N: resting place."""
        return self._normal("soil", cell, nth)

    def hop(self, cell: int, nth: int = 0) -> float:
        """E: restitution."""
        return self._exponential("hop", cell, nth)


class HoleDraws:
    """Draws that last for the whole run, by hole of the disc.

    Attributes
    ----------
    deviates : ndarray, shape (holes,)
        N: difference of a hole from the others.
    turns : ndarray, shape (holes,)
        Position of a hole on the disc, from where the disc runs out most, in turns.
    """

    def __init__(self, streams: Streams, holes: int) -> None:
        self.deviates: Array = streams.generator("holes").standard_normal(holes)
        self.turns: Array = np.arange(holes) / holes + streams.generator("run-out").random()


class ArchDraws:
    """Draws of the gate: in turn, the wait until an arch forms and until it clears."""

    def __init__(self, streams: Streams) -> None:
        self._draw = streams.generator("arches").standard_exponential

    def wait(self) -> float:
        """The next wait over its mean."""
        return float(self._draw())


class SlipDraws:
    """Draws of the slips of a ground wheel, in turn: pairs of an angle and a time."""

    def __init__(self, streams: Streams) -> None:
        self._draw = streams.generator("slips").standard_exponential

    def next(self, slips: int) -> Array:
        """Pairs of the next slips, each over its mean."""
        return self._draw((slips, 2))


class KnotDraws:
    """Draws of the row unit's shaking, by knots of its envelope.

    The arrays draw whole blocks of knots.  The events draw one knot at a time and get the same
    numbers; two blocks are kept for each cause.
    """

    def __init__(self, streams: Streams) -> None:
        self._streams = streams
        self._kept: dict[tuple[str, int], Array] = {}

    def strengths(self, block: int, knots: int) -> Array:
        """E: half the square of the envelope over its SD, at the first knots of a block."""
        return self._streams.block("shaking strength", block).standard_exponential(knots)

    def phases(self, block: int, knots: int) -> Array:
        """U: phase of the envelope over a whole turn, at the first knots of a block."""
        return self._streams.block("shaking phase", block).random(knots)

    def strength(self, knot: int) -> float:
        """E: half the square of the envelope over its SD, at a knot."""
        return float(self._block("strengths", knot // BLOCK)[knot % BLOCK])

    def phase(self, knot: int) -> float:
        """U: phase of the envelope over a whole turn, at a knot."""
        return float(self._block("phases", knot // BLOCK)[knot % BLOCK])

    def strongest(self, first: int, last: int) -> float:
        """The largest strength from one knot to another, both included."""
        blocks = range(first // BLOCK, last // BLOCK + 1)
        return max(self._strongest_of(number, first, last) for number in blocks)

    def _block(self, cause: str, number: int) -> Array:
        if (cause, number) not in self._kept:
            self._kept.pop((cause, number - 2), None)
            self._kept[cause, number] = getattr(self, cause)(number, BLOCK)
        return self._kept[cause, number]

    def _strongest_of(self, number: int, first: int, last: int) -> float:
        start = number * BLOCK
        strengths = self._block("strengths", number)
        return float(strengths[max(first - start, 0) : last + 1 - start].max())
