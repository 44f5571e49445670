"""What the trade says, each fact once: common practice, no source; the hole's share is from memory.

The program is not tuned to any of it.  Start sheets, ladders and next moves work out what the
simulation gives beside each, and say so where it disagrees.
"""

from __future__ import annotations

NO_SOURCE = "common practice, no source"

HANDBOOK_HOLE = (0.5, 0.66)  # hole over the seed's width; handbooks, from memory
MOST_NOTCHES = 1.0  # from the centre, of all but small round seed
SMALL_ROUND = (3e-3, 0.8)  # assumption: canola-like is shorter than this [m], and as round

LEAVE = "nothing is out of order: leave it"
DOUBLES = "more doubles than wanted: one notch more aggressive"
SKIPS = "more skips than wanted: one notch less aggressive, and check the vacuum"
CENTRE = "maize starts with the singulator at the centre of its travel"
TRAVEL = "maize ends at most one notch from the centre"
CHECK_HOLE = "check hole size against seed size"
TOO_FAR = f"more than one notch from the centre would be needed: {CHECK_HOLE}"
AGGRESSIVE = "small round seed starts at the most aggressive end"
GATE = "a gate too low starves the pool, one too high dislodges seed"
HOLES = "{:g} to {:g}".format(*HANDBOOK_HOLE)
HOLE = f"the hole is about {HOLES} of the seed's width"
ONE = "one setting at a time"


def is_small_round(length: float, sphericity: float) -> bool:
    """Whether seed is such as starts at the most aggressive end, as canola.

    Parameters
    ----------
    length : float
        Of a seed. [m]
    sphericity : float
        Of a seed, 1 for a ball. [1]

    Notes
    -----
    assumption: `SMALL_ROUND`; the trade names crops, not sizes.
    """
    return length < SMALL_ROUND[0] and sphericity > SMALL_ROUND[1]
