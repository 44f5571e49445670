"""Size of the count on the bench that a sheet asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import bdtrik

from metersim.distributions.normal import ndtri
from metersim.measures.estimates import Measured
from metersim.measures.intervals import Estimate
from metersim.questions.shared.counts import effect_by_blocks

RISE = 1.5  # factor of skips and doubles that a count must detect
CHANCE, POWER = 0.05, 0.8  # of false alarm, and of detection; common practice, no source
COUNTED = 1000  # cells of a usual count


@dataclass(frozen=True)
class Count:
    """Size and range of a count on the bench.

    Attributes
    ----------
    share : float
        Expected share of cells that release no seed or several. [1]
    effect : float
        Design effect: needed cells over needed independent cells, 1 or more. [1]
    seeds : int
        Seeds to count; 0 where no such cells are expected.
    usual, usual_most : float, int
        Expected number of such cells among `COUNTED`, and its upper bound in 19 of 20 counts.
    uncertain_most : int
        The same upper bound for the worst seed size and vacuum.
    """

    share: float
    effect: float
    seeds: int
    usual: float
    usual_most: int
    uncertain_most: int


def seeds_to_count(measured: Measured, most: float = 0.0) -> Count:
    """Size of a count that detects a rise of skips and doubles by a half.

    Parameters
    ----------
    measured : Measured
        Expected measures.
    most : float
        Share of such cells for the worst uncertain inputs, if it is larger. [1]

    Notes
    -----
    The size is that of a one-sided test of a share against a known one, in normal approximation,
    times the design effect.  This is the variance of the share over stretches of the run, over that
    of independent cells.
    """
    cells = measured.sums["cells"]
    faulty = cells - measured.sums["one"]
    share = float(faulty.sum() / cells.sum())
    if not 0 < share < 1 / RISE:
        some = round(COUNTED * share)
        return Count(share, 1.0, 0, COUNTED * share, some, some)
    effect = max(effect_by_blocks(faulty, cells), 1.0)
    more = RISE * share
    deviates = (ndtri(1 - CHANCE), ndtri(POWER))
    spreads = (math.sqrt(share * (1 - share)), math.sqrt(more * (1 - more)))
    wide = sum(float(z) * spread for z, spread in zip(deviates, spreads, strict=True))
    a_cell = measured.total("seeds") / measured.total("cells")
    seeds = math.ceil(effect * (wide / (more - share)) ** 2 * a_cell)
    usual_most, uncertain_most = (_most(one, effect) for one in (share, max(share, most)))
    return Count(share, effect, seeds, COUNTED * share, usual_most, uncertain_most)


def _most(share: float, effect: float) -> int:
    """Upper bound of such cells among `COUNTED` in 19 of 20 counts."""
    return math.ceil(float(bdtrik(1 - CHANCE, COUNTED / effect, share)) * effect)


def expected(count: Count, single: Estimate) -> tuple[int, int]:
    """Skips and doubles among `COUNTED` cells: expected, and the most of 19 of 20 meters in order.

    Parameters
    ----------
    count : Count
        Size and range of a count on one machine.
    single : Estimate
        Share of cells with one seed, with its total interval of 90 %: of machines and inputs too.

    Notes
    -----
    The distance of the total interval and that of chance add up as squares.
    """
    many = COUNTED * (1 - single.value)
    machines = COUNTED * (single.value - single.low)
    return round(many), math.ceil(many + math.hypot(machines, count.usual_most - count.usual))
