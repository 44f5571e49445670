"""Single changes about a start point, and the quality that each costs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from metersim.files.faults import BadInput
from metersim.machine.scenario import Scenario
from metersim.measures.intervals import Estimate
from metersim.questions.shared.spread import Spread
from metersim.questions.sheet.machines import FromStart
from metersim.questions.sheet.start import COMPARED, leading

CLOSE = 0.01  # loss of the leading measure above which a change counts as close to a limit


@dataclass(frozen=True)
class Nearby:
    """Cost of a single change.

    Attributes
    ----------
    key : str
        One of `MOVES`.
    changes : mapping of str to Estimate
        Differences from the start point with the total interval, by measure of
        `metersim.questions.sheet.start.COMPARED`, in SI.
    leading : str
        Key of the measure that decides.
    spread : Spread, optional
        The same differences with the parts of their intervals.
    """

    key: str
    changes: Mapping[str, Estimate]
    leading: str
    spread: Spread | None = None

    @property
    def cost(self) -> Estimate:
        """Difference of the leading measure. [1]"""
        return self.changes[self.leading]

    @property
    def close(self) -> bool:
        """Whether the change costs more of the leading measure than `CLOSE`."""
        return self.cost.value < -CLOSE


PARTS = {0.25: "a quarter"}
TIMES = {2.0: "twice"}
NOTCHES = {1.0: "one notch"}


@dataclass(frozen=True)
class Move:
    """Something that may move away from the start point.

    Attributes
    ----------
    field : str
        What moves, as `metersim.machine.scenario.Scenario.replace` takes it.
    how : str
        ``times`` what it is, ``plus`` so much, or ``to`` a value.
    amount : float
        By how much, in SI where it is no factor.
    form : str
        Words, with a place for how far it moves.
    most : float
        Value up to which it moves, in SI.
    assumed : bool
        Whether the size of its effect is an assumption, not only how far it moves.
    """

    field: str
    how: str
    amount: float
    form: str
    most: float = math.inf
    assumed: bool = False

    def made(self, scenario: Scenario) -> Scenario:
        """The scenario with this moved; raises `BadInput` where it cannot move."""
        section, _, name = self.field.partition("__")
        now = getattr(scenario.seeds if name == "size_cv" else getattr(scenario, section), name)
        there = {"times": self.amount * now, "plus": now + self.amount, "to": self.amount}
        return scenario.replace(**{self.field: min(there[self.how], self.most)})

    @property
    def words(self) -> str:
        """What moves, and how far."""
        size, part = abs(self.amount), abs(self.amount - 1)
        return self.form.format(
            part=PARTS.get(part, f"{100 * part:.3g} %"),
            times=TIMES.get(size, f"{size:g} times"),
            notches=NOTCHES.get(size, f"{size:g} notches"),
            percent=f"{100 * size:.3g} %",
            degrees=f"{math.degrees(size):.2g} deg",
            amount=f"{size:g}",
        )


MOVES = {
    "faster": Move("demand__speed", "times", 1.25, "{part} faster"),
    "smaller seed": Move("seed__size_factor", "times", 0.95, "seed {part} smaller"),
    "larger seed": Move("seed__size_factor", "times", 1.05, "seed {part} larger"),
    "mixed seed": Move("seed__size_cv", "times", 2.0, "sizes {times} as mixed", most=0.4),
    "less vacuum": Move("vacuum__vacuum", "times", 0.8, "vacuum {part} lower"),
    "more vacuum": Move("vacuum__vacuum", "times", 1.2, "vacuum {part} higher"),
    "less aggressive": Move("singulator__notch", "plus", -1.0, "{notches} less aggressive"),
    "more aggressive": Move("singulator__notch", "plus", 1.0, "{notches} more aggressive"),
    "lower gate": Move("pool__gate_opening", "times", 0.6, "gate {part} lower"),
    "higher gate": Move("pool__gate_opening", "times", 1.4, "gate {part} higher"),
    "worn tube": Move(
        "tube__tube_wear", "to", 0.8, "a badly worn tube (wear {amount})", assumed=True
    ),
    "worn cut-off": Move(
        "cutoff__decay_arc", "to", 0.0873, "cut-off edge fading over {degrees}", assumed=True
    ),
    "uneven drive": Move("drive__ripple", "to", 0.1, "drive uneven by {percent}"),
}
"""Single changes by name, each with its size and its words."""


def nearby_of(start: FromStart) -> tuple[Nearby, ...]:
    """Costs of all possible changes, the greatest first."""
    found = (moved_by(start, key) for key in MOVES)
    return tuple(sorted(filter(None, found), key=lambda one: one.cost.value))


def moved_by(start: FromStart, key: str) -> Nearby | None:
    """Cost of one change; None where it is impossible or changes nothing."""
    try:
        moved = MOVES[key].made(start.scenario)
    except BadInput:
        return None
    if moved == start.scenario:
        return None
    spread = start.spread(moved)
    changes = {part: spread.total(part) for part in COMPARED}
    return Nearby(key, changes, leading(start.scenario), spread)
