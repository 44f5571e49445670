"""What may be hidden in a meter of the class: causes with their names, and the meter of a number.

A meter is a shipped scenario on a drawn machine, with one cause or two.  All of it follows from a
number and a level.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput, bad, hint
from metersim.machine.reading import load_scenario
from metersim.machine.scenario import Scenario
from metersim.questions.shared.faults.fault import MeterFault
from metersim.questions.shared.faults.library import LIBRARY
from metersim.questions.shared.game.region import HALF, chance_apart
from metersim.questions.shared.looks import BELT, SENSOR, SPACED, Rates, rates
from metersim.run.streams import Streams

SCENARIOS = (
    "maize_bench",
    "maize_field",
    "soybean_narrow_rows",
    "sunflower",
    "canola_small_seed",
)
"""Scenarios of one meter with nothing wrong."""
LEVELS = {
    1: "one setting is well off what its scale shows",
    2: "one part is worn or wrong",
    3: "one thing is a little off, and several causes look alike",
    4: "two things are off, and may hide each other",
}
"""Levels of difficulty in words."""
MOST_NUMBER = 999_999
MACHINES, CHOSEN_OF = 1_000, 3  # machines of which some are drawn, and the best is taken
PROBE = 1_500  # cells of a run that weighs a cause
USUAL_COUNT = 300  # cells of a count by which causes are weighed
RUNGS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
"""Severities of a cause that are tried, mildest first."""
CLEAR, FAINT = (0.8, 1.0), (0.35, 0.7)
"""Chance that a usual count shows a cause, for a clear and for a faint one. [1]"""
MOST_TROUBLE = 0.35  # share of skips and doubles; beyond it nobody needs to count
HIDES = 0.7  # part of a move that another cause leaves of it, at most, where two hide each other

FAR = "singulator is farther from the holes than its scale shows"
NEAR = "singulator is nearer to the holes than its scale shows"
LOW = "holes get less vacuum than the gauge shows"
HIGH = "holes get more vacuum than the gauge shows"
DEEP = "gate is higher than its scale shows"


@dataclass(frozen=True)
class Cause:
    """A cause that the class may name.

    Attributes
    ----------
    name : str
        Its name, that of the library of faults.
    group : str
        ``setting``, ``part``, or ``seed`` for all that is neither.
    aliases : tuple of str
        Other names that people use.
    way : str
        Way of looking that shows it.
    said : str
        What is wrong in words, where those of the library name a scale that shows it.
    """

    name: str
    group: str
    aliases: tuple[str, ...] = ()
    way: str = BELT
    said: str = ""

    @property
    def words(self) -> str:
        """What is wrong, in a short sentence."""
        return self.said or self.fault.words

    @property
    def fault(self) -> MeterFault:
        """The fault of the library."""
        return LIBRARY[self.name]


CAUSES = {
    one.name: one
    for one in (
        Cause(
            "edge far", "setting", ("singulator far", "edge too far", "singulator open"), said=FAR
        ),
        Cause(
            "edge near", "setting", ("singulator near", "edge close", "singulator close"), said=NEAR
        ),
        Cause(
            "vacuum low", "setting", ("low vacuum", "little vacuum", "weak vacuum", "fan"), said=LOW
        ),
        Cause("vacuum high", "setting", ("high vacuum", "much vacuum", "strong vacuum"), said=HIGH),
        Cause("low pool", "setting", ("gate low", "pool low", "little seed")),
        Cause("high pool", "setting", ("gate high", "pool high", "much seed"), said=DEEP),
        Cause("edge worn", "part", ("worn edge", "singulator worn")),
        Cause("inner edge worn", "part", ("inner guide worn",)),
        Cause("seal worn", "part", ("worn seal", "seal leaks")),
        Cause("gap wide", "part", ("wide gap", "spacers wrong")),
        Cause("plugged holes", "part", ("holes plugged", "blocked holes", "plugged hole")),
        Cause("worn holes", "part", ("holes worn", "disc worn", "worn disc")),
        Cause("chipped hole", "part", ("chip", "chipped disc", "hole chipped", "chipped holes")),
        Cause("disc reversed", "part", ("disc backwards", "disc wrong way round", "wrong side")),
        Cause("tube worn", "part", ("worn tube", "rough tube", "seed tube"), SPACED),
        Cause("small seed", "seed", ("seed small", "seed smaller")),
        Cause("large seed", "seed", ("seed large", "big seed", "seed larger")),
        Cause("bridges", "seed", ("damp seed", "sticky seed", "seed bridges", "bridging")),
        Cause("flow agent", "seed", ("talc", "graphite", "lubricant", "no talc")),
        Cause("lens", "seed", ("dust", "dusty lens", "dirty sensor", "sensor dirty"), SENSOR),
    )
}
"""Causes by name."""
_GROUPS = {1: ("setting",), 2: ("setting", "part"), 3: (), 4: ("setting", "part")}
_DRAWN = {1: ("setting",), 2: ("part",), 3: ("setting", "part", "seed"), 4: ("setting", "part")}
_IDLE = {"a", "an", "is", "of", "one", "or", "more", "set", "some", "the", "too"}
_LETTERS = re.compile(r"[a-z]+")


def causes_at(scenario: Scenario, level: int) -> tuple[Cause, ...]:
    """Causes that the class chooses from."""
    groups = _GROUPS[level]
    return tuple(
        one
        for one in CAUSES.values()
        if (not groups or one.group in groups)
        and (level > 2 or one.way == BELT)
        and one.fault.fits(scenario)
    )


def cause_named(typed: str, known: Sequence[Cause]) -> Cause:
    """The cause that somebody means, whatever the order of its words.

    Raises
    ------
    BadInput
        For a name that is none of the known causes.
    """
    meant = _words(typed)
    for one in known:
        if meant and meant in map(_words, (one.name, *one.aliases)):
            return one
    names = [one.name for one in known]
    raise bad("guess", typed.strip(), f"is no cause of this list; {hint(typed.strip(), names)}")


def _words(name: str) -> frozenset[str]:
    return frozenset(_LETTERS.findall(name.lower())) - _IDLE


@dataclass(frozen=True)
class Present:
    """One cause that a meter has.

    Attributes
    ----------
    cause : Cause
        The cause.
    severity : float
        Severity in the library, from 0 to 1.
    """

    cause: Cause
    severity: float

    def fields(self, scenario: Scenario) -> set[str]:
        """Keys of a scenario that this cause changes."""
        said = self.cause.fault.change(scenario, self.severity)
        return {change.partition("=")[0] for change in said}

    def put(self, scenario: Scenario) -> Scenario:
        """The scenario with this cause; raises `BadInput` where it cannot be."""
        return self.cause.fault.put(scenario, self.severity)


@dataclass(frozen=True, eq=False)
class HiddenMeter:
    """A meter with its hidden causes.

    Attributes
    ----------
    number, level : int
        What it follows from.
    shown : Scenario
        What its scales show before anybody moves a setting, on its machine.
    hidden : tuple of Present
        Its causes.
    """

    number: int
    level: int
    shown: Scenario
    hidden: tuple[Present, ...]

    @property
    def seed(self) -> int:
        """Random seed of its runs."""
        return len(LEVELS) * self.number + self.level - 1

    @property
    def causes(self) -> tuple[Cause, ...]:
        """Causes that the class chooses from."""
        return causes_at(self.shown, self.level)


def with_causes(scenario: Scenario, hidden: Sequence[Present]) -> Scenario:
    """The true meter behind what the scales show."""
    for one in hidden:
        scenario = one.put(scenario)
    return scenario


def shares(found: Rates) -> tuple[float, float]:
    """Shares of skips and doubles of a run; never 0, as no run proves that a cell is impossible."""
    every = found.cells + 3 * HALF
    return (
        (found.skip * found.cells + HALF) / every,
        (found.double * found.cells + HALF) / every,
    )


def effect_of(found: Rates) -> float:
    """Variance of a count over that of independent cells, of skips and doubles together. [1]

    Their mean, as each is estimated from a short run; 1 at least.
    """
    return max(1.0, (found.skip_effect + found.double_effect) / 2)


@lru_cache(maxsize=64)
def hidden_meter(number: int, level: int) -> HiddenMeter:
    """The meter of a number at a level.

    Parameters
    ----------
    number : int
        From 0 to `MOST_NUMBER`.
    level : int
        One of `LEVELS`.

    Notes
    -----
    Scenario, machines and the order of causes are drawn.  The best of the machines is taken, so
    that there is something to spoil.  The first cause of that order which some
    severity makes as clear as the level wants is taken, at the mildest such severity.
    """
    rng = Streams(number).generator(f"hidden meter, level {level}")
    name = SCENARIOS[int(rng.integers(len(SCENARIOS)))]
    scenario = load_scenario(name)
    machines = [int(k) for k in rng.integers(MACHINES, size=CHOSEN_OF)]
    each = [replace(scenario, coefficients=scenario.posterior.draw(k)) for k in machines]
    shown = min(each, key=lambda one: _trouble(HiddenMeter(number, level, one, ())))
    drawn = [
        one
        for one in causes_at(shown, level)
        if one.group in _DRAWN[level] and (level == 3 or one.way == BELT)
    ]
    order = [drawn[k] for k in rng.permutation(len(drawn))]
    probe = _Probe(HiddenMeter(number, level, shown, ()))
    if level == 4:
        return replace(probe.meter, hidden=_two(order, probe))
    wanted = FAINT if level == 3 else CLEAR
    for cause in order:
        if found := probe.rung(cause, wanted):
            return replace(probe.meter, hidden=(found,))
    return replace(probe.meter, hidden=(probe.clearest(order),))


def _trouble(meter: HiddenMeter) -> float:
    """Share of skips and doubles of a meter in order. [1]"""
    found = _Probe(meter).seen((), BELT)
    return found.skip + found.double


def _two(order: Sequence[Cause], probe: _Probe) -> tuple[Present, ...]:
    """Two clear causes that change different fields and hide each other.

    What each moves in the plane of the roots of both shares is added up.  The first two that leave
    less than `HIDES` of the larger move are taken, or those that leave least.
    """
    usual = probe.place(())
    ways: dict[Present, NDArray[np.float64]] = {}
    left = np.inf
    pair: tuple[Present, ...] = ()
    for found in filter(None, (probe.rung(cause, CLEAR, RUNGS[1::2]) for cause in order)):
        way, fields = probe.place((found,)) - usual, found.fields(probe.shown)
        for other, its in ways.items():
            if fields & other.fields(probe.shown):
                continue
            part = float(np.hypot(*(way + its)) / max(np.hypot(*way), np.hypot(*its)))
            if part < left:
                left, pair = part, (other, found)
        ways[found] = way
        if left < HIDES:
            break
    return pair or (probe.clearest(order),)


@dataclass
class _Probe:
    """Short runs of a meter with causes, to weigh them; each is made once."""

    meter: HiddenMeter
    made: dict[tuple[tuple[Present, ...], str], Rates] = field(default_factory=dict)

    @property
    def shown(self) -> Scenario:
        """What the scales show."""
        return self.meter.shown

    def seen(self, hidden: tuple[Present, ...], way: str) -> Rates:
        """What a way of looking shows of the meter with these causes."""
        if (hidden, way) not in self.made:
            there = with_causes(self.shown, hidden)
            self.made[hidden, way] = rates(there, PROBE, way=way, seed=self.meter.seed)
        return self.made[hidden, way]

    def place(self, hidden: tuple[Present, ...]) -> NDArray[np.float64]:
        """Roots of the shares of skips and doubles of the meter with these causes."""
        return np.sqrt(shares(self.seen(hidden, BELT)))

    def chance(self, hidden: Present) -> float:
        """Chance that a usual count shows a cause; 0 where it is too much."""
        try:
            found = self.seen((hidden,), hidden.cause.way)
        except BadInput:
            return 0.0
        if found.skip + found.double > MOST_TROUBLE:
            return 0.0
        usual = self.seen((), hidden.cause.way)
        rng = Streams(self.meter.number).generator("weighing")
        return chance_apart(
            shares(found), shares(usual), USUAL_COUNT, rng, max(map(effect_of, (found, usual)))
        )

    def rung(
        self, cause: Cause, wanted: tuple[float, float], rungs: Sequence[float] = RUNGS
    ) -> Present | None:
        """The cause at the mildest severity that is as clear as wanted, if there is one."""
        for severity in rungs:
            one = Present(cause, severity)
            if wanted[0] <= self.chance(one) <= wanted[1]:
                return one
        return None

    def clearest(self, order: Sequence[Cause]) -> Present:
        """The cause at the severity that a usual count shows best."""
        return max((Present(one, at) for one in order for at in RUNGS), key=self.chance)
