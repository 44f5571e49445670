"""Signs of a fault that people see at a machine, as they give them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields

from metersim.files.faults import BadInput, Fault, Parameter, hint
from metersim.machine.scenario import Scenario
from metersim.questions.next.diagnosis import MOST_USED, Used
from metersim.questions.next.hypotheses import LENS
from metersim.questions.shared.faults.observe import HIGH, LOW, NORMAL, SIGNS
from metersim.questions.shared.looks import DISC, Look

RANDOM, EVERY = "random", "every N"
HOLES_APART = re.compile(r"every[ -]([1-9]\d{0,2})(?: (?:cells|seeds|holes))?")
"""A pattern as it is given, such as ``every 30`` or ``every-30``."""
CURRENT = "current"
NUMBERS = ("used", "gauge")
"""Signs that may be given as a word or as a number."""
MOST_READING = 3.0  # reading over the set vacuum from which a unit is likely wrong


def answers_of(sign: str) -> tuple[str, ...]:
    """Answers that a sign may have; a current may be low as well."""
    if sign == CURRENT:
        return HIGH, NORMAL, LOW
    return SIGNS[sign].answers


@dataclass(frozen=True, kw_only=True)
class Signs:
    """What somebody saw at a machine; None is a sign that nobody looked at.

    Attributes
    ----------
    skips, doubles : {'high', 'normal', 'low'}, optional
        Shares on the monitor against the usual ones, where nobody counted.
    pattern : str, optional
        ``random``, or ``every 30`` where a skip or a double comes back every 30 cells.
    rows : {'one', 'several', 'all'}, optional
        Rows that show it.
    onset : {'slow', 'sudden'}, optional
        Whether it came over days and weeks, or from one moment to the next.
    speed : {'worse', 'same', 'better'}, optional
        Skips and doubles at a higher speed.
    slope, hour, turn : {'worse', 'same'}, optional
        Skips and doubles on a slope, late in the day, and just after a turn.
    bench : {'fine', 'same'}, optional
        The same meter on a bench.
    current : {'high', 'normal', 'low'}, optional
        Current or torque of the drive.
    used : {'more', 'as planned', 'less'}, optional
        Seed used on an area.
    gauge : {'high', 'normal', 'low'}, optional
        Gauge against the set vacuum.
    stand : {'wrong', 'right'}, optional
        ``wrong`` where plants or seeds stand in places in which the monitor showed skips.
    scatter : {'worse', 'same'}, optional
        Spacings of dug seeds, without skips.
    seed_used : Used, optional
        Seed used on a known area, as a number.
    reading : float, optional
        Reading of the gauge, as a number. [Pa]
    counts : tuple of Look
        Counts at the present settings.
    monitor : {'cells', 'spacing'}, optional
        What a monitor counts, where one counted.
    lens_clean : bool
        Whether the lens of the sensor is known to be clean.

    Examples
    --------
    >>> from metersim.questions.next.signs import Signs
    >>> Signs(rows="one", pattern="every 30").words
    {'pattern': 'every 30', 'rows': 'one'}
    """

    skips: str | None = None
    doubles: str | None = None
    pattern: str | None = None
    rows: str | None = None
    onset: str | None = None
    speed: str | None = None
    slope: str | None = None
    hour: str | None = None
    turn: str | None = None
    bench: str | None = None
    current: str | None = None
    used: str | None = None
    gauge: str | None = None
    stand: str | None = None
    scatter: str | None = None
    seed_used: Used | None = None
    reading: float | None = None
    counts: tuple[Look, ...] = ()
    monitor: str | None = None
    lens_clean: bool = False

    def __post_init__(self) -> None:
        faults = []
        for sign, word in self.words.items():
            known = answers_of(sign)
            is_period = sign == "pattern" and HOLES_APART.fullmatch(word)
            if word not in known and not is_period:
                faults.append(Fault(Parameter(sign), word, hint(word, known)))
        if faults:
            raise BadInput(faults)

    @property
    def words(self) -> Mapping[str, str]:
        """Signs that were given in words, by name."""
        named = {one.name: getattr(self, one.name) for one in fields(self) if one.name in SIGNS}
        return {name: word for name, word in named.items() if word is not None}

    @property
    def given(self) -> tuple[str, ...]:
        """Names of all signs that were given, whether as a word, a number or a count."""
        found = dict.fromkeys(self.words)
        if self.counts:
            found |= dict.fromkeys(("skips", "doubles"))
        numbers = {"used": self.seed_used, "gauge": self.reading}
        found |= {name: None for name, value in numbers.items() if value is not None}
        return tuple(name for name in SIGNS if name in found)

    @property
    def period(self) -> int | None:
        """Cells after which a pattern comes back; None where nobody counted them."""
        found = HOLES_APART.fullmatch(self.pattern or "")
        return int(found[1]) if found else None

    @property
    def answers(self) -> Mapping[str, str]:
        """Signs that were given in words, with the answers of the library."""
        return {
            sign: EVERY if sign == "pattern" and self.period else word
            for sign, word in self.words.items()
        }

    def check(self, scenario: Scenario) -> None:
        """Refuse signs that contradict one another, or that this machine cannot show.

        Raises
        ------
        BadInput
            With every contradiction.
        """
        faults = [*self._twice(), *self._contradictions(), *_not_here(self, scenario)]
        if not self.given:
            faults.append(Fault("next", "", "nothing was seen or counted; give a sign or a count"))
        if faults:
            raise BadInput(faults)

    def _twice(self) -> list[Fault]:
        numbers = {"used": self.seed_used, "gauge": self.reading}
        faults = [
            Fault(Parameter(name), self.words[name], "is given as a number, too; give one of them")
            for name, value in numbers.items()
            if value is not None and name in self.words
        ]
        faults += [
            Fault(Parameter(name), self.words[name], "was counted, too; give the count alone")
            for name in ("skips", "doubles")
            if self.counts and name in self.words
        ]
        return faults

    def _contradictions(self) -> list[Fault]:
        faults = []
        resting = bool(self.counts) and all(one.way == DISC for one in self.counts)
        if self.pattern and resting:
            message = (
                "takes a count over many turns, and a disc at rest shows one turn; give such a "
                "count, too, or leave the pattern out"
            )
            faults.append(Fault(Parameter("pattern"), self.pattern, message))
        if self.period == 1:
            message = "would be every cell; give the number of cells from one skip to the next"
            faults.append(Fault(Parameter("pattern"), str(self.pattern), message))
        counted = [one for one in self.counts if one.way != DISC]
        if self.stand == "wrong" and counted and not any(one.skips for one in counted):
            message = "contradicts a count without skips: there is no place to dig for plants"
            faults.append(Fault(Parameter("stand"), "there", message))
        return faults


def _not_here(signs: Signs, scenario: Scenario) -> list[Fault]:
    """Signs that a machine of this scenario cannot show."""
    faults = []
    if not scenario.in_field:
        faults += [
            Fault(Parameter(name), signs.words[name], f"{scenario.name} is on a bench already")
            for name in ("slope", "bench")
            if name in signs.words
        ]
    if signs.reading is not None and signs.reading > MOST_READING * scenario.vacuum.vacuum:
        times = signs.reading / scenario.vacuum.vacuum
        message = f"is {times:.1f} times the set vacuum; check the unit"
        faults.append(Fault(Parameter("reading"), f"{signs.reading:,.0f} Pa", message))
    ratio = signs.seed_used.ratio if signs.seed_used else 1.0
    if not 0 < ratio <= MOST_USED:
        message = f"must be above 0 and up to {MOST_USED:g} times the planned seed"
        faults.append(Fault(Parameter("seed_used"), f"{ratio:g}", message))
    return faults


def left_out(signs: Signs) -> tuple[str, ...]:
    """Faults that signs exclude by themselves."""
    return (LENS,) if signs.lens_clean else ()
