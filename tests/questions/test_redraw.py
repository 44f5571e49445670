"""All that a page shows: the same as of single calls, cancelled cleanly, in bounded memory."""

import gc
import json
import math
import resource
import threading

import numpy as np
import pytest

import metersim as m
from metersim.machine.given import scenario_of
from metersim.machine.losses import REASONS
from metersim.measures.estimates import difference
from metersim.measures.indices import BY_KEY
from metersim.measures.intervals import LEVEL_TOTAL
from metersim.measures.limits import causes
from metersim.measures.observed import observed_spacings
from metersim.questions.compare.study import COMPARED
from metersim.questions.explore import explorer
from metersim.questions.shared.picture import EDGES, binned
from metersim.run.draws import BLOCK
from metersim.run.progress import watched_by
from metersim.run.snapshot import snapshot

BENCH = m.load_scenario("maize_bench", "turns=40")
SHORT = BENCH.replace(run__turns=12)
PAIRS = (
    ("maize_bench", ["turns=40"], "notch=1", "vacuum_kpa=3.2"),
    ("maize_field", ["turns=40"], "speed_kmh=9", "speed_kmh=6"),
    ("gate_too_low", ["turns=60"], "gate_opening_mm=30", "notch=1"),  # arches: longer stretches
    ("maize_bench", ["turns=40"], "cells=24", "cells=30"),
    ("maize_bench", ["turns=40"], "hopper_kg=0.3", "notch=0"),  # empties
)


def first(page, *changes, **asked):
    return next(page.redraw(m.Request(changes, **asked)))


def plain(result):
    return json.dumps(result.to_dict(), allow_nan=False)


def same(found, wanted):
    """Whether estimates by key are the same in every bit; nan is nan."""
    assert set(wanted) <= set(found)
    return all(repr(found[key]) == repr(wanted[key]) for key in wanted)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "base", "now", "pinned"), PAIRS)
def test_it_is_what_single_calls_give(name, base, now, pinned):
    scenario = m.load_scenario(name, base)
    results = list(m.redraw(scenario, m.Request(now, seed=3), pinned=pinned, draws=3))
    here, there = (scenario_of(scenario, one) for one in (now, pinned))
    there = there.lasting(here.passages)
    run = m.simulate(here, seed=3)
    alone = m.measure(run, level=LEVEL_TOTAL)
    both = m.compare(there, here, labels=["there", "here"], seed=3, draws=3)
    for found in results:
        assert same(found.measured, alone)
        assert found.measured.counts == alone.counts and found.causes == causes(alone)
        assert found.measured.emptied == alone.emptied
        assert same(found.paired, {k: both.spreads[0].at_middle(k) for k in COMPARED})
        assert same(found.paired, {k: difference(*both.measured, BY_KEY[k]) for k in BY_KEY})
        counts, shares = binned(observed_spacings(run), here.spacing)
        assert (found.histogram.counts == counts).all() and found.histogram.shares == shares
        moment = snapshot(run, found.disc.time)
        assert (found.disc.carried == moment.carried).all() and found.disc.pool == moment.pool
    begun, *updating, last = results
    assert (begun.state, begun.done, last.state) == ("sampling only", 0, "total")
    assert {one.state for one in updating} == {"updating"}
    assert [one.done for one in updating] == list(range(1, last.draws + 1))
    assert begun.spread is None and updating[-1].spread is None
    assert same(begun.estimates, alone) and same(updating[-1].differences, begun.paired)
    assert same(last.estimates, both.values[1]) and same(last.differences, both.differences[0])


def test_without_a_pinned_setting_it_is_a_run_and_its_spread():
    *_, last = m.redraw(SHORT, m.Request("notch=1", seed=3), draws=2)
    total = m.spread(scenario_of(SHORT, "notch=1"), seed=3, draws=2).total
    assert same(last.estimates, {key: total(key) for key in BY_KEY})
    assert last.differences == {} and last.pinned is None and last.to_dict()["pinned"] is None
    assert [one.state for one in m.redraw(SHORT, draws=0)] == ["sampling only"]


def test_a_pinned_setting_that_is_the_present_one_differs_by_nothing():
    *_, last = m.redraw(SHORT, m.Request("notch=1"), pinned=["notch=1.0"], draws=2)
    for found in (last.paired, last.differences):
        for key, one in found.items():
            assert (one.value, one.low, one.high) == (0, 0, 0) or math.isnan(one.value), key
    other = next(m.redraw(SHORT, m.Request("notch=1"), pinned=["notch=2"]))  # negative control
    assert other.differences["precision"].value != 0


def test_no_share_changes_by_more_than_all_of_it():
    *_, last = m.redraw(SHORT, m.Request("vacuum_kpa=0"), pinned=(), draws=2)
    change = last.differences["cells.skip"]
    assert change.low < change.value < change.high == 1  # two draws alone give wide intervals


def test_json_has_all_of_it_in_plain_numbers():
    found = next(m.redraw(BENCH, m.Request("notch=2", seed=2), pinned=()))
    made = json.loads(plain(found))
    run = m.simulate(scenario_of(BENCH, "notch=2"), seed=2)
    assert sum(made["histogram"]["counts"]) + made["histogram"]["beyond"] == len(run.seeds) - 1
    assert len(made["histogram"]["counts"]) == len(made["histogram"]["edges"]) - 1 == EDGES.size - 1
    strip, cells = made["strip"], made["strip"]["cells"]
    assert {cell["what"] for cell in cells} >= {"skip", "usual"}
    released = {"skip": 0, "usual": 1, "double": 2, "triple": 3}
    for cell in cells:
        many = int(run.cells.released[cell["cell"]])
        assert many == released[cell["what"]]
        assert cell["why"] == REASONS[run.cells.reason[cell["cell"]]]
    for seed in strip["seeds"]:
        assert seed["position_m"] in run.seeds.position[run.seeds.cell == seed["cell"]]
        assert strip["low_m"] <= seed["position_m"] <= strip["high_m"]
    assert len(made["disc"]["carried"]) == 30 and sum(made["disc"]["carried"]) > 10
    skip = found.measured["cells.skip"].to_dict()
    assert made["cells"]["skip"] == skip and made["pinned"]["differences"]["cells"]["skip"]
    assert made["limits"][0]["cause"] == found.causes[0].name
    assert "uncertainty" not in made and made["state"] == "sampling only"


def test_a_strip_and_a_moment_can_be_chosen():
    found = next(m.redraw(BENCH, m.Request(time=20.0, start=10**9, cells=8)))
    assert found.disc.time == 20.0 and found.strip.start == BENCH.passages - 8
    assert len(next(m.redraw(BENCH, m.Request(cells=10**6))).strip.places) == BENCH.passages


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"changes": "vacum_kpa=3"}, "changes: vacum_kpa: unknown key; did you mean 'vacuum_kpa'?"),
        ({"changes": ["notch=1", "vacuum_kpa=99"]}, "changes: vacuum.vacuum_kpa: 99 is not all"),
        ({"changes": [1]}, "changes: .1.: must be a list of texts"),
        ({"changes": None}, "changes: None: must be a list of texts"),
        ({"seed": True}, "seed: True: must be a whole number, 0 or more"),
        ({"start": 1.5}, "start: 1.5: must be a whole number, 0 or more"),
        ({"cells": 0}, "cells: 0: must be a whole number, 1 or more"),
        ({"time": math.nan}, "time: nan: must be a number of s, 0 or more"),
        ({"changes": "turns=10000000"}, "changes: takes about .* of memory"),
    ],
)
def test_what_is_wrong_is_said(wrong, said, monkeypatch):
    monkeypatch.setattr("metersim.questions.shared.effort.free_memory", lambda: 1e9)
    with pytest.raises(m.BadInput, match=said):
        next(m.redraw(BENCH, m.Request(**wrong)))


def test_a_cancelled_run_stops_at_the_next_block_and_a_draw_at_the_next():
    long = BENCH.replace(run__turns=3 * BLOCK // 30 + 1)
    passed = []
    with (
        watched_by(lambda many, unit: passed.append(many)),
        pytest.raises(m.Cancelled, match="another request took its place"),
    ):
        next(m.redraw(long, cancelled=lambda: len(passed) == 2))
    assert passed == [BLOCK, BLOCK]
    seen = []
    with pytest.raises(m.Cancelled):
        for found in m.redraw(BENCH, draws=9, cancelled=lambda: len(seen) == 4):
            seen.append(found.done)
    assert seen == [0, 1, 2, 3]


def test_an_older_request_gives_way_and_leaves_nothing_half_made():
    page = m.Explorer(BENCH, draws=4)
    newer = []

    def ask(many, unit):
        newer[:] = newer or [page.redraw(m.Request("notch=2"))]

    older = page.redraw(m.Request("notch=1"))
    with watched_by(ask), pytest.raises(m.Cancelled, match="another request took its place"):
        next(older)
    assert not page._runs and not page._drawn
    assert plain(next(newer[0])) == plain(next(m.redraw(BENCH, m.Request("notch=2"), draws=4)))
    newer.clear()
    older = page.redraw(m.Request("notch=1"))
    next(older)
    with watched_by(ask), pytest.raises(m.Cancelled):  # while a draw is worked out
        next(older)
    assert len(page._runs) == 2 and not page._drawn
    page.redraw()
    with pytest.raises(m.Cancelled):
        next(newer[0])


def test_a_request_with_a_fault_takes_no_place():
    page = m.Explorer(BENCH, draws=2)
    older = page.redraw(m.Request("notch=1"))
    with pytest.raises(m.BadInput):
        page.redraw(m.Request("notch=99"))
    assert next(older).state == "sampling only"
    page.pin("notch=2")
    with pytest.raises(m.BadInput):
        page.pin("notch=99")
    assert page.pinned.singulator.notch == 2


def test_nothing_is_run_or_read_twice(tmp_path, monkeypatch):
    runs, make = [], explorer.make
    monkeypatch.setattr(explorer, "make", lambda *asked: runs.append(asked) or make(*asked))
    file = tmp_path / "own.toml"
    file.write_text('extends = "maize_bench"\n[run]\nturns = 30\n')
    page = m.Explorer(file, draws=2)
    file.unlink()
    page.pin()
    for notch in (1, 2, 3):
        first(page, f"notch={notch}")
    assert len(runs) == 4  # the pinned one once
    moved = first(page, "notch=3", start=50, time=9.0)
    assert len(runs) == 4 and moved.strip.start == 50
    first(page, "notch=3", seed=2)
    assert len(runs) == 6  # another seed is another run of both


def test_draws_of_the_pinned_setting_are_kept_and_change_nothing():
    page = m.Explorer(SHORT, draws=2)
    page.pin()
    for notch in (1, 2):
        *_, kept = page.redraw(m.Request(f"notch={notch}"))
    *_, alone = m.redraw(SHORT, m.Request("notch=2"), pinned=(), draws=2)
    assert plain(kept) == plain(alone)
    page.unpin()
    assert first(page, "notch=2").differences == {}


@pytest.mark.study
@pytest.mark.slow
def test_threads_get_their_own_answer_or_none():
    page = m.Explorer(BENCH, draws=2)
    page.pin()
    notches = np.linspace(-1, 2, 24)
    wanted = {}
    for notch in notches:
        for found in m.redraw(BENCH, m.Request(f"notch={notch}"), pinned=(), draws=2):
            wanted[notch, found.done, found.state] = plain(found)
    said, gone, faults = [], [], []

    def ask(part):
        for notch in part:
            try:
                for found in page.redraw(m.Request(f"notch={notch}")):
                    said.append(((notch, found.done, found.state), plain(found)))
            except m.Cancelled:
                gone.append(notch)
            except Exception as error:
                faults.append(error)

    threads = [threading.Thread(target=ask, args=(notches[k::6],)) for k in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    assert said and all(wanted[key] == text for key, text in said)
    finished = [key for key, _ in said if key[2] == "total"]
    assert len(finished) + len(gone) == len(notches) and finished and gone
    assert len(page._runs) <= explorer.KEPT_RUNS


@pytest.mark.study
@pytest.mark.slow
def test_memory_stays_bounded():
    """A thousand requests leave two runs and some draws, and the process grows no more."""
    page = m.Explorer(BENCH.replace(run__turns=5), draws=2)
    page.pin()
    most = []
    for k in range(1000):
        results = page.redraw(m.Request(f"vacuum_kpa={3 + k / 1000}", seed=1 + k // 300))
        kept = [*results][-1] if k % 20 == 0 else next(results)
        if k in (300, 999):
            most.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)  # kB
    gc.collect()
    alive = [one for one in gc.get_objects() if isinstance(one, m.Run)]
    assert kept and len(page._runs) == len(alive) == explorer.KEPT_RUNS
    assert len(page._drawn) == explorer.KEPT_DRAWS * 2
    assert most[1] - most[0] < 10_000  # 700 of these runs alone take more
