"""Faults of seed, pool, drive, sensor and use of the machine."""

from __future__ import annotations

from metersim.machine.scenario import Scenario
from metersim.questions.shared.faults.fault import (
    ALL,
    CAUTIONS,
    DUST,
    FIELD,
    LATE,
    LOCKED,
    ONE,
    RUNNING,
    SEVERAL,
    SLOPES,
    SLOW,
    SUDDEN,
    MeterFault,
    at,
    between,
    hidden,
    stated,
    times,
)

DEGREE = 0.017453292519943295  # rad
HOUR = 4.0  # hours of dust before somebody looks
_SEED = "measure the width of twenty seeds, and compare it with the lot's"
_POOL = "open the meter, and measure the level of its pool at the disc"
_SEEDS = f"Treated seed: {DUST.partition(': ')[2]} Take seed from the bag."
_AT_POOL = f"{CAUTIONS[LOCKED]} {DUST}"


def _lens(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """Dust settles on the lens for some hours."""
    return (
        *at("sensor", "dust_per_hour", 0.01, 0.1)(scenario, severity),
        stated("sensor", "hours_since_brushing", scenario.sensor.hours_since_brushing + HOUR),
    )


def _slips(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The disc stands for a part of the travel, and nobody has set the rate for it."""
    slip = between(severity, 0.03, 0.2)
    return (
        stated("drive", "slip", scenario.drive.slip + slip * (1 - scenario.drive.slip)),
        stated("demand", "rate", scenario.demand.rate * (1 - slip)),
    )


def _agent(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The flow agent of the plan is missing, or seed without one has too slick a coat."""
    planned = scenario.conditions.flow_agent
    return (stated("conditions", "flow_agent", "graphite" if planned == "none" else "none"),)


def _hill(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """The rows go downhill, so that the pool lies deeper where holes leave it."""
    return at("conditions", "slope_along", -8 * DEGREE, -20 * DEGREE)(scenario, severity)


def _clearance(scenario: Scenario, severity: float) -> tuple[str, ...]:
    """A slot beside the disc is nearly as wide as a seed is thick."""
    return (stated("pool", "clearance", scenario.seeds.thickness * between(severity, 0.87, 0.98)),)


def _in_field(scenario: Scenario) -> bool:
    return scenario.in_field


def _has_oil(scenario: Scenario) -> bool:
    return scenario.drive.kind == "oil"


SETTING = (
    MeterFault(
        name="small seed",
        words="seed is smaller than the disc suits",
        change=hidden("seed size", 0.96, 0.85),
        scope=ALL,
        onset=SUDDEN,
        check=_SEED,
        minutes=10,
        state=LOCKED,
        opens=False,
        prior=1.5,
        caution=_SEEDS,
    ),
    MeterFault(
        name="large seed",
        words="seed is larger than the disc suits",
        change=hidden("seed size", 1.04, 1.15),
        scope=ALL,
        onset=SUDDEN,
        check=_SEED,
        minutes=10,
        state=LOCKED,
        opens=False,
        prior=1.5,
        caution=_SEEDS,
    ),
    MeterFault(
        name="low pool",
        words="gate is too low, or something blocks it",
        change=times("pool", "gate_opening", 0.6, 0.25),
        scope=ONE,
        onset=SUDDEN,
        check=_POOL,
        minutes=5,
        state=LOCKED,
        opens=True,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="high pool",
        words="gate is too high",
        change=times("pool", "gate_opening", 1.2, 1.6),
        scope=ONE,
        onset=SUDDEN,
        check=_POOL,
        minutes=5,
        state=LOCKED,
        opens=True,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="bridges",
        words="seed is damp or sticky, and clings or bridges",
        change=at("conditions", "dampness", 0.4, 1.0),
        scope=SEVERAL,
        onset=SUDDEN,
        check="look into the hopper for a hollow over its mouth, and feel if seed sticks",
        minutes=3,
        state=LOCKED,
        opens=True,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="flow agent",
        words="flow agent is missing, or is not planned",
        change=_agent,
        scope=ALL,
        onset=SUDDEN,
        check="rub seed between gloved fingers, and compare with what the plan says",
        minutes=3,
        state=LOCKED,
        opens=True,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="clearance",
        words="seed leaks through a slot between disc and housing",
        change=_clearance,
        scope=ONE,
        onset=SLOW,
        check="look for whole seeds in the chamber and below the meter, and measure the slot",
        minutes=8,
        state=LOCKED,
        opens=True,
        prior=0.5,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="lens",
        words="dust covers the lens of the sensor",
        change=_lens,
        scope=SEVERAL,
        onset=SLOW,
        when=LATE,
        check="brush the lens once, close up, and count again",
        minutes=3,
        state=LOCKED,
        opens=True,
        prior=2.0,
        caution=_AT_POOL,
    ),
    MeterFault(
        name="drive",
        words="drive slips, so that the disc stands at times",
        change=_slips,
        scope=SEVERAL,
        onset=SLOW,
        when=FIELD,
        check="look at tension, coupling and tyre, and for marks of slip",
        minutes=5,
        state=LOCKED,
        opens=True,
        travels=False,
    ),
    MeterFault(
        name="oil drive",
        words="oil motor slows under load",
        change=at("drive", "oil_droop", 0.2, 0.5),
        scope=SEVERAL,
        onset=SLOW,
        check="compare the speed of the disc on the display with the speed that the rate needs",
        minutes=5,
        state=RUNNING,
        opens=False,
        fits=_has_oil,
        travels=False,
    ),
    MeterFault(
        name="slope",
        words="slope tilts the pool more than the gate allows for",
        change=_hill,
        scope=ALL,
        onset=SUDDEN,
        when=SLOPES,
        check="compare counts of the display on the level and on the slope",
        minutes=10,
        state=RUNNING,
        opens=False,
        fits=_in_field,
        travels=False,
    ),
    MeterFault(
        name="too fast",
        words="machine drives faster than planned",
        change=times("demand", "speed", 1.2, 1.8),
        scope=ALL,
        onset=SUDDEN,
        check="compare the speed on the display with the plan",
        minutes=1,
        state=RUNNING,
        opens=False,
        travels=False,
    ),
)
"""Faults of seed, pool, drive, sensor and use.  Weights, times and degrees are assumptions; their
kinds are common practice, without a source."""
