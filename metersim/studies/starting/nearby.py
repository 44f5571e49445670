"""What goes wrong first: one thing moves, and all else stays at the start point."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from metersim.faults import BadInput
from metersim.intervals import Estimate
from metersim.measures import Measured
from metersim.scenario import Scenario
from metersim.studies.starting.longruns import differences
from metersim.studies.starting.startpoint import QUALITY

CLOSE = 0.01  # of quality; a limit that costs more is close by


@dataclass(frozen=True)
class Nearby:
    """What one thing costs that moves.

    Attributes
    ----------
    key : str
        One of `MOVES`.
    changes : mapping of str to Estimate
        Measures `TOLD` less those of the start point, paired, in SI.
    """

    key: str
    changes: Mapping[str, Estimate]

    @property
    def close(self) -> bool:
        """Whether it costs more quality than `CLOSE`."""
        return self.changes[QUALITY].value < -CLOSE


MOVES: dict[str, Callable[[Scenario], Scenario]] = {
    "faster": lambda s: s.replace(demand__speed=1.25 * s.demand.speed),
    "smaller seed": lambda s: s.replace(seed__size_factor=0.95 * s.seed.size_factor),
    "larger seed": lambda s: s.replace(seed__size_factor=1.05 * s.seed.size_factor),
    "mixed seed": lambda s: s.replace(seed__size_cv=min(2 * s.seeds.size_cv, 0.4)),
    "less vacuum": lambda s: s.replace(vacuum__vacuum=0.8 * s.vacuum.vacuum),
    "more vacuum": lambda s: s.replace(vacuum__vacuum=1.2 * s.vacuum.vacuum),
    "milder": lambda s: s.replace(singulator__notch=s.singulator.notch - 1),
    "more aggressive": lambda s: s.replace(singulator__notch=s.singulator.notch + 1),
    "lower gate": lambda s: s.replace(pool__gate_opening=0.6 * s.pool.gate_opening),
    "higher gate": lambda s: s.replace(pool__gate_opening=1.4 * s.pool.gate_opening),
    "worn tube": lambda s: s.replace(tube__tube_wear=0.8),
    "worn cut-off": lambda s: s.replace(cutoff__decay_arc=0.0873),  # 5 degrees
    "uneven drive": lambda s: s.replace(drive__ripple=0.1),
}
"""What may move, by how much: see `metersim.reports.sheet` for the words."""


def nearby_of(start: Measured, run: Callable[[Scenario], Measured]) -> tuple[Nearby, ...]:
    """What each move costs, the costliest first; moves that cannot be are left out."""
    found = []
    for key, move in MOVES.items():
        try:
            moved = move(start.scenario)
        except BadInput:
            continue
        if moved != start.scenario:
            found.append(Nearby(key, differences(start, run(moved))))
    return tuple(sorted(found, key=lambda one: one.changes[QUALITY].value))
