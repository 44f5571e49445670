"""Air: density, leaks, pipes and the fan, and the vacuum of all rows that share a fan."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, root

from metersim.files.faults import BadInput
from metersim.machine.air import (
    fan_loading,
    fan_pressure,
    fan_share,
    in_series,
    leak_conductance,
    open_area,
    outside_density,
    pipe_loss,
    vacuum_behind,
)
from metersim.machine.airline import air_line, full_holes, working_rows
from metersim.machine.holding import DISCHARGE
from metersim.machine.seedlot import AIR_DENSITY
from tests.strategies import BENCH

MACHINE = BENCH.replace(toolbar__rows=16, fan__shut_off=6e3)
STANDARD = {"standard_density": AIR_DENSITY, "shut_off": 6e3, "free_flow": 0.3}
NARROW = {"hoses__pipe_diameter": 0.05, "hoses__hose_diameter": 0.025}
POWERS = (0.5, 1.0, 1.5, 2.0, 2.7, 6.0)


def line_of(**changes):
    """Air line of the machine with some changes."""
    return air_line(MACHINE.replace(**changes))


def at_full_speed(**changes):
    """The same, with the fan at full speed whatever the gauge reads."""
    return dataclasses.replace(line_of(vacuum__vacuum=0.0, **changes), fan_speed=1.0)


def all_full(line, scenario=MACHINE):
    """Air of a line with a seed on every hole of the rows that work."""
    holes = np.full((len(line.pieces), 1), full_holes(scenario))
    return line.solve(line.open_area(holes))


def drawn_areas(rows, ticks=1, seed=3):
    """Open areas of rows at ticks, from sealed to a chamber left open. [m2]"""
    rng = np.random.default_rng(seed)
    return rng.choice([0.0, 5e-5, 1e-4, 5e-4, 1e-2], (rows, ticks)) * rng.uniform(1, 2, ticks)


# the whole network with all pressures and flows as unknowns


def solved_whole(line, areas):
    """Vacuum at the fan and at the ports, from every pressure and every flow as an unknown.

    Unknown are the vacuum at the fan, at each place of the pipe and at each port, and the flows of
    the fan, in each piece of pipe and in each hose.
    """
    rows, scale = len(areas), line.shut_off
    leaks = [DISCHARGE * area * math.sqrt(2 / line.air_density) for area in areas]
    towards = [row + 1 if row < line.left - 1 else row - 1 for row in range(rows)]
    towards = [None if row in (line.left - 1, line.left) else towards[row] for row in range(rows)]

    def off(unknowns):
        at_fan, drawn = unknowns[0] * scale, unknowns[1]
        pipe, port, along, hose = unknowns[2:].reshape(4, rows)
        pipe, port = pipe * scale, port * scale
        ends = [at_fan if one is None else pipe[one] for one in towards]
        used = (drawn / (line.fan_speed * line.free_flow)) ** line.curve_power
        most = line.shut_off * line.air_density / AIR_DENSITY * line.fan_speed**2
        into = [sum(along[j] for j in range(rows) if towards[j] == row) for row in range(rows)]
        return np.concatenate(
            [
                [(most * (1 - used) - at_fan) / scale],
                [drawn - sum(along[j] for j in range(rows) if towards[j] is None)],
                [(ends[j] - pipe[j] - line.pieces[j] * along[j] ** 2) / scale for j in range(rows)],
                [(pipe[j] - port[j] - line.hose * hose[j] ** 2) / scale for j in range(rows)],
                [along[j] - into[j] - hose[j] for j in range(rows)],
                [hose[j] - leaks[j] * math.sqrt(abs(port[j])) for j in range(rows)],
            ]
        )

    flows = [leak * math.sqrt(0.3 * scale) for leak in leaks]
    total = min(sum(flows), 0.9 * line.free_flow * line.fan_speed)
    start = np.concatenate(
        [[0.3, total], np.full(2 * rows, 0.3), np.full(rows, total / rows), flows]
    )
    found = root(off, start, method="hybr", tol=1e-14, options={"maxfev": 20_000})
    assert np.abs(off(found.x)).max() < 1e-12
    return found.x[0] * scale, found.x[1], found.x[2 + rows : 2 + 2 * rows] * scale


@pytest.mark.parametrize("power", [0.7, 2.0, 3.0])
@pytest.mark.parametrize("fan_at", [0.5, 2.0, 3.3, 6.5])
def test_the_reduced_machine_is_the_whole_network(fan_at, power):
    """All pressures and flows as unknowns give the same to 1e-9."""
    line = at_full_speed(
        toolbar__rows=6, hoses__fan_at=fan_at, fan__curve_power=power, fan__free_flow=0.3, **NARROW
    )
    areas = np.array([[1e-4], [3e-4], [0.0], [5e-5], [2e-4], [1e-4]])
    air = line.solve(areas)
    at_fan, flow, port = solved_whole(line, areas[:, 0])
    assert air.at_fan[0] == pytest.approx(at_fan, rel=1e-9)
    assert air.flow[0] == pytest.approx(flow, rel=1e-9)
    assert air.vacuum[:, 0] == pytest.approx(port, rel=1e-9)
    assert np.ptp(port) > 0.05 * at_fan  # so that losses count
    sealed = line.solve(areas * (np.arange(6) != 1)[:, None])  # negative control
    assert np.abs(sealed.vacuum[:, 0] - port).max() > 1e-3 * at_fan


@given(
    rows=st.integers(1, 12),
    place=st.floats(0, 1),
    power=st.sampled_from(POWERS),
    seed=st.integers(0, 10**6),
    gauge=st.integers(0, 1),
)
@settings(max_examples=60, deadline=None)
def test_air_is_conserved_and_falls_from_the_fan_outwards(rows, place, power, seed, gauge):
    """The fan gives what all leaks let in, at its own pressure; no row has more than the fan."""
    line = at_full_speed(
        toolbar__rows=rows,
        hoses__fan_at=0.5 + place * rows,
        hoses__gauge_at=gauge,
        hoses__gauge_error=0.1,
        fan__curve_power=power,
        **NARROW,
    )
    areas = drawn_areas(rows, 5, seed)
    air = line.solve(areas)
    drawn = DISCHARGE * areas * np.sqrt(2 * air.vacuum / line.air_density)
    assert air.flow == pytest.approx(drawn.sum(axis=0), rel=1e-12, abs=1e-15)
    given_by_fan = fan_pressure(
        air.flow, 1.0, line.air_density, AIR_DENSITY, line.shut_off, line.free_flow, power
    )
    assert air.at_fan == pytest.approx(given_by_fan, rel=1e-7, abs=1e-6 * line.shut_off)
    assert np.all(air.vacuum <= air.at_fan * (1 + 1e-12))
    assert air.reading == pytest.approx(1.1 * (air.vacuum[0] if gauge else air.at_fan))


def test_ticks_do_not_touch_one_another():
    """Each tick alone gives what all at once give, to the last bit."""
    line, areas = at_full_speed(**NARROW, fan__curve_power=1.3), drawn_areas(16, 7)
    together = line.solve(areas).vacuum
    for tick in range(7):
        assert np.all(line.solve(areas[:, [tick]]).vacuum[:, 0] == together[:, tick])


# scaling


def test_pressure_goes_with_the_square_of_speed_and_flow_with_speed():
    slow, fast = (dataclasses.replace(at_full_speed(**NARROW), fan_speed=s) for s in (0.4, 0.8))
    areas = drawn_areas(16, 3)
    low, high = slow.solve(areas), fast.solve(areas)
    assert high.vacuum == pytest.approx(4 * low.vacuum, rel=1e-13)
    assert high.flow == pytest.approx(2 * low.flow, rel=1e-13)


@pytest.mark.parametrize("power", POWERS)
def test_pressure_goes_with_density_and_flow_does_not_depend_on_it(power):
    """Leaks, pipes and fan all do so, whatever the curve of the fan."""
    low = at_full_speed(**NARROW, fan__curve_power=power)
    high = at_full_speed(**NARROW, fan__curve_power=power, conditions__altitude=2000.0)
    thinner = high.air_density / low.air_density
    assert thinner == pytest.approx(1.00649 * 275.15 / (1.225 * 288.15), rel=1e-4)
    areas = drawn_areas(16, 3)
    assert high.solve(areas).vacuum == pytest.approx(thinner * low.solve(areas).vacuum, rel=1e-12)
    assert high.solve(areas).flow == pytest.approx(low.solve(areas).flow, rel=1e-12)


def test_a_fan_in_the_mountains_has_to_turn_faster():
    """It gives less at one speed, so its speed goes with the inverse root of density."""
    low, high = line_of(vacuum__vacuum=3e3), line_of(vacuum__vacuum=3e3, conditions__altitude=2e3)
    ratio = low.air_density / high.air_density
    assert ratio > 1.2
    assert high.fan_speed / low.fan_speed == pytest.approx(math.sqrt(ratio), rel=1e-12)


def test_a_pipe_loses_by_the_fifth_power_of_its_bore():
    assert pipe_loss(2.0, 0.05, 1.2, 0.03) == pytest.approx(64 * pipe_loss(1.0, 0.1, 1.2, 0.03))


# signs


def test_unsealed_idle_rows_take_the_vacuum_of_the_others():
    """Common practice, no source: parked rows are sealed."""
    sealed = line_of(toolbar__working="1-8")
    opened = line_of(toolbar__working="1-8", toolbar__parked="open", fan__set_when="sound")
    assert opened.fan_speed == sealed.fan_speed
    with_seals, without = all_full(sealed), all_full(opened)
    assert np.all(without.vacuum < 0.8 * with_seals.vacuum)
    assert without.flow > 1.5 * with_seals.flow
    assert with_seals.reading == pytest.approx(4e3, rel=1e-12)


@pytest.mark.parametrize("fan_at", [0.5, 5.0, 8.5, 16.5])
def test_rows_far_from_the_fan_see_less(fan_at):
    """Row by row outwards, in both wings, when all are alike."""
    line = at_full_speed(hoses__fan_at=fan_at, **NARROW)
    vacuum = line.solve(np.full((16, 1), 1e-4)).vacuum[:, 0]
    left, right = vacuum[: line.left], vacuum[line.left :]
    assert np.all(np.diff(left) > 0) and np.all(np.diff(right) < 0)
    assert len(left) == math.floor(fan_at)
    if fan_at == 8.5:
        assert left == pytest.approx(right[::-1], rel=1e-14)


@given(row=st.integers(0, 15), more=st.floats(1e-6, 1e-2), seed=st.integers(0, 1000))
@settings(max_examples=40, deadline=None)
def test_a_leak_anywhere_lowers_every_vacuum(row, more, seed):
    line, areas = at_full_speed(**NARROW), drawn_areas(16, 1, seed)
    wider = areas.copy()
    wider[row] += more
    before, after = line.solve(areas), line.solve(wider)
    assert np.all(after.vacuum < before.vacuum)
    assert after.flow > before.flow


# limits


def test_without_losses_all_rows_have_the_vacuum_of_the_fan():
    line = dataclasses.replace(at_full_speed(), pieces=(0.0,) * 16, hose=0.0)
    air = line.solve(drawn_areas(16, 4))
    assert np.all(air.vacuum == air.at_fan)


def test_without_leaks_all_rows_have_the_shut_off_pressure():
    line = at_full_speed(**NARROW)
    air = line.solve(np.zeros((16, 2)))
    shut_off = 6e3 * line.air_density / AIR_DENSITY
    assert np.all(air.vacuum == air.vacuum[0, 0]) and np.all(air.flow == 0)
    assert air.vacuum[0, 0] == pytest.approx(shut_off, rel=1e-15)


def test_a_hole_as_wide_as_the_sky_leaves_the_fan_its_free_flow():
    line = dataclasses.replace(at_full_speed(), pieces=(0.0,) * 16, hose=0.0)
    air = line.solve(np.full((16, 1), 100.0))
    assert air.flow[0] == pytest.approx(line.free_flow, rel=1e-6)
    assert air.vacuum.max() < 1e-3


def test_two_pipes_one_after_the_other_are_one_with_both_losses():
    once = in_series(3e-3, 5e4 + 2e4)
    assert in_series(in_series(3e-3, 5e4), 2e4) == pytest.approx(once, rel=1e-14)
    assert vacuum_behind(4e3, 3e-3, 7e4) == pytest.approx(4e3 * (once / 3e-3) ** 2, rel=1e-14)


# the fan


@pytest.mark.parametrize("loading", [0.0, 1e-3, 0.3, 1.0, 1.7, 40.0, 1e4])
def test_a_quadratic_fan_has_a_closed_form(loading):
    assert fan_share(loading, 2.0) == pytest.approx(1 / (1 + loading**2), rel=1e-14)


@pytest.mark.parametrize("power", POWERS)
@pytest.mark.parametrize("loading", [0.0, 1e-3, 0.3, 1.0, 1.7, 40.0, 1e3])
def test_the_share_is_the_root_that_a_bracket_finds(loading, power):
    """Of the fan's curve and of the machine's, worked out from pressures and flows."""
    conductance = loading * 0.3 / math.sqrt(6e3)

    def off(pressure):
        flow = conductance * math.sqrt(pressure)
        return 6e3 * (1 - (flow / 0.3) ** power) - pressure

    found = brentq(off, 0.0, 6e3, xtol=1e-300, rtol=1e-15)
    given_loading = fan_loading(conductance, AIR_DENSITY, **STANDARD)
    assert given_loading == pytest.approx(loading, rel=1e-14)
    assert 6e3 * fan_share(given_loading, power) == pytest.approx(found, rel=1e-12)


def test_the_curve_of_a_fan_runs_from_shut_off_to_free_flow_and_never_below_nothing():
    known = {"air_density": AIR_DENSITY, **STANDARD, "curve_power": 2.0}
    assert fan_pressure(0.0, 1.0, **known) == 6e3
    assert fan_pressure(np.array([0.3, 0.5]), 1.0, **known).tolist() == [0.0, 0.0]
    assert fan_pressure(0.15, 1.0, **known) == pytest.approx(0.75 * 6e3)
    assert fan_pressure(0.3, 2.0, **known) == pytest.approx(4 * 0.75 * 6e3)


# published values


@pytest.mark.parametrize(
    ("celsius", "altitude", "density"),
    [(15, 0, 1.225), (8.5, 1000, 1.112), (2, 2000, 1.007), (-4.5, 3000, 0.909)],
)
def test_density_is_that_of_the_standard_atmosphere(celsius, altitude, density):
    """Table of the International Standard Atmosphere, from memory, in three digits."""
    assert outside_density(celsius + 273.15, altitude) == pytest.approx(density, abs=6e-4)


def test_a_hole_of_10_mm_lets_through_what_the_orifice_equation_says():
    """Derived: at 5 kPa the jet has 91.3 m/s, and 0.62 of 78.54 mm2 let 4.445 l/s through."""
    area = open_area(1.0, 0.01, 0.0, 0.0)
    flow = leak_conductance(area, 1.2, DISCHARGE) * math.sqrt(5e3)
    assert flow == pytest.approx(4.445e-3, rel=1e-3)


# the scenario


@pytest.mark.parametrize("gauge_at", [0, 1, 7])
@pytest.mark.parametrize("error", [-0.2, 0.0, 0.25])
def test_the_gauge_reads_what_is_asked_for_when_all_discs_are_full(gauge_at, error):
    """A gauge that reads too much has less behind it: r / (1 + e)."""
    line = line_of(hoses__gauge_at=gauge_at, hoses__gauge_error=error, vacuum__vacuum=3e3, **NARROW)
    air = all_full(line)
    assert air.reading[0] == pytest.approx(3e3, rel=1e-12)
    behind = air.vacuum[gauge_at - 1, 0] if gauge_at else air.at_fan[0]
    assert behind == pytest.approx(3e3 / (1 + error), rel=1e-12)
    assert 0 < line.fan_speed < 1


@pytest.mark.parametrize(
    "fault",
    [{"vacuum__seal_wear": 0.5}, {"toolbar__parked": "open"}, {"vacuum__chamber_open": True}],
)
def test_a_fan_set_in_sound_state_reads_less_with_a_fault(fault):
    """A fan that was set as things are reads what is asked for, and turns faster."""
    machine = {"toolbar__working": "1-3", "toolbar__rows": 4, "vacuum__vacuum": 500.0}
    machine |= {"fan__free_flow": 0.5}
    sound = line_of(**machine, fan__set_when="sound")
    faulty = line_of(**machine, **fault, fan__set_when="sound")
    reset = line_of(**machine, **fault)
    assert faulty.fan_speed == sound.fan_speed < reset.fan_speed
    assert all_full(sound).reading[0] == pytest.approx(500, rel=1e-12)
    assert all_full(faulty).reading[0] < 499
    assert all_full(reset).reading[0] == pytest.approx(500, rel=1e-12)


def test_a_gap_counts_where_the_fan_was_set_as_things_are():
    gaps = np.where(np.arange(16) == 4, 3e-4, 0.0)
    machine = MACHINE.replace(vacuum__vacuum=3e3)
    plain, leaky = air_line(machine), air_line(machine, gap_leak=gaps)
    assert leaky.fan_speed > plain.fan_speed
    sound = air_line(machine.replace(fan__set_when="sound"), gap_leak=gaps)
    assert sound.fan_speed == plain.fan_speed
    holes = np.full((16, 1), full_holes(machine))
    air = leaky.solve(leaky.open_area(holes, gaps[:, None]))
    assert air.reading[0] == pytest.approx(3e3, rel=1e-12)


def test_open_areas_add_up_row_by_row():
    """Working rows have the holes that are given, parked ones all in the chamber or none."""
    machine = {"toolbar__working": "1 3", "toolbar__rows": 4, "vacuum__seal_wear": 0.5}
    machine |= {"fan__free_flow": 1.0}
    hole = math.pi * 4.5e-3**2 / 4
    leak = 20e-6 + 150e-6
    opened = line_of(**machine, toolbar__parked="open").open_area(np.full((4, 1), 7.0), 1e-5)
    assert opened[:, 0] == pytest.approx(
        [7 * hole + leak + 1e-5, 27.5 * hole + leak] * 2, rel=1e-12
    )
    sealed = line_of(**machine).open_area(np.full((4, 1), 7.0), 1e-5)
    assert sealed[:, 0] == pytest.approx([7 * hole + leak + 1e-5, 0.0] * 2, rel=1e-12)


def test_rows_differ_by_their_draws_and_their_own_settings():
    machine = MACHINE.replace(toolbar__rows=3, vacuum__vacuum=2e3, fan__free_flow=1.0)
    own = machine.replace(vacuum__chamber_open=True, disc__hole_diameter=3e-3)
    line = air_line(
        machine, rows={2: own}, seal_draws=[0.0, 1.0, -1.0], vacuum_draws=[0.0, 2.0, -1.0]
    )
    seals = 20e-6 * np.exp([0.0, 0.2, -0.2])
    assert line.leaks == pytest.approx(seals + [0.0, 0.01, 0.0], rel=1e-12)
    assert line.hole_diameters == (4.5e-3, 3e-3, 4.5e-3)
    assert line.factors == pytest.approx(np.exp([0.0, 0.02, -0.01]), rel=1e-12)
    air = all_full(line)
    assert air.vacuum[1, 0] < 0.2 * air.vacuum[0, 0]
    plain = all_full(dataclasses.replace(line, factors=(1.0,) * 3))
    assert air.vacuum / plain.vacuum == pytest.approx(np.array(line.factors)[:, None])
    assert air.reading == plain.reading


def test_without_a_fan_the_vacuum_is_as_stated():
    line = air_line(BENCH.replace(toolbar__rows=5, hoses__gauge_error=0.1))
    air = line.solve(drawn_areas(5, 3))
    assert np.all(air.vacuum == 4e3) and np.all(air.at_fan == 4e3)
    assert air.reading == pytest.approx(4.4e3)


def test_a_usual_fan_goes_with_the_number_of_rows():
    """So machines of any width turn it nearly as fast, and can set the usual vacuum."""
    speeds = [line_of(toolbar__rows=rows).fan_speed for rows in (1, 4, 16, 48)]
    assert max(speeds) < 0.95 and np.ptp(speeds) < 0.02


def test_a_fan_that_stands_gives_nothing():
    air = all_full(line_of(vacuum__vacuum=0.0))
    assert np.all(air.vacuum == 0) and np.all(air.reading == 0) and np.all(air.flow == 0)


@pytest.mark.parametrize(
    ("changes", "key", "words"),
    [
        ({"fan__shut_off": 0.0}, "fan.shut_off_kpa", "no fan and a vacuum at the hole, 4 kPa"),
        ({"fan__shut_off": 4e3}, "fan.shut_off_kpa", "not 4 kPa: ask for less vacuum, mend"),
        ({"toolbar__working": "1-4", "toolbar__parked": "open"}, "fan.shut_off_kpa", "seal the"),
        ({"hoses__fan_at": 17.0}, "hoses.fan_at", "give 0.5 to 16.5"),
        ({"hoses__gauge_at": 17}, "hoses.gauge_at", "1 to 16"),
        ({"toolbar__working": "4-17"}, "toolbar.working", "'4-17' is not among the rows 1 to 16"),
        ({"toolbar__working": "0"}, "toolbar.working", "1 to 16"),
        ({"toolbar__working": "5-4"}, "toolbar.working", "1 to 16"),
        ({"toolbar__working": "left"}, "toolbar.working", "'left' is no row"),
        ({"toolbar__working": " , "}, "toolbar.working", "no row works"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(changes, key, words):
    with pytest.raises(BadInput) as error:
        line_of(**changes)
    (fault,) = error.value.faults
    assert fault.key == key and words in fault.message


def test_a_weak_fan_says_what_it_gives():
    """What it says is what it gives at full speed; a little less can be set."""
    with pytest.raises(BadInput, match=r"the gauge reads (\d\.\d+) kPa") as error:
        line_of(fan__shut_off=4e3)
    most = float(str(error.value).split("reads ")[1].split()[0]) * 1e3
    exact = all_full(at_full_speed(fan__shut_off=4e3)).reading[0]
    assert most == pytest.approx(exact, rel=5e-3)
    assert line_of(fan__shut_off=4e3, vacuum__vacuum=exact * 0.9999).fan_speed > 0.9999
    us = dataclasses.replace(MACHINE.replace(fan__shut_off=4e3), units="us")
    with pytest.raises(BadInput, match=r"not 16\.1 inH2O"):
        air_line(us)


def test_rows_are_read_from_numbers_and_ranges():
    """Both marks between them, in any order, each once."""
    for said, rows in (("1-4 6", (1, 2, 3, 4, 6)), ("6, 2-3 3", (2, 3, 6)), ("16", (16,))):
        assert working_rows(MACHINE.replace(toolbar__working=said)) == rows
    assert working_rows(MACHINE) == tuple(range(1, 17))


def test_areas_of_another_machine_are_refused():
    with pytest.raises(ValueError, match="5 rows for a machine of 16"):
        at_full_speed().solve(np.zeros((5, 1)))
