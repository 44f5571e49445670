"""What happens to the seeds on one hole: how they join it, and what takes them off again."""

from __future__ import annotations

import math

from metersim.machine import losses
from metersim.machine.holding import truncated_normal
from metersim.machine.moment import Moment
from metersim.machine.singulator import TEETH
from metersim.run.draws import PLACES
from metersim.run.meter import Cell, Held, Meter

IN_POOL, AT_EDGE, ON_THE_WAY = (
    losses.BY_NAME["knocked"],
    losses.BY_NAME["swept"],
    losses.BY_NAME["shaken"],
)


def join(meter: Meter, cell: Cell) -> int:
    """Seeds leave the pool on a cell, or none does; returns the reason."""
    reason = first_joins(meter, cell)
    if reason == losses.SEEDED:
        others_join(meter, cell)
    else:
        meter.note(cell.number, -1, "pickup", "cell empty", losses.REASONS[reason])
    for seed in cell.held:
        why = f"needs {seed.needed:.0f} Pa on {seed.share:.0%} of the hole"
        meter.note(cell.number, seed.place, "pickup", "joined", why)
    meter.available -= len(cell.held)
    meter.pool -= len(cell.held)
    meter.carried += len(cell.held)
    return reason


def first_joins(meter: Meter, cell: Cell) -> int:
    """A first seed joins a cell if it can; returns the reason."""
    draws, pickup, chances = meter.draws, meter.stations.pickup, cell.chances
    if draws.blocked(cell.number, pickup.coefficients.blocked):
        return losses.BLOCKED
    if meter.available <= 0:
        return losses.POOL_EMPTY
    meeting = draws.meeting(cell.number)
    if meeting >= chances.rate:
        return int(pickup.why_empty(chances, meeting))
    deviate = draws.grip(cell.number)
    if deviate > chances.limit:  # that seed does not hold; one that holds joins in its place
        deviate = float(truncated_normal(draws.grip_rank(cell.number), chances.hold))
    size, seat = draws.size(cell.number), draws.seat(cell.number)
    needed = float(chances.needed * pickup.relative_need(deviate, size, seat))
    cell.keep([Held(0, float(pickup.first_size(deviate, size)), needed, 1.0)])
    return losses.SEEDED


def others_join(meter: Meter, cell: Cell) -> None:
    """More seeds join where the first leaves room, in what is left of the arc in the pool."""
    draws, pickup, chances = meter.draws, meter.stations.pickup, cell.chances
    first, held = cell.held[0], list(cell.held)
    outline, gap = float(pickup.outline(cell.along, cell.across)), cell.off_centre
    done, free = draws.meeting(cell.number) / chances.rate, 1.0
    for place in range(1, min(PLACES, meter.available)):
        if place > 1:
            turn = 2 * math.pi * draws.uniform("next direction", cell.number, place)
            along, across = math.cos(turn), math.sin(turn)
            outline = float(pickup.outline(along, across))
            gap = cell.along * along + cell.across * across
        if not pickup.uncovers(first.size, outline, gap):
            break
        size = float(pickup.size(draws.size(cell.number, place)))
        room = pickup.room_for(chances, first.size, outline, gap, size, free)
        wait = draws.meeting(cell.number, place)
        if (1 - done) * room.rate <= wait:
            break
        done += wait / float(room.rate)
        free -= float(room.part)
        rank, seat = draws.grip_rank(cell.number, place), draws.seat(cell.number, place)
        needed = float(pickup.later_needed(room, rank, seat))
        held.append(Held(place, size, needed, float(room.part)))
    cell.keep(held)


def knock_off(meter: Meter, cell: Cell) -> None:
    """A heap above the carry line takes seeds from a cell."""
    chances, kept = cell.chances, []
    for seed in cell.held:
        strength = seed.needed / (seed.share * chances.vacuum)
        if meter.draws.exponential("heap", cell.number, seed.place) < chances.knocks * strength:
            lose(meter, cell, seed, IN_POOL, losses.IN_HEAP)
        else:
            kept.append(seed)
    cell.keep(kept)


def sweep_off(meter: Meter, cell: Cell, at: Moment) -> None:
    """The singulator takes seeds from a cell."""
    if meter.vacuum <= 0:
        for seed in cell.held:
            lose(meter, cell, seed, AT_EDGE, losses.NO_VACUUM)
        cell.keep([])
    elif len(cell.held) == 1:
        sweep_one(meter, cell, at)
    else:
        for tooth in range(TEETH):
            sweep_several(meter, cell, tooth, at)


def sweep_one(meter: Meter, cell: Cell, at: Moment) -> None:
    """A seed alone meets all teeth in one pose, so the one it withstands least decides."""
    (seed,), draws, edge = cell.held, meter.draws, meter.stations.singulator
    reach = edge.reach(draws.pose(cell.number, seed.place)) * seed.size
    off_centre = abs(cell.across) * edge.narrowing
    deviate = edge.deviate(reach, off_centre, meter.vacuum / seed.needed, at)
    if deviate > edge.weakest(draws.edge(cell.number, seed.place)):
        lose(meter, cell, seed, AT_EDGE, losses.OFF_SEAT)
        cell.keep([])


def sweep_several(meter: Meter, cell: Cell, tooth: int, at: Moment) -> None:
    """Several seeds turn, and meet each tooth in a new direction."""
    draws, edge, pickup = meter.draws, meter.stations.singulator, meter.stations.pickup
    turn = math.pi * draws.uniform("pair direction", cell.number, 0, tooth)
    outline = float(pickup.outline(cell.along, cell.across))
    seat, kept = cell.off_centre * edge.narrowing, []
    for seed in cell.held:
        first = cell.held[0]
        apart = seat if seed is first else outline * (first.size + seed.size) - seat
        reach = edge.reach(draws.pose(cell.number, seed.place)) * seed.size
        ratio = seed.share * meter.vacuum / seed.needed
        deviate = edge.deviate(reach, apart * abs(math.sin(turn)), ratio, at)
        if draws.normal("tooth", cell.number, seed.place, tooth) < deviate:
            lose(meter, cell, seed, AT_EDGE, losses.AT_TOOTH.format(tooth + 1))
        else:
            kept.append(seed)
    cell.keep(kept)


def shake_off(meter: Meter, cell: Cell, start: float, end: float) -> None:
    """Too little vacuum, or the hardest shock between two times [s], takes seeds from a cell."""
    row_unit, pickup, kept = meter.stations.row_unit, meter.stations.pickup, []
    shock = 0.0
    if not row_unit.still:
        shock = float(row_unit.peak_load(meter.shaking.peak(start, end)))
    for seed in cell.held:
        pull, spare = seed.share * meter.vacuum, -1.0
        if pull > 0:
            strength = pickup.strength(cell.chances, seed.needed, pull)
            spare = float(pickup.spare_load(cell.chances, strength))
        if spare < 0:
            lose(meter, cell, seed, ON_THE_WAY, losses.TOO_LITTLE_VACUUM)
        elif spare < shock:
            lose(meter, cell, seed, ON_THE_WAY, losses.SHOCK)
        else:
            kept.append(seed)
    cell.keep(kept)


def lose(meter: Meter, cell: Cell, seed: Held, loss: losses.Loss, why: str) -> None:
    """A seed goes back from the disc to the pool."""
    meter.carried -= 1
    meter.pool += 1
    meter.note(cell.number, seed.place, loss.station, loss.event, why)
