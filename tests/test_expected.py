"""Regression: the shipped scenarios still give what they gave, within their standard errors.

The expected numbers are the program's own, written by ``python -m tests.make_expected``.
"""

import json
import math

import pytest

from metersim.indices import MEASURES
from metersim.reading import load_scenario, shipped_scenarios
from tests.make_expected import EXPECTED, measured

NORMAL_95 = 1.959964
HARD = 4.0
SCENARIOS = sorted(shipped_scenarios())


def standard_error(estimate):
    """Half of the 95 % interval over 1.96."""
    return (estimate["high"] - estimate["low"]) / (2 * NORMAL_95)


def departures(name, seed):
    """How far each measure lies from the expected one, in standard errors of the difference."""
    expected = json.loads((EXPECTED / f"{name}.json").read_text())
    now = measured(name, seed).estimates
    assert set(now) == set(expected)
    found = {}
    for key, estimate in now.items():
        a, b = expected[key], estimate.to_dict()
        if a["value"] is None or b["value"] is None:
            assert a["value"] == b["value"], key
            continue
        spread = math.hypot(standard_error(a), standard_error(b))
        apart = abs(a["value"] - b["value"])
        found[key] = apart / spread if spread > 0 else (0.0 if apart < 1e-9 else math.inf)
    return found


def test_every_shipped_scenario_has_an_expected_summary_and_says_what_it_shows():
    assert {path.stem for path in EXPECTED.glob("*.json")} == set(SCENARIOS)
    for name in SCENARIOS:
        assert load_scenario(name).shows


@pytest.mark.parametrize("name", SCENARIOS)
def test_regression_of_a_shipped_scenario(name):
    far = {key: z for key, z in departures(name, seed=1).items() if z >= HARD}
    assert not far


def test_regression_holds_for_other_luck_too():
    assert max(departures("maize_bench", seed=2).values()) < HARD


def test_control_another_scenario_departs():
    expected = json.loads((EXPECTED / "gate_too_low.json").read_text())
    now = measured("maize_bench").estimates
    key = "cells.skip"
    spread = math.hypot(standard_error(expected[key]), standard_error(now[key].to_dict()))
    assert abs(now[key].value - expected[key]["value"]) > HARD * spread
    assert {measure.key for measure in MEASURES} == set(now)
