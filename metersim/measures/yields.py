"""Published relations of yield to the stand, side by side: the loss by each, as a range.

The relations disagree, and one of them found no effect.  No relation is preferred here.  Their
losses are never added up or averaged: they concern the same plants in different fields and years.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from metersim.files.units import UNITS
from metersim.machine.sources import SOURCES

BUSHELS = UNITS["bu_acre"].factor  # kg/m2
INCH, CENTIMETRE = UNITS["in"].factor, UNITS["cm"].factor  # m
YIELD, SHARE = "yield", "share"  # result of a relation: kg/m2, or a share of the yield


@dataclass(frozen=True, kw_only=True)
class Relation:
    """The loss by a departure from an even stand, as a source states it.

    Attributes
    ----------
    key : str
        Unique short name.
    by : str
        Authors and year, as printed.
    says : str
        The statement, in the units of the publication.
    units : str
        ``metric`` or ``us`` where the statement has units; see `statement`.
    source : str
        Key in `metersim.machine.sources.SOURCES`.
    mark : str
        ``read`` in the source, or from ``memory``.
    crop : str
        The crop that was studied.
    of : str
        Measure of the stand, one of `metersim.measures.plants.PLANTED`.
    gives : str
        ``yield``, in kg/m2, or ``share``, of the yield.
    slope : tuple of float
        Least and greatest loss per unit of the measure, in SI; equal if one was published.
    threshold : float
        Value of the measure up to which there is no loss.
    covers : tuple of float, optional
        Least and greatest value of the measure in the study; None if they were not noted.
    """

    key: str
    by: str
    says: str
    source: str
    mark: str = "read"
    crop: str = "maize"
    of: str
    gives: str
    slope: tuple[float, float]
    threshold: float = 0.0
    units: str = ""
    covers: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        low, high = self.slope
        if self.source not in SOURCES or not 0 <= low <= high or self.gives not in (YIELD, SHARE):
            raise ValueError(f"relation {self.key!r} has no source, falls, or gives nothing known")

    def statement(self, units: str) -> str:
        """The statement in metric or US units: the published words, or their numbers converted."""
        if self.units in ("", units):
            return self.says
        per = INCH if units == "us" else CENTIMETRE
        length, one = ("in", "an inch") if units == "us" else ("cm", "a cm")
        yields = UNITS["bu_acre" if units == "us" else "t_ha"]
        slope = f"{100 * self.slope[0] * per:.3g} %"
        if self.gives == YIELD:
            slope = f"{yields.from_si(self.slope[0] * per):.2g} {yields.symbol}"
        above = f" above {self.threshold / per:.3g} {length}" if self.threshold else ""
        return f"SD: {slope} {one}{above}{' only' if self.says.endswith('only') else ''}"

    @property
    def none_found(self) -> bool:
        """Whether the source looked for an effect and found none."""
        return self.slope[1] == 0

    @property
    def hedge(self) -> str:
        """Limits of the relation: crop, range, mark, a study without effect, and conditions."""
        return "; ".join(
            [
                f"{self.crop} only",
                "range of stands noted" if self.covers else "range of stands not noted",
                "read in the source" if self.mark == "read" else "from memory, not read",
                *(["found no effect"] if self.none_found else []),
                "other fields and years; studies disagree",
            ]
        )

    def losses(self, value: Any) -> tuple[Any, Any]:
        """Losses at a value of the measure, by the least and by the greatest slope.

        Parameters
        ----------
        value : float or ndarray
            Value of the measure `of`, in SI.

        Returns
        -------
        low, high : float or ndarray
            Losses, 0 or more; nan if the value is nan; as shares, at most 1. [kg/m2 or 1, as in
            `gives`]
        """
        over = np.maximum(np.asarray(value) - self.threshold, 0.0)
        most = 1.0 if self.gives == SHARE else math.inf
        low, high = (np.minimum(slope * over, most) for slope in self.slope)
        return low, high

    def is_outside(self, value: float) -> bool:
        """Whether the value lies outside the noted range of the study."""
        if self.covers is None or math.isnan(value):
            return False
        return not self.covers[0] <= value <= self.covers[1]


def _per_inch(bushels: float) -> tuple[float, float]:
    """Slope from bushels an acre for each inch. [kg/m2 per m]"""
    slope = bushels * BUSHELS / INCH
    return slope, slope


QUARTER = 0.25  # share of plants that came late in the study of nafziger1991
RELATIONS: tuple[Relation, ...] = (
    Relation(
        key="sd.nielsen2004",
        by="Nielsen 2004",
        says="SD: 2.2 bu/acre an inch",
        source="nielsen2004",
        of="plants.sd",
        gives=YIELD,
        slope=_per_inch(2.2),
        units="us",
    ),
    Relation(
        key="sd.nielsen1991",
        by="Nielsen 1991, 1997",
        says="SD: 2.5 bu/acre an inch above 2 in",
        source="nielsen1991",
        of="plants.sd",
        gives=YIELD,
        slope=_per_inch(2.5),
        units="us",
        threshold=2 * INCH,
    ),
    Relation(
        key="sd.doerge2001",
        by="Doerge et al. 2001",
        says="SD: 3.4 bu/acre an inch",
        source="doerge2001",
        of="plants.sd",
        gives=YIELD,
        slope=_per_inch(3.4),
        units="us",
    ),
    Relation(
        key="sd.liu2004",
        by="Liu et al. 2004",
        says="SD: no effect found",
        source="liu2004",
        of="plants.sd",
        gives=YIELD,
        slope=(0.0, 0.0),
        covers=(6.7 * CENTIMETRE, 16.2 * CENTIMETRE),
    ),
    Relation(
        key="sd.lauer2004",
        by="Lauer & Rankin 2004",
        says="SD: 1.06 % a cm above 12.0 cm only",
        source="lauer2004",
        of="plants.sd",
        gives=SHARE,
        slope=(0.0106 / CENTIMETRE, 0.0106 / CENTIMETRE),
        threshold=12 * CENTIMETRE,
        units="metric",
    ),
    # of missing hills and of hills with two plants; what scatter does is left to those above
    Relation(
        key="doubles.nafziger1996",
        by="Nafziger 1996",
        says="doubles: 10 to 17 % less of each plant",
        source="nafziger1996",
        of="plants.in_doubles",
        gives=SHARE,
        slope=(0.10, 0.17),
    ),
    Relation(
        key="skips.nafziger1996",
        by="Nafziger 1996",
        says="skips: neighbours make up 47 to 19 %",
        source="nafziger1996",
        of="hills.none",
        gives=SHARE,
        slope=(1 - 0.47, 1 - 0.19),
    ),
    Relation(
        key="late.nafziger1991",
        by="Nafziger et al. 1991",
        says="quarter some 10 days late: 6 to 10 %",
        source="nafziger1991",
        mark="memory",
        of="late.ten_days",
        gives=SHARE,
        slope=(0.06 / QUARTER, 0.10 / QUARTER),
        covers=(0.0, QUARTER),
    ),
    Relation(
        key="very_late.nafziger1991",
        by="Nafziger et al. 1991",
        says="quarter some 3 weeks late: 10 to 20 %",
        source="nafziger1991",
        mark="memory",
        of="late.three_weeks",
        gives=SHARE,
        slope=(0.10 / QUARTER, 0.20 / QUARTER),
        covers=(0.0, QUARTER),
    ),
)


def relations_of(crop: str) -> tuple[Relation, ...]:
    """The relations for a crop; there are none for most crops."""
    return tuple(one for one in RELATIONS if one.crop == crop.casefold())


@dataclass(frozen=True, kw_only=True)
class Harvest:
    """Expected yield and price of the user's harvest; both may be unknown.

    No relation takes off or adds more than the expected yield.

    Attributes
    ----------
    expected : float, optional
        Yield of an even stand. [kg/m2]
    price : float, optional
        Price in the user's currency. [1/kg]
    """

    expected: float | None = None
    price: float | None = None

    def in_yield(self, relation: Relation, loss: float) -> float:
        """Loss by a relation as yield; nan if an expected yield is needed and missing. [kg/m2]"""
        if self.expected is None:
            return loss if relation.gives == YIELD or loss == 0 else math.nan
        return self.in_share(relation, loss) * self.expected

    def in_share(self, relation: Relation, loss: float) -> float:
        """Loss by a relation as a share of the yield; nan if that needs an expected yield. [1]"""
        if relation.gives == SHARE or loss == 0:
            return loss
        if self.expected is None:
            return math.nan
        return min(max(loss / self.expected, -1.0), 1.0) if math.isfinite(loss) else math.nan

    def in_money(self, relation: Relation, loss: float) -> float:
        """Cost of a loss in the user's currency; nan without a price. [1/m2]"""
        return self.in_yield(relation, loss) * self.price if self.price is not None else math.nan
