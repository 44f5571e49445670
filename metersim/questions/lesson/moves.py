"""What settings do to skips and doubles: a curve of each, single steps, and two steps at once."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from metersim.files.faults import BadInput
from metersim.machine.airline import chamber_vacuum
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.lesson.meter import (
    CELLS,
    PAIR_SIZE,
    Meter,
    Rates,
    Seen,
    changes,
    meter_of,
    seen,
)
from metersim.questions.shared.answer import is_distinct
from metersim.questions.shared.counts import CERTAINTY
from metersim.questions.shared.settings import SETTINGS, Steps, can_move, moved

FACTORS = tuple(2 ** (k / 3) for k in range(-4, 5))  # of the present vacuum, on its curve
NOTCHES = range(-2, 3)  # steps of the notch on its curve
COUNTS = (-2, -1, 1, 2)  # steps of settings that may be moved together
TRIED = 4  # pairs of steps that are run together

Run = Callable[[Scenario], Meter]


@dataclass(frozen=True)
class Point:
    """A value of a setting.

    Attributes
    ----------
    value : float
        Value in SI.
    rates : Rates
        Skips and doubles there.
    """

    value: float
    rates: Rates


@dataclass(frozen=True)
class Curve:
    """Skips and doubles over the values of one setting.

    Attributes
    ----------
    setting : str
        Name of the setting.
    points : tuple of Point
        From the least to the greatest value.
    present, best : int
        Number of the present point, and of that with fewest cells without exactly one seed.
    alike : tuple of int
        Numbers of the points that long runs do not distinguish from the best.
    change : Rates
        Changes from the first point to the last.
    from_best : Rates
        Changes from the best point to the present one.
    """

    setting: str
    points: tuple[Point, ...]
    present: int
    best: int
    alike: tuple[int, ...]
    change: Rates
    from_best: Rates


@dataclass(frozen=True)
class TradeOff:
    """How skips and doubles trade off: along the vacuum, and along the notch.

    Attributes
    ----------
    curves : tuple of Curve
        Of the vacuum, and of the notch where it can be moved.
    """

    curves: tuple[Curve, ...]


@dataclass(frozen=True)
class Step:
    """A step of one or several settings.

    Attributes
    ----------
    steps : mapping of str to int
        Number of steps by name of the setting.
    rates, change : Rates
        Skips and doubles after it, and their changes.
    seen : Seen
        What two counts detect of it.
    """

    steps: Steps
    rates: Rates
    change: Rates
    seen: Seen

    @property
    def is_part(self) -> bool:
        """Whether it needs another part."""
        return any(SETTINGS[name].part for name in self.steps)


@dataclass(frozen=True)
class SingleSteps:
    """What one step of each setting does.

    Attributes
    ----------
    present : Rates
        Skips and doubles of the present meter.
    cells : int
        Cells of each run.
    steps : tuple of Step
        Possible steps, from that which the shortest counts detect.
    """

    present: Rates
    cells: int
    steps: tuple[Step, ...]

    @property
    def strongest(self) -> Step | None:
        """The step without another part that the shortest counts detect, if there is one."""
        return next((one for one in self.steps if one.seen.kind and not one.is_part), None)


@dataclass(frozen=True)
class Together:
    """Two steps that hide one another in a count, as far as any two do.

    Attributes
    ----------
    present : Rates
        Skips and doubles of the present meter.
    noise : tuple of float
        Standard errors of a difference of skips and of doubles, between two counts. [1]
    alone : tuple of Step
        The two steps; empty where long runs do not distinguish an effect of two settings.
    both : Step, optional
        The two at once.
    """

    present: Rates
    noise: tuple[float, float]
    alone: tuple[Step, ...] = ()
    both: Step | None = None

    @property
    def hidden(self) -> float:
        """Least chance to detect either step alone, less that to detect both at once."""
        if self.both is None:
            return 0.0
        alone = min(one.seen.chance(PAIR_SIZE) for one in self.alone)
        return alone - self.both.seen.chance(PAIR_SIZE)

    @property
    def hides(self) -> bool:
        """Whether, beyond false alarms, both at once are detected half as often as either alone."""
        if self.both is None:
            return False
        beyond = self.both.seen.chance(PAIR_SIZE) - (1 - CERTAINTY)
        return self.hidden > max(beyond, 0.0)


def is_possible(scenario: Scenario, steps: Steps, units: str) -> bool:
    """Whether settings can move so, and the fan of a machine then gives the vacuum."""
    return can_move(scenario, steps, units) and _breathes(moved(scenario, steps, units))


def _breathes(scenario: Scenario) -> bool:
    try:
        chamber_vacuum(scenario)
    except BadInput:
        return False
    return True


def trade_off(scenario: Scenario, run: Run, units: str) -> TradeOff:
    """Curves of vacuum and notch about the present setting."""
    curves = [_curve("vacuum", _vacuums(scenario, units), scenario, run)]
    notches = {
        float(one.singulator.notch): one
        for count in NOTCHES
        if not count or is_possible(scenario, {"notch": count}, units)
        for one in [moved(scenario, {"notch": count}, units)]
    }
    if len(notches) > 1:
        curves.append(_curve("notch", notches, scenario, run))
    return TradeOff(tuple(curves))


def _vacuums(scenario: Scenario, units: str) -> Mapping[float, Scenario]:
    """Meters by vacuum: the present one, and others that a person would set and the fan gives."""
    spec = all_fields()["vacuum", "vacuum"]
    unit, present = spec.unit_for(units), scenario.vacuum.vacuum
    made = {float(present): scenario}
    for factor in FACTORS:
        value = (
            present if unit is None else unit.to_si(float(f"{unit.from_si(present * factor):.2g}"))
        )
        if factor == 1 or not value:
            continue
        try:
            one = scenario.replace(vacuum__vacuum=value)
        except BadInput:  # out of range
            continue
        if _breathes(one):
            made[float(value)] = one
    return dict(sorted(made.items()))


def _curve(setting: str, meters: Mapping[float, Scenario], scenario: Scenario, run: Run) -> Curve:
    values, made = list(meters), [run(one) for one in meters.values()]
    present = values.index(float(SETTINGS[setting].of(scenario)))
    best = min(range(len(made)), key=lambda k: (made[k].rates.odd.value, abs(k - present)))
    apart = [changes(made[best], one) for one in made]
    return Curve(
        setting,
        tuple(Point(value, one.rates) for value, one in zip(values, made, strict=True)),
        present,
        best,
        tuple(k for k, one in enumerate(apart) if not is_distinct(one.odd)),
        changes(made[0], made[-1]),
        apart[present],
    )


def single_steps(scenario: Scenario, run: Run, units: str) -> SingleSteps:
    """One step up and one down of each setting."""
    present = run(scenario)
    found = [
        _step(scenario, {name: count}, run, units)
        for name in SETTINGS
        for count in (1, -1)
        if is_possible(scenario, {name: count}, units)
    ]
    ordered = sorted(found, key=lambda one: one.seen.cells)
    return SingleSteps(present.rates, len(present.cells), tuple(ordered))


def _step(scenario: Scenario, steps: Steps, run: Run, units: str) -> Step:
    before, after = run(scenario), run(moved(scenario, steps, units))
    change = changes(before, after)
    return Step(steps, after.rates, change, seen(before, after, change))


def two_at_once(scenario: Scenario, run: Run, units: str) -> Together:
    """The two steps of different settings that hide one another best in a count."""
    present = run(scenario)
    noise = tuple(
        max(present.shares[kind].error(PAIR_SIZE) * math.sqrt(2), 1 / PAIR_SIZE)
        for kind in ("skips", "doubles")
    )
    alone = [
        _step(scenario, {name: count}, run, units)
        for name, count in _singly()
        if is_possible(scenario, {name: count}, units)
    ]

    def length(*steps: Step) -> float:
        """Size of the sum of changes, in standard errors of two counts."""
        sums = [sum(one.change.kinds[kind].value for one in steps) for kind in ("skips", "doubles")]
        return math.hypot(*(one / error for one, error in zip(sums, noise, strict=True)))

    pairs = [pair for pair in _pairs(alone) if is_possible(scenario, _both(pair), units)]
    pairs.sort(key=lambda pair: length(*pair) - min(map(length, pair)))
    # effects need not add up, so that the likeliest pairs are run
    tried = [
        Together(
            present.rates, (noise[0], noise[1]), pair, _step(scenario, _both(pair), run, units)
        )
        for pair in pairs[:TRIED]
    ]
    nothing = Together(present.rates, (noise[0], noise[1]))
    return max(tried, key=lambda one: one.hidden, default=nothing)


def _singly() -> Iterator[tuple[str, int]]:
    """Settings that need no other part, with their steps."""
    for name, setting in SETTINGS.items():
        if not setting.part:
            yield from (
                (name, count)
                for count in COUNTS
                if abs(count) == 1 or setting.spec.kind != "switch"
            )


def _pairs(alone: list[Step]) -> Iterator[tuple[Step, Step]]:
    """Pairs of steps of different settings whose effects are distinguished."""
    known = [one for one in alone if one.seen.kind]
    return ((a, b) for a, b in itertools.combinations(known, 2) if {*a.steps} != {*b.steps})


def _both(pair: tuple[Step, Step]) -> Steps:
    return {**pair[0].steps, **pair[1].steps}


def remembered(seed: int, on_run: Callable[[], object]) -> Run:
    """A function that runs each meter once; its meters differ in `SETTINGS` alone."""
    made: dict[tuple[object, ...], Meter] = {}

    def run(scenario: Scenario) -> Meter:
        key = tuple(setting.of(scenario) for setting in SETTINGS.values())
        if key not in made:
            made[key] = meter_of(scenario, seed, CELLS)
            on_run()
        return made[key]

    return run
