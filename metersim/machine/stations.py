"""The stations of a meter as values: the equations bound to one machine and one lot.

A station is a frozen dataclass.  To try an own tube or gate, give a subclass of the usual one.  The
events call a method with numbers, and the arrays call it with arrays, which it must not change.  It
returns finite values of the same kind and shape.  A gate, and the methods `contacts` and
`detects`, may give one number for all.

Methods whose last parameter is `at` get the `Moment` of the station: its time, the speed of the
holes, and the level of the pool when the cell entered it.  It is the same in both engines:

- gate: a tick, with the speed until the next tick; the level is not known
- pick-up: the cell enters the pool; speed and level are those of the last tick
- singulator: the cell passes it
- release: the cell passes the cut-off
- tube: the seed leaves its hole; from here on, the speed is that of its hole at the cut-off
- sensor: the seed crosses the beam
- furrow: the seed lands
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.air import outside_density
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.conditions import MEASURED_IN, InEffect, fall_in_air
from metersim.machine.conveyor import ConveyorStation
from metersim.machine.drive import DriveStation
from metersim.machine.furrow import FurrowStation, landing_spread
from metersim.machine.gate import GateStation
from metersim.machine.given import AnyScenario, scenario_of
from metersim.machine.load import speed_kept
from metersim.machine.own import OwnStations
from metersim.machine.pickup import PickupStation
from metersim.machine.release import ReleaseStation
from metersim.machine.rowunit import RowUnitStation, shock_sd
from metersim.machine.scenario import Scenario
from metersim.machine.sensor import SensorStation
from metersim.machine.singulator import SingulatorStation
from metersim.machine.tube import TubeStation
from metersim.machine.turning import gap_of
from metersim.machine.wear import CLASSES, seed_class

# Points that a cell passes, in rad of disc rotation after it enters the pool.  Assumption: the pool
# lies at the bottom, the singulator follows its exit, the cut-off is on the falling side.
POOL_EXIT = math.radians(120)
SINGULATOR = math.radians(160)
CUT_OFF = math.radians(330)
POINTS = (0.0, POOL_EXIT, SINGULATOR, CUT_OFF)
ENTERS, LEAVES, EDGE, CUT = range(len(POINTS))

# The point that a cell passes when a station's losses bring its seeds back to the pool.
RETURNS = {"pool": LEAVES, "singulator": EDGE, "carry": CUT}


@dataclass(frozen=True, kw_only=True)
class Stations:
    """All stations of a meter, from the drive to the furrow."""

    drive: DriveStation
    gate: GateStation
    pickup: PickupStation
    singulator: SingulatorStation
    release: ReleaseStation
    tube: TubeStation
    sensor: SensorStation
    furrow: FurrowStation
    row_unit: RowUnitStation

    def departures(self, usual: Stations) -> dict[str, str]:
        """Stations that differ from those of `usual`: their names and their classes, in words."""
        found = {}
        for field in fields(self):
            mine, other = getattr(self, field.name), getattr(usual, field.name)
            name = type(mine).__qualname__
            if type(mine) is not type(other):
                found[field.name] = name
            elif mine != other:
                found[field.name] = f"{name} with other values"
        return found


def values_changed(old: Any, new: Any) -> str:
    """Changes of numbers between two stations, in words; empty if anything else differs."""
    if type(old) is not type(new):
        return ""
    values = {f.name: (getattr(old, f.name), getattr(new, f.name)) for f in fields(old)}
    pairs = {name: pair for name, pair in values.items() if pair[0] != pair[1]}
    if not all(isinstance(value, int | float) for pair in pairs.values() for value in pair):
        return ""
    return ", ".join(f"{name} {a:g} to {b:g}" for name, (a, b) in pairs.items())


OwnGiven = Stations | Mapping[str, Any] | Callable[[Scenario], Stations | Mapping[str, Any]]
"""Own stations as a study takes them: classes, functions of the scenario or values, by name."""


def fitted(scenario: AnyScenario, stations: OwnGiven | None = None) -> Scenario:
    """A scenario, or the one of a name or file, with own stations in place of usual ones.

    Parameters
    ----------
    scenario : Scenario, str or Path
        What is set, or the name or file of it.
    stations : mapping, Stations or callable, optional
        Own stations by name, as for `metersim.run.simulation.simulate`; without them, those that
        the scenario has already.

    Raises
    ------
    BadInput
        When there is no such scenario or no such station.

    Examples
    --------
    >>> import metersim as m
    >>> class SlickTube(m.TubeStation):
    ...     def contacts(self, speed, at):
    ...         return 0.0 * speed
    >>> slick = m.fitted("maize_bench", {"tube": SlickTube})
    >>> found = m.compare("maize_bench", slick, labels=["usual", "slick"])
    >>> found.differences[0]["precision"].high < 0
    True
    """
    return fitted_alike([scenario], stations)[0]


def fitted_alike(
    scenarios: Sequence[AnyScenario], stations: OwnGiven | None = None
) -> list[Scenario]:
    """Several scenarios with the same own stations; values are those of the first scenario."""
    made = [scenario_of(one) for one in scenarios]
    if stations is None or not made:
        return made
    own = None
    if callable(stations) or stations:
        given = vars(stations) if isinstance(stations, Stations) else stations
        own = OwnStations(given, vars(usual_stations(made[0], USUAL)))
    return [replace(one, own=own) for one in made]


def drawn_about(scenario: Scenario, drawn: Scenario) -> Scenario:
    """A draw of a scenario, in which own stations that were given as values stay as they are.

    Draws of the seed and of the coefficients do not change such a station.  Any other setting of
    it must be that of the scenario.

    Parameters
    ----------
    scenario : Scenario
        All settings, with inputs at their middle.
    drawn : Scenario
        The same with other seed, coefficients or values of uncertain inputs.

    Raises
    ------
    ValueError
        When the scenario sets a station otherwise that was given as a value.
    """
    own = scenario.own
    if own is None or not own.values:
        return drawn
    stations_of(scenario)
    usual = vars(usual_stations(replace(scenario, seed=drawn.seed), USUAL))
    return replace(drawn, own=replace(own, usual=usual))


def stations_of(
    scenario: AnyScenario,
    coefficients: Coefficients | None = None,
    *,
    stations: OwnGiven | None = None,
) -> Stations:
    """The stations of a scenario: its own ones, and the usual ones for the rest.

    Parameters
    ----------
    scenario : Scenario, str or Path
        What is set, or the name or file of it.
    coefficients : Coefficients, optional
        The model's coefficients; by default those of the scenario.
    stations : mapping, Stations or callable, optional
        Own stations, as for `fitted`.

    Returns
    -------
    Stations
        All stations; `dataclasses.replace` changes some.

    Examples
    --------
    >>> import metersim as m
    >>> round(m.stations_of("maize_bench").tube.length, 3)
    0.45
    """
    scenario = fitted(scenario, stations)
    usual = usual_stations(scenario, coefficients)
    if scenario.own is None:
        return usual
    settings = vars(usual_stations(scenario, USUAL))
    return replace(usual, **scenario.own.made(replace(scenario, own=None), vars(usual), settings))


def departures_of(scenario: Scenario) -> dict[str, str]:
    """Stations of a scenario that are not the usual ones: name, and what stands in its place."""
    return stations_of(scenario).departures(usual_stations(scenario)) if scenario.own else {}


def inner_gap_of(scenario: Scenario, coefficients: Coefficients) -> float:
    """Gap of the edge inside the circle from the holes' rims; infinite without such an edge. [m]"""
    guide = scenario.guide
    if guide.inner_gap is not None:
        return guide.inner_gap
    return coefficients.inner_gap * scenario.seeds.width if guide.inner_guide else math.inf


def tube_of(scenario: Scenario, coefficients: Coefficients, release: ReleaseStation) -> TubeStation:
    """What takes seeds to the furrow: a tube, or a belt with compartments."""
    tube = TubeStation(
        length=scenario.tube.tube_length,
        curvature=scenario.tube.tube_curvature,
        wear=scenario.tube.tube_wear,
        fitted=scenario.tube.tube_fitted,
        terminal_velocity=fall_of(scenario),
        launch_sd=release.launch_sd,
        late_turn=release.whole_arc,  # a held seed needs but a small part of the vacuum
        coefficients=coefficients,
    )
    if scenario.tube.delivery != CONVEYOR:
        return tube
    values = {field.name: getattr(tube, field.name) for field in fields(tube)}
    return ConveyorStation(**values, ground_speed=scenario.demand.speed)


def classes_off(scenario: Scenario) -> int:
    """Classes of seed from the one that the cut-off suits to the one that is there."""
    suited = scenario.cutoff.made_for
    if suited == ANY_SEED:
        return 0
    return abs(CLASSES.index(suited) - int(seed_class(scenario.seeds.gmd)))


CONVEYOR = "conveyor"  # what takes seeds down in place of a tube
ANY_SEED = "any"  # what a cut-off suits where nothing is said


def fall_of(scenario: Scenario) -> float:
    """Terminal velocity of the mean seed in the air outside. [m/s]"""
    here, measured = (
        outside_density(one.temperature, one.altitude) for one in (scenario.conditions, MEASURED_IN)
    )
    return float(fall_in_air(scenario.seeds.terminal_velocity, here, measured))


def usual_stations(scenario: Scenario, coefficients: Coefficients | None = None) -> Stations:
    """The usual stations of a scenario, whatever its own ones."""
    conditions = scenario.conditions
    lot, k = InEffect.of(scenario.seeds, coefficients or scenario.coefficients, conditions)
    disc, in_field = scenario.disc, scenario.in_field
    has_fan = scenario.is_toolbar  # then the air gives what leaks take
    shaking = float(shock_sd(scenario.demand.speed, scenario.row_unit.shock_per_speed) * in_field)
    launch_sd = k.launch_spread * (k.guide_narrowing if scenario.guide.inner else 1.0)
    firm = k.firmer_factor if scenario.furrow.firmer else 1.0
    soil = scenario.furrow.soil_scatter * firm
    carried = scenario.tube.delivery == CONVEYOR
    on_belt = float(landing_spread(k.landing_scatter, lot.gmd)) * (scenario.observed == "belt")
    release = ReleaseStation(
        hole_diameter=disc.hole_diameter,
        circle_radius=disc.circle_radius,
        decay_arc=scenario.cutoff.decay_arc,
        wear=scenario.cutoff.cutoff_wear,
        classes_off=classes_off(scenario),
        launch_sd=launch_sd,
        lot=lot,
        coefficients=k,
    )
    return Stations(
        drive=DriveStation(
            angular_speed=scenario.angular_speed * speed_kept(scenario),
            ramp=scenario.drive.start_ramp,
            ripple=scenario.drive.ripple,
            ripples_per_turn=scenario.drive.ripples_per_turn,
            slip=scenario.drive.slip,
            stand=scenario.drive.slip_burst / scenario.demand.speed,
        ),
        gate=GateStation(
            opening=scenario.pool.gate_opening,
            width=scenario.pool.gate_width,
            depth=scenario.pool.pool_depth,
            clearance=scenario.pool.clearance,
            shock=shaking / GRAVITY,
            lot=lot,
            coefficients=k,
            sidehill=conditions.slope_across,
        ),
        pickup=PickupStation(
            hole_diameter=disc.hole_diameter,
            circle_radius=disc.circle_radius,
            pitch=scenario.pitch,
            agitation=disc.agitation,
            carry_line=scenario.pool.carry_line,
            pool_width=scenario.pool.gate_width,
            shock=shaking / GRAVITY,
            holes=scenario.holes,
            wrong_way_round=disc.wrong_way_round,
            seal_wear=0.0 if has_fan else scenario.vacuum.seal_wear,
            chamber_open=not has_fan and scenario.vacuum.chamber_open,
            lot=lot,
            coefficients=k,
            gap=gap_of(scenario, k) if scenario.gap.running_gap is not None else None,
            uphill=conditions.slope_along,
        ),
        singulator=SingulatorStation(
            gap=scenario.singulator.gap,
            notch_step=scenario.singulator.notch_step,
            notch=scenario.singulator.notch,
            hole_diameter=disc.hole_diameter,
            inner_gap=inner_gap_of(scenario, k),
            wear=scenario.singulator.edge_wear,
            inner_wear=scenario.guide.inner_wear,
            lot=lot,
            coefficients=k,
        ),
        release=release,
        tube=tube_of(scenario, k, release),
        sensor=SensorStation(
            height=scenario.sensor.sensor_height,
            beam_height=scenario.sensor.beam_height,
            detection=scenario.sensor.detection,
            dust_per_hour=scenario.sensor.dust_per_hour,
            hours=scenario.sensor.hours_since_brushing,
            seed_length=lot.length,
        ),
        furrow=FurrowStation(
            in_field=in_field,
            ground_speed=scenario.demand.speed,
            scatter=soil if in_field else on_belt,
            hop=k.hop * firm * in_field * (k.conveyor_hop if carried else 1.0),
            curvature=0.0 if carried else scenario.tube.tube_curvature,
            way=scenario.way,
        ),
        row_unit=RowUnitStation(acceleration_sd=shaking),
    )
