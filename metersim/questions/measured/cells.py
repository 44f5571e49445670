"""Parameters of the cells behind measured spacings, with their prediction."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from metersim.measures.cellfit import CellFit
from metersim.measures.cellmodel import before_losses, share_left
from metersim.measures.indices import Measure
from metersim.measures.intervals import Estimate

ENOUGH = 100  # spacings for intervals and a fit: ten blocks, for which coverage was tested
PARAMETERS = (
    Measure("fit.skip", "share", "cells without a seed"),
    Measure("fit.double", "share", "cells with two seeds"),
    Measure("fit.scatter", "length", "SD of a seed's distance from the place of its cell"),
    Measure("fit.distance", "share", "distance of cells over nominal, as slip changes it"),
    Measure("fit.emergence", "share", "seeds that stand as plants"),
)
GIVEN, FITTED, SEEDS = "given", "fitted", "seeds"


@dataclass(frozen=True)
class ValuePair:
    """Measured and predicted value of one measure or parameter.

    Attributes
    ----------
    measure : Measure
        Definition.
    measured : Estimate
        Value of the measured spacings with its interval, in SI.
    predicted : Estimate
        Value of the scenario.  A measure has the range of random counts of this length.
    too_small : float
        Part by which the form of the fit can make the measured value too small. [1]
    """

    measure: Measure
    measured: Estimate
    predicted: Estimate
    too_small: float = 0.0

    @property
    def differs(self) -> bool | None:
        """Whether a difference is detected; None without an interval.

        A measure differs when it lies outside the range of counts of this length.  A parameter
        differs when its interval does not hold the prediction.
        """
        value, edges = self.measured.value, self.predicted
        if math.isnan(edges.low):
            value, edges = self.predicted.value, self.measured
        if math.isnan(value) or math.isnan(edges.low):
            return None
        slack = 1e-9 * abs(value)
        return not edges.low - slack <= value <= edges.high * (1 + self.too_small) + slack


def parameters(
    fit: CellFit, truth: Mapping[str, float], kind: str, left: float, nominal: float
) -> tuple[dict[str, ValuePair], float]:
    """Parameters with their prediction, and the share of seeds that stand as plants.

    Parameters
    ----------
    fit : CellFit
        Fit to the measured spacings.
    truth : mapping of str to float
        Predicted parameters by key; scatter over the nominal spacing. [1]
    kind : str
        ``seeds``, ``given`` or ``fitted``, as in `Counted`.
    left : float
        Share of the seeds that stand as plants, if it is given. [1]
    nominal : float
        Nominal spacing. [m]
    """
    empty, double = fit.empty, fit.double
    skips = truth["fit.skip"]
    emergence: Estimate | None = None
    if kind == FITTED and skips == 1:  # without seeds there are no plants
        emergence = exactly(math.nan)
    elif kind == FITTED:
        each = (share_left(p, double.value, skips) for p in (empty.value, empty.high, empty.low))
        value, low, high = (min(share, 1.0) for share in each)
        emergence, left = Estimate(value, low, high), value
    spread = (double.value, double.low, double.high)
    found = {
        "fit.double": Estimate(*(min(before_losses(0.0, d, left)[1], 1.0) for d in spread)),
        "fit.scatter": _scaled(fit.scatter, nominal),
        "fit.distance": fit.distance,
    }
    if emergence is not None:
        found["fit.emergence"] = emergence
    else:
        bounds = (empty.value, empty.low, empty.high)
        made = (before_losses(p, double.value, left)[0] for p in bounds)
        found["fit.skip"] = Estimate(*(min(max(share, 0.0), 1.0) for share in made))
    predicted = {**truth, "fit.scatter": truth["fit.scatter"] * nominal, "fit.emergence": math.nan}
    pairs = {
        part.key: ValuePair(
            part,
            found[part.key],
            exactly(predicted[part.key]),
            too_small(fit) if part.key == "fit.scatter" else 0.0,
        )
        for part in PARAMETERS
        if part.key in found
    }
    return pairs, left


def too_small(fit: CellFit) -> float:
    """Part by which the fitted scatter can be too small.

    Spacings of the shipped scenarios, 300 to 5,000 of each, gave up to 0.08 where seeds keep their
    order, and up to 0.25 where neighbours change places.
    """
    return 0.25 if fit.is_wide else 0.08


def exactly(value: float) -> Estimate:
    """A value without an interval."""
    return Estimate(value, math.nan, math.nan)


def _scaled(one: Estimate, factor: float) -> Estimate:
    return Estimate(one.value * factor, one.low * factor, one.high * factor)
