"""Possible next moves of a meter: single steps of settings, and repairs of causes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from metersim.machine.scenario import Scenario
from metersim.questions.shared.settings import Steps, can_move, moved, steps_text

SETTERS = ("notch", "vacuum", "gate")  # settings that are always tried
PARTS = ("guide", "hole")  # parts that are tried on request, where the meter takes them
MENDS = {
    "vacuum": "mend what leaks, so that the hole has the vacuum of the gauge",
    "gate": "bring the pool to the level of its setting",
}
"""Repair of each cause, which brings its true value back to the set one."""
MENDED = {"vacuum": "vacuum", "gate": "low pool"}
"""Fault that each repair removes."""


@dataclass(frozen=True)
class Move:
    """One possible move: a step of a setting or a repair.

    Attributes
    ----------
    words : str
        Description of the move.
    steps : mapping of str to int
        Single step of a setting; empty for a repair.
    mends : str
        Cause that a repair removes, or an empty text.
    """

    words: str
    steps: Steps = field(default_factory=dict)
    mends: str = ""

    def made(self, scenario: Scenario, units: str = "metric") -> Scenario:
        """Settings after the move; raises `BadInput` where it is impossible."""
        return moved(scenario, self.steps, units) if self.steps else scenario


def moves_of(scenario: Scenario, also: Sequence[str] = (), units: str = "metric") -> list[Move]:
    """All possible moves of a meter at its settings.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    also : sequence of str
        Names of `PARTS` that may be moved too.
    units : {'metric', 'us'}
        Family of units of the steps.

    Returns
    -------
    list of Move
        Single steps of settings up and down.
    """
    made: list[Move] = []
    for name in (*SETTERS, *also):
        for count in (1, -1):
            steps = {name: count}
            if can_move(scenario, steps, units):
                made.append(Move(steps_text(steps, units), steps))
    return made


def mends() -> list[Move]:
    """All repairs."""
    return [Move(words, mends=cause) for cause, words in MENDS.items()]
