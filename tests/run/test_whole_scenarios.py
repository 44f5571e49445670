"""Whole scenarios drawn at random: no surprises, nothing lost, the same again."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from metersim.files.faults import BadInput
from metersim.machine.losses import REASONS
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.scenario import Scenario
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.run.simulation import simulate
from tests.strategies import BENCH, anything, bytes_of, scenarios

CALM = settings(
    max_examples=60,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate, Phase.shrink],
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
SPACING_SHARES = ("per_spacing.multiple", "per_spacing.quality", "per_spacing.miss")
PLACE_SHARES = ("per_place.multiple", "per_place.single", "per_place.miss")
NORMAL_95 = 1.959964
HARD = 4.0  # standard errors
SPACED = ("per_spacing.", "per_place.", "spacing.")
LOADS = ("cells.skip", "cells.single", "cells.double", "cells.triple")


def check_conserved(run, total):
    """Seeds in the hopper at the start are all landed or left behind, and each cell adds up."""
    cells = run.cells
    lost = cells.knocked + cells.swept + cells.shaken
    assert np.array_equal(cells.joined, lost + cells.released)
    assert cells.released.sum() == len(run.seeds)
    # after the last tick the pool changes only by what cells take and give back
    assert run.ticks.pool.min() >= 0
    assert run.ticks.hopper[-1] + len(run.seeds) <= total


def check_run(scenario):
    """Everything that holds for any run."""
    whole = []

    def count_at_the_end(meter):
        whole.append(meter.total)
        yield meter.env.timeout(0)
        whole.append(meter)

    run = simulate(scenario, seed=3, visitors=[count_at_the_end])
    total, meter = whole
    assert meter.total == total == int(scenario.pool.hopper / scenario.seeds.seed_mass)
    assert (meter.carried, meter.falling, meter.landed) == (0, 0, len(run.seeds))
    check_conserved(run, total)
    assert np.array_equal(run.cells.reason == 0, run.cells.released > 0)
    assert run.cells.reason.max() < len(REASONS)
    for table in (run.seeds, run.cells, run.ticks):
        for name, column in table.columns():
            assert np.isfinite(column).all(), name
    seeds = run.seeds
    assert (seeds.release_time <= seeds.sensor_time).all()
    assert (seeds.sensor_time <= seeds.landing_time).all()
    # in the pool a seed may need more than the vacuum, where the load was light, but not out of it
    resistance = stations_of(scenario).pickup.resistance
    assert (seeds.needed <= (1 + resistance) * scenario.vacuum.vacuum * (1 + 1e-12)).all()
    check_measures(measure(run))
    return run


def check_measures(run):
    """Shares add up to one, and a measure is a number just when there is something to measure."""
    several = run.total("seeds") > 1
    spaced = run.total("spacings") > 0  # an observer may find no seed
    for shares in (LOADS, *((SPACING_SHARES, PLACE_SHARES) if spaced else ())):
        assert math.isclose(sum(run[key].value for key in shares), 1, rel_tol=1e-12)
    needed = {
        "cells.skip_run": run.total("none") > 0,
        "precision": run.total("class2") > 1,
        "spacing.sd": run.total("spacings") > 1,
        "spacing.cv": run.total("spacings") > 1,
        "drop_time.mean": run.total("seeds") > 0,
        "drop_time.sd": several,
        "sensor.seen": run.total("seeds") > 0,
        "sensor.skip": True,
        "sensor.double": True,
        "sensor.multiple": run.total("pulses") > 1,
        "sensor.miss": run.total("pulses") > 1,
    }
    for key, estimate in run.estimates.items():
        counted = key.startswith(("cells.", "placed."))
        usual = spaced if key.startswith(SPACED) else counted or several
        assert math.isfinite(estimate.value) == needed.get(key, usual), key


@pytest.mark.study
@pytest.mark.slow
@CALM
@given(scenarios())
def test_any_workshop_scenario_runs_and_loses_nothing(scenario):
    check_run(scenario)


@pytest.mark.slow
@settings(CALM, max_examples=20)
@given(scenarios())
def test_any_scenario_repeats_byte_for_byte(scenario):
    assert bytes_of(simulate(scenario, seed=4)) == bytes_of(simulate(scenario, seed=4))


@pytest.mark.slow
@settings(CALM, max_examples=150)
@given(anything())
def test_declared_ranges_give_a_scenario_or_bad_input_that_says_what_is_allowed(drawn):
    assert isinstance(drawn, Scenario | BadInput)
    if isinstance(drawn, BadInput):
        assert drawn.faults and all(fault.key and fault.message for fault in drawn.faults)


@pytest.mark.parametrize("detection", [0.0, 0.02, 1.0])
def test_an_observer_who_finds_no_seed_has_no_measure_of_spacings(detection):
    """A measure without values is nan, and what does not need spacings has its value."""
    pulses = BENCH.replace(furrow__observed="pulses", sensor__detection=detection, run__turns=2)
    measured = measure(simulate(pulses, seed=3))
    check_measures(measured)
    found = measured["per_spacing.quality"].value, measured["spacing.mean"].value
    assert all(map(math.isnan, found)) == (detection == 0)
    assert math.isfinite(measured["cells.single"].value)


def departures(name, seed, other="maize_bench"):
    """How far each measure lies from that of a scenario with random seed 1, in standard errors of
    the difference; a standard error is half of the 95 % interval over 1.96."""
    found = {}
    runs = ((name, seed), (other, 1))
    one, two = (measure(simulate(load_scenario(n, ["turns=100"]), seed=s)) for n, s in runs)
    assert set(one.estimates) == {measure.key for measure in MEASURES}
    for key, a in one.estimates.items():
        b = two[key]
        if math.isnan(a.value) or math.isnan(b.value):
            assert math.isnan(a.value) and math.isnan(b.value), key
            continue
        spread = math.hypot(a.high - a.low, b.high - b.low) / (2 * NORMAL_95)
        apart = abs(a.value - b.value)
        found[key] = apart / spread if spread > 0 else (0.0 if apart < 1e-9 else math.inf)
    return found


@pytest.mark.parametrize("seed", [2, 3])
def test_other_draws_give_the_same_measures_within_their_standard_errors(seed):
    assert max(departures("maize_bench", seed).values()) < HARD


def test_control_another_scenario_departs():
    assert departures("gate_too_low", 1)["cells.skip"] > HARD


@pytest.mark.parametrize("name", sorted(shipped_scenarios()))
def test_every_shipped_scenario_says_what_it_shows(name):
    assert load_scenario(name).shows


def test_the_checks_notice_a_lost_seed():
    """Negative control: a seed that disappears from the pool, and one counted twice."""

    def thief(meter):
        yield meter.env.timeout(1.0)
        meter.pool -= 1

    counted = []

    def watch(meter):
        counted.append(meter.total)
        yield meter.env.timeout(2.0)
        counted.append(meter.total)

    simulate(BENCH.replace(run__turns=2), visitors=[thief, watch])
    assert counted[0] - counted[1] == 1
