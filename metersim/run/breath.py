"""All rows of a machine as processes on one clock, and the process that lets them breathe."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any

import numpy as np
import simpy

from metersim import __version__
from metersim.machine.airline import Air
from metersim.run.chamber import Holes
from metersim.run.events import run_of, start
from metersim.run.meter import Meter
from metersim.run.records import Run
from metersim.run.rows import Machine


def breathe(
    env: simpy.Environment, machine: Machine, meters: dict[int, Meter], found: list[Air]
) -> Generator[simpy.Event, Any, None]:
    """The air: at each tick, set the vacuum of all rows from what sits on their discs.

    A row that has taken up its last cell keeps its disc as it was.
    """
    holes: dict[int, Holes] = {}
    for time in machine.ticks:
        if time > env.now:
            yield env.timeout(time - env.now)
        holes |= {
            row: Holes(*(np.array([n]) for n in (meter.in_pool, meter.empty, meter.seeded)))
            for row, meter in meters.items()
            if time <= machine.ends[row]
        }
        air = machine.air(holes)
        found.append(air)
        for row, meter in meters.items():
            meter.breathe(float(air.vacuum[row - 1, 0]))


def pass_by_events(machine: Machine) -> tuple[Air, dict[int, Run]]:
    """The air and the runs of all working rows of a machine, as processes in time."""
    env = simpy.Environment()
    first = machine.first_air()
    meters = {
        row: Meter(
            env,
            machine.rows[row],
            machine.stations[row],
            machine.streams(row),
            float(first.vacuum[row - 1, 0]),
            starts=machine.scenario.travel.start,
        )
        for row in machine.working
    }
    work = [process for meter in meters.values() for process in start(meter)]
    found: list[Air] = []
    work.append(env.process(breathe(env, machine, meters, found)))
    env.run(until=simpy.AllOf(env, work))
    while any(meter.carried or meter.falling for meter in meters.values()):
        env.step()
    air = Air(
        vacuum=np.concatenate([one.vacuum for one in found], axis=1),
        at_fan=np.concatenate([one.at_fan for one in found]),
        flow=np.concatenate([one.flow for one in found]),
        reading=np.concatenate([one.reading for one in found]),
    )
    runs = {row: run_of(meter, machine.streams(row), __version__) for row, meter in meters.items()}
    return air, runs
