"""Two engines, one meter: events in time and whole runs in arrays leave the same records.

The engines share equations and draws, nothing else (`tests/test_layers.py`); what is checked here
is the bookkeeping of both: who joins when, what the pool holds at every tick, what is knocked,
swept and shaken off, how each seed falls and which seeds the sensor sees.
"""

import dataclasses
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

import metersim
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.stations import like, stations_of
from metersim.machine.tube import TubeStation
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.measures.tally import tallied
from metersim.run import events as processes
from metersim.run import hole as holding
from metersim.run import meter
from metersim.run.arrays import descent as engine
from metersim.run.arrays import supply
from metersim.run.arrays import supply as settling
from metersim.run.draws import BLOCK
from metersim.run.simulation import pieces, simulate, simulate_cells
from tests.strategies import BENCH, bytes_of, scenarios
from tests.test_meter import LIVELY

ROOT = Path(metersim.__file__).parent


def both(scenario, **kinds):
    """Records of the events and of the arrays."""
    return tuple(simulate(scenario, engine=name, **kinds) for name in ("events", "arrays"))


def same(scenario, **kinds):
    """Whether both engines leave the same records, to the last bit."""
    one, other = (bytes_of(run) for run in both(scenario, **kinds))
    return one == other


# ---------------------------------------------------------------- equality


@pytest.mark.parametrize("name", sorted(shipped_scenarios()))
@pytest.mark.parametrize("seed", [0, 1])
def test_shipped_scenarios(name, seed):
    scenario = load_scenario(name, ["turns=60"])
    events, arrays = both(scenario, seed=seed, replicate=seed)
    for table in ("cells", "ticks", "seeds"):
        for key, column in getattr(events, table).columns():
            other = getattr(getattr(arrays, table), key)
            assert column.dtype == other.dtype, (table, key)
            assert np.array_equal(column, other), (table, key)
    assert (events.scenario, events.seed, events.replaced) == (scenario, seed, arrays.replaced)


@settings(max_examples=60, deadline=None)
@given(scenarios())
def test_drawn_scenarios(scenario):
    assert same(scenario)


@pytest.mark.parametrize("changes", LIVELY.values(), ids=LIVELY)
def test_meters_in_trouble(changes):
    assert same(BENCH.replace(**{"run__turns": 30, **changes}))


STARVED = {
    "low gate": {"pool__gate_opening": 0.012},
    "low gate, fine ticks": {"pool__gate_opening": 0.012, "run__tick": 0.02},
    "low gate, coarse ticks": {"pool__gate_opening": 0.012, "run__tick": 1.0},
    "gate nearly shut": {"pool__gate_opening": 0.0108},
    "empty from the middle": {"pool__hopper": 0.35},
    "passages that coincide": {"disc__cells": 36, "pool__gate_opening": 0.012},
    "dust": {"sensor__detection": 0.6, "demand__rate": 30.0},
}


@pytest.mark.parametrize("changes", STARVED.values(), ids=STARVED)
def test_pools_that_run_low(changes):
    scenario = BENCH.replace(**{"run__turns": 80, **changes})
    assert same(scenario)
    assert bytes_of(simulate(scenario)) != bytes_of(simulate(BENCH.replace(run__turns=80)))


def test_across_blocks():
    """Pool, arches, shaking and the sensor's darkness go on from one block of luck to the next."""
    cells = 40
    scenario = BENCH.replace(
        run__turns=BLOCK // cells + 30,
        disc__cells=cells,
        pool__gate_opening=0.013,
        pool__hopper=60.0,
        furrow__surface="field",
    )
    events, arrays = both(scenario)
    assert len(arrays.cells) > BLOCK
    assert np.ptp(arrays.ticks.pool[-200:]) > 5  # the pool is lively at the border
    assert bytes_of(events) == bytes_of(arrays)


USE_BLOCKS = (
    "luck",
    "records",
    "events.meter",
    "arrays.engine",
    "arrays.settling",
    "arrays.shocks",
)


@pytest.mark.parametrize("changes", (LIVELY | STARVED).values(), ids=LIVELY | STARVED)
def test_across_many_borders(changes, monkeypatch):
    """The same with blocks so small that a run has ten of them or more, in the field."""
    for module in USE_BLOCKS:
        monkeypatch.setattr(f"metersim.{module}.BLOCK", 200)
    scenario = BENCH.replace(
        **{"furrow__surface": "field", "drive__start_ramp": 30.0, **changes, "run__turns": 70}
    )
    events, arrays = both(scenario)
    assert len(list(arrays.pieces())) > 10
    assert bytes_of(events) == bytes_of(arrays)


def test_no_user_of_blocks_was_forgotten():
    """Of the borders above: every module that takes the size of a block was told."""
    users = {
        str(path.relative_to(ROOT).with_suffix("")).replace("/", ".")
        for path in ROOT.rglob("*.py")
        if re.search(r"import .*\bBLOCK\b", path.read_text(encoding="utf-8"))
    }
    assert users | {"luck"} == set(USE_BLOCKS)


@dataclass(frozen=True, kw_only=True)
class SlowTube(TubeStation):
    """A student's tube: every seed takes exactly one second and touches nothing."""

    def contacts(self, speed):
        """No wall contacts."""
        return 0.0 * speed

    def speed(self, height, speed, steady):
        """As it was launched."""
        return speed

    def time(self, height, launch, speed, steady, slowing):
        """One second for the whole length."""
        return height / self.length


def test_replaced_stations():
    scenario = BENCH.replace(run__turns=20, furrow__surface="field")
    usual = stations_of(scenario)
    rough = dataclasses.replace(
        usual.pickup, coefficients=dataclasses.replace(usual.pickup.coefficients, eccentricity=0.9)
    )
    events, arrays = both(scenario, stations={"tube": like(SlowTube, usual.tube), "pickup": rough})
    assert bytes_of(events) == bytes_of(arrays)
    assert (
        events.replaced
        == arrays.replaced
        == {
            "tube": "SlowTube",
            "pickup": "PickupStation with other values",
        }
    )


def test_other_luck_is_told_apart():
    """Negative control: the comparison sees another seed of chance, and half a nanometre."""
    run = simulate(BENCH.replace(run__turns=5))
    assert bytes_of(run) != bytes_of(simulate(BENCH.replace(run__turns=5), seed=2))
    moved = dataclasses.replace(run.seeds, position=run.seeds.position + 5e-10)
    assert bytes_of(run) != bytes_of(dataclasses.replace(run, seeds=moved))


# ---------------------------------------------------------------- the coupling

LOW = BENCH.replace(run__turns=60, pool__gate_opening=0.012)
HEAPED = BENCH.replace(
    run__turns=60, pool__gate_opening=0.085, vacuum__vacuum=1.6e3, singulator__notch=2.5
)


def forget(monkeypatch, where, name, value):
    """Replace a part of an engine by one that does nothing."""
    monkeypatch.setattr(where, name, lambda *_, **__: value)


def without_ticks(monkeypatch):
    """Events whose cells see the pool as it was at the start."""
    look = meter.Meter.look
    monkeypatch.setattr(meter.Meter, "look", lambda self: look(self) if not self.ticks else None)


def without_returns(monkeypatch):
    """Events in which what the disc loses never comes back to the pool."""

    def lose(state, *_):
        state.carried -= 1

    monkeypatch.setattr(holding, "send_back", lose)


def without_arches(monkeypatch):
    """Arrays whose gate never stops."""
    go_on = supply.Arches.go_on

    def open_gate(self, times):
        arched, able = go_on(self, times)
        return np.zeros_like(arched), np.maximum(able, 10**6)

    monkeypatch.setattr(supply.Arches, "go_on", open_gate)


def without_change(monkeypatch):
    """Arrays whose pool does not see what cells take and bring back."""
    change = settling.Settling._change
    monkeypatch.setattr(settling.Settling, "_change", lambda self, *a: 0 * change(self, *a))


def without_limit(monkeypatch):
    """Arrays whose cells take seeds from an empty pool."""
    forget(monkeypatch, settling.Settling, "_left", None)


def with_first_guess(monkeypatch):
    """Arrays that hold every first guess for right."""
    correct = supply.Supply.correct

    def believe(self, change, last):
        correct(self, change, last)
        return last

    monkeypatch.setattr(supply.Supply, "correct", believe)


def with_a_bright_beam(monkeypatch):
    """Events whose beam is free at once."""
    monkeypatch.setattr(processes, "watch", lambda *_: True)


BROKEN = {
    "events without ticks": (without_ticks, LOW),
    "events without returns": (without_returns, HEAPED.replace(pool__gate_opening=0.012)),
    "events with a bright beam": (with_a_bright_beam, BENCH.replace(demand__rate=60.0)),
    "arrays without arches": (without_arches, LOW),
    "arrays without change": (without_change, LOW),
    "arrays without limit": (without_limit, LOW),
    "arrays with their first guess": (with_first_guess, LOW),
}


@pytest.mark.parametrize(("breaking", "scenario"), BROKEN.values(), ids=BROKEN)
def test_a_broken_coupling_is_noticed(breaking, scenario, monkeypatch):
    assert same(scenario)
    with monkeypatch.context() as patch:
        breaking(patch)
        assert not same(scenario)


# ---------------------------------------------------------------- pieces and sums


@pytest.mark.parametrize("name", ["maize_field", "gate_too_low"])
def test_pieces_are_those_of_the_whole_run(name):
    scenario = load_scenario(name, [f"turns={2 * BLOCK // 30 + 40}", "hopper_kg=100"])
    whole = simulate(scenario)
    origin, parts = pieces(scenario)
    assert origin == whole.origin
    count = 0
    for made, cut in zip(parts, whole.pieces(), strict=True):
        assert (made.first_cell, made.first_tick) == (cut.first_cell, cut.first_tick)
        for table in ("seeds", "cells", "ticks"):
            for key, column in getattr(made, table).columns():
                assert np.array_equal(column, getattr(getattr(cut, table), key)), (table, key)
        count += 1
    assert count == 3


@pytest.mark.parametrize("name", ["maize_field", "gate_too_low"])
def test_cells_are_the_same_whether_or_not_their_seeds_are_followed(name):
    scenario = load_scenario(name).lasting(2 * BLOCK + 100)
    whole = simulate(scenario, seed=3, replicate=1).cells
    for key, column in simulate_cells(scenario, seed=3, replicate=1).columns():
        assert np.array_equal(column, getattr(whole, key)), key


def test_sums_are_the_same_to_the_last_bit():
    """Kept or streamed, by events or by arrays: the same measures."""
    scenario = BENCH.replace(run__turns=100, furrow__surface="field")
    kept = measure(simulate(scenario))
    streamed = measure(tallied(scenario))
    by_events = measure(tallied(scenario, engine="events"))
    for part in MEASURES:
        values = [made[part.key] for made in (kept, streamed, by_events)]
        assert repr(values[0]) == repr(values[1]) == repr(values[2])


# ---------------------------------------------------------------- what is asked of which


@pytest.mark.parametrize("wanted", [{"trace": True}, {"visitors": [lambda _: iter(())]}])
def test_arrays_refuse_what_only_events_can_do(wanted):
    with pytest.raises(ValueError, match="take 'events'"):
        simulate(BENCH.replace(run__turns=1), engine="arrays", **wanted)


def test_an_unknown_engine_is_refused():
    with pytest.raises(ValueError, match=r"'steam'.*arrays or events"):
        simulate(BENCH.replace(run__turns=1), engine="steam")


def test_a_seed_that_falls_behind_a_whole_piece_is_refused(monkeypatch):
    """What is out of reach of any tube would be counted wrong, and is not counted at all."""
    land = engine.descend

    def late(block, seeds, cut, speed, shocks):
        landed = land(block, seeds, cut, speed, shocks)
        crossed = landed.crossed + 1e6 * (block.luck.first == 0)
        return landed._replace(crossed=crossed)

    monkeypatch.setattr(engine, "descend", late)
    scenario = BENCH.replace(run__turns=2 * BLOCK // 30 + 40, pool__hopper=100.0)
    with pytest.raises(RuntimeError, match="too late"):
        simulate(scenario)
