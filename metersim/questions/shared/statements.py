"""Statements of a published case: its conditions, and the rows of its table."""

from __future__ import annotations

import itertools
import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, TypeGuard

from metersim.files.faults import all_of, bad, hint
from metersim.files.fields import shown, specs
from metersim.machine.reading import layered, section_of
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.measures.indices import BY_KEY

LONGEST_NAME = 100  # letters of a name in tables and figures
LEAST, GREATEST = 1e-6, 1e9  # least number that must be above 0, greatest of all numbers
A_NAME = f"a text in quotes of up to {LONGEST_NAME} letters that can be printed"


def numbers(values: Any, where: str, key: str) -> Sequence[float]:
    """A list of numbers; raises `BadInput`."""
    if not isinstance(values, list) or not values:
        raise bad(where, key, "must be a list of numbers, such as [4, 6]")
    for value in values:
        a_number(value, where, key)
    return values


def a_number(value: Any, where: str, key: str, low: float = -GREATEST) -> float:
    """A number that is not too large to work with; raises `BadInput`."""
    right = isinstance(value, int | float) and not isinstance(value, bool)
    if not right or not low <= value <= GREATEST:
        ends = f"{'above 0, ' if low > 0 else ''}from {low:g} to {GREATEST:g}"
        raise bad(where, key, f"{shown(value)} is not allowed; give a number {ends}")
    return float(value)


def a_positive(value: Any, where: str, key: str) -> float:
    """A number above 0; raises `BadInput`."""
    return a_number(value, where, key, LEAST)


def is_name(word: Any) -> TypeGuard[str]:
    """Whether a value is a text that tables and figures can show."""
    return isinstance(word, str) and 0 < len(word) <= LONGEST_NAME and word.isprintable()


def is_one_of(word: Any, known: Container[str]) -> TypeGuard[str]:
    """Whether a value is one of the known words."""
    return isinstance(word, str) and word in known


def hint_of(word: Any, known: Iterable[str]) -> str:
    """Hint at known words, as `hint` gives it, for a value that may be no word."""
    return hint(word if isinstance(word, str) else "", known)


MOST_PARTS = 1000  # scenarios over which a condition averages
MOST_CONDITIONS = 1000  # in a file; the reading of one takes some milliseconds
MOST_CELLS = 3_000_000  # of a run that keeps all its records


@dataclass(frozen=True)
class Condition:
    """A condition that a source tested.

    Attributes
    ----------
    name : str
        Name by which rows refer to it.
    parts : tuple of Scenario
        Scenarios to run; results are averaged over them.
    critical : tuple of float, optional
        Share of empty cells, and factor on the vacuum that leaves this share.
    of, key, value : str, str, float
        Name of the varied condition in the file, its varied key, and the value of this key.
        Empty and nan when no key is varied.
    """

    name: str
    parts: tuple[Scenario, ...]
    critical: tuple[float, float] | None = None
    of: str = ""
    key: str = ""
    value: float = math.nan


def read_conditions(table: Mapping[str, Any], path: Path) -> dict[str, Condition]:
    """The conditions of a case file by name; raises `BadInput`."""
    usual = {"title": path.stem, **table["scenario"]}
    found: dict[str, Condition] = {}
    for name, own in table["conditions"].items():
        key = f"conditions.{name}"
        if not is_name(name):
            raise bad(str(path), key, f"the name must be {A_NAME}")
        if not isinstance(own, dict):
            raise bad(str(path), key, "must be a table of changes")
        changes = {k: v for k, v in own.items() if k not in ("vary", "mean", "critical")}
        critical = _critical(own.get("critical"), str(path), f"{key}.critical")
        mean = _grid(own.get("mean", {}), str(path), f"{key}.mean")
        word, values = _varied(own.get("vary"), str(path), f"{key}.vary")
        for value in values:
            label = f"{name} {value:g}" if word else name
            if len(found) == MOST_CONDITIONS:
                message = f"has more than {MOST_CONDITIONS:,}; give several case files"
                raise bad(str(path), "conditions", message)
            if label in found:
                raise bad(str(path), key, f"'{label}' is there twice; name every condition once")
            varied = _change(word, value, str(path), f"{key}.vary") if word else {}
            parts = tuple(layered((usual, changes, varied, part), path, label) for part in mean)
            if (most := max(part.passages for part in parts)) > MOST_CELLS:
                message = f"its runs have {most:,} cells; give turns for at most {MOST_CELLS:,}"
                raise bad(str(path), key, message)
            found[label] = Condition(label, parts, critical, name, word, value)
    return found


def _critical(table: Any, where: str, key: str) -> tuple[float, float] | None:
    if table is None:
        return None
    names = ("miss_percent", "times")
    if not isinstance(table, dict) or sorted(table) != sorted(names):
        raise bad(where, key, "must read {miss_percent = ..., times = ...}")
    miss, times = (a_positive(table[name], where, f"{key}.{name}") for name in names)
    if miss >= 100:
        raise bad(where, f"{key}.miss_percent", f"{miss:g} is not allowed; give below 100 %")
    return miss / 100, times


def _varied(table: Any, where: str, key: str) -> tuple[str, Sequence[float]]:
    """The key that a condition varies, and its values; an empty key and one nan without any."""
    if table is None:
        return "", [math.nan]
    if (
        not isinstance(table, dict)
        or sorted(table) != ["key", "values"]
        or not isinstance(table["key"], str)
    ):
        raise bad(where, key, 'must read {key = "speed_kmh", values = [4, 6]}')
    ((_, parts),) = _change(table["key"], None, where, key).items()
    return next(iter(parts)), numbers(table["values"], where, key)


def _grid(table: Any, where: str, key: str) -> list[dict[str, Any]]:
    """Changes for all combinations of values; one empty change when there are no values."""
    if not isinstance(table, dict):
        raise bad(where, key, "must be a table of keys and lists of values")
    each = [numbers(values, where, f"{key}.{word}") for word, values in table.items()]
    if math.prod(map(len, each)) > MOST_PARTS:
        raise bad(where, key, f"has more than {MOST_PARTS:,} combinations; list fewer values")
    made = []
    for values in itertools.product(*each):
        change: dict[str, Any] = {}
        for word, value in zip(table, values, strict=True):
            for section, part in _change(word, value, where, key).items():
                change.setdefault(section, {}).update(part)
        made.append(change)
    return made


def _change(word: Any, value: Any, where: str, key: str) -> dict[str, Any]:
    place = section_of(word) if isinstance(word, str) else None
    if place is None:
        raise bad(where, key, f"{shown(word)} is no key of a scenario")
    return {place[0]: {place[1]: value}}


EXTRAS = {"vacuum": "vacuum at the hole", "most_on_a_hole": "most seeds that joined one cell"}
KINDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {  # required and optional keys
    "level": (("published",), ("at", "measure", "terms", "within", "group")),
    "order": (("terms",), ()),
    "same": (("terms", "within"), ()),
    "bound": ((), ("at", "measure", "terms", "above", "below")),
    "plateau": (("of", "published"), ()),
    "plateau order": (("of", "over"), ()),
    "straight": (("of", "measure", "sign"), ()),
    "reach": (("of", "hole_mm", "vacuum_kpa", "published"), ()),
    "reach order": (("of", "hole_mm", "vacuum_kpa"), ()),
}
NUMBERS = ("published", "within", "above", "below", "sign")
REACHED = (("hole_mm", "disc", "hole_diameter"), ("vacuum_kpa", "vacuum", "vacuum"))
MEAN = "spacing.mean"
SPREADS = ("precision", "spacing.cv")  # measures that are an SD over a length
NEAR = 0.01  # relative distance of a vacuum from a third of the best, or three times it
LEAST_OF_A_LINE = 3  # values that a straight line needs


@dataclass(frozen=True)
class Term:
    """A measure of one condition, with its weight in a sum."""

    weight: float
    condition: str
    measure: str


@dataclass(frozen=True)
class Row:
    """A published statement about a sum of measures.

    Attributes
    ----------
    name, kind : str
        Name in words, and one of `KINDS`.
    terms : tuple of Term
        Terms of the sum of measures.
    stated : mapping
        Other keys of its kind, as the file states them.
    """

    name: str
    kind: str
    terms: tuple[Term, ...] = ()
    stated: Mapping[str, Any] = field(default_factory=dict)

    def number(self, key: str) -> float:
        """A number that the row states, in the unit of its table."""
        return float(self.stated[key])

    @property
    def measure(self) -> str:
        """Measure of the statement."""
        return self.terms[0].measure if self.terms else str(self.stated.get("measure", ""))


def read_rows(
    tables: Sequence[Mapping[str, Any]], conditions: Mapping[str, Condition], where: str
) -> tuple[Row, ...]:
    """The rows of a case file; raises `BadInput`."""

    def read(k: int) -> Row:
        return _row(tables[k], conditions, where, f"rows[{k + 1}]")

    rows = tuple(all_of(*(partial(read, k) for k in range(len(tables)))))
    first: dict[str, int] = {}
    for k, row in enumerate(rows, 1):
        if first.setdefault(row.name, k) != k:
            message = f"'{row.name}' is the name of rows[{first[row.name]}] too; name each apart"
            raise bad(where, f"rows[{k}].name", message)
    return rows


def _row(
    table: Mapping[str, Any], conditions: Mapping[str, Condition], where: str, key: str
) -> Row:
    name, kind = table.get("name"), table.get("kind")
    if not is_name(name):
        raise bad(where, f"{key}.name", f"missing or not a text; give {A_NAME}")
    if not is_one_of(kind, KINDS):
        raise bad(where, f"{key}.kind", f"missing or unknown; {hint_of(kind, KINDS)}")
    needed, possible = KINDS[kind]
    stated = {k: v for k, v in table.items() if k not in ("name", "kind")}
    for word in stated:
        if word not in (*needed, *possible):
            raise bad(where, f"{key}.{word}", f"unknown; {hint(word, (*needed, *possible))}")
    for word in needed:
        if word not in stated:
            raise bad(where, f"{key}.{word}", f"missing; a row of kind '{kind}' needs it")
    for word in NUMBERS:
        if word in stated:
            a_number(stated[word], where, f"{key}.{word}", 0.0 if word == "within" else -GREATEST)
    if "sign" in stated and stated["sign"] not in (1, -1):
        raise bad(where, f"{key}.sign", f"{stated['sign']} is not allowed; give 1 or -1")
    if "group" in stated and not is_name(stated["group"]):
        raise bad(where, f"{key}.group", f"must be {A_NAME}")
    if kind == "bound" and ("above" in stated) == ("below" in stated):
        raise bad(where, key, "give either above or below")
    terms = _terms(stated, conditions, where, key) if "terms" in (*needed, *possible) else ()
    if kind in ("plateau", "reach"):
        a_positive(stated["published"], where, f"{key}.published")
    if kind == "level" and "within" not in stated and not _has_usual_tolerance(terms):
        raise bad(where, f"{key}.within", "missing; there is no usual one for such a measure")
    for word in ("of", "over"):
        if word in stated:
            _check_of(stated[word], kind, conditions, where, f"{key}.{word}")
    if kind == "plateau":
        run = [c.value for c in conditions.values() if c.of == stated["of"]]
        _check_vacuums(stated["published"], run, where, f"{key}.of")
    if kind == "straight":
        _measure(stated["measure"], where, f"{key}.measure")
    if kind.startswith("reach"):
        for word, section, field in REACHED:
            _check_reached(stated[word], kind, section, field, where, f"{key}.{word}")
    return Row(name, kind, terms, stated)


def _check_of(
    name: Any, kind: str, conditions: Mapping[str, Condition], where: str, key: str
) -> None:
    """Refuse a condition that does not suit a kind of row."""
    if kind.startswith("reach"):
        if not is_one_of(name, conditions):
            raise bad(where, key, f"no such condition; {hint_of(name, conditions)}")
        return
    varied = {c.of: c.key for c in conditions.values() if c.key}
    if not is_one_of(name, varied):
        raise bad(where, key, f"no such condition that varies a key; {hint_of(name, varied)}")
    values = [c.value for c in conditions.values() if c.key and c.of == name]
    if kind == "straight" and len(values) < LEAST_OF_A_LINE:
        raise bad(where, key, f"'{name}' has {len(values)} values; a line needs {LEAST_OF_A_LINE}")
    if kind.startswith("plateau") and (varied[name] != "vacuum_kpa" or min(values) <= 0):
        raise bad(where, key, f"'{name}' must vary vacuum_kpa, above 0, to have a plateau")


def _check_vacuums(best: float, run: Sequence[float], where: str, key: str) -> None:
    """Refuse a plateau that lacks one of the vacuums by which it is judged. [kPa]"""
    for vacuum in (best / 3, best, 3 * best):
        if not any(abs(value / vacuum - 1) < NEAR for value in run):
            raise bad(
                where, key, f"is not run at {vacuum:.4g} kPa, by which it is judged; vary it so"
            )


def _has_usual_tolerance(terms: Sequence[Term]) -> bool:
    """Whether all terms of a level are shares, or all are mean spacings."""
    measures = {term.measure for term in terms}
    shares = all(name in BY_KEY and BY_KEY[name].kind == "share" for name in measures)
    return shares or measures == {MEAN}


def _check_reached(given: Any, kind: str, section: str, field: str, where: str, key: str) -> None:
    """Refuse a wrong hole or vacuum; an order needs two rising values."""
    spec = specs(SECTIONS[section])[field]
    values = given if kind == "reach order" else [given]
    if kind == "reach order" and (not isinstance(given, list) or len(given) != 2):
        raise bad(where, key, "must be a list of two numbers, such as [4, 8]")
    for value in values:
        a_positive(value, where, key)
        if wrong := spec.complaint(value, next(iter(spec.keys.values()))):
            raise bad(where, key, wrong)
    if kind == "reach order" and values[0] >= values[1]:
        raise bad(where, key, f"{shown(given)} does not rise; give the lower number first")


def _terms(
    stated: Mapping[str, Any], conditions: Mapping[str, Condition], where: str, key: str
) -> tuple[Term, ...]:
    given = stated.get("terms")
    if given is None:
        given = [[1, stated.get("at"), stated.get("measure")]]
    elif "at" in stated or "measure" in stated:
        raise bad(where, key, "give either terms, or at and measure")
    if not isinstance(given, list) or not given:
        raise bad(where, f"{key}.terms", 'must read [[1, "condition", "measure"], ...]')
    found = []
    for term in given:
        if not isinstance(term, list) or len(term) != 3:
            raise bad(where, f"{key}.terms", 'must read [[1, "condition", "measure"], ...]')
        weight, condition, measure = term
        a_number(weight, where, f"{key}.terms")
        if not is_one_of(condition, conditions):
            known = hint_of(condition, conditions)
            raise bad(where, key, f"{shown(condition)} is no condition; {known}")
        found.append(Term(weight, condition, _measure(measure, where, key)))
    return tuple(found)


def _measure(measure: Any, where: str, key: str) -> str:
    if not is_one_of(measure, {**BY_KEY, **EXTRAS}):
        known = hint_of(measure, (*BY_KEY, *EXTRAS))
        raise bad(where, key, f"{shown(measure)} is no measure; {known}")
    return str(measure)
