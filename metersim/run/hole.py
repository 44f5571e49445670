"""What happens to seeds on a hole: how they join it, and what takes them off again.

Called by the processes of `metersim.run.events` at the moment when it happens.
"""

from __future__ import annotations

import numpy as np

from metersim.machine.pickup import Chances
from metersim.machine.singulator import TEETH
from metersim.run.draws import PLACES
from metersim.run.meter import Held, Meter
from metersim.run.records import BLOCKED, POOL_EMPTY, REASONS, SEEDED


def pick_up(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int
) -> tuple[list[Held], int]:
    """The seeds that leave the pool on a cell, and why there are none."""
    window = dealt.window(chances, index, meter.course.cells_in_tick)
    k = index - window.start
    held: list[Held] = []
    if index in dealt.blocked:
        reason = BLOCKED
    elif meter.available <= 0:
        reason = POOL_EMPTY
    elif window.joins[k]:
        held = [Held(0, window.size[k], window.needed[k], 1.0, window.travel[k])]
        reason = SEEDED
    else:
        reason = window.reason[k]
    if held and k in window.crowded:
        held = settled(held + crowd_in(meter, chances, dealt, index, held[0]))
    if meter.events is not None:
        if not held:
            meter.note(cell, -1, "pickup", "cell empty", REASONS[reason])
        for seed in held:
            why = f"needs {seed.needed:.0f} Pa on {seed.share:.0%} of the hole"
            meter.note(cell, seed.place, "pickup", "joined", why)
    return held, reason


def crowd_in(meter: Meter, chances: Chances, dealt: Dealt, index: int, first: Held) -> list[Held]:
    """The seeds that find room beside the first, in what is left of the arc in the pool."""
    pickup, luck = meter.stations.pickup, dealt.luck
    along, across = dealt.along[index], dealt.across[index]
    outline, gap = float(dealt.outlines[index]), float(dealt.distances[index])
    done, free = float(luck.meeting[index]) / chances.rate, 1.0
    found: list[Held] = []
    for place in range(1, PLACES):
        if place > 1:
            turn = 2 * np.pi * luck.uniform("next direction", index, place)
            outline, gap = pickup.outline(np.cos(turn), np.sin(turn)), across * np.sin(turn)
            gap = along * np.cos(turn) + gap
        if place >= meter.available or not pickup.uncovers(first.size, outline, gap):
            break
        size = float(pickup.size(luck.normal("size", index, place)))
        room = pickup.room_for(chances, first.size, outline, gap, size, free)
        wait = luck.exponential("meeting", index, place)
        if (1 - done) * room.rate <= wait:
            break
        done += wait / room.rate
        rank, seat_draw = luck.uniform("grip", index, place), luck.normal("seat", index, place)
        needed = pickup.later_needed(room, rank, seat_draw)
        found.append(Held(place, size, float(needed), float(room.part)))
        free -= float(room.part)
    return found


def knock(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int, held: list[Held]
) -> list[Held]:
    """What a heap above the carry line leaves of the seeds on a cell."""
    kept = []
    for seed in held:
        strength = seed.needed / (seed.share * chances.vacuum)
        if dealt.luck.exponential("heap", index, seed.place) < chances.knocks * strength:
            send_back(meter, cell, seed, "pool", "knocked off", "heap above the carry line")
        else:
            kept.append(seed)
    return settled(kept)


def settled(held: list[Held]) -> list[Held]:
    """The seeds of a cell after some may have left: the first has what the others leave it."""
    if held:
        held[0].share = 1 - sum(seed.share for seed in held[1:])
    return held


def sweep(meter: Meter, dealt: Dealt, index: int, cell: int, held: list[Held]) -> list[Held]:
    """What the singulator leaves of the seeds on a cell.

    A lone seed meets all teeth in the pose in which it sits, so the tooth it withstands least
    decides; a pair turns and meets each tooth in a new direction.
    """
    if meter.vacuum <= 0:
        for seed in held:
            send_back(meter, cell, seed, "singulator", "swept off", "no vacuum")
        return []
    edge, first = meter.stations.singulator, held[0]
    if len(held) == 1:
        alone = first.place == 0
        weakest = (
            dealt.weakest[index]
            if alone
            else edge.weakest(dealt.luck.uniform("edge", index, first.place))
        )
        reach = dealt.reach[index] if alone else reach_of(meter, dealt, index, first.place)
        off_centre = abs(dealt.across[index]) * edge.narrowing
        ratio = meter.vacuum / first.needed
        if edge.deviate(reach * first.size, off_centre, ratio) <= weakest:
            return held
        send_back(meter, cell, first, "singulator", "swept off", "pushed further than its seat")
        return []
    outline, seat = float(dealt.outlines[index]), float(dealt.distances[index]) * edge.narrowing
    reaches = {seed.place: reach_of(meter, dealt, index, seed.place) for seed in held}
    for tooth in range(TEETH):
        across = np.abs(np.sin(np.pi * dealt.luck.uniform("pair direction", index, 0, tooth)))
        kept = []
        for seed in held:
            apart = seat if seed is first else outline * (first.size + seed.size) - seat
            ratio = seed.share * meter.vacuum / seed.needed
            deviate = edge.deviate(reaches[seed.place] * seed.size, apart * across, ratio)
            if dealt.luck.normal("tooth", index, seed.place, tooth) < deviate:
                send_back(meter, cell, seed, "singulator", "swept off", f"tooth {tooth + 1}")
            else:
                kept.append(seed)
        held = settled(kept)
        if not held:
            break
        first = held[0]
    return held


def reach_of(meter: Meter, dealt: Dealt, index: int, place: int) -> float:
    """Half-extent across the track of a mean seed in the pose of a held one. [m]"""
    if place == 0:
        return float(dealt.reach[index])
    return float(meter.stations.singulator.reach(dealt.luck.normal("pose", index, place)))


def hang_on(
    meter: Meter, chances: Chances, cell: int, held: list[Held], start: float, end: float
) -> list[Held]:
    """What lack of vacuum, and the hardest shock between two times [s], leave of seeds carried."""
    row_unit, shaking, pickup = meter.stations.row_unit, meter.shaking, meter.stations.pickup
    highest = 0.0 if row_unit.still else row_unit.peak_load(shaking.highest_until(end))
    kept = []
    for seed in held:
        pull = seed.share * meter.vacuum
        spare = -1.0
        if pull > 0:
            spare = pickup.spare_load(chances, pickup.strength(chances, seed.needed, pull))
        if spare < 0:
            send_back(meter, cell, seed, "carry", "shaken off", "vacuum too low")
        elif spare < highest and spare < row_unit.peak_load(shaking.peak(start, end)):
            send_back(meter, cell, seed, "carry", "shaken off", "shock of the row unit")
        else:
            kept.append(seed)
    return settled(kept) if len(kept) < len(held) else held


def send_back(meter: Meter, cell: int, seed: Held, station: str, event: str, why: str) -> None:
    """Return a seed from the disc to the pool."""
    meter.carried -= 1
    meter.pool += 1
    meter.note(cell, seed.place, station, event, why)
