"""Release: the vacuum is cut and the seed leaves its hole."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.machine.coefficients import Coefficients
from metersim.machine.moment import Moment
from metersim.machine.seedlot import SeedLot
from metersim.machine.wear import whole_decay_arc

STEPS = 1 << 14  # of the table of open heights, in equal steps of the open share
_ANGLE = 2 * np.pi * np.linspace(0, 1, 8 * STEPS + 1)
_OPEN_HEIGHT = np.interp(
    np.linspace(0, 1, STEPS + 1),
    (_ANGLE - np.sin(_ANGLE)) / (2 * np.pi),
    (1 - np.cos(_ANGLE / 2)) / 2,
)
_RISE = np.append(np.diff(_OPEN_HEIGHT), 0.0)


def closing_travel(share: Any, hole_diameter: Any) -> Any:
    """Travel of a hole past the cut-off edge until only a given share of it is open.

    Parameters
    ----------
    share : float or ndarray
        Open share of the hole's area; clipped to 0 to 1. [1]
    hole_diameter : float or ndarray
        Diameter of the hole. [m]

    Returns
    -------
    float or ndarray
        Travel since the edge first touched the hole, from 0 to one diameter. [m]

    Notes
    -----
    ``min(max(share, 0), 1) = (arccos(a) - a * sqrt(1 - a^2)) / pi
    where a = 2 * closing_travel / hole_diameter - 1``

    Source: area of a circular segment. The formula gives the share for a travel; the code inverts
    it with a table. The open share is off by less than 1e-5, and by less than 2e-6 of its value for
    shares from 0.01 to 0.99.
    """
    step = np.minimum(np.maximum(share, 0.0), 1.0) * STEPS
    whole = np.asarray(step).astype(np.intp)
    height = _OPEN_HEIGHT.take(whole) + (step - whole) * _RISE.take(whole)
    return hole_diameter * (1 - height)


def decay_travel(share: Any, decay_arc: Any) -> Any:
    """Added travel when the vacuum falls over an arc behind a worn or wrong edge.

    Parameters
    ----------
    share : float or ndarray
        Vacuum at which the seed leaves over full vacuum, 0 to 1. [1]
    decay_arc : float or ndarray
        Arc over which the vacuum falls to nothing; 0 for a good edge. [m]

    Returns
    -------
    float or ndarray
        Added travel. [m]

    Notes
    -----
    ``decay_travel = decay_arc * (1 - share)``

    assumption: the vacuum falls evenly along the arc.
    """
    return decay_arc * (1 - share)


def sideways_way(sideways_speed: Any, fall_time: Any) -> Any:
    """How far aside a freely falling seed lands when it was not launched straight down.

    Parameters
    ----------
    sideways_speed : float or ndarray
        Part of its launch speed that points along the row; the disc stands in the row. [m/s]
    fall_time : float or ndarray
        Time of its fall. [s]

    Returns
    -------
    float or ndarray
        Distance. [m]

    Notes
    -----
    ``sideways_way = sideways_speed * fall_time``

    Source: ballistics; assumption: there is no drag sideways. Drag would take a few hundredths of
    the distance. In a tube the walls end this motion, which is then a cause of contacts, and a
    seed moves along the row below the tube's end alone.
    """
    return sideways_speed * fall_time


def downward_share(sideways: Any) -> Any:
    """Share of a seed's launch speed that points down the tube.

    Parameters
    ----------
    sideways : float or ndarray
        Share of the launch speed that points across the tube. [1]

    Returns
    -------
    float or ndarray
        Share, 0 or more. [1]

    Notes
    -----
    ``downward_share = sqrt(max(1 - sideways^2, 0))``

    Source: geometry; assumption: the sideways share is normal. Launch angles are small, so this is
    nearly the same as a normal angle.
    """
    return np.sqrt(np.maximum(1 - sideways * sideways, 0.0))


@dataclass(frozen=True, kw_only=True)
class ReleaseStation:
    """Cuts the vacuum."""

    hole_diameter: float
    circle_radius: float
    decay_arc: float
    wear: float
    classes_off: int  # from the seed that the cut-off suits to the seed that is there
    launch_sd: float
    lot: SeedLot
    coefficients: Coefficients

    @cached_property
    def whole_arc(self) -> float:
        """Arc over which the vacuum decays, with wear and a wrong part. [rad]"""
        k = self.coefficients
        return float(
            whole_decay_arc(self.decay_arc, self.wear, self.classes_off, k.worn_arc, k.wrong_arc)
        )

    def travel(self, share: Any, at: Moment) -> Any:
        """Travel past the edge until a seed leaves, given the share of the vacuum it needs. [m]"""
        return closing_travel(share, self.hole_diameter) + decay_travel(
            share, self.whole_arc * self.circle_radius
        )

    def lag(self, size: Any, at: Moment) -> Any:
        """Added travel until a later seed of a cell leaves, after the seed before it. [m]"""
        return self.coefficients.double_lag * self.lot.width * size

    def sideways(self, draw: Any) -> Any:
        """Share of the peripheral speed that points along the row. [1]"""
        return self.launch_sd * draw

    def downward(self, draw: Any) -> Any:
        """Share of the peripheral speed that points down the tube. [1]"""
        return downward_share(self.sideways(draw))
