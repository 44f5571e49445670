"""What the farmer asks for: from rate, row spacing and speed to the disc's motion."""

from __future__ import annotations

from typing import Any

import numpy as np


def nominal_spacing(rate: Any, row_spacing: Any) -> Any:
    """Spacing of seeds in the row at a given rate.

    Parameters
    ----------
    rate : float or ndarray
        Seeds per area, above 0. [1/m2]
    row_spacing : float or ndarray
        Distance between rows, above 0. [m]

    Returns
    -------
    float or ndarray
        Nominal spacing. [m]

    Notes
    -----
    ``nominal_spacing = 1 / (rate * row_spacing)``

    Source: definition; checked against extension tables in the tests.
    """
    return 1 / (rate * row_spacing)


def cell_rate(speed: Any, spacing: Any) -> Any:
    """Cells that must pass the cut-off each second.

    Parameters
    ----------
    speed : float or ndarray
        Ground or belt speed. [m/s]
    spacing : float or ndarray
        Nominal spacing, above 0. [m]

    Returns
    -------
    float or ndarray
        Cell rate. [1/s]

    Notes
    -----
    ``cell_rate = speed / spacing``

    Source: definition.
    """
    return speed / spacing


def disc_speed(cells_per_second: Any, cells: Any) -> Any:
    """Turning speed of a disc that must pass so many cells a second.

    Parameters
    ----------
    cells_per_second : float or ndarray
        Cell rate. [1/s]
    cells : int or ndarray
        Cells on the disc, above 0. [1]

    Returns
    -------
    float or ndarray
        Angular speed. [rad/s]

    Notes
    -----
    ``disc_speed = 2 * pi * cells_per_second / cells``

    Source: definition.
    """
    return 2 * np.pi * cells_per_second / cells


def peripheral_speed(angular_speed: Any, circle_radius: Any) -> Any:
    """Speed of the holes.

    Parameters
    ----------
    angular_speed : float or ndarray
        Turning speed of the disc. [rad/s]
    circle_radius : float or ndarray
        Radius of the circle of holes. [m]

    Returns
    -------
    float or ndarray
        Peripheral speed at the hole circle. [m/s]

    Notes
    -----
    ``peripheral_speed = angular_speed * circle_radius``

    Source: definition.
    """
    return angular_speed * circle_radius
