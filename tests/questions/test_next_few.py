"""Fewer runs give the same advice: the stated errors of a short answer against long ones."""

from dataclasses import replace

import numpy as np
import pytest

import metersim as m
from metersim.questions.next import causes as causing
from metersim.questions.next import study
from metersim.questions.next.bank import bank
from metersim.questions.next.causes import find_causes
from metersim.questions.next.checks import next_checks
from metersim.questions.next.diagnosis import Diagnosis, Seen
from metersim.questions.next.moves import moves_of
from metersim.questions.next.signs import Signs
from metersim.questions.next.simulated import simulated
from metersim.questions.next.study import answered
from metersim.questions.next.surface import RUNS
from metersim.questions.shared.faults.signatures import FURTHER
from metersim.questions.shared.looks import BELT, SENSOR, Look, look_of_seeds

pytestmark = pytest.mark.slow

BENCH, FIELD = m.load_scenario("maize_bench"), m.load_scenario("maize_field")
MOVES = moves_of(BENCH)
COUNTS = [(500, 2, 21), (500, 2, 60), (500, 45, 3), (500, 15, 8), (3000, 12, 60)]
CHANCES = 0.04  # root mean square error of chances, as `bank` states
BITS = 0.05  # error of the information of a check, as `find_causes` states


def of(runs):
    """A bank with so many runs, of the same meters."""
    return bank(BENCH, [BENCH, *(move.made(BENCH) for move in MOVES)], [BELT], runs=runs)


def chances(made):
    """Chances of hypotheses after each count."""
    rows = [Diagnosis(made, [Seen(BENCH, look_of_seeds(*one))]) for one in COUNTS]
    return np.array([[found.after(name) for name in found.names] for found in rows])


@pytest.mark.study
def test_chances_are_those_of_many_runs_within_the_stated_error():
    """Against 360 runs.  Control: 30 runs err more than that."""
    many = chances(of(360))

    def off(runs):
        return np.sqrt(np.mean((chances(of(runs)) - many) ** 2))

    few, fewer = off(RUNS), off(30)
    print(
        f"\nchances lie {100 * few:.1f} pp from those of 360 runs, with 30 runs {100 * fewer:.1f}"
    )
    assert few < CHANCES < fewer


@pytest.mark.study
def test_an_advice_after_few_checks_is_that_after_all(monkeypatch):
    """Moves that cannot be advised are checked on few meters or none.  Control: a check counts."""
    made = of(RUNS)
    counts = [(500, 2, 5), (500, 2, 21), (500, 2, 26), (500, 2, 60), (500, 15, 8), (500, 45, 3)]

    def advices(hope=None):
        if hope is not None:
            monkeypatch.setattr(
                study, "better", lambda gain: replace(gain, changes=gain.changes + hope)
            )
        rows = [
            answered(Diagnosis(made, [Seen(BENCH, look_of_seeds(*one))]), BENCH, MOVES)
            for one in counts
        ]
        monkeypatch.undo()
        return [(one.kind, one.words) for one in rows]

    short = advices()
    assert short == advices(hope=1.0)  # every move is run on all meters
    assert len({kind for kind, _ in short}) > 1
    assert short != advices(hope=-1.0)  # none is run, and none advised


@pytest.mark.study
def test_signs_of_unlikely_faults_hardly_change_what_a_check_says(monkeypatch):
    """Information of all checks, against signs of all faults.  Control: signs of none."""
    known = simulated(FIELD, seed=1, samples=2)
    counted = Look(cells=500, skips=40, doubles=3, way=SENSOR)
    days = [
        Signs(pattern="every 30", rows="one", counts=(look_of_seeds(500, 20, 4),)),
        Signs(counts=(counted,), rows="one", onset="slow", speed="same"),
        Signs(gauge="low", onset="slow"),
        Signs(turn="worse", current="high"),
    ]

    def off(left_out):
        monkeypatch.setattr(causing, "LEFT_OUT", left_out)
        apart = []
        for signs in days:
            every = find_causes(FIELD, signs, known=known)
            likely = causing._likely(every)
            here = np.isin(every.found.faults, likely)[:, None]
            values = dict(every.found.values)
            for name in set(FURTHER) - set(signs.given):
                values[name] = np.where(here, values[name], every.found.usual[name])
            some = replace(every, found=replace(every.found, values=values))
            bits = [{one.name: one.bits for one in next_checks(each)} for each in (every, some)]
            apart.append(max(abs(bits[0][name] - bits[1][name]) for name in bits[0]))
        return max(apart)

    small, large = off(causing.LEFT_OUT), off(1.0)
    print(f"\ninformation of a check moves by {small:.3f} bit, without further signs {large:.3f}")
    assert small < BITS < large


@pytest.mark.study
def test_signs_that_are_left_for_later_are_those_of_one_go():
    """Causes of a day, with further signs simulated afterwards for the likely faults alone."""
    signs = Signs(pattern="every 30", rows="one", speed="same")
    later = find_causes(FIELD, signs, samples=1)
    known = simulated(FIELD, seed=1, samples=1)
    whole = find_causes(FIELD, signs, known=known)
    assert later.chances == whole.chances
    likely = causing._likely(whole)
    assert 0 < len(likely) < len(whole.found.faults)
    for k, name in enumerate(whole.found.faults):
        for sign in FURTHER:
            given = name in likely or sign == "speed"
            expected = whole.found.values[sign][k] if given else whole.found.usual[sign]
            np.testing.assert_array_equal(later.found.values[sign][k], expected)
