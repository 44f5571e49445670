"""Conveyor: a belt with compartments that takes seeds to the furrow in place of a tube."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from metersim.machine.moment import Moment
from metersim.machine.release import sideways_way
from metersim.machine.tube import TubeStation


def belt_speed(ground_speed: Any, belt_ratio: Any) -> Any:
    """Speed of the belt that takes seeds to the furrow.

    Parameters
    ----------
    ground_speed : float or ndarray
        Speed of travel, above 0. [m/s]
    belt_ratio : float
        Speed of the belt over that of travel. [1]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``belt_speed = belt_ratio * ground_speed``

    assumption: the belt goes with the speed of travel, so that it lets seeds go rearward at about
    that speed.
    """
    return belt_ratio * ground_speed


def carried_time(height: Any, belt_speed: Any) -> Any:
    """Time in which the belt takes a seed through a height.

    Parameters
    ----------
    height : float or ndarray
        Height, 0 or more. [m]
    belt_speed : float or ndarray
        Speed of the belt, above 0. [m/s]

    Returns
    -------
    float or ndarray
        Time. [s]

    Notes
    -----
    ``carried_time = height / belt_speed``

    Source: kinematics; assumption: the belt is as long as the fall that it replaces.
    """
    return height / belt_speed


def compartment_speed(
    direction: Any, length: Any, belt_speed: Any, compartment_scatter: Any
) -> Any:
    """Speed along the row that gives a seed the scatter of its compartment over the whole way.

    Parameters
    ----------
    direction : float or ndarray
        Normal draw. [1]
    length : float or ndarray
        Length of the belt's way. [m]
    belt_speed : float or ndarray
        Speed of the belt. [m/s]
    compartment_scatter : float
        SD of the place along the row, from where in its compartment a seed lies. [m]

    Returns
    -------
    float or ndarray
        Speed, forward positive. [m/s]

    Notes
    -----
    ``compartment_speed = direction * compartment_scatter / carried_time(length, belt_speed)``

    assumption: the place of a seed in its compartment is normal, whatever the speed.
    """
    return direction * compartment_scatter / carried_time(length, belt_speed)


@dataclass(frozen=True, kw_only=True)
class ConveyorStation(TubeStation):
    """Takes seeds down in compartments: without contacts, without a free fall."""

    ground_speed: float

    @cached_property
    def belt(self) -> float:
        """Speed of the belt. [m/s]"""
        return float(belt_speed(self.ground_speed, self.coefficients.belt_ratio))

    def contacts(self, speed: Any, at: Moment) -> Any:
        """No contacts, whatever the peripheral speed [m/s]. [1]"""
        return 0.0 * speed

    def aside(self, sideways_speed: Any, direction: Any, lost: Any) -> Any:
        """Speed along the row, from the place of a seed in its compartment. [m/s]"""
        scatter = self.coefficients.compartment_scatter
        return compartment_speed(direction, self.length, self.belt, scatter)

    def strays(self, aside: Any, time: Any, speed: Any) -> Any:
        """Distance along the row over the whole way at a speed [m/s]. [m]"""
        return sideways_way(aside, carried_time(self.length, self.belt))

    def later_by(self, launch_change: Any, time: Any, speed: Any) -> Any:
        """No change of the time: shaking does not move a seed in its compartment. [s]"""
        return 0.0 * launch_change

    def speed(self, height: Any, speed: Any, steady: Any) -> Any:
        """Speed of the belt, at any height [m]. [m/s]"""
        return self.belt + 0.0 * height

    def time(self, height: Any, launch: Any, speed: Any, steady: Any, slowing: Any) -> Any:
        """Time on the belt through a height [m]. [s]"""
        return carried_time(height, self.belt)
