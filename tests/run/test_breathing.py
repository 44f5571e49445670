"""A pool that breathes between two slopes, and a ground wheel that slips."""

import dataclasses

import numpy as np
import pytest

from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.stations import stations_of
from metersim.run.simulation import simulate
from tests.strategies import BENCH, bytes_of, measured, ran, unlike, z_between


def gate_with(angle, **changes):
    """The bench's gate with another avalanche angle [degrees]."""
    coefficients = dataclasses.replace(USUAL, avalanche_angle=np.radians(angle))
    return stations_of(BENCH.replace(**changes), coefficients).gate


def run_with(angle, engine=None, **changes):
    """A run of the bench with another avalanche angle [degrees]."""
    own = {"gate": gate_with(angle, **changes)}
    return simulate(BENCH.replace(**changes), stations=own, engine=engine)


def test_a_pool_that_does_not_breathe_is_full_at_all_ticks():
    """Without an avalanche angle the gate makes up for each seed at once."""
    pool = run_with(0.0, pool__gate_opening=0.045).ticks.pool
    assert np.all(pool >= gate_with(0.0, pool__gate_opening=0.045).full(Moment()))
    assert np.std(pool) < 0.5


def test_the_level_breathes_more_with_a_larger_avalanche_angle():
    """Between the two static levels, and with the SD of a saw's tooth."""
    spreads = []
    for angle in (0.0, 3.0, 6.0, 12.0):
        gate, pool = gate_with(angle), run_with(angle).ticks.pool
        full, low = gate.full(Moment()), gate.low(Moment())
        assert np.percentile(pool, 99) <= full + 3
        assert pool.min() > low - 1
        spreads.append(np.std(gate.level(pool)))
        if angle >= 6:
            assert np.std(pool) == pytest.approx((full - low) / np.sqrt(12), rel=0.15)
    assert np.all(np.diff(spreads) > 0)


@pytest.mark.parametrize("angle", [0.0, 3.0, 10.0])
def test_the_level_rises_with_the_gate(angle):
    """On average, and at the starts and ends of slides."""
    openings = (0.013, 0.02, 0.03, 0.05, 0.07)
    gates = [gate_with(angle, pool__gate_opening=one) for one in openings]
    for limit in ("full", "low"):
        assert np.all(np.diff([getattr(gate, limit)(Moment()) for gate in gates]) > 0)
    means = [
        gate.level(run_with(angle, run__turns=20, pool__gate_opening=one).ticks.pool).mean()
        for gate, one in zip(gates, openings, strict=True)
    ]
    assert np.all(np.diff(means) > 0)


@pytest.mark.parametrize("angle", [0.0, 8.0])
@pytest.mark.parametrize("opening", [0.0135, 0.052])
def test_engines_agree_and_no_seed_is_lost(angle, opening):
    changes = {"run__turns": 30, "pool__gate_opening": opening}
    events, arrays = (run_with(angle, name, **changes) for name in ("events", "arrays"))
    assert unlike(events, arrays) == []
    filled = int(BENCH.pool.hopper / BENCH.seeds.seed_mass)
    left = arrays.ticks.pool[-1] + arrays.ticks.hopper[-1]
    assert 0 <= filled - left - len(arrays.seeds) <= 2 * BENCH.disc.cells


def test_the_trace_notes_slides():
    """In turn a start and an end."""
    run = simulate(BENCH.replace(run__turns=5), trace=True)
    slides = [one.event for one in run.trace if one.event.startswith("slide")]
    assert len(slides) > 4
    assert set(slides[::2]) == {"slide started"}
    assert set(slides[1::2]) == {"slide ended"}


# slip

SLIP = {"drive__slip": 0.08, "run__turns": 300}


def test_no_slip_leaves_the_bytes_as_they_were():
    """Whatever the travel of one slip would be."""
    assert bytes_of(ran(drive__slip_burst=0.5)) == bytes_of(ran())
    assert bytes_of(ran(**SLIP)) != bytes_of(ran(run__turns=300))


@pytest.mark.slow
@pytest.mark.parametrize("ripple", [0.0, 0.2])
def test_engines_agree_on_slips(ripple):
    scenario = BENCH.replace(**SLIP | {"run__turns": 30}, drive__ripple=ripple)
    assert unlike(*(simulate(scenario, engine=name) for name in ("events", "arrays"))) == []


def test_slip_keeps_the_mean_rate():
    """The wheel stands a share of the time, to four standard errors of that share."""
    run = ran(**SLIP)
    time = run.ticks.time[-1] - run.ticks.time[0]
    steady = ran(run__turns=300).ticks
    slips = 0.08 * time * BENCH.demand.speed / 0.1
    error = 0.08 * np.sqrt(2 / slips)
    assert abs(time / (steady.time[-1] - steady.time[0]) - 1) < 4 * error


def test_slip_raises_misses_more_than_multiples():
    wide = {"run__turns": 300, "demand__rate": 6.67}
    steady, slipping = measured(**wide), measured(**wide, drive__slip=0.04)
    miss, multiple = (
        slipping[f"per_spacing.{one}"].value - steady[f"per_spacing.{one}"].value
        for one in ("miss", "multiple")
    )
    assert z_between(steady, slipping, "per_spacing.miss") > 4
    assert miss > 3 * abs(multiple)
