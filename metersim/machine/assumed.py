"""Assumed coefficients: effects that no source gives, and how they widen the model interval.

A declaration with ``drawn=(low, high)`` makes a coefficient an assumed one.  Each set of
coefficients that a prediction draws then has its own value of it.  So a prediction that uses the
effect becomes wider, and any other stays as it is.

The values of a coefficient depend on its name, on the number of the draw, and on what else differs
between machines.  Another assumed coefficient that comes or goes does not change them.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Collection
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.fields import Checked, Spec, number, specs

Floats = NDArray[np.float64]

PLACES = 256
"""Draws after which the values start again, as many as the shipped draws."""
BLOCK = 32
"""Draws whose values are spread evenly and apart from other coefficients: the usual number."""


@dataclass(frozen=True, kw_only=True)
class Assumed(Checked):
    """Assumed coefficients of the conditions of work."""

    # What is on the seed
    graphite_friction: float = number(
        "",
        0.3,
        1,
        "friction of seed with graphite over that without; assumption from common practice, no "
        "source",
        default=0.8,
        drawn=(0.65, 0.95),
    )
    talc_friction: float = number(
        "",
        0.3,
        1,
        "friction of seed with talc over that without; assumption from common practice, no source",
        default=0.9,
        drawn=(0.75, 0.98),
    )
    graphite_drying: float = number(
        "",
        0,
        1,
        "part of the dampness that graphite takes away; assumption from common practice, no source",
        default=0.25,
        drawn=(0.05, 0.5),
    )
    talc_drying: float = number(
        "",
        0,
        1,
        "part of the dampness that talc takes away; assumption from common practice, no source",
        default=0.7,
        drawn=(0.4, 0.95),
    )
    damp_friction: float = number(
        "",
        0,
        2,
        "share of friction that damp seed adds; assumption after repose angles of moist grain, "
        "from memory",
        default=0.35,
        drawn=(0.1, 0.8),
    )
    damp_avalanche: float = number(
        "",
        0,
        10,
        "share that damp seed adds to the angle over a poured heap at which a slide starts; "
        "assumption",
        default=1.5,
        drawn=(0.5, 4.0),
    )
    damp_span: float = number(
        "",
        0,
        10,
        "share that damp seed adds to the width that an arch spans; assumption",
        default=1.0,
        drawn=(0.3, 3.0),
    )
    damp_slowness: float = number(
        "",
        0,
        10,
        "share that damp seed adds to the time to draw a seed onto a hole; assumption",
        default=1.0,
        drawn=(0.3, 3.0),
    )
    seconds_friction: float = number(
        "",
        0,
        8,
        "power of friction in the number of further seeds; assumption from particle runs",
        default=3.0,
        drawn=(1.8, 5.0),
    )
    fill_friction: float = number(
        "",
        0,
        5,
        "power of friction in the rate at which holes draw seeds; assumption from particle runs",
        default=1.7,
        drawn=(1.2, 2.5),
    )
    # Slope
    tilt_follow: float = number(
        "",
        0,
        1,
        "part of a slope along the row that the surface of the pool follows; assumption",
        default=0.6,
        drawn=(0.2, 1.0),
    )


@dataclass(frozen=True, kw_only=True)
class TurningCoefficients(Checked):
    """Assumed coefficients of the running gap and the torque; no published torque exists."""

    chamber_width: float = number(
        "",
        0.1,
        0.5,
        "width of the chamber behind the holes over the radius of their circle; assumption",
        default=0.2,
        drawn=(0.1, 0.5),
    )
    seal_friction: float = number(
        "",
        0.1,
        0.6,
        "friction of a seal, or of its body, on the disc; assumption",
        default=0.3,
        drawn=(0.1, 0.6),
    )
    lip_width: float = number(
        "mm",
        0.5,
        6,
        "width of the lip on which the vacuum presses; assumption",
        default=2.0,
        drawn=(0.5, 6),
    )
    pool_torque: float = number(
        "n_m",
        0.011,
        0.039,
        "torque of the seed in the pool; assumption from particle runs",
        default=0.025,
        drawn=(0.011, 0.039),
    )
    singulator_torque: float = number(
        "n_m",
        0,
        0.1,
        "torque of singulator and brushes; assumption",
        default=0.02,
        drawn=(0, 0.1),
    )
    bearing_torque: float = number(
        "n_m",
        0.01,
        0.2,
        "torque of bearings and gear; assumption",
        default=0.05,
        drawn=(0.01, 0.2),
    )
    line_loss: float = number(
        "",
        0.05,
        1,
        "pressure lost between source and a sound meter over the vacuum in its chamber; assumption",
        default=0.25,
        drawn=(0.05, 1),
    )

    def at_end(self, end: str) -> TurningCoefficients:
        """All that torque grows with at the ``low`` or the ``high`` end of its range."""
        ends = {name: getattr(spec, end) for name, spec in specs(TurningCoefficients).items()}
        return replace(self, **ends | {"line_loss": self.line_loss})


def value_at(place: float, low: float, usual: float, high: float) -> float:
    """Value of an assumed coefficient at a place among its draws.

    Half of the draws lie between the lowest and the usual value, half between the usual and the
    highest.  Each half is even on the scale of logarithms, or on the plain scale where the lowest
    value is not above 0.

    Parameters
    ----------
    place : float
        From 0 to 1; 1/2 gives the usual value. [1]
    low, usual, high : float
        Lowest, usual and highest value.
    """
    start, end, part = (low, usual, 2 * place) if place < 0.5 else (usual, high, 2 * place - 1)
    if low > 0:
        return min(max(start * math.pow(end / start, part), low), high)
    return start + (end - start) * part


def _uniform(name: str, number: int, size: int) -> float:
    """A number between 0 and 1 that depends on its arguments alone."""
    digest = hashlib.blake2b(f"{name} {size} {number}".encode(), digest_size=8).digest()
    return int.from_bytes(digest, "big") / 2**64


@cache
def places(name: str, many: int = PLACES) -> tuple[float, ...]:
    """Places of the first draws of a coefficient, many or more of them, spread evenly.

    The first 2, 4, 8 and so on have one place in each half, quarter, eighth and so on.  Names have
    orders of their own, so that coefficients are nearly uncorrelated.

    Examples
    --------
    >>> from metersim.machine.assumed import places
    >>> sorted(int(4 * place) for place in places("talc_friction")[:4])
    [0, 1, 2, 3]
    """
    taken, size = [0], 2
    while size <= PLACES:
        wanted = size if len(taken) < many else len(taken)
        draws = [_uniform(name, k, size) for k in range(wanted)]
        halves = [2 * one + (draws[k] < 0.5) for k, one in enumerate(taken)]
        left = zip(draws[len(taken) :], halves, strict=False)
        taken = halves + [one for _, one in sorted((draw, one ^ 1) for draw, one in left)]
        size *= 2
    return tuple((one + 0.5) / PLACES for one in taken)


@cache
def assumed_of(kind: type) -> dict[str, tuple[Spec, float, float, float]]:
    """Assumed coefficients of a set: declaration, then lowest, usual and highest value in SI."""
    usual: dict[str, Any] = {field.name: field.default for field in fields(kind)}
    return {
        name: (spec, spec.drawn[0], usual[name], spec.drawn[1])
        for name, spec in specs(kind).items()
        if spec.drawn
    }


def drawn_values(
    kind: type, columns: Floats, held: Collection[str] = (), block: int = 0
) -> dict[str, tuple[float, ...]]:
    """Values of the assumed coefficients of a set, by name, for draws of a machine.

    Parameters
    ----------
    kind : type
        Dataclass of the set.
    columns : ndarray, shape (draws, columns)
        What else differs from draw to draw.
    held : collection of str
        Coefficients that keep their values.
    block : int
        Which `BLOCK` draws.
    """
    found = {}
    numbers = range(len(columns))[block * BLOCK : (block + 1) * BLOCK]
    many = min(numbers.stop, PLACES)
    for name, (_, low, usual, high) in assumed_of(kind).items():
        if name not in held:
            even = np.array([places(name, many)[k % PLACES] for k in numbers])
            order = uncorrelated(even, columns[numbers.start : numbers.stop]).tolist()
            found[name] = tuple(value_at(place, low, usual, high) for place in order)
    return found


def uncorrelated(even: Floats, columns: Floats) -> Floats:
    """Places of a block of draws in an order nearly uncorrelated with columns of other numbers.

    An effect whose values go against another one by chance would narrow an interval.  Places are
    ordered anew by what a straight fit to the columns leaves of them.  They stay within blocks of
    `BLOCK` draws, so that these remain spread evenly.  A block with too few draws for a fit stays
    as it is.
    """
    other = columns[:, np.ptp(columns, axis=0) > 0]
    if len(even) < 2 * (other.shape[1] + 1):
        return even
    design = np.column_stack([np.ones(len(even)), (other - other.mean(0)) / other.std(0)])
    left = even - design @ np.linalg.lstsq(design, even, rcond=None)[0]
    made = np.empty_like(even)
    made[np.argsort(left)] = np.sort(even)
    return made
