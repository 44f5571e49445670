"""Faults of the air: vacuum, fan, gauge, hoses, seals and the running gap."""

from __future__ import annotations

from metersim.machine.scenario import Scenario
from metersim.machine.turning import gap_range
from metersim.questions.shared.faults.fault import (
    ALL,
    LOCKED,
    ONE,
    RUNNING,
    SEVERAL,
    SLOW,
    SUDDEN,
    TURN,
    MeterFault,
    at,
    between,
    stated,
    times,
)

MM, MM2 = 1e-3, 1e-6
FAN_STANDS = (
    "Guards stay on; stand clear of the fan's inlet and of the drive shaft. The manual comes first."
)


def _gauge(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The gauge reads too much.

    A machine with a fan is set by its gauge.  Without one, the vacuum itself is lower by so much.
    """
    error = between(severity, 0.08, 0.45)
    reads = stated("hoses", "gauge_error", error)
    if scenario.fan.shut_off is not None:
        return (reads,)
    return reads, stated("vacuum", "vacuum", scenario.vacuum.vacuum / (1 + error))


def _hose(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """A slit or a loose end in the hose of the row leaks beside its seal."""
    leak = scenario.hoses.seal_leak + between(severity, 80, 1_500) * MM2
    return stated("hoses", "seal_leak", leak), stated("fan", "set_when", "sound")


def _seal(scenario: Scenario, severity: float) -> tuple[str, ...]:
    return (
        *at("vacuum", "seal_wear", 0.25, 1.0)(scenario, severity),
        stated("fan", "set_when", "sound"),
    )


def _chamber(scenario: Scenario, severity: float) -> tuple[str, ...]:
    return stated("vacuum", "chamber_open", True), stated("fan", "set_when", "sound")


def _idle(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The last of the working rows are parked and draw air: one of eight, up to half of them."""
    working = scenario.working_rows
    parked = min(max(1, round(len(working) * between(severity, 0.125, 0.5))), len(working) // 2)
    kept = working[: len(working) - parked]
    return (
        stated("toolbar", "working", " ".join(map(str, kept))),
        stated("toolbar", "parked", "open"),
        stated("fan", "set_when", "sound"),
    )


def _rubs(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The gap is smaller than the least one at which nothing rubs."""
    gap = _free_gaps(scenario)[0] - between(severity, 0.05, 0.3) * MM
    return (stated("gap", "running_gap", gap),)


def _leaks(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The gap is wider than the greatest one at which nothing leaks."""
    gap = _free_gaps(scenario)[1] + between(severity, 0.1, 1.0) * MM
    return stated("gap", "running_gap", gap), stated("fan", "set_when", "sound")


def _free_gaps(scenario: Scenario) -> tuple[float, float]:
    """Least and greatest gap that neither rubs nor leaks; where none is free, the wobble of the
    disc and what the lip closes. [m]"""
    gap = scenario.gap
    return gap_range(scenario) or (gap.disc_run_out, gap.seal_lip)


def _has_rows(scenario: Scenario) -> bool:
    """Whether rows of this machine may be parked; a bench has one meter."""
    return scenario.toolbar.rows > 1


AIR = (
    MeterFault(
        name="vacuum low",
        words="vacuum is set too low",
        change=times("vacuum", "vacuum", 0.85, 0.4),
        scope=ALL,
        onset=SUDDEN,
        check="read the gauge while all discs carry seed, and compare it with the sheet",
        minutes=3,
        state=RUNNING,
        opens=False,
        prior=1.5,
    ),
    MeterFault(
        name="vacuum high",
        words="vacuum is set too high",
        change=times("vacuum", "vacuum", 1.2, 2.2),
        scope=ALL,
        onset=SUDDEN,
        check="read the gauge while all discs carry seed, and compare it with the sheet",
        minutes=3,
        state=RUNNING,
        opens=False,
    ),
    MeterFault(
        name="gauge",
        words="gauge reads more vacuum than there is",
        change=_gauge,
        scope=ALL,
        onset=SLOW,
        check="put a second gauge on the port of a meter, start the fan, and compare both",
        minutes=10,
        state=RUNNING,
        opens=False,
        prior=0.5,
        caution=f"Fit the gauge while fan and disc stand, locked out. Then: {FAN_STANDS}",
        travels=False,
    ),
    MeterFault(
        name="fan",
        words="fan is weak, or its belt slips",
        change=times("vacuum", "vacuum", 0.85, 0.45),
        scope=ALL,
        onset=SLOW,
        when=TURN,
        check="look at belt, tension and inlet screen of the fan",
        minutes=10,
        state=LOCKED,
        opens=True,
        travels=False,
    ),
    MeterFault(
        name="hose leak",
        words="hose of a row has a slit or a loose end",
        change=_hose,
        scope=ONE,
        onset=SUDDEN,
        check="bend and feel the hose of the row along its length, and press both ends on",
        minutes=3,
        state=LOCKED,
        opens=False,
        travels=False,
    ),
    MeterFault(
        name="idle rows",
        words="rows that are off are not sealed, and draw air",
        change=_idle,
        scope=ALL,
        onset=SUDDEN,
        when=TURN,
        check="look at the seals of the rows that are switched off",
        minutes=5,
        state=LOCKED,
        opens=True,
        fits=_has_rows,
        travels=False,
    ),
    MeterFault(
        name="seal worn",
        words="seal between disc and chamber is worn",
        change=_seal,
        scope=SEVERAL,
        onset=SLOW,
        check="take the disc off, and look at the seal all round for flat spots and tears",
        minutes=10,
        state=LOCKED,
        opens=True,
        prior=1.5,
    ),
    MeterFault(
        name="chamber open",
        words="vacuum chamber of a meter is not closed",
        change=_chamber,
        scope=ONE,
        onset=SUDDEN,
        check="press the lid of the chamber home, and look that each latch holds",
        minutes=1,
        state=LOCKED,
        opens=True,
        prior=0.5,
    ),
    MeterFault(
        name="gap small",
        words="disc rubs on its seal, as the gap is too small",
        change=_rubs,
        scope=ONE,
        onset=SUDDEN,
        check="measure the gap with a feeler gauge at four places, and look for a bright ring",
        minutes=5,
        state=LOCKED,
        opens=True,
        prior=0.7,
    ),
    MeterFault(
        name="gap wide",
        words="disc stands off its seal, as the gap is too wide",
        change=_leaks,
        scope=ONE,
        onset=SUDDEN,
        check="measure the gap behind the disc with a feeler gauge at four places",
        minutes=10,
        state=LOCKED,
        opens=True,
        prior=0.7,
    ),
)
"""Faults of the air.  Weights, times and degrees are assumptions; their kinds are common practice,
without a source."""
