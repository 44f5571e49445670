"""The meter as processes in time.

One process turns the disc, one works the gate, one shakes the row unit, one follows every hole
round and round, and one follows every seed on its way down.  They share a `Meter`, whose
stations may be replaced while it runs: what comes later sees the change.
"""

from __future__ import annotations

import gc
import math
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import simpy
from simpy.events import NORMAL, Process, Timeout

from metersim.machine.pickup import Chances
from metersim.machine.rowunit import KNOT_INTERVAL
from metersim.machine.scenario import Scenario
from metersim.machine.stations import Stations
from metersim.run.draws import Streams
from metersim.run.hole import hang_on, knock, pick_up, sweep
from metersim.run.meter import Held, Meter
from metersim.run.records import KNOCKED, SHAKEN, SWEPT, Cells, Run, Seeds, Ticks

KNOTS_IN_STRETCH = 40  # of the row unit's shaking
SHAKING_STRETCH = KNOTS_IN_STRETCH * KNOT_INTERVAL  # s

Steps = Generator[simpy.Event, Any, None]
Visitor = Callable[[Meter], Steps]


class Wait(simpy.Event):
    """The waits of one process, one after the other: ``yield wait(seconds)``.

    A timeout that is used again: a wait costs a sixth less than with a fresh one.
    """

    def __init__(self, env: simpy.Environment) -> None:
        super().__init__(env)
        self._ok, self._value = True, None
        self._schedule = env.schedule

    def __call__(self, seconds: float) -> Wait:
        """Wait so many seconds, 0 or more."""
        self.callbacks = []
        self._schedule(self, NORMAL, seconds)
        return self


def turn_disc(meter: Meter) -> Steps:
    """The drive: how fast the holes run, tick by tick."""
    env, course = meter.env, meter.course
    times, speeds = course.tick_times(0, course.ticks), course.tick_speeds(0, course.ticks)
    for time, speed in zip(times.tolist(), speeds.tolist(), strict=True):
        yield Timeout(env, max(time - env.now, 0.0))
        meter.speed = speed


def work_gate(meter: Meter) -> Steps:
    """The gate: arches form and clear, seed runs in, the hopper empties."""
    env, luck, course = meter.env, meter.arch_luck, meter.course
    gate = meter.stations.gate
    before = passable = 0.0
    rate, wait = gate.arch_rate, luck.wait()  # of what happens next: an arch forms, or clears
    due = wait / rate if rate else math.inf
    for time in course.tick_times(0, course.ticks).tolist():
        yield Timeout(env, max(time - env.now, 0.0))
        meter.note_changes()
        if meter.stations.gate is not gate:  # what is left to wait goes on at the new rate
            gate, old = meter.stations.gate, rate
            rate = gate.clearing_rate if meter.arched else gate.arch_rate
            wait = (due - before) * old if old else wait
            due = before + wait / rate if rate else math.inf
        if time >= due:
            meter.arched = not meter.arched
            rate, wait = gate.clearing_rate if meter.arched else gate.arch_rate, luck.wait()
            due = time + wait / rate if rate else math.inf
            meter.note(-1, -1, "gate", "arch formed" if meter.arched else "arch cleared")
        if not meter.arched:
            able = -int(passable)
            passable += gate.flow * (time - before)
            able += int(passable)
            inflow = max(min(gate.full - meter.pool, able, meter.hopper), 0)
            meter.hopper -= inflow
            meter.pool += inflow
            if inflow and not meter.hopper:
                meter.note(-1, -1, "gate", "hopper ran empty")
        before = time
        meter.available = meter.pool
        meter.look()
        meter.ticks.append((time, meter.pool, meter.hopper, meter.arched))


def shake(meter: Meter) -> Steps:
    """The row unit: on and on, a stretch of shaking at a time."""
    env = meter.env
    for stretch in range(1, math.ceil(meter.course.end / SHAKING_STRETCH) + 1):
        meter.shaking.reach(stretch * SHAKING_STRETCH)
        yield Timeout(env, max(stretch * SHAKING_STRETCH - env.now, 0.0))


def follow_hole(meter: Meter, hole: int) -> Steps:
    """A hole: into the pool, out of it, past the singulator, to the cut-off, and round again."""
    wait, clock = Wait(meter.env), 0.0
    for cell in range(hole, meter.passages, meter.cells):
        dealt, index = meter.dealt(cell)
        enters, leaves, meets_edge, is_cut = dealt.times[index]
        yield wait(enters - clock)
        chances = meter.chances
        yield wait(leaves - enters)
        held, reason = pick_up(meter, chances, dealt, index, cell)
        joined = len(held)
        meter.available -= joined
        meter.pool -= joined
        meter.carried += joined
        if held and chances.knocks > 0:
            held = knock(meter, chances, dealt, index, cell, held)
            reason = reason if held else KNOCKED
        knocked = joined - len(held)
        yield wait(meets_edge - leaves)
        if held:
            held = sweep(meter, dealt, index, cell, held)
            reason = reason if held else SWEPT
            if meter.events is not None:
                meter.note_all(cell, held, "singulator", "passed")
        swept = joined - knocked - len(held)
        yield wait(is_cut - meets_edge)
        clock = is_cut
        if held:
            held = hang_on(meter, chances, cell, held, leaves, is_cut)
            reason = reason if held else SHAKEN
        shaken = joined - knocked - swept - len(held)
        if held:
            if meter.events is not None:
                meter.note_all(cell, held, "carry", "reached the cut-off")
            let_go(meter, chances, dealt, index, cell, held, is_cut)
        meter.cell_rows[cell] = (joined, knocked, swept, shaken, len(held), reason)


def let_go(
    meter: Meter,
    chances: Chances,
    dealt: Dealt,
    index: int,
    cell: int,
    held: list[Held],
    is_cut: float,
) -> None:
    """Send the seeds of a cell on their way down: the first when its share of the hole is shut,
    later ones after it."""
    release, first = meter.stations.release, held[0]
    travel = first.travel
    changed = meter.vacuum != chances.vacuum or dealt.stations is not meter.stations
    if changed or first.place or first.share != 1:
        pull = first.share * meter.vacuum
        travel = float(release.travel(meter.stations.pickup.strength(chances, first.needed, pull)))
    for seed in held:
        if seed is not first:
            travel += float(release.lag(seed.size))
        delay = travel / dealt.speeds[index]
        Process(meter.env, descend(meter, dealt, index, cell, seed, delay, is_cut + delay))


def descend(
    meter: Meter,
    dealt: Dealt,
    index: int,
    cell: int,
    seed: Held,
    delay: float,
    released: float,
) -> Steps:
    """A seed's way down: off the hole, from wall to wall, through the beam, to rest.

    The seed keeps its own clock, so that its records do not carry the rounding of the
    simulation's.  Its fall was worked out with those of many others, for a meter at rest; the
    row unit's shaking at its release moves it a little.
    """
    wait, place = Wait(meter.env), seed.place
    fall = dealt.fall(index, place, seed.size)
    yield wait(delay)
    meter.carried -= 1
    meter.falling += 1
    tracing = meter.events is not None
    if tracing:
        meter.note(cell, place, "release", "released", "vacuum cut")
    stations = meter.stations
    later = 0.0
    if not stations.row_unit.still:
        upset = stations.row_unit.vertical_speed(meter.shaking.at(released))
        later = stations.tube.later_by(upset, fall.times[-1], fall.speed)
    now, crossed, seen, contact = released, 0.0, False, 0
    for happening, time in enumerate(fall.times):
        before, now = now, released + max(time + later, 0.0)
        yield wait(max(now - before, 0.0))
        if happening == fall.sensor:
            crossed = now
            seen = watch(meter, dealt, index, cell, seed, now, fall.speed_at_beam)
        elif tracing and happening < len(fall.times) - 1:
            loss = f"lost {fall.loss[contact]:.0%} of its speed"
            meter.note(cell, place, "tube", "touched the wall", loss)
            contact += 1
    furrow = stations.furrow
    position = furrow.ground_speed * now + fall.astray
    if tracing:
        meter.note(cell, place, "furrow", "landed", f"at {fall.speed:.2f} m/s")
    if furrow.in_field:
        soil = dealt.luck.normal("soil", index, place) if place else dealt.soil[index]
        position += fall.hop_length + soil * furrow.scatter
        yield wait(fall.hop_time)
        now += fall.hop_time
        if tracing:
            hop = f"after {fall.hop_time * 1e3:.0f} ms of hop"
            meter.note(cell, place, "furrow", "at rest", hop)
    meter.falling -= 1
    meter.landed += 1
    contacts = fall.contacts
    row = (cell, place, seed.size, seed.needed, released, crossed, now, contacts, seen, position)
    meter.seed_rows.append(row)


def watch(
    meter: Meter, dealt: Dealt, index: int, cell: int, seed: Held, now: float, speed: float
) -> bool:
    """Whether the sensor gives a pulse of its own for a seed that crosses the beam."""
    tracing, chance = meter.events is not None, meter.stations.sensor.detection
    if chance < 1 and dealt.luck.uniform("detection", index, seed.place) >= chance:
        if tracing:
            meter.note(cell, seed.place, "sensor", "not seen", "missed by the beam")
        return False
    alone = now >= meter.beam_dark_until
    dark_until = now + float(meter.stations.sensor.pulse(seed.size, speed))
    meter.beam_dark_until = max(meter.beam_dark_until, dark_until)
    if tracing:
        what = ("seen", "gave a pulse of its own")
        if not alone:
            what = ("not seen", "merged with the seed before")
        meter.note(cell, seed.place, "sensor", *what)
    return alone


def run_events(
    scenario: Scenario,
    stations: Stations,
    streams: Streams,
    *,
    version: str,
    trace: bool = False,
    visitors: Iterable[Visitor] = (),
) -> Run:
    """Run a meter as processes in time.

    Parameters
    ----------
    scenario : Scenario
        What is set.
    stations : Stations
        The stations.
    streams : Streams
        The luck.
    version : str
        Version of the program, for the records.
    trace : bool
        Whether to keep every event of every seed.
    visitors : iterable of callables
        Further processes, each a generator function of the `Meter`: to watch it, or to change
        it while it runs.

    Returns
    -------
    Run
        The records.
    """
    env = simpy.Environment()
    meter = Meter(env, scenario, stations, streams, trace)
    work = [env.process(turn_disc(meter)), env.process(work_gate(meter))]
    if not stations.row_unit.still:
        env.process(shake(meter))
    for visitor in visitors:
        env.process(visitor(meter))
    work += [env.process(follow_hole(meter, hole)) for hole in range(meter.cells)]
    with _collector_at_rest():
        env.run(until=simpy.AllOf(env, work))
        while meter.carried or meter.falling:
            env.step()
    return _records(meter, streams, version)


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Stop the cyclic collector: events free themselves, and scanning the growing records for
    cycles takes time and finds none."""
    was_at_work = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_at_work:
            gc.enable()


def _records(meter: Meter, streams: Streams, version: str) -> Run:
    meter.seed_rows.sort()
    kinds = (int, np.int8, float, float, float, float, float, np.int8, bool, float)
    columns = zip(*meter.seed_rows, strict=True) if meter.seed_rows else [()] * len(kinds)
    seeds = Seeds(
        *(np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True))
    )
    cells = Cells(*np.array(meter.cell_rows, dtype=np.int8).T.copy())
    time, pool, hopper, arched = zip(*meter.ticks, strict=True)
    return Run(
        scenario=meter.scenario,
        seed=streams.seed,
        replicate=streams.replicate,
        version=version,
        replaced=meter.replaced,
        seeds=seeds,
        cells=cells,
        ticks=Ticks(np.array(time), np.array(pool), np.array(hopper), np.array(arched)),
        trace=tuple(meter.events or ()),
    )
