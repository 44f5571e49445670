"""The compiled engine leaves the records of the arrays, and says what it cannot do."""

import importlib.util

import pytest
from hypothesis import given, settings

from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.run.simulation import simulate
from tests.run.test_engines import PARTS, STARVED
from tests.run.test_meter import LIVELY
from tests.strategies import BENCH, scenarios, unlike

NUMBA = importlib.util.find_spec("numba") is not None
needs_numba = pytest.mark.skipif(not NUMBA, reason="numba is not installed (extra 'fast')")


def differences(scenario, **kinds):
    """Columns in which the compiled engine differs from the arrays."""
    return unlike(*(simulate(scenario, engine=name, **kinds) for name in ("arrays", "compiled")))


@needs_numba
@pytest.mark.parametrize("name", sorted(shipped_scenarios()))
def test_shipped_scenarios(name):
    assert differences(load_scenario(name).lasting(3000), seed=1, replicate=1) == []


@needs_numba
@settings(max_examples=60)
@given(scenarios())
def test_drawn_scenarios(scenario):
    assert differences(scenario) == []


@needs_numba
@pytest.mark.parametrize(
    "changes", (LIVELY | PARTS | STARVED).values(), ids=LIVELY | PARTS | STARVED
)
def test_meters_in_trouble(changes):
    assert differences(BENCH.replace(**{"run__turns": 40, **changes})) == []
