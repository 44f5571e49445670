"""What a move is said to bring, held against what it brings, over meters that may be.

Meters have a machine of the posterior of an unknown one, the error of the model, and a fault or
none.  Each is simulated seed by seed and counted once.
"""

import math

import numpy as np
import pytest
from scipy.special import ndtri

import metersim as m
from metersim.questions.next.bank import bank
from metersim.questions.next.diagnosis import Diagnosis, Seen
from metersim.questions.next.gain import LEVEL, gains
from metersim.questions.next.hypotheses import draw_points
from metersim.questions.next.moves import moves_of
from metersim.questions.next.possible import draw_machines
from metersim.questions.shared.looks import BELT
from tests.validation.recovery import LONG, Meter, apart, count, truly_brings

pytestmark = pytest.mark.slow

BENCH, OTHERS = apart(m.load_scenario("maize_bench"))
METERS, CELLS, TRUTH = 48, 480, 31
Z = float(ndtri((1 + LEVEL) / 2))
MOVES = [one for one in moves_of(BENCH) if "gate" not in one.steps]


@pytest.mark.study
def test_a_move_brings_what_its_interval_says_and_helps_as_often_as_is_said():
    """48 meters in the shares of the priors: 90 % intervals cover, |z| < 4; moves help as stated.

    Errors are those of meters, as the moves of one meter go together.  The true gain has the
    sampling error of its run and the discrepancy of two settings.  Control: intervals of half the
    width cover less than 90 % by more than four standard errors.
    """
    made = bank(BENCH, [move.made(BENCH) for move in MOVES], [BELT])
    every = draw_points(made.points.names, TRUTH, each=200)
    rng = np.random.default_rng(TRUTH)
    some = rng.choice(len(every), METERS, p=every.prior / every.prior.sum())
    machines = draw_machines(OTHERS, METERS, TRUTH)
    held, half, said, helps = [], [], [], []
    for k, pick in enumerate(some):
        meter = Meter((), every.of(np.array([pick])), "")
        machine = machines.at(np.array([k]))
        look = count(meter, OTHERS, machine, BELT, CELLS, TRUTH + k)
        found = gains(Diagnosis(made, [Seen(BENCH, look)]), MOVES)
        rows = []
        for gain in found:
            brings = truly_brings(meter, OTHERS, machine, gain.move, TRUTH + k)
            brings += float(rng.choice(gain.errors))
            low, high = gain.interval
            slack = Z * math.sqrt(0.02 / LONG)  # paired: some two cells in a hundred change
            rows.append((gain, brings, low - slack <= brings <= high + slack))
            quarter = (high - low) / 4
            half.append(abs(brings - (low + high) / 2) <= quarter)
        held.append(np.mean([row[2] for row in rows]))
        best, brings, _ = max(rows, key=lambda row: row[0].sure)
        said.append(1 - best.worse)
        helps.append(brings > 0)
    error = np.std(held, ddof=1) / math.sqrt(METERS)
    assert abs(np.mean(held) - LEVEL) < 4 * error
    assert np.mean(half) < LEVEL - 4 * error
    said, helps = np.array(said), np.array(helps)
    assert said.sum() - helps.sum() < 4 * math.sqrt((said * (1 - said)).sum())
