"""Answer of a comparison: what changes, in a few sentences and a table."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from metersim.files.fields import Spec, keys_of, specs
from metersim.files.typed import typed_number
from metersim.files.units import as_written, hole_text
from metersim.machine.sections import SECTIONS
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import Estimate
from metersim.measures.plants import BY_NAME
from metersim.measures.yields import Harvest
from metersim.questions.compare.study import Comparison
from metersim.questions.compare.text import report, unlike
from metersim.questions.shared.answer import (
    UNDETECTED,
    Answer,
    alike,
    capital,
    change_told,
    is_distinct,
    movement,
    small,
)
from metersim.questions.shared.hedges import NONE, fixed_words
from metersim.questions.shared.notes import decisive, level_text, settings_text
from metersim.questions.shared.partwords import change_note
from metersim.questions.shared.plantwords import NAMES, change_sentences
from metersim.questions.shared.rowwords import of_hundred
from metersim.questions.shared.words import FIRST, WIDE, aligned, shown

QUALITY = ("per_spacing.quality", "normal spacings")
METER = (("cells.skip", "skips"), ("cells.double", "doubles"))
LONGEST = 12  # letters of a value in a name
ORDINAL = ("first", "second", "third", "fourth", "fifth")
PAIR = 2
MOST = 2  # others that sentences compare with the first
STAND = ("plants.per_area", "places.none")
OF_METER = 6  # rows of `FIRST` beside those of the stand


def summary(
    result: Comparison, units: str = "metric", harvest: Harvest = NONE, details: bool = False
) -> str:
    """The answer of a comparison; with details also the whole report.

    Parameters
    ----------
    result : Comparison
        Comparison of two or more scenarios.
    units : str
        ``metric`` or ``us``.
    harvest : Harvest
        Expected yield and price, for the yield of plants.
    details : bool
        Whether to add the report.
    """
    names = named(result.labels, units)
    settings = settings_text((one.scenario for one in result.measured), units)
    posterior = result.spreads[0].posterior
    kept = [f"{posterior.title if posterior else 'usual machine'}, the same in all", settings]
    unknown = dict.fromkeys(
        one.text(units) for part in result.measured for one in part.scenario.unknown
    )
    made = Answer(
        first=_sentences(result, names, units, harvest),
        notes=_notes(result, names, units),
        table=_table(result, names, units),
        assumes="; ".join(filter(None, [*kept, *unknown, *fixed_words(*result.stands)])) + ".",
        details=report(result, units, harvest, details).splitlines(),
    )
    if len(result.stands) == PAIR:
        made = made.with_note(change_note(result.stand_changes[0], result.stands[0]))
    return made.text(details)


@dataclass(frozen=True)
class Named:
    """Name of a compared scenario.

    Attributes
    ----------
    label : str
        Label of the comparison, such as ``speed_mph=5`` or the name of a scenario.
    what, value, unit : str
        Varied key in words, its value and its unit, or empty.
    """

    label: str
    what: str = ""
    value: str = ""
    unit: str = ""

    @property
    def short(self) -> str:
        """Value with its unit, or with the name of the key if it has none."""
        if not self.what:
            return self.label
        return f"{self.value} {self.unit}" if self.unit else f"{self.what} {self.value}"

    def to(self, other: Named) -> str:
        """The change from this scenario to another, such as ``Speed 5 to 7 mph``."""
        if self.what and (self.what, self.unit) == (other.what, other.unit):
            return capital(f"{self.what} {self.value} to {other.value} {self.unit}".strip())
        return f"{self.short} to {other.short}"

    def less(self, other: Named) -> str:
        """This scenario less another, such as ``7 less 5 mph``."""
        if self.unit and (self.what, self.unit) == (other.what, other.unit):
            return f"{self.value} less {other.value} {self.unit}"
        return f"{self.short} less {other.short}"


def named(labels: Sequence[str], units: str = "metric") -> list[Named]:
    """Names of scenarios in words and in the reader's units, from the labels of a comparison."""
    fields = {key: spec for kind in SECTIONS.values() for key, spec in keys_of(specs(kind)).items()}
    made = []
    for label in labels:
        key, _, value = (part.strip() for part in label.partition("="))
        bare = key.rpartition(".")[2]
        spec = fields.get(bare)
        is_plain = spec and value and len(value) <= LONGEST
        made.append(_named(label, spec, bare, value, units) if spec and is_plain else Named(label))
    return made


def _named(label: str, spec: Spec, key: str, value: str, units: str) -> Named:
    """Name of a scenario that was made by a change of one key."""
    what, stated = spec.name.replace("_", " "), spec.keys[key]
    unit = spec.unit_for(units, stated)
    number = typed_number(value)
    if unit is None or stated is None or number is None:
        return Named(label, what, value, stated.symbol if stated else "")
    if spec.name == "hole_diameter":
        return Named(label, what, hole_text(stated.to_si(number), units))
    said = value if unit == stated else as_written(unit.from_si(stated.to_si(number)))
    return Named(label, what, said, unit.symbol)


def _sentences(
    result: Comparison, names: Sequence[Named], units: str, harvest: Harvest
) -> list[str]:
    """What changes from the first scenario to the others, and the main cause at the last."""
    found = []
    is_pair = len(names) == 2
    for k, differences in enumerate(result.differences[:MOST]):
        quality = movement(QUALITY[1], "share", differences[QUALITY[0]], units)
        said = [quality, _meter(differences, units)] if is_pair else [quality]
        if result.stands:
            stands = (result.stands[0], result.stands[k + 1])
            change = change_sentences(result.stand_changes[k], stands, units, harvest)
            said = [*change, capital(quality)] if is_pair else change[:1]
        found += [f"{names[0].to(names[k + 1])}: {small(said[0])}", *said[1:]]
    if (left := len(result.differences) - MOST) > 0:
        found.append(f"Differences of {left} more from {names[0].short} are under --details.")
    cause = result.binding[-1]
    if cause:
        share = f"{of_hundred(cause.share)} spacings uneven at {names[-1].short}"
        found.append(f"Main cause: {cause.name}. It makes {share}.")
    else:
        found.append(f"At {names[-1].short} every spacing is normal.")
    return found


def _meter(differences: Mapping[str, Estimate], units: str) -> str:
    """Changes of skips and doubles, or that none is detected."""
    if not any(is_distinct(differences[key]) for key, _ in METER):
        return f"Skips and doubles: {UNDETECTED}."
    moved = (movement(name, "share", differences[key], units) for key, name in METER)
    return " ".join(map(capital, moved))


def _notes(result: Comparison, names: Sequence[Named], units: str) -> list[str]:
    """Notes that change the answer, with the scenarios that they concern."""
    each = [decisive(measured, units) for measured in result.measured]
    found = []
    if len({part.scenario.name for part in result.measured}) > 1:
        head, *settings = (line.strip() for line in unlike(result, units))
        if (left := len(settings) - MOST) > 0:
            settings[MOST:] = [f"{left} more under --details"]
        found.append(f"{head} {'; '.join(settings)}".removesuffix(".").strip() + ".")
    for note in dict.fromkeys(itertools.chain.from_iterable(each)):
        where = [name.short for name, notes in zip(names, each, strict=True) if note in notes]
        found.append(f"At {', '.join(where)}: {small(note)}" if len(where) < len(names) else note)
    return found


def _table(result: Comparison, names: Sequence[Named], units: str) -> list[list[str]]:
    """Measures at each scenario and their differences, in the widest form that fits."""
    rows = _rows(result, units)
    level = level_text(result.levels[0].level)
    short = [name.short for name in names]
    ordinal = [*ORDINAL, *(f"no. {k + 1}" for k in range(len(ORDINAL), len(names)))][: len(names)]
    by_name = [f"{name.less(names[0])} ({level})" for name in names[1:]]
    by_order = [f"{one} less first ({level})" for one in ordinal[1:]]
    for heads, less in ((short, by_name), (ordinal, by_order)):
        columns = [f"difference ({level})"] if len(names) == 2 else less
        if _width(made := [["", *heads, *columns], *rows]) <= WIDE:
            return made
    kept = 1 + min(len(names), len(ORDINAL))
    named, counted = ([row[:kept] for row in [["", *one], *rows]] for one in (short, ordinal))
    return named if _width(named) <= WIDE else counted


def _width(rows: Sequence[Sequence[str]]) -> int:
    return max(map(len, aligned(rows).splitlines()))


def _rows(result: Comparison, units: str) -> list[list[str]]:
    made = []
    for key, label in FIRST[:OF_METER] if result.stands else FIRST:
        levels = [one.total(key) for one in result.levels]
        changes = [one[key] for one in result.differences]
        made.append(_row(label, BY_KEY[key].kind, levels, changes, units))
    for key in STAND if result.stands else ():
        levels = [stand.reach(key) for stand in result.stands]
        changes = [one.measures[key] for one in result.stand_changes]
        made.append(_row(NAMES[key], BY_NAME[key].kind, levels, changes, units))
    return made


def _row(
    label: str, kind: str, levels: Sequence[Estimate], changes: Sequence[Estimate], units: str
) -> list[str]:
    """Cells of a measure; a unit other than that of shares stands with its name."""
    unit = shown(kind, 0.0, units)[1]
    values = alike(kind, levels, units)
    if kind != "share":
        values = [value.removesuffix(unit).strip() for value in values]
        label = f"{label}, {unit}"
    return [label, *values, *(change_told(kind, one, units) for one in changes)]
