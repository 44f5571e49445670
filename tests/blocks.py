"""Plain sequences to sums over blocks, and statistics of sums, for tests of their intervals."""

import numpy as np

from metersim.measures.intervals import intervals


def block_sums(columns, block):
    """Column sums over contiguous blocks of nearly equal length, `block` rows or more each.

    What does not fill a block is spread over all, so nothing is dropped.
    """
    columns = np.asarray(columns, dtype=np.float64)
    number = max(len(columns) // block, 1)
    if not len(columns):
        return np.zeros((1, columns.shape[1]))
    return np.add.reduceat(columns, np.arange(number) * len(columns) // number, axis=0)


def moment_columns(values, keep=None):
    """The columns 1, x and x^2 that `mean`, `sd` and `cv` take the sums of."""
    x = np.asarray(values, dtype=np.float64)
    one = np.ones_like(x) if keep is None else np.asarray(keep, dtype=np.float64)
    return np.stack([one, one * x, one * x * x], axis=-1)


def share(sums):
    """First column over the second; nan where the second is 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sums[..., 1] > 0, sums[..., 0] / sums[..., 1], np.nan)


def mean(sums):
    """Mean from the sums of `moment_columns`; nan without values."""
    return share(sums[..., [1, 0]])


def sd(sums):
    """Sample SD (n - 1) from the sums of `moment_columns`; nan with fewer than two values."""
    n, total, squares = sums[..., 0], sums[..., 1], sums[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (squares - total * total / n) / (n - 1)
    return np.where(n > 1, np.sqrt(np.maximum(variance, 0)), np.nan)


def cv(sums):
    """SD over mean from the sums of `moment_columns`; nan with fewer than two values."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return sd(sums) / mean(sums)


def interval(sums, function, *arguments, **options):
    """Interval of a single statistic; further arguments as for `intervals`."""
    return intervals(sums, [function], *arguments, **options)[0]
