"""Running gap: how far the disc stands from its seal, what rubs, what leaks, what turning takes."""

from __future__ import annotations

from typing import Any

import numpy as np


def chamber_area(circle_radius: Any, chamber_width: Any) -> Any:
    """Area of the disc on which the vacuum of the chamber pulls.

    Parameters
    ----------
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]
    chamber_width : float or ndarray
        Width of the chamber over that radius. [1]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Notes
    -----
    ``chamber_area = 11 / 6 * pi * chamber_width * circle_radius^2``

    assumption: the chamber is a channel behind the circle of holes, over 330 of 360 degrees: from
    where the holes enter the pool to the cut-off.
    """
    return 11 / 6 * np.pi * chamber_width * circle_radius * circle_radius


def seal_length(circle_radius: Any) -> Any:
    """Length of the seal between disc and chamber.

    Parameters
    ----------
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Length of both edges of the chamber. [m]

    Notes
    -----
    ``seal_length = 11 / 3 * pi * circle_radius``

    assumption: as `chamber_area`. One edge lies as far inside the circle as the other outside.
    """
    return 11 / 3 * np.pi * circle_radius


def drawn_gap(vacuum: Any, running_gap: Any, area: Any, stiffness: Any) -> Any:
    """Mean gap over a turn, with the disc drawn in by the vacuum.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum in the chamber. [Pa]
    running_gap : float or ndarray
        Distance from the disc to its seal without vacuum. [m]
    area : float or ndarray
        Area on which the vacuum pulls. [m2]
    stiffness : float or ndarray
        Force that bends disc and hub by a length. [N/m]

    Returns
    -------
    float or ndarray
        Gap; below 0 the disc would lie in its seal. [m]

    Notes
    -----
    ``drawn_gap = running_gap - vacuum * area / stiffness``

    Source: balance of forces on a spring. assumption: disc and hub bend in proportion to force.
    """
    return running_gap - vacuum * area / stiffness


SMALLEST = 1e-300  # m, stands for the wobble of a disc without run-out


def mean_excess(above: Any, wobble: Any) -> Any:
    """Mean over a turn of what lies above 0 of a sine about a level.

    Parameters
    ----------
    above : float or ndarray
        Level, the mean of the sine. [m]
    wobble : float or ndarray
        Amplitude of the sine, 0 or more. [m]

    Returns
    -------
    float or ndarray
        Mean, 0 or more. [m]

    Notes
    -----
    ``mean_excess = if(abs(above) < wobble, some / pi, max(above, 0))
    where some = above * arccos(-above / wobble) + sqrt(wobble^2 - above^2)``

    Source: integral of a sine between its zeros. assumption: a disc that runs out wobbles as a
    sine, once a turn.
    """
    part = np.minimum(np.maximum(above / np.maximum(wobble, SMALLEST), -1.0), 1.0)
    mean = (above * np.arccos(-part) + wobble * np.sqrt(1 - part * part)) / np.pi
    return np.maximum(mean, 0.0)  # rounding must not leave less


def share_above(above: Any, wobble: Any) -> Any:
    """Share of a turn in which a sine about a level lies above 0.

    Parameters
    ----------
    above : float or ndarray
        Level, the mean of the sine. [m]
    wobble : float or ndarray
        Amplitude of the sine, 0 or more. [m]

    Returns
    -------
    float or ndarray
        Share from 0 to 1. [1]

    Notes
    -----
    ``share_above = if(abs(above) < wobble, arccos(-above / wobble) / pi, if(above < 0, 0, 1))``

    Source: zeros of a sine. It is the slope of `mean_excess`.
    """
    part = np.minimum(np.maximum(above / np.maximum(wobble, SMALLEST), -1.0), 1.0)
    inside = np.arccos(-part) / np.pi
    return np.where(np.abs(above) < wobble, inside, np.where(above < 0, 0.0, 1.0))[()]


def contact_force(mean_gap: Any, wobble: Any, stiffness: Any) -> Any:
    """Mean force over a turn between the disc and the seal that it rubs on.

    Parameters
    ----------
    mean_gap : float or ndarray
        Mean gap over a turn. [m]
    wobble : float or ndarray
        Half of the wobble of the disc at the seal. [m]
    stiffness : float or ndarray
        Force that bends disc and hub by a length. [N/m]

    Returns
    -------
    float or ndarray
        Force, 0 if the disc is free all round. [N]

    Notes
    -----
    ``contact_force = stiffness * mean_excess(-mean_gap, wobble)``

    assumption: the body of the seal does not give way, so disc and hub bend by the overlap. A disc
    that lies on all round bears the pull of the vacuum less that of its hub.
    """
    return stiffness * mean_excess(-mean_gap, wobble)


def leak_area(mean_gap: Any, wobble: Any, lip: Any, length: Any) -> Any:
    """Open area past the seal, as a mean over a turn.

    Parameters
    ----------
    mean_gap : float or ndarray
        Mean gap over a turn. [m]
    wobble : float or ndarray
        Half of the wobble of the disc at the seal. [m]
    lip : float or ndarray
        Gap that the lip of the seal still closes. [m]
    length : float or ndarray
        Length of the seal. [m]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Notes
    -----
    ``leak_area = length * mean_excess(mean_gap - lip, wobble)``

    assumption: the lip follows the disc up to its reach, and air passes through the rest.
    """
    return length * mean_excess(mean_gap - lip, wobble)


def own_area(hole_diameter: Any, cells: Any, seal_leak: Any) -> Any:
    """Open area of a sound meter at work.

    Parameters
    ----------
    hole_diameter : float or ndarray
        Diameter of a hole. [m]
    cells : int or ndarray
        Holes of the disc. [1]
    seal_leak : float or ndarray
        Leak of a sound seal, as an open area. [m2]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Notes
    -----
    ``own_area = seal_leak + cells / 3 * pi / 4 * hole_diameter^2``

    assumption: the holes in the pool count as open, which are a third of all. A seed closes the
    others.
    """
    return seal_leak + cells / 3 * np.pi / 4 * hole_diameter * hole_diameter


def vacuum_left(leak: Any, own: Any, line_loss: Any) -> Any:
    """Vacuum in the chamber with a leak over that without it, at the same source.

    Parameters
    ----------
    leak : float or ndarray
        Area of the leak. [m2]
    own : float or ndarray
        Open area of the meter without it, above 0. [m2]
    line_loss : float or ndarray
        Pressure lost between source and sound meter, over the vacuum in its chamber. [1]

    Returns
    -------
    float or ndarray
        Share, 1 without a leak. [1]

    Notes
    -----
    ``vacuum_left = (1 + line_loss) / (1 + line_loss * (1 + leak / own)^2)``

    Source: losses go as the square of flow, in openings and lines. assumption: the source keeps its
    pressure, so a single meter without a stated fan falls by its line alone.
    """
    opened = 1 + leak / own
    return (1 + line_loss) / (1 + line_loss * opened * opened)


def allowed_leak(own: Any, line_loss: Any, lowering: Any) -> Any:
    """Leak that lowers the vacuum by a share.

    Parameters
    ----------
    own : float or ndarray
        Open area of the meter without it. [m2]
    line_loss : float or ndarray
        As for `vacuum_left`, above 0. [1]
    lowering : float or ndarray
        Share of the vacuum that may be lost, below 1. [1]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Notes
    -----
    ``allowed_leak = own * (sqrt(((1 + line_loss) / (1 - lowering) - 1) / line_loss) - 1)``

    Source: inverse of `vacuum_left`.
    """
    return own * (np.sqrt(((1 + line_loss) / (1 - lowering) - 1) / line_loss) - 1)


def press_of_lip(vacuum: Any, touching: Any, length: Any, lip_width: Any) -> Any:
    """Force with which the vacuum presses the lip of the seal to the disc.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum in the chamber. [Pa]
    touching : float or ndarray
        Share of a turn in which the lip touches. [1]
    length : float or ndarray
        Length of the seal. [m]
    lip_width : float or ndarray
        Width of lip on which the vacuum presses. [m]

    Returns
    -------
    float or ndarray
        Force. [N]

    Notes
    -----
    ``press_of_lip = vacuum * touching * length * lip_width``

    assumption: the lip has no press of its own.
    """
    return vacuum * touching * length * lip_width


def friction_torque(force: Any, circle_radius: Any, friction: Any) -> Any:
    """Torque of a seal that rubs on the disc.

    Parameters
    ----------
    force : float or ndarray
        Force between them. [N]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]
    friction : float or ndarray
        Friction of the seal on the disc. [1]

    Returns
    -------
    float or ndarray
        Torque. [N m]

    Notes
    -----
    ``friction_torque = friction * force * circle_radius``

    assumption: dry friction, at the radius of the holes on average. No published torque exists.
    """
    return friction * force * circle_radius


def motor_current(load: Any, rated_current: Any, idle_current: Any) -> Any:
    """Current of the motor that turns the disc.

    Parameters
    ----------
    load : float or ndarray
        Torque over the torque at which the motor is rated. [1]
    rated_current : float or ndarray
        Current at that torque. [A]
    idle_current : float or ndarray
        Current without load. [A]

    Returns
    -------
    float or ndarray
        Current. [A]

    Notes
    -----
    ``motor_current = idle_current + load * (rated_current - idle_current)``

    Source: a motor with permanent magnets, whose current grows evenly with torque (from memory).
    """
    return idle_current + load * (rated_current - idle_current)
