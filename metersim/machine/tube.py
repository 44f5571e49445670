"""Tube: free fall with drag, and contacts with the wall."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import Coefficients
from metersim.machine.moment import Moment
from metersim.machine.release import sideways_way

REFERENCE_LENGTH = 0.45  # m, to which the coefficients of contacts refer


def fall_speed(height: Any, launch_speed: Any, terminal_velocity: Any, gravity: Any) -> Any:
    """Speed after falling through a height with drag as the square of speed.

    Parameters
    ----------
    height : float or ndarray
        Height fallen, 0 or more. [m]
    launch_speed : float or ndarray
        Downward speed at the start, 0 or more. [m/s]
    terminal_velocity : float or ndarray
        Speed of steady fall. [m/s]
    gravity : float
        Acceleration of free fall. [m/s2]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``fall_speed = sqrt(launch_speed^2 * rest + terminal_velocity^2 * (1 - rest))
    where rest = exp(-2 * gravity * height / terminal_velocity^2)``

    Source: closed form of quadratic drag; checked against an ODE solver in the tests.
    """
    limit = terminal_velocity * terminal_velocity
    start = launch_speed * launch_speed
    rest = np.exp(-2 * gravity * height / limit)  # share of the squared start speed that is left
    return np.sqrt(start * rest + limit * (1 - rest))


def fall_time(
    height: Any,
    launch_speed: Any,
    end_speed: Any,
    terminal_velocity: Any,
    gravity: Any,
    slowing: Any = 1.0,
) -> Any:
    """Time of a fall with drag as the square of speed, and contacts with the wall on its way.

    It is exact below, at and above the terminal velocity.

    Parameters
    ----------
    height : float or ndarray
        Height fallen, 0 or more. [m]
    launch_speed, end_speed : float or ndarray
        Downward speed at start and end; the end speed is from `fall_speed`. [m/s]
    terminal_velocity : float or ndarray
        Speed of steady fall. [m/s]
    gravity : float
        Acceleration of free fall. [m/s2]
    slowing : float or ndarray
        Product of `contact_slowing` over all contacts; 1 without contacts. [1]

    Returns
    -------
    float or ndarray
        Time. [s]

    Notes
    -----
    ``fall_time = height / terminal_velocity + terminal_velocity / gravity * ln(slowing * gain)
    where gain = (terminal_velocity + end_speed) / (terminal_velocity + launch_speed)``

    Source: closed form of quadratic drag, summed over the stretches between contacts; checked
    against an ODE solver in the tests.
    """
    gain = slowing * (terminal_velocity + end_speed) / (terminal_velocity + launch_speed)
    return height / terminal_velocity + terminal_velocity / gravity * np.log(gain)


def contact_slowing(before: Any, after: Any, terminal_velocity: Any) -> Any:
    """Factor by which a contact with the wall slows a fall, for `fall_time`.

    Parameters
    ----------
    before, after : float or ndarray
        Downward speed before and after the contact. [m/s]
    terminal_velocity : float or ndarray
        Speed of steady fall. [m/s]

    Returns
    -------
    float or ndarray
        Factor, 1 when the contact takes no speed. [1]

    Notes
    -----
    ``contact_slowing = (terminal_velocity + before) / (terminal_velocity + after)``

    Source: closed form of quadratic drag.
    """
    return (terminal_velocity + before) / (terminal_velocity + after)


def later_by(launch_change: Any, fall_time: Any, end_speed: Any) -> Any:
    """How much later a seed lands when it is launched a little faster upward or downward.

    This is the first order of a fall without drag.

    Parameters
    ----------
    launch_change : float or ndarray
        Small change of the launch speed, downward positive. [m/s]
    fall_time : float or ndarray
        Time of the unchanged fall. [s]
    end_speed : float or ndarray
        Speed at its end, above 0. [m/s]

    Returns
    -------
    float or ndarray
        Change of the time, negative when the seed lands sooner. [s]

    Notes
    -----
    ``later_by = -launch_change * fall_time / end_speed``

    Source: free fall; assumption: the first order is adequate, as shaking changes the launch speed
    by centimetres a second.
    """
    return -launch_change * fall_time / end_speed


def roughness(
    curvature: Any, wear: Any, good_tube: Any, curvature_contacts: Any, wear_contacts: Any
) -> Any:
    """How often a tube touches seeds, over the reference stand of the contact coefficients.

    Parameters
    ----------
    curvature : float or ndarray
        Angle through which the tube turns the seed. [rad]
    wear : float or ndarray
        From 0, new, to 1, worn out. [1]
    good_tube : float
        Contacts of a new straight tube over those of the reference stand. [1]
    curvature_contacts : float
        Added share of contacts per curvature. [1/rad]
    wear_contacts : float
        Added share of contacts when worn out. [1]

    Returns
    -------
    float or ndarray
        Factor. [1]

    Notes
    -----
    ``roughness = good_tube * (1 + curvature_contacts * curvature) * (1 + wear_contacts * wear)``

    Source: the values for a new and for a worn tube are calibrated on yazgi2016; assumption: linear
    between them.
    """
    return good_tube * (1 + curvature_contacts * curvature) * (1 + wear_contacts * wear)


def contact_mean(
    peripheral_speed: Any,
    length: Any,
    rough: Any,
    contact_base: Any,
    contact_by_speed: Any,
    contact_knee: Any,
) -> Any:
    """Mean number of wall contacts on the way down.

    The sideways energy of the launch makes contacts.  A tube has only so much wall, so their number
    levels off.  Without the knee, quality would fall far more steeply above 8 km/h than nadin2019
    found: that fall is linear.

    Parameters
    ----------
    peripheral_speed : float or ndarray
        Speed of the hole at release. [m/s]
    length : float or ndarray
        Height of fall. [m]
    rough : float or ndarray
        `roughness`. [1]
    contact_base : float
        Contacts at no speed in a tube of the reference length. [1]
    contact_by_speed : float
        Contacts added per squared speed, at low speed. [s2/m2]
    contact_knee : float
        Speed at which the added contacts are half of what they would be without the knee. [m/s]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``contact_mean = (contact_base + added) * rough * length / 0.45
    where added = contact_by_speed * peripheral_speed^2 / (1 + knee)
    where knee = (peripheral_speed / contact_knee)^2``

    assumption: the number levels off with speed, and grows in proportion to length. The length of
    the reference stand is 0.45 m.
    """
    energy = peripheral_speed * peripheral_speed
    added = contact_by_speed * energy / (1 + energy / (contact_knee * contact_knee))
    return (contact_base + added) * rough * length / REFERENCE_LENGTH


def contact_loss(rank: Any, rough: Any, largest: Any, hardest: Any) -> Any:
    """Share of speed that a seed loses at a contact.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw from 0 to 1. [1]
    rough : float or ndarray
        `roughness`. [1]
    largest : float
        Largest share on the reference stand. [1]
    hardest : float
        Largest share on any stand. [1]

    Returns
    -------
    float or ndarray
        Share. [1]

    Notes
    -----
    ``contact_loss = rank * min(largest * sqrt(rough), hardest)``

    assumption: uniform from 0 to a largest share, which grows as the square root of roughness.
    """
    return rank * np.minimum(largest * np.sqrt(rough), hardest)


@dataclass(frozen=True, kw_only=True)
class TubeStation:
    """Guides seeds to the furrow."""

    length: float
    curvature: float
    wear: float
    fitted: bool
    terminal_velocity: float
    narrowing: float
    coefficients: Coefficients

    @cached_property
    def rough(self) -> float:
        """Contacts over those of the reference stand; 0 without a tube. [1]"""
        k = self.coefficients
        rough = roughness(
            self.curvature, self.wear, k.good_tube, k.curvature_contacts, k.wear_contacts
        )
        return float(rough) if self.fitted else 0.0

    def contacts(self, speed: Any, at: Moment) -> Any:
        """Mean number of wall contacts at a peripheral speed [m/s]. [1]"""
        k = self.coefficients
        sideways = k.contact_by_speed * self.narrowing
        return contact_mean(
            speed, self.length, self.rough, k.contact_base, sideways, k.contact_knee
        )

    @cached_property
    def largest_loss(self) -> float:
        """Largest share of speed lost at a contact. [1]"""
        k = self.coefficients
        return float(contact_loss(1.0, self.rough, k.contact_loss, k.hardest_contact))

    def loss(self, rank: Any) -> Any:
        """Share of speed lost at a contact. [1]"""
        return rank * self.largest_loss

    def strays(self, sideways_speed: Any, time: Any) -> Any:
        """Distance along the row during a fall of a time [s]; 0 in a tube. [m]"""
        return 0.0 * time if self.fitted else sideways_way(sideways_speed, time)

    def steady_speed(self, size: Any) -> Any:
        """Terminal velocity of a seed of this relative size. [m/s]"""
        return self.terminal_velocity * np.sqrt(size)

    def later_by(self, launch_change: Any, time: Any, speed: Any) -> Any:
        """Change of a fall's time, for a small change of its launch speed [m/s]. [s]"""
        return later_by(launch_change, time, speed)

    def speed(self, height: Any, speed: Any, steady: Any) -> Any:
        """Speed after a free fall through a height [m], from a speed [m/s]. [m/s]"""
        return fall_speed(height, speed, steady, GRAVITY)

    def slowing(self, before: Any, after: Any, steady: Any) -> Any:
        """Factor by which a contact between two speeds [m/s] slows a fall; see `time`. [1]"""
        return contact_slowing(before, after, steady)

    def time(self, height: Any, launch: Any, speed: Any, steady: Any, slowing: Any) -> Any:
        """Time of a fall through a height [m], from a launch speed to an end speed [m/s]. [s]

        `slowing` is the product of `slowing` over all contacts on the way.
        """
        return fall_time(height, launch, speed, steady, GRAVITY, slowing)
