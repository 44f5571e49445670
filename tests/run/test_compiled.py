"""The compiled engine leaves the records of the arrays, and says what it cannot do."""

import importlib.util
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings

from metersim.distributions.normal import ndtr, ndtri
from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.release import ReleaseStation
from metersim.machine.sensor import SensorStation
from metersim.machine.singulator import QUARTERS, SECTORS, direction_of_second
from metersim.machine.stations import stations_of
from metersim.measures.estimates import measure
from metersim.measures.tally import tallied
from metersim.run.compiled import draws, fall, following, numbers, picking, steps
from metersim.run.compiled.translate import Translated
from metersim.run.draws import BlockDraws
from metersim.run.simulation import simulate
from metersim.run.streams import Streams
from metersim.run.toolbar import simulate_pass
from tests.run.test_engines import (
    CROWDED,
    FIELD,
    PARTS,
    STARVED,
    SWEPT,
    USE_BLOCKS,
)
from tests.run.test_meter import LIVELY
from tests.strategies import BENCH, scenarios, unlike

NUMBA = importlib.util.find_spec("numba") is not None
needs_numba = pytest.mark.skipif(not NUMBA, reason="numba is not installed (extra 'fast')")
compiles = [needs_numba, pytest.mark.slow]  # some seconds where nothing is kept on the disk
TROUBLE = LIVELY | PARTS | STARVED


def differences(scenario, **kinds):
    """Columns in which the compiled engine differs from the arrays."""
    return unlike(*(simulate(scenario, engine=name, **kinds) for name in ("arrays", "compiled")))


class TestRecords:
    pytestmark = compiles

    @pytest.mark.parametrize("name", sorted(shipped_scenarios()))
    def test_shipped_scenarios(self, name):
        assert differences(load_scenario(name).lasting(3000), seed=1, replicate=1) == []

    @pytest.mark.study
    @settings(max_examples=60)
    @given(scenarios())
    def test_drawn_scenarios(self, scenario):
        assert differences(scenario) == []

    @pytest.mark.parametrize("changes", TROUBLE.values(), ids=TROUBLE)
    def test_meters_in_trouble(self, changes):
        assert differences(BENCH.replace(**{"run__turns": 40, **changes})) == []

    @pytest.mark.parametrize("changes", (LIVELY | STARVED).values(), ids=LIVELY | STARVED)
    def test_across_many_borders(self, changes, monkeypatch):
        for module in USE_BLOCKS:
            monkeypatch.setattr(f"metersim.run.{module}.BLOCK", 100)
        field = {"furrow__surface": "field", "drive__start_ramp": 30.0}
        assert differences(BENCH.replace(**{**field, **changes, "run__turns": 40})) == []

    def test_all_rows_of_a_machine(self):
        around = ["rows=4", "working=1-3", "shut_off_kpa=8", "free_flow_m3_h=900", "turns=20"]
        scenario = load_scenario("maize_field", around)
        arrays, compiled = (simulate_pass(scenario, engine=e) for e in ("arrays", "compiled"))
        assert np.allclose(arrays.air.vacuum, compiled.air.vacuum, rtol=1e-9, atol=0)
        for one, other in zip(arrays.rows, compiled.rows, strict=True):
            assert unlike(one.run, other.run) == []

    def test_sums_are_those_of_a_kept_run(self):
        scenario = BENCH.replace(run__turns=100)
        kept, streamed = simulate(scenario, engine="compiled"), tallied(scenario, engine="compiled")
        assert measure(kept)["cells.skip"] == measure(streamed)["cells.skip"]

    def test_stations_of_which_the_arrays_ask_may_be_own_ones(self):
        @dataclass(frozen=True, kw_only=True)
        class Blind(SensorStation):
            def detects(self, at):
                return 0.5

        scenario = BENCH.replace(run__turns=20)
        assert differences(scenario, stations={"sensor": Blind}) == []
        seen = simulate(scenario, engine="compiled", stations={"sensor": Blind}).seeds.seen
        assert 0.3 < seen.mean() < 0.7

    def test_nothing_is_compiled_twice(self):
        """Of each kind of tube: all scenarios above call one machine code."""
        for changes in ({}, {"furrow__surface": "field"}, STARVED["empty from the middle"]):
            simulate(BENCH.replace(**{"run__turns": 20, **changes}), engine="compiled")
        kinds = tuple(type(getattr(stations_of(BENCH), name)) for name in steps.KINDS)
        *compiled, _ = steps.kernels(kinds)
        assert [len(kernel.signatures) for kernel in compiled] == [1] * len(compiled)


BROKEN = {
    "size of later seeds": (picking, "pickup.size(normal(keys.size, index))", "1.0", CROWDED),
    "lone tooth": (following, "risky and deviate > singulator.weakest(rank)", "False", SWEPT),
    "wall loss": (fall, "wall, before * (1 - loss)", "wall, before", FIELD),
}


@pytest.mark.study
@needs_numba
@pytest.mark.slow
@pytest.mark.parametrize("name", BROKEN)
def test_a_rule_that_a_kernel_breaks_is_noticed(name, monkeypatch, tmp_path):
    """Negative control of the comparison above."""
    module, old, new, scenario = BROKEN[name]
    with open(module.__file__, encoding="utf-8") as source:
        text = source.read()
    assert old in text
    file = tmp_path / "broken.py"
    file.write_text(text.replace(old, new), encoding="utf-8")
    spec = importlib.util.spec_from_file_location("metersim.run.compiled.broken", file)
    broken = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, broken)
    spec.loader.exec_module(broken)
    for called in ("pick_cells", "follow_cells", "fall_seeds"):
        if hasattr(module, called) and vars(module)[called].__module__ == module.__name__:
            monkeypatch.setattr(steps, called, vars(broken)[called])
    for columns in ("PickColumns", "FollowColumns", "FallColumns", "Way"):
        if hasattr(broken, columns):
            monkeypatch.setattr(steps, columns, vars(broken)[columns])
    monkeypatch.setattr(steps, "kernels", steps.kernels.__wrapped__)
    assert differences(scenario) != []


class TestNumbers:
    pytestmark = compiles

    def test_draws_have_the_same_bits(self):
        """By index, seed in cell and turn, in any block."""
        kernel = Translated({}).kernel(_fill_draws)
        for block, nth, turn in ((0, 0, 0), (3, 5, 11), (10**6, 2, 15)):
            block_draws = BlockDraws(Streams(7, 2), block)
            cells, made = np.array([0, 1, 77, 32767]), np.empty((3, 4))
            kernel(block_draws.key("wall"), block_draws.first, cells, nth, turn, made)
            assert np.array_equal(made[0], block_draws.uniform("wall", cells, nth, turn))
            assert np.array_equal(made[1:], block_draws.pair("wall", cells, nth, turn))

    def test_functions_of_numbers_are_those_of_arrays(self):
        places = np.concatenate((np.linspace(0.001, 0.999, 500), SECTORS[1:-1]))
        made = np.empty((3, len(places)))
        Translated({}).kernel(_fill_numbers)(places, made)
        wanted = ndtri(places), ndtr(8 * places - 4), direction_of_second(places)
        assert np.allclose(made, wanted, rtol=1e-14, atol=1e-15)
        assert float(made[2].max()) < QUARTERS[-1]


def _fill_draws(key, first, cells, nth, turn, made):
    for k in range(len(cells)):
        index = draws.index_of(first, cells[k], nth, turn)
        made[0, k] = draws.uniform(key, index)
        made[1, k], made[2, k] = draws.pair(key, index)


def _fill_numbers(places, made):
    for k in range(len(places)):
        made[0, k] = ndtri(places[k])
        made[1, k] = ndtr(8 * places[k] - 4)
        made[2, k] = direction_of_second(places[k])


def test_between_two_places():
    for place in (-1.0, 0.0, 0.1, 0.4, 0.5, 0.92, 1.0, 2.0):
        wanted = np.interp(place, SECTORS, QUARTERS)
        assert numbers.between(place, SECTORS, QUARTERS) == pytest.approx(float(wanted), rel=1e-14)


# ---------------------------------------------------------------- what is refused


def test_a_missing_numba_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "numba", None)  # then importing it is an ImportError
    with pytest.raises(BadInput, match=r"compiled: needs numba: pip install 'metersim\[fast\]'"):
        simulate(BENCH.replace(run__turns=1), engine="compiled")


@needs_numba
def test_an_own_station_that_would_be_compiled_is_refused():
    class Late(ReleaseStation):
        def travel(self, share, at):
            return super().travel(share, at) + 1e-3

    with pytest.raises(BadInput, match=r"cannot compile .*Late, the own station 'release'; give"):
        simulate(BENCH.replace(run__turns=1), engine="compiled", stations={"release": Late})


@pytest.mark.parametrize("wanted", [{"trace": True}, {"visitors": [lambda _: iter(())]}])
def test_a_trace_is_refused(wanted):
    with pytest.raises(ValueError, match="'compiled'; a trace and visitors take 'events'"):
        simulate(BENCH.replace(run__turns=1), engine="compiled", **wanted)
