"""Statements of a published case: the rows of its table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from metersim.files.faults import all_of, bad, hint
from metersim.files.fields import shown, specs
from metersim.machine.sections import SECTIONS
from metersim.measures.indices import BY_KEY
from metersim.questions.shared.conditions import (
    A_NAME,
    GREATEST,
    Condition,
    a_count,
    a_number,
    a_positive,
    hint_of,
    is_name,
    is_one_of,
)

EXTRAS = {"vacuum": "vacuum at the hole", "most_on_a_hole": "most seeds that joined one cell"}
KINDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {  # required and optional keys
    "level": (("published",), ("at", "measure", "terms", "within", "group", "spacings")),
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
NEAR = 0.01  # relative distance of a vacuum from a third of the best, or three times it
MOST_SPACINGS = 1_000_000  # that a source counted for one number
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

    @property
    def spacings(self) -> int | None:
        """Number of spacings that the source counted; None where it does not say."""
        return self.stated.get("spacings")

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
    if "spacings" in stated:
        a_count(stated["spacings"], where, f"{key}.spacings", MOST_SPACINGS)
    if "group" in stated and not is_name(stated["group"]):
        raise bad(where, f"{key}.group", f"must be {A_NAME}")
    if kind == "bound" and ("above" in stated) == ("below" in stated):
        raise bad(where, key, "give either above or below")
    terms = _terms(stated, conditions, where, key) if "terms" in (*needed, *possible) else ()
    if kind in ("plateau", "reach"):
        a_positive(stated["published"], where, f"{key}.published")
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
