"""Air of a machine with a fault: vacuum of this row and of the others, and what the gauge shows."""

from __future__ import annotations

from dataclasses import dataclass

from metersim.machine.scenario import Scenario


@dataclass(frozen=True, kw_only=True)
class AirShown:
    """Air of a machine that works steadily.

    Attributes
    ----------
    vacuum : float
        Vacuum at the hole of this row. [Pa]
    start : float
        The same just after a turn, while no hole carries a seed. [Pa]
    gauge : float
        Reading of the gauge. [Pa]
    others : float
        Share of the other rows whose vacuum differs from the usual one. [1]
    """

    vacuum: float
    start: float
    gauge: float
    others: float


def air_of(healthy: Scenario, faulty: Scenario) -> AirShown:
    """Air of a machine with a fault."""
    vacuum = faulty.vacuum.vacuum
    return AirShown(
        vacuum=vacuum,
        start=vacuum,
        gauge=vacuum * (1 + faulty.hoses.gauge_error),
        others=0.0,
    )
