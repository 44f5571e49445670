"""Conditions that a published case tested, and what its files may say of them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeGuard

from metersim.files.faults import BadInput, Fault, bad, hint
from metersim.files.fields import Checked, number, read_section, shown, specs
from metersim.files.unknown import Unknown, read_unknown
from metersim.machine.changes import section_of
from metersim.machine.reading import layered
from metersim.machine.scenario import Scenario
from metersim.machine.sections import Demand, Disc

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


def a_count(value: Any, where: str, key: str, most: int) -> int:
    """A whole number from 1 on; raises `BadInput`."""
    right = isinstance(value, int) and not isinstance(value, bool)
    if not right or not 1 <= value <= most:
        message = f"{shown(value)} is not allowed; give a whole number from 1 to {most:,}"
        raise bad(where, key, message)
    return int(value)


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


@dataclass(frozen=True, kw_only=True)
class OfTheDisc(Checked):
    """What a source may state of a disc in place of the seeding rate and the hole's diameter."""

    rev_min: float | None = number(
        "", 0.1, 1000, "turns of the disc in a minute, in place of the seeding rate", optional=True
    )
    hole_over_width: float | None = number(
        "", 0.01, 0.99, "hole diameter over the width of the mean seed", optional=True
    )


@dataclass(frozen=True)
class Condition:
    """A condition that a source tested.

    Attributes
    ----------
    name : str
        Name by which rows refer to it.
    parts : tuple of Scenario
        Scenarios to run; results are averaged over them.  `unknown` and `drawn` take one of them.
    critical : tuple of float, optional
        Share of empty cells, and factor on the vacuum that leaves this share.
    of, key, value : str, str, float
        Name of the varied condition in the file, its varied key, and the value of this key.
        Empty and nan when no key is varied.
    rev_min : float or Unknown, optional
        Turns of the disc in a minute, where they give the seeding rate.
    """

    name: str
    parts: tuple[Scenario, ...]
    critical: tuple[float, float] | None = None
    of: str = ""
    key: str = ""
    value: float = math.nan
    rev_min: float | Unknown | None = None

    def unknown(self, part: Scenario) -> tuple[Unknown, ...]:
        """Uncertain inputs of a part: those of its scenario, then the turns of the disc."""
        return (*part.unknown, *([self.rev_min] if isinstance(self.rev_min, Unknown) else []))

    def drawn(self, part: Scenario, places: Sequence[float]) -> Scenario:
        """A part with one value for each of its uncertain inputs.

        Parameters
        ----------
        part : Scenario
            One of `parts`.
        places : sequence of float
            One number for each of `unknown`, as for `metersim.files.unknown.Unknown.at`.

        Raises
        ------
        BadInput
            If the values contradict one another.
        """
        made = part.drawn(places[: len(part.unknown)])
        if self.rev_min is None:
            return made
        rev_min = self.rev_min
        return turning(made, rev_min.at(places[-1]) if isinstance(rev_min, Unknown) else rev_min)


def turning(scenario: Scenario, rev_min: float) -> Scenario:
    """The scenario with the seeding rate of a disc that turns so many times a minute.

    Notes
    -----
    The seeding rate is ``rev_min / 60 * cells / (speed * row_spacing)``.
    """
    demand = scenario.demand
    rate = rev_min / 60 * scenario.disc.cells / (demand.speed * demand.row_spacing)
    return scenario.replace(demand__rate=rate)


def with_hole(scenario: Scenario, share: float | Unknown) -> Scenario:
    """The scenario with a hole of a share of the mean seed's width, or with a range of holes."""
    width_mm = scenario.seeds.width * 1e3
    if not isinstance(share, Unknown):
        return scenario.replace(disc__hole_diameter=share * width_mm * 1e-3)
    stated = tuple(float(f"{one * width_mm:.6g}") for one in share.stated)
    holes = Unknown("disc", *HOLE, share.form, stated)
    made = scenario.replace(disc__hole_diameter=holes.middle)
    return replace(made, unknown=(*made.unknown, holes))


HOLE = ("hole_diameter_mm", specs(Disc)["hole_diameter"])
PLACES = {  # of a key of `OfTheDisc`: section and field of which it stands in place
    "rev_min": ("demand", specs(Demand)["rate"]),
    "hole_over_width": ("disc", HOLE[1]),
}
STAND_INS: dict[str, dict[str, Any]] = {
    "rev_min": {"rate_per_ha": 50000},
    "hole_over_width": {"hole_diameter_mm": 0.3},
}


def read_conditions(table: Mapping[str, Any], path: Path) -> dict[str, Condition]:
    """The conditions of a case file by name; raises `BadInput`."""
    where = str(path)
    usual = {"title": path.stem, **table["scenario"]}
    usual, of_all = _of_the_disc(usual, (), where, "scenario")
    found: dict[str, Condition] = {}
    for name, own in table["conditions"].items():
        key = f"conditions.{name}"
        if not is_name(name):
            raise bad(where, key, f"the name must be {A_NAME}")
        if not isinstance(own, dict):
            raise bad(where, key, "must be a table of changes")
        changes = {k: v for k, v in own.items() if k not in ("vary", "mean", "critical")}
        critical = _critical(own.get("critical"), where, f"{key}.critical")
        mean = _grid(own.get("mean", {}), where, f"{key}.mean")
        word, values = _varied(own.get("vary"), where, f"{key}.vary")
        moved = [mean[0], *([_change(word, values[0], where, f"{key}.vary")] if word else [])]
        changes, of_this = _of_the_disc(changes, moved, where, key)
        kept = {one: v for one, v in of_all.items() if not _states(one, [changes, *moved])}
        disc = kept | of_this
        for value in values:
            label = f"{name} {value:g}" if word else name
            if len(found) == MOST_CONDITIONS:
                message = f"has more than {MOST_CONDITIONS:,}; give several case files"
                raise bad(where, "conditions", message)
            if label in found:
                raise bad(where, key, f"'{label}' is there twice; name every condition once")
            varied = _change(word, value, where, f"{key}.vary") if word else {}
            laid = [(usual, changes, varied, part, *_stand_ins(disc)) for part in mean]
            parts = tuple(_made(layered(one, path, label), disc, where, key) for one in laid)
            if (most := max(part.passages for part in parts)) > MOST_CELLS:
                message = f"its runs have {most:,} cells; give turns for at most {MOST_CELLS:,}"
                raise bad(where, key, message)
            rev_min = disc.get("rev_min")
            found[label] = Condition(label, parts, critical, name, word, value, rev_min)
    return found


def _of_the_disc(
    table: Mapping[str, Any], moved: Sequence[Mapping[str, Any]], where: str, key: str
) -> tuple[dict[str, Any], dict[str, Any]]:
    """A table without the keys of `OfTheDisc`, and their values; raises `BadInput`."""
    declared = specs(OfTheDisc)
    own = {word: value for word, value in table.items() if word in declared}
    rest = {word: value for word, value in table.items() if word not in declared}
    values, faults = read_section(declared, own, where, key, partial(read_unknown, "case"))
    for word in own:
        if stated := _states(word, [rest, *moved]):
            message = f"states the same as {stated}; give only one of them"
            faults.append(Fault(where, f"{key}.{word}", message))
    if faults:
        raise BadInput(faults)
    return rest, values


def _states(word: str, tables: Iterable[Mapping[str, Any]]) -> str:
    """The key of a scenario by which tables state what a key of `OfTheDisc` gives, or nothing."""
    section, spec = PLACES[word]
    parts = [part for table in tables if isinstance(part := table.get(section), dict)]
    return next((key for part in parts for key in spec.keys if key in part), "")


def _stand_ins(disc: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Values that fill a scenario until `_made` puts the right ones in their place."""
    return [{PLACES[word][0]: dict(STAND_INS[word])} for word in disc]


def _made(scenario: Scenario, disc: Mapping[str, Any], where: str, key: str) -> Scenario:
    """The scenario with the keys of `OfTheDisc`; raises `BadInput`."""
    try:
        if "hole_over_width" in disc:
            scenario = with_hole(scenario, disc["hole_over_width"])
        if "rev_min" in disc:
            rev_min = disc["rev_min"]
            middle = rev_min.middle if isinstance(rev_min, Unknown) else rev_min
            scenario = turning(scenario, middle)
    except BadInput as error:
        raise BadInput(Fault(where, key, str(fault)) for fault in error.faults) from None
    return scenario


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
