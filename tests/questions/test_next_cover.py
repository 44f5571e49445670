"""What a move is said to bring, held against what it brings, over meters that may be.

Meters are drawn from the posterior of an unknown machine, with the discrepancy of the model, and
each has hidden faults.  Each is counted once with real chance.
"""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from scipy.special import logsumexp, ndtri

import metersim as m
from metersim.questions.next.diagnosis import Seen, diagnose
from metersim.questions.next.gain import LEVEL, gains_of, tried
from metersim.questions.next.moves import STAY, moves_of
from metersim.questions.next.possible import (
    Possible,
    bent_shares,
    draw_machines,
    setting_errors,
)
from metersim.questions.next.study import _decide
from metersim.questions.next.target import Compared, compared
from metersim.questions.shared.hidden import meter_of
from metersim.questions.shared.looks import Look, kept_full, loads_at, log_chances
from tests.recovery import COUNTED, draw_states, known

pytestmark = pytest.mark.slow

BENCH = m.load_scenario("maize_bench")
METERS, BANK, PICKED, LONG, COUNT = 72, 240, 60, 3000, 480
TRUTH, CHANCE = 31, 32  # random seeds of meters and of their counts
Z = float(ndtri((1 + LEVEL) / 2))
MOVES = [one for one in moves_of(BENCH, COUNTED) if "gate" not in one.steps]


@dataclass(frozen=True)
class Real:
    """Meters, what was counted on each, and what each move brings there."""

    looks: list
    truth: dict
    sampled: dict


@cache
def real_meters(many=METERS, scenario=BENCH):
    """Meters of the posterior with faults; a number of 100 and more is no early draw."""
    machines = draw_machines([scenario], many, TRUTH, first=100)
    meters = [
        Possible(*pair) for pair in zip(draw_states(many, TRUTH, COUNTED), machines, strict=True)
    ]
    found = tried(scenario, meters, [STAY, *MOVES], seed=TRUTH, cells=LONG)
    brings = gains_of(found, MOVES, scenario, TRUTH)
    truth = {gain.move.words: gain.changes + gain.errors for gain in brings}
    sampled = {gain.move.words: gain.sampled for gain in brings}
    own = setting_errors(scenario, STAY.words, many, TRUTH)
    shown = np.stack(bent_shares(found.skip[:, 0], found.double[:, 0], own), axis=1)
    looks = [counted(scenario, *row) for row in zip(meters, shown, range(many), strict=True)]
    return Real(looks, truth, sampled)


def counted(scenario, one, shown, number):
    """A count of a run, whose cells change so that their shares become those that are shown."""
    meter = kept_full(meter_of(one.of(scenario), one.state), LONG)
    loads = loads_at(meter, seed=CHANCE, replicate=number)["belt"].clip(max=2)
    share = np.array([np.mean(loads == 0), np.mean(loads == 2)])
    rng, seen = np.random.default_rng([CHANCE, number]), loads[:COUNT].copy()
    luck = rng.random((2, COUNT))
    for kind, load in enumerate((0, 2)):
        less = (loads[:COUNT] == load) & (luck[kind] * share[kind] > shown[kind])
        seen[less] = 1
        rate = max(shown[kind] - share[kind], 0) / max(1 - share.sum(), 1e-9)
        seen[(loads[:COUNT] == 1) & (luck[kind] < rate)] = load
    return Look(cells=COUNT, skips=int((seen == 0).sum()), doubles=int((seen == 2).sum()))


def told(looks, *, machines, bank=BANK, picked=PICKED):
    """Gains that are stated for each count, and the move that is advised.

    One bank of states serves all counts.  Without machines all have that of the scenario, as if
    its coefficients and the model's form were known.
    """
    scenario = BENCH if machines else known(BENCH)
    blank = Look(cells=1, skips=0, doubles=0)
    states = diagnose([Seen(scenario, blank)], states=bank, seed=8)
    table = tried(scenario, states.possible, [STAY, *MOVES], seed=9)
    order = compared(scenario, [blank], seed=9)[0]
    made = []
    for row, look in zip(log_chances(states.rates[0], looks), looks, strict=True):
        found = replace(states, weights=np.exp(row - logsumexp(row)))
        gains = gains_of(table.of(found.picks(picked, 1)), MOVES, scenario, 1)
        gains = [replace(gain, effective=found.effective) for gain in gains]
        target = Compared(look, order.wanted, order.level, order.machines)
        made.append((gains, _decide([target], found, gains)[1]))
    return made


def covered(real, stated):
    """Share of moves by meter whose true gain lies in the interval.

    The true gain has the sampling error of its run, so the ends of the interval have it, too.
    """
    return np.array(
        [np.mean([holds(real, gain, k) for gain in gains]) for k, (gains, _) in enumerate(stated)]
    )


def holds(real, gain, number):
    words = gain.move.words
    over = real.truth[words][number] - gain.value
    end = gain.interval[1] if over > 0 else gain.interval[0]
    return abs(over) <= math.hypot(end - gain.value, Z * math.sqrt(real.sampled[words]))


def helped(real, stated):
    """For the move that is advised: how surely it helps as is said, and whether it does."""
    rows = [
        (1 - chosen.worse, real.truth[chosen.move.words][k] > 0)
        for k, (_, chosen) in enumerate(stated)
        if chosen is not None
    ]
    return np.array(rows, dtype=float).reshape(-1, 2)


def surest(stated):
    """The same answers, as if always the surest move were made."""
    return [(gains, max(gains, key=lambda gain: gain.sure)) for gains, _ in stated]


def falls_short(rows):
    """Standard errors by which moves help less often than is stated."""
    said, helps = rows.T
    return (said.sum() - helps.sum()) / math.sqrt(max((said * (1 - said)).sum(), 1.0))


def test_a_move_helps_as_often_as_is_said_and_brings_what_its_interval_says():
    """72 meters: 90 % intervals cover 90 %, and moves help as often as stated, |z| < 4.

    Errors are those of meters, as the moves of one meter go together.  The fraction of a standard
    error that the finite bank adds is part of the stated intervals.  Control: with the coefficients
    and the form of the model taken as known, the same intervals cover far less.
    """
    real = real_meters()
    stated = told(real.looks, machines=True)
    held = covered(real, stated)
    error = held.std(ddof=1) / math.sqrt(len(held))
    assert abs(held.mean() - LEVEL) < 4 * error
    advised = helped(real, stated)
    assert len(advised) > METERS / 6  # some move is advised
    assert falls_short(advised) < 4
    assert falls_short(helped(real, surest(stated))) < 4
    sure = covered(real, told(real.looks, machines=False, bank=BANK // 2))
    assert sure.mean() < LEVEL - 4 * sure.std(ddof=1) / math.sqrt(len(sure))
