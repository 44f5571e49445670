"""The end of a game with a hidden fault: the truth, what counts show, and one step at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice, pairwise

import numpy as np
from numpy.typing import NDArray

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.machine.sections import all_fields
from metersim.questions.shared.game.causes import HIDES, RUNGS, Cause, HiddenMeter, Present
from metersim.questions.shared.game.counts import (
    Count,
    Truth,
    counted,
    meter_at,
    place_of,
    true_at,
)
from metersim.questions.shared.game.moves import (
    MOVABLE,
    Changes,
    change_of,
    changes_of,
    moved_names,
)
from metersim.questions.shared.game.region import chance_apart, chance_different
from metersim.questions.shared.looks import Look
from metersim.questions.shared.operators import COUNT, Seen, Wanted, one_notch, place_after
from metersim.run.streams import Streams

MOST_LOOKS = 12  # counts after which the plain operator gives up
FIRST = 1_000  # replicate before the first of the plain operator's counts
MOST_TOGETHER = 3  # moves of several settings that are taken apart: the last ones
ROOM = 0.005  # share of cells that the operator accepts above the meter in order


@dataclass(frozen=True)
class Wrong:
    """One cause that the meter had.

    Attributes
    ----------
    cause : Cause
        The cause.
    severity : float
        From 0, just noticeable, to 1, bad.
    values : tuple of tuple
        Changed fields: section, field, value as shown, and true value, in SI.
    """

    cause: Cause
    severity: float
    values: tuple[tuple[str, str, object, object], ...]


@dataclass(frozen=True)
class Shown:
    """What a count could have shown.

    Attributes
    ----------
    count : Count
        The count.
    truth, in_order : Truth
        The meter at these settings, with its causes and without.
    from_order : float
        Chance that such a count shows that the meter is not in order. [1]
    from_alike : float or None
        Chance that such a count distinguishes the meter from the one that looks most alike; None
        without such a meter. [1]
    """

    count: Count
    truth: Truth
    in_order: Truth
    from_order: float
    from_alike: float | None


@dataclass(frozen=True)
class Together:
    """Several things that changed at once.

    Attributes
    ----------
    names : tuple of str
        What changed: settings, or causes.
    before, after : Truth
        The meter before and after.
    alone : tuple of Truth
        The meter with each change alone.
    cells : tuple of int
        Cells of the counts before and after.
    chances : tuple of float
        Chance that two such counts detect each change alone. [1]
    chance : float
        Chance that they detect all together. [1]
    numbers : tuple of int
        Numbers of the counts before and after; empty for causes.
    """

    names: tuple[str, ...]
    before: Truth
    after: Truth
    alone: tuple[Truth, ...]
    cells: tuple[int, int]
    chances: tuple[float, ...]
    chance: float
    numbers: tuple[int, ...] = ()

    @property
    def hidden(self) -> bool:
        """Whether all together move the meter less than the larger change alone would."""
        base = _root(self.before)
        far = max(float(np.hypot(*(_root(one) - base))) for one in self.alone)
        return float(np.hypot(*(_root(self.after) - base))) < HIDES * far


@dataclass(frozen=True)
class Reached:
    """Where somebody ended.

    Attributes
    ----------
    who : str
        ``in order``, ``found``, ``class`` or ``one step``.
    cells, counts : int
        Cells and counts that it took.
    truth : Truth
        What the meter truly does there.
    changes : tuple of str
        Settings that were moved.
    """

    who: str
    cells: int
    counts: int
    truth: Truth
    changes: Changes


@dataclass(frozen=True)
class Ending:
    """All that the end of a game says.

    Attributes
    ----------
    wrong : tuple of Wrong
        The causes.
    alike : Present or None
        The other cause that looks most like the meter as it was found.
    shown : tuple of Shown
        What each count could have shown.
    together : tuple of Together
        Settings that were moved at once between two counts, the last few of them, and causes that
        acted at once.
    reached : tuple of Reached
        The meter in order, as found, as the class left it, and one step at a time.
    """

    wrong: tuple[Wrong, ...]
    alike: Present | None
    shown: tuple[Shown, ...]
    together: tuple[Together, ...]
    reached: tuple[Reached, ...]


def ending_of(meter: HiddenMeter, counts: Sequence[Count], changes: Changes, units: str) -> Ending:
    """Work out the end of a game.

    Parameters
    ----------
    meter : HiddenMeter
        The meter.
    counts : sequence of Count
        All counts of the class.
    changes : tuple of str
        Settings as the class left them.
    units : str
        Units of the plain operator's steps, ``metric`` or ``us``.
    """
    alike = most_alike(meter)
    pairs = [(one, two) for one, two in pairwise(counts) if one.by == two.by]
    moves = (_moved_together(meter, *pair) for pair in reversed(pairs))
    at_once = [*islice(filter(None, moves), MOST_TOGETHER)][::-1]
    if len(meter.hidden) > 1:
        at_once.append(_caused_together(meter))
    order, found, ends = (
        true_at(meter, (), ()),
        true_at(meter, (), meter.hidden),
        true_at(meter, changes, meter.hidden),
    )
    return Ending(
        wrong=tuple(_wrong(meter, one) for one in meter.hidden),
        alike=alike,
        shown=tuple(_shown(meter, one, alike) for one in counts),
        together=tuple(at_once),
        reached=(
            Reached("in order", 0, 0, order, ()),
            Reached("found", 0, 0, found, ()),
            Reached("class", sum(one.cells for one in counts), len(counts), ends, changes),
            one_step(meter, Wanted(order.skip + ROOM, order.double + ROOM), units),
        ),
    )


def most_alike(meter: HiddenMeter) -> Present | None:
    """The other single cause that a count on the belt distinguishes worst from the meter."""
    true = _root(true_at(meter, (), meter.hidden))
    mine = {one.cause.name for one in meter.hidden}
    best: tuple[float, Present | None] = (np.inf, None)
    for cause in meter.causes:
        if cause.name in mine:
            continue
        for severity in RUNGS[1::2]:
            one = Present(cause, severity)
            try:
                far = float(np.hypot(*(_root(true_at(meter, (), (one,))) - true)))
            except BadInput:
                continue
            best = min(best, (far, one), key=lambda pair: pair[0])
    return best[1]


def one_step(meter: HiddenMeter, wanted: Wanted, units: str) -> Reached:
    """Where an operator ends who moves one step at a time, and counts after each.

    The operator starts with the meter as it was found, counts `COUNT` cells on a belt each time,
    and follows `metersim.questions.shared.operators.one_notch`.
    """
    seen: list[Seen] = []
    steps: dict[str, int] = {}
    cells = 0
    while True:
        changes = changes_of(steps, meter.shown, units)
        count = counted(meter, changes, meter.hidden, COUNT, "belt", FIRST + len(seen))
        cells += count.cells
        look = Look(cells=count.cells, skips=count.skips, doubles=count.doubles)
        seen.append(Seen(dict(steps), look))
        move = one_notch(seen, wanted)
        if move is None or len(seen) == MOST_LOOKS:
            break
        there = place_after(steps, move)
        try:
            meter_at(meter, changes_of(there, meter.shown, units), meter.hidden)
        except BadInput:
            break  # the setting is at its end
        steps = there
    changes = changes_of(steps, meter.shown, units)
    return Reached("one step", cells, len(seen), true_at(meter, changes, meter.hidden), changes)


def _wrong(meter: HiddenMeter, one: Present) -> Wrong:
    there, values = one.put(meter.shown), []
    for section, field in all_fields():
        said, true = (getattr(getattr(at, section), field) for at in (meter.shown, there))
        if said != true and section != "fan":  # when a fan was set is no fault
            values.append((section, field, said, true))
    return Wrong(one.cause, one.severity, tuple(values))


def _shown(meter: HiddenMeter, count: Count, alike: Present | None) -> Shown:
    truth = true_at(meter, count.changes, meter.hidden, count.by)
    order = true_at(meter, count.changes, (), count.by)
    other = None
    if alike:
        try:
            other = true_at(meter, count.changes, (alike,), count.by)
        except BadInput:
            other = None
    rng = Streams(meter.seed, count.number).generator("chances")

    def chance(known: Truth) -> float:
        return chance_apart(truth.shares, known.shares, count.cells, rng, truth.effect)

    return Shown(count, truth, order, chance(order), chance(other) if other else None)


def _moved_together(meter: HiddenMeter, one: Count, two: Count) -> Together | None:
    """Settings that were moved at once between two counts; None if fewer than two were."""
    before, after = place_of(meter, one.changes), place_of(meter, two.changes)
    names = moved_names(before, after)
    if len(names) < 2:
        return None
    try:
        alone = [
            true_at(meter, _with(meter.shown, before, after, name), meter.hidden, one.by)
            for name in names
        ]
    except BadInput:  # a setting that cannot be moved alone
        return None
    ends = [true_at(meter, count.changes, meter.hidden, one.by) for count in (one, two)]
    return _together(meter, names, ends, alone, (one.cells, two.cells), (one.number, two.number))


def _with(start: Scenario, before: Scenario, after: Scenario, name: str) -> Changes:
    """Changes that lead from the start to `before`, with one setting as in `after`."""
    held = {one: after if one == name else before for one in MOVABLE}
    return tuple(
        change_of(one, held[key])
        for key, one in MOVABLE.items()
        if one.of(held[key]) != one.of(start)
    )


def _caused_together(meter: HiddenMeter) -> Together:
    """Causes that acted at once on the meter as it was found."""
    ends = [true_at(meter, (), hidden) for hidden in ((), meter.hidden)]
    alone = [true_at(meter, (), (one,)) for one in meter.hidden]
    names = tuple(one.cause.name for one in meter.hidden)
    return _together(meter, names, ends, alone, (COUNT, COUNT), ())


def _together(
    meter: HiddenMeter,
    names: tuple[str, ...],
    ends: Sequence[Truth],
    alone: Sequence[Truth],
    cells: tuple[int, int],
    numbers: tuple[int, ...],
) -> Together:
    rng = Streams(meter.seed, sum(numbers)).generator("moves at once")
    before, after = ends

    def chance(there: Truth) -> float:
        effect = max(before.effect, there.effect)
        return chance_different(before.shares, there.shares, cells, rng, effect)

    chances = tuple(chance(one) for one in alone)
    return Together(names, before, after, tuple(alone), cells, chances, chance(after), numbers)


def _root(truth: Truth) -> NDArray[np.float64]:
    """Roots of both shares, in whose plane sampling error is about the same everywhere."""
    return np.sqrt(np.array(truth.shares, dtype=np.float64))
