"""Declarations of fields: kind, unit, range and meaning, once for each field.

A section of a scenario is a frozen dataclass.  `number`, `count`, `switch`, `choice` or `text` make
its fields.  The declaration is stored as metadata of the field.  The checker of the dataclass, the
reader of TOML files, the tables of the documentation and the tests read it from there.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from metersim.files.faults import BadInput, Fault, hint
from metersim.files.units import UNITS, Unit, sentence_number

DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+")
ROUNDING = 1e-9  # relative slack at the ends of a range, for rounded conversions of units


@dataclass(frozen=True)
class Spec:
    """Declaration of a field.

    Attributes
    ----------
    name : str
        Name of the field, without a unit.
    kind : str
        ``number``, ``count``, ``switch``, ``choice`` or ``text``.
    meaning : str
        One sentence for users.
    units : tuple of Unit
        Accepted units, the preferred one first; empty for a plain number.
    low, high : float
        Allowed range in SI, both ends included.
    choices : tuple of str
        Allowed words of a ``choice``.
    optional : bool
        Whether `None` (not stated) is allowed.
    required : bool
        Whether a file must state it.
    drawn : tuple of float, optional
        Lowest and highest value in the draws of an assumed coefficient, in SI.
    """

    name: str
    kind: str
    meaning: str
    units: tuple[Unit, ...] = ()
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    optional: bool = False
    required: bool = False
    drawn: tuple[float, float] | None = None

    @property
    def si_unit(self) -> Unit | None:
        """The unit of values in SI, as the dataclasses hold them."""
        return Unit("", self.units[0].si, self.units[0].si, 1.0) if self.units else None

    @property
    def keys(self) -> dict[str, Unit | None]:
        """Every key that a file may use for this field, with its unit."""
        if not self.units:
            return {self.name: None}
        return {f"{self.name}_{unit.suffix}": unit for unit in self.units}

    def unit_for(self, units: str, stated: Unit | None = None) -> Unit | None:
        """The unit in which a reader of metric or US units reads this field; None if it has none.

        That is the stated unit if it belongs to these units, else the first that does, else the
        preferred one.
        """
        fits = [one for one in (stated, *self.units) if one and one.family in (units, "both")]
        return next(iter((*fits, *self.units)), None)

    def allowed(self, unit: Unit | None = None) -> str:
        """The allowed values in words, in `unit` or the preferred one."""
        if self.kind == "switch":
            return "true or false"
        if self.kind == "choice":
            return " or ".join(f'"{word}"' for word in self.choices)
        if self.kind == "text":
            return "a text in quotes"
        unit = unit or (self.units[0] if self.units else None)
        low, high = (
            sentence_number(edge if unit is None else unit.from_si(edge))
            for edge in (self.low, self.high)
        )
        kind = "a whole number" if self.kind == "count" else "a number"
        return f"{kind} from {low} to {high}" + (f" {unit.symbol}" if unit else "")

    def has(self, value: Any) -> bool:
        """Whether a value is plainly a number of the range in SI, as nearly all are."""
        if type(value) is not float or self.kind != "number":
            return False
        return self.low <= value <= self.high and abs(value) != math.inf

    def complaint(self, value: Any, unit: Unit | None = None) -> str | None:
        """Words for what is wrong with `value`, given in `unit`; None if it is allowed."""
        if value is None and self.optional:
            return None
        wrong = not self._is_of_kind(value) or not self._is_in_range(value, unit)
        if not wrong:
            return None
        comma = isinstance(value, str) and DECIMAL_COMMA.fullmatch(value)
        mark = "; the decimal mark is a point" if comma else ""
        allowed = self.allowed(unit)
        return f"{shown(value)} is not allowed; give {allowed} ({self.meaning}){mark}"

    def _is_of_kind(self, value: Any) -> bool:
        if self.kind in ("number", "count"):
            kinds = (int,) if self.kind == "count" else (int, float)
            return isinstance(value, kinds) and not isinstance(value, bool)
        return isinstance(value, bool if self.kind == "switch" else str)

    def _is_in_range(self, value: Any, unit: Unit | None) -> bool:
        if self.kind == "choice":
            return value in self.choices
        if self.kind == "text":
            return bool(value)
        if self.kind == "switch":
            return True
        if self.kind == "count":
            return bool(self.low <= value <= self.high)
        try:
            si = unit.to_si(value) if unit else float(value)
        except OverflowError:
            return False
        inside = min(max(si, self.low), self.high)
        return math.isfinite(si) and abs(si - inside) <= ROUNDING * abs(inside)

    def to_si(self, value: Any, unit: Unit | None) -> Any:
        """An allowed `value` given in `unit`, in SI and inside the range to the last bit."""
        if self.kind != "number" or value is None:
            return value
        si = float(unit.to_si(value) if unit else value)
        return min(max(si, self.low), self.high) + 0.0  # no negative zero


def shown(value: Any) -> str:
    """A value that is not allowed, in the words of a fault."""
    try:
        text = repr(value) if not isinstance(value, bool) else str(value).lower()
    except (ValueError, RecursionError):  # more digits or levels than Python can write
        return f"such a {type(value).__name__}"
    return text if len(text) <= 40 else text[:37] + "..."


def _field(spec: Spec, default: Any) -> Any:
    if default is dataclasses.MISSING:
        return dataclasses.field(metadata={"spec": spec})
    return dataclasses.field(default=default, metadata={"spec": spec})


def number(
    units: str,
    low: float,
    high: float,
    meaning: str,
    *,
    default: Any = dataclasses.MISSING,
    optional: bool = False,
    drawn: tuple[float, float] | None = None,
) -> Any:
    """Declare a physical quantity; all numbers are in the first of `units`.

    Parameters
    ----------
    units : str
        Unit suffixes separated by blanks, the preferred one first; empty for a plain number.
    low, high : float
        Allowed range, both ends included.
    meaning : str
        One sentence for users.
    default : float, optional
        Value for files that do not state the field.  Without a default, files must state it.
    optional : bool
        Allow None, and make it the default.
    drawn : tuple of float, optional
        Lowest and highest value in the draws of an assumed coefficient.  The meaning ends in them.
    """
    accepted = tuple(UNITS[suffix] for suffix in units.split())
    in_si = accepted[0].to_si if accepted else float
    spec = Spec("", "number", meaning, accepted, in_si(low), in_si(high), optional=optional)
    if drawn:
        least, most = drawn
        said = f"{meaning}, {sentence_number(least)} to {sentence_number(most)}"
        spec = dataclasses.replace(spec, meaning=said, drawn=(in_si(least), in_si(most)))
    if optional:
        default = None
    elif default is not dataclasses.MISSING:
        default = float(in_si(default))
    return _field(spec, default)


def count(low: int, high: int, meaning: str, *, default: Any = dataclasses.MISSING) -> Any:
    """Declare a whole number from `low` to `high`."""
    return _field(Spec("", "count", meaning, low=low, high=high), default)


def switch(meaning: str, *, default: Any = dataclasses.MISSING) -> Any:
    """Declare a true-or-false field."""
    return _field(Spec("", "switch", meaning), default)


def choice(
    words: str, meaning: str, *, default: Any = dataclasses.MISSING, optional: bool = False
) -> Any:
    """Declare a field that takes one of the blank-separated `words`; see `number`."""
    spec = Spec("", "choice", meaning, choices=tuple(words.split()), optional=optional)
    return _field(spec, None if optional else default)


def text(meaning: str, *, default: Any = dataclasses.MISSING) -> Any:
    """Declare a field that takes a text."""
    return _field(Spec("", "text", meaning), default)


@cache
def specs(section: type) -> Mapping[str, Spec]:
    """The declarations of a dataclass, by field name."""
    return {
        field.name: dataclasses.replace(
            field.metadata["spec"],
            name=field.name,
            required=field.default is dataclasses.MISSING,
        )
        for field in dataclasses.fields(section)
        if "spec" in field.metadata
    }


class Checked:
    """Base of dataclasses that check their declared fields on creation."""

    def __post_init__(self) -> None:
        own: Any = type(self)  # mypy takes it for an instance, and an instance need not be hashable
        faults = [
            Fault(own.__name__, name, complaint)
            for name, spec in specs(own).items()
            if not spec.has(value := getattr(self, name))
            and (complaint := spec.complaint(value, spec.si_unit))
        ]
        if faults:
            raise BadInput(faults)


def keys_of(declared: Mapping[str, Spec]) -> dict[str, Spec]:
    """Every key that a file may use for the declared fields, with the field it states."""
    return {key: spec for spec in declared.values() for key in spec.keys}


def meant(key: str, known: Mapping[str, Spec]) -> str:
    """A hint for an unknown key: the units of its field, or similar keys."""
    for spec in known.values():
        if spec.units and key.startswith(f"{spec.name}_"):
            return f"units of {spec.name}: {' or '.join(spec.keys)}"
    return hint(key, known)


def read_section(
    declared: Mapping[str, Spec],
    table: Mapping[str, Any],
    where: str,
    path: str,
    read_table: Callable[[Spec, str, Mapping[str, Any]], Any] | None = None,
    units: str = "",
) -> tuple[dict[str, Any], list[Fault]]:
    """Turn a TOML table into SI values of the declared fields, and collect all faults.

    Parameters
    ----------
    declared : mapping of str to Spec
        The fields that the table may state, by name.
    table : mapping
        Keys and values as the file states them.
    where, path : str
        File, and dotted name of the table, for the faults.
    read_table : callable, optional
        Reads a table that stands for a value.  It takes the field, the key and that table, and
        returns a value or raises `BadInput`.  Without it, such tables are refused.
    units : str
        ``metric`` or ``us``, if the file states them: those of what is missing.

    Returns
    -------
    dict, list of Fault
        Values in SI by field name, and the faults.
    """
    known = keys_of(declared)
    stated: dict[str, str] = {}
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for key, value in table.items():
        spec = known.get(key)
        if spec is None:
            faults.append(Fault(where, f"{path}.{key}", f"unknown key; {meant(key, known)}"))
            continue
        if spec.name in stated:
            message = f"states the same as {stated[spec.name]}; give only one of them"
            faults.append(Fault(where, f"{path}.{key}", message))
            continue
        stated[spec.name] = key
        if read_table and isinstance(value, Mapping):
            try:
                values[spec.name] = read_table(spec, key, value)
            except BadInput as error:
                faults += [Fault(where, f"{path}.{key}", f.message) for f in error.faults]
            continue
        complaint = spec.complaint(value, spec.keys[key])
        if complaint:
            faults.append(Fault(where, f"{path}.{key}", complaint))
        else:
            values[spec.name] = spec.to_si(value, spec.keys[key])
    for spec in declared.values():
        if spec.required and spec.name not in stated:
            unit = spec.unit_for(units)
            key = f"{spec.name}_{unit.suffix}" if unit else spec.name
            faults.append(Fault(where, f"{path}.{key}", f"missing; give {spec.allowed(unit)}"))
    return values, faults
