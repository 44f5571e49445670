"""Air: its density, leaks, losses in pipes, and the fan that draws it.

Every loss of pressure goes with the square of the flow.  So a leak, or a pipe with all its leaks,
is one number: its conductance, flow over the root of pressure.  Conductances at one place add up,
and a pipe before a conductance makes it smaller.  So all rows reduce to one conductance at the fan.
"""

from __future__ import annotations

from typing import Any

import numpy as np

STEPS = 6  # of Newton to the fan's share; five are enough for powers of flow from 0.5 to 6


def outside_pressure(altitude: Any) -> Any:
    """Pressure of the air outside in standard weather.

    Parameters
    ----------
    altitude : float or ndarray
        Height above the sea, below 11 km. [m]

    Returns
    -------
    float or ndarray
        Pressure. [Pa]

    Notes
    -----
    ``outside_pressure = 101325 * (1 - 0.0065 * altitude / 288.15)^power
    where power = 9.80665 / (0.0065 * 287.05287)``

    Source: International Standard Atmosphere, from memory. Weather moves the pressure by 3 %.
    """
    power = 9.80665 / (0.0065 * 287.05287)
    return 101325 * np.power(1 - 0.0065 * altitude / 288.15, power)


def outside_density(temperature: Any, altitude: Any) -> Any:
    """Density of dry air outside.

    Parameters
    ----------
    temperature : float or ndarray
        Temperature of the air. [K]
    altitude : float or ndarray
        Height above the sea. [m]

    Returns
    -------
    float or ndarray
        Density. [kg/m3]

    Notes
    -----
    ``outside_density = outside_pressure(altitude) / (287.05287 * temperature)``

    Source: gas law, with the gas constant of the International Standard Atmosphere, from memory.
    Damp air is lighter, by 1 % at 20 degC and by 2 % at 35 degC. The vacuum itself thins the air
    by some 5 %. Both are left out.
    """
    return outside_pressure(altitude) / (287.05287 * temperature)


def leak_conductance(area: Any, air_density: Any, discharge: Any) -> Any:
    """Conductance of an open area: the flow through it over the root of the vacuum behind it.

    Parameters
    ----------
    area : float or ndarray
        Open area. [m2]
    air_density : float or ndarray
        Density of the air. [kg/m3]
    discharge : float
        Discharge coefficient, 0.62 for sharp edges. [1]

    Returns
    -------
    float or ndarray
        Conductance. [m3/s/Pa^0.5]

    Notes
    -----
    ``leak_conductance = discharge * area * sqrt(2 / air_density)``

    Source: Bernoulli's equation for an orifice between two large spaces. At 5 kPa the air is
    thinned by 5 %, which would take about 2 % of the flow.
    """
    return discharge * area * np.sqrt(2 / air_density)


def pipe_loss(length: Any, bore: Any, air_density: Any, friction: Any, fittings: Any) -> Any:
    """Loss of pressure along a piece of pipe over the square of the flow in it.

    Parameters
    ----------
    length : float or ndarray
        Length of the piece. [m]
    bore : float or ndarray
        Inner diameter. [m]
    air_density : float or ndarray
        Density of the air. [kg/m3]
    friction, fittings : float
        Darcy's friction factor, and velocity heads lost at ends and fittings. [1]

    Returns
    -------
    float or ndarray
        Pressure over the square of the flow. [Pa s2/m6]

    Notes
    -----
    ``pipe_loss = (friction * length / bore + fittings) * air_density / (2 * section^2)
    where section = pi * bore^2 / 4``

    Source: Darcy's equation; assumption: neither factor depends on the flow. The flow is turbulent,
    and hoses are rough. A short hose loses more at its ends than along it.
    """
    section = np.pi * bore * bore / 4
    return (friction * length / bore + fittings) * air_density / (2 * section * section)


def in_series(conductance: Any, square_loss: Any) -> Any:
    """Conductance of leaks behind a pipe, as seen from its other end.

    Parameters
    ----------
    conductance : float or ndarray
        Conductance of all that lies behind the pipe. [m3/s/Pa^0.5]
    square_loss : float or ndarray
        `pipe_loss` of the pipe. [Pa s2/m6]

    Returns
    -------
    float or ndarray
        Conductance at the other end, not above the one behind. [m3/s/Pa^0.5]

    Notes
    -----
    ``in_series = conductance / sqrt(1 + square_loss * conductance^2)``

    Source: algebra. With flow Q and conductance e, the vacuum at the leaks is (Q/e)^2, and the
    pipe adds its loss times Q^2. Conductances at one place add up.
    """
    return conductance / np.sqrt(1 + square_loss * conductance * conductance)


def vacuum_behind(vacuum: Any, conductance: Any, square_loss: Any) -> Any:
    """Vacuum behind a pipe.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum at the end of the pipe that is nearer to the fan. [Pa]
    conductance : float or ndarray
        Conductance of all that lies behind the pipe. [m3/s/Pa^0.5]
    square_loss : float or ndarray
        `pipe_loss` of the pipe. [Pa s2/m6]

    Returns
    -------
    float or ndarray
        Vacuum at the other end of the pipe. [Pa]

    Notes
    -----
    ``vacuum_behind = vacuum / (1 + square_loss * conductance^2)``

    Source: algebra, as for `in_series`.
    """
    return vacuum / (1 + square_loss * conductance * conductance)


def fan_pressure(
    flow: Any,
    fan_speed: Any,
    air_density: Any,
    standard_density: Any,
    shut_off: Any,
    free_flow: Any,
    curve_power: Any,
) -> Any:
    """Pressure of a fan at a flow.

    Parameters
    ----------
    flow : float or ndarray
        Flow through the fan, 0 or more. [m3/s]
    fan_speed : float or ndarray
        Speed of the fan over its full speed, above 0. [1]
    air_density, standard_density : float or ndarray
        Density of the air, and of standard air, in which the fan was rated. [kg/m3]
    shut_off : float
        Pressure at full speed without flow, in standard air. [Pa]
    free_flow : float
        Flow at full speed without load. [m3/s]
    curve_power : float
        Power of flow in the loss of pressure. [1]

    Returns
    -------
    float or ndarray
        Pressure, 0 or more. [Pa]

    Notes
    -----
    ``fan_pressure = air_density / standard_density * shut_off * fan_speed^2 * max(1 - used, 0)
    where used = (flow / (fan_speed * free_flow))^curve_power``

    Source: fan laws, by which pressure goes with density and the square of speed, and flow with
    speed; assumption: the shape of the curve. Real curves have a hump at small flows.
    """
    used = np.power(flow / (fan_speed * free_flow), curve_power)
    most = air_density / standard_density * shut_off * fan_speed * fan_speed
    return most * np.maximum(1 - used, 0.0)


def fan_loading(
    conductance: Any, air_density: Any, standard_density: Any, shut_off: Any, free_flow: Any
) -> Any:
    """Flow that the fan's greatest pressure would draw, over the fan's free flow.

    Parameters
    ----------
    conductance : float or ndarray
        Conductance of the whole machine at the fan. [m3/s/Pa^0.5]
    air_density, standard_density : float or ndarray
        Density of the air, and of standard air, in which the fan was rated. [kg/m3]
    shut_off : float
        Pressure at full speed without flow, in standard air. [Pa]
    free_flow : float
        Flow at full speed without load. [m3/s]

    Returns
    -------
    float or ndarray
        Loading: 0 with all closed, 1 for a fan that fits. [1]

    Notes
    -----
    ``fan_loading = conductance * sqrt(shut_off * air_density / standard_density) / free_flow``

    Source: definition. Speed cancels out, as both flows go with it. So does density, as a
    conductance goes with the root of its inverse.
    """
    return conductance * np.sqrt(shut_off * air_density / standard_density) / free_flow


def fan_share(loading: Any, curve_power: Any) -> Any:
    """Share of its greatest pressure that a fan gives under a load.

    Parameters
    ----------
    loading : float or ndarray
        `fan_loading`, 0 or more. [1]
    curve_power : float or ndarray
        Power of flow in the loss of pressure. [1]

    Returns
    -------
    float or ndarray
        Share, above 0 and up to 1. [1]

    Notes
    -----
    ``1 - fan_share = (loading * sqrt(fan_share))^curve_power``

    Source: algebra, where fan and machine have the same flow and pressure. The share of a
    quadratic fan is 1 / (1 + loading^2). Newton's steps find others. They start at the right of
    the root of a convex function, so they cannot miss. Their number is fixed, so that numbers and
    arrays agree.
    """
    # The share is a bound times z, or times z^(2 / curve_power) where the power is below 2.  Both
    # factors of linear * z + powered * z^power = 1 are 0 to 1, and one is 1.
    half = curve_power / 2
    bound = 1 / (np.maximum(loading, 1.0) * np.maximum(loading, 1.0))
    by_flow = np.power(np.minimum(loading, 1.0), curve_power)
    convex = half >= 1
    linear, powered = np.where(convex, bound, by_flow), np.where(convex, by_flow, bound)
    power = np.maximum(half, 1 / half)
    z = 1.0
    for _ in range(STEPS):
        rise = powered * np.power(z, power - 1)
        z = z - (linear * z + rise * z - 1) / (linear + power * rise)
    return bound * np.power(z, np.where(convex, 1.0, power))


def gauge_reading(vacuum: Any, gauge_error: Any) -> Any:
    """Vacuum that a gauge shows.

    Parameters
    ----------
    vacuum : float or ndarray
        Vacuum where the gauge sits. [Pa]
    gauge_error : float
        Share that the gauge reads too much. [1]

    Returns
    -------
    float or ndarray
        Reading. [Pa]

    Notes
    -----
    ``gauge_reading = vacuum * (1 + gauge_error)``

    Source: definition; assumption: the error goes with the vacuum.
    """
    return vacuum * (1 + gauge_error)


def equivalent_holes(
    uncovered: Any, in_pool: Any, seated: Any, leak_in_pool: Any, leak_of_seated: Any
) -> Any:
    """Number of open holes that let through as much air as the holes of a disc.

    Parameters
    ----------
    uncovered : float or ndarray
        Holes under vacuum that have left the pool without a seed. [1]
    in_pool : float or ndarray
        Holes in the pool. [1]
    seated : float or ndarray
        Holes under vacuum that have left the pool with a seed. [1]
    leak_in_pool, leak_of_seated : float
        Open share of a hole in the pool, and of one with a seated seed. [1]

    Returns
    -------
    float or ndarray
        Number of open holes. [1]

    Notes
    -----
    ``equivalent_holes = uncovered + leak_in_pool * in_pool + leak_of_seated * seated``

    assumption: both shares are the same for all seeds. They are coefficients with wide ranges.
    """
    return uncovered + leak_in_pool * in_pool + leak_of_seated * seated


def seal_leak_area(
    wear: Any, deviate: Any, seal_leak: Any, worn_leak: Any, seal_spread: Any
) -> Any:
    """Leak of the seal between disc and chamber, as an open area.

    Parameters
    ----------
    wear : float or ndarray
        Wear of the seal, 0 new to 1 worn out. [1]
    deviate : float or ndarray
        Standard normal deviate of the row. [1]
    seal_leak, worn_leak : float
        Leak of a sound seal, and what a worn-out one adds. [m2]
    seal_spread : float
        SD of the logarithm of the leak between rows. [1]

    Returns
    -------
    float or ndarray
        Open area. [m2]

    Notes
    -----
    ``seal_leak_area = (seal_leak + worn_leak * wear) * exp(seal_spread * deviate)``

    assumption: the leak grows evenly with wear, and differs between rows by a factor.
    """
    return (seal_leak + worn_leak * wear) * np.exp(seal_spread * deviate)


def open_area(holes: Any, hole_diameter: Any, leak: Any, gap_leak: Any) -> Any:
    """Open area of a meter's chamber.

    Parameters
    ----------
    holes : float or ndarray
        `equivalent_holes` under vacuum. [1]
    hole_diameter : float or ndarray
        Diameter of a hole. [m]
    leak, gap_leak : float or ndarray
        Leak of the seal with that of an open chamber, and leak through the running gap. [m2]

    Returns
    -------
    float or ndarray
        Open area. [m2]

    Notes
    -----
    ``open_area = holes * pi * hole_diameter^2 / 4 + leak + gap_leak``

    Source: geometry; assumption: all openings have the discharge coefficient of a hole.
    """
    return holes * np.pi * hole_diameter * hole_diameter / 4 + leak + gap_leak
