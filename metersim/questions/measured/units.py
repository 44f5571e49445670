"""A unit other than the stated one, suspected from the mean of measured spacings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from metersim.files.units import UNITS

FACTORS = (10.0, 2.54, 25.4)  # of units that people mix up: mm, cm and inches
NEAR = math.log(1.15)  # skips, doubles and slip move the mean by less
LENGTHS = ("mm", "cm", "m", "in", "ft")

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class UnitSlip:
    """A unit that is suspected.

    Attributes
    ----------
    ratio : float
        Mean spacing over the nominal one. [1]
    stated : str
        Column of the file.
    meant : str
        Column that would fit the scenario; empty if no unit of a length does.
    """

    ratio: float
    stated: str
    meant: str

    def question(self) -> str:
        """The question to ask, with its answer."""
        said = f"The mean spacing is {self.ratio:.3g} times the nominal one."
        if not self.meant:
            return f"{said} Check the unit in the header, and rate and row spacing of the scenario."
        unit = self.meant.rpartition("_")[2]
        return f"{said} Is the file in {unit}? Then name its column {self.meant}."


def unit_slip(rows: Sequence[Floats], column: str) -> UnitSlip | None:
    """The slip of unit that measured spacings suggest, if any.

    Parameters
    ----------
    rows : sequence of ndarray
        Measured spacings over the nominal one, row by row. [1]
    column : str
        Column of the file, such as ``spacing_cm``.
    """
    ratio = float(np.concatenate(rows).mean())
    slips = [end for factor in FACTORS for end in (factor, 1 / factor)]
    nearest = min(slips, key=lambda slip: abs(math.log(ratio / slip)))
    if abs(math.log(ratio / nearest)) > NEAR:
        return None
    name, _, suffix = column.rpartition("_")
    meant = [
        unit
        for unit in LENGTHS
        if suffix in LENGTHS
        and "," not in column
        and math.isclose(UNITS[unit].factor * nearest, UNITS[suffix].factor, rel_tol=1e-6)
    ]
    return UnitSlip(ratio, column, f"{name}_{meant[0]}" if meant else "")
