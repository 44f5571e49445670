"""The seeds on one hole: how they join it, and how they come off again."""

from __future__ import annotations

import math

from metersim.machine import losses
from metersim.machine.holding import truncated_normal
from metersim.machine.moment import Moment
from metersim.machine.singulator import TEETH
from metersim.run.draws import MOST_SEEDS
from metersim.run.meter import Cell, Held, Meter

BY_HEAP, BY_EDGE, BY_SHAKING = (losses.BY_NAME[name] for name in ("knocked", "swept", "shaken"))


def join(meter: Meter, cell: Cell) -> int:
    """Let seeds join a cell as it leaves the pool; return the code of the reason."""
    reason = first_joins(meter, cell)
    if reason == losses.SEEDED:
        others_join(meter, cell)
    else:
        meter.note(cell.number, -1, "pickup", "cell empty", losses.REASONS[reason])
    for seed in cell.held:
        why = f"needs {seed.needed:.0f} Pa on {seed.share:.0%} of the hole"
        meter.note(cell.number, seed.nth, "pickup", "joined", why)
    meter.available -= len(cell.held)
    meter.pool -= len(cell.held)
    meter.carried += len(cell.held)
    return reason


def first_joins(meter: Meter, cell: Cell) -> int:
    """Let a first seed join a cell if it can; return the code of the reason."""
    draws, pickup, chances = meter.draws, meter.stations.pickup, cell.chances
    if draws.blocked(cell.number, pickup.coefficients.blocked):
        return losses.BLOCKED
    if meter.available <= 0:
        return losses.POOL_EMPTY
    meeting = draws.meeting(cell.number)
    if meeting >= chances.rate:
        return int(pickup.why_empty(chances, meeting))
    deviate = draws.grip(cell.number)
    if deviate > chances.limit:  # this seed does not hold: another one that holds joins
        deviate = float(truncated_normal(draws.grip_rank(cell.number), chances.hold))
    size, seat = draws.size(cell.number), draws.seat(cell.number)
    needed = float(chances.needed * pickup.relative_need(deviate, size, seat))
    cell.keep([Held(0, float(pickup.first_size(deviate, size)), needed, 1.0)])
    return losses.SEEDED


def others_join(meter: Meter, cell: Cell) -> None:
    """Let more seeds join while the first leaves room and the cell is still in the pool."""
    draws, pickup, chances = meter.draws, meter.stations.pickup, cell.chances
    first, held = cell.held[0], list(cell.held)
    outline, gap = float(pickup.outline(cell.along, cell.across)), cell.off_centre
    done = draws.meeting(cell.number) / chances.rate  # part of the way through the pool
    free = 1.0  # part of the hole that later seeds have not covered yet
    for nth in range(1, min(MOST_SEEDS, meter.available)):
        if nth > 1:
            turn = 2 * math.pi * draws.uniform("next direction", cell.number, nth)
            along, across = math.cos(turn), math.sin(turn)
            outline = float(pickup.outline(along, across))
            gap = cell.along * along + cell.across * across
        if not pickup.uncovers(first.size, outline, gap):
            break
        size = float(pickup.size(draws.size(cell.number, nth)))
        room = pickup.room_for(chances, first.size, outline, gap, size, free)
        wait = draws.meeting(cell.number, nth)
        if (1 - done) * room.rate <= wait:
            break
        done += wait / float(room.rate)
        free -= float(room.part)
        rank, seat = draws.grip_rank(cell.number, nth), draws.seat(cell.number, nth)
        needed = float(pickup.later_needed(room, rank, seat))
        held.append(Held(nth, size, needed, float(room.part)))
    cell.keep(held)


def knock_off(meter: Meter, cell: Cell) -> None:
    """Let a heap above the carry line knock seeds off a cell."""
    chances, kept = cell.chances, []
    for seed in cell.held:
        strength = seed.needed / (seed.share * chances.vacuum)
        if meter.draws.exponential("heap", cell.number, seed.nth) < chances.knocks * strength:
            lose(meter, cell, seed, BY_HEAP, losses.IN_HEAP)
        else:
            kept.append(seed)
    cell.keep(kept)


def sweep_off(meter: Meter, cell: Cell, at: Moment) -> None:
    """Let the singulator sweep seeds off a cell."""
    if meter.vacuum <= 0:
        for seed in cell.held:
            lose(meter, cell, seed, BY_EDGE, losses.NO_VACUUM)
        cell.keep([])
    elif len(cell.held) == 1:
        sweep_one(meter, cell, at)
    else:
        for tooth in range(TEETH):
            sweep_several(meter, cell, tooth, at)


def sweep_one(meter: Meter, cell: Cell, at: Moment) -> None:
    """Sweep a lone seed: it meets all teeth in one pose, so the tooth it resists least decides."""
    (seed,), draws, edge = cell.held, meter.draws, meter.stations.singulator
    reach = edge.reach(draws.pose(cell.number, seed.nth)) * seed.size
    off_centre = abs(cell.across) * edge.narrowing
    deviate = edge.deviate(reach, off_centre, meter.vacuum / seed.needed, at)
    if deviate > edge.weakest(draws.edge(cell.number, seed.nth)):
        lose(meter, cell, seed, BY_EDGE, losses.OFF_SEAT)
        cell.keep([])


def sweep_several(meter: Meter, cell: Cell, tooth: int, at: Moment) -> None:
    """Sweep several seeds: they turn, and meet each tooth in a new direction."""
    draws, edge, pickup = meter.draws, meter.stations.singulator, meter.stations.pickup
    turn = math.pi * draws.uniform("pair direction", cell.number, 0, tooth)
    outline = float(pickup.outline(cell.along, cell.across))
    seat, kept = cell.off_centre * edge.narrowing, []
    for seed in cell.held:
        first = cell.held[0]
        apart = seat if seed is first else outline * (first.size + seed.size) - seat
        reach = edge.reach(draws.pose(cell.number, seed.nth)) * seed.size
        ratio = seed.share * meter.vacuum / seed.needed
        deviate = edge.deviate(reach, apart * abs(math.sin(turn)), ratio, at)
        if draws.normal("tooth", cell.number, seed.nth, tooth) < deviate:
            lose(meter, cell, seed, BY_EDGE, losses.AT_TOOTH.format(tooth + 1))
        else:
            kept.append(seed)
    cell.keep(kept)


def shake_off(meter: Meter, cell: Cell, start: float, end: float) -> None:
    """Drop seeds at too little vacuum, or at the hardest shock between two times [s]."""
    row_unit, pickup, kept = meter.stations.row_unit, meter.stations.pickup, []
    shock = 0.0
    if not row_unit.still:
        shock = float(row_unit.peak_load(meter.shaking.peak(start, end)))
    for seed in cell.held:
        pull, spare = seed.share * meter.vacuum, -1.0  # below 0, the seed cannot stay
        if pull > 0:
            strength = pickup.strength(cell.chances, seed.needed, pull)
            spare = float(pickup.spare_load(cell.chances, strength))
        if spare < 0:
            lose(meter, cell, seed, BY_SHAKING, losses.TOO_LITTLE_VACUUM)
        elif spare < shock:
            lose(meter, cell, seed, BY_SHAKING, losses.SHOCK)
        else:
            kept.append(seed)
    cell.keep(kept)


def lose(meter: Meter, cell: Cell, seed: Held, loss: losses.Loss, why: str) -> None:
    """Put a seed back from the disc into the pool."""
    meter.carried -= 1
    meter.pool += 1
    meter.note(cell.number, seed.nth, loss.station, loss.event, why)
