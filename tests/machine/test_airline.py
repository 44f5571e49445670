"""The air of a scenario: where the fan was set, what leaks, and what cannot be."""

import dataclasses
import math

import numpy as np
import pytest

from metersim.files.faults import BadInput
from metersim.machine.airline import air_line, chamber_vacuum, full_holes, most_vacuum
from metersim.machine.reading import load_scenario
from metersim.machine.rows import row_scenario
from metersim.machine.turning import gap_leak
from tests.airlines import MACHINE, NARROW, all_full, at_full_speed, drawn_areas, line_of
from tests.strategies import BENCH


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
    line = air_line(BENCH.replace(hoses__gauge_error=0.1))
    air = line.solve(drawn_areas(1, 3))
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
        ({"fan__shut_off": 0.0}, "fan.shut_off_kpa", "0 kPa is no fan"),
        ({"fan__shut_off": 4e3}, "fan.shut_off_kpa", "not 4 kPa: ask for less vacuum, mend"),
        ({"toolbar__working": "1-4", "toolbar__parked": "open"}, "fan.shut_off_kpa", "seal the"),
        ({"hoses__fan_at": 17.0}, "hoses.fan_at", "17 is no row"),
        ({"hoses__gauge_at": 17}, "hoses.gauge_at", "has 16"),
        (
            {"toolbar__working": "4-17"},
            "toolbar.working",
            "'4-17' names no rows",
        ),
        ({"toolbar__working": "0"}, "toolbar.working", "'0' names no rows"),
        ({"toolbar__working": "5-4"}, "toolbar.working", "'5-4' names"),
        ({"toolbar__working": "left"}, "toolbar.working", "'left' names no rows"),
        ({"toolbar__working": " , "}, "toolbar.working", "names no row; give"),
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


def test_areas_of_another_machine_are_refused():
    with pytest.raises(ValueError, match="5 rows for a machine of 16"):
        at_full_speed().solve(np.zeros((5, 1)))


def test_a_full_disc_leaks_by_a_third_in_the_pool_and_the_rest_of_the_chamber():
    """By hand: of 30 holes 10 are in the pool, half open, and 17.5 hold a seed, a tenth open."""
    assert full_holes(MACHINE) == pytest.approx(10 * 0.5 + 17.5 * 0.1, rel=1e-12)


def test_a_plugged_hole_lets_nothing_through():
    """Every second of 30 holes is plugged, which halves the air of the disc."""
    half = MACHINE.replace(disc__plugged_holes="every 2")
    assert full_holes(half) == pytest.approx(full_holes(MACHINE) / 2, rel=1e-12)
    assert full_holes(half, sound=True) == full_holes(MACHINE)


def test_plugged_holes_raise_the_vacuum_of_a_fan_that_was_set_before():
    """A fan that is set anew gives the vacuum that is asked for."""
    plugged = MACHINE.replace(disc__plugged_holes="every 2", vacuum__vacuum=3e3)
    areas = np.full((16, 1), full_holes(plugged))
    before, anew = (air_line(plugged.replace(fan__set_when=when)) for when in ("sound", "now"))
    assert before.solve(before.open_area(areas)).reading[0] > 3.05e3
    assert anew.solve(anew.open_area(areas)).reading[0] == pytest.approx(3e3, rel=1e-12)


@pytest.mark.parametrize("change", ["chamber_open=true", "seal_wear=1", "running_gap_mm=1.5"])
@pytest.mark.parametrize("row", [2, 5])
def test_the_vacuum_of_the_middle_row_falls_by_a_leak_of_any_row(change, row):
    """It is that of the line with all rows as they are; a row without a change is the control."""
    around = ["rows=8", "shut_off_kpa=6", "free_flow_m3_h=700", "set_when=sound"]
    sound = load_scenario("maize_field", around)
    leaking = load_scenario("maize_field", [*around, f"rows.{row}={change}"])
    own = {row: row_scenario(leaking, row)}
    gaps = np.zeros((8, 1))
    gaps[row - 1] = gap_leak(own[row], own[row].vacuum.vacuum)
    line = air_line(leaking, rows=own)
    full = np.array([[full_holes(own.get(number, leaking))] for number in range(1, 9)])
    exact = line.solve(line.open_area(full, gaps)).vacuum[3, 0]
    assert chamber_vacuum(leaking) == pytest.approx(exact, rel=1e-12)
    assert exact < 0.99 * chamber_vacuum(sound)
    same = load_scenario("maize_field", [*around, f"rows.{row}=notch=1"])
    assert chamber_vacuum(same) == chamber_vacuum(sound)


def test_the_usual_fan_and_the_usual_hoses_by_hand():
    """Free flow of 75 m3/h a row, 0.75 m of pipe of 100 mm, and a hose of 1 m with its ends."""
    line = line_of(conditions__temperature=288.15)
    assert line.free_flow == pytest.approx(16 * 75 / 3600)
    assert line.air_density == pytest.approx(1.225, rel=1e-4)
    head = 1.225 / 2
    pipe, hose = math.pi * 0.1**2 / 4, math.pi * 0.05**2 / 4
    assert line.pieces[:7] == pytest.approx([0.03 * 7.5 * head / pipe**2] * 7, rel=1e-4)
    assert line.pieces[7:9] == pytest.approx([0.03 * 3.75 * head / pipe**2] * 2, rel=1e-4)
    assert line.hose == pytest.approx((0.03 * 20 + 2) * head / hose**2, rel=1e-4)


def test_a_chamber_left_open_has_nearly_no_vacuum_and_takes_that_of_all():
    """Of 16 rows with the usual fan, set when all was sound."""
    machine = MACHINE.replace(fan__set_when="sound")
    line = air_line(machine, rows={4: machine.replace(vacuum__chamber_open=True)})
    vacuum = all_full(line).vacuum[:, 0]
    assert vacuum[3] < 0.05 * 4e3
    assert np.all(np.delete(vacuum, 3) < 0.8 * 4e3)


def test_the_most_vacuum_is_what_a_fan_at_full_speed_gives():
    """closed form: all pressures go with the square of the speed."""
    most = most_vacuum(MACHINE)
    assert air_line(MACHINE.replace(vacuum__vacuum=most * 0.9999)).fan_speed > 0.9999
    with pytest.raises(BadInput):
        air_line(MACHINE.replace(vacuum__vacuum=most * 1.001))
    assert most_vacuum(BENCH) == np.inf


def test_a_worn_seal_of_one_row_is_that_of_no_other():
    """A row has the vacuum that the whole machine gives it; its neighbour keeps nearly all."""
    machine = MACHINE.replace(fan__set_when="sound")
    worn = dataclasses.replace(machine, rows=((5, ("seal_wear=1",)),))
    own, near = (chamber_vacuum(row_scenario(worn, number)) for number in (5, 6))
    plain = chamber_vacuum(machine)
    assert own < 0.97 * plain and near > own
    assert chamber_vacuum(machine.replace(vacuum__seal_wear=1.0)) < 0.7 * plain  # all rows worn
