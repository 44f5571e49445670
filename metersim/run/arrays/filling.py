"""The pool and the hopper at many ticks, by what cells gain and what the gate lets through."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]


class Filled(NamedTuple):
    """Pool and hopper at ticks, whether a slide goes on after each tick, and seeds spilt so far."""

    pool: Whole
    hopper: Whole
    sliding: NDArray[np.bool_]
    spilt: Whole


class Limits(NamedTuple):
    """What the gate lets through; one entry a tick."""

    out: Whole  # whole seeds that the slot at the disc can pass since the tick before
    able: Whole  # whole seeds that the gate can pass since the tick before
    low: Whole  # seeds in the pool at which a slide begins
    full: Whole  # seeds in the pool at which a slide ends


class Start(NamedTuple):
    """State before the first tick."""

    pool: int
    hopper: int
    sliding: bool
    spilt: int


def fill(gained: Whole, limits: Limits, start: Start) -> Filled:
    """Pool and hopper at ticks.

    Seed slides in under the gate and leaks out at the disc as well.

    Parameters
    ----------
    gained : ndarray
        Seeds gained from cells up to each tick.
    limits : Limits
        What the gate lets through.
    start : Start
        State before the first tick.
    """
    if not start.sliding and (made := by_slides(gained, limits, start)):
        return made
    change = np.diff(gained, prepend=0)
    made = Filled(*([0] * len(gained) for _ in Filled._fields))  # type: ignore[arg-type]
    fill_ticks(change.tolist(), Limits(*(column.tolist() for column in limits)), start, made)
    pool, hopper, sliding, spilt = made
    whole = np.array([pool, hopper, spilt], dtype=np.int64)
    return Filled(whole[0], whole[1], np.array(sliding, dtype=bool), whole[2])


def fill_ticks(change: Any, limits: Any, start: Any, made: Any) -> None:
    """Fill in the columns of `Filled`, tick by tick, from the seeds gained since the tick before.

    Columns are arrays or lists.
    """
    outs, ables, lows, fulls = limits
    pools, hoppers, slides, losses = made
    pool, hopper, sliding, spilt = start
    for tick in range(len(change)):
        pool += change[tick]
        gone = min(outs[tick], max(pool, 0))  # a guess may be below 0
        pool -= gone
        spilt += gone
        sliding = sliding or pool <= lows[tick]
        if sliding:
            inflow = max(min(fulls[tick] - pool, ables[tick], hopper), 0)
            pool += inflow
            hopper -= inflow
            sliding = pool < fulls[tick]
        pools[tick], hoppers[tick], slides[tick], losses[tick] = pool, hopper, sliding, spilt


def by_slides(gained: Whole, limits: Limits, start: Start) -> Filled | None:
    """The same if no slide is held up and each fills the pool at once; None otherwise.

    None too where the pool may lack seeds that would leak out of it.
    """
    pool, hopper, _, spilt = start
    if (limits.full <= limits.low).any():
        return None
    leaked = np.cumsum(limits.out)
    gained = gained - leaked
    # Each slide adds to the pool but for what cells gained.  No tick before it asks for more.
    reached = np.maximum.accumulate(limits.low - gained)
    after = limits.full - gained  # a slide at this tick
    following = np.searchsorted(reached, after).tolist()
    ticks, tick = [], int(np.searchsorted(reached, pool))
    while tick < len(following):
        ticks.append(tick)
        tick = following[tick]
    filled = np.concatenate(([pool], after[ticks]))
    if filled[-1] - pool > hopper or (np.diff(filled) > limits.able[ticks]).any():
        return None
    base = np.repeat(filled, np.diff([0, *ticks, len(gained)]))
    if leaked.any() and (np.concatenate(([pool], base[:-1])) + gained < 0).any():
        return None
    held_up = np.zeros(len(gained), dtype=bool)
    return Filled(base + gained, hopper + pool - base, held_up, spilt + leaked)
