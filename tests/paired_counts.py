"""The test of two counts that the sizes of counts are worked out for."""

import math

import numpy as np

from metersim.questions.shared.counts import CERTAINTY, deviations


def differ(counts, cells, effects, certainty=CERTAINTY):
    """Whether two counts differ by more than sampling error explains.

    Each pair holds the events, the cells and the design effect of the first and second count.
    """
    angles = [
        2 * np.arcsin(np.sqrt((np.asarray(count) + 0.375) / (many + 0.75)))
        for count, many in zip(counts, cells, strict=True)
    ]
    error = math.sqrt(sum(effect / many for effect, many in zip(effects, cells, strict=True)))
    return np.abs(angles[1] - angles[0]) > deviations(certainty) * error
