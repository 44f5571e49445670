"""What a way of looking shows of a meter with failing holes, a dirty lens, or a slipping drive.

Each moves the shares of skips and doubles by a formula, so that none of it needs a run.
"""

from __future__ import annotations

from typing import Any

Pair = tuple[Any, Any]
"""Shares of skips and of doubles."""


def through_holes(skip: Any, double: Any, failing: Any) -> Pair:
    """Shares of a meter in which some holes carry no seed.

    Parameters
    ----------
    skip, double : float or ndarray
        Shares of cells of a meter with sound holes. [1]
    failing : float or ndarray
        Failing holes over all holes, times the part of turns in which they fail. [1]

    Returns
    -------
    tuple
        Shares of skips and doubles. [1]

    Notes
    -----
    ``skip + failing * (1 - skip)`` and ``double * (1 - failing)``

    assumption: a hole fails whatever it would have carried.
    """
    return skip + failing * (1 - skip), double * (1 - failing)


def through_lens(skip: Any, double: Any, lost: Any) -> Pair:
    """Shares that a sensor counts that misses further seeds.

    Parameters
    ----------
    skip, double : float or ndarray
        Shares of a sensor with a clean lens. [1]
    lost : float or ndarray
        Chance that it misses a seed that it sees with a clean lens. [1]

    Returns
    -------
    tuple
        Shares of skips and doubles. [1]

    Notes
    -----
    ``skip + lost * (1 - skip - double) + lost^2 * double`` and ``double * (1 - lost)^2``

    assumption: seeds are missed independently; a double has two.  It also holds for theoretical
    places, as a missed seed leaves its place empty.
    """
    missed = lost * (1 - skip - double) + lost**2 * double
    return skip + missed, double * (1 - lost) ** 2


def through_slip(skip: Any, double: Any, empty: Any) -> Pair:
    """Shares of theoretical places where the disc stands for a part of the travel.

    Parameters
    ----------
    skip, double : float or ndarray
        Shares of places of a drive that does not slip. [1]
    empty : float or ndarray
        Share of the places that pass while the disc stands. [1]

    Returns
    -------
    tuple
        Shares of skips and doubles. [1]

    Notes
    -----
    ``skip + empty * (1 - skip)`` and ``double * (1 - empty)``

    Source: conservation; a place that passes while the disc stands gets no seed.  A count of cells
    does not change, as the cells stand too.
    """
    return skip + empty * (1 - skip), double * (1 - empty)


def seeds_used(skip: Any, double: Any, slip: Any) -> Any:
    """Seeds that leave the meter over those that the set rate asks for.

    Parameters
    ----------
    skip, double : float or ndarray
        Shares of cells that leave the meter. [1]
    slip : float or ndarray
        Share of the travel in which the disc stands. [1]

    Returns
    -------
    float or ndarray
        Ratio. [1]

    Notes
    -----
    ``(1 - slip) * (1 - skip + double)``

    Source: conservation; assumption: a double has two seeds.
    """
    return (1 - slip) * (1 - skip + double)
