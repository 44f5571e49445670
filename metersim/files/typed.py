"""Quantities that somebody typed: a number, a fraction or both, with or without a unit."""

from __future__ import annotations

import math
import re
import unicodedata

from metersim.files.fields import Spec
from metersim.files.units import UNITS, Unit

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
FRACTION = re.compile(r"([+-]?)(?:(\d+)[ -])?(\d+)/(\d+)", re.ASCII)
QUANTITY = re.compile(rf"({FRACTION.pattern}|{NUMBER.pattern})\s*(\D.*)?", NUMBER.flags)
SPELLINGS = {  # beside suffixes and symbols, without blanks and capitals
    '"': "in",
    "''": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "feet": "ft",
    "foot": "ft",
    "kph": "kmh",
    "mi/h": "mph",
    '"h2o': "inh2o",
    "inwater": "inh2o",
    "/ha": "per_ha",
    "ha": "per_ha",
    "/acre": "per_acre",
    "/ac": "per_acre",
    "acre": "per_acre",
    "ac": "per_acre",
    "lbs": "lb",
    "bu/ac": "bu_acre",
    "degrees": "deg",
    "fps": "ft_s",
}


def spelled(word: str) -> Unit | None:
    """The unit that a word means, such as ``mph``, ``in``, ``"`` or ``/acre``; None if none."""
    known = {unit.symbol.casefold().replace(" ", ""): unit for unit in UNITS.values()}
    plain = "".join(word.casefold().split())
    return UNITS.get(SPELLINGS.get(plain, plain)) or known.get(plain)


def plain_fractions(word: str) -> str:
    """A word with signs of fractions and of inches typed plainly: a half as 1/2."""
    apart = re.sub("[\u00bc-\u00be\u2150-\u215e]", r" \g<0>", word)  # 6 and a half is 6 1/2
    plain = unicodedata.normalize("NFKC", apart).replace("\N{FRACTION SLASH}", "/")
    return plain.replace("\N{DOUBLE PRIME}", '"').replace("\N{RIGHT DOUBLE QUOTATION MARK}", '"')


def typed_number(word: str) -> float | None:
    """The number of a word such as ``6.5``, ``3/16``, ``6 1/2`` or ``6-1/2``; None if none."""
    word = word.strip()
    if NUMBER.fullmatch(word):
        return float(word)
    if not (parts := FRACTION.fullmatch(word)):
        return None
    sign, whole, above, below = parts.groups()
    if not int(below) or len(word) > 40:
        return None
    size = int(whole or 0) + int(above) / int(below)
    return math.copysign(size, -1.0 if sign == "-" else 1.0)


def typed_quantity(word: str) -> tuple[float, Unit | None] | None:
    """Number and unit of a word such as ``5 mph`` or ``3/16in``; no unit is None.

    None in place of both when the word is no number, or its unit is not known.
    """
    if not (parts := QUANTITY.fullmatch(plain_fractions(word).strip())):
        return None
    number, unit = typed_number(parts[1]), parts[parts.re.groups]
    if number is None or (unit and spelled(unit) is None):
        return None
    return number, spelled(unit) if unit else None


def typed_for(word: str, spec: Spec, units: str) -> tuple[float, Unit | None] | None:
    """Number and unit of a word for a field; without a typed unit that of the reader's `units`.

    None when it is no number, or its unit is none of the field's dimension.
    """
    read = typed_quantity(word)
    unit = spec.unit_for(units)
    if read is None:
        return None
    number, typed = read
    if typed is None:
        return number, unit
    if unit is None or typed.si != unit.si:
        return None
    if typed in spec.units:
        return number, typed
    near = spec.unit_for(typed.family) or unit
    return near.from_si(typed.to_si(number)), near
