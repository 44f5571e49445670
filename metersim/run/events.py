"""The meter as processes in time.

One process turns the disc and one works the gate.  One process follows each hole round and round.
One process follows each seed on its way down.  They share a `Meter`.  Its stations may be replaced
while it runs.  A seed on its way down keeps those of its release, but for the sensor.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterable
from itertools import pairwise
from typing import Any, NamedTuple

import simpy

from metersim.machine.losses import KNOCKED, SHAKEN, SWEPT
from metersim.machine.moment import Moment
from metersim.machine.pickup import Chances
from metersim.machine.scenario import Scenario
from metersim.machine.stations import CUT, EDGE, ENTERS, LEAVES, Stations, usual_stations
from metersim.run.chamber import EMPTY
from metersim.run.draws import CONTACTS
from metersim.run.hole import join, knock_off, shake_off, sweep_off
from metersim.run.meter import Cell, Held, Meter
from metersim.run.records import Origin, Run, run_of_rows
from metersim.run.streams import Streams

Steps = Generator[simpy.Event, Any, None]
Visitor = Callable[[Meter], Steps]


def turn_disc(meter: Meter) -> Steps:
    """The drive: set the speed of the holes at each tick."""
    for tick in range(meter.course.ticks):
        yield meter.until(float(meter.course.tick_times(tick, tick + 1)[0]))
        if stood := meter.course.stood(tick):
            meter.note(-1, -1, "drive", "slipped", f"stood for {stood * 1e3:.0f} ms")
        meter.speed = float(meter.course.tick_speeds(tick, tick + 1)[0])


def work_gate(meter: Meter) -> Steps:
    """The gate: let seed slide into the pool at ticks, unless an arch stops it.

    A slide starts when the pool is low, and ends when the pool is full.
    """
    before = 0.0  # time of the last tick, s
    passable = 0.0  # seeds that the gate could have passed so far
    leaking = 0.0  # seeds that the slot at the disc could have passed so far
    wait = meter.arches.wait()  # until an arch forms or clears, over the mean wait
    for tick in range(meter.course.ticks):
        time = float(meter.course.tick_times(tick, tick + 1)[0])
        yield meter.until(time)
        gate, at = meter.stations.gate, Moment("gate", time=time, speed=meter.speed)
        rate = gate.clearing_rate(at) if meter.arched else gate.arch_rate(at)
        wait -= float(rate) * (time - before)
        if wait <= 0:
            meter.arched = not meter.arched
            wait = meter.arches.wait()
            meter.note(-1, -1, "gate", "arch formed" if meter.arched else "arch cleared")
        able = -int(passable)  # whole seeds that the gate can pass since the last tick
        if not meter.arched:
            passable += float(gate.flow(at)) * (time - before)
        able += int(passable)
        out = -int(leaking)  # whole seeds that the slot can pass since the last tick
        leaking += float(gate.leak(at)) * (time - before)
        out = min(out + int(leaking), meter.pool)
        meter.pool -= out
        meter.spilt += out
        full, low = int(gate.full(at)), int(gate.low(at))
        breathes = low < full - 1  # otherwise it trickles, which is nothing to note
        if not meter.sliding and meter.pool <= low:
            meter.sliding = True
            if breathes:
                meter.note(-1, -1, "gate", "slide started", f"{meter.pool} seeds in the pool")
        if meter.sliding:
            inflow = max(min(full - meter.pool, able, meter.hopper), 0)
            meter.hopper -= inflow
            meter.pool += inflow
            if inflow and not meter.hopper:
                meter.note(-1, -1, "gate", "hopper ran empty")
            meter.sliding = meter.pool < full
            if breathes and not meter.sliding:
                meter.note(-1, -1, "gate", "slide ended", f"{meter.pool} seeds in the pool")
        before = time
        meter.available = meter.pool
        meter.level = float(gate.seen(meter.pool))
        meter.ticks.append((time, meter.pool, meter.hopper, meter.arched, meter.spilt))


def follow_hole(meter: Meter, hole: int) -> Steps:
    """A hole: enter the pool, leave it, pass the singulator, reach the cut-off, and start again."""
    leaks = meter.scenario.holes.lets_air[hole]
    yield from end_first_turn(meter, hole, leaks)
    for number in range(hole, meter.passages, meter.scenario.disc.cells):
        enters, leaves, meets_edge, cut = (
            float(meter.course.times(number, point)) for point in (ENTERS, LEAVES, EDGE, CUT)
        )
        yield meter.until(enters)
        meter.in_pool += leaks
        pickup, draws = meter.stations.pickup, meter.draws
        at = Moment("pickup", time=enters, speed=meter.speed, level=meter.level)
        chances = Chances(*map(float, pickup.chances(meter.vacuum_at(number), at)))
        along, across = (
            draw * pickup.seat_scale for draw in (draws.along(number), draws.across(number))
        )
        cell = Cell(number, meter.level, chances, along, across, [])

        yield meter.until(leaves)
        reason = join(meter, cell)
        counts = [len(cell.held)]  # seeds on the cell after each station
        if cell.held and cell.chances.knocks > 0:
            knock_off(meter, cell)
            reason = reason if cell.held else KNOCKED
        counts.append(len(cell.held))
        meter.in_pool -= leaks
        open_since_pool = not cell.held
        meter.count_open(leaks, open_since_pool)

        yield meter.until(meets_edge)
        if cell.held:
            sweep_off(meter, cell, moment(meter, cell, "singulator", meets_edge, EDGE))
            reason = reason if cell.held else SWEPT
            meter.note_all(number, cell.held, "singulator", "passed")
        counts.append(len(cell.held))
        is_open = not cell.held
        if is_open and not open_since_pool:
            meter.count_open(-leaks, False)
            meter.count_open(leaks, True)

        yield meter.until(cut)
        meter.count_open(-leaks, is_open)
        if cell.held:
            shake_off(meter, cell, leaves, cut)
            reason = reason if cell.held else SHAKEN
            meter.note_all(number, cell.held, "carry", "reached the cut-off")
        counts.append(len(cell.held))
        let_go(meter, cell, cut)
        lost = (before - after for before, after in pairwise(counts))
        meter.cell_rows[number] = (counts[0], *lost, counts[-1], reason)


def end_first_turn(meter: Meter, hole: int, leaks: float) -> Steps:
    """Where rows share a fan, follow a hole that was under way when the pass began."""
    if meter.starts is None:
        return
    number, is_open = hole - meter.scenario.disc.cells, meter.starts == EMPTY
    if meter.course.angles(number, CUT) <= 0:
        return
    meter.in_pool += leaks
    if meter.course.angles(number, LEAVES) > 0:
        yield meter.until(float(meter.course.times(number, LEAVES)))
    meter.in_pool -= leaks
    meter.count_open(leaks, is_open)
    yield meter.until(float(meter.course.times(number, CUT)))
    meter.count_open(-leaks, is_open)


def moment(meter: Meter, cell: Cell, station: str, time: float, point: int = CUT) -> Moment:
    """The moment that a station sees, with the speed of the hole at a point of its way."""

    def speed() -> float:
        return float(meter.course.hole_speeds(cell.number, point))

    return Moment(station, time=time, speed=speed, level=cell.level)


def let_go(meter: Meter, cell: Cell, cut: float) -> None:
    """Start the way down of each seed of a cell.

    The first seed leaves when its share of the hole is shut.  The others follow it.
    """
    pickup, release = meter.stations.pickup, meter.stations.release
    at = moment(meter, cell, "release", cut)
    travel = 0.0
    for seed in cell.held:
        if seed is cell.held[0]:
            pull = seed.share * meter.vacuum_at(cell.number)
            strength = pickup.strength(cell.chances, seed.needed, pull)
            travel = float(release.travel(strength, at))
        else:
            travel += float(release.lag(seed.size, at))
        meter.env.process(descend(meter, cell, seed, cut + travel / at.speed, at.speed))


class Stop(NamedTuple):
    """A point on the way down: a contact with the wall, the beam of the sensor, or the ground."""

    what: str
    time: float  # since the release, s
    speed: float  # of the seed when it arrives, m/s
    loss: float = 0.0  # share of the speed that a contact takes


WALL, BEAM, GROUND = "wall", "beam", "ground"


def way_down(meter: Meter, cell: Cell, seed: Held, launch: float, mean: float) -> list[Stop]:
    """The stops of a seed that falls from a launch speed [m/s], in a meter that does not shake.

    `mean` is the mean number of contacts with the wall.
    """
    tube, draws = meter.stations.tube, meter.draws
    ground = max(tube.length + cell.along, 0.0)
    beam = max(ground - meter.stations.sensor.height, 0.0)
    apart = ground / mean if mean > 0 else math.inf
    wall = draws.contact(cell.number, seed.nth) * apart
    steady = float(tube.steady_speed(seed.size))
    height, start = 0.0, launch  # where the free fall began: depth below the hole, and speed
    slowing = 1.0  # product over all contacts so far
    contacts, stops = 0, []
    while True:
        here = min(wall, beam, ground)
        speed = float(tube.speed(here - height, start, steady))
        time = float(tube.time(here, launch, speed, steady, slowing))
        if here == beam:
            stops.append(Stop(BEAM, time, speed))
            beam = math.inf
        elif here == ground:
            stops.append(Stop(GROUND, time, speed))
            return stops
        else:
            rank, gap = draws.wall(cell.number, seed.nth, contacts)
            loss = float(tube.loss(rank))
            stops.append(Stop(WALL, time, speed, loss))
            height, start = here, speed * (1 - loss)
            slowing *= float(tube.slowing(speed, start, steady))
            apart = float(tube.damped(apart))
            contacts += 1
            wall = here - math.log(gap) * apart if contacts < CONTACTS else math.inf


def descend(meter: Meter, cell: Cell, seed: Held, released: float, speed: float) -> Steps:
    """A seed's way down from a hole of this speed [m/s]: wall contacts, beam, ground.

    The seed keeps its own clock.  So its records do not contain the rounding of the simulation's
    clock.  The row unit's shaking at the release makes the fall a little longer or shorter.
    """
    number, nth, draws = cell.number, seed.nth, meter.draws
    yield meter.until(released)
    meter.carried -= 1
    meter.falling += 1
    meter.note(number, nth, "release", "released", "vacuum cut")
    stations, direction = meter.stations, draws.launch(number, nth)
    launch = speed * float(stations.release.downward(direction))
    contacts = stations.tube.contacts(speed, moment(meter, cell, "tube", released))
    stops = way_down(meter, cell, seed, launch, float(contacts))
    landing, later = stops[-1], 0.0
    if not stations.row_unit.still:
        shake = stations.row_unit.vertical_speed(meter.shaking.at(released))
        later = float(stations.tube.later_by(shake, landing.time, landing.speed))
    now, crossed, seen = released, 0.0, False
    for stop in stops:
        now = released + max(stop.time + later, 0.0)
        yield meter.until(now)
        if stop.what == BEAM:
            crossed, seen = now, watch(meter, cell, seed, now, stop.speed)
        elif stop.what == WALL:
            meter.note(
                number, nth, "tube", "touched the wall", f"lost {stop.loss:.0%} of its speed"
            )
    walls = [stop for stop in stops if stop.what == WALL]
    lost = walls[-1].speed * walls[-1].loss if walls else 0.0
    sideways = speed * float(stations.release.sideways(direction))
    aside = float(stations.tube.aside(sideways, direction, lost))
    furrow, astray = stations.furrow, stations.tube.strays(aside, landing.time, landing.speed)
    position = float(furrow.place_at(now)) + float(astray)
    meter.note(number, nth, "furrow", "landed", f"at {landing.speed:.2f} m/s")
    if furrow.in_field:
        at = moment(meter, cell, "furrow", now)
        air = float(furrow.hop_time(draws.hop(number, nth), landing.speed, at))
        position += float(furrow.hop_length(air, landing.speed, aside, at))
        now += air
        yield meter.until(now)
        meter.note(number, nth, "furrow", "at rest", f"after {air * 1e3:.0f} ms of hop")
    if furrow.scatter > 0:
        position += draws.soil(number, nth) * furrow.scatter
    meter.falling -= 1
    meter.landed += 1
    row = (number, nth, seed.size, seed.needed, released, crossed, now, len(walls), seen, position)
    meter.seed_rows.append(row)


def watch(meter: Meter, cell: Cell, seed: Held, now: float, speed: float) -> bool:
    """Whether the sensor gives a pulse of its own for a seed that crosses the beam."""
    sensor, at = meter.stations.sensor, moment(meter, cell, "sensor", now)
    chance = sensor.detects(at)
    if chance < 1 and meter.draws.uniform("detection", cell.number, seed.nth) >= chance:
        meter.note(cell.number, seed.nth, "sensor", "not seen", "missed by the beam")
        return False
    alone = now >= meter.beam_dark_until
    dark_until = now + float(sensor.pulse(seed.size, speed, at))
    meter.beam_dark_until = max(meter.beam_dark_until, dark_until)
    words = ("seen", "gave a pulse of its own")
    if not alone:
        words = ("not seen", "merged with the seed before")
    meter.note(cell.number, seed.nth, "sensor", *words)
    return alone


def run_events(
    scenario: Scenario,
    stations: Stations,
    streams: Streams,
    vacuum: float,
    *,
    version: str,
    trace: bool = False,
    visitors: Iterable[Visitor] = (),
) -> Run:
    """Run a meter as processes in time; see `metersim.run.simulation.simulate`.

    Parameters
    ----------
    scenario, stations, streams
        Settings, stations and random draws.
    vacuum : float
        Vacuum in the chamber. [Pa]
    version : str
        Version of the program, for the records.
    trace : bool
        Whether to keep every event of every seed.
    visitors : iterable of callables
        Further processes that watch the meter or change it while it runs.
    """
    env = simpy.Environment()
    meter = Meter(env, scenario, stations, streams, vacuum, trace)
    work = start(meter, visitors)
    env.run(until=simpy.AllOf(env, work))
    while meter.carried or meter.falling:
        env.step()
    return run_of(meter, streams, version)


def start(meter: Meter, visitors: Iterable[Visitor] = ()) -> list[simpy.Process]:
    """Start the processes of a meter, and those of its visitors; the meter's own are returned."""
    env, holes = meter.env, meter.scenario.disc.cells
    work = [env.process(turn_disc(meter)), env.process(work_gate(meter))]
    for visitor in visitors:
        env.process(visitor(meter))
    return [*work, *(env.process(follow_hole(meter, hole)) for hole in range(holes))]


def run_of(meter: Meter, streams: Streams, version: str) -> Run:
    """What a meter recorded."""
    scenario, changes = meter.scenario, tuple(meter.changes)
    replaced = meter.first_stations.departures(usual_stations(scenario))
    origin = Origin(scenario, streams.seed, streams.replicate, version, replaced, changes=changes)
    rows = meter.seed_rows, meter.cell_rows, meter.ticks
    return run_of_rows(origin, *rows, meter.events or ())
