"""A moment of a run: the records say of each seed where it is, as the meter itself does."""

import numpy as np
import pytest

from metersim.machine.reading import load_scenario
from metersim.machine.stations import CUT, ENTERS, LEAVES, POINTS
from metersim.run.simulation import simulate
from metersim.run.snapshot import NONE, course_of, snapshot, telling_moment

PARTS = ("hopper", "pool", "carried", "falling", "landed")
TIMES = (0.0, 0.7123, 2.2, 3.0517, 4.4, 7.77, 11.01, 15.9)


def parts_of(shown):
    """Seeds in each part of the meter."""
    return [int(np.sum(getattr(shown, name))) for name in PARTS]


@pytest.fixture(
    scope="module",
    params=[
        ["turns=5", "gate_opening_mm=70", "notch=2"],
        ["turns=5", "speed_kmh=9", "start_ramp_s=2", "slip_percent=8"],
    ],
    ids=["high pool", "ramp and slips"],
)
def watched(request):
    """A run, and the seeds in each part of its meter at some times."""
    seen = {}

    def look(meter):
        for time in TIMES:
            yield meter.until(time)
            seen[time] = [getattr(meter, name) for name in PARTS]

    run = simulate(load_scenario("maize_field", request.param), seed=4, visitors=[look])
    return run, seen


def test_each_part_of_the_meter_has_the_seeds_that_it_had(watched):
    run, seen = watched
    inside = {time: parts for time, parts in seen.items() if time}
    assert len(inside) > 5
    assert {time: parts_of(snapshot(run, time)) for time in inside} == inside
    moved = {time: parts_of(snapshot(run, time + 0.3)) for time in inside}
    assert moved != inside


def test_seeds_are_neither_made_nor_lost(watched):
    run, _ = watched
    end = run.seeds.landing_time.max()
    totals = {snapshot(run, time).total for time in np.linspace(0, 1.5 * end, 60)}
    assert len(totals) == 1


def test_before_the_first_cell_nothing_is_on_the_disc(watched):
    run, _ = watched
    shown = snapshot(run, 0.0)
    assert not shown.carried.any() and not any(lost.any() for lost in shown.lost.values())
    assert (shown.released == NONE).all()
    assert not shown.falling and not shown.landed
    first_out = float(course_of(run).times(0, LEAVES))
    assert not snapshot(run, 0.999 * first_out).carried.any()


def test_after_the_last_cell_everything_is_released(watched):
    run, _ = watched
    shown = snapshot(run, 1.5 * float(run.seeds.landing_time.max()))
    assert not shown.carried.any() and not shown.falling
    assert shown.landed == len(run.seeds)
    assert (shown.passage == NONE).all()
    cells = run.scenario.disc.cells
    turns = run.cells.released.reshape(-1, cells)[::-1][:2]
    assert shown.released.tolist() == turns.tolist()


def test_each_hole_has_what_its_record_says_at_its_angle(watched):
    """Just behind each station, a cell has what the stations before it have left on it."""
    run, _ = watched
    course, cells = course_of(run), run.cells
    kept = cells.joined - cells.knocked
    for number in range(40, 75):
        hole = number % run.scenario.disc.cells
        for share, expected in ((0.1, kept), (0.9, kept - cells.swept)):
            angle = POINTS[LEAVES] + share * (POINTS[CUT] - POINTS[LEAVES])
            time = float(course.times(number + angle / course.pitch, ENTERS))
            shown = snapshot(run, time)
            assert shown.passage[hole] == number
            assert shown.turned[hole] == pytest.approx(angle)
            assert shown.carried[hole] == expected[number]
            swept = cells.swept[number] if share > 0.5 else 0
            assert shown.lost["swept"][hole] == swept


def test_holes_are_a_pitch_apart_and_go_round_once(watched):
    run, _ = watched
    turned = np.sort(snapshot(run, 7.77).turned)
    assert turned[0] >= 0 and turned[-1] < 2 * np.pi
    assert np.diff(turned) == pytest.approx(course_of(run).pitch)


def test_the_chosen_moment_has_an_empty_cell_and_a_double_on_the_way():
    run = simulate(load_scenario("maize_field", "turns=60"), seed=2)
    shown = snapshot(run, telling_moment(run))
    carried = shown.carried[shown.on_the_way & (shown.turned > np.radians(160))]
    assert (carried == 0).any() and (carried > 1).any()
    assert shown.time == round(shown.time, 1)
    assert (shown.released != NONE).all()


@pytest.mark.parametrize("time", [-0.1, float("inf"), float("nan")])
def test_other_times_are_refused(watched, time):
    with pytest.raises(ValueError, match="allowed: 0 or more"):
        snapshot(watched[0], time)
