"""Air of a machine with a fault: vacuum of this row and of the others, and what the gauge shows.

A scenario of one meter is one row of a machine.  Its fan and its other rows are assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from metersim.machine.airline import Air, air_line, empty_holes, full_holes, middle_row
from metersim.machine.scenario import Scenario
from metersim.machine.turning import gap_leak
from metersim.questions.shared.faults.fault import ALL, ONE

Floats = NDArray[np.float64]

USUAL_ROWS = 8  # of a machine that a scenario of one meter in a field belongs to (assumption)
OVER_VACUUM, OVER_FLOW = 6.0, 8.0
"""Most pressure and free flow of its fan over vacuum and flow of its work (assumption).

The fan then has a reserve of speed, and it loses a tenth of its pressure to the flow.
"""
LARGE_FLOW, STRONG = 5.0, 50e3  # m3/s, Pa; more than any fan of a machine has
ROUNDS = 30  # until vacuum and gap fit one another
OPENED = 0.3  # share of the carried seeds that a turn shakes off (assumption)
SEEN = 0.05  # relative change of vacuum from which a row shows it (assumption)
EVERY = 2  # every so many rows have a fault of several rows


@dataclass(frozen=True, kw_only=True)
class Breathing:
    """Air of a machine that works steadily.

    Attributes
    ----------
    vacuum, start : float
        Vacuum at the holes of this row, at work and just after a turn, over that of the machine in
        order at work.  A turn shakes off a part of the seeds, so more holes draw air. [1]
    usual_start : float
        Vacuum just after a turn of the machine in order, likewise. [1]
    gauge : float
        Reading of the gauge over the set vacuum. [1]
    others : float
        Share of the other rows whose vacuum differs from that of the machine in order. [1]
    """

    vacuum: float
    start: float
    usual_start: float
    gauge: float
    others: float


STILL = Breathing(vacuum=1.0, start=1.0, usual_start=1.0, gauge=1.0, others=0.0)
"""Air of a machine whose vacuum is 0."""


def machine_around(scenario: Scenario) -> Scenario:
    """The machine that a meter belongs to: as it is, or with an assumed fan and further rows."""
    vacuum = scenario.vacuum.vacuum
    if scenario.is_toolbar or vacuum == 0:
        return scenario
    rows = USUAL_ROWS if scenario.in_field else 1
    around = scenario.replace(
        toolbar__rows=rows, fan__shut_off=OVER_VACUUM * vacuum, fan__free_flow=LARGE_FLOW
    )
    flow = float(_air(around, around, ()).flow[0])
    return around.replace(fan__free_flow=OVER_FLOW * flow)


def air_of(machine: Scenario, faulty: Scenario, scope: str) -> Breathing:
    """Air of a machine with a fault.

    Parameters
    ----------
    machine : Scenario
        The machine in order, as of `machine_around`.
    faulty : Scenario
        The same machine with the fault in every row.
    scope : str
        Rows that have the fault: one, several or all, see `metersim.questions.shared.faults.fault`.
    """
    if not machine.is_toolbar:
        return STILL
    row, rows = middle_row(machine), machine.toolbar.rows
    has = {
        ALL: range(1, rows + 1),
        ONE: (row,),
    }.get(scope, range((row - 1) % EVERY + 1, rows + 1, EVERY))
    usual, now = _air(machine, machine, ()), _air(machine, faulty, has, scope == ALL)
    ratio = now.vacuum / usual.vacuum[:, :1]
    others = [k - 1 for k in faulty.working_rows if k != row]
    moved = np.abs(ratio[others, 0] - 1) > SEEN
    return Breathing(
        vacuum=float(ratio[row - 1, 0]),
        start=float(ratio[row - 1, 1]),
        usual_start=float(usual.vacuum[row - 1, 1] / usual.vacuum[row - 1, 0]),
        gauge=float(now.reading[0]) / machine.vacuum.vacuum,
        others=float(moved.mean()) if others else 0.0,
    )


def _air(machine: Scenario, faulty: Scenario, has: Sequence[int], all_of_it: bool = False) -> Air:
    """Air of all rows at two moments: at work, and just after a turn."""
    whole = faulty if all_of_it else machine.replace(fan__set_when=faulty.fan.set_when)
    each = {row: faulty for row in has}
    rows = [each.get(row, machine) for row in range(1, machine.toolbar.rows + 1)]
    holes = np.array([_open_holes(one) for one in rows])
    # leaks that the line does not know: those of a hose, and those of the running gap
    hoses = np.array([[one.hoses.seal_leak - whole.hoses.seal_leak] for one in rows])
    line = air_line(whole, rows=each, gap_leak=[gap_leak(one, whole.vacuum.vacuum) for one in rows])
    has_gap = any(one.gap.running_gap is not None for one in rows)
    vacuum: Floats = np.zeros_like(holes)  # a gap closes as the vacuum builds up from rest
    for _ in range(ROUNDS if has_gap else 1):
        gaps = np.array([gap_leak(*pair) + 0 * pair[1] for pair in zip(rows, vacuum, strict=True)])
        air = line.solve(line.open_area(holes, hoses + gaps))
        vacuum = air.vacuum
    return air


def _open_holes(row: Scenario) -> tuple[float, float]:
    """Open holes that let through as much air as a disc, at work and just after a turn."""
    full = full_holes(row)
    return full, full + OPENED * (empty_holes(row) - full)


def alone(scenario: Scenario, vacuum: float) -> Scenario:
    """One row in steady work at a vacuum, whatever leaks: its own strong fan keeps it.

    Parameters
    ----------
    scenario : Scenario
        The row.
    vacuum : float
        Vacuum at its port. [Pa]
    """
    is_a_row = scenario.row or scenario.rows
    bare = replace(scenario, rows=(), row=0, machine=None) if is_a_row else scenario
    return bare.replace(
        vacuum__vacuum=vacuum,
        vacuum__chamber_open=False,
        fan__shut_off=STRONG,
        fan__free_flow=LARGE_FLOW,
        fan__set_when="now",
        toolbar__rows=1,
        toolbar__working="all",
        toolbar__curve_radius=None,
        hoses__gauge_at=1,
        hoses__gauge_error=0.0,
        hoses__fan_at=None,
        hoses__hose_length=0.0,
        hoses__hose_fittings=0.0,
        travel__speeds="steady",
        travel__rates="steady",
        travel__off="none",
    )
