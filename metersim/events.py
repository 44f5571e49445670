"""The meter as processes in time.

One process turns the disc, one works the gate, one shakes the row unit, one follows every hole
round and round, and one follows every seed on its way down.  They share a `Meter`, whose
stations may be replaced while it runs: what comes later sees the change.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import simpy
from simpy.events import Timeout

from metersim import records
from metersim.luck import BLOCK, CONTACTS, PLACES, TEETH, CellStreams, KnotLuck, TickLuck
from metersim.physics.rowunit import KNOT_INTERVAL
from metersim.records import Event
from metersim.scenario import Scenario
from metersim.stations import PASSES, Chances, Stations
from metersim.streams import Streams

Steps = Generator[simpy.Event, Any, None]
Visitor = Callable[["Meter"], Steps]


@dataclass(slots=True)
class Held:
    """A seed on a hole."""

    place: int
    size: float  # over the mean
    needed: float  # vacuum it needs on the whole hole in the pool, Pa
    share: float  # share of the hole that pulls it


class PerPlace:
    """Luck by cell and place: a quick list for the first seed of a cell, arrays for later ones."""

    __slots__ = ("first", "later")

    def __init__(self, values: np.ndarray) -> None:
        self.first = values[:, 0].tolist()
        self.later = values

    def __call__(self, index: int, place: int) -> Any:
        return self.later[index, place].tolist() if place else self.first[index]


class Dealt:
    """A block of luck, with what follows from it alone, in a form that events can walk along."""

    def __init__(self, meter: Meter, start: int, cells: int) -> None:
        luck = meter.cell_streams.deal(cells)
        stations = meter.stations
        pickup, singulator = stations.pickup, stations.singulator
        angles = np.arange(start, start + cells)[:, None] * meter.pitch + np.array(PASSES)
        self.times = stations.drive.time_at(angles).tolist()
        self.blocked = (luck.blocked < pickup.coefficients.blocked).tolist()
        self.meeting = PerPlace(luck.meeting)
        self.hold = PerPlace(luck.hold)
        self.size = PerPlace(luck.size)
        self.seat = (luck.seat * pickup.seat_scale).tolist()
        self.along = np.cos(luck.seat_angle).tolist()
        self.across = np.abs(np.sin(luck.seat_angle)).tolist()
        self.turned = np.cos(luck.third_angle - luck.seat_angle)
        self.outline = pickup.outline(luck.seat_angle).tolist()
        self.third_outline = pickup.outline(luck.third_angle)
        self.reach = PerPlace(singulator.reach(luck.pose))
        self.heap = PerPlace(luck.heap)
        self.weakest = PerPlace(luck.tooth.min(axis=2))
        self.tooth = luck.tooth
        self.pair_across = np.abs(np.sin(luck.pair_angle))
        self.downward = PerPlace(stations.release.downward(luck.launch))
        self.contact = PerPlace(luck.contact)
        self.loss = PerPlace(stations.tube.loss(luck.loss))
        self.soil = PerPlace(luck.soil * stations.furrow.scatter)
        self.hop = PerPlace(luck.hop)
        self.seen = PerPlace(luck.detection < stations.sensor.detection)


class Meter:
    """A meter at work: its stations, where its seeds are, and what it has recorded.

    Attributes
    ----------
    env : simpy.Environment
        The clock.
    stations : Stations
        The stations; assign another value to change the meter while it runs.
    vacuum : float
        Vacuum at the holes; may be assigned. [Pa]
    hopper, pool, carried, falling, landed : int
        Whole seeds in each part of the meter; their sum never changes.
    """

    def __init__(
        self, scenario: Scenario, stations: Stations, streams: Streams, trace: bool = False
    ) -> None:
        self.env = simpy.Environment()
        self.scenario = scenario
        self.stations = stations
        self.vacuum = scenario.vacuum.vacuum
        self.cells = scenario.disc.cells
        self.pitch = 2 * math.pi / self.cells
        self.passages = self.cells * scenario.run.turns
        self.tick_angle = 2 * math.pi * scenario.run.tick
        last = self.passages * self.pitch + PASSES[-1]
        self.tick_count = math.ceil(last / self.tick_angle)
        self.cell_streams = CellStreams(streams)
        self.tick_luck = TickLuck(streams, self.tick_count)
        knots = 0
        if not stations.row_unit.still:
            knots = math.ceil(float(stations.drive.time_at(last)) / KNOT_INTERVAL) + 2
        self.knot_luck = KnotLuck(streams, knots)
        self.envelope = np.hypot(self.knot_luck.cosine, self.knot_luck.sine).tolist()
        self.knot = 0
        self.speed = 0.0  # of the holes, m/s
        self.beam_dark_until = -math.inf
        total = int(scenario.pool.hopper / scenario.seeds.seed_mass)
        self.pool = min(stations.gate.full, total)
        self.hopper = total - self.pool
        self.carried = self.falling = self.landed = 0
        self.arched = False
        self._dealt: dict[int, Dealt] = {}
        self._chances: tuple[tuple[Any, ...], Chances] | None = None
        self.events: list[Event] | None = [] if trace else None
        self.ticks: list[tuple[float, int, int, bool]] = []
        self.cell_rows: list[tuple[int, ...]] = [()] * self.passages
        self.seed_rows: list[tuple[Any, ...]] = []

    @property
    def total(self) -> int:
        """All seeds, wherever they are."""
        return self.hopper + self.pool + self.carried + self.falling + self.landed

    def dealt(self, cell: int) -> tuple[Dealt, int]:
        """The block of luck of a cell, and the cell's place in it."""
        block, index = divmod(cell, BLOCK)
        if block not in self._dealt:
            self._dealt.pop(block - 2, None)
            start = block * BLOCK
            self._dealt[block] = Dealt(self, start, min(BLOCK, self.passages - start))
        return self._dealt[block], index

    @property
    def chances(self) -> Chances:
        """What a cell that enters the pool now has to expect."""
        now = (self.pool_at_tick, self.vacuum, self.speed, self.stations)
        if self._chances is None or self._chances[0] != now:
            level = self.stations.gate.level(self.pool_at_tick)
            made = self.stations.pickup.chances(level, self.vacuum, self.speed)
            self._chances = (now, Chances(*map(float, made)))
        return self._chances[1]

    pool_at_tick = 0

    def note(self, cell: int, place: int, station: str, event: str, why: str = "") -> None:
        """Add a line to the trace."""
        if self.events is not None:
            self.events.append(Event(self.env.now, cell, place, station, event, why))


def turn_disc(meter: Meter) -> Steps:
    """The drive: how fast the holes run, tick by tick."""
    env, drive = meter.env, meter.stations.drive
    angles = np.arange(meter.tick_count + 1) * meter.tick_angle
    times = drive.time_at(angles)
    radius = meter.scenario.disc.circle_radius
    speeds = (radius * meter.tick_angle / np.diff(times)).tolist()
    for time, speed in zip(times.tolist(), speeds, strict=False):
        yield Timeout(env, time - env.now)
        meter.speed = speed


def work_gate(meter: Meter) -> Steps:
    """The gate: arches form and clear, seed runs in, the hopper empties."""
    env, luck = meter.env, meter.tick_luck
    times = meter.stations.drive.time_at(np.arange(meter.tick_count) * meter.tick_angle).tolist()
    credit = 0.0
    before = 0.0
    for tick, time in enumerate(times):
        yield Timeout(env, time - env.now)
        gate = meter.stations.gate
        passed = time - before
        before = time
        if meter.arched:
            if luck.clearing[tick] < gate.clearing_rate * passed:
                meter.arched = False
                meter.note(-1, -1, "gate", "arch cleared")
        elif luck.forming[tick] < gate.arch_rate * passed:
            meter.arched = True
            meter.note(-1, -1, "gate", "arch formed")
        if not meter.arched:
            credit += gate.flow * passed
            able = int(credit)
            credit -= able
            inflow = max(min(gate.full - meter.pool, able, meter.hopper), 0)
            meter.hopper -= inflow
            meter.pool += inflow
            if inflow and not meter.hopper:
                meter.note(-1, -1, "gate", "hopper ran empty")
        meter.pool_at_tick = meter.pool
        meter.ticks.append((time, meter.pool, meter.hopper, meter.arched))


def shake(meter: Meter) -> Steps:
    """The row unit: from one knot of its shaking to the next."""
    env = meter.env
    for knot in range(len(meter.envelope) - 1):
        meter.knot = knot
        yield Timeout(env, (knot + 1) * KNOT_INTERVAL - env.now)


def follow_hole(meter: Meter, hole: int) -> Steps:
    """A hole: into the pool, out of it, past the singulator, to the cut-off, and round again."""
    env = meter.env
    for cell in range(hole, meter.passages, meter.cells):
        dealt, index = meter.dealt(cell)
        enters, leaves, meets_edge, is_cut = dealt.times[index]
        yield Timeout(env, enters - env.now)
        chances = meter.chances
        yield Timeout(env, leaves - env.now)
        held, reason = pick_up(meter, chances, dealt, index, cell)
        joined = len(held)
        meter.pool -= joined
        meter.carried += joined
        if held and chances.knocks > 0:
            held = knock(meter, chances, dealt, index, cell, held)
            if not held:
                reason = records.KNOCKED
        knocked = joined - len(held)
        knot = meter.knot
        yield Timeout(env, meets_edge - env.now)
        swept = 0
        if held:
            before = len(held)
            held = sweep(meter, dealt, index, cell, held)
            swept = before - len(held)
            if not held:
                reason = records.SWEPT
        yield Timeout(env, is_cut - env.now)
        shaken = 0
        if held and not meter.stations.row_unit.still:
            before = len(held)
            held = hang_on(meter, chances, cell, held, knot)
            shaken = before - len(held)
            if not held:
                reason = records.SHAKEN
        let_go(meter, chances, dealt, index, cell, held)
        meter.cell_rows[cell] = (joined, knocked, swept, shaken, len(held), reason)


def pick_up(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int
) -> tuple[list[Held], int]:
    """The seeds that leave the pool on a cell, and why there are none."""
    reason = _why_no_seed(meter, chances, dealt, index)
    if reason != records.SEEDED:
        if meter.events is not None:
            meter.note(cell, -1, "pickup", "cell empty", records.REASONS[reason])
        return [], reason
    pickup = meter.stations.pickup
    needed, deviate = pickup.first_needed(chances, dealt.hold(index, 0))
    size = float(pickup.first_size(deviate, dealt.size(index, 0)))
    held = [Held(0, size, float(needed), 1.0)]
    done = dealt.meeting(index, 0) / (chances.meetings * chances.hold * chances.join)
    radius = pickup.hole_diameter / 2
    outline, seat = dealt.outline[index], dealt.seat[index]
    free = 1.0
    for place in range(1, min(PLACES, meter.pool)):
        if place == 2:
            outline = float(dealt.third_outline[index])
            seat *= float(dealt.turned[index])
        if outline * size - seat >= radius:
            break
        other = float(pickup.size(dealt.size(index, place)))
        distance = outline * (size + other) - seat
        share = free * float(pickup.gap_share(outline * other, distance))
        if share <= 0:
            break
        hold = float(pickup.later_hold(chances, share, other))
        join = float(pickup.join(chances.exposure * math.sqrt(share)))
        rate = chances.meetings * hold * join
        wait = dealt.meeting(index, place)
        if (1 - done) * rate <= wait:
            break
        done += wait / rate
        needed = pickup.later_needed(chances, other, dealt.hold(index, place), hold)
        held.append(Held(place, other, float(needed), share))
        held[0].share -= share
        free -= share
    if meter.events is not None:
        for seed in held:
            why = f"needs {seed.needed:.0f} Pa on {seed.share:.0%} of the hole"
            meter.note(cell, seed.place, "pickup", "joined", why)
    return held, records.SEEDED


def _why_no_seed(meter: Meter, chances: Chances, dealt: Dealt, index: int) -> int:
    if dealt.blocked[index]:
        return records.BLOCKED
    if meter.pool <= 0:
        return records.POOL_EMPTY
    draw = dealt.meeting(index, 0)
    if draw < chances.meetings * chances.hold * chances.join:
        return records.SEEDED
    if draw < chances.meetings * chances.join:
        return records.NOT_HELD
    return records.NOT_JOINED


def knock(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int, held: list[Held]
) -> list[Held]:
    """What a heap above the carry line leaves of the seeds on a cell."""
    kept = []
    for seed in held:
        strength = seed.needed / (seed.share * chances.vacuum)
        if dealt.heap(index, seed.place) < chances.knocks * strength:
            send_back(meter, cell, seed, "pool", "knocked off", "heap above the carry line")
        else:
            kept.append(seed)
    return kept


def sweep(meter: Meter, dealt: Dealt, index: int, cell: int, held: list[Held]) -> list[Held]:
    """What the singulator leaves of the seeds on a cell."""
    edge = meter.stations.singulator
    seat = dealt.seat[index] * edge.narrowing
    first = held[0]
    if len(held) == 1:
        # a lone seed sits on the whole hole, wherever it joined
        off_centre = seat * dealt.across[index]
        ratio = meter.vacuum / first.needed
        deviate = edge.deviate(dealt.reach(index, first.place) * first.size, off_centre, ratio)
        if deviate <= dealt.weakest(index, first.place):
            return held
        send_back(meter, cell, first, "singulator", "swept off", "pushed further than its seat")
        return []
    outline = dealt.outline[index]
    draws, across = dealt.tooth[index].tolist(), dealt.pair_across[index].tolist()
    for tooth in range(TEETH):
        kept = []
        for seed in held:
            apart = seat
            if seed is not first:
                apart = outline * (first.size + seed.size) - seat
            ratio = seed.share * meter.vacuum / seed.needed
            reach = dealt.reach(index, seed.place) * seed.size
            deviate = edge.deviate(reach, apart * across[tooth], ratio)
            if draws[seed.place][tooth] < deviate:
                send_back(meter, cell, seed, "singulator", "swept off", f"tooth {tooth + 1}")
            else:
                kept.append(seed)
        if len(kept) < len(held):
            held = kept
            if len(held) == 1:
                held[0].share = 1.0
                first = held[0]
            elif not held:
                break
    return held


def hang_on(meter: Meter, chances: Chances, cell: int, held: list[Held], knot: int) -> list[Held]:
    """What the hardest shock of the row unit leaves of the seeds that a cell carries."""
    peak = max(meter.envelope[knot : meter.knot + 2])
    load = 1 + float(meter.stations.row_unit.peak_load(peak)) / (1 + chances.turn_load)
    kept = []
    for seed in held:
        if seed.needed * chances.carry_load * load > seed.share * meter.vacuum:
            send_back(meter, cell, seed, "carry", "shaken off", "shock of the row unit")
        else:
            kept.append(seed)
    return kept


def send_back(meter: Meter, cell: int, seed: Held, station: str, event: str, why: str) -> None:
    """Return a seed from the disc to the pool."""
    meter.carried -= 1
    meter.pool += 1
    meter.note(cell, seed.place, station, event, why)


def let_go(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int, held: list[Held]
) -> None:
    """Send the seeds of a cell on their way down, each when its share of the hole is shut."""
    release = meter.stations.release
    delay = 0.0
    for seed in held:
        if seed is held[0]:
            strength = seed.needed * chances.carry_load / (seed.share * meter.vacuum)
            travel = float(release.travel(min(strength, 1.0)))
        else:
            travel += float(release.lag(seed.size))
        delay = travel / meter.speed
        meter.env.process(descend(meter, dealt, index, cell, seed, delay))


def descend(meter: Meter, dealt: Dealt, index: int, cell: int, seed: Held, delay: float) -> Steps:
    """A seed's way down: off the hole, from wall to wall, through the beam, to rest."""
    env, place = meter.env, seed.place
    yield Timeout(env, delay)
    meter.carried -= 1
    meter.falling += 1
    released = env.now
    tracing = meter.events is not None
    if tracing:
        meter.note(cell, place, "release", "released", "vacuum cut")
    stations = meter.stations
    tube, sensor, furrow = stations.tube, stations.sensor, stations.furrow
    speed = meter.speed * dealt.downward(index, place)
    if not stations.row_unit.still:
        speed = max(speed + shaking(meter), 0.0)
    steady = float(tube.steady_speed(seed.size))
    to_ground = tube.length + dealt.seat[index] * dealt.along[index]
    mean = float(tube.contacts(meter.speed))
    gaps, losses = dealt.contact(index, place), dealt.loss(index, place)
    contacts = 0
    to_contact = gaps[0] / mean * to_ground if mean > 0 else math.inf
    to_sensor = to_ground - sensor.height
    crossed, seen = 0.0, False
    while to_ground > 0:
        step = min(to_contact, to_sensor, to_ground)
        time, end = tube.fall(step, speed, steady)
        yield Timeout(env, float(time))
        speed = float(end)
        if step == to_sensor:
            crossed = env.now
            detected = dealt.seen(index, place)
            seen = watch(meter, seed, speed, detected)
            if tracing:
                why = "" if seen else _why_unseen(detected)
                meter.note(cell, place, "sensor", "seen" if seen else "not seen", why)
            to_sensor = math.inf
        elif step == to_contact:
            speed *= 1 - losses[contacts]
            contacts += 1
            if tracing:
                meter.note(
                    cell,
                    place,
                    "tube",
                    "touched the wall",
                    f"lost {losses[contacts - 1]:.0%} of its speed",
                )
            to_contact = math.inf
            if contacts < CONTACTS:
                to_contact = step + gaps[contacts] / mean * tube.length
        to_ground -= step
        to_sensor -= step
        to_contact -= step
    meter.falling -= 1
    meter.landed += 1
    position = furrow.ground_speed * env.now
    if tracing:
        meter.note(cell, place, "furrow", "landed", f"at {speed:.2f} m/s")
    if furrow.in_field:
        hop = float(furrow.hop_time(dealt.hop(index, place), speed))
        position += float(furrow.hop_length(hop, speed)) + dealt.soil(index, place)
        landed = env.now
        yield Timeout(env, hop)
        if tracing:
            meter.note(cell, place, "furrow", "at rest", f"after {env.now - landed:.3f} s of hop")
    meter.seed_rows.append(
        (cell, place, seed.size, seed.needed, released, crossed, env.now, contacts, seen, position)
    )


def watch(meter: Meter, seed: Held, speed: float, detected: bool) -> bool:
    """Whether the sensor gives a pulse of its own for a seed that crosses the beam."""
    if not detected:
        return False
    now = meter.env.now
    alone = now >= meter.beam_dark_until
    meter.beam_dark_until = now + float(meter.stations.sensor.pulse(seed.size, speed))
    return alone


def _why_unseen(detected: bool) -> str:
    return "merged with the seed before" if detected else "missed by the beam"


def shaking(meter: Meter) -> float:
    """Vertical speed of the row unit now. [m/s]"""
    cosine, sine, knot = meter.knot_luck.cosine, meter.knot_luck.sine, meter.knot
    return float(
        meter.stations.row_unit.shaking(
            meter.env.now, cosine[knot], cosine[knot + 1], sine[knot], sine[knot + 1]
        )
    )


def run_events(
    scenario: Scenario,
    stations: Stations,
    streams: Streams,
    *,
    version: str,
    trace: bool = False,
    visitors: Iterable[Visitor] = (),
) -> records.Run:
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
    meter = Meter(scenario, stations, streams, trace)
    env = meter.env
    env.process(turn_disc(meter))
    env.process(work_gate(meter))
    if not stations.row_unit.still:
        env.process(shake(meter))
    for visitor in visitors:
        env.process(visitor(meter))
    for hole in range(min(meter.cells, meter.passages)):
        env.process(follow_hole(meter, hole))
    env.run()
    return _records(meter, streams, version)


def _records(meter: Meter, streams: Streams, version: str) -> records.Run:
    meter.seed_rows.sort()
    kinds = (int, int, float, float, float, float, float, int, bool, float)
    columns = zip(*meter.seed_rows, strict=True) if meter.seed_rows else [()] * len(kinds)
    seeds = records.Seeds(
        *(np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True))
    )
    cells = records.Cells(*np.array(meter.cell_rows, dtype=np.int64).T.copy())
    time, pool, hopper, arched = zip(*meter.ticks, strict=True)
    return records.Run(
        scenario=meter.scenario,
        seed=streams.seed,
        replicate=streams.replicate,
        version=version,
        replaced=meter.stations.replaced,
        seeds=seeds,
        cells=cells,
        ticks=records.Ticks(np.array(time), np.array(pool), np.array(hopper), np.array(arched)),
        trace=tuple(meter.events or ()),
    )
