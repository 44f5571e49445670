"""The design effect: closed forms, and one answer from cells and from sums over blocks."""

import math

import numpy as np
import pytest

from metersim.questions.shared.counts import effect_by_blocks, effect_by_windows

CELLS, WINDOW = 400_000, 200


def rng(seed=5):
    return np.random.Generator(np.random.PCG64(seed))


def blocks_of(events, size):
    sums = events.reshape(-1, size).sum(axis=1).astype(float)
    return sums, np.full(len(sums), float(size))


def test_a_design_effect_is_that_of_the_runs():
    """Closed form: events in whole groups of g make it about g; alone, about 1."""
    cells, size = np.full(400, 500.0), 8
    luck = rng()
    alone = luck.binomial(500, 0.05, 400).astype(float)
    grouped = size * luck.binomial(500 // size, 0.05, 400).astype(float)
    error = math.sqrt(2 / 399)  # of a variance, relative
    assert abs(effect_by_blocks(alone, cells) - 1) < 4 * error
    assert abs(effect_by_blocks(grouped, cells) / size - 1) < 4 * error + 0.02
    assert abs(effect_by_blocks(grouped, cells) - 1) > 4 * error  # negative control


@pytest.mark.parametrize("size", [1, 5])
def test_cells_and_sums_over_blocks_tell_the_same(size):
    """Groups of g cells, of which a window cuts one: g less (g^2 - 1) / 3 w in closed form."""
    events = np.repeat(rng(6).random(CELLS // size) < 0.03, size)
    wanted = size - (size**2 - 1) / (3 * WINDOW)
    error = wanted * math.sqrt(2 * WINDOW / CELLS) * math.sqrt(1 + size / (2 * 0.03 * WINDOW))
    assert abs(effect_by_windows(events, WINDOW) - wanted) < 4 * error
    assert abs(effect_by_blocks(*blocks_of(events, WINDOW)) - size) < 4 * error
    if size > 1:
        assert effect_by_windows(rng(7).permutation(events), WINDOW) < 1 + 4 * error  # control


@pytest.mark.parametrize("windows", [4, 8])
def test_few_windows_of_independent_cells_have_an_effect_of_one_on_average(windows):
    """Cells that are held against their own mean vary less by their share of a window: |z| < 4."""
    luck, window, share = rng(9), 50, 0.3
    found = [effect_by_windows(luck.random(windows * window) < share, window) for _ in range(1500)]
    error = np.std(found, ddof=1) / np.sqrt(len(found))
    assert abs(np.mean(found) - 1) < 4 * error + 0.02
    assert abs(np.mean(found) * (1 - 1 / windows) - 1) > 4 * error + 0.02  # without, too small


def test_what_cannot_be_told_counts_as_independent():
    none, one = np.zeros(CELLS, dtype=bool), np.ones(CELLS, dtype=bool)
    for events in (none, one, rng().random(3 * WINDOW) < 0.5, none[:0]):
        assert effect_by_windows(events, WINDOW) == 1.0
    assert effect_by_windows(np.repeat([False, True], 2 * WINDOW), WINDOW) > 1  # enough of them
    for events in (none, one):
        assert effect_by_blocks(*blocks_of(events, WINDOW)) == 1.0
    assert effect_by_blocks(np.array([3.0]), np.array([100.0])) == 1.0
