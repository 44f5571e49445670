"""What limits a result: cautions that stand before a run, and causes that a run shows."""

from __future__ import annotations

from dataclasses import dataclass

from metersim import records
from metersim.coverage import MOST, outside
from metersim.measures import Measured
from metersim.scenario import Scenario
from metersim.units import UNITS

RELEASE_CEILING = 16.0  # seeds/s, maize and cotton, onal2012
SPEED_CEILING = 0.34  # m/s at the holes, maize and cotton, onal2012 (from memory)
STUDIED_CROPS = ("maize", "cotton")
HOLE_SPEED = {"metric": UNITS["m_s"], "us": UNITS["ft_s"]}  # as printed
RESERVE = (
    "published best vacuums lie mostly in the upper half of the model's plateau: keep a reserve"
)

CAUSES = {
    records.BLOCKED: "blocked cells",
    records.NOT_JOINED: "time for seeds to join the holes (disc speed, agitation)",
    records.LOW_POOL: "a low pool (gate, arches, hopper)",
    records.NOT_HELD: "vacuum against the vacuum that seeds need",
    records.POOL_EMPTY: "an empty pool (gate, arches, hopper)",
    records.KNOCKED: "a pool above the carry line",
    records.SWEPT: "a singulator that takes single seeds",
    records.SHAKEN: "seeds lost on the way round (shaking, vacuum)",
}
DOUBLES = "doubles that pass the singulator"
SCATTER = "scatter of the fall and the landing (speed, tube, soil)"


@dataclass(frozen=True)
class Cause:
    """Something that keeps spacings from being normal.

    Attributes
    ----------
    name : str
        In words.
    share : float
        Spacings out of all that it makes too short or too long; of cells, when there are no
        spacings. [1]
    """

    name: str
    share: float


def causes(measured: Measured) -> list[Cause]:
    """What makes spacings multiples or misses, the largest share first.

    Without scatter, a run of skips between two seeds makes one miss, however long it is, and a
    cell makes a multiple of each seed beyond its first.  A miss is laid to the reason of the last
    cell of its run, the multiples to the singulator, and what multiples and misses there are
    beyond these to scatter.  Where skips are independent, of a share m of the cells, and extra
    seeds a share e, the misses from cells are ``m (1 - m) / (1 - m + e)`` of the spacings.
    """
    spacings = measured.total("spacings")
    lost = measured.gaps if spacings else measured.reasons  # of nothing but skips: cells
    counts = {name: int(lost[reason]) for reason, name in CAUSES.items()}
    if spacings:
        counts[DOUBLES] = measured.total("seeds") - (
            measured.total("cells") - measured.total("none")
        )
        counts[SCATTER] = spacings - measured.total("class2") - sum(counts.values())
    whole = spacings or measured.total("cells")
    found = [Cause(name, count / whole) for name, count in counts.items() if count > 0]
    return sorted(found, key=lambda cause: -cause.share)


def cautions(scenario: Scenario, units: str = "metric") -> list[str]:
    """Where a scenario lies outside what published cases cover, in a few lines."""
    found = []
    if scenario.lot.crop in STUDIED_CROPS:
        study = "above the range of onal2012 (maize and cotton)"
        if scenario.cell_rate > RELEASE_CEILING:
            found.append(
                f"{scenario.cell_rate:.1f} seeds a second is over {RELEASE_CEILING:g}: {study}"
            )
        if scenario.peripheral_speed > SPEED_CEILING:
            unit = HOLE_SPEED[units]
            at, ceiling = map(unit.from_si, (scenario.peripheral_speed, SPEED_CEILING))
            found.append(
                f"{at:.3f} {unit.symbol} at the holes is over {ceiling:.4g} (from memory): {study}"
            )
    return found + outside(scenario, units, MOST - len(found))
