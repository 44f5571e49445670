"""The seeds on one hole: how they join it, and how they come off again."""

from __future__ import annotations

import math

from metersim.machine import losses
from metersim.machine.moment import Moment
from metersim.machine.singulator import (
    TEETH,
    direction_of_second,
    first_offset,
    second_offset,
)
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
    if cell.number % meter.scenario.disc.cells in pickup.holes.plugged:
        return losses.PLUGGED
    if draws.blocked(cell.number, pickup.coefficients.blocked):
        return losses.BLOCKED
    if meter.available <= 0:
        return losses.POOL_EMPTY
    meeting = draws.meeting(cell.number)
    if meeting >= chances.rate:
        return int(pickup.why_empty(chances, meeting))
    flat = bool(pickup.lies_flat(chances, draws.lie(cell.number)))
    deviate = draws.grip(cell.number)
    if deviate > pickup.limit(chances, flat):  # it does not hold: another one that holds joins
        deviate = float(pickup.first_deviate(chances, flat, draws.grip_rank(cell.number)))
    size, seat = draws.size(cell.number), draws.seat(cell.number)
    need = pickup.pose_need(flat) * pickup.relative_need(deviate, size, seat)
    shape = pickup.shape(draws.shape(cell.number))
    sides = float(pickup.long_side(shape)), float(pickup.narrow_side(flat, shape))
    made = float(pickup.first_size(deviate, size)), float(chances.needed * need)
    cell.keep([Held(0, *made, 1.0, *sides)])
    return losses.SEEDED


def others_join(meter: Meter, cell: Cell) -> None:
    """Let more seeds join beside the first one."""
    draws, pickup, chances = meter.draws, meter.stations.pickup, cell.chances
    first, held = cell.held[0], list(cell.held)
    sides = float(pickup.long_side(1.0)), float(pickup.narrow_side(True, 1.0))
    width = float(pickup.width(pickup.shape(draws.shape(cell.number)))) * first.size
    left = float(pickup.later(chances, width))  # mean number still to come
    free = 1.0  # part of the hole that later seeds have not covered yet
    for nth in range(1, min(MOST_SEEDS, meter.available)):
        left -= draws.more(cell.number, nth)
        if left <= 0:
            break
        size = float(pickup.size(draws.size(cell.number, nth)))
        part = float(pickup.covers(draws.uniform("part", cell.number, nth), free))
        free -= part
        room = pickup.room_for(chances, size, part)
        rank, seat = draws.grip_rank(cell.number, nth), draws.seat(cell.number, nth)
        needed = float(pickup.later_needed(room, rank, seat))
        held.append(Held(nth, size, needed, part, *sides))
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
            if cell.held:
                sweep_several(meter, cell, tooth, at)


def sweep_one(meter: Meter, cell: Cell, at: Moment) -> None:
    """Sweep a lone seed: it meets all teeth in one pose, so the tooth it resists least decides."""
    (seed,), draws, edge = cell.held, meter.draws, meter.stations.singulator
    ratio = meter.vacuum_at(cell.number) / seed.needed
    deviate = edge.deviate(reach_of(meter, cell, seed), cell.across, 1.0, ratio, at)
    if deviate > edge.weakest(draws.edge(cell.number, seed.nth)):
        lose(meter, cell, seed, BY_EDGE, losses.OFF_SEAT)
        cell.keep([])


def reach_of(meter: Meter, cell: Cell, seed: Held) -> float:
    """Half-extent of a held seed across the track. [m]"""
    pose = meter.draws.pose(cell.number, seed.nth)
    return float(meter.stations.singulator.reach(seed.long, seed.narrow, pose)) * seed.size


def sweep_several(meter: Meter, cell: Cell, tooth: int, at: Moment) -> None:
    """Sweep the seed that a tooth pushes furthest beyond its hold, if any.

    The seeds turn, and meet each tooth in a new direction.  When one leaves, the others settle.
    """
    draws, edge, excess = meter.draws, meter.stations.singulator, []
    vacuum = meter.vacuum_at(cell.number)
    for seed in cell.held:
        outward = outward_at(meter, cell, seed, tooth)
        ratio = seed.share * vacuum / seed.needed
        deviate = edge.deviate(reach_of(meter, cell, seed), outward, seed.share, ratio, at)
        excess.append(float(deviate) - draws.normal("tooth", cell.number, seed.nth, tooth))
    most = max(excess)
    if most > 0:
        seed = cell.held[excess.index(most)]
        lose(meter, cell, seed, BY_EDGE, losses.AT_TOOTH.format(tooth + 1))
        cell.keep([other for other in cell.held if other is not seed])


def outward_at(meter: Meter, cell: Cell, seed: Held, tooth: int) -> float:
    """Distance of a seed's centre from the path of the holes at a tooth, outwards. [m]

    A first seed lies away from the second one.  The others lie beside the first one.
    """
    if len(cell.held) == 1:
        return cell.across
    first, second = cell.held[:2]
    other = second if seed is first else seed
    turn = direction_of_second(meter.draws.uniform("pair direction", cell.number, other.nth, tooth))
    ahead, outside = math.cos(turn), math.sin(turn)
    radius = float(meter.stations.pickup.outline(ahead, outside)) * seed.size
    hole = meter.stations.pickup.hole_diameter
    if seed is first:
        return -outside * float(first_offset(radius, other.share, hole))
    return outside * float(second_offset(radius, other.share, hole))


def shake_off(meter: Meter, cell: Cell, start: float, end: float) -> None:
    """Drop seeds at too little vacuum, or at the hardest shock between two times [s]."""
    row_unit, pickup, kept = meter.stations.row_unit, meter.stations.pickup, []
    shock = 0.0
    if not row_unit.still:
        shock = float(row_unit.peak_load(meter.shaking.peak(start, end)))
    vacuum = meter.vacuum_at(cell.number)
    for seed in cell.held:
        pull, spare = seed.share * vacuum, -1.0  # below 0, the seed cannot stay
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
