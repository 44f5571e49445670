"""The pass of a row: closed forms of its pieces, and what cannot be read."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from metersim.files.faults import BadInput
from metersim.machine.reading import load_scenario
from metersim.machine.toolbar import row_numbers
from metersim.machine.travel import distance_in, read_profile, time_over
from metersim.measures.limits import cautions
from metersim.run.simulation import simulate

FIELD = load_scenario("maize_field", ["turns=20"])


def way(speeds="steady", rates="steady", off="none"):
    """The pass of the field scenario."""
    return FIELD.replace(travel__speeds=speeds, travel__rates=rates, travel__off=off).way


@given(st.floats(0.1, 8), st.floats(0, 2), st.floats(0, 100))
def test_time_over_is_the_inverse_of_distance(speed, gain, time):
    """Kinematics, there and back."""
    assert time_over(distance_in(time, speed, gain), speed, gain) == pytest.approx(time, abs=1e-9)


knots = st.lists(st.tuples(st.floats(0.5, 20), st.floats(1, 20)), min_size=1, max_size=6)


@given(knots, st.floats(0, 200))
def test_a_way_is_the_integral_of_its_speed(steps, end):
    """Distance against the trapezoidal rule on the speed; time at a distance comes back."""
    times = np.cumsum([0.0, *(gap for gap, _ in steps)])
    speeds = [5.0, *(speed for _, speed in steps)]
    made = way(
        ", ".join(f"{t!r} s {v!r} km/h" for t, v in zip(times.tolist(), speeds, strict=True))
    )
    if made is None:
        return
    at = np.unique(np.concatenate((np.linspace(0, end, 50), times[times < end], [end])))
    plain = np.trapezoid(made.speed_at(at), at)
    assert made.distance_at(end) == pytest.approx(plain, rel=1e-9, abs=1e-9)
    assert made.time_at(made.distance_at(end)) == pytest.approx(end, rel=1e-9, abs=1e-9)


@given(st.floats(0, 60))
def test_planned_seeds_follow_rate_and_stops(end):
    """closed form: rate times row spacing times the distance travelled while the row is on."""
    made = way("0 s 7 km/h", "20 s 90000/ha", "8 s to 10 s")
    v, width = 7 / 3.6, FIELD.demand.row_spacing
    on = min(end, 8) + max(min(end, 20) - 10, 0)
    seeds = width * v * (FIELD.demand.rate * on + 9.0 * max(end - 20, 0))
    assert made.planned(v * end) == pytest.approx(seeds, rel=1e-9, abs=1e-9)
    assert made.part_at(9.0) == 0 and made.turning_at(9.0) == 0


@given(st.floats(0, 50))
def test_the_drive_turns_as_the_plan_says(turned):
    """When the drive has turned so far, as many cells have passed as seeds are planned."""
    made = way("0 s 3 km/h, 6 s 8 km/h", "20 s 90000/ha", "8 s to 10 s")
    time = made.time_of(turned)
    cells = turned * FIELD.demand.speed / FIELD.spacing
    assert made.planned(made.distance_at(time)) == pytest.approx(cells, rel=1e-9, abs=1e-9)


def test_seeds_lie_where_they_are_planned():
    """No seed where the row is off; twice the rate, half the spacing."""
    double = FIELD.demand.rate * 2e4
    run = simulate(
        FIELD.lasting(900).replace(travel__rates=f"60 m {double}/ha", travel__off="40 m to 44 m")
    )
    position = run.seeds.position
    delay = 0.5 * FIELD.demand.speed  # a seed falls for less than this
    assert not ((position > 40 + delay) & (position < 44 - 0.1)).any()
    early, late = position[position < 40], position[position > 61]
    ratio = np.diff(early).mean() / np.diff(late).mean()
    assert ratio == pytest.approx(2, rel=0.1)


def test_nothing_changes_without_a_profile():
    """A pass at the usual speed and rate leaves the very same seeds, but for rounding."""
    speed = FIELD.demand.speed * 3.6
    same = FIELD.replace(travel__speeds=f"0 s {speed!r} km/h")
    assert FIELD.way is None and same.way is not None
    one, other = simulate(FIELD), simulate(same)
    assert np.array_equal(one.cells.reason, other.cells.reason)
    assert np.abs(one.seeds.position - other.seeds.position).max() < 1e-9


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("speeds=0 s 3 km/h, 6 s 0 km/h", "travel.speeds: 0 km/h at 6 s: the pass stops"),
        ("speeds=6 s 3 km/h, 2 s 5 km/h", "travel.speeds: times must grow"),
        ("speeds=fast", "travel.speeds: 'fast' cannot be read"),
        ("speeds=3 m 5 km/h", "travel.speeds: '3 m 5 km/h' cannot be read"),
        ("rates=2 s 5/ha", "travel.rates: 5 per ha is not allowed"),
        ("off=4 s to 2 s", "travel.off: 4 s to 2 s ends before it begins"),
        ("off=4 s to 2 m", "travel.off: 4 s to "),
        ("working=2", "toolbar.working: '2' names no rows of a machine of 1"),
        ("rows=3", "fan.shut_off_kpa: missing"),
    ],
)
def test_what_contradicts_itself_is_told(change, said):
    """One clear line with the key, what is wrong and what to give."""
    with pytest.raises(BadInput) as raised:
        load_scenario("maize_field", [change])
    (fault,) = raised.value.faults
    assert said in str(fault)


def test_numbers_with_commas_and_us_units_are_read():
    """A comma within a number ends no entry; units are those of the reader."""
    profile, wrong = read_profile(
        "0 s 4 mph; 5 s 5 mph", "100 ft 34,000/acre, 9 s 32,000/acre", "none"
    )
    assert not wrong
    assert profile.speeds[0][1] == pytest.approx(4 * 0.44704)
    assert [(unit, round(rate, 3)) for _, unit, rate in profile.rates] == [
        ("m", 8.402),
        ("s", 7.907),
    ]


def test_a_comma_without_a_space_ends_an_entry():
    """Three digits behind the comma of an entry are a number of their own."""
    spaced = read_profile("0 s 3 km/h, 100 s 5 km/h", "4 s 85,000/ha, 120 m 95,000/ha", "none")
    close = read_profile("0 s 3 km/h,100 s 5 km/h", "4 s 85,000/ha,120 m 95,000/ha", "none")
    assert close == spaced and not close[1] and len(close[0].speeds) == 2
    off, wrong = read_profile("steady", "steady", "20 s to 24 s,100 m to 110 m")
    assert not wrong and off.off == ((20, "s", 24, "s"), (100, "m", 110, "m"))


@pytest.mark.parametrize(("text", "rows"), [("1-3 5", (1, 2, 3, 5)), ("all", (1, 2, 3, 4, 5, 6))])
def test_rows_are_numbers_and_ranges(text, rows):
    """Numbers, ranges, or all."""
    assert row_numbers(text, 6) == (rows, "")


@pytest.mark.parametrize("text", ["7", "0", "3-2", "one", ""])
def test_rows_that_there_are_not(text):
    """They are told."""
    assert row_numbers(text, 6)[1]


@given(knots)
def test_the_fastest_moment_is_the_greatest_of_many(speeds):
    """Greatest speed and turning along the pass, also where the rate changes within a slope."""
    times = np.cumsum([0.0, *(step for step, _ in speeds)])
    said = ", ".join(
        f"{time:.6f} s {speed:.6f} km/h"
        for time, (_, speed) in zip(times, [*speeds, speeds[-1]], strict=True)
    )
    pass_ = way(
        speeds=said, rates=f"{times[-1] / 3:.6f} s 40000/ha, {times[-1] / 2:.6f} s 90000/ha"
    )
    many = np.sort([*np.linspace(0, times[-1] + 1, 4000), *pass_.start, *(pass_.start - 1e-9)])
    many = many[many >= 0]
    speed, turning = pass_.fastest
    assert speed == pytest.approx(pass_.speed_at(many).max(), rel=1e-6)
    assert turning == pytest.approx(pass_.turning_at(many).max(), rel=1e-6)


def test_a_pass_that_speeds_up_is_judged_at_its_fastest():
    """Cautions are those of a steady pass at that speed, and a slow pass has fewer."""
    slow, fast = FIELD.replace(demand__speed=1.0), FIELD.replace(demand__speed=4.5)
    rising = slow.replace(travel__speeds="0 s 3.6 km/h, 9 s 16.2 km/h")
    assert cautions(rising) == cautions(fast) != cautions(slow)
