"""What limits a result: cautions that stand before a run, and causes that a run shows."""

from __future__ import annotations

from dataclasses import dataclass

from metersim import records
from metersim.measures import Measured
from metersim.scenario import Scenario

RELEASE_CEILING = 16.0  # seeds/s, maize and cotton, onal2012
SPEED_CEILING = 0.34  # m/s at the holes, maize and cotton, onal2012 (from memory)
STUDIED_CROPS = ("maize", "cotton")
SUPPORTED_PERIPHERAL_SPEED = 0.28  # m/s; no published row constrains the model above
SUPPORTED_TRAVEL = 2.2  # m/s, likewise
UNSUPPORTED = "no published measurement holds the model to a size there"
RESERVE = "published best vacuums are up to three times the model's best: keep a reserve"

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

    Without scatter, cells of which a share m releases nothing and which release e seeds more than
    one each leave ``1 - m + e`` spacings a cell: e of them multiples, ``m (1 - m)`` misses.  The
    misses are laid to the reasons that the cells recorded, the multiples to the singulator, and
    what multiples and misses there are beyond these to scatter.
    """
    cells = measured.total("cells")
    if not measured.total("spacings"):  # nothing but skips: shares of cells
        lost = [Cause(name, float(measured.reasons[k]) / cells) for k, name in CAUSES.items()]
        return sorted((cause for cause in lost if cause.share > 0), key=lambda c: -c.share)
    skip = measured.total("none") / cells
    extra = (measured.total("two") + 2 * measured.total("three")) / cells
    spacings = 1 - skip + extra
    found = [
        Cause(name, float(measured.reasons[reason]) / cells * (1 - skip) / spacings)
        for reason, name in CAUSES.items()
    ]
    found.append(Cause(DOUBLES, extra / spacings))
    seen = measured["per_spacing.multiple"].value + measured["per_spacing.miss"].value
    found.append(Cause(SCATTER, seen - (extra + skip * (1 - skip)) / spacings))
    return sorted((cause for cause in found if cause.share > 0), key=lambda c: -c.share)


def cautions(scenario: Scenario) -> list[str]:
    """Where a scenario lies above the range of published studies, or of what the model rests on."""
    found = []
    if scenario.lot.crop in STUDIED_CROPS:
        study = "above the range of onal2012 (maize and cotton)"
        if scenario.cell_rate > RELEASE_CEILING:
            found.append(
                f"{scenario.cell_rate:.1f} seeds a second is over {RELEASE_CEILING:g}: {study}"
            )
        if scenario.peripheral_speed > SPEED_CEILING:
            found.append(
                f"{scenario.peripheral_speed:.3f} m/s at the holes is over {SPEED_CEILING:g} "
                "(from memory): "
                f"{study}"
            )
    if scenario.peripheral_speed > SUPPORTED_PERIPHERAL_SPEED:
        found.append(
            f"{scenario.peripheral_speed:.3f} m/s at the holes is over "
            f"{SUPPORTED_PERIPHERAL_SPEED:g}: {UNSUPPORTED}"
        )
    if scenario.demand.speed > SUPPORTED_TRAVEL:
        found.append(
            f"{scenario.demand.speed * 3.6:.2f} km/h of travel is over "
            f"{SUPPORTED_TRAVEL * 3.6:.2f}: {UNSUPPORTED}"
        )
    return found
