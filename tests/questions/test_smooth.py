"""A smooth function through runs: its reach, its error at runs left out, and its limits."""

import numpy as np
import pytest

from metersim.questions.next.smooth import curve_of, smoothest, usual_logs

NOISE = 1e-4


def runs(many, seed):
    """Angles that change fast with the first column, slowly with the second, not with others."""
    rng = np.random.default_rng(seed)
    places = np.column_stack([rng.standard_normal((many, 3)), np.ones(many)])
    values = 0.5 + 0.2 * np.sin(2 * places[:, 0]) + 0.03 * places[:, 1]
    return places, values + np.sqrt(NOISE) * rng.standard_normal(many), np.full(many, NOISE)


def fitted(many=60, seed=1):
    places, values, variances = runs(many, seed)
    usual = usual_logs(places, 2, values, variances)
    logs = smoothest(places, values, variances, usual, usual[0])
    return logs, curve_of(places, values, variances, logs), usual


def test_reach_is_short_where_values_change_fast_and_endless_where_nothing_varied():
    logs, curve, _ = fitted()
    assert curve.nearness[0] > 3 * curve.nearness[1] > 0
    assert curve.nearness[0] > 3 * curve.nearness[2]
    assert curve.nearness[3] == 0 and logs[2 + 3] == -np.inf


def test_other_places_are_predicted_as_well_as_is_said():
    """Root mean square of the error at 200 others: within half of the stated one, or the noise.

    Control: the usual reach, before any search, errs more than twice as much.
    """
    _, curve, usual = fitted()
    places, true, _ = runs(200, seed=2)
    off = np.sqrt(np.mean((curve(places) - true) ** 2))
    said = np.hypot(np.sqrt(np.mean(np.interp(true, *curve.error) ** 2)), np.sqrt(NOISE))
    assert off == pytest.approx(said, rel=0.5)
    dull = usual[0].copy()
    dull[2:] = -8.0
    flat = curve_of(*runs(60, 1), dull)
    assert np.sqrt(np.mean((flat(places) - true) ** 2)) > 2 * off


def test_the_error_of_a_run_left_out_is_that_of_a_fit_without_it():
    """Closed form against a fit to the others, at the same reach and about the same mean."""
    places, values, variances = runs(40, seed=3)
    usual = usual_logs(places, 2, values, variances)[0]
    values = values - values.mean()
    all_of_them = curve_of(places, values + 0.5, variances, usual)
    size, own, near = np.exp(usual[0]), np.exp(usual[1]), np.exp(usual[2:])
    apart = (((places[:, None] - places[None]) ** 2) * near).sum(axis=2)
    known = size * np.exp(-apart / 2) + np.diag(variances + own)
    inverse = np.linalg.inv(known)
    out = (inverse @ values) / np.diag(inverse)
    others = np.arange(40) != 7
    there = known[7, others] @ np.linalg.solve(known[np.ix_(others, others)], values[others])
    assert values[7] - out[7] == pytest.approx(there, abs=1e-9)
    assert all_of_them.pull == pytest.approx(size * (inverse @ values), rel=1e-6)


def test_the_search_makes_what_was_seen_likelier():
    """The slope at what was found is nil: a step to either side of any logarithm is less likely."""
    places, values, variances = runs(50, seed=4)
    usual = usual_logs(places, 2, values, variances)
    found = smoothest(places, values, variances, usual, usual[0])

    def unlikely(logs):
        near = np.exp(logs[2:])
        apart = (((places[:, None] - places[None]) ** 2) * near).sum(axis=2)
        known = np.exp(logs[0] - apart / 2) + np.diag(variances + np.exp(logs[1]))
        y = values - values.mean()
        live = np.isfinite(logs)
        off = (((logs - usual[0]) / usual[1])[live] ** 2).sum()
        return (y @ np.linalg.solve(known, y) + np.linalg.slogdet(known)[1] + off) / 2

    here = unlikely(found)
    assert here < unlikely(usual[0]) - 1
    for k in np.flatnonzero(np.isfinite(found)):
        for step in (-0.7, 0.7):
            there = found.copy()
            there[k] += step
            assert unlikely(there) > here - 0.05
