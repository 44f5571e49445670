"""Speed, off by default: ``pytest -m benchmark -n 0 -s``.

Wall times are the best of several runs, as the machine may be shared; counts are exact.
"""

import importlib.util
import subprocess
import sys
import time
from collections import Counter
from functools import partial

import numpy as np
import pytest
import simpy

import metersim as m
from metersim.measures.tally import tally
from metersim.run.streams import Streams
from tests.yardstick import seconds_of_a_pass

pytestmark = pytest.mark.benchmark
CELLS_PER_SECOND = 5_000  # of the events, which are there to be read
TIMES_THE_EVENTS = 100
TIMES_THE_DRAWS = 4
PASSES_A_MILLION = 75  # of long runs
NANOSECONDS_OF_A_TALLY = 250  # of a cell
FAST = ["compiled"] if importlib.util.find_spec("numba") else []
STEPS_OF_A_CELL = 4  # pool entry, pick-up, singulator, cut-off
STEPS_OF_A_SEED = 5  # process begins, leaves the hole, sensor, landing, process ends


def best_seconds(function, repeats):
    """The shortest of several wall times."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def events_of(scenario, monkeypatch):
    """How many events a run goes through, and the run."""
    steps = 0
    step = simpy.Environment.step

    def counting(environment):
        nonlocal steps
        steps += 1
        step(environment)

    with monkeypatch.context() as patch:
        patch.setattr(simpy.Environment, "step", counting)
        run = m.simulate(scenario, engine="events")
    return steps, run


LONG = ["turns=3000", "hopper_kg=400"]  # so that what a run costs once hardly counts


def draws_of(scenario, monkeypatch):
    """What a run draws, as calls that draw the same again and nothing else."""
    drawn, fresh = [], np.random.Generator(np.random.PCG64(1))
    streams, index = Streams(1), np.arange(10**6, dtype=np.uint64)

    class Noting:
        def __init__(self, generator):
            self.generator = generator

        def __getattr__(self, kind):
            def draw(size=None):
                drawn.append((kind, size or 1))
                return getattr(self.generator, kind)(size)

            return draw

    class Listening(Streams):
        def block(self, cause, number):
            return Noting(super().block(cause, number))

        def uniform(self, cause, where):
            drawn.append(
                ("by index", np.size(where) * (1 if isinstance(cause, str) else len(cause)))
            )
            return super().uniform(cause, where)

        def pair(self, cause, where):
            drawn.append(("by index", np.size(where)))
            return super().pair(cause, where)

    with monkeypatch.context() as patch:
        patch.setattr("metersim.run.simulation.Streams", Listening)
        m.simulate(scenario)

    def again():
        for kind, size in drawn:
            if kind == "by index":
                streams.uniform("x", index[:size])
            else:
                getattr(fresh, kind)(size)

    return drawn, again


@pytest.mark.parametrize("changes", [[], LONG], ids=["300 turns", "3000 turns"])
@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_arrays_against_events_and_against_their_draws(name, changes, monkeypatch):
    """Ratios of best times, taken in turn as the machine may be shared."""
    scenario = m.load_scenario(name, changes)
    short = scenario.replace(run__turns=100)
    drawn, draw = draws_of(scenario, monkeypatch)
    runs = {engine: partial(m.simulate, scenario, engine=engine) for engine in ("arrays", *FAST)}
    for run in runs.values():
        run()  # compiled code is read once
    rounds = [
        [
            *(best_seconds(run, 3) / scenario.passages for run in runs.values()),
            best_seconds(draw, 3) / scenario.passages,
            best_seconds(lambda: m.simulate(short, engine="events"), 1) / short.passages,
            seconds_of_a_pass(5),
        ]
        for _ in range(7)
    ]
    *cells, draws, events, one = (min(column) for column in zip(*rounds, strict=True))
    kinds = Counter()
    for kind, size in drawn:
        kinds[kind] += size / scenario.passages
    told = ", ".join(f"{number:.2f} {kind}" for kind, number in kinds.items())
    print(f"\n{name}: {events / cells[0]:.0f} times the events' speed; draws: {told}")
    for engine, cell in zip(runs, cells, strict=True):
        passes = cell / one * 1e6
        print(
            f"{engine}: {cell * 1e9:.0f} ns a cell, {passes:.0f} passes a million cells, ", end=""
        )
        print(f"{cell / draws:.1f} times the {draws * 1e9:.0f} ns of its draws")
    assert events / cells[0] >= TIMES_THE_EVENTS
    if min(cells) / one * 1e6 > PASSES_A_MILLION or min(cells) / draws > TIMES_THE_DRAWS:
        pytest.xfail("a target is missed; DEVELOPERS.md says where the time goes")


def test_a_cell_costs_the_same_from_ten_thousand_cells_to_ten_million():
    """Passes a million cells, with sums; short runs bear what a run costs once."""
    costs = {}
    for turns in (100, 1_000, 10_000, 100_000):
        scenario = m.load_scenario("maize_bench", ["cells=100", "hopper_kg=500", f"turns={turns}"])
        seconds = best_seconds(partial(m.tallied, scenario), 3 if turns < 100_000 else 1)
        costs[turns] = seconds / seconds_of_a_pass() / scenario.passages * 1e6
        print(f"\n{100 * turns:,} cells: {costs[turns]:.0f} passes a million", end="")
    assert max(costs.values()) < 2 * min(costs.values())


def test_a_hundred_million_cells_take_the_memory_of_a_million():
    """Peak of the whole process, with measures; the longer run lasts some two minutes."""
    code = """
import resource, sys
import metersim as m
scenario = m.load_scenario("maize_bench", ["cells=100", "hopper_kg=500", f"turns={sys.argv[1]}"])
found = m.measure(m.tallied(scenario))
assert found.total("cells") == 100 * int(sys.argv[1])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""
    small, large = (
        int(subprocess.check_output([sys.executable, "-c", code, turns]))
        for turns in ("10000", "1000000")
    )
    print(f"\n{small / 1024:.0f} MiB for 10^6 cells, {large / 1024:.0f} MiB for 10^8")
    assert large <= 1.1 * small


def test_a_cold_run_takes_less_than_twice_its_imports():
    """``metersim run`` with 300 turns and JSON, against importing the modules that it loads."""
    words = ["run", "maize_bench", "--json", "-"]
    code = f"""
import runpy, sys
sys.argv = ["metersim", *{words}]
try:
    runpy.run_module("metersim", run_name="__main__", alter_sys=True)
except SystemExit:
    pass
print(*sys.modules, file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    own = [name for name in done.stderr.split() if name.startswith("metersim.")]
    needed = "import " + ", ".join(name for name in own if name != "metersim.__main__")

    def seconds(*command):
        return best_seconds(
            lambda: subprocess.run([sys.executable, *command], check=True, capture_output=True), 9
        )

    run, imports = seconds("-m", "metersim", *words), seconds("-c", needed)
    print(f"\na cold run takes {run / imports:.2f} times its imports")
    assert run <= 2 * imports


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_cells_per_second_with_an_event_for_every_station(name, monkeypatch):
    scenario = m.load_scenario(name)
    steps, run = events_of(scenario, monkeypatch)
    cells, seeds = len(run.cells), len(run.seeds)
    contacts = int(run.seeds.contacts.sum())
    least = STEPS_OF_A_CELL * cells + (STEPS_OF_A_SEED + scenario.in_field) * seeds + contacts
    assert steps >= least + 2 * len(run.ticks)  # the drive and the gate go on at every tick
    speed = cells / best_seconds(lambda: m.simulate(scenario, engine="events"), 7)
    print(f"\n{name}: {speed:,.0f} cells/s, {steps / cells:.2f} events a cell")
    assert speed >= CELLS_PER_SECOND


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_a_tally_takes_a_quarter_of_a_microsecond_a_cell(name):
    run = m.simulate(m.load_scenario(name, ["turns=1000", "hopper_kg=100"]))
    cells, pieces = len(run.cells), list(run.pieces())
    seconds = best_seconds(lambda: tally(run.origin, cells, 48, pieces), 50)
    print(f"\n{name}: {seconds / cells * 1e9:.0f} ns a cell in pieces of {len(pieces[0].cells)}")
    assert seconds / cells <= NANOSECONDS_OF_A_TALLY * 1e-9
