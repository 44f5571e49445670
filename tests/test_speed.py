"""Speed, off by default: ``pytest -m benchmark -n 0 -s``.

Wall times are the best of several runs, as the machine may be shared; counts are exact.
"""

import subprocess
import sys
import time

import pytest
import simpy

import metersim as m
from metersim.tally import tally

pytestmark = pytest.mark.benchmark
CELLS_PER_SECOND = 20_000
NANOSECONDS_OF_A_TALLY = 250  # of a cell
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
        run = m.simulate(scenario)
    return steps, run


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_cells_per_second_with_an_event_for_every_station(name, monkeypatch):
    scenario = m.load_scenario(name)
    steps, run = events_of(scenario, monkeypatch)
    cells, seeds = len(run.cells), len(run.seeds)
    contacts = int(run.seeds.contacts.sum())
    least = STEPS_OF_A_CELL * cells + (STEPS_OF_A_SEED + scenario.in_field) * seeds + contacts
    assert steps >= least + 2 * len(run.ticks)  # the drive and the gate go on at every tick
    speed = cells / best_seconds(lambda: m.simulate(scenario), 7)
    print(f"\n{name}: {speed:,.0f} cells/s, {steps / cells:.2f} events a cell")
    assert speed >= CELLS_PER_SECOND


@pytest.mark.parametrize("name", ["maize_bench", "maize_field"])
def test_a_tally_takes_a_quarter_of_a_microsecond_a_cell(name):
    run = m.simulate(m.load_scenario(name, ["turns=1000", "hopper_kg=100"]))
    cells, pieces = len(run.cells), list(run.pieces())
    seconds = best_seconds(lambda: tally(run.origin, cells, 48, pieces), 50)
    print(f"\n{name}: {seconds / cells * 1e9:.0f} ns a cell in pieces of {len(pieces[0].cells)}")
    assert seconds / cells <= NANOSECONDS_OF_A_TALLY * 1e-9


def test_help_starts_in_less_than_five_times_bare_python():
    def run(*words):
        return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)

    bare = best_seconds(run("-c", "pass"), 15)
    helped = best_seconds(run("-m", "metersim", "--help"), 15)
    print(f"\nhelp takes {helped / bare:.2f} times a bare start")
    assert helped < 5 * bare
