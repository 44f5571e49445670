"""What ``metersim next`` says of simulated meters whose fault is known.

``python -m tests.validation.recovery`` writes the table of the guide.  Meters have a fault of the
list, or something that is not listed.  Each is simulated seed by seed on a machine that the
program does not know, with the error of the model, and counted once.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

import metersim as m
from metersim.files.faults import BadInput
from metersim.questions.guide.study import PAGES
from metersim.questions.next.bank import bank
from metersim.questions.next.decide import BRUSH, CHECK, KEEP, MOVE, SAME, STRANGE
from metersim.questions.next.diagnosis import (
    USED_SD,
    Diagnosis,
    Seen,
    Used,
    by_cells_or_spacing,
)
from metersim.questions.next.hypotheses import (
    FAULTS,
    FINE,
    HOLES,
    Points,
    draw_points,
)
from metersim.questions.next.moves import Move, moves_of
from metersim.questions.next.possible import bent_shares, draw_machines
from metersim.questions.next.study import answered
from metersim.questions.next.surface import placed, where
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.looks import (
    BELT,
    BY_SENSOR,
    SENSOR,
    SPACED,
    Look,
    kept_full,
    loads_of_spacings,
)
from metersim.run.simulation import simulate
from tests.make_docs import with_block

STANDS = (
    ("maize_bench", BELT, 500, "cells"),
    ("maize_field", SPACED, 1000, None),
    ("maize_field", SPACED, 1000, "spacing"),
    ("soybean_narrow_rows", SENSOR, 1000, "cells"),
    ("sunflower", BELT, 500, "cells"),
)
"""Scenario, way of looking, cells of each count, and what the monitor is said to count.  Where that
is said, seed used is known on the stands with a sensor."""
KEPT = 176
"""Draws of the coefficients that the program knows; simulated meters have the others."""
FINE_MANY, EACH = 30, 8  # meters in order, and of each fault, on each stand
GUIDE = PAGES / "next.md"
LONG = 4000  # cells of the runs that give what a move truly brings
SEED = 4711
STANDING = 0.1  # m of travel, mean of one slip
SURE = 0.8

OUTSIDE = {
    "wrong cut-off part": (),
    "bent disc": (),
    "foreign matter in the pool": (HOLES,),
    "another lot than stated": ("small seed", "large seed"),
    "a leaking chamber": ("vacuum",),
    "two faults at once": (),
}
"""What is not listed, and the faults whose inspection would find it."""


@dataclass(frozen=True)
class Meter:
    """A meter with a known fault.

    Attributes
    ----------
    truth : tuple of str
        Faults whose inspection finds what is wrong.
    points : Points
        One point: its causes.
    kind : str
        `FINE`, a fault, or a key of `OUTSIDE`.
    """

    truth: tuple[str, ...]
    points: Points
    kind: str


def meters(names, rng):
    """Meters in order, of every fault of some names, and of every kind that is not listed."""
    inside = draw_points(
        (FINE, *(name for name in FAULTS if name in names)), int(rng.integers(1e6))
    )

    def some(name, many):
        at = rng.choice(np.flatnonzero(inside.which == inside.names.index(name)), many)
        return [inside.of(np.array([k])) for k in at]

    made = [Meter((), one, FINE) for one in some(FINE, FINE_MANY)]
    for name in inside.names[1:]:
        made += [Meter((name,), one, name) for one in some(name, EACH)]
    for kind, truth in OUTSIDE.items():
        for one in some(FINE, EACH):
            if kind == "another lot than stated":
                far = rng.choice([rng.uniform(0.75, 0.85), rng.uniform(1.15, 1.25)])
                one = replace(one, size=np.array([far]))
            elif kind == "a leaking chamber":
                one = replace(one, vacuum=np.array([rng.uniform(0.25, 0.6)]))
            elif kind == "two faults at once":
                one, truth = _two(inside, rng)
            made.append(Meter(tuple(truth), one, kind))
    return made


def _two(inside, rng):
    """A meter with two faults of different causes."""
    columns = ("size", "vacuum", "edge", "gate", "lost", "failing", "slip")
    while True:
        names = rng.choice(inside.names[1:], 2, replace=False).tolist()
        a, b = (
            inside.of(np.array([rng.choice(np.flatnonzero(inside.which == inside.names.index(n)))]))
            for n in names
        )
        usual = {"size": 1, "vacuum": 1, "edge": 0, "gate": 1, "lost": 0, "failing": 0, "slip": 0}
        far = {
            c: max((a, b), key=lambda one, c=c: abs(getattr(one, c)[0] - usual[c])) for c in columns
        }
        if len({names[0].split()[-1], names[1].split()[-1]}) == 2:
            return replace(a, **{c: getattr(far[c], c) for c in columns}), names


@dataclass(frozen=True)
class Shown:
    """Seeds of a meter: their cells, and the times of their pulses."""

    cells: int
    loads: np.ndarray
    times: np.ndarray
    of: m.Scenario


def run_meter(meter, base, machine, rng_seed, cells, setting=None):
    """Simulate a meter seed by seed at a setting, with all that is wrong."""
    setting = setting or base
    rng = np.random.default_rng([rng_seed, 1])

    def ran(points):
        scenario = kept_full(
            placed(machine.of(0, setting), where(setting, points, machine).table[0]), cells
        )
        if meter.kind == "wrong cut-off part":
            arc = scenario.cutoff.decay_arc + math.radians(8)
            scenario = scenario.replace(cutoff__decay_arc=arc)
        return simulate(scenario, seed=rng_seed)

    run = ran(meter.points)
    cell, seen, time = run.seeds.cell, run.seeds.seen, run.seeds.sensor_time
    many, holes = len(run.cells), base.disc.cells
    if meter.kind == "bent disc":  # the edge is nearer on one half, and farther on the other
        by = rng.uniform(1.0, 2.0)
        halves = [ran(replace(meter.points, edge=meter.points.edge + k * by)) for k in (1, -1)]
        parts = [
            (
                one.seeds.cell,
                one.seeds.seen,
                one.seeds.sensor_time,
                one.seeds.cell % holes < holes // 2,
            )
            for one in halves
        ]
        keep = [part[3] if k == 0 else ~part[3] for k, part in enumerate(parts)]
        cell, seen, time = (
            np.concatenate([part[i][which] for part, which in zip(parts, keep, strict=True)])
            for i in range(3)
        )
    kept = np.ones(len(cell), dtype=bool)
    failing = float(meter.points.failing[0])
    if failing:
        number = math.ceil(failing)
        bad = rng.choice(holes, number, replace=False)
        fails = np.isin(np.arange(many) % holes, bad) & (rng.random(many) < failing / number)
        kept &= ~fails[cell]
    if meter.kind == "foreign matter in the pool":
        blocked = np.zeros(many, dtype=bool)
        for start in rng.integers(0, many, int(rng.uniform(0.005, 0.02) * many)):
            blocked[start : start + holes * int(rng.integers(2, 6)) : holes] = True
        kept &= ~blocked[cell]
    cell, seen, time = cell[kept], seen[kept], time[kept]
    loads = np.bincount(cell, minlength=many)
    seen = seen & (rng.random(len(seen)) >= meter.points.lost[0])
    slip = float(meter.points.slip[0])
    if slip:
        time = _slipping(time, slip, STANDING / base.demand.speed, rng)
    return run, loads, (cell, seen, time)


def _slipping(time, slip, stand, rng):
    """Times at which seeds pass when the drive stands for a share of the time, in short slips."""
    end = float(time.max())
    number = rng.poisson(end * slip / (1 - slip) / stand)
    at, stands = np.sort(rng.uniform(0, end, number)), rng.exponential(stand, number)
    before = np.concatenate([[0], np.cumsum(stands)])
    return time + before[np.searchsorted(at, time)]


def count(meter, base, machine, way, cells, rng_seed, setting=None):
    """A count of a meter, with an error of the model."""
    ran = run_meter(meter, base, machine, rng_seed, 3 * cells, setting)
    _, loads, (cell, seen, time) = ran
    if way == SENSOR:
        loads = np.bincount(cell[seen], minlength=len(loads))
    elif way == SPACED:
        spaces = np.diff(np.sort(time[seen])) * base.demand.speed / base.spacing
        loads = loads_of_spacings(spaces)
    rng = np.random.default_rng([rng_seed, 2])
    loads = _bent(loads.clip(max=2), share_error(base.posterior, base.lot.crop), rng)[:cells]
    skips, doubles = int((loads == 0).sum()), int((loads == 2).sum())
    return Look(
        cells=len(loads), skips=skips, doubles=doubles, way=SENSOR if way in BY_SENSOR else way
    )


def _bent(loads, error, rng):
    """Loads whose shares of skips and doubles are off by a normal error of their angles."""
    share = np.array([np.mean(loads == 0), np.mean(loads == 2)])
    wanted = np.array(bent_shares(share[0], share[1], error * rng.standard_normal(2)))
    loads = loads.copy()
    for kind, load in enumerate((0, 2)):
        draw = rng.random(len(loads))
        if wanted[kind] < share[kind]:
            loads[(loads == load) & (draw * share[kind] > wanted[kind])] = 1
        else:
            rate = (wanted[kind] - share[kind]) / max(np.mean(loads == 1), 1e-9)
            loads[(loads == 1) & (draw < rate)] = load
    return loads


def truly_brings(meter, base, machine, move, rng_seed):
    """Change of the share of cells with one seed that a move brings on a meter."""
    before, after = (
        np.mean(run_meter(meter, base, machine, rng_seed, LONG, setting)[1] == 1)
        for setting in (base, move.made(base))
    )
    return float(after - before)


LEFT, OTHER, RIGHT, WRONG = "leave it", "something else", "right", "wrong"


def verdict(meter, base, machine, found, rng_seed):
    """What the answer was worth, and how sure it was of what it said."""
    if found.kind in (SAME, KEEP):
        return LEFT, 0.0
    if found.kind == STRANGE:
        return OTHER, 0.0
    if found.kind == MOVE:
        try:
            brings = truly_brings(meter, base, machine, found.chosen.move, rng_seed)
        except BadInput:
            brings = -1.0
        return (RIGHT if brings > 0 else WRONG), 1 - found.chosen.worse
    assert found.kind in (CHECK, BRUSH)
    fault = found.advice.fault
    chance = sum(
        found.diagnosis.after(name)
        for name in found.diagnosis.points.names
        if name in FAULTS and FAULTS[name].check == FAULTS[fault].check
    )
    finds = {FAULTS[name].check for name in meter.truth}
    return (RIGHT if FAULTS[fault].check in finds else WRONG), chance


def apart(base):
    """A scenario with the machines that the program knows, and one with all others."""
    posterior = base.posterior
    parts = []
    for some in (slice(0, KEPT), slice(KEPT, None)):
        named = {name: getattr(posterior, name)[some] for name in ("draws", "share", "spread")}
        parts.append(replace(base, meter=replace(posterior, **named)))
    return parts


def seed_used(meter, base, machine, rng_seed):
    """Seed used over what the rate asks, with its error; from the seeds that leave the meter."""
    _, loads, _ = run_meter(meter, base, machine, rng_seed, LONG)
    slip = float(meter.points.slip[0])
    error = USED_SD * np.random.default_rng([rng_seed, 3]).standard_normal()
    return Used(float(np.mean(loads)) * (1 - slip) * (1 + error))


def study(stands=STANDS, seed=SEED):
    """One row a meter: stand, kind, verdict and how sure the answer was; and moves back."""
    rows, back = [], []
    for number, (name, way, cells, said) in enumerate(stands):
        rng = np.random.default_rng([seed, number])
        base, others = apart(m.load_scenario(name))
        moves = moves_of(base)
        look_way = SENSOR if way in BY_SENSOR else way
        ways = by_cells_or_spacing(Look(cells=1, skips=0, doubles=0, way=look_way), said)
        spent = look_way == SENSOR and said is not None
        made = bank(base, [move.made(base) for move in moves], ways, spent=spent, seed=1)
        every = meters(made.points.names, rng)
        machines = draw_machines(others, len(every), seed)
        for k, meter in enumerate(every):
            machine, own = machines.at(np.array([k])), seed + 1000 * number + k
            try:
                look = count(meter, others, machine, way, cells, own)
                used = seed_used(meter, others, machine, own) if spent else None
            except BadInput:
                continue
            found = answered(Diagnosis(made, [Seen(base, look, ways)], used), base, moves)
            worth, sure = verdict(meter, others, machine, found, own)
            rows.append((name, meter.kind, worth, sure, found.kind, found.advice.fault, look))
            if found.kind == MOVE and k % 3 == 0:
                back.append(moved_back(found, meter, base, others, machine, way, ways, own))
    return rows, [one for one in back if one is not None]


def moved_back(found, meter, base, others, machine, way, ways, rng_seed):
    """After the move and a second count: whether it is advised back, and what that would bring.

    None where the meter cannot be run there.
    """
    move = found.chosen.move
    there = move.made(base)
    opposite = Move("back", {name: -count for name, count in move.steps.items()})
    try:
        second = count(meter, others, machine, way, found.diagnosis.seen[0].look.cells,
                       rng_seed + 1, move.made(others))  # fmt: skip
        gain = -truly_brings(meter, others, machine, move, rng_seed)
    except BadInput:
        return None
    again = moves_of(there)
    made = bank(there, [base, *(one.made(there) for one in again)], ways, seed=1, runs=160)
    seen = [found.diagnosis.seen[0], Seen(there, second, ways)]
    after = answered(Diagnosis(made, seen), base, again)
    goes_back = after.kind == MOVE and dict(after.chosen.move.steps) == dict(opposite.steps)
    return goes_back, gain


def table(rows):
    """Markdown: verdicts by kind, inside and outside the list apart."""
    heads = (LEFT, OTHER, RIGHT, WRONG)
    lines = ["| meter | leave it | something else | right | wrong | wrong, over 80 % sure |"]
    lines.append("|---|---:|---:|---:|---:|---:|")
    groups = (("in order", [FINE]), ("listed", [*FAULTS]), ("not listed", [*OUTSIDE]))
    for title, kinds in groups:
        some = [row for row in rows if row[1] in kinds]
        for kind in kinds if len(kinds) > 1 else []:
            lines.append(_line(kind, [row for row in some if row[1] == kind], heads))
        lines.append(_line(f"**{title}**", some, heads))
    return "\n".join(line for line in lines if line)


def _line(title, rows, heads):
    if not rows:
        return ""
    found = Counter(row[2] for row in rows)
    sure = sum(row[2] == WRONG and row[3] > SURE for row in rows)
    return " | ".join(
        [f"| {title} ({len(rows)})", *(str(found[head]) for head in heads), f"{sure} |"]
    )


def second_counts(back):
    """A sentence on moves that a second count would take back."""
    returned = [gain for goes_back, gain in back if goes_back]
    right = sum(gain > 0 for gain in returned)
    lost = sum(gain > 0 for _, gain in back)
    taken = f"{len(returned)} were then taken back, {right} of them rightly." if returned else ""
    return (
        f"A third of the moves was made, {len(back)} in all, and the meter was counted again. "
        f"{lost} had made it worse. {taken or 'None was then taken back.'}"
    )


if __name__ == "__main__":
    found, later = study()
    text = f"{table(found)}\n\n{second_counts(later)}"
    print(text)
    GUIDE.write_text(with_block(GUIDE.read_text(), "recovery", text))
