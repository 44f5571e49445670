"""Conditions of a published case: what was tested, each as a change of the case's scenario.

A condition may vary a key, be averaged over combinations of values, and use a multiple of the
vacuum that leaves a given share of the cells empty.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from metersim.faults import bad
from metersim.fields import shown
from metersim.reading import layered, section_of
from metersim.scenario import Scenario
from metersim.studies.published.casewords import A_NAME, a_positive, is_name, numbers

MOST_PARTS = 1000  # that a condition averages over
MOST_CONDITIONS = 1000  # of a file; reading one takes some milliseconds
MOST_CELLS = 3_000_000  # of a run, whose records are all kept


@dataclass(frozen=True)
class Condition:
    """Something that a source tested.

    Attributes
    ----------
    name : str
        As rows call it.
    parts : tuple of Scenario
        What is run; results are averaged over them.
    critical : tuple of float, optional
        Share of empty cells, and how many times the vacuum that leaves it is used.
    of, key, value : str, str, float
        The condition of the file that varies a key, that key, and its value here; empty and nan
        when nothing is varied.
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
    """The key that a condition varies, and its values; no key and one nan when there is none."""
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
    """Changes of all combinations of values; one that changes nothing, when there are none."""
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
