"""Sums that add up piece by piece are those of the whole run, worked out plainly."""

import dataclasses
import pickle
import tracemalloc
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest

from metersim.machine.losses import REASONS
from metersim.machine.reading import load_scenario
from metersim.machine.stations import POINTS
from metersim.measures.estimates import measure
from metersim.measures.spacing import classify, place_counts, place_sums
from metersim.measures.tally import CP3_WINDOW, stretches_for, tallied, tally, tally_of
from metersim.run import records
from metersim.run.draws import BLOCK
from metersim.run.records import Cells, Piece, Seeds, Ticks
from metersim.run.simulation import simulate
from tests.strategies import BENCH

SCENARIOS = {
    "maize_bench": ["turns=150", "vacuum_kpa=1.2", "detection_percent=90"],
    "maize_field": [
        "turns=150",
        "soil_scatter_mm=60",
        "hopper_kg=1.4",
        "rate_per_ha=250000",
        "speed_kmh=3",
    ],
    "canola_small_seed": ["turns=60", "soil_scatter_mm=60", "tick=1", "surface=field"],
    "gate_too_high": ["turns=150", "hole_diameter_mm=5.6", "start_ramp_s=20"],
}
BORDERS = (BLOCK, 200, 37)  # cells in a piece
ORIGIN = records.Origin(BENCH, 1, 0, "", {})


@pytest.fixture(scope="module", params=SCENARIOS)
def run(request):
    return simulate(load_scenario(request.param, SCENARIOS[request.param]), seed=3)


def cut(run, block):
    """Pieces of a run, of any length."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(records, "BLOCK", block)
        return list(run.pieces())


def plain_sums(run, stretches):
    """The sums of a whole run, column by column, with no thought of pieces."""
    scenario, seeds, count = run.scenario, run.seeds, len(run.cells)
    nominal, speed = scenario.spacing, scenario.demand.speed

    def add_up(cells, values=None):
        return np.bincount(cells * stretches // count, values, minlength=stretches)

    def add_classes(name, left, gaps):
        classes = classify(gaps, 1.0)
        made = {f"{name}{k}": add_up(left, classes == k - 1) for k in range(1, 6)}
        return classes, made

    passage, released = np.arange(count), run.cells.released
    before = np.concatenate(([1], released[:-1]))
    sums = {
        "cells": add_up(passage),
        "skip_runs": add_up(passage, (released == 0) & (before > 0)),
        **{
            name: add_up(passage, np.minimum(released, 3) == load)
            for load, name in enumerate(("none", "one", "two", "three"))
        },
    }
    order = np.argsort(seeds.position, kind="stable")
    left, gaps = seeds.cell[order][:-1], np.diff(seeds.position[order]) / nominal
    classes, made = add_classes("class", left, gaps)
    places = place_sums(np.stack(list(made.values()), axis=1)).T
    sums |= made | dict(zip(("several", "alone", "vacant"), places, strict=True))
    normal = classes == 1
    sums |= {
        "spacings": add_up(left),
        "excess": add_up(left, gaps - 1),
        "excess2": add_up(left, (gaps - 1) ** 2),
        "normal": add_up(left, normal * (gaps - 1)),
        "normal2": add_up(left, normal * (gaps - 1) ** 2),
        "close": add_up(left, np.abs(gaps - 1) * nominal <= CP3_WINDOW / 2 * (1 + 1e-9)),
        "places": places.sum(axis=0),
    }
    fall = seeds.landing_time - seeds.release_time
    edges = np.ceil(np.arange(stretches + 1) * count / stretches)
    angles = edges * 2 * np.pi / scenario.disc.cells + POINTS[-1]
    turned = scenario.tick_angles(len(run.ticks))
    time = np.diff(np.interp(angles, turned, run.ticks.time))
    seen = np.flatnonzero(seeds.seen)
    seen = seen[np.argsort(seeds.sensor_time[seen], kind="stable")]
    pulses = np.bincount(seeds.cell[seeds.seen], minlength=count)
    shown = np.diff(seeds.sensor_time[seen]) * speed / nominal
    return sums | {
        "seeds": add_up(seeds.cell),
        "fall": add_up(seeds.cell, fall),
        "fall2": add_up(seeds.cell, fall**2),
        "pulses": add_up(seeds.cell, seeds.seen),
        "time": time,
        "area": time * speed * scenario.demand.row_spacing,
        "planned": time * speed * scenario.demand.row_spacing * scenario.demand.rate,
        "shown": add_up(seeds.cell[seen][:-1]),
        **add_classes("shown", seeds.cell[seen][:-1], shown)[1],
        "dark": add_up(np.arange(count), pulses == 0),
        "flickering": add_up(np.arange(count), pulses > 1),
    }


def longest_run(released):
    """Most zeros in a row, by walking along."""
    longest = now = 0
    for load in released:
        now = 0 if load else now + 1
        longest = max(longest, now)
    return longest


def gaps_by_reason(cells):
    """How often each reason stands before a cell that released seeds, not before the first."""
    filled = np.flatnonzero(cells.released)[1:]
    return np.bincount(cells.reason[filled - 1], minlength=len(REASONS))


def bytes_in(found):
    """All that a tally holds, to the last bit."""
    sums = {name: column.tobytes() for name, column in found.sums.items()}
    return sums, found.reasons.tobytes(), found.gaps.tobytes(), found.longest_skip_run


# ---------------------------------------------------------------- the same sums


@pytest.mark.parametrize("block", BORDERS)
@pytest.mark.parametrize("stretches", [1, 7, 48])
def test_pieces_add_up_to_the_whole(run, block, stretches):
    """Counts agree exactly, the rest but for rounding, wherever the borders lie."""
    found = tally(run.origin, len(run.cells), stretches, cut(run, block))
    expected = plain_sums(run, stretches)
    assert set(found.sums) == set(expected)
    summed = {"excess", "excess2", "normal", "normal2", "fall", "fall2", "time", "area", "planned"}
    for name, column in expected.items():
        if name in summed:
            np.testing.assert_allclose(found.sums[name], column, rtol=1e-9, atol=1e-9)
        else:
            assert np.array_equal(found.sums[name], column), name
    assert found.longest_skip_run == longest_run(run.cells.released)
    assert np.array_equal(found.reasons, np.bincount(run.cells.reason, minlength=len(REASONS)))
    assert np.array_equal(found.gaps, gaps_by_reason(run.cells))
    assert found.gaps.sum() == np.count_nonzero(run.cells.released) - 1


def test_the_borders_matter(run):
    """Negative control: spacings lie across borders, and pieces on their own lose them."""
    pieces = cut(run, 37)
    own = sum(max(len(piece.seeds) - 1, 0) for piece in pieces)
    assert own < tally_of(run, 1).sums["spacings"][0]


@pytest.mark.parametrize("name", ["maize_field", "canola_small_seed"])
def test_seeds_of_neighbouring_pieces_interleave(name):
    """What the scattered scenarios are there for: a later piece begins before one ends."""
    run = simulate(load_scenario(name, SCENARIOS[name]), seed=3)
    places = [piece.seeds.position for piece in cut(run, 37) if len(piece.seeds)]
    ahead = [a.max() > b.min() for a, b in pairwise(places)]
    assert np.mean(ahead) > 0.2


def test_it_does_not_matter_how_pieces_come(run):
    """One by one, all at once, or as a finished run: the same bytes."""
    cells, stretches = len(run.cells), 48
    usual = bytes_in(tally_of(run, stretches))
    assert bytes_in(tally(run.origin, cells, stretches, list(run.pieces()))) == usual
    assert bytes_in(measure(run, stretches=stretches).tallies[0]) == usual
    other = dataclasses.replace(
        run, seeds=dataclasses.replace(run.seeds, position=run.seeds.position * 1.01)
    )
    assert bytes_in(tally_of(other, stretches)) != usual  # control


def test_a_run_without_records_measures_the_same():
    scenario = BENCH.replace(run__turns=40)
    run = simulate(scenario, seed=2, replicate=1)
    found = tallied(scenario, seed=2, replicate=1)
    assert found.stretches == stretches_for(1200) == 48
    assert bytes_in(found) == bytes_in(tally_of(run, 48))
    assert measure(found).estimates == measure(run).estimates
    assert measure([found, run]).counts["cells"] == 2400
    assert bytes_in(tallied(scenario, seed=3, replicate=1)) != bytes_in(found)  # control


def test_tallies_of_other_stretches_are_refused():
    scenario = BENCH.replace(run__turns=10)
    with pytest.raises(ValueError, match="a tally has 12 stretches; allowed: 6"):
        measure(tallied(scenario), stretches=6)
    with pytest.raises(ValueError, match="a tally has 5 stretches; allowed: 12"):
        measure([tallied(scenario), tallied(scenario, replicate=1, stretches=5)])


# ---------------------------------------------------------------- what cannot be


def test_a_missing_or_repeated_piece_is_refused(run):
    pieces, cells = cut(run, 200), len(run.cells)
    for wrong in (pieces[1:], pieces[:2] + pieces[1:], pieces[::-1]):
        with pytest.raises(ValueError, match="a piece begins at cell"):
            tally(run.origin, cells, 1, wrong)
    with pytest.raises(ValueError, match=f"the pieces hold 400 cells; allowed: {cells}"):
        tally(run.origin, cells, 1, pieces[:2])


def test_a_seed_behind_the_whole_piece_before_it_is_refused():
    """Rather than be wrong: the spacing that it falls into has been counted."""
    run = simulate(BENCH.replace(run__turns=20))
    for behind, allowed in ((100, True), (250, False)):
        position = run.seeds.position.copy()
        position[470] = position[470 - behind] + 1e-3
        moved = dataclasses.replace(run, seeds=dataclasses.replace(run.seeds, position=position))
        if allowed:
            found = tally(run.origin, 600, 1, cut(moved, 150))
            expected = plain_sums(moved, 1)
            assert found.sums["class1"] == expected["class1"]
        else:
            with pytest.raises(RuntimeError, match="before the whole piece before it"):
                tally(run.origin, 600, 1, cut(moved, 150))


def test_few_seeds_may_change_places_at_a_border():
    """A piece whose only seeds lie before those of a sparse piece before it is in order."""
    run = simulate(BENCH.replace(run__turns=20))
    seeds = run.seeds
    few = np.isin(seeds.cell, (148, 150, 151, 420))
    kept = seeds.part(np.flatnonzero(few))
    position = kept.position.copy()
    position[0], position[1] = position[1], position[0]
    kept = dataclasses.replace(kept, position=position)
    found = tally(run.origin, 600, 1, cut(dataclasses.replace(run, seeds=kept), 150))
    gaps = np.diff(np.sort(position)) / run.scenario.spacing
    assert found.sums["spacings"] == len(gaps) == 3
    assert found.sums["excess"] == pytest.approx((gaps - 1).sum())


# ---------------------------------------------------------------- made-up pieces


def made_up(released, block, scatter=0.0, seed=0) -> Iterator[Piece]:
    """Pieces with loads of one's own; seeds lie where their cells say, but for some scatter."""
    rng = np.random.Generator(np.random.PCG64(seed))
    ticks_per_cell = 1 / (BENCH.disc.cells * BENCH.run.tick)
    for start in range(0, len(released), block):
        loads = np.asarray(released[start : start + block])
        none = np.zeros(len(loads), dtype=np.int64)
        cell = np.repeat(np.arange(start, start + len(loads)), loads)
        place = BENCH.spacing * (cell + scatter * rng.standard_normal(len(cell)))
        ones = np.ones(len(cell))
        ends = [int(end * ticks_per_cell) for end in (start, start + len(loads))]
        times = np.arange(*ends) / (ticks_per_cell * BENCH.cell_rate)
        whole = np.zeros(len(times), dtype=np.int64)
        yield Piece(
            first_cell=start,
            first_tick=ends[0],
            seeds=Seeds(
                cell, cell * 0, ones, ones, 0 * ones, ones * cell, ones, cell * 0, ones > 0, place
            ),
            cells=Cells(loads, none, none, none, loads, none),
            ticks=Ticks(times, whole, whole, whole > 0, whole),
        )


@pytest.mark.parametrize("block", [1, 2, 7, 64])
def test_runs_of_skips_are_counted_across_borders(block):
    rng = np.random.Generator(np.random.PCG64(5))
    for skips in (0.05, 0.5, 0.95, 1.0):
        released = (rng.random(400) >= skips).astype(int)
        found = tally(ORIGIN, 400, 1, made_up(released, block))
        assert found.longest_skip_run == longest_run(released)
        starts = np.count_nonzero(np.diff(np.concatenate(([1], released))) == -1)
        assert found.sums["skip_runs"][0] == starts
    # negative control: runs within pieces alone are shorter
    within = max(longest_run(piece.cells.released) for piece in made_up(released, block))
    assert within == block < found.longest_skip_run


@pytest.mark.parametrize("block", [7, 64, 400])
def test_theoretical_places_are_those_of_the_row(block):
    """Heaps of seeds, then a gap across borders: neither pieces nor stretches change a place."""
    released = np.ones(400, dtype=np.int64)
    released[40:80] = 4
    released[100:180] = 0
    kinds = classify(np.diff(np.repeat(np.arange(400), released)), 1.0)
    whole = place_counts(np.bincount(kinds, minlength=5))
    assert whole.tolist() == [3 * 40, 439 - 2 * 120, 3]  # the gap counts for three empty places
    for stretches in (1, 7, 16):
        found = tally(ORIGIN, 400, stretches, made_up(released, block))
        sums = [found.sums[name].sum() for name in ("several", "alone", "vacant")]
        assert sums == whole.tolist()
        assert found.sums["places"].sum() == whole.sum()
        share = measure(found)["per_place.multiple"]
        assert 0 < share.low < share.value < share.high < 1
        capped = place_counts(np.stack([found.sums[f"class{k}"] for k in range(1, 6)], axis=1))
        # negative control: a cap in each stretch loses pairs
        assert (capped[:, 0].sum() < whole[0]) == (stretches > 1)


def peak_memory(work):
    """The most that is held while some work is done. [byte]"""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


@pytest.mark.slow
def test_a_longer_run_takes_no_more_memory():
    """Five times the pieces, the same memory: what waits is about one piece."""

    def add(pieces, hold=iter):
        cells = pieces * BLOCK
        released = np.broadcast_to(1, cells)
        return tally(ORIGIN, cells, 48, hold(made_up(released, BLOCK, scatter=1.5)))

    short, long = peak_memory(lambda: add(20)), peak_memory(lambda: add(100))
    assert long < 1.05 * short
    assert peak_memory(lambda: add(100, list)) > 5 * short  # control: pieces that are kept


def test_a_tally_travels_and_is_small():
    scenario = BENCH.replace(run__turns=100)
    found = tallied(scenario)
    sent = pickle.dumps(found)
    assert bytes_in(pickle.loads(sent)) == bytes_in(found)
    assert pickle.loads(sent).origin == found.origin
    assert len(sent) < 40_000 < len(pickle.dumps(simulate(scenario)))


def test_a_run_tells_how_far_it_is():
    """Cells are told as they are done, and all of them in the end."""
    told = []
    scenario = BENCH.replace(run__turns=2 * BLOCK // 30 + 5, pool__hopper=100.0)
    tallied(scenario, on_cells=told.append)
    assert len(told) == 3
    assert sum(told) == scenario.passages
