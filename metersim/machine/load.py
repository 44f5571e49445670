"""The load of the drive: torque, current and speed of a disc, and what is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from metersim.files.units import UNITS
from metersim.machine.assumed import TurningCoefficients
from metersim.machine.drive import electric_speed, oil_speed
from metersim.machine.gap import motor_current
from metersim.machine.turning import GapSettings, GapStation, gap_of, has_fan, vacuum_past_gap

STALLS = 0.1  # share of the meant speed below which a motor is said to stall; assumption


@dataclass(frozen=True, kw_only=True)
class Turning:
    """What turning the disc takes, and how fast it then turns.

    Attributes
    ----------
    station : GapStation
        The running gap.
    kind : str
        What turns the disc: ``electric``, ``ground`` or ``oil``.
    vacuum : float
        Vacuum in the chamber. [Pa]
    lost : float
        Share of the vacuum that the gap takes, 0 with a fan.
    torques : dict of str to float
        Torque by cause. [N m]
    torque : float
        Torque. [N m]
    load : float
        Torque over the rated torque of the motor.
    current : float or None
        Current of an electric motor. [A]
    speed : float
        Speed of the disc over the speed that is meant.
    """

    station: GapStation
    kind: str
    vacuum: float
    lost: float
    torques: dict[str, float]
    torque: float
    load: float
    current: float | None
    speed: float

    def torque_at(self, end: str) -> float:
        """Torque at the ``low`` or the ``high`` end of the ranges of all coefficients. [N m]"""
        coefficients = self.station.coefficients.at_end(end)
        return replace(self.station, coefficients=coefficients).torque(self.vacuum)

    @property
    def rubs(self) -> bool:
        """Whether the disc rubs on its seal at least once a turn."""
        return bool(self.station.least(self.vacuum) < 0)

    @property
    def leaks(self) -> bool:
        """Whether more passes the seal than lowers the vacuum of a meter by `LEAKS`."""
        return bool(self.station.leak(self.vacuum) > self.station.allowed)


def turning_of(
    scenario: GapSettings,
    vacuum: float | None = None,
    coefficients: TurningCoefficients | None = None,
) -> Turning:
    """What turning the disc of a scenario takes.

    Parameters
    ----------
    scenario : Scenario
        All settings.
    vacuum : float, optional
        Vacuum in the chamber; by default that of `vacuum_past_gap`. [Pa]
    coefficients : TurningCoefficients, optional
        What is assumed of the meter; by default those of the scenario.
    """
    station, gap, drive = gap_of(scenario, coefficients), scenario.gap, scenario.drive
    stated, has_gap = scenario.vacuum.vacuum, gap.running_gap is not None
    at = vacuum_past_gap(scenario) if vacuum is None else vacuum
    torques = station.torques(at)
    torque = sum(torques.values())
    load, speed, current = torque / gap.rated_torque, 1.0, None
    if drive.kind == "oil":
        speed = float(oil_speed(load, drive.oil_droop))
    elif drive.kind == "electric":
        current = float(motor_current(load, gap.rated_current, gap.idle_current))
        speed = float(electric_speed(load)) if has_gap else 1.0
    return Turning(
        station=station,
        kind=drive.kind,
        vacuum=at,
        lost=1 - at / stated if stated and vacuum is None else 0.0,
        torques=torques,
        torque=torque,
        load=load,
        current=current,
        speed=speed,
    )


def speed_kept(scenario: GapSettings) -> float:
    """Speed of the disc over the speed that is meant; 1 unless its load slows it. [1]

    A draw of the coefficients in which the motor would stall keeps `STALLS`.
    """
    return max(turning_of(scenario).speed, STALLS) if _is_slowed(scenario) else 1.0


def _is_slowed(scenario: GapSettings) -> bool:
    """Whether load slows the drive of a scenario at all."""
    kind = scenario.drive.kind
    return kind == "oil" or (kind == "electric" and scenario.gap.running_gap is not None)


def contradictions(scenario: GapSettings) -> list[tuple[str, str]]:
    """Settings of gap and drive that exclude one another, by key."""
    gap, found = scenario.gap, []
    if gap.running_gap is not None and gap.idle_current >= gap.rated_current:
        found.append(
            (
                "gap.idle_current_a",
                f"{gap.idle_current:g} A without load is not below the rated current of "
                f"{gap.rated_current:g} A; give both from the plate of the motor",
            )
        )
    if not _is_slowed(scenario):
        return found
    usual = turning_of(scenario, coefficients=TurningCoefficients())  # no draw is a contradiction
    if usual.speed < STALLS:
        torque = usual.torque
        found.append(
            (
                "gap.rated_torque_n_m",
                f"turning the disc takes {torque:.3g} N m, so a motor rated {gap.rated_torque:.3g} "
                "N m stalls; give a wider running gap, less vacuum, or the motor's own rating",
            )
        )
    return found


def gap_warnings(scenario: GapSettings, units: str = "metric") -> list[str]:
    """Warnings of a disc that rubs or leaks, and of a drive that its load slows."""
    turning, found = turning_of(scenario), []
    station, has_gap = turning.station, turning.station.running_gap is not None
    small = UNITS["in" if units == "us" else "mm"]

    def length(value: float) -> str:
        return f"{small.from_si(value):.2g} {small.symbol}"

    if station.running_gap is not None and turning.rubs:
        where = "all round" if station.greatest(turning.vacuum) < 0 else "once a turn"
        drawn = station.running_gap - station.mean_gap(turning.vacuum)
        found.append(
            f"the disc rubs on its seal {where}: the gap is {length(station.running_gap)} at rest, "
            f"the vacuum draws the disc in by {length(drawn)}, and it runs out by "
            f"{length(station.wobble)}"
        )
    if turning.leaks:
        part = f"{_two(100 * station.leak(turning.vacuum) / station.own)} %"
        lost = f"{_two(100 * turning.lost)} % of the vacuum is lost"
        if has_fan(scenario):
            lost = f"it lets in {part} of the air that holes and a sound seal let in"
        where = "once a turn" if station.least(turning.vacuum) < station.lip else "all round"
        found.append(f"the seal leaks {where}: {lost}")
    if has_gap and turning.kind != "ground" and turning.load > 1:
        found.append(
            f"turning the disc takes {turning.torque:.2g} N m, {100 * turning.load:.0f} % of what "
            "its motor is rated for: the motor slows, gets hot or cuts out"
        )
    if turning.speed < 1:
        found.append(
            f"under its load the disc turns {_two(100 * (1 - turning.speed))} % slower than meant, "
            "and spacings are wider"
        )
    return found


def _two(value: float) -> str:
    """A number with two significant digits."""
    return f"{float(f'{value:.2g}'):,.10g}"
