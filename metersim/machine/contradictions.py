"""What contradicts itself in a scenario: its keys, and words that say what to give."""

from __future__ import annotations

from typing import Any

from metersim.files.faults import BadInput
from metersim.machine.holes import CONDITIONS, hole_faults
from metersim.machine.load import contradictions as of_load
from metersim.machine.sources import HOLES
from metersim.machine.toolbar import contradictions as of_toolbar

# ways to observe spacings by surface, the usual one first
OBSERVED = {"bench": ("belt", "pulses"), "field": ("dug", "pulses", "plants")}
NOT_OBSERVED = {
    "bench": "on a bench nothing can be dug up and nothing comes up",
    "field": "there is no belt in a field",
}

READ_WITHOUT_A_FAN = {
    "toolbar": ("rows",),
    "fan": (),
    "hoses": ("seal_leak",),
    "travel": ("speeds", "rates", "off"),
}
"""Fields of sections around the meter that a meter without a fan has a use for."""


def contradictions(scenario: Any) -> list[tuple[str, str]]:
    """Settings of a `Scenario` that exclude one another: keys and messages."""
    found = []
    disc, pool, meter = scenario.disc, scenario.pool, scenario.meter
    if meter:
        name, advice = meter.file or meter.title, "learn a meter with this one, or name none"
        if meter.cells and meter.cells != disc.cells:
            told = f"{disc.cells}, and {name} was learned with {meter.cells} cells; {advice}"
            found.append(("disc.cells", told))
        if meter.crop and meter.crop != scenario.lot.crop:
            told = f"{scenario.lot.crop}, and {name} was learned with {meter.crop}; {advice}"
            found.append(("seed.lot", told))
    try:
        seeds = scenario.seeds
    except BadInput as error:
        return [
            ("seed.size_factor", f"no seed can be so: {fault.key}: {fault.message}")
            for fault in error.faults
        ]
    if disc.hole_diameter >= seeds.width:
        found.append(
            (
                "disc.hole_diameter_mm",
                f"{disc.hole_diameter * 1e3:.3g} mm is not below the seed's width "
                f"{seeds.width * 1e3:.3g} mm: seeds would be drawn through; handbooks give "
                f"about {HOLES} of the width",
            )
        )
    if scenario.pitch < disc.hole_diameter:
        found.append(
            (
                "disc.cells",
                f"{disc.cells} cells leave a pitch of {scenario.pitch * 1e3:.3g} mm, below the "
                f"hole diameter {disc.hole_diameter * 1e3:.3g} mm; give fewer cells, a larger "
                "circle or smaller holes",
            )
        )
    lists = {key: getattr(disc, key) for key in CONDITIONS}
    found += [(f"disc.{key}", words) for key, words in hole_faults(lists, disc.cells)]
    fill = scenario.pool_within_reach
    if pool.hopper < fill:
        found.append(
            (
                "pool.hopper_kg",
                f"{pool.hopper:.4g} kg cannot fill the pool; give at least {fill:.4g} kg",
            )
        )
    if scenario.sensor.sensor_height >= scenario.tube.tube_length:
        found.append(
            (
                "sensor.sensor_height_mm",
                f"{scenario.sensor.sensor_height * 1e3:.4g} mm is not inside the tube; give less "
                f"than the height of fall, {scenario.tube.tube_length * 1e3:.4g} mm",
            )
        )
    if scenario.tube.delivery == "conveyor" and not scenario.tube.tube_fitted:
        found.append(("tube.tube_fitted", "a conveyor is a tube of its own; give true"))
    if scenario.observed not in OBSERVED[scenario.furrow.surface]:
        allowed = " or ".join(f'"{one}"' for one in OBSERVED[scenario.furrow.surface])
        found.append(
            ("furrow.observed", f"{NOT_OBSERVED[scenario.furrow.surface]}; give {allowed}")
        )
    if scenario.singulator.gap <= scenario.singulator.notch_step * scenario.singulator.notch:
        found.append(
            (
                "singulator.notch",
                f"{scenario.singulator.notch:g} notches would take the edge over the holes' path; "
                "the gap allows fewer than "
                f"{scenario.singulator.gap / scenario.singulator.notch_step:.3g}",
            )
        )
    return found + _of_the_machine(scenario) + of_load(scenario)


def _of_the_machine(scenario: Any) -> list[tuple[str, str]]:
    """What contradicts itself in the machine around the meter."""
    found = [(f"travel.{key}", said) for key, said in scenario.typed_profile[1]]
    if not found:
        try:
            _ = scenario.way
        except ValueError as error:
            found.append(("travel.off", f"{error} ends before it begins"))
    if scenario.rows and not scenario.is_toolbar:
        message = "a meter without a fan has no rows; give its changes as those of the meter"
        found.append((f"rows.{scenario.rows[0][0]}", message))
    found += of_toolbar(
        scenario.toolbar, scenario.fan, scenario.hoses, scenario.vacuum, scenario.demand.row_spacing
    )
    return found


def without_effect(scenario: Any) -> list[str]:
    """Settings of a `Scenario` that have no effect, or not all of it, in words."""
    found = []
    if not scenario.is_toolbar:
        idle = [
            f"{section}.{name}"
            for section, read in READ_WITHOUT_A_FAN.items()
            for name, usual in vars(type(getattr(scenario, section))()).items()
            if name not in read and getattr(getattr(scenario, section), name) != usual
        ]
        if idle:
            verb = "have" if len(idle) > 1 else "has"
            found.append(f"without fan.shut_off_kpa, {', '.join(idle)} {verb} no effect")
    if scenario.tube.delivery == "conveyor" and scenario.profile.speeds:
        found.append("the conveyor's belt keeps one speed, also where the speed of travel changes")
    return found
