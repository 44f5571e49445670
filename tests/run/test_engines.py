"""Two engines, one meter: events in time and whole runs in arrays leave the same records.

The engines share equations and draws, nothing else (`pyproject.toml`); what is checked here
is the bookkeeping of both: who joins when, what the pool holds at every tick, what is knocked,
swept and shaken off, how each seed falls and which seeds the sensor sees.  Whole numbers must be
identical, others the same to a billionth.
"""

import __future__

import dataclasses
import importlib
import inspect
import re
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

import metersim
from metersim.machine.own import like
from metersim.machine.reading import load_scenario, shipped_scenarios
from metersim.machine.stations import stations_of
from metersim.machine.tube import TubeStation
from metersim.measures.estimates import measure
from metersim.measures.indices import MEASURES
from metersim.measures.tally import tallied
from metersim.run.arrays import engine
from metersim.run.draws import BLOCK
from metersim.run.simulation import pieces, simulate, simulate_cells
from tests.run.test_meter import LIVELY
from tests.strategies import BENCH, near, scenarios, unlike

ROOT = Path(metersim.__file__).parent


def both(scenario, **kinds):
    """Records of the events and of the arrays."""
    return tuple(simulate(scenario, engine=name, **kinds) for name in ("events", "arrays"))


def differences(scenario, **kinds):
    """Columns in which the engines differ."""
    return unlike(*both(scenario, **kinds))


# ---------------------------------------------------------------- equality


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(shipped_scenarios()))
@pytest.mark.parametrize("seed", [0, 1])
def test_shipped_scenarios(name, seed):
    scenario = load_scenario(name).lasting(750)
    events, arrays = both(scenario, seed=seed, replicate=seed)
    assert unlike(events, arrays) == []
    assert (events.scenario, events.seed, events.replaced) == (scenario, seed, arrays.replaced)


@pytest.mark.study
@pytest.mark.slow
@settings(max_examples=60)
@given(scenarios())
def test_drawn_scenarios(scenario):
    assert differences(scenario) == []


@pytest.mark.slow
@pytest.mark.parametrize("changes", LIVELY.values(), ids=LIVELY)
def test_meters_in_trouble(changes):
    assert differences(BENCH.replace(**{"run__turns": 30, **changes})) == []


PARTS = {
    "holes": {
        "disc__plugged_holes": "every 7",
        "disc__worn_holes": "1 2",
        "disc__chipped_holes": "30",
        "pool__gate_opening": 0.0115,
    },
    "worn edges": {
        "singulator__edge_wear": 0.8,
        "guide__inner_gap": 1.5e-3,
        "guide__inner_wear": 1.0,
        "disc__hole_diameter": 5.5e-3,
    },
    "cut-off": {"cutoff__cutoff_wear": 1.0, "cutoff__made_for": "small"},
    "worn seal": {"vacuum__seal_wear": 1.0, "vacuum__vacuum": 2e3},
    "open chamber": {"vacuum__chamber_open": True},
    "back to front": {"disc__wrong_way_round": True, "vacuum__vacuum": 3e3},
    "conveyor": {"tube__delivery": "conveyor"},
    "conveyor in a field": {
        "tube__delivery": "conveyor",
        "furrow__surface": "field",
        "row_unit__shock_per_speed": 2.0,
    },
    "dusty lens": {"sensor__dust_per_hour": 0.05, "sensor__hours_since_brushing": 6.0},
}


@pytest.mark.slow
@pytest.mark.parametrize("changes", PARTS.values(), ids=PARTS)
def test_worn_and_wrong_parts(changes):
    scenario = BENCH.replace(run__turns=30, **changes)
    assert differences(scenario) == []
    assert unlike(simulate(scenario), simulate(BENCH.replace(run__turns=30)))


STARVED = {
    "low gate": {"pool__gate_opening": 0.012},
    "low gate, fine ticks": {"pool__gate_opening": 0.012, "run__tick": 0.02},
    "low gate, coarse ticks": {"pool__gate_opening": 0.012, "run__tick": 1.0},
    "gate nearly shut": {"pool__gate_opening": 0.0108},
    "empty from the middle": {"pool__hopper": 0.35},
    "passages that coincide": {"disc__cells": 36, "pool__gate_opening": 0.012},
    "dust": {"sensor__detection": 0.6, "demand__rate": 30.0},
    "seed leaks": {"pool__clearance": 4.4e-3},
    "seed leaks faster than it comes": {"pool__clearance": 0.012, "pool__gate_opening": 0.015},
    "seed leaks to the end": {"pool__clearance": 4.6e-3, "pool__hopper": 0.6},
}


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("changes", STARVED.values(), ids=STARVED)
def test_pools_that_run_low(changes):
    scenario = BENCH.replace(**{"run__turns": 80, **changes})
    assert differences(scenario) == []
    assert unlike(simulate(scenario), simulate(BENCH.replace(run__turns=80)))


USE_BLOCKS = (
    "draws",
    "records",
    "arrays.engine",
    "arrays.stretch",
    "arrays.supply",
)


@pytest.mark.study
@pytest.mark.slow
@pytest.mark.parametrize("changes", (LIVELY | STARVED).values(), ids=LIVELY | STARVED)
def test_across_many_borders(changes, monkeypatch):
    """The same with blocks so small that a run has ten of them or more, in the field."""
    for module in USE_BLOCKS:
        monkeypatch.setattr(f"metersim.run.{module}.BLOCK", 100)
    scenario = BENCH.replace(
        **{"furrow__surface": "field", "drive__start_ramp": 30.0, **changes, "run__turns": 40}
    )
    events, arrays = both(scenario)
    assert len(list(arrays.pieces())) > 10
    assert unlike(events, arrays) == []


def test_no_user_of_blocks_was_forgotten():
    """Of the borders above: every module that takes the size of a block was told."""
    users = {
        str(path.relative_to(ROOT).with_suffix("")).replace("/", ".")
        for path in ROOT.rglob("*.py")
        if re.search(r"run\.draws import .*\bBLOCK\b", path.read_text(encoding="utf-8"))
    }
    assert users | {"run.draws"} == {f"run.{name}" for name in USE_BLOCKS}


@dataclass(frozen=True, kw_only=True)
class SlowTube(TubeStation):
    """A student's tube: every seed takes exactly one second and touches nothing."""

    def contacts(self, speed, at):
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
    assert unlike(events, arrays) == []
    assert (
        events.replaced
        == arrays.replaced
        == {
            "tube": "SlowTube",
            "pickup": "PickupStation with other values",
        }
    )


def test_other_draws_are_noticed():
    """Negative control: the comparison sees another seed of chance, and a hundredth of a micron."""
    run = simulate(BENCH.replace(run__turns=5))
    assert unlike(run, simulate(run.scenario, seed=2))
    assert unlike(run, simulate(BENCH.replace(run__turns=6)))
    for by, seen in ((1e-8, [("seeds", "size")]), (1e-11, [])):
        moved = dataclasses.replace(run.seeds, size=run.seeds.size * (1 + by))
        assert unlike(run, dataclasses.replace(run, seeds=moved)) == seen
    other = dataclasses.replace(run.seeds, contacts=run.seeds.contacts + np.int8(1))
    assert unlike(run, dataclasses.replace(run, seeds=other)) == [("seeds", "contacts")]


# ---------------------------------------------------------------- broken rules

MANY = {"run__turns": 40}
LONGER = BENCH.replace(run__turns=70)
LOW = BENCH.replace(**MANY, pool__gate_opening=0.012)
EMPTYING = BENCH.replace(**MANY, pool__gate_width=0.03, pool__pool_depth=0.006, pool__hopper=0.02)
HEAPED = BENCH.replace(
    **MANY, pool__gate_opening=0.085, vacuum__vacuum=1.6e3, singulator__notch=2.5
)
CROWDED = BENCH.replace(**MANY, disc__hole_diameter=6.5e-3, singulator__notch=-2.0)
HEAPED_CROWD = HEAPED.replace(disc__hole_diameter=6.5e-3, singulator__notch=-2.0)
TIGHT = CROWDED.replace(singulator__notch=3.0)
SCANT = BENCH.replace(**MANY, vacuum__vacuum=1.6e3)
SHAKEN = SCANT.replace(furrow__surface="field", row_unit__shock_per_speed=9.8)
SWEPT = BENCH.replace(**MANY, singulator__notch=3.0)
FIELD = BENCH.replace(**MANY, furrow__surface="field", tube__tube_wear=1.0)
BARE = BENCH.replace(**MANY, tube__tube_fitted=False)
DUSTY = BENCH.replace(**MANY, sensor__detection=0.6)
DENSE = BENCH.replace(**MANY, demand__rate=60.0)
RAMPED = BENCH.replace(**MANY, drive__start_ramp=20.0)
STEEP = BENCH.replace(**MANY, cutoff__decay_arc=0.3)
RETURNING = SHAKEN.replace(
    pool__gate_opening=0.02,
    pool__gate_width=0.04,
    pool__pool_depth=0.01,
    singulator__notch=2.0,
    run__tick=1.0,
)
NARROW = BENCH.replace(**MANY, pool__gate_opening=0.012, run__tick=0.02)
HOLED = BENCH.replace(
    **MANY, disc__plugged_holes="every 9", disc__chipped_holes="2 20", vacuum__vacuum=1.6e3
)
HOLED_EMPTYING = EMPTYING.replace(disc__plugged_holes="every 9")
LEAKING = BENCH.replace(**MANY, pool__clearance=4.4e-3)
RUNNING_OUT = LEAKING.replace(pool__clearance=0.012, pool__gate_opening=0.015)
FEW = CROWDED.replace(pool__gate_opening=0.012, pool__gate_width=0.05, run__tick=1.0)

# a rule: where it stands, what stands there, what is put in its place, and who notices
BROKEN = {
    # the events
    "blocked": ("hole.first_joins", "draws.blocked(", "0 and draws.blocked(", LONGER),
    "pool empty": ("hole.first_joins", "meter.available <= 0", "False", EMPTYING),
    "join limit": ("hole.first_joins", ">= chances.rate", ">= 0.8 * chances.rate", SCANT),
    "retake": ("hole.first_joins", "deviate > pickup.limit", "0 and deviate > pickup.limit", SCANT),
    "size": ("hole.first_joins", "first_size(deviate, size)", "first_size(deviate, 0)", BENCH),
    "seat": ("hole.first_joins", "need(deviate, size, seat)", "need(deviate, size, 0)", BENCH),
    "later width": ("hole.others_join", ")))) * first.size", "))))", CROWDED),
    "pose's need": ("hole.first_joins", "pickup.pose_need(flat) * ", "", SCANT),
    "pose": ("hole.first_joins", "draws.lie(cell.number)", "0.0", SCANT),
    "shape": ("hole.first_joins", "narrow_side(flat, shape)", "narrow_side(flat, 1.0)", SWEPT),
    "hole": ("meter.Meter.vacuum_at", "cell % ", "0 * cell % ", SCANT),
    "plugged": ("hole.first_joins", "in pickup.holes.plugged", "in ()", HOLED),
    "plugged first": ("hole.first_joins", "return losses.PLUGGED", "return losses.BLOCKED", HOLED),
    "rim": ("meter.Meter.vacuum_at", "deviate, turn, hole)", "deviate, turn, 0)", HOLED),
    "covered": ("hole.others_join", "free -= part", "free -= 1.05 * part", CROWDED),
    "later seat": ("hole.others_join", "draws.seat(", "0 * draws.seat(", CROWDED),
    "later size": ("hole.others_join", "draws.size(", "0 * draws.size(", CROWDED),
    "few left": ("hole.others_join", "min(MOST_SEEDS, meter.available)", "MOST_SEEDS", FEW),
    "share": ("meter.Cell.keep", "if held:", "if False:", CROWDED),
    "knock": ("hole.knock_off", "chances.knocks * strength", "chances.knocks", HEAPED),
    "knock share": ("hole.knock_off", "(seed.share * chances", "(chances", HEAPED_CROWD),
    "lone tooth": ("hole.sweep_one", "deviate > edge", "0 > edge", SWEPT),
    "lone seat": ("hole.sweep_one", "cell.across, 1.0", "0.0, 1.0", SWEPT),
    "lone size": ("hole.reach_of", "* seed.size", "", SWEPT),
    "pair teeth": ("hole.sweep_off", "range(TEETH)", "range(TEETH - 1)", CROWDED),
    "pair turn": ("hole.outward_at", "math.sin(turn)", "abs(math.sin(turn))", CROWDED),
    "pair seat": ("hole.outward_at", "return -outside", "return outside", CROWDED),
    "pair share": ("hole.sweep_several", "seed.share * ", "", CROWDED),
    "shock": ("hole.shake_off", "spare < shock", "False", SHAKEN),
    "shock's time": ("events.follow_hole", "cell, leaves, cut", "cell, 0, cut", SHAKEN),
    "no hold": ("hole.shake_off", "(pickup.spare_load(", "(1 + pickup.spare_load(", SHAKEN),
    "travel": ("events.let_go", "float(release.travel(", "float(0 * release.travel(", STEEP),
    "travel share": ("events.let_go", "seed.share * meter", "meter", CROWDED),
    "lag": ("events.let_go", "travel += ", "travel += 0 * ", CROWDED),
    "hole's speed": ("events.let_go", "travel / at.speed", "travel / meter.speed", RAMPED),
    "launch": ("events.descend", "speed * float(", "float(", BENCH),
    "sideways": ("events.descend", "sideways = speed *", "sideways = 2 * speed *", BARE),
    "sideways in a tube": ("events.descend", "sideways = speed *", "sideways = 2 * speed *", BENCH),
    "speed lost": ("events.descend", "walls[-1].loss if", "0 if", FIELD),
    "last contact": ("events.descend", "walls[-1].speed", "walls[0].speed", FIELD),
    "exit": ("events.descend", "landing.speed, aside, at)", "landing.speed, 0, at)", FIELD),
    "damping": ("events.way_down", "float(tube.damped(apart))", "apart", FIELD),
    "landing": ("events.descend", "* furrow.scatter", "* 0", BENCH),
    "contacts": ("events.way_down", "contacts < CONTACTS", "contacts < 1", FIELD),
    "first contact": ("events.way_down", "draws.contact(", "2 * draws.contact(", FIELD),
    "wall loss": ("events.way_down", "(1 - loss)", "(1 - loss / 2)", FIELD),
    "slowing": ("events.way_down", "slowing *= float", "slowing = float", FIELD),
    "seat's height": ("events.way_down", "tube.length + cell.along", "tube.length", FIELD),
    "beam": ("events.way_down", "stations.sensor.height", "stations.sensor.height / 2", BENCH),
    "shaken fall": ("events.descend", "later = float(", "later = -float(", FIELD),
    "pulse": ("events.watch", "sensor.pulse(seed.size", "sensor.pulse(1", DENSE),
    "dark beam": ("events.watch", "now >= meter.beam_dark_until", "True", DENSE),
    "longest pulse": ("events.watch", "max(meter.beam_dark_until, dark_until)",
                      "dark_until - 0.004", DENSE),
    "detection": ("events.watch", "chance < 1", "False", DUSTY),
    "hop time": ("events.descend", "now += air", "pass", FIELD),
    "hop length": ("events.descend", "furrow.hop_length(", "0 * furrow.hop_length(", FIELD),
    "soil": ("events.descend", "* furrow.scatter", "* 0", FIELD),
    "arch forms": ("events.work_gate", "wait <= 0", "False", LOW),
    "arch clears": ("events.work_gate", "gate.clearing_rate(at) if", "0 if", LOW),
    "gate's flow": ("events.work_gate", "able, meter", "9**9, meter", NARROW),
    "parts of seeds": ("events.work_gate", "able = -int(passable)", "able = passable = 0",
                       NARROW),
    "leak": ("events.work_gate", "float(gate.leak(at))", "1.1 * float(gate.leak(at))", LEAKING),
    "parts of a leak": ("events.work_gate", "-int(leaking)", "-round(leaking)", LEAKING),
    "leak of an empty pool": ("events.work_gate", "int(leaking), meter.pool)",
                              "int(leaking), 9**9)", RUNNING_OUT),
    "spilt": ("events.work_gate", "meter.spilt += out", "meter.spilt = out", LEAKING),
    "full pool": ("events.work_gate", "gate.full(", "2 * gate.full(", BENCH),
    "hopper": ("events.work_gate", "able, meter.hopper)", "able)", EMPTYING),
    "level": ("events.work_gate", "gate.seen(meter.pool)", "gate.seen(gate.full(at))", LOW),
    "speed": ("events.turn_disc", "speeds(tick, tick + 1)", "speeds(0, 1)", RAMPED),
    "returns": ("hole.lose", "meter.pool += 1", "pass", RETURNING),
    "late returns": ("hole.lose", "meter.pool += 1", "meter.pool += 1; meter.available += 1",
                     RETURNING),
    # the arrays
    "blocked, arrays": ("picking.pick", "joins[blocked] = False", "pass", BENCH),
    "plugged, arrays": ("picking.pick", "joins[plugged] = False", "pass", HOLED),
    "plugged first, arrays": ("picking.pick", "reason[plugged] = PLUGGED", "pass", HOLED),
    "plugged in a low pool, arrays": ("fates.fates", " & (reason != PLUGGED)", "", HOLED_EMPTYING),
    "rim, arrays": ("supply.History._works", "turns, holes)", "turns, 0 * holes)", HOLED),
    "join limit, arrays": ("picking.pick", "< chances.rate", "< 0.8 * chances.rate", SCANT),
    "retake, arrays": ("picking.pick", "if again.size", "if 0 * again.size", SCANT),
    "later width, arrays": ("picking.pick", "shape[part]) * size)", "shape[part]))", CROWDED),
    "hole, arrays": ("supply.History._at_holes", "cells % len", "0 * cells % len", SCANT),
    "pair turn, arrays": ("crowd._outward", "np.sin(turns)", "abs(np.sin(turns))", CROWDED),
    "covered, arrays": ("picking._crowd", "-= part", "-= 1.05 * part", CROWDED),
    "share, arrays": ("crowd._shares", "1 - np.add.reduceat(shares, starts)", "1.0", CROWDED),
    "knock, arrays": ("fates._follow_alone", "chances.knocks * (needed", "0 * (needed", HEAPED),
    "crowd's knock, arrays": ("crowd._knocked", "heap < ", "0 * heap > ", HEAPED_CROWD),
    "lone tooth, arrays": ("fates._follow_alone", "held[swept] = False", "pass", SWEPT),
    "pair teeth, arrays": ("crowd._sweep_together", "range(TEETH)", "range(TEETH - 1)",
                            CROWDED),
    "left alone, arrays": ("crowd._sweep_together", "alone_from.append(",
                           "alone.clear(); list(", TIGHT),
    "left alone later, arrays": ("crowd._sweep_alone", "since <= tooth", "since < tooth", TIGHT),
    "shock, arrays": ("stretch.Shocks.shake_off", "off |= ", "off &= ", SHAKEN),
    "lag, arrays": ("crowd._travel", "+ lag[after]", "+ 2 * lag[after]",
                    CROWDED),
    "wall loss, arrays": ("descent.fall", "before * (1 - loss)", "before", FIELD),
    "dark beam, arrays": ("descent.watch", "mine] & (own", "mine] | (own", DENSE),
    "shaken fall, arrays": ("descent.descend", "way.time + later", "way.time", FIELD),
    "arches, arrays": ("supply.Arches.go_on", "* ~arched", "", LOW),
    "leak, arrays": ("supply.Supply.look_ahead", "steps * self._gate.leak(at)",
                     "1.1 * steps * self._gate.leak(at)", LEAKING),
    "leak of an empty pool, arrays": ("filling.fill_ticks", "max(pool, 0)", "9**9", RUNNING_OUT),
    "leaking slides, arrays": ("filling.by_slides", "gained - leaked", "gained", LEAKING),
    "spilt, arrays": ("filling.by_slides", "spilt + leaked", "leaked", LEAKING),
    "hopper, arrays": ("filling.by_slides", "> hopper", "> 9**9", EMPTYING),
    "change, arrays": ("supply.History._change", "return change", "return 0 * change", LOW),
    "returns, arrays": ("supply.History._change", "if lost.size", "if 0 * lost.size", RETURNING),
    "late returns, arrays": ("supply.History._change", "np.bincount(ticks + 1",
                             "np.bincount(ticks", RETURNING),
    "pool empty, arrays": ("supply.History._left", "return left", "return None", EMPTYING),
    "first guess, arrays": ("supply.Supply.correct", "if wrong.size", "if False", LOW),
}  # fmt: skip
OF_EVENTS = ("events", "hole", "meter")


def break_rule(monkeypatch, where, old, new):
    """Put something else in the place of a rule of one engine."""
    name, *path = where.split(".")
    home = "metersim.run" if name in OF_EVENTS else "metersim.run.arrays"
    module = importlib.import_module(f"{home}.{name}")
    owner = module if len(path) == 1 else getattr(module, path[0])
    rule = vars(owner)[path[-1]]
    text = textwrap.dedent(inspect.getsource(rule))
    assert old in text
    made = {}
    flags = __future__.annotations.compiler_flag
    exec(compile(text.replace(old, new), where, "exec", flags), vars(module), made)
    for user in [owner, *(m for n, m in sys.modules.items() if n.startswith("metersim."))]:
        if vars(user).get(path[-1]) is rule:
            monkeypatch.setattr(user, path[-1], made[path[-1]])


UNBROKEN = {}
SHORT = 6  # turns that show most broken rules


def unbroken(scenario, turns, name):
    """Records of an engine whose rules are all there; kept for the scenarios above."""
    key = id(scenario), turns, name
    if key not in UNBROKEN:
        UNBROKEN[key] = simulate(scenario.replace(run__turns=turns), engine=name)
    return UNBROKEN[key]


@pytest.mark.parametrize("name", BROKEN)
def test_a_rule_that_one_engine_breaks_is_noticed(name, monkeypatch):
    """In a few turns, or else in all of them."""
    *rule, scenario = BROKEN[name]
    with monkeypatch.context() as patch:
        for turns in (SHORT, scenario.run.turns):
            whole = [unbroken(scenario, turns, which) for which in ("arrays", "events")]
            assert unlike(*whole) == []
            break_rule(patch, *rule)
            one = "arrays" if name.endswith("arrays") else "events"
            broken = simulate(whole[0].scenario, engine=one)
            patch.undo()
            if unlike(whole[0], broken):
                return
    raise AssertionError("a broken rule is not noticed")


# ---------------------------------------------------------------- pieces and sums


@pytest.mark.slow
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


@pytest.mark.slow
@pytest.mark.parametrize("name", ["maize_field", "gate_too_low"])
def test_cells_are_the_same_whether_or_not_their_seeds_are_followed(name):
    scenario = load_scenario(name).lasting(2 * BLOCK + 100)
    whole = simulate(scenario, seed=3, replicate=1).cells
    for key, column in simulate_cells(scenario, seed=3, replicate=1).columns():
        assert np.array_equal(column, getattr(whole, key)), key


@pytest.mark.slow
def test_sums_are_the_same():
    """Kept or streamed, to the last bit; by events or by arrays, to a billionth."""
    scenario = BENCH.replace(run__turns=100, furrow__surface="field")
    kept = measure(simulate(scenario))
    streamed = measure(tallied(scenario))
    by_events = measure(tallied(scenario, engine="events"))
    for part in MEASURES:
        values = [made[part.key] for made in (kept, streamed, by_events)]
        assert repr(values[0]) == repr(values[1])
        one, other = ([*made.to_dict().values()] for made in values[1:])
        assert near(np.array(one, dtype=float), np.array(other, dtype=float)), part.key


# ---------------------------------------------------------------- what is asked of which


@pytest.mark.parametrize("wanted", [{"trace": True}, {"visitors": [lambda _: iter(())]}])
def test_arrays_refuse_what_only_events_can_do(wanted):
    with pytest.raises(ValueError, match="take 'events'"):
        simulate(BENCH.replace(run__turns=1), engine="arrays", **wanted)


def test_an_unknown_engine_is_refused():
    with pytest.raises(ValueError, match=r"'steam'.*arrays, events or compiled"):
        simulate(BENCH.replace(run__turns=1), engine="steam")


def test_a_seed_that_falls_behind_a_whole_piece_is_refused(monkeypatch):
    """What is out of reach of any tube would be counted wrong, and is not counted at all."""
    land = engine.descend

    def late(block, *rest):
        landed = land(block, *rest)
        crossed = landed.crossed + 1e6 * (block.draws.first == 0)
        return landed._replace(crossed=crossed)

    monkeypatch.setattr(engine, "descend", late)
    scenario = BENCH.replace(run__turns=2 * BLOCK // 30 + 40, pool__hopper=100.0)
    with pytest.raises(RuntimeError, match="too late"):
        simulate(scenario)
