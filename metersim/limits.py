"""What limits a result: cautions that stand before a run, and causes that a run shows."""

from __future__ import annotations

from dataclasses import dataclass

from metersim import records
from metersim.measures import Measured
from metersim.scenario import Scenario
from metersim.spacing import cell_model

RELEASE_CEILING = 16.0  # seeds/s, maize and cotton, onal2012
SPEED_CEILING = 0.34  # m/s at the holes, maize and cotton, onal2012 (from memory)
STUDIED_CROPS = ("maize", "cotton")
SUPPORTED_PERIPHERAL_SPEED = 0.28  # m/s; no published row constrains the model above
SUPPORTED_TRAVEL = 2.2  # m/s, likewise

CAUSES = {
    records.BLOCKED: "blocked cells",
    records.NOT_JOINED: "time for seeds to join the holes (disc speed, pool level, agitation)",
    records.NOT_HELD: "vacuum against the vacuum that seeds need",
    records.POOL_EMPTY: "supply of seed through the gate",
    records.KNOCKED: "a pool above the carry line",
    records.SWEPT: "a singulator that takes single seeds",
    records.SHAKEN: "shaking of the row unit",
}
DOUBLES = "doubles that pass the singulator"
SCATTER = "scatter of the fall and the landing"


@dataclass(frozen=True)
class Cause:
    """Something that keeps spacings from being normal.

    Attributes
    ----------
    name : str
        In words.
    share : float
        Spacings out of all that it makes too short or too long. [1]
    """

    name: str
    share: float


def causes(measured: Measured) -> list[Cause]:
    """What makes spacings multiples or misses, the largest share first.

    Skips are laid to the reasons that the cells recorded, doubles to the singulator; what short
    and long spacings remain beyond those of the cell model is laid to scatter.
    """
    skip, double = measured["cells.skip"].value, measured["cells.double"].value
    reasons = measured.reasons
    found = [Cause(name, float(reasons[reason] / reasons.sum())) for reason, name in CAUSES.items()]
    found.append(Cause(DOUBLES, double + 2 * measured["cells.triple"].value))
    if measured.total("spacings") and 0 <= skip < 0.9:
        from_cells = cell_model(skip, min(double, 0.99))
        seen = measured["per_spacing.multiple"].value + measured["per_spacing.miss"].value
        found.append(Cause(SCATTER, max(seen - from_cells.multiple - from_cells.miss, 0.0)))
    return sorted((cause for cause in found if cause.share > 0), key=lambda c: -c.share)


def cautions(scenario: Scenario) -> list[str]:
    """Where a scenario lies above the range of published studies, or of what the model rests on."""
    found = []
    if scenario.lot.crop in STUDIED_CROPS:
        study = "above the range of that study (onal2012, maize and cotton)"
        if scenario.cell_rate > RELEASE_CEILING:
            found.append(
                f"{scenario.cell_rate:.1f} seeds a second is over {RELEASE_CEILING:g}: {study}"
            )
        if scenario.peripheral_speed > SPEED_CEILING:
            found.append(
                f"{scenario.peripheral_speed:.2f} m/s at the holes is over {SPEED_CEILING:g}: "
                f"{study}"
            )
    if scenario.peripheral_speed > SUPPORTED_PERIPHERAL_SPEED:
        found.append(
            f"{scenario.peripheral_speed:.2f} m/s at the holes is over "
            f"{SUPPORTED_PERIPHERAL_SPEED:g}: no published row constrains the model well there"
        )
    if scenario.demand.speed > SUPPORTED_TRAVEL:
        found.append(
            f"{scenario.demand.speed * 3.6:.1f} km/h of travel is over "
            f"{SUPPORTED_TRAVEL * 3.6:.1f}: no published row constrains the model well there"
        )
    return found
