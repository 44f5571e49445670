"""What happens to seeds on a hole: how they join it, and what takes them off again.

Called by the processes of `metersim.events` at the moment when it happens.
"""

from __future__ import annotations

import numpy as np

from metersim import records
from metersim.dealing import Dealt
from metersim.meter import Held, Meter
from metersim.stations import Chances


def pick_up(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int
) -> tuple[list[Held], int]:
    """The seeds that leave the pool on a cell, and why there are none."""
    window = dealt.window(chances, index, meter.cells_in_tick)
    k = index - window.start
    count, reason = window.count[k], window.reason[k]
    count = min(count, meter.pool)
    if not count:
        if reason != records.BLOCKED and min(meter.pool, chances.meetings) <= 0:
            reason = records.POOL_EMPTY
        meter.note(cell, -1, "pickup", "cell empty", records.REASONS[reason])
        return [], reason
    held = [Held(0, window.first_size[k], window.first_needed[k], 1.0, window.first_travel[k])]
    for place in range(1, count):
        share = float(window.share[k, place])
        held[0].share -= share
        held.append(
            Held(place, float(window.size[k, place]), float(window.needed[k, place]), share)
        )
    if meter.events is not None:
        for seed in held:
            why = f"needs {seed.needed:.0f} Pa on {seed.share:.0%} of the hole"
            meter.note(cell, seed.place, "pickup", "joined", why)
    return held, reason


def knock(
    meter: Meter, chances: Chances, dealt: Dealt, index: int, cell: int, held: list[Held]
) -> list[Held]:
    """What a heap above the carry line leaves of the seeds on a cell."""
    kept = []
    for seed in held:
        fates, k = dealt.fate(index, seed.place)
        strength = seed.needed / (seed.share * chances.vacuum)
        if fates.heap[k] < chances.knocks * strength:
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
    seat = dealt.distance[index] * edge.narrowing
    if len(held) == 1:
        fates, k = dealt.fate(index, first.place)
        ratio = meter.vacuum / first.needed
        reach = fates.reach[k] * first.size
        if edge.deviate(reach, seat * dealt.across[index], ratio) <= fates.weakest[k]:
            return held
        send_back(meter, cell, first, "singulator", "swept off", "pushed further than its seat")
        return []
    outline = float(dealt.seats.outline[index, 0])
    draws = dealt.luck.tooth[index].tolist()
    directions = np.abs(np.sin(dealt.luck.pair_angle[index])).tolist()
    for tooth, across in enumerate(directions):
        kept = []
        for seed in held:
            fates, k = dealt.fate(index, seed.place)
            apart = seat if seed is first else outline * (first.size + seed.size) - seat
            ratio = seed.share * meter.vacuum / seed.needed
            reach = fates.reach[k] * seed.size
            if draws[seed.place][tooth] < edge.deviate(reach, apart * across, ratio):
                send_back(meter, cell, seed, "singulator", "swept off", f"tooth {tooth + 1}")
            else:
                kept.append(seed)
        held = settled(kept)
        if not held:
            break
        first = held[0]
    return held


def hang_on(
    meter: Meter, chances: Chances, cell: int, held: list[Held], start: float, end: float
) -> list[Held]:
    """What lack of vacuum, and the hardest shock between two times [s], leave of seeds carried."""
    row_unit, shaking = meter.stations.row_unit, meter.shaking
    highest = 0.0 if row_unit.still else row_unit.peak_load(shaking.highest_until(end))
    weight = chances.carry_load / (1 + chances.turn_load)
    kept = []
    for seed in held:
        at_rest, pull = seed.needed * chances.carry_load, seed.share * meter.vacuum
        spare = (pull - at_rest) / (seed.needed * weight)  # added load that it bears
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
