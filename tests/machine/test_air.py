"""Air: density, leaks, pipes and the fan, and the vacuum of all rows that share a fan."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, root

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
from metersim.machine.holding import DISCHARGE
from metersim.machine.seedlot import AIR_DENSITY
from tests.airlines import NARROW, all_full, at_full_speed, drawn_areas, line_of

STANDARD = {"standard_density": AIR_DENSITY, "shut_off": 6e3, "free_flow": 0.3}
POWERS = (0.5, 1.0, 1.5, 2.0, 2.7, 6.0)


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


def test_a_pipe_loses_by_the_fifth_power_of_its_bore_and_a_fitting_by_the_fourth():
    pipe, wide = pipe_loss(2.0, 0.05, 1.2, 0.03, 0.0), pipe_loss(1.0, 0.1, 1.2, 0.03, 0.0)
    assert pipe == pytest.approx(64 * wide, rel=1e-14)
    fitting, wide = pipe_loss(0.0, 0.05, 1.2, 0.03, 1.5), pipe_loss(0.0, 0.1, 1.2, 0.03, 1.5)
    assert fitting == pytest.approx(16 * wide, rel=1e-14)
    assert pipe_loss(2.0, 0.05, 1.2, 0.03, 1.5) == pytest.approx(pipe + fitting, rel=1e-14)
    head = 1.2 * 20.0**2 / 2  # of air at 20 m/s, Pa
    flow = 20.0 * math.pi * 0.05**2 / 4
    assert fitting * flow**2 == pytest.approx(1.5 * head, rel=1e-14)


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
