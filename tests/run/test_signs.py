"""Signs that must hold: what grows and what falls when one setting moves, each by over 4 SE."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine import losses
from metersim.machine.coefficients import USUAL
from metersim.machine.moment import Moment
from metersim.machine.reading import load_scenario
from metersim.machine.stations import stations_of
from metersim.measures.fold import fold
from metersim.run import draws
from metersim.run.simulation import simulate
from tests.strategies import BENCH, measured, pool_of, ran, z_between

FIELD = {"furrow__surface": "field"}
SCANT = {"vacuum__vacuum": 1.5e3}
LONG = {"run__turns": 250}
SLOW = {"demand__speed": 4 / 3.6}
FAST = {"demand__speed": 10 / 3.6}
LOOSE = {"singulator__notch": -3.0, "disc__hole_diameter": 5.2e-3}
OPEN = {**LONG, "disc__hole_diameter": 5.2e-3}
FEW = {"disc__cells": 16, "vacuum__vacuum": 2e3, **LONG}  # at a rate that stays as it is
INNER = {**OPEN, "guide__inner_gap": 1.2e-3}
DUSTY = {"sensor__dust_per_hour": 0.01, "sensor__hours_since_brushing": 2.0}
CLOSE = {"run__turns": 100, "disc__cells": 44, "vacuum__vacuum": 1.5e3}

# what is moved, from which setting, to which, and which measures rise (+) or fall (-)
SIGNS = [
    ("vacuum: misses fall", {"vacuum__vacuum": 1e3}, {"vacuum__vacuum": 2e3}, "-cells.skip"),
    ("vacuum: misses fall", {"vacuum__vacuum": 1e3}, {"vacuum__vacuum": 2e3}, "-per_spacing.miss"),
    ("vacuum: multiples rise", {**LONG, **SCANT}, {**LONG, "vacuum__vacuum": 8e3}, "+cells.double"),
    (
        "vacuum: multiples rise",
        {**LONG, **SLOW, **SCANT},
        {**LONG, **SLOW, "vacuum__vacuum": 8e3},
        "+per_spacing.multiple",
    ),
    ("bigger hole", {}, {"disc__hole_diameter": 5.2e-3}, "+cells.double"),
    ("bigger hole", {}, {"disc__hole_diameter": 5.2e-3}, "+per_spacing.multiple"),
    ("smaller seed", {}, {"seed__size_factor": 0.85}, "+cells.double"),
    ("smaller seed", {}, {"seed__size_factor": 0.85}, "+per_spacing.multiple"),
    ("bigger seed", SCANT, {**SCANT, "seed__size_factor": 1.15}, "+cells.skip"),
    ("bigger seed", SCANT, {**SCANT, "seed__size_factor": 1.15}, "+per_spacing.miss"),
    ("sharper notch", OPEN, {**OPEN, "singulator__notch": 2.0}, "-cells.double"),
    ("sharper notch", OPEN, {**OPEN, "singulator__notch": 2.0}, "-per_spacing.multiple"),
    ("sharper notch", LONG, {**LONG, "singulator__notch": 2.0}, "+cells.skip"),
    ("disc faster (fewer cells)", SCANT, {**SCANT, "disc__cells": 12}, "+cells.skip"),
    ("disc faster (fewer cells)", SCANT, {**SCANT, "disc__cells": 12}, "+per_spacing.miss"),
    ("ground faster in the field", {**FIELD, **SLOW}, {**FIELD, **FAST}, "+spacing.sd"),
    ("ground faster in the field", {**FIELD, **SLOW}, {**FIELD, **FAST}, "+precision"),
    ("ground faster in the field", {**FIELD, **SLOW}, {**FIELD, **FAST}, "+per_spacing.miss"),
    (
        "ground faster in the field",
        {**FIELD, **SLOW, **SCANT},
        {**FIELD, **FAST, **SCANT},
        "+cells.skip",
    ),
    ("ground faster on the bench", SLOW, FAST, "+spacing.sd"),
    ("more cells", FEW, {**FEW, "disc__cells": 36}, "-cells.skip"),
    ("more cells", FEW, {**FEW, "disc__cells": 36}, "-precision"),
    ("more cells", FEW, {**FEW, "disc__cells": 36}, "+per_spacing.quality"),
    # 44 cells stand at a pitch of 1.49 seed lengths, 60 cells at 1.09
    ("cells too close", CLOSE, {**CLOSE, "disc__cells": 60}, "+cells.skip"),
    ("worn tube", {}, {"tube__tube_wear": 1.0}, "+precision"),
    ("worn tube", {}, {"tube__tube_wear": 1.0}, "-per_spacing.quality"),
    ("curved tube", {}, {"tube__tube_curvature": math.radians(45)}, "+precision"),
    ("curved tube", {}, {"tube__tube_curvature": math.radians(45)}, "-per_spacing.quality"),
    (
        "wider sizes",
        {**LONG, "vacuum__vacuum": 2e3},
        {**LONG, "vacuum__vacuum": 2e3, "seed__size_cv": 0.15},
        "+cells.skip",
    ),
    ("wider sizes", OPEN, {**OPEN, "seed__size_cv": 0.15}, "+cells.double"),
    ("wider sizes", OPEN, {**OPEN, "seed__size_cv": 0.15}, "+per_spacing.multiple"),
    ("pool too low", SCANT, {**SCANT, **pool_of(0.5)}, "+cells.skip"),
    ("pool too low", SCANT, {**SCANT, **pool_of(0.5)}, "-per_spacing.quality"),
    ("gate too low", {}, {"pool__gate_opening": 0.012}, "+cells.skip"),
    ("gate too high", {}, {"pool__gate_opening": 0.08}, "+cells.skip"),
    ("gate too high", {}, {"pool__gate_opening": 0.08}, "-per_spacing.quality"),
    (
        "agitation",
        {**SCANT, "disc__agitation": 0.0},
        {**SCANT, "disc__agitation": 1.0},
        "-cells.skip",
    ),
    ("inner guide", {}, {"guide__inner_guide": True}, "-precision"),
    ("cut-off arc", SLOW, {**SLOW, "cutoff__decay_arc": math.radians(20)}, "+precision"),
    (
        "firmer",
        {**FIELD, **SLOW},
        {**FIELD, **SLOW, "furrow__firmer": True},
        "-precision",
    ),
    (
        "rough soil",
        {**FIELD, **SLOW},
        {**FIELD, **SLOW, "furrow__soil_scatter": 0.03},
        "+precision",
    ),
    ("conveyor", FAST, {**FAST, "tube__delivery": "conveyor"}, "-precision"),
    (
        "conveyor in the field",
        {**FIELD, **FAST},
        {**FIELD, **FAST, "tube__delivery": "conveyor"},
        "-precision",
    ),
    ("ripple of the drive", SLOW, {**SLOW, "drive__ripple": 0.3}, "+spacing.sd"),
    ("plugged holes", {}, {"disc__plugged_holes": "every 10"}, "+cells.skip"),
    ("worn rims", SCANT, {**SCANT, "disc__worn_holes": "every 2"}, "+cells.skip"),
    (
        "chipped rims, not worn ones",
        {**SCANT, "disc__worn_holes": "every 2"},
        {**SCANT, "disc__chipped_holes": "every 2"},
        "+cells.skip",
    ),
    ("worn edge", OPEN, {**OPEN, "singulator__edge_wear": 1.0}, "+cells.double"),
    ("worn inner edge", INNER, {**INNER, "guide__inner_wear": 1.0}, "+cells.double"),
    ("worn cut-off", SLOW, {**SLOW, "cutoff__cutoff_wear": 1.0}, "+precision"),
    ("worn cut-off: more contacts", FAST, {**FAST, "cutoff__cutoff_wear": 1.0}, "+spacing.sd"),
    ("wrong cut-off", SLOW, {**SLOW, "cutoff__made_for": "small"}, "+precision"),
    ("worn seal", SCANT, {**SCANT, "vacuum__seal_wear": 1.0}, "+cells.skip"),
    ("open chamber", {}, {"vacuum__chamber_open": True}, "+cells.skip"),
    ("disc back to front", SCANT, {**SCANT, "disc__wrong_way_round": True}, "+cells.skip"),
    ("dust", {}, {"sensor__detection": 0.95}, "+sensor.miss"),
    ("dust with the hours", DUSTY, {**DUSTY, "sensor__hours_since_brushing": 8.0}, "-sensor.seen"),
    ("dust", {}, {"sensor__detection": 0.95}, "-sensor.seen"),
    ("tall beam", LOOSE, {**LOOSE, "sensor__beam_height": 0.05}, "-sensor.seen"),
    ("tall beam", LOOSE, {**LOOSE, "sensor__beam_height": 0.05}, "-sensor.multiple"),
]


@pytest.mark.parametrize(
    ("before", "after", "sign"),
    [row[1:] for row in SIGNS],
    ids=[f"{row[0]}: {row[3]}" for row in SIGNS],
)
def test_sign(before, after, sign):
    z = z_between(measured(**before), measured(**after), sign[1:])
    assert z * (1 if sign[0] == "+" else -1) > 4


@pytest.mark.parametrize("setting", [{}, SCANT, {**FIELD, **SLOW}, LOOSE])
def test_other_draws_at_the_same_setting_make_no_difference(setting):
    """Negative control of every sign: no measure of a sign moves by 4 SE when only the draws do."""
    one, other = measured(**setting), measured(seed=2, **setting)
    for key in sorted({row[3][1:] for row in SIGNS}):
        assert abs(z_between(one, other, key)) < 4, key


def test_vacuum_saturates():
    """The last doubling of the vacuum moves the skips far less than the first."""
    skips = {v: measured(vacuum__vacuum=v)["cells.skip"].value for v in (1e3, 2e3, 7.5e3, 15e3)}
    assert abs(skips[15e3] - skips[7.5e3]) < 0.02 * (skips[1e3] - skips[2e3])


def empty_at(vacuum, speed=BENCH.peripheral_speed, level=0.041, **coefficients):
    """Chance of an empty cell at the bench's pick-up, at a speed of the holes and a level."""
    pickup = stations_of(BENCH, dataclasses.replace(USUAL, **coefficients)).pickup
    return np.exp(-pickup.chances(vacuum, Moment(speed=speed, level=level)).rate)


def test_misses_fall_smoothly_with_the_vacuum():
    """A tenth more vacuum never more than halves them, and the more there is the less it does."""
    empty = empty_at(1e3 * 1.1 ** np.arange(30))
    steps = np.diff(np.log(empty))
    assert np.all(steps < 0) and np.all(steps > math.log(0.5))
    assert np.all(np.diff(steps[-12:]) > 0)


@pytest.mark.parametrize("vacuum", [1.5e3, 4e3])
def test_misses_grow_smoothly_with_the_speed_of_the_holes(vacuum):
    """There is no speed at which a meter breaks down.

    Slow holes come to a balance of loss and gain, and gain falls as speed grows.  So their
    odds grow in proportion.  Faster holes end their way before that, and misses grow more.
    """
    speeds = 0.05 * 1.1 ** np.arange(30)
    empty = empty_at(vacuum, speeds)
    steps = np.diff(np.log(empty))
    assert np.all(steps > 0) and np.diff(empty).max() < 0.06  # a tenth more speed
    odds = np.diff(np.log(empty / (1 - empty)))
    assert odds[:2] == pytest.approx(math.log(1.1), rel=0.02)
    # negative control: holes that lose no seeds break down within a few steps
    arrivals = np.diff(np.log(empty_at(vacuum, speeds, loosening=0.0)))
    assert arrivals.max() > 2 * steps.max()


def test_a_level_off_the_best_costs_gradually():
    """A lower pool gives fewer seeds, a higher one resists more and knocks: no cliff on the way."""
    levels = np.linspace(0.01, 0.11, 101)
    empty = empty_at(2e3, level=levels)
    best = int(empty.argmin())
    assert 0 < best < 100
    assert np.all(np.diff(empty[: best + 1]) < 0) and np.all(np.diff(empty[best:]) > 0)
    assert np.abs(np.diff(empty)).max() < 0.02  # of a millimetre
    low, good, high = (
        stations_of(BENCH).pickup.chances(2e3, Moment(speed=0.27, level=level))
        for level in (0.01, levels[best], 0.11)
    )
    # opposite reasons
    assert low.gain < good.gain and low.needed < good.needed and low.knocks == 0
    assert high.gain < 1.02 * good.gain and high.needed > good.needed and high.knocks > good.knocks


def test_gates_off_the_best_cost_gradually():
    """Runs of the bench: skips rise to both sides, step by step."""
    gates = (0.017, 0.022, 0.03, 0.045, 0.06)
    low = [measured(**SCANT, pool__gate_opening=gate)["cells.skip"].value for gate in gates]
    assert np.all(np.diff(low) < 0)
    gates = (0.06, 0.066, 0.073, 0.082)
    high = [measured(pool__gate_opening=gate)["cells.skip"].value for gate in gates]
    assert np.all(np.diff(high) > 0)
    assert np.diff(high).max() < 0.5 * (high[-1] - high[0])


# ---------------------------------------------------------------- what makes neighbours alike


def unevenness(skips, holes):
    """Variance of the skips of each hole over that of independent cells."""
    counts = skips[: len(skips) // holes * holes].reshape(-1, holes).sum(axis=0)
    return counts.var(ddof=1) / (counts.mean() * (1 - skips.mean()))


def skips_of(**coefficients):
    """Skips of a long run of the shipped bench at a third of its vacuum, and its holes."""
    scenario = load_scenario("maize_bench", ["turns=600", "vacuum_kpa=1.2", "hopper_kg=100"])
    k = dataclasses.replace(USUAL, **coefficients)
    run = simulate(scenario, stations=stations_of(scenario, k))
    return run.cells.released == 0, scenario.disc.cells


def test_skips_keep_to_some_holes():
    """A hole that leaks skips again every turn, so shuffled cells are another row."""
    skips, holes = skips_of()
    allowed = 4 * math.sqrt(2 / (holes - 1))
    assert unevenness(skips, holes) > 1 + 3 * allowed
    shuffled = np.random.default_rng(1).permutation(skips)
    assert abs(unevenness(shuffled, holes) - 1) < allowed
    # negative control: on holes that are all alike shuffling changes nothing
    alike, holes = skips_of(hole_spread=0.0, run_out=0.0)
    assert abs(unevenness(alike, holes) - 1) < allowed


@pytest.mark.parametrize("engine", ["arrays", "events"])
def test_a_plugged_hole_is_a_skip_every_turn_and_nothing_else(engine, monkeypatch):
    """No vacuum works at it; all other cells release what they did."""
    setting = BENCH.replace(run__turns=12)
    usual = simulate(setting, engine=engine).cells.released
    drawn = draws.HoleDraws.__init__

    def plugged(self, *given):
        drawn(self, *given)
        self.deviates[7] = -100 / USUAL.hole_spread

    monkeypatch.setattr(draws.HoleDraws, "__init__", plugged)
    released = simulate(setting, engine=engine).cells.released
    hole = np.arange(len(released)) % setting.disc.cells
    assert (released[hole == 7] == 0).all() and usual[hole == 7].mean() > 0.8
    assert np.array_equal(released[hole != 7], usual[hole != 7])


def failing_holes(run):
    """Holes that fail more often than others, as the spacings of a row show them, from 0."""
    found = fold(np.diff(run.seeds.position) / run.scenario.spacing, BENCH.disc.cells).found
    first = int(run.seeds.cell[0])
    return [(one.hole - 1 + first) % BENCH.disc.cells for one in found]


@pytest.mark.parametrize("condition", ["plugged", "worn", "chipped"])
def test_a_bad_hole_shows_at_its_place_on_the_disc_alone(condition):
    """All cells of other holes release what they did, and the fold of counts finds hole 8."""
    usual, run = ran(**SCANT), ran(**SCANT, **{f"disc__{condition}_holes": "8"})
    hole = np.arange(len(run.cells)) % BENCH.disc.cells
    same = usual.cells.released == run.cells.released
    assert same[hole != 7].all() and not same[hole == 7].all()
    plugged = run.cells.reason == losses.PLUGGED
    assert np.array_equal(plugged, (hole == 7) & (condition == "plugged"))
    assert failing_holes(run) == [7]
    assert failing_holes(usual) == []  # negative control


def test_plugged_holes_make_a_pattern_every_so_many_seeds():
    """Skips of every sixth hole stand six cells apart, whatever else fails."""
    run = ran(disc__plugged_holes="every 6", run__turns=60).cells
    plugged = np.flatnonzero(run.reason == losses.PLUGGED)
    assert np.array_equal(plugged, np.arange(5, len(run), 6))
    assert (run.joined[plugged] == 0).all()


def test_a_disc_that_runs_out_skips_more_on_one_side():
    """Once a turn: the wave of skips around the disc, against its standard error."""

    def wave(skips, holes):
        turns = np.exp(2j * np.pi * np.arange(len(skips)) / holes)
        sd = math.sqrt(skips.mean() * (1 - skips.mean()) / 2 / len(skips))
        return abs((skips * turns).mean()) / sd  # Rayleigh: over 4.4 once in 16,000

    assert wave(*skips_of(hole_spread=0.0, run_out=0.2)) > 8
    assert wave(*skips_of(hole_spread=0.0, run_out=0.0)) < 4.4  # negative control


def test_drop_time_spreads_more_at_a_faster_disc():
    """From 0.09 to 0.22 m/s at the holes the spread of the time of fall grows."""
    slow, fast = (
        measured(disc__cells=cells, disc__circle_radius=0.0805, demand__speed=6 / 3.6)
        for cells in (55, 22)
    )
    speeds = [part.scenario.peripheral_speed for part in (slow, fast)]
    assert speeds == pytest.approx([0.092, 0.23], abs=0.002)
    assert z_between(slow, fast, "drop_time.sd") > 4


def test_release_scatter_alone_falls_with_disc_speed():
    """Without contacts and launch spread, seeds leave and land closer in time at a faster disc."""
    quiet = dataclasses.replace(
        USUAL, contacts=0.0, curvature_contacts=0.0, launch_spread=0.0, eccentricity=0.0
    )
    spreads = []
    for cells in (44, 18):
        scenario = BENCH.replace(disc__cells=cells, seed__size_cv=0.0)
        run = simulate(scenario, stations=stations_of(scenario, quiet))
        late = run.seeds.landing_time - run.seeds.cell / scenario.cell_rate
        spreads.append((np.log(late.std(ddof=1)), len(late)))
    (slow, n), (fast, k) = spreads
    # SE of the logarithm of an SD, with room for a kurtosis of 9: sqrt(2/n)
    assert (slow - fast) / math.sqrt(2 / n + 2 / k) > 4


@pytest.mark.parametrize("speed", [4, 7, 10])
@pytest.mark.parametrize("vacuum", [1.5e3, 4e3])
def test_a_field_is_never_better_than_the_bench(speed, vacuum):
    setting = {"demand__speed": speed / 3.6, "vacuum__vacuum": vacuum}
    bench, field = measured(**setting), measured(**setting, **FIELD)
    assert z_between(bench, field, "spacing.sd") > 3
    for key, worse in (("cells.skip", 1), ("per_spacing.quality", -1), ("precision", 1)):
        assert z_between(bench, field, key) * worse > -4, key


def test_harder_shaking_loses_seeds():
    hard = {**FIELD, **SCANT, "row_unit__shock_per_speed": 9.8}
    assert z_between(measured(**FIELD, **SCANT), measured(**hard), "cells.skip") > 4
    assert measured(**hard).reasons[losses.SHAKEN] > 0
    assert measured(**SCANT).reasons[losses.SHAKEN] == 0


def test_a_gate_too_low_and_one_too_high_fail_for_opposite_reasons():
    low, usual, high = (measured(pool__gate_opening=gate).reasons for gate in (0.012, 0.052, 0.08))
    starved = [losses.LOW_POOL, losses.POOL_EMPTY]
    assert low[starved].sum() > usual[starved].sum() + 4 * math.sqrt(low[starved].sum())
    assert low[losses.KNOCKED] == usual[losses.KNOCKED] == 0
    assert high[losses.KNOCKED] > 4 * math.sqrt(high[losses.KNOCKED])
    assert high[starved].sum() <= usual[starved].sum()
    # of the few seeds that a cell still draws some do not hold, but that is not what it lacks
    spared = [losses.NOT_JOINED, losses.NOT_HELD]
    assert low[spared].sum() < 0.05 * low[starved].sum()


def test_a_pool_skips_the_more_the_thinner_it_is():
    """Down to nothing, and there is no step on the way."""
    rates = -np.log(empty_at(1.5e3, level=np.linspace(0.0, 0.02, 81)))
    assert rates[0] == 0
    assert np.all(np.diff(rates) > 0)
    assert np.diff(rates).max() < 0.1 * rates[-1]


def test_a_low_pool_is_no_lack_of_vacuum():
    """What is missed for want of seeds at the disc counts to the pool."""
    usual = measured(**SCANT).reasons
    low = measured(**SCANT, **pool_of(0.5)).reasons
    assert low[losses.LOW_POOL] > 100 > usual[losses.LOW_POOL]
    assert low[losses.POOL_EMPTY] == usual[losses.POOL_EMPTY] == 0


@pytest.mark.parametrize("change", [{"sensor__detection": 0.95}, {"sensor__beam_height": 0.05}])
def test_what_the_sensor_misses_leaves_the_truth(change):
    clean, dull = measured(**LOOSE), measured(**LOOSE, **change)
    dull_seeds = ran(**LOOSE, **change).seeds
    for name, column in ran(**LOOSE).seeds.columns():
        same = np.array_equal(getattr(dull_seeds, name), column)
        assert same == (name != "seen"), name
    for key in ("per_spacing.multiple", "per_spacing.miss", "precision"):
        assert dull[key] == clean[key]
    assert dull["sensor.seen"].value < clean["sensor.seen"].value


def test_a_start_from_rest_spaces_the_first_seeds_widely():
    """The belt runs while the disc gains speed: first gaps are wide, later ones as usual."""
    ramp = 20.0
    gaps = {}
    for seconds in (0.0, ramp):
        run = ran(drive__start_ramp=seconds, run__turns=30)
        time = run.seeds.landing_time[1:]
        gaps[seconds] = np.diff(run.seeds.position) / run.scenario.spacing, time < ramp
    (steady, first), (ramped, early) = gaps[0.0], gaps[ramp]

    def z(a, b):
        return (a.mean() - b.mean()) / math.sqrt(a.var() / len(a) + b.var() / len(b))

    assert z(ramped[early], steady[first]) > 4
    assert abs(z(ramped[~early], steady[~first])) < 4  # negative control
