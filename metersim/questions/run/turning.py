"""What a run says of the running gap and the load of the drive."""

from __future__ import annotations

from typing import Any

from metersim.files.units import UNITS
from metersim.machine.load import Turning, turning_of
from metersim.machine.scenario import Scenario
from metersim.machine.turning import LEAKS, gap_range, has_fan
from metersim.questions.shared.words import about_quantity, quantity, set_quantity

NO_GAP = "every gap rubs or leaks"
ASSUMED = "no published torque exists: all of it is assumed"


def concerns(scenario: Scenario) -> bool:
    """Whether a scenario says anything of its gap or of a motor that slows under load."""
    return scenario.gap.running_gap is not None or scenario.drive.kind == "oil"


def turning_row(scenario: Scenario, units: str = "metric") -> tuple[str, str, str] | None:
    """Row of the default table on motor and gap; None without a running gap."""
    if scenario.gap.running_gap is None:
        return None
    turning = turning_of(scenario)
    gap = set_quantity("small", scenario.gap.running_gap, units)
    if turning.current is not None:
        rated = f"{scenario.gap.rated_current:.2g} A"
        first = ("motor current", f"{turning.current:.2g} A of {rated}")
    else:
        rated = f" of {scenario.gap.rated_torque:.2g} N m" if turning.kind == "oil" else ""
        first = ("torque at the disc", f"{turning.torque:.2g} N m{rated}")
    found = gap_range(scenario)
    state = _state(turning)
    if found is None:
        return (*first, f"gap {gap}{state} {NO_GAP}")
    return (*first, f"gap {gap}{state} neither rubs nor leaks between {_between(found, units)}")


def _state(turning: Turning) -> str:
    said = [word for word, holds in (("rubs", turning.rubs), ("leaks", turning.leaks)) if holds]
    return f" {' and '.join(said)};" if said else ":"


def _between(ends: tuple[float, float], units: str) -> str:
    low, high = (about_quantity("small", end, units, digits=2) for end in ends)
    return f"{low.split()[0]} and {high}"


def turning_lines(scenario: Scenario, units: str = "metric") -> list[str]:
    """Lines of the report on torque, current, speed and gap."""
    turning, gap = turning_of(scenario), scenario.gap
    station = turning.station
    lowest, highest = (turning.torque_at(end) for end in ("low", "high"))
    parts = ", ".join(f"{name} {value:.2g}" for name, value in turning.torques.items())
    lines = [
        f"torque at the disc {turning.torque:.2g} N m ({parts}); {ASSUMED}, "
        f"{lowest:.2g} to {highest:.2g} N m over the ranges of all assumptions"
    ]
    share = f"{100 * turning.load:.0f} % of the rated torque, {gap.rated_torque:.3g} N m"
    if turning.current is not None:
        lines.append(f"motor current {turning.current:.2g} A of {gap.rated_current:.2g} A: {share}")
    elif turning.kind == "oil":
        lines.append(f"oil motor: {share}")
    if turning.speed < 1:
        lines.append(
            f"the disc turns {100 * (1 - turning.speed):.2g} % slower than meant, so spacings are "
            f"wider by {100 * (1 / turning.speed - 1):.2g} %"
        )
    if gap.running_gap is None:
        return lines
    mean, least, most = (
        about_quantity("small", float(one), units, digits=2)
        for one in (
            station.mean_gap(turning.vacuum),
            station.least(turning.vacuum),
            station.greatest(turning.vacuum),
        )
    )
    lines.append(
        f"gap {set_quantity('small', gap.running_gap, units)} at rest; with the disc drawn in "
        f"{mean}, in a turn {least} to {most}; below 0 the disc rubs"
    )
    leak = f"leak past the seal {UNITS['mm2'].from_si(float(station.leak(turning.vacuum))):.2g} mm2"
    if not has_fan(scenario):
        leak += f"; vacuum in the chamber {quantity('pressure', turning.vacuum, units)}"
    found = gap_range(scenario)
    fitting = f"neither rubs nor leaks: a gap between {_between(found, units)}" if found else NO_GAP
    limit = f"a gap leaks that takes over {100 * LEAKS:.0f} % of the vacuum at the same source"
    return [*lines, leak, f"{fitting}; {limit}"]


def turning_json(scenario: Scenario) -> dict[str, Any]:
    """Torque, current, speed and gap in SI."""
    turning = turning_of(scenario)
    station = turning.station
    made: dict[str, Any] = {
        "torque_n_m": turning.torque,
        "torque_low_n_m": turning.torque_at("low"),
        "torque_high_n_m": turning.torque_at("high"),
        "torque_by_cause_n_m": turning.torques,
        "share_of_rated_torque": turning.load,
        "current_a": turning.current,
        "speed_over_meant": turning.speed,
    }
    if scenario.gap.running_gap is None:
        return made
    found = gap_range(scenario)
    return made | {
        "vacuum_pa": turning.vacuum,
        "gap_m": {
            "at_rest": scenario.gap.running_gap,
            "mean": float(station.mean_gap(turning.vacuum)),
            "least": float(station.least(turning.vacuum)),
            "greatest": float(station.greatest(turning.vacuum)),
        },
        "contact_force_n": float(station.force(turning.vacuum)),
        "leak_m2": float(station.leak(turning.vacuum)),
        "rubs": turning.rubs,
        "leaks": turning.leaks,
        "neither_rubs_nor_leaks_m": {"low": found[0], "high": found[1]} if found else None,
    }
