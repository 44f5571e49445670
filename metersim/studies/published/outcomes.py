"""What comes out for a published statement: a verdict, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

LEVEL = 0.90  # of an interval
AGREES, TREND, DISAGREES = VERDICTS = ("agrees", "trend only", "disagrees")


@dataclass(frozen=True)
class Interval:
    """Median and interval of a prediction, and a published value beside them, in one unit.

    Attributes
    ----------
    published : float
        What the source printed; nan for a direction alone.
    median, low, high : float
        Over draws.
    luck : float
        Share of the variance over draws that luck makes; nan where that is not known. [1]
    unit : str
        Symbol.
    """

    published: float
    median: float
    low: float
    high: float
    luck: float
    unit: str


@dataclass(frozen=True)
class Outcome:
    """What comes out for a published statement.

    Attributes
    ----------
    case, row, kind : str
        Name of the case, the row's name and its kind.
    published, predicted : str
        In words and numbers.
    verdict : str
        One of `VERDICTS`.
    why : str
        What was missed; empty when it agrees.
    interval : Interval, optional
        Numbers, where there are some to draw.
    """

    case: str
    row: str
    kind: str
    published: str
    predicted: str
    verdict: str
    why: str = ""
    interval: Interval | None = None


Judged = tuple[str, str, str, str, Interval | None]  # published, predicted, verdict, why, numbers


def central(values: NDArray[np.float64]) -> tuple[Any, Any, Any]:
    """Low end, median and high end of what draws give, along the last axis."""
    low, median, high = np.quantile(
        values, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2], axis=-1, method="weibull"
    )
    return low, median, high
