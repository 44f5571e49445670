"""The air of all rows on one fan: leaks, hoses, the pipe along the rows, and the fan's speed.

The rows of the toolbar hang on one pipe.  They are one row spacing apart.  The fan's pipe joins at
a place between two rows or at a row, so that the pipe has two wings.  Each meter hangs on the pipe
by a hose.  From the outer end of a wing, each hose and each piece of pipe turns the conductance
behind it into a smaller one.  The sum of both wings loads the fan, which gives the vacuum at its
end.  From there the vacuum is worked out again to the outer ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from metersim.files.faults import bad
from metersim.files.units import UNITS
from metersim.machine.air import (
    equivalent_holes,
    fan_loading,
    fan_share,
    gauge_reading,
    in_series,
    leak_conductance,
    open_area,
    outside_density,
    pipe_loss,
    seal_leak_area,
    vacuum_behind,
)
from metersim.machine.holding import DISCHARGE
from metersim.machine.rows import row_scenario
from metersim.machine.scenario import Scenario
from metersim.machine.seedlot import AIR_DENSITY
from metersim.machine.stations import CUT_OFF, POOL_EXIT
from metersim.machine.turning import gap_leak, vacuum_past_gap

Array = NDArray[np.float64]

OPEN_CHAMBER = 0.01  # m2, opening of a vacuum chamber that was left open; assumption
FLOW_OF_A_ROW = 75 / 3600  # m3/s, free flow of a usual fan for each of its rows; assumption
FULL_TURN = 2 * math.pi
FULL_SPEED = 1 + 1e-9  # of the fan, with room for rounding


@dataclass(frozen=True, kw_only=True)
class Air:
    """The air at some moments.

    Attributes
    ----------
    vacuum : ndarray, shape (rows, ticks)
        Vacuum at the holes of each row. [Pa]
    at_fan : ndarray, shape (ticks,)
        Vacuum at the fan's end of the pipe. [Pa]
    flow : ndarray, shape (ticks,)
        Flow of all rows. [m3/s]
    reading : ndarray, shape (ticks,)
        Vacuum that the gauge shows. [Pa]
    """

    vacuum: Array
    at_fan: Array
    flow: Array
    reading: Array


@dataclass(frozen=True, kw_only=True)
class AirLine:
    """What the vacuum of all rows depends on but the state of their discs.

    Attributes
    ----------
    pieces : tuple of float
        `pipe_loss` of the piece of pipe from each row towards the fan. [Pa s2/m6]
    left : int
        Number of rows on the left of the fan; a row at the fan counts.
    hose : float
        `pipe_loss` of a hose. [Pa s2/m6]
    air_density : float
        Density of the air. [kg/m3]
    shut_off : float or None
        Greatest pressure of the fan; None without a fan. [Pa]
    free_flow, curve_power, fan_speed : float
        Further parameters of `metersim.machine.air.fan_pressure`. [m3/s, 1, 1]
    stated : float
        Vacuum of every row without a fan. [Pa]
    gauge_at : int
        Row of the gauge; 0 for the fan's end of the pipe.
    gauge_error : float
        Share that the gauge reads too much. [1]
    working : tuple of bool
        Whether each row works.
    hole_diameters : tuple of float
        Diameter of the holes of each row. [m]
    parked_holes : tuple of float
        Open holes of each parked row; 0 where it is sealed, and for working rows.  assumption: no
        seeds are left on its disc.
    leaks : tuple of float
        Leak of the seal with that of an open chamber, by row; 0 for a sealed row. [m2]
    factors : tuple of float
        Vacuum at the holes over that at the port of the meter, by row. [1]
    """

    pieces: tuple[float, ...]
    left: int
    hose: float
    air_density: float
    shut_off: float | None
    free_flow: float
    curve_power: float
    fan_speed: float
    stated: float
    gauge_at: int
    gauge_error: float
    working: tuple[bool, ...]
    hole_diameters: tuple[float, ...]
    parked_holes: tuple[float, ...]
    leaks: tuple[float, ...]
    factors: tuple[float, ...]

    def open_area(self, holes: ArrayLike, gap_leak: ArrayLike = 0.0) -> Array:
        """Open area of each row's chamber. [m2]

        Parameters
        ----------
        holes : array_like, shape (rows, ticks)
            `metersim.machine.air.equivalent_holes` by row; what stands at parked rows is not read.
        gap_leak : array_like, broadcast to (rows, ticks)
            Leak through the running gap, likewise. [m2]
        """
        works = _column(self.working)
        area = open_area(
            np.where(works, holes, _column(self.parked_holes)),
            _column(self.hole_diameters),
            _column(self.leaks),
            np.where(works, gap_leak, 0.0),
        )
        return np.asarray(area, dtype=float)

    def solve(self, open_area: ArrayLike) -> Air:
        """Vacuum of all rows.

        Parameters
        ----------
        open_area : array_like, shape (rows, ticks)
            Open area of each row's chamber; 0 for a sealed row. [m2]
        """
        meters = leak_conductance(np.asarray(open_area, float), self.air_density, DISCHARGE)
        rows, ticks = meters.shape
        if rows != len(self.pieces):
            raise ValueError(f"open areas of {rows} rows for a machine of {len(self.pieces)}")
        hanging = in_series(meters, self.hose)
        wings = (range(self.left), range(rows - 1, self.left - 1, -1))  # from the outer ends
        behind, all_rows = np.empty((rows, ticks)), np.zeros(ticks)
        for wing in wings:
            outer: Any = 0.0
            for row in wing:
                behind[row] = outer + hanging[row]
                outer = in_series(behind[row], self.pieces[row])
            all_rows += outer

        at_fan = self._at_fan(all_rows)
        in_pipe = np.empty((rows, ticks))
        for wing in wings:
            nearer = at_fan
            for row in reversed(wing):
                nearer = in_pipe[row] = vacuum_behind(nearer, behind[row], self.pieces[row])
        port = vacuum_behind(in_pipe, meters, self.hose)
        if self.shut_off is None:
            port = np.full((rows, ticks), self.stated)
        gauge = port[self.gauge_at - 1] if self.gauge_at else at_fan
        return Air(
            vacuum=port * _column(self.factors),
            at_fan=at_fan,
            flow=(meters * np.sqrt(port)).sum(axis=0),
            reading=gauge_reading(gauge, self.gauge_error),
        )

    def _at_fan(self, conductance: Array) -> Array:
        """Vacuum at the fan under the conductance of all rows."""
        if self.shut_off is None:
            return np.full(conductance.shape, self.stated)
        loading = fan_loading(
            conductance, self.air_density, AIR_DENSITY, self.shut_off, self.free_flow
        )
        most = self.shut_off * self.air_density / AIR_DENSITY * self.fan_speed * self.fan_speed
        return np.asarray(most * fan_share(loading, self.curve_power), dtype=float)


def _column(values: tuple[Any, ...]) -> NDArray[Any]:
    return np.array(values)[:, None]


def full_holes(scenario: Scenario, *, sound: bool = False) -> float:
    """Number of open holes that let through as much air as a disc with a seed on every hole.

    A plugged hole lets nothing through, unless the disc is taken as `sound`.
    """
    k, lets_air = scenario.coefficients, scenario.holes.lets_air
    cells = len(lets_air) if sound else sum(lets_air)
    in_pool = cells * POOL_EXIT / FULL_TURN
    carried = cells * (CUT_OFF - POOL_EXIT) / FULL_TURN
    return float(equivalent_holes(0.0, in_pool, carried, k.leak_in_pool, k.leak_of_seated))


def air_line(
    scenario: Scenario,
    *,
    rows: Mapping[int, Scenario] | None = None,
    gap_leak: ArrayLike = 0.0,
    seal_draws: ArrayLike = 0.0,
    vacuum_draws: ArrayLike = 0.0,
) -> AirLine:
    """Air line of a scenario, with the speed at which its fan was set.

    The fan was set with all discs of working rows full.  The key ``set_when`` says whether that was
    in the state of the scenario.  Otherwise idle rows were sealed, seals, gaps and holes were
    sound, and chambers were closed.

    Parameters
    ----------
    scenario : Scenario
        The whole machine.
    rows : mapping of int to Scenario, optional
        Scenarios of rows that differ from it, by number from 1.
    gap_leak : array_like, broadcast to (rows,)
        Leak of each row through its running gap when the fan was set as things are. [m2]
    seal_draws, vacuum_draws : array_like, broadcast to (rows,)
        Standard normal deviates of each row's seal, and of its vacuum.

    Raises
    ------
    BadInput
        When rows are named that there are not, or when the fan cannot give the vacuum.
    """
    fan, hoses, number = scenario.fan, scenario.hoses, scenario.toolbar.rows
    working = scenario.working_rows
    joins = _fan_joins(scenario)
    density = float(outside_density(scenario.conditions.temperature, scenario.conditions.altitude))
    away = np.abs(np.arange(1, number + 1) - joins)
    to_next = np.minimum(away, 1.0) * scenario.demand.row_spacing
    each = [(rows or {}).get(row, scenario) for row in range(1, number + 1)]
    factors = np.exp(scenario.toolbar.loss_spread * np.asarray(vacuum_draws, float))
    line = AirLine(
        pieces=tuple(
            pipe_loss(to_next, hoses.pipe_diameter, density, hoses.friction, 0.0).tolist()
        ),
        left=math.floor(joins),
        hose=float(
            pipe_loss(
                hoses.hose_length,
                hoses.hose_diameter,
                density,
                hoses.friction,
                hoses.hose_fittings,
            )
        ),
        air_density=density,
        shut_off=fan.shut_off,
        free_flow=FLOW_OF_A_ROW * number if fan.free_flow is None else fan.free_flow,
        curve_power=fan.curve_power,
        fan_speed=1.0,
        stated=scenario.vacuum.vacuum,
        gauge_at=hoses.gauge_at,
        gauge_error=hoses.gauge_error,
        working=tuple(row in working for row in range(1, number + 1)),
        hole_diameters=tuple(one.disc.hole_diameter for one in each),
        parked_holes=(0.0,) * number,
        leaks=(0.0,) * number,
        factors=tuple(np.broadcast_to(factors, number).tolist()),
    )
    deviates = np.broadcast_to(np.asarray(seal_draws, float), number).tolist()
    now = _in_state(line, scenario, each, deviates, sound=False)
    if not scenario.is_toolbar:
        return now
    if fan.set_when == "sound":
        set_in, gaps = _in_state(line, scenario, each, deviates, sound=True), np.zeros(number)
    else:
        set_in, gaps = now, np.broadcast_to(np.asarray(gap_leak, float), number)
    full = np.array([full_holes(one, sound=fan.set_when == "sound") for one in each])
    fastest = set_in.solve(set_in.open_area(full[:, None], gaps[:, None]))
    return replace(now, fan_speed=_speed(scenario, float(fastest.reading[0])))


def empty_holes(scenario: Scenario) -> float:
    """Number of holes that are open to the chamber on a disc without a seed."""
    return scenario.disc.cells * CUT_OFF / FULL_TURN


def most_vacuum(scenario: Scenario) -> float:
    """Greatest vacuum that a gauge reads while a fan is set; infinite without a fan. [Pa]

    All pressures go with the square of the fan's speed, so any vacuum that it can give says so.
    """
    if not scenario.is_toolbar:
        return math.inf
    line = air_line(scenario.replace(vacuum__vacuum=EASY))
    return EASY / line.fan_speed**2


EASY = 1e-3  # Pa, a vacuum that any fan gives


def middle_row(scenario: Scenario) -> int:
    """Row that a scenario is of; for a machine the middle one of those that work."""
    return scenario.row or scenario.working_rows[(len(scenario.working_rows) - 1) // 2]


def chamber_vacuum(scenario: Scenario) -> float:
    """Vacuum in the chamber of a meter with a full disc: of its row, or of the middle working one.

    Without a fan it is the stated one, less what the running gap takes.  Rows with changes of their
    own breathe as those say. [Pa]
    """
    if not scenario.is_toolbar:
        return vacuum_past_gap(scenario)
    whole = scenario
    if scenario.row and scenario.machine:
        whole = replace(scenario.machine, coefficients=scenario.coefficients)
    own = {row: row_scenario(whole, row) for row, _ in whole.rows}
    if scenario.row:
        own[scenario.row] = scenario
    each = [own.get(row, whole) for row in range(1, whole.toolbar.rows + 1)]
    # a gap is worked out at the vacuum for which the fan was set
    leaks = np.array([float(gap_leak(one, one.vacuum.vacuum)) for one in each])
    line = air_line(whole, rows=own, gap_leak=leaks)
    full = np.array([[full_holes(one)] for one in each])
    air = line.solve(line.open_area(full, leaks[:, None]))
    return float(air.vacuum[middle_row(scenario) - 1, 0])


def _in_state(
    line: AirLine, scenario: Scenario, rows: list[Scenario], deviates: list[float], *, sound: bool
) -> AirLine:
    """The line with leaks as things are, or with idle rows sealed and all else sound."""
    hoses, toolbar = scenario.hoses, scenario.toolbar
    leaks, parked = [], []
    for row, works, deviate in zip(rows, line.working, deviates, strict=True):
        is_open = works or (toolbar.parked == "open" and not sound)
        wear = 0.0 if sound else row.vacuum.seal_wear
        leak = float(
            seal_leak_area(wear, deviate, hoses.seal_leak, hoses.worn_leak, toolbar.seal_spread)
        )
        opened = OPEN_CHAMBER * (row.vacuum.chamber_open and not sound)
        leaks.append((leak + opened) * is_open)
        parked.append(empty_holes(row) * (is_open and not works))
    return replace(line, leaks=tuple(leaks), parked_holes=tuple(parked))


def _speed(scenario: Scenario, fastest: float) -> float:
    """Speed at which the gauge reads what is asked for, given its reading at full speed. [1]

    All pressures go with the square of the speed, as all losses go with the square of the flow.
    """
    asked, key = scenario.vacuum.vacuum, "fan.shut_off_kpa"
    if asked == 0:
        return 0.0
    speed = math.sqrt(asked / fastest)
    if speed <= FULL_SPEED:
        return min(speed, 1.0)
    leaks = ["mend what leaks"]
    if scenario.fan.set_when == "now" and scenario.toolbar.parked == "open":
        leaks = ["seal the parked rows", *leaks]
    raise bad(
        scenario.name,
        key,
        f"at full speed, with all discs full, the gauge reads {_said(fastest, scenario)}, not "
        f"{_said(asked, scenario)}: ask for less vacuum, {', '.join(leaks)}, or give a larger fan",
    )


def _said(pressure: float, scenario: Scenario) -> str:
    unit = UNITS["inh2o" if scenario.units == "us" else "kpa"]
    return f"{unit.from_si(pressure):.3g} {unit.symbol}"


def _fan_joins(scenario: Scenario) -> float:
    """Place along the rows at which the fan's pipe joins, in row numbers."""
    rows, hoses = scenario.toolbar.rows, scenario.hoses
    return (rows + 1) / 2 if hoses.fan_at is None else hoses.fan_at
