"""Chances of causes are right as often as they say, on machines that were not simulated."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import metersim as m
from metersim.questions.next.causes import ELSE_PRIOR, ORDER_PRIOR, find_causes
from metersim.questions.next.hypotheses import ELSE
from metersim.questions.next.signs import CURRENT, Signs, answers_of
from metersim.questions.next.simulated import UNSEEN, simulated, three
from metersim.questions.shared.discrepancy import share_error
from metersim.questions.shared.faults.observe import SIGNS
from metersim.questions.shared.faults.signatures import IN_ORDER, signatures
from metersim.questions.shared.looks import SENSOR

pytestmark = pytest.mark.slow

FIELD = m.load_scenario("maize_field")
DAYS = 500
MACHINES = 8
COUNTED = 500
LOOKED_AT = tuple(name for name in SIGNS if name not in ("skips", "doubles", "scatter"))
SURE, RIGHT = 0.8, 0.95  # advice above this chance must be right in so many


@cache
def model():
    """What the program simulates."""
    return simulated(FIELD, seed=1)


@cache
def truth():
    """Faults of other machines with other severities: what the days are drawn from."""
    draws = FIELD.posterior.draws
    half = len(draws) // 2
    others = replace(FIELD.posterior, draws=draws[half:] + draws[:half])
    return signatures(replace(FIELD, meter=others), seed=78, samples=MACHINES)


def true_chances(sign):
    """Chances of answers, shape (answers, causes, machines); the last cause is in order."""
    found = truth()
    if sign == CURRENT:
        ratio = found.values[sign] / found.usual[sign]
        return np.concatenate([three(ratio), three(np.ones((1, MACHINES)))], axis=1)
    order = found.in_order().chances(sign)
    order = np.full_like(order, 1 / len(order)) if sign in UNSEEN else order
    return np.concatenate([found.chances(sign), order], axis=1)


@cache
def days():
    """Days: the true cause, and what was seen of it."""
    found, rng = truth(), np.random.default_rng(6)
    names = [*found.faults, IN_ORDER, ELSE]
    prior = [*found.prior * (1 - ORDER_PRIOR - ELSE_PRIOR), ORDER_PRIOR, ELSE_PRIOR]
    tables = {sign: true_chances(sign) for sign in LOOKED_AT}
    error = share_error(FIELD.posterior, FIELD.lot.crop)
    made = []
    for _ in range(DAYS):
        cause, machine = rng.choice(len(names), p=prior), rng.integers(MACHINES)
        words = {}
        for sign in rng.choice(LOOKED_AT, size=rng.integers(2, 8), replace=False):
            known = answers_of(sign)
            listed = tables[sign][:, min(cause, len(names) - 2), machine]
            chance = listed if names[cause] != ELSE else np.full(len(known), 1 / len(known))
            words[str(sign)] = known[rng.choice(len(known), p=chance)]
        counts = ()
        if rng.random() < 0.5:
            shares = rng.dirichlet(np.ones(3))[:2]
            if names[cause] != ELSE:
                columns = ("cell_skips", "cell_doubles")
                rows = [np.vstack([found.values[one], found.usual[one]]) for one in columns]
                angles = np.arcsin(np.sqrt([row[cause, machine] for row in rows]))
                angles = (angles + error * rng.standard_normal(2)).clip(0, np.pi / 2)
                shares = np.sin(angles) ** 2
            rest = max(1 - shares.sum(), 0.0)
            skips, doubles, _ = rng.multinomial(
                COUNTED, [*shares / (shares.sum() + rest), rest / (shares.sum() + rest)]
            )
            counts = (m.Look(cells=COUNTED, skips=int(skips), doubles=int(doubles), way=SENSOR),)
            if not skips:
                words.pop("stand", None)
        if words or counts:
            made.append((names[cause], Signs(**words, counts=counts, monitor="cells")))
    return made


def answered(known, many=DAYS):
    """For each day: chance of every cause, and whether it was the true one."""
    chances, right = [], []
    for cause, seen in days()[:many]:
        found = find_causes(FIELD, seen, known=known, seed=1).chances
        chances.append([*found.values()])
        right.append([name == cause for name in found])
    return np.array(chances), np.array(right, dtype=float)


@cache
def calibrated():
    return answered(model())


def scores(chances, right, low, high):
    """Departure of how often causes are true from their chances, in standard errors."""
    here = (chances >= low) & (chances < high)
    spread = np.sqrt((chances * (1 - chances))[here].sum())
    return (right - chances)[here].sum() / spread


@pytest.mark.study
@pytest.mark.parametrize(
    ("low", "high"), [(0, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.8), (SURE, 1.01)]
)
def test_causes_are_true_as_often_as_their_chances_say(low, high):
    assert abs(scores(*calibrated(), low, high)) < 4


def test_confident_advice_is_hardly_ever_wrong():
    chances, right = calibrated()
    sure = chances > SURE
    many, wrong = int(sure.sum()), float((1 - right)[sure].sum())
    assert many > 30
    spread = np.sqrt(many * RIGHT * (1 - RIGHT))
    assert (wrong - many * (1 - RIGHT)) / spread < 2


def test_signs_say_more_than_nothing():
    chances, right = calibrated()
    prior = np.array([*find_causes(FIELD, Signs(rows="one"), known=model()).prior.values()])
    gained = np.log((chances * right).sum(axis=1)) - np.log(right @ prior)
    assert gained.mean() / (gained.std() / np.sqrt(len(gained))) > 4


@pytest.mark.study
def test_wrong_signatures_are_found_out():
    known = model()
    back = np.random.default_rng(3).permutation(len(known.found.faults))
    values = {
        name: column if name == "severity" else column[back]
        for name, column in known.found.values.items()
    }
    wrong = replace(known, found=replace(known.found, values=values))
    half = DAYS // 2
    chances, right = answered(wrong, half)
    worst = [
        scores(chances, right, low, high) for low, high in ((0, 0.05), (0.2, 0.5), (0.5, 1.01))
    ]
    assert np.max(np.abs(worst)) > 4
    assert (
        np.log((chances * right).sum(axis=1) + 1e-9).mean()
        < np.log((calibrated()[0] * calibrated()[1]).sum(axis=1)).mean()
    )
