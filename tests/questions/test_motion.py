"""The disc in motion says what the trace of the events says, and loses no seed."""

import json
from collections import Counter, defaultdict
from functools import cache

import numpy as np
import pytest

import metersim as m
from metersim.machine.losses import BY_NAME, REASONS, TAKING
from metersim.machine.stations import CUT, ENTERS, LEAVES, POINTS
from metersim.questions.shared.motion.followed import MOST_CELLS, motion_of
from metersim.questions.shared.motion.moved import COUNTED
from metersim.questions.shared.motion.words import ODD, events_of
from metersim.run.snapshot import snapshot

PLACES = {"pool": "pool", "singulator": "edge", "carry": "carry"}
PIECES = {
    "usual": ("maize_bench", (), 60),
    "skips of a low pool": ("gate_too_low", (), 100),
    "a heap that knocks off": ("gate_too_high", (), 100),
    "slips, shaking, weak vacuum": (
        "maize_field",
        ("vacuum_kpa=1.2", "slip_percent=10", "speed_kmh=12"),
        100,
    ),
    "many small holes": ("canola_small_seed", ("turns=3",), 120),
}


@cache
def made(name, changes, first):
    """A motion of the arrays, and the trace of the same run by the events."""
    scenario = m.load_scenario(name, ["turns=6", *changes])
    run = m.simulate(scenario, seed=2)
    return run, motion_of(run, first, 24), m.simulate(scenario, seed=2, trace=True).trace


@pytest.fixture(scope="module", params=PIECES)
def piece(request):
    return made(*PIECES[request.param])


def by_cell(trace, shown):
    """Events of the shown cells by cell."""
    found = defaultdict(list)
    wanted = {one.cell for one in shown.cells}
    for event in trace:
        if event.cell in wanted:
            found[event.cell].append(event)
    return found


def test_motion_is_the_trace(piece):
    """Cells, reasons, counts and times are those of the events."""
    _, shown, trace = piece
    events = by_cell(trace, shown)
    taking = {loss.event: loss for loss in TAKING}
    for cell in shown.cells:
        joined = {e.nth: e.time for e in events[cell.cell] if e.event == "joined"}
        seeds = {seed.nth: seed for seed in shown.seeds_of[cell.cell]}
        assert len(joined) == cell.joined and set(seeds) == set(joined)
        lost = [e for e in events[cell.cell] if e.event in taking]
        told = Counter((one.lost.at, one.lost.why) for one in seeds.values() if one.lost)
        assert told == Counter((PLACES[e.station], taking[e.event].words) for e in lost)
        gone = {nth for nth, seed in seeds.items() if seed.lost}
        assert gone == {e.nth for e in lost}
        when = {(PLACES[e.station], e.time) for e in lost}
        for seed in (seeds[nth] for nth in gone):
            assert any(seed.lost.at == at and abs(seed.lost.time - t) < 1e-9 for at, t in when)
        for nth, seed in seeds.items():
            assert seed.joined == pytest.approx(joined[nth], abs=1e-9)
            assert cell.enters < seed.drawn < seed.joined
        empty = [e.why for e in events[cell.cell] if e.event == "cell empty"]
        if empty:
            assert [cell.why] == empty and cell.kind == "skip"
        for what, name in (("released", "leaves_hole"), ("landed", "lands")):
            times = {e.nth: e.time for e in events[cell.cell] if e.event == what}
            times |= {
                e.nth: e.time
                for e in events[cell.cell]
                if what == "landed" and e.event == "at rest"
            }
            assert set(times) == set(seeds) - gone
            for nth, time in times.items():
                assert getattr(seeds[nth], name) == pytest.approx(time, abs=1e-9)
        seen = {e.nth: e for e in events[cell.cell] if e.station == "sensor"}
        for nth, event in seen.items():
            assert seeds[nth].seen == (event.event == "seen")
            assert seeds[nth].beam == pytest.approx(event.time, abs=1e-9)


def test_no_seed_is_made_or_lost(piece):
    """What joined is lost or released, in each cell."""
    run, shown, _ = piece
    for cell in shown.cells:
        seeds = shown.seeds_of[cell.cell]
        assert cell.joined == len(seeds) == sum(s.lost is not None for s in seeds) + cell.released
        assert cell.released == run.cells.released[cell.cell]
        assert cell.why == REASONS[run.cells.reason[cell.cell]]
    before = run.cells.released[: shown.cells[0].cell]
    assert sum(shown.count_before.values()) == before.size
    assert shown.count_before["skip"] == (before == 0).sum()


def test_a_pause_is_a_snapshot(piece):
    """At any time, holes and pool are those that the run's snapshot has."""
    run, shown, _ = piece
    for time in np.random.default_rng(5).uniform(shown.start, shown.end, 12).tolist():
        still = snapshot(run, time)
        on = {one.cell: len(shown.on_hole(one, time)) for one in shown.cells}
        for cell, many, turned in zip(still.passage, still.carried, still.turned, strict=True):
            # a snapshot takes a seed off where it falls from; a motion when
            if turned < POINTS[CUT] or many:
                assert on.get(int(cell), 0) == many
        assert shown.in_pool(time) == still.pool
        passed = [c for c in shown.cells if shown.start < c.cut <= time]
        assert sum(shown.counted(time).values()) == len(passed)


def test_the_disc_turns_as_it_did(piece):
    """The sampled course has the cells' own times, and a disc that stands does not creep."""
    run, shown, _ = piece
    pitch = 2 * np.pi / run.scenario.disc.cells
    assert (np.diff(shown.way.time) > 0).all()
    for one in shown.cells:
        for time, point in ((one.enters, ENTERS), (one.leaves, LEAVES), (one.cut, CUT)):
            if shown.start <= time <= shown.end:
                angle = np.interp(time, shown.way.time, shown.way.angle)
                assert angle == pytest.approx(one.cell * pitch + POINTS[point], abs=2e-3 * pitch)


def test_events_say_what_happens(piece):
    """Each skip, double and empty cell has its sentence, in the order of time."""
    _, shown, _ = piece
    events = events_of(shown)
    assert [e.time for e in events] == sorted(e.time for e in events)
    cut = {e.cell: e for e in events if e.at == "cut"}
    for one in shown.cells:
        if one.cell in cut:
            assert (cut[one.cell].weight == ODD) == (one.released != 1)
            assert ("a skip" in cut[one.cell].words) == (one.released == 0)
            assert ("a double" in cut[one.cell].words) == (one.released == 2)
    assert json.loads(json.dumps(shown.to_dict()))["first"] == shown.first


def test_pieces_show_all_losses():
    """The pieces above have every loss of a seed, and doubles; otherwise they would hold little."""
    found, kinds = set(), set()
    for case in PIECES.values():
        _, shown, _ = made(*case)
        found |= {seed.lost.why for seed in shown.seeds if seed.lost}
        kinds |= {cell.kind for cell in shown.cells}
    assert found == {BY_NAME[loss.name].words for loss in TAKING}
    assert kinds >= set(COUNTED[:3])


def test_another_run_has_another_motion():
    """The control: the trace of another random seed is not this motion's."""
    run, shown, _ = made(*PIECES["usual"])
    other = m.simulate(run.scenario, seed=3, trace=True).trace
    with pytest.raises(AssertionError):
        test_motion_is_the_trace((run, shown, other))


@pytest.mark.parametrize("first, cells", [(-1, 5), (180, 5), (0, 0), (0, MOST_CELLS + 1)])
def test_cells_outside_the_run_are_refused(first, cells):
    run, *_ = made(*PIECES["usual"])
    with pytest.raises(ValueError, match="allowed: "):
        motion_of(run, first, cells)
