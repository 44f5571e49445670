"""Where machines that explain what was seen are looked for: a density from straight lines.

What was seen depends on few directions among the columns of machines.  In all others the machines
are those before.  A density that is estimated from weighted machines knows neither, and finds few.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from metersim.questions.learn.emulate import FEW, SEVERAL, SPACINGS, SPREAD, Emulator, angle_of
from metersim.questions.learn.machines import Density, Machines, rest_of
from metersim.questions.learn.seen import Seen

STEP = 0.5  # of a column for its slope, in SD of the column

Floats = NDArray[np.float64]
Levels = Callable[[Floats], Floats]


def levels(machines: Machines, emulators: Sequence[Emulator], seen: Sequence[Seen]) -> Levels:
    """Function of machines that gives the angles and logarithms that were seen, in columns.

    Parameters
    ----------
    machines : Machines
        Meaning of the points.
    emulators : sequence of Emulator
        That of each setting at which something was seen.
    seen : sequence of Seen
        What was seen.
    """

    def found(points: Floats) -> Floats:
        shifts, columns = machines.shifts(points), []
        for emulator, one in zip(emulators, seen, strict=True):
            parts = [(FEW, "skip")]
            parts += [(SEVERAL, "double")] * (one.several is not None)
            parts += [(SPREAD, "spread")] * _has_spread(one, emulator)
            for part, name in parts:
                columns.append(emulator(one.way, part, points) + emulator.alike * shifts[name])
        return np.column_stack(columns)

    return found


def targets(
    machines: Machines, emulators: Sequence[Emulator], seen: Sequence[Seen]
) -> tuple[Floats, Floats]:
    """Angles and logarithms that were seen, in the order of `levels`, and their variances."""
    values, variances = [], []
    for emulator, one in zip(emulators, seen, strict=True):
        effect = emulator.effects[one.way]
        cells = one.cells / effect
        for part, count in ((FEW, one.few), (SEVERAL, one.several)):
            if count is not None:
                values.append(float(angle_of(count / effect, cells)))
                rest = rest_of(machines.own_share, emulator.alike)
                variances.append(rest**2 + emulator.error(one.way, part) ** 2 + 1 / (4 * cells))
        if _has_spread(one, emulator):
            values.append(one.spread)
            rest = rest_of(machines.own_spread, emulator.alike)
            variances.append(rest**2 + emulator.error(SPACINGS, SPREAD) ** 2 + one.variance)
    return np.array(values), np.array(variances)


def _has_spread(one: Seen, emulator: Emulator) -> bool:
    known = one.way == SPACINGS and np.isfinite(one.variance)
    return bool(known and np.isfinite(emulator.error(SPACINGS, SPREAD)))


def updated(
    density: Density,
    shown: Levels,
    values: Floats,
    variances: Floats,
    points: Floats,
    weights: Floats,
) -> Density:
    """A density before, with normal observations of straight functions of its columns.

    Parameters
    ----------
    density : Density
        Density before.
    shown : callable
        Observed functions of machines, in columns; see `levels`.
    values, variances : ndarray, shape (observed,)
        What was observed, and the variances of its errors.
    points : ndarray, shape (drawn, columns)
        Machines near which the functions are taken as straight.
    weights : ndarray, shape (drawn,)
        Their weights, with the sum 1.

    Notes
    -----
    Each normal density of the mixture is conditioned on the observations; its weight is multiplied
    by their chance.  This is the density after them where the functions are straight.  What they
    bend, about their slopes at the mean of the weighted points, counts as further error.
    """
    middle = weights @ points
    size = np.sqrt(weights @ (points - middle) ** 2).clip(1e-9)
    steps = np.diag(STEP * size)
    rise = shown(middle + steps) - shown(middle - steps)
    slopes = rise.T / (2 * STEP * size)
    bent = shown(points) - shown(middle[None]) - np.einsum("kj,ij->ik", slopes, points - middle)
    error = np.diag(variances) + np.einsum("i,ij,ik->jk", weights, bent, bent)
    turned = np.einsum("kj,ji->ki", slopes, density.root)
    total = error + np.einsum("ki,li->kl", turned, turned)
    gain = np.linalg.solve(total, turned).T
    apart = values - shown(density.centres)
    moved = np.einsum("ij,jk,lk->li", density.root, gain, apart)
    left = np.eye(len(density.root)) - np.einsum("ik,kj->ij", gain, turned)
    root = np.einsum("ij,jk->ik", density.root, np.linalg.cholesky(left))
    far = np.einsum("ik,ki->i", apart, np.linalg.solve(total, apart.T))
    logs = np.log(density.weights.clip(1e-300)) - far / 2
    chances = np.exp(logs - logs.max())
    return Density(density.centres + moved, chances / chances.sum(), np.asarray(root))
