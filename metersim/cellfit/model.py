"""The model: cells a fixed distance apart, and seeds that lie off their places.

Each cell holds no seed with chance `empty`, two with chance `double`, else one; each seed lies off
the place of its cell by an error of its own, a normal one plus a delay of some seeds.

Where seeds or plants are lost at random, with a chance that does not depend on the cell, what is
left is of the same model with other chances.  So spacings alone do not tell empty cells from
losses: `before_losses` needs the share that is left, `share_left` the share of empty cells.

Source: derived; the error's form is that of a normal scatter with delays by wall contacts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

FINEST = 0.01  # least SD of the normal part of the scatter; finer needs more places to try
DELAYED = 0.55  # share of the seeds that are delayed
SCALE = 10.0  # by which chances are fitted, so that all that is fitted moves about as far

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cells:
    """What is fitted.

    Attributes
    ----------
    empty : float
        Chance that a cell holds no seed. [1]
    given_filled : float
        Chance of two seeds in a cell that is not empty. [1]
    scatter : float
        SD of a seed's distance from its place, over the distance of cells. [1]
    lean : float
        Cube of the SD of delays over that of all, negative where they point back. [1]
    distance : float
        Distance of cells over the nominal spacing. [1]
    """

    empty: float
    given_filled: float
    scatter: float
    lean: float
    distance: float

    @classmethod
    def of(cls, theta: Floats) -> Cells:
        """From the numbers that are fitted, which have no units."""
        empty, double = (float(chance) / SCALE for chance in theta[:2])
        return cls(empty, double, math.exp(theta[2]), float(theta[3]), math.exp(theta[4]))

    @property
    def parts(self) -> tuple[float, float]:
        """SD of the normal part, and of the normal number whose size is a delay."""
        share = float(np.cbrt(abs(self.lean)))
        normal = max(self.scatter * math.sqrt(1 - share**2), FINEST)
        return normal, self.scatter * share / math.sqrt(DELAYED - 2 * DELAYED**2 / math.pi)

    def log_error(self, x: Floats) -> Floats:
        """Log density of a seed's distance from its place: mean 0, SD `scatter`."""
        normal, delay = self.parts
        x = x * math.copysign(1.0, self.lean) + DELAYED * delay * math.sqrt(2 / math.pi)
        both = math.hypot(normal, delay)
        prompt = -0.5 * (x / normal) ** 2 - math.log(normal)
        late = math.log(2) + log_ndtr(delay / normal * x / both) - 0.5 * (x / both) ** 2
        made: Floats = np.logaddexp(
            math.log1p(-DELAYED) + prompt, math.log(DELAYED / both) + late
        ) - 0.5 * math.log(2 * math.pi)
        return made


def before_losses(empty: float, double: float, left: float) -> tuple[float, float]:
    """Chances before losses, from those of what is left.

    Parameters
    ----------
    empty, double : float
        Chances that a cell is seen empty, and with two. [1]
    left : float
        Chance that a seed is left, above 0. [1]

    Returns
    -------
    empty, double : float
        Chances that a cell held none, and two; the first below 0 where losses alone would
        leave more cells empty. [1]
    """
    made = double / left**2
    return (empty - 1 + left) / left + made * (1 - left), made


def share_left(empty: float, double: float, skips: float) -> float:
    """Chance that a seed is left, from chances of what is left and that of empty cells before.

    Parameters
    ----------
    empty, double : float
        Chances that a cell is seen empty, and with two. [1]
    skips : float
        Chance that a cell held none before losses, below 1. [1]

    Returns
    -------
    float
        Above 1 where fewer cells are seen empty than were so before losses. [1]
    """
    a, b = 1 - skips, 1 - empty + double
    return (b + math.sqrt(max(b * b - 4 * a * double, 0.0))) / (2 * a)
