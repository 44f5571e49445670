"""Causes of uneven spacing in a result, and the limits of the published cases."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

from metersim.files.faults import BadInput, Fault, all_of, bad, hint
from metersim.files.fields import Spec, count, number, shown, specs
from metersim.files.units import UNITS, Unit, sentence_number
from metersim.machine.airline import chamber_vacuum
from metersim.machine.losses import CODES, LOSSES, LOW_POOL, POOL_EMPTY, WORDS_OF_CAUSES
from metersim.machine.scenario import Scenario
from metersim.machine.sections import SECTIONS
from metersim.machine.seedlot import read_toml, usual_crop
from metersim.measures.estimates import Measured

PUBLISHED = Path(__file__).parents[1] / "data" / "published"
SLACK = 0.05  # share of an end by which a value may lie outside a range
COVERS = re.compile(r"^\[+covers\]+.*(?:\n[^\[\n].*)*$", re.MULTILINE)
"""A table ``[covers]`` of a shipped case, up to an empty line."""
MOST = 4  # most lines, so that they do not hide a result
SURFACES = {"bench": "on a bench", "field": "in a field"}


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Conditions that a source may state, and that a scenario has."""

    speed: float = number("kmh mph", 0.5, 30, "travel speed")
    spacing: float = number("cm in", 0.1, 1000, "spacing")
    peripheral_speed: float = number("m_s ft_s", 0, 10, "speed of the holes")
    frequency: float = number("per_s", 0, 1000, "cells a second")
    cells: int = count(4, 400, "number of cells")
    vacuum: float = number("kpa inh2o", 0, 15, "vacuum")

    @classmethod
    def of(cls, scenario: Scenario) -> Conditions:
        """Conditions of a scenario, at the middle of its input uncertainty.

        Where speed or rate change along the pass, speeds are those of the fastest moment.
        """
        way = scenario.way
        speed, turning = way.fastest if way else (scenario.demand.speed, 1.0)
        return cls(
            speed=speed,
            spacing=scenario.spacing,
            peripheral_speed=scenario.peripheral_speed * turning,
            frequency=scenario.cell_rate * turning,
            cells=scenario.disc.cells,
            vacuum=chamber_vacuum(scenario),
        )


STATED = specs(Conditions)
KEYS = {next(iter(spec.keys)): spec for spec in STATED.values()}  # of [covers], in this unit
OF_THE_ROW = ("speed",)  # differ between bench and field; the rest belong to the meter
MOVED_BY = {  # settings that users would change to change a condition
    "speed": ("demand.speed",),
    "spacing": ("demand.rate", "demand.row_spacing"),
    "peripheral_speed": ("disc.cells", "disc.circle_radius", "demand.speed"),
    "frequency": ("demand.rate", "demand.row_spacing", "demand.speed"),
    "cells": ("disc.cells",),
    "vacuum": ("vacuum.vacuum",),
}


@dataclass(frozen=True)
class Cover:
    """Range of conditions that a published case covers.

    Attributes
    ----------
    crops : tuple of str
        Crops of the case; none if it covers nothing.
    surface : str
        ``bench`` or ``field``; empty for both.
    ranges : mapping of str to tuple of float
        Least and greatest value of each of `Conditions` that the source states, in SI.
    """

    crops: tuple[str, ...]
    surface: str
    ranges: Mapping[str, tuple[float, float]]


def read_covers(path: Path) -> list[Cover]:
    """Read the covers of a case file; raises `BadInput` with every fault found."""
    return covers_of(read_toml(path).get("covers"), str(path))


def covers_of(table: Any, where: str) -> list[Cover]:
    """Read a table ``[covers]`` of a file, or a list of them; raises `BadInput`."""
    tables: list[Any] = table if isinstance(table, list) else [table]
    if not all(isinstance(one, dict) for one in tables):
        message = "missing or no table; give [covers], empty when the case covers nothing"
        raise bad(where, "covers", message)
    return all_of(*(partial(_cover, one, where) for one in tables))


def _cover(table: Mapping[str, Any], where: str) -> Cover:
    faults = [
        Fault(where, f"covers.{key}", wrong)
        for key, value in table.items()
        if (wrong := _wrong(key, value))
    ]
    if faults:
        raise BadInput(faults)
    low_high = {KEYS[key]: ends for key, ends in table.items() if key in KEYS}
    return Cover(
        crops=tuple(usual_crop(crop.casefold()) for crop in table.get("crops", ())),
        surface=table.get("surface", ""),
        ranges={
            spec.name: (_si(spec, low), _si(spec, high)) for spec, (low, high) in low_high.items()
        },
    )


def _wrong(key: str, value: Any) -> str | None:
    """Words for what is wrong with a key of ``[covers]``; None if it is right."""
    if key == "crops":
        right = isinstance(value, list) and all(isinstance(crop, str) and crop for crop in value)
        return None if right and value else 'must be a list of texts, such as ["maize"]'
    if key == "surface":
        return specs(SECTIONS["furrow"])["surface"].complaint(value)
    if key not in KEYS:
        return f"unknown key; {hint(key, ('crops', 'surface', *KEYS))}"
    spec, unit = KEYS[key], KEYS[key].keys[key]
    if not isinstance(value, list) or len(value) != 2:
        return f"{shown(value)} is not allowed; give a range, [low, high]"
    if found := [wrong for end in value if (wrong := spec.complaint(end, unit))]:
        return found[0]
    return None if value[0] <= value[1] else f"{shown(value)} falls; give [low, high]"


def _si(spec: Spec, end: float) -> float:
    return float(spec.to_si(end, next(iter(spec.keys.values()))))


@cache
def shipped_covers() -> tuple[Cover, ...]:
    """The covers of the shipped cases."""
    return tuple(
        cover
        for path in sorted(PUBLISHED.glob("*.toml"))
        for cover in covers_of(_covers_alone(path).get("covers"), str(path))
    )


def _covers_alone(path: Path) -> dict[str, Any]:
    """Tables ``[covers]`` of a shipped case; to read all of the cases takes four times as long."""
    return tomllib.loads("\n".join(COVERS.findall(path.read_text(encoding="utf-8"))))


def key_of(place: str, units: str) -> str:
    """The key that people type for a setting, given as section and field."""
    section, _, name = place.partition(".")
    return _written(specs(SECTIONS[section])[name], units)[0]


def outside(
    scenario: Scenario,
    units: str = "metric",
    most: int = MOST,
    named: Callable[[str, str], str] = key_of,
) -> list[str]:
    """Keys in which a scenario lies outside all published cases of its crop, in words.

    A value is inside if it lies between the least and the greatest value in cases of the crop.
    Other conditions of the cases do not matter.  For travel speed, only cases on the same surface
    count.

    Parameters
    ----------
    scenario : Scenario
        Judged at the middle of its input uncertainty.
    units : str
        ``metric`` or ``us``.
    most : int
        Most lines, 2 or more; one line sums up the rest.
    named : callable
        Name of a setting, from its section and field and the units; by default its key.

    Returns
    -------
    list of str
        One line per key, or a single line if no case has the crop.

    Examples
    --------
    >>> import metersim as m
    >>> from metersim.measures.limits import outside
    >>> outside(m.load_scenario("sunflower", ["lot=milo", "hole_diameter_mm=2"]))
    ['no published case has sorghum: the prediction rests on other crops']
    """
    crop, place = scenario.lot.crop, SURFACES[scenario.furrow.surface]
    covers = [cover for cover in shipped_covers() if crop.casefold() in cover.crops]
    if not covers:
        return [f"no published case has {crop}: the prediction rests on other crops"]
    lines: list[str] = []
    said: list[str] = []
    unstated: list[Spec] = []
    at = Conditions.of(scenario)
    for name, spec in STATED.items():
        of_the_row = name in OF_THE_ROW
        ends = _union(
            cover.ranges[name]
            for cover in covers
            if name in cover.ranges
            and (not of_the_row or cover.surface in ("", scenario.furrow.surface))
        )
        value = getattr(at, name)
        if ends is None:
            unstated.append(spec)
        elif not ends[0] * (1 - SLACK) <= value <= ends[1] * (1 + SLACK):
            cases = f"published cases of {crop}{f' {place}' if of_the_row else ''}"
            keys = ", ".join(named(place, units) for place in MOVED_BY[name])
            text = _outside_text(spec, value, ends, units, cases)
            lines.append(f"{text} (set by {keys})")
            said.append(spec.meaning)
    room = most - bool(unstated)
    if len(lines) > room:
        rest = ", ".join(said[room - 1 :])
        lines[room - 1 :] = [f"outside what published cases of {crop} cover: {rest}"]
    if unstated:
        lines.append(f"no published case of {crop} states {_unstated_text(unstated, place)}")
    return lines


def _union(ranges: Iterable[tuple[float, float]]) -> tuple[float, float] | None:
    """Least and greatest end of ranges; None if there are no ranges."""
    every = list(ranges)
    if not every:
        return None
    return min(low for low, _ in every), max(high for _, high in every)


def _outside_text(
    spec: Spec, value: float, ends: tuple[float, float], units: str, cases: str
) -> str:
    """A value outside its range, in words: the value and the range."""
    unit = _written(spec, units)[1]
    symbol = unit.symbol if unit else ""
    # three digits distinguish every value beyond the slack from the end of the range
    at, low, high = (
        sentence_number(unit.from_si(number) if unit else number, 3) for number in (value, *ends)
    )
    span = f"{low} {symbol}" if low == high else f"{low} to {high} {symbol}"
    value_text = f"{spec.meaning} {at} {symbol}".strip()
    return f"{value_text} is outside {cases}: {span.strip()}"


def _unstated_text(unstated: Iterable[Spec], place: str) -> str:
    """Conditions that cases do not state, in words; those of bench or field come last."""
    names = {spec.name: spec.meaning for spec in unstated}
    of_the_row = " and ".join(names.pop(name) for name in OF_THE_ROW if name in names)
    return ", ".join([*names.values(), *([f"{of_the_row} {place}"] if of_the_row else [])])


def _written(spec: Spec, units: str) -> tuple[str, Unit | None]:
    """Key and unit of a field for a user of metric or US units."""
    every = spec.keys.items()
    return next(((key, u) for key, u in every if u and u.family == units), next(iter(every)))


RELEASE_CEILING = 16.0  # seeds/s, maize and cotton, onal2012
SPEED_CEILING = 0.34  # m/s at the holes, maize and cotton, onal2012 (from memory)
STUDIED_CROPS = ("maize", "cotton")
HOLE_SPEED = {"metric": UNITS["m_s"], "us": UNITS["ft_s"]}  # as printed
RESERVE = (
    "most published best vacuums lie in the upper half of the model's plateau: keep some vacuum in "
    "reserve"
)

CAUSES = {CODES[loss.name]: WORDS_OF_CAUSES[loss.cause] for loss in LOSSES}
UNOBSERVED = {"pulses": "seeds without a pulse", "plants": "seeds that did not come up"}
DOUBLES, SCATTER, HOPPER = (WORDS_OF_CAUSES[name] for name in ("doubles", "scatter", "hopper"))
STARVED = (LOW_POOL, POOL_EMPTY)  # reasons that count to the hopper once it is empty


@dataclass(frozen=True)
class Cause:
    """A cause of uneven spacing, with its share.

    Attributes
    ----------
    name : str
        The cause in words.
    share : float
        Share of all spacings that it makes too short or too long.  Without spacings, it is a share
        of the cells. [1]
    """

    name: str
    share: float


def causes(measured: Measured) -> list[Cause]:
    """Causes of multiples and misses, the largest share first.

    A hopper that runs empty comes before all others, as it ends the row.  Skips of a low or empty
    pool from there on count to it, and so does each cell behind the last seed, as if another
    spacing were missed there.

    Without scatter, a run of skips of any length between two seeds makes one miss.  Each seed of a
    cell beyond its first makes one multiple.  So a miss counts to the reason of the last cell of
    its run.  The multiples of cells count to the singulator.  All other multiples and misses count
    to scatter.  Each seed that the observer does not find makes one miss, or one multiple fewer.
    With independent skips in a share m of the cells, and e extra seeds per cell, the
    misses from cells are ``m (1 - m) / (1 - m + e)`` of the spacings.
    """
    spacings = measured.total("spacings")
    lost = measured.gaps if spacings else measured.reasons  # a run of skips alone has cells only
    counts = dict.fromkeys(CAUSES.values(), 0)
    for reason, name in CAUSES.items():
        counts[name] += int(lost[reason])
    if spacings:
        counts[DOUBLES] = measured.total("seeds") - (
            measured.total("cells") - measured.total("none")
        )
        if hidden := UNOBSERVED.get(measured.scenario.observed):
            counts[hidden] = measured.total("seeds") - spacings - len(measured.tallies)
        counts[SCATTER] = spacings - measured.total("class2") - sum(counts.values())
    whole = spacings or measured.total("cells")
    if spacings and (ends := [part.emptied for part in measured.tallies if part.emptied]):
        for reason in STARVED:
            late = sum(end.gaps[reason] for end in ends)
            counts[CAUSES[reason]] -= late
            counts[HOPPER] = counts.get(HOPPER, 0) + late
        tail = sum(end.tail for end in ends)
        counts[HOPPER] += tail
        whole += tail
    found = [Cause(name, count / whole) for name, count in counts.items() if count > 0]
    return sorted(found, key=lambda cause: (cause.name != HOPPER, -cause.share))


def cautions(
    scenario: Scenario, units: str = "metric", named: Callable[[str, str], str] = key_of
) -> list[str]:
    """Lines that say where a scenario lies outside the published cases.

    `named` is as for `outside`.
    """
    found = []
    if scenario.lot.crop in STUDIED_CROPS:
        study = "above the range of onal2012 (maize and cotton)"
        made = Conditions.of(scenario)
        if made.frequency > RELEASE_CEILING:
            found.append(
                f"{made.frequency:.1f} seeds a second is over {RELEASE_CEILING:g}: {study}"
            )
        if made.peripheral_speed > SPEED_CEILING:
            unit = HOLE_SPEED[units]
            at, ceiling = map(unit.from_si, (made.peripheral_speed, SPEED_CEILING))
            found.append(
                f"{at:.3f} {unit.symbol} at the holes is over {ceiling:.4g} (from memory): {study}"
            )
    return found + outside(scenario, units, MOST - len(found), named)
