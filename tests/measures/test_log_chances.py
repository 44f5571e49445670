"""Looks under many rates at once."""

import dataclasses
import math

import numpy as np
import pytest
from scipy.stats import multinomial

from metersim.questions.shared.looks import Look, Rates, levels_of, log_chances


def chance_of(rates, look):
    """Logarithm of the chance of one look under one meter's rates."""
    return float(log_chances(levels_of([rates]), [look])[0, 0])


MANY = 10**9  # cells; the half event that is added no longer counts
RATES = [Rates(0.01, 0.03, 1.0, 1.0, MANY), Rates(0.05, 0.01, 1.0, 1.0, MANY)]
LOOKS = [Look(cells=300, skips=3, doubles=9), Look(cells=50, skips=0, doubles=0)]


def test_the_chance_is_that_of_independent_cells():
    """Closed form: a multinomial law, whose constant cancels between rates."""
    found = log_chances(levels_of(RATES), LOOKS)
    for row, look in zip(found, LOOKS, strict=True):
        counts = [look.skips, look.doubles, look.cells - look.skips - look.doubles]
        exact = [
            multinomial.logpmf(counts, look.cells, [r.skip, r.double, 1 - r.skip - r.double])
            for r in RATES
        ]
        assert row[0] - row[1] == pytest.approx(exact[0] - exact[1], abs=1e-5)


def test_many_at_once_are_each_alone():
    alone = [[chance_of(one, look) for one in RATES] for look in LOOKS]
    assert log_chances(levels_of(RATES), LOOKS) == pytest.approx(np.array(alone))


def test_cells_that_go_together_count_for_less():
    """Scaling: a variance four times that of independent cells leaves a quarter of what tells
    two meters apart."""
    clumped = [dataclasses.replace(one, skip_effect=4.0, double_effect=2.0) for one in RATES]
    here, there = log_chances(levels_of(RATES), LOOKS[:1])[0]
    worth, less = log_chances(levels_of(clumped), LOOKS[:1])[0]
    assert worth - less == pytest.approx((here - there) / 4, rel=1e-5)


def test_doubles_that_were_not_counted_tell_nothing():
    """Two meters that differ in doubles alone cannot be told apart by skips."""
    look = Look(cells=300, skips=3, doubles=None)
    few, many = (Rates(0.01, double, 1.0, 1.0, MANY) for double in (0.01, 0.2))
    assert math.isclose(*log_chances(levels_of([few, many]), [look])[0])
    with pytest.raises(ValueError, match="one or the other"):
        log_chances(levels_of([few]), [look, LOOKS[0]])
