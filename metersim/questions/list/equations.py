"""The equations as data: read from their docstrings, and applied in a worked example.

A docstring's Notes begin with the formula, as one expression in double backquotes: the names of
parameters, `* / + -`, `^` for powers, parentheses, a few functions, and other equations called by
name.  Each `where` names a part.  Tests evaluate every formula and compare it with its function.
"""

from __future__ import annotations

import importlib
import inspect
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from metersim.files.units import STANDARD_GRAVITY
from metersim.machine.airline import chamber_vacuum
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.conditions import InEffect
from metersim.machine.drive import cell_rate, disc_speed, nominal_spacing, peripheral_speed
from metersim.machine.gate import (
    arc_within,
    crowding,
    swept_arc,
    zone_crossed,
)
from metersim.machine.heap import (
    exit_level,
    heap_volume,
    level_at_disc,
    slope,
    static_level,
    tilted_angle,
)
from metersim.machine.holding import (
    centroid_height,
    flat_chance,
    hold_chance,
    log_margin,
    needed_spread,
    needed_vacuum,
    pool_spread,
    resistance_at,
)
from metersim.machine.joining import (
    bed_share,
    draw_rate,
    draw_slowness,
    empty_chance,
    loss_rate,
)
from metersim.machine.scenario import Scenario
from metersim.machine.stations import stations_of
from metersim.machine.wear import stirring

STATIONS = (
    "conditions",
    "drive",
    "gap",
    "gate",
    "heap",
    "holding",
    "joining",
    "wear",
    "singulator",
    "release",
    "tube",
    "conveyor",
    "sensor",
    "furrow",
    "rowunit",
    "air",
)
"""Modules with equations, in the order in which seeds meet them, then what no seed meets."""
HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}\n", re.MULTILINE)
ENTRY = re.compile(r"^(\S[^:\n]*?)(?: : [^\n]*)?\n((?:    [^\n]*\n?)+)", re.MULTILINE)
JOINED = {  # units of inputs of steps that join equations; others are plain numbers
    "length": "m",
    "width": "m",
    "thickness": "m",
    "repose_angle": "rad",
    "peripheral_speed": "m/s",
    "gravity": "m/s2",
    "circle_radius": "m",
    "static_level": "m",
    "heap_volume": "m3",
    "bulk_density": "kg/m3",
    "seed_mass": "kg",
    "swept_arc": "m",
    "arc_within": "m",
}
FORMULA = re.compile(r"\s*``([^`]+)``\s*(?:\n\n|$)")


@dataclass(frozen=True)
class Equation:
    """A function of the model.

    Attributes
    ----------
    station, name : str
        Module and function.
    gives : str
        Description of the result in a sentence.
    formula : tuple of str
        The formula, then each `where` part.
    source : str
        Sources, or a statement that it is an assumption.
    units : dict of str
        Unit of each parameter.
    unit : str
        Unit of the result.
    """

    station: str
    name: str
    gives: str
    formula: tuple[str, ...]
    source: str
    units: dict[str, str]
    unit: str


def station_names() -> list[str]:
    """Names of stations with equations."""
    return list(STATIONS)


def about(station: str) -> str:
    """Subject of the equations of a station: the first sentence of its docstring."""
    module = importlib.import_module(f"metersim.machine.{station}")
    return _one_line((module.__doc__ or "").split("\n\n")[0]).rpartition(": ")[2]


def equations() -> list[Equation]:
    """All equations of the model, station by station, in the order of the files."""
    return [equation_of(function) for name in station_names() for function in functions_of(name)]


def functions_of(station: str) -> list[Callable[..., Any]]:
    """Functions of the equations of a station, in the order of its file."""
    module = importlib.import_module(f"metersim.machine.{station}")
    return [
        function
        for name, function in vars(module).items()
        if inspect.isfunction(function)
        and function.__module__ == module.__name__
        and not name.startswith("_")
    ]


def equation_of(function: Callable[..., Any]) -> Equation:
    """Equation that is read from the docstring of a function.

    Raises
    ------
    ValueError
        When the Notes do not begin with a formula.
    """
    text = inspect.getdoc(function) or ""
    first, *parts = HEADING.split(text)
    sections = dict(zip(parts[::2], parts[1::2], strict=True))
    notes = sections.get("Notes", "")
    stated = FORMULA.match(notes)
    if stated is None:
        raise ValueError(f"the Notes of {function.__name__} do not begin with a formula")
    units = {
        name: _unit(text)
        for names, text in ENTRY.findall(sections.get("Parameters", ""))
        for name in names.split(", ")
    }
    return Equation(
        station=function.__module__.rpartition(".")[2],
        name=function.__name__,
        gives=first.split("\n\n")[0].strip(),
        formula=tuple(re.split(r" where ", _one_line(stated[1]))),
        source=_one_line(notes[stated.end() :]),
        units=units,
        unit=_unit(sections.get("Returns", "")),
    )


def _unit(text: str) -> str:
    found = re.search(r"\[([^\[\]]+)\]\s*$", text)
    return found[1] if found else ""


def _one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


@dataclass(frozen=True)
class Step:
    """One step of a worked example.

    Attributes
    ----------
    equation : Equation
        Equation; its station is empty when the step joins equations.
    put : dict of float
        Input numbers by parameter, in SI.
    result : float
        Result in SI.
    """

    equation: Equation
    put: dict[str, float]
    result: float


def worked(scenario: Scenario, coefficients: Coefficients = USUAL) -> list[Step]:
    """Worked example of a scenario: from the size of a seed to the chance of an empty cell.

    The cell passes a full pool at steady speed.  Its hole has the vacuum of the chamber.  The last
    step gives the chance that no seed joins the cell; a blocked cell stays empty too.

    Parameters
    ----------
    scenario : Scenario
        Scenario of the example.
    coefficients : Coefficients
        Coefficients of the model.

    Returns
    -------
    list of Step
        Steps in order; each uses results of earlier steps.
    """
    stations = stations_of(scenario, coefficients)
    station, gate = stations.pickup, stations.gate
    lot, k = InEffect.of(scenario.seeds, coefficients, scenario.conditions)
    disc, asked, gravity = scenario.disc, scenario.demand, STANDARD_GRAVITY
    steps: list[Step] = []

    def take(function: Callable[..., Any], **put: float) -> float:
        steps.append(Step(equation_of(function), put, float(function(**put))))
        return steps[-1].result

    def join(formula: str, unit: str, gives: str, result: float, **put: float) -> float:
        name = formula.partition(" = ")[0]
        steps.append(Step(Equation("", name, gives, (formula,), "", JOINED, unit), put, result))
        return result

    gmd = join(
        "gmd = (length * width * thickness)^(1 / 3)",
        "m",
        "Geometric mean diameter of the seed.",
        (lot.length * lot.width * lot.thickness) ** (1 / 3),
        length=lot.length,
        width=lot.width,
        thickness=lot.thickness,
    )
    centroid = take(centroid_height, across_face=lot.thickness)

    spacing = take(nominal_spacing, rate=asked.rate, row_spacing=asked.row_spacing)
    cells = take(cell_rate, speed=asked.speed, spacing=spacing)
    turning = take(disc_speed, cells_per_second=cells, cells=disc.cells)
    speed = take(peripheral_speed, angular_speed=turning, circle_radius=disc.circle_radius)

    angle = lot.repose_angle
    if gate.sidehill:
        angle = take(tilted_angle, rest_angle=angle, sidehill=gate.sidehill)
    rise = take(slope, angle=angle, shock=gate.shock, slope_loss=k.slope_loss_by_shock)
    pool = {"pool_depth": gate.depth, "slope": rise}
    take(static_level, gate_opening=gate.opening, **pool)
    filled = take(heap_volume, gate_opening=gate.opening, **pool, pool_width=gate.width)
    whole = join(
        "volume = floor(heap_volume * bulk_density / seed_mass) * seed_mass / bulk_density",
        "m3",
        "Volume of whole seeds.",
        math.floor(filled * lot.bulk_density / lot.seed_mass) * lot.seed_mass / lot.bulk_density,
        heap_volume=filled,
        bulk_density=lot.bulk_density,
        seed_mass=lot.seed_mass,
    )
    level = leaving = take(level_at_disc, volume=whole, **pool, pool_width=gate.width)
    if station.uphill:
        leaving = take(
            exit_level,
            level=level,
            uphill=station.uphill,
            pool_width=station.pool_width,
            circle_radius=disc.circle_radius,
            tilt_follow=k.tilt_follow,
        )

    full = join(
        "full_resistance = coefficient * tan(repose_angle)",
        "1",
        "Pull of a pool filled to the carry line on a seed over its weight.",
        k.resistance * math.tan(lot.repose_angle),
        coefficient=k.resistance,
        repose_angle=lot.repose_angle,
    )
    resistance = take(
        resistance_at,
        resistance=full,
        level=leaving,
        carry_line=station.carry_line,
        depth_power=k.depth_power,
    )
    centrifugal = join(
        "centrifugal = peripheral_speed^2 / (gravity * circle_radius)",
        "1",
        "Centrifugal acceleration over gravity.",
        speed * speed / (gravity * disc.circle_radius),
        peripheral_speed=speed,
        gravity=gravity,
        circle_radius=disc.circle_radius,
    )
    needed = take(
        needed_vacuum,
        seed_mass=lot.seed_mass,
        centroid=centroid,
        hole_diameter=disc.hole_diameter,
        resistance=resistance,
        shock=1.0,
        centrifugal=centrifugal,
        seal=station.seal,
        gravity=gravity,
    )
    vacuum = station.vacuum_share * chamber_vacuum(scenario)
    margin = take(log_margin, vacuum=vacuum, needed=needed)

    from_pool = take(pool_spread, resistance=full, resistance_cv=k.resistance_cv)
    load_sd = join(
        "load_sd = sqrt(pool_spread^2 + shock^2)",
        "1",
        "SD of ln(load), from the pool and from shocks of the row unit.",
        math.hypot(from_pool, station.shock),
        pool_spread=from_pool,
        shock=station.shock,
    )
    spread = take(needed_spread, size_cv=lot.size_cv, hold_spread=k.hold_spread, load_sd=load_sd)
    flat = take(flat_chance, width=lot.width, thickness=lot.thickness)
    holds_flat = take(hold_chance, margin=margin, spread=spread)
    edge_margin = join(
        "edge_margin = log_margin - ln(width / thickness)",
        "1",
        "Margin of the mean seed when it stands on edge.",
        margin - math.log(lot.width / lot.thickness),
        log_margin=margin,
        width=lot.width,
        thickness=lot.thickness,
    )
    holds_on_edge = take(hold_chance, margin=edge_margin, spread=spread)
    hold = join(
        "hold = flat_chance * hold_flat + (1 - flat_chance) * hold_on_edge",
        "1",
        "Chance that a seed that is drawn holds, over both poses.",
        flat * holds_flat + (1 - flat) * holds_on_edge,
        flat_chance=flat,
        hold_flat=holds_flat,
        hold_on_edge=holds_on_edge,
    )

    swept = take(swept_arc, level=level, circle_radius=disc.circle_radius)
    within = take(arc_within, width=station.pool_width, circle_radius=disc.circle_radius)
    arc = join(
        "arc = min(swept_arc, arc_within)",
        "m",
        "Arc of the hole circle in the pool.",
        min(swept, within),
        swept_arc=swept,
        arc_within=within,
    )
    crossed = take(zone_crossed, arc=arc, gmd=gmd, exit_zone=k.exit_zone)
    room = take(
        crowding,
        pitch=station.pitch,
        length=lot.length,
        crowding_pitch=k.crowding_pitch,
        crowding_power=k.crowding_power,
    )
    bed = take(bed_share, level=leaving, carry_line=station.carry_line, thin_bed=k.thin_bed)

    slowness = take(
        draw_slowness,
        slowness=k.draw_slowness,
        agitation=float(stirring(station.agitation, station.wrong_way_round)),
        agitation_gain=k.agitation_gain,
    )
    draws = take(
        draw_rate,
        margin=margin,
        gmd=gmd,
        peripheral_speed=speed,
        slowness=slowness,
        draw_power=k.draw_power,
        gravity=gravity,
    )
    gain = join(
        "gain = crowding * bed_share * draw_rate * hold",
        "1",
        "Seeds that a free hole gains while it passes one seed diameter.",
        room * bed * draws * hold,
        crowding=room,
        bed_share=bed,
        draw_rate=draws,
        hold=hold,
    )
    loss = take(loss_rate, margin=margin, loosening=k.loosening, loss_power=k.loss_power)
    take(empty_chance, gain=gain, loss=loss, zone=crossed)
    return steps
