"""All rows of a machine in arrays: the one history of their vacuum that agrees with their cells.

The vacuum at a tick follows from what sits on the discs of all rows just before it.  It decides
what happens to them until the next tick.  So the vacuum is guessed, and the cells of all rows are
computed.  The vacuum that follows from them is the next guess.  A tick depends on earlier ticks
alone, so a guess that comes out again is the one history there is.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from metersim.machine.airline import Air
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations
from metersim.run.arrays.engine import cells_alone, run_arrays
from metersim.run.arrays.steps import Steps
from metersim.run.chamber import Holes, Vacuum, holes_at
from metersim.run.records import Cells, Run, run_of_pieces
from metersim.run.rows import Machine
from metersim.run.streams import Streams

StepsOf = Callable[[Stations], Steps]


def pass_by_arrays(machine: Machine, steps: StepsOf) -> tuple[Air, dict[int, Run]]:
    """The air and the runs of all working rows, in arrays."""
    air = machine.first_air()
    known: dict[int, Holes] = {}
    while True:
        for row in machine.working:
            known[row] = _holes(machine, row, air, steps)
        again = machine.air(known)
        if np.array_equal(again.vacuum, air.vacuum):
            return air, {row: _run(machine, row, air, steps) for row in machine.working}
        air = again


def _holes(machine: Machine, row: int, air: Air, steps: StepsOf) -> Holes:
    """What sits on the disc of a row at ticks under this air."""
    parts = cells_alone(*_asked(machine, row, air), steps(machine.stations[row]))
    sound = np.array(machine.rows[row].holes.lets_air)
    start = machine.scenario.travel.start
    cells = Cells.stacked(list(parts))
    return machine.held(row, holes_at(machine.courses[row], cells, sound, start, machine.ticks))


def _run(machine: Machine, row: int, air: Air, steps: StepsOf) -> Run:
    parts = run_arrays(*_asked(machine, row, air), steps(machine.stations[row]))
    return run_of_pieces(machine.origin(row), parts)


def _asked(machine: Machine, row: int, air: Air) -> tuple[Scenario, Stations, Streams, Vacuum]:
    vacuum = Vacuum(air.vacuum[row - 1], machine.ticks)
    return machine.rows[row], machine.stations[row], machine.streams(row), vacuum
