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

REFERENCE_LENGTH = 0.45  # m, to which the coefficients of contacts refer, as the next one
REFERENCE_SPEED = 0.035  # m/s across the tube
BELOW_TUBE = 0.05  # m from a tube's end to the ground or belt; assumption


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


def roughness(wear: Any, wear_contacts: Any) -> Any:
    """How often a tube touches seeds, over the same tube when it was new.

    Parameters
    ----------
    wear : float or ndarray
        From 0, new, to 1, worn out. [1]
    wear_contacts : float
        Added share of contacts when worn out. [1]

    Returns
    -------
    float or ndarray
        Factor. [1]

    Notes
    -----
    ``roughness = 1 + wear_contacts * wear``

    Source: the value for a worn tube follows yazgi2016; assumption: linear up to it.
    """
    return 1 + wear_contacts * wear


def turned_aside(sideways_speed: Any, speed: Any, turn: Any) -> Any:
    """Speed across the tube of seeds that leave the disc late, as a root of a mean square.

    Parameters
    ----------
    sideways_speed : float or ndarray
        SD of the speed across the tube of seeds that leave in time. [m/s]
    speed : float or ndarray
        Peripheral speed of the disc. [m/s]
    turn : float or ndarray
        Angle by which the disc turns on before they leave. [rad]

    Returns
    -------
    float or ndarray
        Speed. [m/s]

    Notes
    -----
    ``turned_aside = sqrt(sideways_speed^2 + (speed * sin(turn))^2)``

    Source: a seed leaves along the tangent of the disc; assumption: the tube stands along the
    tangent at the cut-off.
    """
    return np.hypot(sideways_speed, speed * np.sin(turn))  # without a turn, just the first


def contact_mean(
    sideways_speed: Any,
    length: Any,
    curvature: Any,
    rough: Any,
    contacts: Any,
    curvature_contacts: Any,
) -> Any:
    """Mean number of wall contacts on the way down, if contacts did not damp each other.

    A seed that drops straight down a straight tube need not touch it.  So there is no contact
    without sideways speed or curve.

    Parameters
    ----------
    sideways_speed : float or ndarray
        Speed across the tube at its mouth, as a root of the mean square of seeds. [m/s]
    length : float or ndarray
        Height of fall. [m]
    curvature : float or ndarray
        Angle through which the tube turns the seed. [rad]
    rough : float or ndarray
        `roughness`. [1]
    contacts : float
        Contacts in a new straight tube of the reference length at the reference speed. [1]
    curvature_contacts : float
        Contacts added per curvature in such a tube. [1/rad]

    Returns
    -------
    float or ndarray
        Mean number. [1]

    Notes
    -----
    ``contact_mean = (contacts * energy + curvature_contacts * curvature) * rough * length / 0.45
    where energy = (sideways_speed / 0.035)^2``

    assumption: the energy of the sideways motion makes contacts. A number in proportion to the
    sideways speed lost: it spreads the times of banaj2022 too little between 0.09 and 0.22 m/s.
    The references are a tube of 0.45 m and 3.5 cm/s, which a disc at 0.25 m/s gives.
    """
    energy = sideways_speed * sideways_speed / (REFERENCE_SPEED * REFERENCE_SPEED)
    each = contacts * energy + curvature_contacts * curvature
    return each * rough * length / REFERENCE_LENGTH


def damped_distance(apart: Any, contact_damping: Any) -> Any:
    """Mean distance from a contact to the next one, from that before the contact.

    A contact damps the sideways motion.  So contacts come ever further apart, and their number
    saturates: ten times as much sideways energy adds three or four contacts.

    Parameters
    ----------
    apart : float or ndarray
        Mean distance before the contact. [m]
    contact_damping : float
        Share of the sideways motion that a contact leaves. [1]

    Returns
    -------
    float or ndarray
        Mean distance. [m]

    Notes
    -----
    ``damped_distance = apart / contact_damping``

    assumption: each contact leaves the same share.
    """
    return apart / contact_damping


def contact_loss(rank: Any, rough: Any, middle: Any, hardest: Any) -> Any:
    """Share of speed that a seed loses at a contact.

    Parameters
    ----------
    rank : float or ndarray
        Uniform draw between 0 and 1. [1]
    rough : float or ndarray
        `roughness`. [1]
    middle : float
        Median share in a new tube. [1]
    hardest : float
        Largest share in any tube. [1]

    Returns
    -------
    float or ndarray
        Share. [1]

    Notes
    -----
    ``contact_loss = min(max(middle * sqrt(rough) * (1 + tails / 2), 0), hardest)
    where tails = ln(min(2 * rank, 1) / min(2 - 2 * rank, 1))``

    Source: impacts at one speed have restitutions with exponential tails on both sides
    (montaine2011, on spheres, from memory); assumption: the tails' scale is half the median, which
    grows as the square root of roughness.
    """
    tails = np.log(np.minimum(2 * rank, 1.0) / np.minimum(2 - 2 * rank, 1.0))
    return np.minimum(np.maximum(middle * np.sqrt(rough) * (1 + tails / 2), 0.0), hardest)


def exit_speed(sideways_speed: Any, direction: Any, lost: Any, deflection: Any) -> Any:
    """Speed along the row at which a seed leaves the tube.

    Parameters
    ----------
    sideways_speed : float or ndarray
        Speed along the row at its launch. [m/s]
    direction : float or ndarray
        Normal draw of the direction of launch. [1]
    lost : float or ndarray
        Speed that the last contact took; 0 without contacts. [m/s]
    deflection : float
        SD of the speed along the row over the speed lost. [1]

    Returns
    -------
    float or ndarray
        Speed, forward positive. [m/s]

    Notes
    -----
    ``exit_speed = sideways_speed - deflection * direction * lost``

    assumption: the wall turns a share of the lost speed aside, back from where the seed came, and
    more for a seed that is launched further aside.
    """
    return sideways_speed - deflection * direction * lost


@dataclass(frozen=True, kw_only=True)
class TubeStation:
    """Guides seeds to the furrow."""

    length: float
    curvature: float
    wear: float
    fitted: bool
    terminal_velocity: float
    launch_sd: float
    late_turn: float  # angle by which the disc turns on before seeds leave it, rad
    coefficients: Coefficients

    @cached_property
    def rough(self) -> float:
        """Contacts over those of the tube when it was new. [1]"""
        return float(roughness(self.wear, self.coefficients.wear_contacts))

    def contacts(self, speed: Any, at: Moment) -> Any:
        """Mean number of wall contacts at a peripheral speed [m/s], but for `damped`. [1]"""
        k = self.coefficients
        aside = self.launch_sd * speed
        aside = turned_aside(aside, speed, self.late_turn)
        mean = contact_mean(
            aside, self.length, self.curvature, self.rough, k.contacts, k.curvature_contacts
        )
        return mean * self.fitted

    def damped(self, apart: Any) -> Any:
        """Mean distance from a contact to the next one, from that before the contact. [m]"""
        return damped_distance(apart, self.coefficients.contact_damping)

    def loss(self, rank: Any) -> Any:
        """Share of speed lost at a contact. [1]"""
        k = self.coefficients
        return contact_loss(rank, self.rough, k.contact_loss, k.hardest_contact)

    def aside(self, sideways_speed: Any, direction: Any, lost: Any) -> Any:
        """Speed along the row after all contacts; the last took a speed of `lost`. [m/s]"""
        return exit_speed(sideways_speed, direction, lost, self.coefficients.deflection)

    def strays(self, aside: Any, time: Any, speed: Any) -> Any:
        """Distance along the row during a fall of a time [s], or below the tube's end. [m]"""
        return sideways_way(aside, BELOW_TUBE / speed if self.fitted else time)

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
