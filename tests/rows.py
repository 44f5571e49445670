"""Rows of seeds from the cell model itself, for tests of what is fitted to them."""

import numpy as np


def cell_spacings(rng, cells, *, empty, double, scatter, delays=0.0, left=1.0, distance=1.0):
    """Spacings of cells that hold no seed, one or two, each off its place on its own.

    `delays` is the share of the scatter's variance that exponential delays have; `left` the share
    of seeds that are not lost.
    """
    drawn = rng.random(cells)
    held = np.where(drawn < empty, 0, np.where(drawn < empty + double, 2, 1))
    cell = np.repeat(np.arange(cells), held)
    cell = cell[rng.random(cell.size) < left]
    off = np.sqrt(1 - delays) * rng.standard_normal(cell.size)
    off += np.sqrt(delays) * (rng.exponential(size=cell.size) - 1)
    return np.diff(np.sort(distance * (cell + scatter * off)))
