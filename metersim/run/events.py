"""The meter as processes in time.

One process turns the disc, one works the gate, one follows each hole round and round, and one
follows each seed on its way down.  They share a `Meter`, whose stations may be replaced while it
runs: what comes later sees the change.  The draws of a cell and of its seeds are its own.
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
from metersim.machine.stations import CUT, EDGE, ENTERS, LEAVES, Stations, stations_of
from metersim.run.draws import CONTACTS, Streams
from metersim.run.hole import join, knock_off, shake_off, sweep_off
from metersim.run.meter import Cell, Held, Meter
from metersim.run.records import Origin, Run, run_of_rows

Steps = Generator[simpy.Event, Any, None]
Visitor = Callable[[Meter], Steps]


def turn_disc(meter: Meter) -> Steps:
    """The drive: how fast the holes run, tick by tick."""
    for tick in range(meter.course.ticks):
        yield meter.until(float(meter.course.tick_times(tick, tick + 1)[0]))
        meter.speed = float(meter.course.tick_speeds(tick, tick + 1)[0])


def work_gate(meter: Meter) -> Steps:
    """The gate: arches form and clear, seed runs in, the hopper empties."""
    before = passable = 0.0
    wait = meter.arches.wait()  # until an arch forms, or clears, over the mean of such waits
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
        if not meter.arched:
            able = -int(passable)
            passable += float(gate.flow(at)) * (time - before)
            able += int(passable)
            inflow = max(min(int(gate.full(at)) - meter.pool, able, meter.hopper), 0)
            meter.hopper -= inflow
            meter.pool += inflow
            if inflow and not meter.hopper:
                meter.note(-1, -1, "gate", "hopper ran empty")
        before = time
        meter.available = meter.pool
        meter.level = float(gate.level(meter.pool))
        meter.ticks.append((time, meter.pool, meter.hopper, meter.arched))


def follow_hole(meter: Meter, hole: int) -> Steps:
    """A hole: into the pool, out of it, past the singulator, to the cut-off, and round again."""
    for number in range(hole, meter.passages, meter.scenario.disc.cells):
        enters, leaves, meets_edge, is_cut = (
            float(meter.course.times(number, place)) for place in (ENTERS, LEAVES, EDGE, CUT)
        )
        yield meter.until(enters)
        pickup, draws = meter.stations.pickup, meter.draws
        at = Moment("pickup", time=enters, speed=meter.speed, level=meter.level)
        chances = Chances(*map(float, pickup.chances(meter.vacuum, at)))
        along, across = (
            draw * pickup.seat_scale for draw in (draws.along(number), draws.across(number))
        )
        cell = Cell(number, meter.level, chances, along, across, [])

        yield meter.until(leaves)
        reason = join(meter, cell)
        counts = [len(cell.held)]  # after each station
        if cell.held and cell.chances.knocks > 0:
            knock_off(meter, cell)
            reason = reason if cell.held else KNOCKED
        counts.append(len(cell.held))

        yield meter.until(meets_edge)
        if cell.held:
            sweep_off(meter, cell, moment(meter, cell, "singulator", meets_edge, EDGE))
            reason = reason if cell.held else SWEPT
            meter.note_all(number, cell.held, "singulator", "passed")
        counts.append(len(cell.held))

        yield meter.until(is_cut)
        if cell.held:
            shake_off(meter, cell, leaves, is_cut)
            reason = reason if cell.held else SHAKEN
            meter.note_all(number, cell.held, "carry", "reached the cut-off")
        counts.append(len(cell.held))
        let_go(meter, cell, is_cut)
        lost = (before - after for before, after in pairwise(counts))
        meter.cell_rows[number] = (counts[0], *lost, counts[-1], reason)


def moment(meter: Meter, cell: Cell, station: str, time: float, place: int = CUT) -> Moment:
    """What a station may ask at a time, with the speed of the hole at a place on its way."""

    def speed() -> float:
        return float(meter.course.hole_speeds(cell.number, place))

    return Moment(station, time=time, speed=speed, level=cell.level)


def let_go(meter: Meter, cell: Cell, is_cut: float) -> None:
    """The seeds of a cell set out on their way down.

    The first leaves when its share of the hole is shut, and the others after it.
    """
    pickup, release = meter.stations.pickup, meter.stations.release
    at = moment(meter, cell, "release", is_cut)
    travel = 0.0
    for seed in cell.held:
        if seed is cell.held[0]:
            strength = pickup.strength(cell.chances, seed.needed, seed.share * meter.vacuum)
            travel = float(release.travel(strength, at))
        else:
            travel += float(release.lag(seed.size, at))
        meter.env.process(descend(meter, cell, seed, is_cut + travel / at.speed, at.speed))


class Stop(NamedTuple):
    """A contact with the wall, the beam of the sensor, or the ground."""

    what: str
    time: float  # since the release, s
    speed: float  # of the seed when it comes there, m/s
    loss: float = 0.0  # share of the speed that a contact takes


WALL, BEAM, GROUND = "wall", "beam", "ground"


def way_down(meter: Meter, cell: Cell, seed: Held, launch: float, mean: float) -> list[Stop]:
    """The stops of a seed that falls from a launch speed [m/s], in a meter at rest.

    `mean` is the mean number of contacts with the wall.
    """
    tube, draws = meter.stations.tube, meter.draws
    ground = max(tube.length + cell.along, 0.0)
    beam = max(ground - meter.stations.sensor.height, 0.0)
    apart = ground / mean if mean > 0 else math.inf
    wall = draws.contact(cell.number, seed.place) * apart
    steady = float(tube.steady_speed(seed.size))
    height, start, slowing = 0.0, launch, 1.0  # where the seed falls freely from, and how
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
            rank, gap = draws.wall(cell.number, seed.place, contacts)
            loss = float(tube.loss(rank))
            stops.append(Stop(WALL, time, speed, loss))
            height, start = here, speed * (1 - loss)
            slowing *= float(tube.slowing(speed, start, steady))
            contacts += 1
            wall = here - math.log(gap) * apart if contacts < CONTACTS else math.inf


def descend(meter: Meter, cell: Cell, seed: Held, released: float, speed: float) -> Steps:
    """A seed's way down: off the hole [m/s], from wall to wall, through the beam, to rest.

    The seed keeps its own clock, so that its records do not carry the rounding of the
    simulation's.  The row unit's shaking at its release moves its fall a little.
    """
    number, place, draws = cell.number, seed.place, meter.draws
    yield meter.until(released)
    meter.carried -= 1
    meter.falling += 1
    meter.note(number, place, "release", "released", "vacuum cut")
    stations, direction = meter.stations, draws.launch(number, place)
    launch = speed * float(stations.release.downward(direction))
    contacts = stations.tube.contacts(speed, moment(meter, cell, "tube", released))
    stops = way_down(meter, cell, seed, launch, float(contacts))
    fall, later = stops[-1], 0.0
    if not stations.row_unit.still:
        upset = stations.row_unit.vertical_speed(meter.shaking.at(released))
        later = float(stations.tube.later_by(upset, fall.time, fall.speed))
    now, crossed, seen = released, 0.0, False
    for stop in stops:
        now = released + max(stop.time + later, 0.0)
        yield meter.until(now)
        if stop.what == BEAM:
            crossed, seen = now, watch(meter, cell, seed, now, stop.speed)
        elif stop.what == WALL:
            meter.note(
                number, place, "tube", "touched the wall", f"lost {stop.loss:.0%} of its speed"
            )
    furrow, sideways = stations.furrow, speed * stations.release.sideways(direction)
    position = furrow.ground_speed * now + float(stations.tube.strays(sideways, fall.time))
    meter.note(number, place, "furrow", "landed", f"at {fall.speed:.2f} m/s")
    if furrow.in_field:
        at = moment(meter, cell, "furrow", now)
        air = float(furrow.hop_time(draws.hop(number, place), fall.speed, at))
        position += float(furrow.hop_length(air, fall.speed))
        position += draws.soil(number, place) * furrow.scatter
        now += air
        yield meter.until(now)
        meter.note(number, place, "furrow", "at rest", f"after {air * 1e3:.0f} ms of hop")
    meter.falling -= 1
    meter.landed += 1
    touched = sum(stop.what == WALL for stop in stops)
    row = (number, place, seed.size, seed.needed, released, crossed, now, touched, seen, position)
    meter.seed_rows.append(row)


def watch(meter: Meter, cell: Cell, seed: Held, now: float, speed: float) -> bool:
    """Whether the sensor gives a pulse of its own for a seed that crosses the beam."""
    sensor, at = meter.stations.sensor, moment(meter, cell, "sensor", now)
    chance = sensor.detects(at)
    if chance < 1 and meter.draws.uniform("detection", cell.number, seed.place) >= chance:
        meter.note(cell.number, seed.place, "sensor", "not seen", "missed by the beam")
        return False
    alone = now >= meter.beam_dark_until
    dark_until = now + float(sensor.pulse(seed.size, speed, at))
    meter.beam_dark_until = max(meter.beam_dark_until, dark_until)
    told = ("seen", "gave a pulse of its own")
    if not alone:
        told = ("not seen", "merged with the seed before")
    meter.note(cell.number, seed.place, "sensor", *told)
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
    """Run a meter as processes in time; see `metersim.run.simulation.simulate`.

    Parameters
    ----------
    scenario, stations, streams, version
        What is set, what works, what draws, and for the records which program.
    trace : bool
        Whether to keep every event of every seed.
    visitors : iterable of callables
        Further processes, to watch the meter or to change it while it runs.
    """
    env = simpy.Environment()
    meter = Meter(env, scenario, stations, streams, trace)
    work = [env.process(turn_disc(meter)), env.process(work_gate(meter))]
    for visitor in visitors:
        env.process(visitor(meter))
    work += [env.process(follow_hole(meter, hole)) for hole in range(scenario.disc.cells)]
    env.run(until=simpy.AllOf(env, work))
    while meter.carried or meter.falling:
        env.step()
    replaced, changes = stations.departures(stations_of(scenario)), tuple(meter.changes)
    origin = Origin(scenario, streams.seed, streams.replicate, version, replaced, changes=changes)
    rows = meter.seed_rows, meter.cell_rows, meter.ticks
    return run_of_rows(origin, *rows, meter.events or ())
