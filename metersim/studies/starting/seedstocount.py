"""How many seeds to count, so that a rise of skips and doubles is seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import bdtrik, ndtri

from metersim.measures import Measured
from metersim.studies.counting.dependence import effect_by_blocks

RISE = 1.5  # times as many skips and doubles
CHANCE, POWER = 0.05, 0.8  # of a false alarm, and of seeing the rise; common practice, no source
COUNTED = 1000  # cells of a usual count


@dataclass(frozen=True)
class Count:
    """Seeds to count.

    Attributes
    ----------
    share : float
        Cells that release none or more than one, as expected. [1]
    effect : float
        Design effect: how many times more cells than independent ones, 1 or more. [1]
    seeds : int
        Seeds to count; 0 where there is nothing that could rise.
    usual, by_luck : float, int
        Such cells expected among `COUNTED`, and the most that luck makes 19 times out of 20.
    unsure : int
        The most that luck makes where seed and vacuum are off as far as they may be.
    """

    share: float
    effect: float
    seeds: int
    usual: float
    by_luck: int
    unsure: int


def seeds_to_count(measured: Measured, most: float = 0.0) -> Count:
    """Seeds after which skips and doubles of half as many again are told from those expected.

    Parameters
    ----------
    measured : Measured
        What is expected.
    most : float
        Share of such cells where what is not known is at its worst, if that is more. [1]

    Notes
    -----
    A one-sided test of a share against a known one, in normal approximation, times the design
    effect: the variance of the share over stretches of the run, over that of independent cells.
    """
    cells = measured.sums["cells"]
    odd = cells - measured.sums["one"]
    share = float(odd.sum() / cells.sum())
    if not 0 < share < 1 / RISE:
        some = round(COUNTED * share)
        return Count(share, 1.0, 0, COUNTED * share, some, some)
    effect = max(effect_by_blocks(odd, cells), 1.0)
    more = RISE * share
    deviates = (ndtri(1 - CHANCE), ndtri(POWER))
    spreads = (math.sqrt(share * (1 - share)), math.sqrt(more * (1 - more)))
    wide = sum(float(z) * spread for z, spread in zip(deviates, spreads, strict=True))
    a_cell = measured.total("seeds") / measured.total("cells")
    seeds = math.ceil(effect * (wide / (more - share)) ** 2 * a_cell)
    by_luck, unsure = (_most(one, effect) for one in (share, max(share, most)))
    return Count(share, effect, seeds, COUNTED * share, by_luck, unsure)


def _most(share: float, effect: float) -> int:
    """The most cells among `COUNTED` that luck makes 19 times out of 20."""
    return math.ceil(float(bdtrik(1 - CHANCE, COUNTED / effect, share)) * effect)
