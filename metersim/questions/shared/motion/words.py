"""The disc in motion in words: what happens to each cell, as a sentence with its time."""

from __future__ import annotations

from typing import NamedTuple

from metersim.questions.shared.motion.moved import COUNTED, Motion, MovedCell
from metersim.questions.shared.words import plural

PLAIN, ODD = "plain", "odd"
"""Weight of an event: what most cells do, and what a viewer looks for."""


LEAST_SLIDE = 0.01  # of the seeds in the pool


class Happening(NamedTuple):
    """Something that happens, in a sentence."""

    time: float  # s
    cell: int  # -1 when it concerns no cell
    at: str  # "pool", "edge", "carry", "cut", "beam" or "gate"
    weight: str  # `PLAIN` or `ODD`
    words: str


def events_of(motion: Motion) -> tuple[Happening, ...]:
    """All that happens to the cells of a motion, and at the gate, by time."""
    found = [event for cell in motion.cells for event in _of_cell(motion, cell)]
    found += _of_gate(motion)
    kept = [event for event in found if motion.start <= event.time <= motion.end]
    return tuple(sorted(kept, key=lambda event: (event.time, event.cell)))


def _of_cell(motion: Motion, cell: MovedCell) -> list[Happening]:
    name = f"cell {cell.cell} (hole {cell.hole + 1})"
    many, events = cell.joined, []
    if many:
        said = f"{many} {plural(many, 'seed')} joined {name}."
    else:
        said = f"C{name[1:]} leaves the pool empty: {cell.why}."
    weight = PLAIN if many else ODD
    events.append(Happening(cell.leaves, cell.cell, "pool", weight, said))
    for at, time in (("pool", cell.leaves), ("edge", cell.edge), ("carry", cell.cut)):
        gone = [seed for seed in motion.seeds_of[cell.cell] if seed.lost and seed.lost.at == at]
        if not gone:
            continue
        lost = len(gone)
        before = f"{lost} of {many} {plural(many, 'seed')}"
        took = {
            "pool": f"The heap knocked {before} off {name}.",
            "edge": f"The edge sent {before} of {name} back.",
            "carry": f"C{name[1:]} lost {before} on the way round.",
        }[at]
        many -= lost
        if not many:
            took = f"{took[:-1]}, and left it empty."
        weight = PLAIN if many and at == "edge" else ODD
        events.append(Happening(time, cell.cell, at, weight, took))
    if cell.released == 1:
        does = "drops 1 seed"
    elif cell.released:
        does = f"drops {cell.released} seeds: a {named(cell.released)}"
    else:
        does = f"drops nothing: a skip, {cell.why}"
    weight = PLAIN if cell.released == 1 else ODD
    events.append(Happening(cell.cut, cell.cell, "cut", weight, f"C{name[1:]} {does}."))
    for seed in motion.seeds_of[cell.cell]:
        if seed.beam is not None and not seed.seen:
            said = f"The sensor gives no pulse of its own for a seed of {name}."
            events.append(Happening(seed.beam, cell.cell, "beam", ODD, said))
    return events


def named(released: int) -> str:
    """Name of a cell by the seeds that it released."""
    names = (*COUNTED[:-1], "triple")
    return names[released] if released < len(names) else f"cell of {released} seeds"


def _of_gate(motion: Motion) -> list[Happening]:
    pool, found = motion.pool, []
    times, seeds = pool.time.tolist(), pool.inflow.tolist()
    for k in range(1, len(times)):
        if pool.arched[k] != pool.arched[k - 1]:
            said = "An arch stops the gate." if pool.arched[k] else "The arch at the gate breaks."
            found.append(Happening(times[k], -1, "gate", ODD, said))
        if is_slide(seeds[k], int(pool.seeds[k])):
            said = f"A slide brings {seeds[k]} seeds into the pool."
            found.append(Happening(times[k], -1, "gate", PLAIN, said))
    return found


def is_slide(inflow: int, pool: int) -> bool:
    """Whether so many seeds came in at once that a viewer is told; fewer only trickle."""
    return inflow >= max(LEAST_SLIDE * pool, 5)
