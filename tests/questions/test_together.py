"""Two changes made together: closed forms, scaling, and counts that are drawn."""

import math

import numpy as np
import pytest

from metersim.questions.shared.counts import Share, deviations
from metersim.questions.steps.together import pair_of

STRETCHES = 48
STEPS = ({"notch": 1}, {"vacuum": -1})
BASE = {"skips": Share(0.004), "doubles": Share(0.012)}


def rng(seed=1):
    return np.random.Generator(np.random.PCG64(seed))


def about(change, spread=1e-4, seed=1):
    """Changes of skips and doubles by stretch, that are a change but for a little luck."""
    luck = rng(seed).normal(size=(STRETCHES, 2)) * spread
    return np.asarray(change) + luck - luck.mean(axis=0)


def pair(first, second, both=None, base=BASE, after=BASE, seed=1):
    """What comes of two changes."""
    a, b = about(first, seed=seed), about(second, seed=seed + 1)
    together = a + b if both is None else about(both, seed=seed + 2)
    return pair_of(STEPS, (a, b, together), (base, after), 0.95)


def test_changes_of_different_cells_are_as_far_apart_as_the_lesser():
    """Derived: one moves skips, one doubles; what the other cannot make is all of it, but for the
    little that skips and doubles share in a count."""
    found = pair((0.01, 0.0), (0.0, 0.012))
    noise = [2 * share.value * (1 - share.value) for share in BASE.values()]
    shared = 2 * 0.004 * 0.012 / math.sqrt(noise[0] * noise[1])
    alone = min(0.01 / math.sqrt(noise[0]), 0.012 / math.sqrt(noise[1]))
    assert found.separation == pytest.approx(alone, rel=shared)
    assert found.way == "unlike" and found.adds_up


def test_what_tells_them_apart_grows_with_the_root_of_the_count():
    found = pair((0.01, -0.004), (-0.002, 0.008))
    assert found.distance(400) == pytest.approx(2 * found.distance(100))
    assert found.distance(found.cells_to_distinguish()) == pytest.approx(deviations(0.95, 0.8))
    assert found.cells_to_distinguish(0.99, 0.9) > found.cells_to_distinguish()


def test_luck_that_varies_more_takes_as_many_more_cells():
    starved = {kind: Share(share.value, 9.0) for kind, share in BASE.items()}
    usual, wide = (pair((0.01, -0.004), (-0.002, 0.008), base=b, after=b) for b in (BASE, starved))
    assert wide.cells_to_distinguish() == pytest.approx(9 * usual.cells_to_distinguish(), rel=1e-9)


@pytest.mark.parametrize(("factor", "way"), [(0.5, "alike"), (-0.7, "opposite")])
def test_the_same_change_of_another_size_is_never_told(factor, way):
    """Whatever the second does, more or less of the first would have done it too."""
    first = np.array([0.01, -0.006])
    found = pair(first, factor * first)
    assert found.way == way and found.cells_to_distinguish() == math.inf
    turned = pair(first, factor * first + np.array([0.0, 0.004]))  # negative control
    assert turned.cells_to_distinguish() < math.inf


def test_where_one_does_nothing_there_is_nothing_to_tell():
    found = pair((0.01, -0.004), (0.0, 0.0))
    assert found.way == "nothing" and found.cells_to_distinguish() == math.inf
    silent = pair_of(STEPS, (*[np.zeros((STRETCHES, 2))] * 3,), (BASE, BASE), 0.95)
    assert silent.way == "nothing" and silent.adds_up


def test_more_than_the_sum_is_seen():
    found = pair((0.01, -0.004), (-0.002, 0.008), both=(0.012, 0.004))
    assert not found.adds_up
    assert found.interaction["skips"].value == pytest.approx(0.004)
    assert found.interaction["doubles"].value == pytest.approx(0.0, abs=1e-12)
    assert found.interaction["doubles"].low < 0 < found.interaction["doubles"].high


def test_counts_of_that_size_tell_which_step_it_was():
    """Counts before and after the lesser of two steps, with that step alone: what lies across the
    other step is found to be more than luck in 80 of 100, within 4 standard errors and three
    hundredths for what the normal law leaves out of few events; a quarter is not enough."""
    first, second = np.array([0.012, -0.006]), np.array([-0.001, 0.006])
    base = np.array([share.value for share in BASE.values()])
    after = base + second
    shares = dict(zip(BASE, map(Share, after.tolist()), strict=True))
    found = pair(first, second, after=shares)
    many, draw = 4000, rng(5)

    def told(cells):
        counts = [
            draw.multinomial(cells, [*at, 1 - at.sum()], many)[:, :2] / cells
            for at in (base, after)
        ]
        noise = sum((np.diag(at) - np.outer(at, at)) / cells for at in (base, after))
        root = np.linalg.inv(np.linalg.cholesky(noise))
        other = root @ first
        across = np.array([-other[1], other[0]]) / np.hypot(*other)
        return float(np.mean(np.abs((counts[1] - counts[0]) @ root.T @ across) > deviations(0.95)))

    cells = round(found.cells_to_distinguish())
    assert abs(told(cells) - 0.8) < 4 * math.sqrt(0.16 / many) + 0.03
    assert told(cells // 4) < 0.5
