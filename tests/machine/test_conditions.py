"""Conditions of work: closed forms, limits at zero, signs, both engines, and wider intervals."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.machine.air import outside_density
from metersim.machine.around import Conditions
from metersim.machine.coefficients import USUAL
from metersim.machine.conditions import InEffect, angle_at, fall_in_air, slowness_at
from metersim.machine.heap import exit_level, tilted_angle
from metersim.machine.moment import Moment
from metersim.machine.posterior import shipped_posterior
from metersim.machine.stations import stations_of
from metersim.questions.list.equations import worked
from metersim.questions.shared.unknowns import run_draws, spread
from metersim.run.simulation import simulate
from tests.strategies import BENCH, LOTS, bytes_of, measured, unlike, z_between

TALC = {"conditions__flow_agent": "talc"}
GRAPHITE = {"conditions__flow_agent": "graphite"}
DAMP = {"conditions__dampness": 1.0}
OPEN = {"run__turns": 250, "disc__hole_diameter": 5.2e-3}
SCANT = {**OPEN, "vacuum__vacuum": 2e3}
LOW_GATE = {"run__turns": 100, "pool__gate_opening": 0.036}


def on(degrees, way="along"):
    """Change of the slope of the ground."""
    return {f"conditions__slope_{way}": math.radians(degrees)}


def in_effect(lot=BENCH.lot, coefficients=USUAL, **conditions):
    """Lot and coefficients in effect."""
    return InEffect.of(lot, coefficients, Conditions(**conditions))


def chances(vacuum=4e3, level=0.041, coefficients=USUAL, **changes):
    """Chances of a cell on the bench with some changes, by default at its usual level."""
    pickup = stations_of(BENCH.replace(**changes), coefficients).pickup
    return pickup.chances(vacuum, Moment(speed=BENCH.peripheral_speed, level=level))


# ---------------------------------------------------------------- limits


def test_dry_seed_without_an_agent_is_the_lot_itself():
    lot, k = in_effect()
    assert lot is BENCH.lot and k is USUAL
    far = dataclasses.replace(USUAL, talc_friction=0.5, damp_span=9.0, tilt_follow=0.1)
    assert in_effect(coefficients=far)[1] is far


def test_an_agent_that_does_nothing_changes_nothing():
    """The limit of its coefficients at one and zero, to rounding of one angle."""
    idle = dataclasses.replace(USUAL, talc_friction=1.0, talc_drying=0.0)
    lot, k = in_effect(coefficients=idle, flow_agent="talc")
    assert k == idle
    assert lot.repose_angle == pytest.approx(BENCH.lot.repose_angle, rel=1e-15)
    whole = dataclasses.replace(USUAL, talc_friction=1.0, talc_drying=1.0)
    assert in_effect(coefficients=whole, flow_agent="talc", dampness=1.0)[1] == whole


def test_a_little_dampness_does_little():
    """Its effect falls with it, linearly: there is no step at zero."""
    dry = chances()
    apart = [chances(conditions__dampness=d).later - dry.later for d in (1e-6, 2e-6)]
    assert 0 < apart[0] < 1e-4 * dry.later
    assert apart[1] / apart[0] == pytest.approx(2, rel=1e-4)


def test_zero_slope_and_usual_weather_leave_every_byte():
    """Whatever the coefficients of effects that are not used; another slope does not."""
    far = dataclasses.replace(USUAL, talc_friction=0.5, damp_slowness=9.0, tilt_follow=0.1)
    short = BENCH.replace(run__turns=10)
    other = dataclasses.replace(short, coefficients=far)
    assert bytes_of(simulate(short)) == bytes_of(simulate(other))
    tilted = dataclasses.replace(other, conditions=Conditions(slope_along=0.1))
    assert bytes_of(simulate(tilted)) != bytes_of(simulate(short))


def test_stations_in_usual_conditions_have_the_numbers_of_the_lot():
    made = stations_of(BENCH)
    assert made.tube.terminal_velocity == BENCH.lot.terminal_velocity
    assert made.gate.slope == math.tan(BENCH.lot.repose_angle)
    levels = np.array([0.0, 1e-3, 0.02, 0.041, 0.1])
    assert (made.pickup.leaving(levels) == levels).all()
    assert BENCH.heap_slope == made.gate.slope


# ---------------------------------------------------------------- closed forms


def test_values_in_effect_by_hand():
    """Graphite on half-damp seed, with round coefficients (derived)."""
    k = dataclasses.replace(
        USUAL,
        graphite_friction=0.8,
        graphite_drying=0.5,
        damp_friction=1.0,
        damp_avalanche=2.0,
        damp_span=3.0,
        damp_slowness=0.4,
        seconds_friction=2.0,
        fill_friction=1.0,
        draw_slowness=2.0,
        seconds=0.5,
    )
    lot, found = in_effect(coefficients=k, flow_agent="graphite", dampness=0.5)
    # a quarter of stickiness is left, so friction is 0.8 (1 + 0.25) = 1
    assert lot.repose_angle == pytest.approx(BENCH.lot.repose_angle)
    assert found.avalanche_angle == pytest.approx(1.5 * USUAL.avalanche_angle)
    assert found.arch_steepness == pytest.approx(USUAL.arch_steepness / 1.75)
    assert found.arch_clearing == pytest.approx(USUAL.arch_clearing / 1.75)
    assert found.arch_clearing_by_shock == pytest.approx(USUAL.arch_clearing_by_shock / 1.75)
    assert found.draw_slowness == pytest.approx(2.0 * 1.1)
    assert found.seconds == pytest.approx(0.5)
    lot, found = in_effect(coefficients=k, flow_agent="graphite")
    assert math.tan(lot.repose_angle) == pytest.approx(0.8 * math.tan(BENCH.lot.repose_angle))
    assert found.seconds == pytest.approx(0.5 * 0.64)
    assert found.draw_slowness == pytest.approx(2.0 / 0.8)
    untouched = {"resistance", "loosening", "knock", "hop", "contacts", "seat_push"}
    assert all(getattr(found, name) == getattr(k, name) for name in untouched)


def test_an_angle_goes_and_comes_back():
    angles = np.array([0.2, 0.4, 0.7])
    assert angle_at(angles, 1.0) == pytest.approx(angles, rel=1e-15)
    assert angle_at(angle_at(angles, 0.7), 1 / 0.7) == pytest.approx(angles)
    assert slowness_at(2.0, 0.5, 0.0, 2.0, 9.0) == pytest.approx(8.0)


@pytest.mark.parametrize("name", sorted(LOTS))
def test_every_lot_can_be_treated_in_every_draw(name):
    """Values stay in the ranges of lot and coefficients, with a slope besides."""
    across = math.radians(25)
    for number in range(0, 256, 16):
        k = shipped_posterior().draw(number)
        for agent in ("none", "graphite", "talc"):
            for dampness in (0.0, 0.5, 1.0):
                lot, made = in_effect(LOTS[name], k, flow_agent=agent, dampness=dampness)
                for sign in (-1, 0, 1):
                    angles = lot.repose_angle, lot.repose_angle + made.avalanche_angle
                    rest, steep = (tilted_angle(one, sign * across) for one in angles)
                    assert 0 < rest <= steep < math.pi / 2


def test_a_heap_on_a_slope_by_hand():
    """A heap of 30 degrees lies at 20 and 40 to the floor on 10 degrees across (derived)."""
    ten, thirty = math.radians(10), math.radians(30)
    assert tilted_angle(thirty, ten) == pytest.approx(math.radians(20))
    assert tilted_angle(thirty, -ten) == pytest.approx(math.radians(40))
    assert 0 < tilted_angle(thirty, math.radians(40)) < math.radians(2)


def test_the_level_at_the_exit_by_hand():
    """A narrow pool turns about its middle; a wide one reaches as far as the circle (derived)."""
    slope = math.atan(0.1)
    assert exit_level(0.04, slope, 0.06, 0.11, 1.0) == pytest.approx(0.04 - 0.003)
    assert exit_level(0.04, -slope, 0.06, 0.11, 1.0) == pytest.approx(0.04 + 0.003)
    chord = math.sqrt(0.04 * 0.18)
    assert exit_level(0.04, slope, 9.0, 0.11, 1.0) == pytest.approx(0.04 - 0.1 * chord)
    assert exit_level(0.04, slope, 0.06, 0.11, 0.0) == 0.04
    assert exit_level(0.002, 0.4, 0.3, 0.11, 1.0) == 0 == exit_level(0.0, -0.4, 0.3, 0.11, 1.0)


def test_the_two_halves_of_a_pool_share_its_seeds():
    """What leaves one side comes to the other: both levels lie about that of the middle."""
    for degrees in (2, 5, 9):
        up, down = (
            float(stations_of(BENCH.replace(**on(sign * degrees))).pickup.leaving(0.041))
            for sign in (1, -1)
        )
        assert up < 0.041 < down and up + down == pytest.approx(0.082, rel=1e-12)


def test_thin_air_lets_seeds_fall_faster():
    """Terminal velocity goes as the inverse root of density; 0 degC against 20 by hand."""
    assert fall_in_air(10.0, 0.3, 1.2) == pytest.approx(20.0)
    cold = stations_of(BENCH.replace(conditions__temperature=273.15)).tube.terminal_velocity
    usual = BENCH.lot.terminal_velocity
    assert cold == pytest.approx(usual * math.sqrt(273.15 / 293.15), rel=1e-12)
    high = BENCH.replace(conditions__altitude=3000.0)
    share = outside_density(293.15, 3000.0) / outside_density(293.15, 0.0)
    assert 0.6 < share < 0.75
    assert stations_of(high).tube.terminal_velocity == pytest.approx(usual / math.sqrt(share))


def test_the_worked_example_follows_the_conditions():
    """It ends where the pick-up does, with an agent, dampness and slopes."""
    scenario = BENCH.replace(**TALC, **DAMP, **on(8), **on(5, "across"))
    stations = stations_of(scenario)
    level = stations.gate.level(stations.gate.full(Moment()))
    at = Moment(speed=scenario.peripheral_speed, level=level)
    found = stations.pickup.chances(scenario.vacuum.vacuum, at)
    assert worked(scenario)[-1].result == pytest.approx(math.exp(-found.rate), rel=1e-12)
    names = [step.equation.name for step in worked(scenario)]
    assert "exit_level" in names and "tilted_angle" in names
    assert not {"exit_level", "tilted_angle"} & {s.equation.name for s in worked(BENCH)}


# ---------------------------------------------------------------- signs

SIGNS = [
    ("talc", OPEN, TALC, "-cells.double"),
    ("talc", OPEN, TALC, "-per_spacing.multiple"),
    ("graphite", OPEN, GRAPHITE, "-cells.double"),
    ("graphite costs some fill", SCANT, GRAPHITE, "+cells.skip"),
    ("damp", SCANT, DAMP, "+cells.skip"),
    ("damp", SCANT, DAMP, "+cells.double"),
    ("damp, a low gate", LOW_GATE, DAMP, "+cells.skip"),
    ("talc on damp seed", {**SCANT, **DAMP}, TALC, "-cells.skip"),
    ("talc on damp seed", {**SCANT, **DAMP}, TALC, "-cells.double"),
    ("uphill the bed is thinner at the exit", SCANT, on(20), "+cells.skip"),
    ("the gate lies lower: a low pool", SCANT, on(-20, "across"), "+cells.skip"),
]


@pytest.mark.parametrize(
    ("before", "more", "sign"),
    [row[1:] for row in SIGNS],
    ids=[f"{row[0]}: {row[3]}" for row in SIGNS],
)
def test_sign(before, more, sign):
    """Each by over 4 standard errors; other draws make no difference (tests of signs)."""
    z = z_between(measured(**before), measured(**{**before, **more}), sign[1:])
    assert z * (1 if sign[0] == "+" else -1) > 4


def test_talc_costs_a_little_fill():
    """At the pick-up itself: a few in a hundred more empty cells, and a third fewer doubles."""
    dry, treated = chances(2e3), chances(2e3, **TALC)
    assert 1 < dry.rate / treated.rate < 1.1
    assert 0.5 < treated.later / dry.later < 0.9
    assert treated.needed < dry.needed  # less friction makes the pool resist less


def test_a_sticky_lot_arches_and_clears_slowly():
    gates = [stations_of(BENCH.replace(**one)).gate for one in ({}, DAMP, {**DAMP, **TALC})]
    rates = [float(gate.arch_rate(Moment())) for gate in gates]
    clears = [float(gate.clearing_rate(Moment())) for gate in gates]
    assert rates[0] < rates[2] < rates[1] and clears[0] > clears[2] > clears[1]
    dry, damp, _ = gates
    assert damp.steepest > dry.steepest and damp.slope > dry.slope  # the pool breathes more
    breath = [float(gate.full(Moment()) - gate.low(Moment())) for gate in gates]
    assert breath[1] > breath[2] > breath[0]


def test_talc_takes_more_stickiness_than_graphite_which_slides_better():
    talc, graphite = (in_effect(flow_agent=one, dampness=1.0) for one in ("talc", "graphite"))
    assert talc.coefficients.arch_clearing > graphite.coefficients.arch_clearing
    dry = [in_effect(flow_agent=one).lot.repose_angle for one in ("talc", "graphite")]
    assert BENCH.lot.repose_angle > dry[0] > dry[1]


def test_downhill_the_heap_reaches_carried_seeds_and_uphill_it_does_not():
    """With the pool at the carry line; the knocks grow with the slope."""
    knocks = [chances(level=0.05, **on(degrees)).knocks for degrees in (10, 0, -5, -10)]
    assert knocks[0] == knocks[1] == 0 < knocks[2] < knocks[3]
    uphill, level, downhill = (chances(level=0.041, **on(one)) for one in (8, 0, -8))
    assert uphill.needed < level.needed < downhill.needed  # a lower bed resists less
    assert uphill.rate < level.rate < downhill.rate  # and presses fewer seeds to the holes


def test_a_gate_that_lies_higher_fills_the_pool():
    gates = [stations_of(BENCH.replace(**on(one, "across"))).gate for one in (-10, 0, 10)]
    levels = [gate.full_level for gate in gates]
    assert levels == sorted(levels) and levels[0] < levels[1] < levels[2]
    fills = [BENCH.replace(**on(one, "across")).pool_fill for one in (-10, 0, 10)]
    assert fills[0] < fills[1] < fills[2]
    for gate, fill in zip(gates, fills, strict=True):
        seed = BENCH.lot.seed_mass
        assert float(gate.full(Moment())) * seed == pytest.approx(fill, abs=seed)


def test_a_pool_of_treated_seed_is_filled_as_the_gate_fills_it():
    """The seed in the hopper stays the lot; what the pool holds follows what is on the seed."""
    for changes in (TALC, DAMP):
        scenario = BENCH.replace(**changes)
        assert scenario.seeds is BENCH.seeds
        full = float(stations_of(scenario).gate.full(Moment()))
        assert full * BENCH.lot.seed_mass == pytest.approx(
            scenario.pool_fill, abs=BENCH.lot.seed_mass
        )
    assert BENCH.replace(**DAMP).pool_fill < BENCH.pool_fill < BENCH.replace(**TALC).pool_fill


def test_warm_or_high_air_lets_seeds_land_sooner():
    """The mean time of a fall is shorter; slightly so, as maize hardly feels the air."""
    runs = [
        simulate(BENCH.replace(run__turns=20, **one))
        for one in ({}, {"conditions__temperature": 313.15}, {"conditions__altitude": 4000.0})
    ]
    times = [float(np.mean(run.seeds.landing_time - run.seeds.release_time)) for run in runs]
    assert times[0] > times[1] > times[2] > 0.95 * times[0]


# ---------------------------------------------------------------- both engines


@pytest.mark.parametrize(
    "changes",
    [
        {**TALC, **on(-12), "conditions__temperature": 310.0},
        {**DAMP, **LOW_GATE, **on(10)},
        {**GRAPHITE, "conditions__dampness": 0.5, **on(-15, "across")},
    ],
    ids=["talc downhill", "damp uphill", "graphite across"],
)
def test_both_engines_leave_the_same(changes):
    scenario = BENCH.replace(**{**changes, "run__turns": 20})
    assert unlike(simulate(scenario, engine="events"), simulate(scenario, engine="arrays")) == []


# ---------------------------------------------------------------- intervals


NAMES = tuple(name for name in vars(USUAL) if name not in shipped_posterior().varied)
HELD = dataclasses.replace(shipped_posterior(), held=NAMES)  # the control: nothing is drawn anew
WIDE_HOLE = {"disc__hole_diameter": 5.2e-3, "run__turns": 50}


def about(meter, **changes):
    """The bench with some changes, and the draws of a meter."""
    return dataclasses.replace(BENCH.replace(**WIDE_HOLE, **changes), meter=meter)


def doubles(*scenarios):
    """Doubles in each draw of the machine, on common random numbers; a row a scenario."""
    rows = run_draws(*scenarios, draws=16, seed=1, cells=1500)
    return np.array([[one["cells.double"].value for one in row] for row in rows]).T


@pytest.mark.slow
@pytest.mark.parametrize("changes", [DAMP, GRAPHITE], ids=["damp", "graphite"])
def test_an_effect_widens_its_draws_and_what_does_without_it_stays(changes):
    """Of levels and, more, of the change that the effect makes; doubles of damp seed level off."""
    plain = doubles(about(HELD), about(None))
    assert (plain[0] == plain[1]).all()
    still, wide = np.log(doubles(about(HELD, **changes), about(None, **changes)))
    assert np.std(wide) > 1.05 * np.std(still)
    before = np.log(plain[0])
    assert np.std(wide - before) > 1.3 * np.std(still - before)


@pytest.mark.slow
@pytest.mark.parametrize(("changes", "wider"), [(DAMP, True), ({}, False)], ids=["damp", "dry"])
def test_the_model_part_of_an_interval_is_wider_with_an_effect_alone(changes, wider):
    kept, drawn = (spread(about(meter, **changes), draws=16) for meter in (HELD, None))
    widths = [one.parts("cells.double")["model"] for one in (kept, drawn)]
    apart = [math.log(one.high / one.low) for one in widths]
    if wider:
        assert apart[1] > 1.02 * apart[0]
    else:
        assert widths[0] == widths[1]
