"""Possible next moves of a meter: single steps of settings, and repairs of causes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from metersim.machine.scenario import Scenario
from metersim.questions.shared.hidden import HIDDEN, State, meter_of
from metersim.questions.shared.settings import Steps, can_move, moved, steps_text

Floats = NDArray[np.float64]

SETTERS = ("notch", "vacuum", "gate")  # settings that are always tried
PARTS = ("guide", "hole")  # parts that are tried on request, where the meter takes them
MENDS = {
    "vacuum": "measure the vacuum at a port, and mend what leaks",
    "pool": "check the gate, and bring the pool to the level of its setting",
}
"""Repair of each cause, which brings its true value back to the set one."""


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

    def made(self, scenario: Scenario, state: State, units: str = "metric") -> Scenario:
        """True meter after the move; raises `BadInput` where it is impossible."""
        if self.mends:
            state = {**state, self.mends: HIDDEN[self.mends].middle}
        return meter_of(moved(scenario, self.steps, units), state)


STAY = Move("as it is")


def moves_of(
    scenario: Scenario, causes: Sequence[str], also: Sequence[str] = (), units: str = "metric"
) -> list[Move]:
    """All possible moves of a meter at its settings.

    Parameters
    ----------
    scenario : Scenario
        Present settings.
    causes : sequence of str
        Causes that may be faults.
    also : sequence of str
        Names of `PARTS` that may be moved too.
    units : {'metric', 'us'}
        Family of units of the steps.

    Returns
    -------
    list of Move
        Single steps of settings up and down, and repairs of causes.
    """
    made: list[Move] = []
    for name in (*SETTERS, *also):
        for count in (1, -1):
            steps = {name: count}
            if can_move(scenario, steps, units):
                made.append(Move(steps_text(steps, units), steps))
    return made + [Move(words, mends=cause) for cause, words in MENDS.items() if cause in causes]
