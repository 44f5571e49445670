"""A starved pool, whose skips remember stops of the gate, and a hopper that runs empty."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.losses import LOW_POOL, POOL_EMPTY
from metersim.machine.moment import Moment
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.stations import stations_of
from metersim.measures.estimates import Measured, measure
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import share_interval
from metersim.measures.limits import HOPPER, causes
from metersim.measures.pool import FEWEST, SHORTEST, Stops, stops_of
from metersim.measures.tally import stretches_of, tallied, tally, tally_of
from metersim.run import records
from metersim.run.records import Piece
from metersim.run.simulation import simulate, simulate_cells
from tests.strategies import BENCH

LEVEL = 0.9
FULL = "hopper_kg=500"
STARVED = {
    "low gate": ("gate_too_low", []),
    "low gate, fast": ("gate_too_low", ["speed_kmh=10"]),
    "15 mm, fast": ("maize_bench", ["gate_opening_mm=15", "speed_kmh=12"]),
}
HEALTHY = {"maize": ("maize_bench", []), "sunflower": ("sunflower", [])}


def of(name, turns):
    """A scenario by its name here, with the hopper kept full."""
    scenario, changes = {**STARVED, **HEALTHY}[name]
    return load_scenario(scenario, [*changes, f"turns={turns}", FULL])


# ---------------------------------------------------------------- stops of the gate


@pytest.mark.slow
@pytest.mark.parametrize("name", STARVED)
def test_stops_are_as_long_and_as_common_as_arches(name):
    """Of the ticks, length / cycle are stopped, but for the length of a tick; |z| < 4.

    Times of both states are exponential, of means a and b.  Then the share of time in the first
    has the variance 2 a^2 b^2 / (a + b)^3 over the time.
    """
    scenario = of(name, 1000)
    arched = simulate(scenario, seed=5).ticks.arched
    stops = stops_of(scenario)
    # a change waits for the next tick, so that both states last half a tick longer
    late = scenario.disc.cells * scenario.run.tick / 2
    stop, wait = stops.length + late, stops.cycle - stops.length + late
    share = stop / (stop + wait)
    variance = 2 * (stop * wait) ** 2 / (stop + wait) ** 3 / scenario.passages
    assert abs(arched.mean() - share) < 4 * math.sqrt(variance)
    assert abs(arched.mean() - 1.5 * share) > 4 * math.sqrt(variance)  # control


def test_a_faster_disc_remembers_more_cells():
    """A stop lasts as long as before, so that cells in it go with the speed."""
    slow, fast = stops_of(of("low gate", 10)), stops_of(of("low gate, fast", 10))
    ratio = 10 / 6
    assert fast.length == pytest.approx(ratio * slow.length)
    assert fast.cycle == pytest.approx(ratio * slow.cycle)
    assert slow.enough == FEWEST * slow.shortest and fast.shortest > slow.shortest > SHORTEST


@pytest.mark.parametrize("name", sorted({*shipped_scenarios()} - {"gate_too_low"}))
def test_a_pool_in_order_has_no_memory(name):
    """Stretches are as short as they were, and no run is too short for its pool."""
    scenario = load_scenario(name, ["turns=5"])
    assert (stops_of(scenario).shortest, stops_of(scenario).enough) == (SHORTEST, 0)
    assert measure(tallied(scenario)).turns_at_least is None


def test_no_stop_and_a_stop_without_end():
    assert Stops(0.0, math.inf).shortest == SHORTEST
    assert not Stops(0.0, math.inf).is_starved
    assert Stops(math.inf, math.inf).enough > 1e6


def test_a_short_run_of_a_starved_pool_names_the_turns_that_are_enough():
    few = measure(tallied(of("low gate", 10)))
    assert few.turns_at_least == math.ceil(stops_of(few.scenario).enough / 30) == 20
    assert measure(tallied(of("low gate", 20))).turns_at_least is None
    halves = [tallied(of("low gate", 11), replicate=k) for k in range(2)]
    assert measure(halves).turns_at_least is None  # replicates add up
    assert measure(halves[:1]).turns_at_least == 20


@pytest.mark.slow
def test_skips_of_a_starved_pool_are_covered_at_their_rate():
    """Windows of 1,000 cells of one run; |z| < 4 of the rate, and the control fails.

    Cells taken for independent give intervals of half the width.
    """
    scenario, cells = of("low gate, fast", 2400), 1000
    skips = simulate_cells(scenario, seed=7).released == 0
    skips, truth = skips[: skips.size // cells * cells].reshape(-1, cells), skips.mean()

    def coverage(blocks):
        sizes = np.diff(np.arange(blocks + 1) * cells // blocks)
        starts = np.cumsum(sizes) - sizes
        found = [
            share_interval(np.add.reduceat(row.astype(float), starts), sizes, level=LEVEL)
            for row in skips
        ]
        return np.mean([one.low <= truth <= one.high for one in found])

    least = LEVEL - 4 * math.sqrt(LEVEL * (1 - LEVEL) / len(skips))
    assert coverage(stretches_of(scenario, cells=cells)) > least
    assert coverage(cells) < least


KEYS = ("cells.skip", "cells.double", "per_spacing.quality", "precision")


def window(run, first, cells):
    """A part of a run as a piece of its own."""
    seeds = run.seeds.part(slice(*np.searchsorted(run.seeds.cell, [first, first + cells])))
    return Piece(
        first_cell=0,
        first_tick=0,
        seeds=dataclasses.replace(seeds, cell=seeds.cell - first),
        cells=run.cells.part(slice(first, first + cells)),
        ticks=run.ticks.part(slice(0, cells)),
    )


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("name", [*STARVED, *HEALTHY])
def test_short_runs_are_covered_at_their_rate_or_are_too_short(name):
    """40 turns, of 10 discs 20 times; the truth is that of the same disc over 5,000 turns.

    A disc keeps its holes for a run, so that other discs are no part of the sampling error.
    """
    made = [BY_KEY[key] for key in KEYS]
    scenario, inside = of(name, 5000), []
    cells = 40 * scenario.disc.cells
    stretches = stretches_of(scenario, cells=cells)
    assert cells >= stops_of(scenario).enough  # not too short
    rng = np.random.default_rng(3)
    for seed in range(1, 11):
        run = simulate(scenario, seed=seed)
        truth = Measured((tally_of(run, 48),), LEVEL, tuple(made)).points
        for first in rng.integers(60, len(run.cells) - 2 * cells, 20):
            part = tally(run.origin, cells, stretches, [window(run, int(first), cells)])
            found = Measured((part,), LEVEL, tuple(made)).estimates
            inside.append([found[key].low <= truth[key][0] <= found[key].high for key in KEYS])
    least = LEVEL - 4 * math.sqrt(LEVEL * (1 - LEVEL) / len(inside))
    assert (np.mean(inside, axis=0) > least).all()


# ---------------------------------------------------------------- an empty hopper

EMPTYING = BENCH.replace(pool__hopper=0.8, run__turns=150)


@pytest.fixture(scope="module")
def emptying():
    return simulate(EMPTYING, seed=3)


def test_a_pool_starves_where_no_seed_is_left_to_slide(emptying):
    """At the first tick with an empty hopper and a pool at which a slide should start."""
    end, ticks = tally_of(emptying, 1).emptied, emptying.ticks
    tick = int(np.searchsorted(ticks.time, end.time))
    low = stations_of(EMPTYING).gate.low(Moment("gate", time=0.0, speed=1.0))
    assert ticks.time[tick] == end.time and ticks.pool[tick] == end.pool
    assert ticks.hopper[tick] == 0 and end.pool <= low < ticks.pool[:tick].min()
    # the cell enters the pool between this tick and the next
    before, after = EMPTYING.tick_angles(tick + 2, tick) / (2 * np.pi) * EMPTYING.disc.cells
    assert end.cell - 1 < before <= end.cell < after
    assert not (emptying.cells.reason[: end.cell] == POOL_EMPTY).any()
    # all seed is in the pool, or left it on cells that passed; some of the last come back yet
    total = int(EMPTYING.pool.hopper / EMPTYING.seeds.seed_mass)
    assert abs(total - end.pool - emptying.cells.released[: end.cell].sum()) < 2 * 30


@pytest.mark.slow
def test_it_is_found_however_pieces_come(emptying):
    whole = tally_of(emptying, 1).emptied
    assert tallied(EMPTYING, seed=3).emptied == whole
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(records, "BLOCK", 37)
        assert tally(emptying.origin, 4500, 7, emptying.pieces()).emptied == whole
    small = EMPTYING.replace(pool__hopper=0.3, run__turns=30)
    found = [tallied(small, seed=3, engine=engine).emptied for engine in ("arrays", "events")]
    assert found[0].cell < 900 and found[0] == found[1]
    assert tallied(EMPTYING.replace(run__turns=80), seed=3).emptied is None  # control: not so far


def test_the_rest_of_a_row_is_the_row_without_its_first_cells(emptying):
    """Counts and times of both parts add up to the whole, but for the spacing between them."""
    whole = tally_of(emptying, 1)
    first = whole.emptied.cell // 30 * 30
    before = tallied(EMPTYING.replace(run__turns=first // 30, pool__hopper=99.0), seed=3)
    rest = tallied(EMPTYING, seed=3, first=first)
    for name in ("cells", "none", "one", "two", "three", "seeds", "pulses", "time", "fall"):
        parts = before.sums[name].sum() + rest.sums[name].sum()
        assert parts == pytest.approx(whole.sums[name].sum(), rel=1e-9), name
    gaps = before.sums["spacings"].sum() + rest.sums["spacings"].sum()
    assert gaps == whole.sums["spacings"].sum() - 1
    assert before.emptied is None
    assert (rest.emptied.cell, rest.emptied.gaps) == (whole.emptied.cell, whole.emptied.gaps)
    assert rest.stretches > 1 and rest.sums["cells"].sum() == 4500 - first


def test_an_empty_hopper_is_the_first_cause(emptying):
    """It takes what a low or empty pool would have, and the places that no seed reached."""
    found = measure(emptying)
    first, *others = causes(found)
    assert first.name == HOPPER
    cells, end = emptying.cells, found.emptied
    filled = np.flatnonzero(cells.released)
    tail = len(cells) - 1 - filled[-1]
    starts = filled[1:][cells.reason[filled[1:] - 1] > 0] - 1  # last skip of each run
    late = starts[starts >= end.cell]
    starved = np.isin(cells.reason[late], (LOW_POOL, POOL_EMPTY)).sum()
    whole = found.total("spacings") + tail
    assert first.share == pytest.approx((starved + tail) / whole)
    assert first.share > 0.1 and sum(one.share for one in others) < 0.1
    full = measure(simulate(EMPTYING.replace(pool__hopper=99.0), seed=3))
    assert HOPPER not in {one.name for one in causes(full)}  # control
