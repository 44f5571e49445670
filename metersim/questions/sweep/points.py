"""Points of a sweep: a grid of settings, or a sample that fills their space evenly.

A point is a tuple of words, one for each axis, in the form of a scenario file.  A word that is read
back gives exactly the value that was run.

Sources: Latin hypercube, mckay1979; Sobol's sequence, sobol1967; the three samples that indices
of importance need, saltelli2010.
"""

from __future__ import annotations

import inspect
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, Fault, Parameter, all_of, bad
from metersim.files.fields import Spec, meant
from metersim.files.units import Unit, as_written, hole_text
from metersim.machine.changes import KEYS, parse_value, plain_change, section_of
from metersim.run.streams import Streams

DESIGNS = ("grid", "latin", "sobol", "importance")
FORM = "must read KEY=LOW:HIGH:COUNT or KEY=A,B,C, such as vacuum_kpa=2:6:9"
DIGITS = 9  # of a value within a range, as many as files distinguish
LONGEST = 10**9  # most steps of one range; more is a typing error

Point = tuple[str, ...]


@dataclass(frozen=True)
class Axis:
    """A setting that is varied.

    Attributes
    ----------
    key : str
        Key as the user writes it, with its unit.
    section : str
        Section of the scenario.
    spec : Spec
        Declaration of the field.
    unit : Unit or None
        Unit of the values, which the key names.
    words : tuple of str
        Values of a list; empty for a range.
    low, high : float
        Ends of a range, in `unit`.
    count : int or None
        Number of values of a range in a grid, both ends included.
    """

    key: str
    section: str
    spec: Spec
    unit: Unit | None
    words: tuple[str, ...] = ()
    low: float = math.nan
    high: float = math.nan
    count: int | None = None

    @property
    def is_number(self) -> bool:
        """Whether the values are numbers."""
        return self.spec.kind in ("number", "count")

    @property
    def size(self) -> int:
        """Number of values in a grid."""
        return len(self.words) or self.count or 0

    @property
    def levels(self) -> tuple[str, ...]:
        """Values of a grid as words."""
        if self.words or self.count is None:
            return self.words
        steps = np.arange(self.count) / (self.count - 1)
        return tuple(self._word(self.low + step * (self.high - self.low)) for step in steps)

    def at(self, places: NDArray[np.float64]) -> list[str]:
        """Values at quantiles from 0 to 1 of a range; all whole numbers have equal chances."""
        low, high = self.low, self.high
        if self.spec.kind == "count":
            low, high = low - 0.5, high + 0.5
        return [self._word(low + place * (high - low)) for place in places.tolist()]

    def _word(self, value: float) -> str:
        inside = min(max(value, self.low), self.high)
        if self.spec.kind == "count":
            return str(round(inside))
        return f"{inside:.{DIGITS}g}"

    def number(self, word: str, units: str = "") -> float:
        """Number of a word, in the unit of the axis or in that of a reader's metric or US units."""
        unit = self.unit_for(units)
        if unit is None or self.unit is None or unit == self.unit:
            return float(word)
        return unit.from_si(self.unit.to_si(float(word)))

    def unit_for(self, units: str) -> Unit | None:
        """Unit in which a reader of metric or US units reads the values."""
        return self.spec.unit_for(units, self.unit) if units else self.unit

    def text(self, word: str, units: str = "") -> str:
        """A word as a reader of metric or US units reads it; a hole in both, with its units."""
        if not self.is_number:
            return word
        if units and self.unit and self.spec.name == "hole_diameter":
            return hole_text(self.unit.to_si(float(word)), units)
        if self.unit_for(units) == self.unit:
            return f"{float(word):.4g}" if len(word) > 7 else word
        return as_written(self.number(word, units))

    def symbol(self, units: str) -> str:
        """Symbol of the reader's unit behind `text`; empty where there is none, or it says it."""
        unit = self.unit_for(units)
        return unit.symbol if unit and self.spec.name != "hole_diameter" else ""

    def setting(self, word: str) -> tuple[str, Any]:
        """Field of a word for `Scenario.replace`, and its value in SI."""
        return f"{self.section}__{self.spec.name}", self.spec.to_si(
            _parsed(word, self.spec), self.unit
        )

    def __str__(self) -> str:
        if self.words:
            return f"{self.key}={','.join(self.words)}"
        ends = f"{self.key}={self.low!r}:{self.high!r}"
        return ends if self.count is None else f"{ends}:{self.count}"


def read_axes(texts: Iterable[str]) -> tuple[Axis, ...]:
    """Read axes such as ``vacuum_kpa=2:6:9`` and ``inner_guide=true,false``.

    Raises
    ------
    BadInput
        With every fault found.
    """
    texts = list(texts)
    if not texts:
        raise bad(Parameter("vary"), "", f"nothing is varied; give `vary`, which {FORM}")
    axes: list[Axis] = all_of(*(lambda text=text: read_axis(text) for text in texts))
    stated: dict[tuple[str, str], str] = {}
    faults = []
    for axis in axes:
        field = (axis.section, axis.spec.name)
        if field in stated:
            faults.append(Fault(Parameter("vary"), axis.key, f"states the same as {stated[field]}"))
        stated[field] = axis.key
    if faults:
        raise BadInput(faults)
    return tuple(axes)


def read_axis(text: str) -> Axis:
    """Read one axis; see `read_axes`."""
    key, equals, values = (part.strip() for part in plain_change(text).partition("="))
    if not (key and equals and values):
        raise bad(Parameter("vary"), text, FORM)
    place = section_of(key)
    if place is None:
        every = {name: spec for keys in KEYS.values() for name, spec in keys.items()}
        raise bad(Parameter("vary"), key, f"unknown key; {meant(key.rpartition('.')[2], every)}")
    section, bare = place
    spec = KEYS[section][bare]
    if section == "stand":
        raise bad(
            Parameter("vary"),
            key,
            "moves plants, which a sweep does not count; compare with `plants`",
        )
    if (section, bare) == ("run", "turns"):
        raise bad(
            Parameter("vary"), key, "all points are watched equally long; set it with `turns`"
        )
    axis = Axis(key, section, spec, spec.keys[bare])
    return _range(axis, values) if ":" in values else _list(axis, values)


def _range(axis: Axis, values: str) -> Axis:
    parts = [part.strip() for part in values.split(":")]
    if not axis.is_number:
        message = f"has no range; list what to try: {axis.key}=A,B ({axis.spec.allowed()})"
        raise bad(Parameter("vary"), axis.key, message)
    if not 2 <= len(parts) <= 3:
        raise bad(Parameter("vary"), f"{axis.key}={values}", FORM)
    ends = [parse_value(part) for part in parts[:2]]
    found = [axis.spec.complaint(end, axis.unit) for end in ends]
    if wrong := [text for text in found if text]:
        raise BadInput(Fault(Parameter("vary"), axis.key, text) for text in dict.fromkeys(wrong))
    low, high = map(float, ends)
    if not low < high:
        message = f"the range {values} is empty; the first number must be below the second"
        raise bad(Parameter("vary"), axis.key, message)
    count = None
    if len(parts) == 3:
        most = round(high - low) + 1 if axis.spec.kind == "count" else LONGEST
        word = parts[2]
        count = int(word) if word.isascii() and word.isdigit() and len(word) < 19 else 0
        if not 2 <= count <= most:
            message = f"'{word}' values in {values} are not allowed; give a whole number from 2"
            of = f" to {most}, the whole numbers there are" if most < LONGEST else f" to {most:,}"
            raise bad(Parameter("vary"), axis.key, message + of)
    if (high - low) / ((count or 2) - 1) < max(-low, high) * 10.0 ** (1 - DIGITS):
        message = f"the values in {values} are alike to {DIGITS} digits; widen the range"
        raise bad(Parameter("vary"), axis.key, message)
    return Axis(axis.key, axis.section, axis.spec, axis.unit, (), low, high, count)


def _list(axis: Axis, values: str) -> Axis:
    words = tuple(word.strip() for word in values.split(","))
    if len(words) < 2 or not all(words):
        raise bad(
            Parameter("vary"), f"{axis.key}={values}", f"{FORM}; a list has two values or more"
        )
    parsed = [_parsed(word, axis.spec) for word in words]
    found = [axis.spec.complaint(value, axis.unit) for value in parsed]
    if wrong := [text for text in found if text]:
        raise BadInput(Fault(Parameter("vary"), axis.key, text) for text in dict.fromkeys(wrong))
    if len(set(parsed)) < len(parsed):
        raise bad(Parameter("vary"), f"{axis.key}={values}", "lists a value twice")
    return Axis(axis.key, axis.section, axis.spec, axis.unit, words)


def _parsed(word: str, spec: Spec) -> Any:
    """A value as a file holds it; a text may be a number, such as that of one row."""
    return word.strip("\"'") if spec.kind == "text" else parse_value(word)


def check_design(axes: Sequence[Axis], design: str, points: int) -> None:
    """Refuse axes or numbers of points that do not suit a design.

    Raises
    ------
    BadInput
        With every fault found.
    """
    if design not in DESIGNS:
        raise bad(Parameter("design"), design, f"is unknown; give {' or '.join(DESIGNS)}")
    faults = []
    for axis in axes:
        if design == "grid" and not axis.size:
            message = f"a grid needs a count of values, such as {axis.key}=LOW:HIGH:9"
            faults.append(Fault(Parameter("vary"), axis.key, message))
        elif design != "grid" and axis.words:
            message = f"a list is for a grid; give a range, {axis.key}=LOW:HIGH"
            message += "" if axis.is_number else ", of another key, and set this one with `changes`"
            faults.append(Fault(Parameter("vary"), axis.key, message))
    if design != "grid" and points < 2:
        faults.append(Fault(Parameter("points"), str(points), "must be a whole number, 2 or more"))
    elif design in ("sobol", "importance") and points & (points - 1):
        below = 2 ** (points.bit_length() - 1)
        message = f"is no power of two, which this design needs; give {below} or {2 * below}"
        faults.append(Fault(Parameter("points"), str(points), message))
    if faults:
        raise BadInput(faults)


def count_points(axes: Sequence[Axis], design: str, points: int) -> int:
    """Number of points of a design."""
    if design == "grid":
        return math.prod(axis.size for axis in axes)
    return points * (len(axes) + 2) if design == "importance" else points


def draw_points(axes: Sequence[Axis], design: str, points: int, seed: int) -> list[Point]:
    """The points of a design, in its order.

    Parameters
    ----------
    axes : sequence of Axis
        Axes that `check_design` accepts.
    design : str
        ``grid``: every combination, the last axis fastest.  ``latin``: a Latin hypercube.
        ``sobol``: the scrambled sequence of Sobol'.  ``importance``: samples A and B of such a
        sequence, then for each axis A with the values of that axis from B.
    points : int
        Size of a sample; a grid has its own number.
    seed : int
        Random seed of the sample.
    """
    if design == "grid":
        return list(itertools.product(*(axis.levels for axis in axes)))
    from scipy.stats import qmc  # slow to load, and workers do not need it

    rng = Streams(seed).generator(f"design {design}")
    many = len(axes)
    if design == "latin":
        return _words(axes, _engine(qmc.LatinHypercube, many, rng).random(points))
    if design == "sobol":
        return _words(axes, _engine(qmc.Sobol, many, rng).random(points))
    both = _engine(qmc.Sobol, 2 * many, rng).random(points)
    first, second = both[:, :many], both[:, many:]
    return [point for part in _samples(first, second) for point in _words(axes, part)]


def _samples(
    first: NDArray[np.float64], second: NDArray[np.float64]
) -> Iterator[NDArray[np.float64]]:
    yield from (first, second)
    for k in range(first.shape[1]):
        mixed = first.copy()
        mixed[:, k] = second[:, k]
        yield mixed


def _engine(kind: Any, dimensions: int, rng: np.random.Generator) -> Any:
    """A sampler of scipy; the name of its argument for chance changed in scipy 1.15."""
    name = "rng" if "rng" in inspect.signature(kind).parameters else "seed"
    return kind(dimensions, **{name: rng})


def _words(axes: Sequence[Axis], places: NDArray[np.float64]) -> list[Point]:
    columns = (axis.at(column) for axis, column in zip(axes, places.T, strict=True))
    return list(zip(*columns, strict=True))
