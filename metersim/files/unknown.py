"""Input uncertainty of a setting: a range, a distribution or a list in place of a value."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from metersim.distributions.normal import ndtr, ndtri
from metersim.files.faults import BadInput, Fault, bad
from metersim.files.fields import Spec, shown
from metersim.files.units import Unit, as_written

FORMS = {"uniform": ("low", "high"), "normal": ("mean", "sd"), "among": ("among",)}
AMONG = "{among = [..., ...]}"
TABLES = f"{{low = ..., high = ...}}, {{mean = ..., sd = ...}} or {AMONG}"


@dataclass(frozen=True)
class Unknown:
    """A setting with input uncertainty: more than one value is possible.

    Attributes
    ----------
    section, key : str
        Section, and key with its unit, as the user wrote it.
    spec : Spec
        Declaration of the field.
    form : str
        ``uniform``, from low to high; ``normal``, cut at the allowed range; or ``among``, a list
        of equally likely values.
    stated : tuple
        Low and high, mean and SD, or the values of the list, in the unit of the key.
    """

    section: str
    key: str
    spec: Spec = field(repr=False)
    form: str
    stated: tuple[Any, ...]

    def __post_init__(self) -> None:
        if found := self._complaints():
            raise BadInput(Fault("", self.key, message) for message in found)

    @property
    def name(self) -> str:
        """Name of the field."""
        return self.spec.name

    @property
    def field(self) -> str:
        """Name of the field for `metersim.machine.scenario.Scenario.replace`."""
        return f"{self.section}__{self.name}"

    @property
    def unit(self) -> Unit | None:
        """Unit of the key."""
        return self.spec.keys[self.key]

    @property
    def parameters(self) -> tuple[Any, ...]:
        """The stated numbers or values, in SI."""
        if self.form == "normal":
            mean, sd = self.stated
            factor, zero = (self.unit.factor, self.unit.zero) if self.unit else (1.0, 0.0)
            return mean * factor + zero, sd * factor
        return tuple(self.spec.to_si(value, self.unit) for value in self.stated)

    def at(self, place: float) -> Any:
        """The value in SI at a quantile of the possible values.

        Parameters
        ----------
        place : float
            Share of the possible values that do not exceed it, above 0 and below 1.  For a list,
            the share of the list before the value.

        Returns
        -------
        float, int, str or bool
            A value of the field; a count is a whole number.
        """
        if not 0 < place < 1:
            raise ValueError(f"place is {place}; allowed: between 0 and 1")
        if self.form == "among":
            return self.parameters[int(place * len(self.stated))]
        whole = self.spec.kind == "count"
        ends = self.parameters if self.form == "uniform" else (self.spec.low, self.spec.high)
        low, high = (ends[0] - 0.5, ends[1] + 0.5) if whole else ends  # a whole number has width 1
        if self.form == "uniform":
            value = low + place * (high - low)
        else:
            mean, sd = self.parameters
            below, above = ndtr((low - mean) / sd), ndtr((high - mean) / sd)
            value = float(mean + sd * ndtri(below + place * (above - below)))
        inside = min(max(value, ends[0]), ends[1])
        return math.floor(inside + 0.5) if whole else float(inside)

    @property
    def middle(self) -> Any:
        """The value in SI that represents all where only one can be used; the median of numbers."""
        return self.at(0.5)

    def said(self, value: Any) -> str:
        """A value in SI as a user would set it: key and value."""
        if self.spec.kind == "number":
            value = f"{self.unit.from_si(value) if self.unit else value:.6g}"
        return f"{self.key}={_word(value)}"

    def to_dict(self) -> dict[str, Any]:
        """The statement of a file, in SI."""
        if self.form == "among":
            return {"among": list(self.parameters)}
        return dict(zip(FORMS[self.form], self.parameters, strict=True))

    def text(self, units: str = "") -> str:
        """The statement in words, in metric or US units; without these as it was stated."""
        here = self.restated(units)
        word = _word if here is self else as_written
        words = [word(value) for value in here.stated]
        if self.form == "among":
            return f"{here.key} one of {', '.join(words)}"
        between = "from {} to {}" if self.form == "uniform" else "about {}, SD {}"
        return f"{here.key} {between.format(*words)}"

    def restated(self, units: str) -> Unknown:
        """The same statement in metric or US units; itself if it is in these or has no unit."""
        unit = self.spec.unit_for(units, self.unit) if units else self.unit
        if unit is None or unit == self.unit:
            return self
        values = [*self.parameters]
        if self.form == "normal":  # an SD has no zero
            values[1] += unit.zero
        stated = (float(f"{unit.from_si(value):.12g}") for value in values)
        return dataclasses.replace(self, key=f"{self.name}_{unit.suffix}", stated=tuple(stated))

    def __str__(self) -> str:
        return self.text()

    def _complaints(self) -> list[str]:
        """Complaints about the statement."""
        spec, unit = self.spec, self.unit
        if self.form == "normal":
            spec = dataclasses.replace(spec, kind="number")  # the mean of counts need not be whole
            mean, sd = self.stated
            found = [("mean", spec.complaint(mean, unit)), ("sd", self._complaint_of_sd(sd))]
        else:
            words = FORMS[self.form] if self.form == "uniform" else ["among"] * len(self.stated)
            found = [
                (word, spec.complaint(value, unit))
                for word, value in zip(words, self.stated, strict=True)
            ]
        wrong = [f"{word}: {complaint}" for word, complaint in found if complaint]
        if wrong:
            return list(dict.fromkeys(wrong))
        if self.form == "uniform" and self.parameters[0] >= self.parameters[1]:
            low, high = map(_word, self.stated)
            return [f"low = {low} is not below high = {high}; give low below high, or one value"]
        if self.form == "among" and not self.stated:
            return [f"among = [] lists nothing; list {spec.allowed(unit)}"]
        seen = set()
        for k, value in enumerate(self.parameters if self.form == "among" else ()):
            if value in seen:
                return [f"among: lists {_word(self.stated[k])} twice; list every value once"]
            seen.add(value)
        return []

    def _complaint_of_sd(self, sd: Any) -> str | None:
        """Complaint about an SD, which must be above 0 and no wider than the allowed range."""
        widest = self.spec.high - self.spec.low
        unit = dataclasses.replace(self.unit, zero=0.0) if self.unit else None
        spec = Spec("sd", "number", "spread about the mean", self.spec.units, 0.0, widest)
        if not spec.complaint(sd, unit) and sd * (unit.factor if unit else 1.0) > 0:
            return None
        most = spec.allowed(unit).rpartition(" to ")[2]
        return f"{shown(sd)} is not allowed; give a number above 0 and up to {most}"


def read_unknown(section: str, spec: Spec, key: str, table: Mapping[str, Any]) -> Unknown:
    """Read a table that stands in place of a value.

    Parameters
    ----------
    section, key : str
        Section, and key with its unit.
    spec : Spec
        Declaration of the field.
    table : mapping
        ``low`` and ``high``, ``mean`` and ``sd``, or ``among``.

    Raises
    ------
    BadInput
        With all faults of the table.
    """
    form = next((form for form, words in FORMS.items() if {*words} == {*table}), None)
    numbers = spec.kind in ("number", "count")
    known = section != "run" and spec.kind != "text"
    listed = isinstance(table.get("among", []), list)
    if form is None or not listed or not known or not (numbers or form == "among"):
        unit = spec.keys[key]
        wrong = f"{shown(dict(table))} is not allowed; give {spec.allowed(unit)}"
        if not known:
            raise bad("", key, f"{wrong} ({spec.meaning}): this key takes no range")
        raise bad("", key, f"{wrong}, or {TABLES if numbers else AMONG}")
    values = table["among"] if form == "among" else [table[word] for word in FORMS[form]]
    return Unknown(section, key, spec, form, tuple(values))


def _word(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
