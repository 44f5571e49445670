"""Named units of files, options and printed tables; inside the program everything is SI.

A key such as ``vacuum_kpa`` ends in the short name of its unit.  Each short name stands here once,
with its exact factor to SI.

Sources: exact definitions of the international yard and pound (1 in = 25.4 mm, 1 lb =
0.45359237 kg, 1 acre = 4046.8564224 m2); conventional inch of water at 4 degC, 249.08891 Pa
(NIST SP 811, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

INCH = 0.0254
POUND = 0.45359237
ACRE = 4046.8564224
HECTARE = 1e4
MILE = 1609.344
INCH_OF_WATER = 249.08891
DAY = 86_400.0
MAIZE_BUSHEL = 56 * POUND  # by weight, as maize is traded in the USA
STANDARD_GRAVITY = 9.80665  # m/s2, CGPM 1901


@dataclass(frozen=True)
class Unit:
    """A unit of inputs and outputs.

    Attributes
    ----------
    suffix : str
        End of a key, such as ``kpa``.
    symbol : str
        Symbol in tables and on axes, such as ``kPa``.
    si : str
        Symbol of the SI unit.
    factor : float
        SI value of one unit.
    family : str
        ``metric``, ``us`` or ``both``.
    zero : float
        SI value of 0 of this unit; other than 0 for temperatures alone.
    """

    suffix: str
    symbol: str
    si: str
    factor: float
    family: str = "metric"
    zero: float = 0.0

    def to_si(self, number: float) -> float:
        """SI value of `number` of this unit."""
        return number * self.factor + self.zero

    def from_si(self, number: float) -> float:
        """Number of this unit that equals the SI value `number`."""
        return (number - self.zero) / self.factor


UNITS: dict[str, Unit] = {
    unit.suffix: unit
    for unit in (
        Unit("mm", "mm", "m", 1e-3),
        Unit("cm", "cm", "m", 1e-2),
        Unit("m", "m", "m", 1.0),
        Unit("in", "in", "m", INCH, "us"),
        Unit("ft", "ft", "m", 12 * INCH, "us"),
        Unit("kmh", "km/h", "m/s", 1 / 3.6),
        Unit("mph", "mph", "m/s", MILE / 3600, "us"),
        Unit("m_s", "m/s", "m/s", 1.0),
        Unit("ft_s", "ft/s", "m/s", 12 * INCH, "us"),
        Unit("kpa", "kPa", "Pa", 1e3),
        Unit("inh2o", "inH2O", "Pa", INCH_OF_WATER, "us"),
        Unit("per_ha", "per ha", "per m2", 1 / HECTARE),
        Unit("per_acre", "per acre", "per m2", 1 / ACRE, "us"),
        Unit("mm2", "mm2", "m2", 1e-6, "both"),
        Unit("m3_h", "m3/h", "m3/s", 1 / 3600),
        Unit("cfm", "cfm", "m3/s", (12 * INCH) ** 3 / 60, "us"),
        Unit("n_mm", "N/mm", "N/m", 1e3),
        Unit("lbf_in", "lbf/in", "N/m", POUND * STANDARD_GRAVITY / INCH, "us"),
        Unit("n_m", "N m", "N m", 1.0, "both"),
        Unit("a", "A", "A", 1.0, "both"),
        Unit("c", "degC", "K", 1.0, "metric", 273.15),
        Unit("f", "degF", "K", 5 / 9, "us", 273.15 - 32 * 5 / 9),
        Unit("kg", "kg", "kg", 1.0),
        Unit("lb", "lb", "kg", POUND, "us"),
        Unit("g", "g", "kg", 1e-3),
        Unit("mg", "mg", "kg", 1e-6),
        Unit("grain", "grain", "kg", POUND / 7000, "us"),
        Unit("kg_m3", "kg/m3", "kg/m3", 1.0),
        Unit("lb_ft3", "lb/ft3", "kg/m3", POUND / (12 * INCH) ** 3, "us"),
        Unit("lb_bu", "lb/bu", "kg/m3", POUND / (2150.42 * INCH**3), "us"),
        Unit("t_ha", "t/ha", "kg/m2", 1e3 / HECTARE),
        Unit("bu_acre", "bu/acre", "kg/m2", MAIZE_BUSHEL / ACRE, "us"),  # of maize
        Unit("deg", "deg", "rad", math.pi / 180, "both"),
        Unit("s", "s", "s", 1.0, "both"),
        Unit("days", "days", "s", DAY, "both"),
        Unit("ms", "ms", "s", 1e-3, "both"),
        Unit("g_per_m_s", "g per m/s", "m/s2 per m/s", STANDARD_GRAVITY, "both"),
        Unit("per_s", "per s", "1/s", 1.0, "both"),
        Unit("s2_m2", "s2/m2", "s2/m2", 1.0, "both"),
        Unit("hz", "Hz", "Hz", 1.0, "both"),
        Unit("percent", "%", "(as a share)", 1e-2, "both"),
    )
}


def sentence_number(value: float, digits: int = 4) -> str:
    """`value` with at most `digits` significant digits and no trailing zeros."""
    if 1e5 <= abs(value) < 1e15:
        return f"{value:,.0f}"
    return f"{value:.{digits}g}"


def as_written(amount: float, digits: int = 3) -> str:
    """A number as a person would write it: four significant digits if it has no more, else fewer.

    Numbers that were converted from another unit have more, and get `digits`.
    """
    four = float(f"{amount:.4g}")
    kept = four if abs(four - amount) <= 1e-6 * abs(amount) else float(f"{amount:.{digits}g}")
    return f"{kept:,.10g}"


def hole_text(diameter: float, units: str = "metric") -> str:
    """Diameter of a hole in both units, such as ``4.5 mm (0.177 in)``; see `hole_texts`."""
    return "{} ({})".format(*hole_texts(diameter, units))


def hole_texts(diameter: float, units: str = "metric") -> tuple[str, str]:
    """Diameter of a hole in millimetres and in inches, the reader's unit first.

    Discs are sold in both, so that a diameter is the one thing that is always said twice.

    Parameters
    ----------
    diameter : float
        Diameter of the hole. [m]
    units : {'metric', 'us'}
        Units of the reader.
    """
    metric = f"{round(UNITS['mm'].from_si(diameter), 2):g} mm"
    us = f"{as_written(UNITS['in'].from_si(diameter))} in"
    return (us, metric) if units == "us" else (metric, us)
