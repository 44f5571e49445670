"""The steps that take most of a run's time, so that others can stand in for those of numpy."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from metersim.run.arrays.descent import FallsOf, fall
from metersim.run.arrays.fates import Fates, fates
from metersim.run.arrays.filling import Filled, Limits, Start, Whole, fill
from metersim.run.arrays.picking import Block, CellChances, Picked, pick
from metersim.run.arrays.stretch import Motion, Stretch, motion_at


class Steps(NamedTuple):
    """What a run asks for each stretch or block of cells, and for its ticks."""

    fill: Callable[[Whole, Limits, Start], Filled]
    pick: Callable[[Block, int, int, CellChances], Picked]
    fates: Callable[[Stretch, Picked, Whole | None], Fates]
    fall: FallsOf
    motion: Motion


def usual_steps() -> Steps:
    """The steps of numpy, which take one operation after the other."""
    return Steps(fill, pick, fates, fall, motion_at)
