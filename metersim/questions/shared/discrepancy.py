"""Discrepancy of the model: its error of shares and spreads, even with the best coefficients."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from metersim.machine.posterior import AT, Posterior, Shift
from metersim.measures.indices import Measure
from metersim.measures.scales import ANGLE

Floats = NDArray[np.float64]

SPREADS = ("precision", "spacing.sd", "spacing.cv", "drop_time.sd", "plants.sd", "plants.cv")
"""Measures with the relative discrepancy of spreads."""


FITTED_CROPS = frozenset({"maize", "soybean", "sunflower"})
"""Crops of the published levels to which the posterior was fitted."""
OTHER_CROP = 2.0
"""Discrepancy of shares of a crop that was not fitted over that of the others.

assumption: as wide as a mixture in which 30 of 100 predictions come from the published levels of
other crops, as in the score of unseen levels.  The test of this number works that mixture out.
"""


def share_error(posterior: Posterior, crop: str) -> float:
    """SD of the discrepancy of a share of counts on its scale, the same at every share. [rad]

    It is larger for an unknown machine with a crop that was not fitted.

    Notes
    -----
    Derived: an SD ``d sqrt(p (1 - p)/(a (1 - a)))`` of a share p, with d at the share a, is
    ``d/(2 sqrt(a (1 - a)))`` of the angle.
    """
    return widening(posterior, crop) * posterior.share_sd / (2 * math.sqrt(AT * (1 - AT)))


def widening(posterior: Posterior, crop: str) -> float:
    """Factor of the discrepancy of shares: above 1 if no level of the crop was fitted.

    A meter file was learned from counts of its own crop, so its factor is 1.
    """
    return 1.0 if posterior.file or crop in FITTED_CROPS else OTHER_CROP


def errors_of(posterior: Posterior, crop: str, measures: Iterable[Measure]) -> dict[str, float]:
    """SD of the discrepancy of each measure on its scale; measures without one are left out."""
    shares = {one.key: share_error(posterior, crop) for one in measures if is_share(one)}
    return shares | dict.fromkeys(SPREADS, posterior.spread_sd)


def is_share(one: Measure) -> bool:
    """Whether a measure is a share of counts that the meter decides."""
    return one.kind == "share" and bool(one.top) and not one.key.startswith("late.")


MISSED = ("cells.skip", "per_place.miss", "per_spacing.miss", "sensor.miss", "sensor.skip")
SEVERAL = (
    "cells.double",
    "per_place.multiple",
    "per_spacing.multiple",
    "sensor.multiple",
    "sensor.double",
)
LEFT = {
    "cells.single": ("cells.skip", "cells.double"),
    "per_place.single": ("per_place.miss", "per_place.multiple"),
    "per_spacing.quality": ("per_spacing.miss", "per_spacing.multiple"),
}
"""Shares of what is normal, and the shares that they lose to."""


def shifted(points: Mapping[str, Floats], shift: Shift) -> dict[str, Floats]:
    """Values of measures, by key, of a machine with a shift.

    Notes
    -----
    ``sin^2(asin sqrt(share) + shift)`` for a share of skips or doubles, and a spread times
    ``exp(shift)``.  A share of what is normal loses what the others gain.  assumption: other
    measures have no shift.
    """
    made = dict(points)
    for keys, by in ((MISSED, shift.skip), (SEVERAL, shift.double)):
        made |= {key: ANGLE.back(ANGLE.to(made[key]) + by) for key in keys if key in made}
    made |= {key: made[key] * math.exp(shift.spread) for key in SPREADS if key in made}
    for key, others in LEFT.items():
        if key in made:
            gained = sum(made[other] - points[other] for other in others)
            made[key] = (made[key] - gained).clip(0.0, 1.0)
    return made
