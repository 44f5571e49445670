"""The meter as processes in time: nothing is lost, changes work from then on, draws are shared."""

import dataclasses
import json
from dataclasses import dataclass

import numpy as np
import pytest

from metersim.machine import losses
from metersim.machine.coefficients import USUAL
from metersim.machine.own import like
from metersim.machine.rowunit import KNOT_INTERVAL, envelope
from metersim.machine.stations import stations_of
from metersim.machine.tube import TubeStation
from metersim.measures.estimates import measure
from metersim.questions.run.figure import run_figure
from metersim.questions.run.text import as_json
from metersim.questions.shared.emptying import Row
from metersim.questions.shared.notes import notes
from metersim.run.course import Shaking
from metersim.run.draws import MOST_SEEDS, KnotDraws
from metersim.run.simulation import simulate
from metersim.run.streams import Streams
from tests.strategies import BENCH, bytes_of, measured, ran, z_between

LIVELY = {
    # heap above the carry line, aggressive edge and hard shaking at a vacuum that hardly holds
    "knocked swept shaken": {
        "pool__gate_opening": 0.085,
        "singulator__notch": 2.5,
        "vacuum__vacuum": 1.6e3,
        "furrow__surface": "field",
        "row_unit__shock_per_speed": 9.8,
    },
    "arches": {"pool__gate_opening": 0.013},
    "hopper runs empty": {"pool__gate_width": 0.1, "pool__hopper": 0.09, "run__turns": 20},
    "slot at the disc": {"pool__clearance": 4.4e-3, "pool__gate_opening": 0.02},
    "slot that empties the pool": {"pool__clearance": 12e-3, "pool__gate_opening": 0.015},
    "doubles and triples": {"disc__hole_diameter": 6.5e-3, "singulator__notch": -5.0},
    "ramp and ripple": {"drive__start_ramp": 3.0, "drive__ripple": 0.5},
}


def counter(found, interval):
    """A visitor that notes the meter's total, and its parts, again and again."""

    def visit(meter):
        for _ in range(400):
            parts = (
                meter.hopper,
                meter.pool,
                meter.carried,
                meter.falling,
                meter.spilt,
                meter.landed,
            )
            found.append((meter.total, *parts))
            yield meter.env.timeout(interval)

    return visit


def changed_at(time, station, **values):
    """A visitor that changes a station while the meter runs."""

    def visit(meter):
        yield meter.env.timeout(time)
        replaced = dataclasses.replace(getattr(meter.stations, station), **values)
        meter.stations = dataclasses.replace(meter.stations, **{station: replaced})

    return visit


# ---------------------------------------------------------------- conservation


@pytest.mark.parametrize("changes", LIVELY.values(), ids=LIVELY)
@pytest.mark.parametrize("interval", [0.0137, 0.1])
def test_seeds_are_conserved_at_every_moment(changes, interval):
    scenario = BENCH.replace(**{"run__turns": 15, **changes})
    found = []
    run = simulate(scenario, visitors=[counter(found, interval)])
    totals, *parts = np.array(found).T
    assert set(totals) == {int(scenario.pool.hopper / scenario.seeds.seed_mass)}
    assert min(part.min() for part in parts) >= 0
    assert parts[-1].max() > 0  # the visitor was there while seeds fell
    cells = run.cells
    lost = cells.knocked + cells.swept + cells.shaken
    assert np.array_equal(cells.joined, lost + cells.released)
    assert cells.released.sum() == len(run.seeds)
    per_cell = np.bincount(run.seeds.cell, minlength=len(cells))
    assert np.array_equal(per_cell, cells.released)


def test_every_way_of_losing_a_seed_was_tried():
    """The scenarios above do knock, sweep, shake, arch, starve and load cells with three."""
    runs = {
        name: simulate(BENCH.replace(**{"run__turns": 15, **changes}))
        for name, changes in LIVELY.items()
    }
    cells = runs["knocked swept shaken"].cells
    assert min(cells.knocked.sum(), cells.swept.sum(), cells.shaken.sum()) > 5
    assert runs["arches"].ticks.arched.any()
    slot, wide = runs["slot at the disc"].ticks, runs["slot that empties the pool"].ticks
    assert slot.spilt[-1] > 20 and slot.pool.min() > 0
    assert wide.pool.min() == 0 and wide.hopper[-1] < wide.hopper[0]
    assert (runs["hopper runs empty"].cells.reason == losses.POOL_EMPTY).any()
    assert 3 <= runs["doubles and triples"].cells.released.max() <= MOST_SEEDS


def test_the_count_notices_a_lost_seed():
    """Negative control: a visitor that takes one seed changes the total by one."""

    def thief(meter):
        yield meter.env.timeout(1.0)
        meter.pool -= 1

    found = []
    simulate(BENCH.replace(run__turns=2), visitors=[thief, counter(found, 0.1)])
    totals = [row[0] for row in found]
    assert max(totals) - min(totals) == 1


def corner(scenario):
    """Seeds under the slope that ends at the lowest hole, out of reach of the disc."""
    gate = stations_of(scenario).gate
    return gate.width * gate.depth * gate.seeds_per_volume * gate.depth * gate.slope / 2


@pytest.mark.slow
def test_an_emptying_hopper_ends_in_skips_when_the_pool_sinks():
    """The row ends with the pool; what lies in the corner under the slope stays there."""
    scenario = BENCH.replace(pool__hopper=0.4, run__turns=80)
    last = []

    def visit(meter):
        while True:  # a visitor may go on for ever; the run ends with its last seed
            last.append((meter.hopper, meter.pool, meter.total))
            yield meter.env.timeout(0.05)

    run = simulate(scenario, visitors=[visit])
    (hopper, left, total), skip = last[-1], run.cells.released == 0
    assert hopper == 0
    assert len(run.seeds) + left == total == int(0.4 / scenario.seeds.seed_mass)
    assert 0 < left < corner(scenario) + 10
    dry = int(run.ticks.time[np.argmin(run.ticks.hopper)] * scenario.cell_rate)
    end = run.seeds.cell[-1] + 1
    assert 0 < dry < end < len(skip)
    assert skip[:dry].mean() < skip[dry:end].mean()
    assert skip[end:].all()
    assert np.isin(run.cells.reason[-300:], [losses.POOL_EMPTY, losses.LOW_POOL]).mean() > 0.9
    # negative control: a full hopper ends as it began
    full = simulate(BENCH.replace(run__turns=60))
    assert (full.cells.released[-300:] == 0).mean() < 0.2


# ---------------------------------------------------------------- changes while it runs

CHANGES = {
    "gate": ("gate", {"opening": 0.012}),
    "hole": ("pickup", {"hole_diameter": 3e-3}),
    "pitch": ("pickup", {"pitch": 9e-3}),
    "notch": ("singulator", {"notch": 4.0}),
    "cut-off": ("release", {"decay_arc": 0.3}),
    "launch": ("release", {"launch_sd": 0.5}),
    "tube": ("tube", {"wear": 1.0}),
    "beam": ("sensor", {"beam_height": 0.05}),
    "dust": ("sensor", {"detection": 0.5}),
    "furrow": ("furrow", {"in_field": True, "scatter": 0.02}),
}
LATER = 30.0  # s, of 77 s


@pytest.fixture(scope="module")
def undisturbed():
    return simulate(BENCH.replace(run__turns=30))


def columns_until(run, time):
    """All that was over at a time: seeds at rest and cells past the cut-off, as bytes."""
    seeds, cells = run.seeds, run.cells
    passed = int(time * run.scenario.cell_rate) - run.scenario.disc.cells
    at_rest = seeds.landing_time < time
    parts = [column[at_rest].tobytes() for _, column in seeds.columns()]
    return parts + [column[:passed].tobytes() for _, column in cells.columns()]


def check_change(run, undisturbed):
    """The past is as it was, to the byte, and what comes is not."""
    assert columns_until(run, LATER) == columns_until(undisturbed, LATER)
    assert bytes_of(run) != bytes_of(undisturbed)


@pytest.mark.slow
@pytest.mark.parametrize(("station", "values"), CHANGES.values(), ids=CHANGES)
def test_a_change_works_from_then_on_and_leaves_the_past(station, values, undisturbed):
    visitor = changed_at(LATER, station, **values)
    check_change(simulate(undisturbed.scenario, visitors=[visitor]), undisturbed)


@pytest.mark.parametrize("vacuum", [1e3, 9e3, 0.0])
def test_a_change_of_vacuum_works_from_then_on(vacuum, undisturbed):
    def visit(meter):
        yield meter.env.timeout(LATER)
        meter.vacuum = vacuum

    run = simulate(undisturbed.scenario, visitors=[visit])
    check_change(run, undisturbed)
    after = run.cells.joined[int(LATER * run.scenario.cell_rate) + 30 :].mean()
    before = undisturbed.cells.joined.mean()
    assert (after < before) == (vacuum < 4e3)
    if vacuum == 0:
        assert after == 0


@pytest.mark.slow
def test_a_live_low_gate_starves_later_cells(undisturbed):
    run = simulate(undisturbed.scenario, visitors=[changed_at(LATER, "gate", opening=0.011)])
    cell = int(LATER * run.scenario.cell_rate)
    assert run.ticks.pool[-1] < corner(run.scenario) + 30 < run.ticks.pool[0]
    assert (run.cells.released[-60:] == 0).mean() > 0.2
    assert (run.cells.released[:cell] == 0).mean() < 0.02


@pytest.mark.slow
def test_a_visitor_that_changes_nothing_changes_nothing(undisturbed):
    """Negative control of the changes above."""
    run = simulate(undisturbed.scenario, visitors=[changed_at(LATER, "gate")])
    assert bytes_of(run) == bytes_of(undisturbed)
    with pytest.raises(AssertionError):
        check_change(run, undisturbed)


def test_a_vacuum_of_zero_drops_every_seed_that_is_carried(undisturbed):
    """What holds by vacuum alone falls back to the pool; what has left its hole goes on."""
    dropped = []

    def visit(meter):
        yield meter.env.timeout(LATER)
        meter.vacuum = 0.0
        falling = meter.falling + meter.landed
        before = meter.pool + meter.hopper
        carried = meter.carried
        yield meter.env.timeout(60 / undisturbed.scenario.cell_rate)  # two turns
        dropped.append((carried, meter.carried, meter.pool + meter.hopper - before))
        assert meter.falling + meter.landed - falling <= 1  # the seed whose cut-off had passed

    run = simulate(undisturbed.scenario, visitors=[visit], trace=True)
    ((carried, left, back),) = dropped
    assert carried > 10
    assert left == 0
    assert carried - 1 <= back <= carried
    assert run.seeds.release_time.max() < LATER + 0.1
    cells = run.cells
    assert cells.swept.sum() > 0 and cells.shaken.sum() > 0
    whys = {event.why for event in run.trace if event.time > LATER and event.event.endswith("off")}
    assert whys == {losses.NO_VACUUM, losses.TOO_LITTLE_VACUUM}


# ---------------------------------------------------------------- changes are recorded


def visiting(*steps):
    """A visitor that does one thing after the other, each at its time."""

    def visit(meter):
        for time, do in steps:
            yield meter.env.timeout(time - meter.env.now)
            do(meter)

    return visit


def set_station(name, **values):
    """What changes values of a station."""

    def do(meter):
        new = dataclasses.replace(getattr(meter.stations, name), **values)
        meter.stations = dataclasses.replace(meter.stations, **{name: new})

    return do


def set_vacuum(vacuum):
    """What changes the vacuum."""
    return lambda meter: setattr(meter, "vacuum", vacuum)


SHORT = BENCH.replace(run__turns=5)


def test_each_change_is_recorded_at_the_time_at_which_it_was_made():
    """Between ticks too, several of one station, and in the order in which they were made."""
    steps = [
        (1.2345, set_station("gate", opening=0.03)),
        (2.5, set_vacuum(3e3)),
        (3.25, set_station("gate", opening=0.02, width=0.1)),
        (3.25, set_station("gate", opening=0.02)),  # no change
        (3.5, set_vacuum(3e3)),  # no change
        (3.75, set_station("sensor", detection=0.5)),
    ]
    run = simulate(SHORT, visitors=[visiting(*steps)], trace=True)
    assert run.changes == (
        (1.2345, "gate", "opening 0.052 to 0.03"),
        (2.5, "vacuum", "4000 to 3000 Pa"),
        (3.25, "gate", "opening 0.03 to 0.02, width 0.18 to 0.1"),
        (3.75, "sensor", "detection 1 to 0.5"),
    )
    assert not np.isin(run.ticks.time, [change.time for change in run.changes]).any()
    assert run.replaced == {}  # from the start
    traced = [event for event in run.trace if event.event == "changed"]
    assert [(event.time, event.station, event.why) for event in traced] == list(run.changes)
    assert run.origin.changes == run.changes
    assert simulate(SHORT, visitors=[visiting()]).changes == ()


def test_another_kind_of_station_is_named():
    def do(meter):
        tube = like(SlowTube, meter.stations.tube)
        meter.stations = dataclasses.replace(meter.stations, tube=tube)

    run = simulate(SHORT, visitors=[visiting((8.0, do))])
    assert run.changes == ((8.0, "tube", "SlowTube"),)
    later = run.seeds.release_time > 8
    fall = run.seeds.landing_time - run.seeds.release_time
    assert np.allclose(fall[later], 1.0, atol=0.01) and fall[~later].max() < 0.5


@pytest.mark.parametrize("vacuum", [-1.0, np.nan, np.inf])
def test_a_vacuum_that_cannot_be_is_refused(vacuum):
    with pytest.raises(ValueError, match=r"vacuum is .* Pa; allowed: a number, 0 or more"):
        simulate(SHORT, visitors=[visiting((1.0, set_vacuum(vacuum)))])


def test_the_drive_cannot_change():
    visitor = visiting((1.0, set_station("drive", ramp=9.0)))
    with pytest.raises(ValueError, match="the drive cannot change in a run"):
        simulate(SHORT, visitors=[visitor])


def test_json_and_captions_hold_the_changes():
    steps = [(1.5, set_vacuum(3e3)), (2.5, set_station("gate", opening=0.03))]
    run = simulate(SHORT, visitors=[visiting(*steps)])
    told = [
        {"time_s": 1.5, "what": "vacuum", "words": "4000 to 3000 Pa"},
        {"time_s": 2.5, "what": "gate", "words": "opening 0.052 to 0.03"},
    ]
    origin = json.loads(as_json(Row(measure(run))))["provenance"]
    assert origin["changes_in_run"] == told
    lines = [
        "vacuum changed at 1.5 s: 4000 to 3000 Pa",
        "gate changed at 2.5 s: opening 0.052 to 0.03",
    ]
    assert notes(measure(run))[-2:] == lines
    caption = " ".join(" ".join(text.get_text().split()) for text in run_figure(run).texts)
    assert all(line in caption for line in lines)
    plain = json.loads(as_json(Row(measure(simulate(SHORT)))))["provenance"]
    assert plain["changes_in_run"] == []


@pytest.mark.slow
def test_shaking_that_starts_on_a_bench_works_from_then_on(undisturbed):
    visitor = changed_at(LATER, "row_unit", acceleration_sd=20.0)
    check_change(simulate(undisturbed.scenario, visitors=[visitor]), undisturbed)


# ---------------------------------------------------------------- the tick

LOW_GATE = 0.0118  # m; the pool hardly gives the exit zone, and arches empty it
TICKED = ("cells.skip", "cells.double", "per_spacing.quality", "precision", "drop_time.sd")


@pytest.mark.parametrize("gate", [0.052, LOW_GATE], ids=["normal pool", "low gate with arches"])
def test_half_the_tick_gives_the_same_measures(gate):
    setting = {"pool__gate_opening": gate, "pool__gate_width": 0.3}
    usual = measured(**setting)
    assert ran(**setting).ticks.arched.any() == (gate == LOW_GATE)
    halved = measured(**setting, run__tick=0.125)
    for key in TICKED:
        assert abs(z_between(usual, halved, key)) < 4, key
    # negative control: an eighth more opening is seen in at least one of them
    other = measured(
        **setting | {"pool__gate_opening": gate * (1.125 if gate == LOW_GATE else 1.5)}
    )
    assert max(abs(z_between(usual, other, key)) for key in TICKED) > 4


def test_half_the_tick_empties_the_hopper_at_the_same_passage():
    """Passage at which 98 % of the seeds have gone, over six replicates."""

    def passages(hopper, tick):
        scenario = BENCH.replace(
            pool__gate_width=0.1, pool__hopper=hopper, run__turns=22, run__tick=tick
        )
        cells = [simulate(scenario, replicate=r).seeds.cell for r in range(6)]
        return np.array([cell[int(0.98 * len(cell))] for cell in cells], float)

    def z(a, b):
        return (b.mean() - a.mean()) / np.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 6)

    usual = passages(0.12, 0.25)
    assert abs(z(usual, passages(0.12, 0.125))) < 4
    assert z(usual, passages(0.13, 0.25)) > 4  # negative control: 38 seeds more


# ---------------------------------------------------------------- draws


def test_the_same_seed_gives_the_same_records_and_another_seed_others():
    scenario = BENCH.replace(run__turns=10, furrow__surface="field")
    first, again = (bytes_of(simulate(scenario, seed=5)) for _ in range(2))
    assert first == again
    assert bytes_of(simulate(scenario, seed=6)) != first
    assert bytes_of(simulate(scenario, seed=5, replicate=1)) != first


def test_a_trace_and_a_watcher_leave_the_records_as_they_are():
    scenario = BENCH.replace(run__turns=10)
    plain = bytes_of(simulate(scenario))
    assert bytes_of(simulate(scenario, trace=True, visitors=[counter([], 0.05)])) == plain


def test_a_longer_run_begins_as_a_short_one():
    short = simulate(BENCH.replace(run__turns=10))
    long = simulate(BENCH.replace(run__turns=80))  # 2400 cells: more than a block of draws
    for name, column in short.cells.columns():
        assert np.array_equal(getattr(long.cells, name)[: len(short.cells)], column), name


def test_a_moved_notch_changes_what_joins_by_the_pool_alone():
    """Seeds that are swept off lie in the pool again; until its level differs the same join."""
    a, b = (simulate(BENCH.replace(run__turns=50, singulator__notch=n)) for n in (0.0, 1.0))
    assert not np.array_equal(a.cells.released, b.cells.released)
    other = a.ticks.time[np.argmax(a.ticks.pool != b.ticks.pool)]
    same = int(other * a.scenario.cell_rate) - 5
    assert same > 20
    assert np.array_equal(a.cells.joined[:same], b.cells.joined[:same])
    # a pool whose level does not matter gives all cells the same
    still = dataclasses.replace(
        USUAL, depth_power=0.0, thin_bed=0.01, knock=0.0, seconds=0.0, loosening=0.0
    )
    runs = []
    for n in (0.0, 3.0):
        scenario = BENCH.replace(run__turns=50, singulator__notch=n, vacuum__vacuum=1e3)
        runs.append(simulate(scenario, stations=stations_of(scenario, still)))
    a, b = runs
    assert (a.cells.joined != b.cells.joined).mean() < 0.01


def test_another_tube_leaves_all_cells():
    a, b = (simulate(BENCH.replace(run__turns=50, tube__tube_wear=wear)) for wear in (0.0, 1.0))
    for name, column in a.cells.columns():
        assert np.array_equal(getattr(b.cells, name), column), name
    assert np.array_equal(a.seeds.release_time, b.seeds.release_time)
    assert not np.array_equal(a.seeds.landing_time, b.seeds.landing_time)


def test_other_draws_change_what_joins():
    """Negative control of the two tests above."""
    a, b = (simulate(BENCH.replace(run__turns=50), seed=seed) for seed in (1, 2))
    assert not np.array_equal(a.cells.joined, b.cells.joined)


# ---------------------------------------------------------------- own stations


@dataclass(frozen=True, kw_only=True)
class SlowTube(TubeStation):
    """A student's tube: a chute in which every seed takes exactly one second."""

    def contacts(self, speed, at):
        """No wall contacts."""
        return 0.0

    def time(self, height, launch, speed, steady, slowing):
        """One second for the whole length."""
        return height / self.length


def test_a_replaced_station_is_used_and_named():
    usual = stations_of(BENCH)
    own = SlowTube(**{f.name: getattr(usual.tube, f.name) for f in dataclasses.fields(usual.tube)})
    scenario = BENCH.replace(run__turns=5)
    centred = dataclasses.replace(
        usual.pickup, coefficients=dataclasses.replace(usual.pickup.coefficients, eccentricity=0.0)
    )
    run = simulate(scenario, stations={"tube": own, "pickup": centred})
    assert run.replaced == {"tube": "SlowTube", "pickup": "PickupStation with other values"}
    fall = run.seeds.landing_time - run.seeds.release_time
    assert np.allclose(fall, 1.0, rtol=0, atol=1e-9)
    # all stations at once work as some by name
    whole = dataclasses.replace(usual, tube=own, pickup=centred)
    assert bytes_of(simulate(scenario, stations=whole)) == bytes_of(run)
    # negative control: the usual meter
    plain = simulate(scenario)
    assert plain.replaced == {}
    assert measure(plain)["drop_time.mean"].value < 0.5


# ---------------------------------------------------------------- shaking


def test_shaking_is_that_of_its_knots(monkeypatch):
    """Motion lies within the envelope, and the peak is the largest knot, also across blocks."""
    monkeypatch.setattr("metersim.run.draws.BLOCK", 50)
    shaking, knots = Shaking(KnotDraws(Streams(3))), KnotDraws(Streams(3))
    size = envelope(np.concatenate([knots.strengths(block, 50) for block in range(9)]))
    for start in np.linspace(0, 9, 40):
        for end in start + np.array([0.0, 0.3, 1.9]):
            first, last = int(start / KNOT_INTERVAL), int(end / KNOT_INTERVAL) + 1
            assert shaking.peak(start, end) == size[first : last + 1].max()
        around = size[first : first + 2]
        assert abs(shaking.at(start)) <= np.hypot(*around)
    assert np.std([shaking.at(time) for time in np.linspace(0, 10, 1500)]) == pytest.approx(1, 0.15)


def test_shaking_at_a_time_does_not_depend_on_what_was_asked_before(monkeypatch):
    monkeypatch.setattr("metersim.run.draws.BLOCK", 50)
    times = np.linspace(0, 20, 77).tolist()
    forward, backward = (Shaking(KnotDraws(Streams(3))) for _ in range(2))
    found = [forward.at(time) for time in times]
    assert found == [backward.at(time) for time in reversed(times)][::-1]
    assert forward.at(10.3) != forward.at(10.5)


@pytest.mark.parametrize("given", [None, 3])
def test_stations_and_a_vacuum_of_another_kind_are_refused(given):
    def no_stations(meter):
        yield meter.env.timeout(1)
        meter.stations = given

    with pytest.raises(ValueError, match="allowed: Stations"):
        simulate(SHORT, visitors=[no_stations])
    with pytest.raises(ValueError, match="allowed: a number"):
        simulate(SHORT, visitors=[visiting((1.0, set_vacuum("much")))])
    with pytest.raises(ValueError, match="give a list of them"):
        simulate(SHORT, visitors=no_stations)
