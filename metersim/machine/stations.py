"""The stations of a meter as values: the equations bound to one machine and one lot.

A station is a frozen dataclass.  Replace it by another with the same methods to try an own tube
or gate.  The contract of a method: the events call it with numbers, the arrays with arrays, and
it gives back the same kind and shape, with finite values.  One number for all is allowed too.
Methods that end in `at` get the `Moment` of the station: its time, the speed of the holes and the
level of the pool that the cell saw.  Both are the same in both engines:

- gate: a tick, with the speed from it to the next; the level is not known
- pick-up: the cell enters the pool; speed and level are those of the last tick
- singulator: the cell passes it
- release: the cell passes the cut-off
- tube: the seed leaves its hole; from here on, the speed is that of its hole at the cut-off
- sensor: the seed crosses the beam
- furrow: the seed lands
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, TypeVar

from metersim.files.units import STANDARD_GRAVITY as GRAVITY
from metersim.machine.coefficients import USUAL, Coefficients
from metersim.machine.contract import check_own as check_own
from metersim.machine.drive import DriveStation
from metersim.machine.furrow import FurrowStation
from metersim.machine.gate import GateStation
from metersim.machine.pickup import PickupStation
from metersim.machine.release import ReleaseStation
from metersim.machine.rowunit import RowUnitStation, shock_sd
from metersim.machine.scenario import Scenario
from metersim.machine.sensor import SensorStation
from metersim.machine.singulator import SingulatorStation
from metersim.machine.tube import TubeStation

S = TypeVar("S")

# Where a cell passes what, in rad of disc rotation after it enters the pool; assumption: the
# pool lies at the bottom, the singulator follows its exit, the cut-off is on the falling side.
POOL_EXIT = math.radians(120)
SINGULATOR = math.radians(160)
CUT_OFF = math.radians(330)
PASSES = (0.0, POOL_EXIT, SINGULATOR, CUT_OFF)
ENTERS, LEAVES, EDGE, CUT = range(len(PASSES))

# What a cell passes when the losses at a station bring its seeds back to the pool.
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
        """Stations that differ from those of `usual`: name, and what stands in its place."""
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
    """The numbers in which two stations of one kind differ, in words; nothing when others do."""
    if type(old) is not type(new):
        return ""
    values = {f.name: (getattr(old, f.name), getattr(new, f.name)) for f in fields(old)}
    pairs = {name: pair for name, pair in values.items() if pair[0] != pair[1]}
    if not all(isinstance(value, int | float) for pair in pairs.values() for value in pair):
        return ""
    return ", ".join(f"{name} {a:g} to {b:g}" for name, (a, b) in pairs.items())


def like(kind: type[S], usual: Any) -> S:
    """A station of another kind with all the values of a usual one.

    Parameters
    ----------
    kind : type
        A subclass of the usual station's class.
    usual : station
        Where the values come from.
    """
    return kind(**{field.name: getattr(usual, field.name) for field in fields(usual)})


def stations_of(scenario: Scenario, coefficients: Coefficients = USUAL) -> Stations:
    """The usual stations of a scenario.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    coefficients : Coefficients
        The model's coefficients.

    Returns
    -------
    Stations
        One of each; change some with `dataclasses.replace`.
    """
    lot, k = scenario.seeds, coefficients
    disc, in_field = scenario.disc, scenario.in_field
    shaking = float(shock_sd(scenario.demand.speed, scenario.row_unit.shock_per_speed) * in_field)
    narrowing = k.guide_narrowing if scenario.guide.inner_guide else 1.0
    firm = k.firmer_factor if scenario.furrow.firmer else 1.0
    return Stations(
        drive=DriveStation(
            angular_speed=scenario.angular_speed,
            ramp=scenario.drive.start_ramp,
            ripple=scenario.drive.ripple,
            ripples_per_turn=scenario.drive.ripples_per_turn,
        ),
        gate=GateStation(
            opening=scenario.pool.gate_opening,
            width=scenario.pool.gate_width,
            depth=scenario.pool.pool_depth,
            shock=shaking / GRAVITY,
            lot=lot,
            coefficients=k,
        ),
        pickup=PickupStation(
            hole_diameter=disc.hole_diameter,
            circle_radius=disc.circle_radius,
            pitch=scenario.pitch,
            agitation=disc.agitation,
            carry_line=scenario.pool.carry_line,
            pool_width=scenario.pool.gate_width,
            shock=shaking / GRAVITY,
            lot=lot,
            coefficients=k,
        ),
        singulator=SingulatorStation(
            gap=scenario.singulator.gap,
            notch_step=scenario.singulator.notch_step,
            notch=scenario.singulator.notch,
            hole_diameter=disc.hole_diameter,
            inner_guide=scenario.guide.inner_guide,
            lot=lot,
            coefficients=k,
        ),
        release=ReleaseStation(
            hole_diameter=disc.hole_diameter,
            circle_radius=disc.circle_radius,
            decay_arc=scenario.cutoff.decay_arc,
            launch_sd=k.launch_spread * narrowing,
            lot=lot,
            coefficients=k,
        ),
        tube=TubeStation(
            length=scenario.tube.tube_length,
            curvature=scenario.tube.tube_curvature,
            wear=scenario.tube.tube_wear,
            fitted=scenario.tube.tube_fitted,
            terminal_velocity=lot.terminal_velocity,
            narrowing=narrowing,
            coefficients=k,
        ),
        sensor=SensorStation(
            height=scenario.sensor.sensor_height,
            beam_height=scenario.sensor.beam_height,
            detection=scenario.sensor.detection,
            seed_length=lot.length,
        ),
        furrow=FurrowStation(
            in_field=in_field,
            ground_speed=scenario.demand.speed,
            scatter=scenario.furrow.soil_scatter * firm * in_field,
            hop=k.hop * firm * in_field,
            curvature=scenario.tube.tube_curvature,
        ),
        row_unit=RowUnitStation(acceleration_sd=shaking),
    )
